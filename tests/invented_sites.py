"""A table of invented candidates, for tests that look at files and commands alone."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reefscan.io.out import tables


def candidates(n: int = 400, seed: int = 0) -> pd.DataFrame:
    g = np.random.default_rng(seed)
    return tables.rounded(
        pd.DataFrame(
            {
                "id": [f"s{i:05d}" for i in g.permutation(n)],
                "kind": g.choice(["trough", "ledge", "rise"], n),
                "feature_id": [f"f{i // 3}" for i in range(n)],
                "sheet": "EPSG:32620@2",
                "row": np.arange(n),
                "col": -np.arange(n),
                "lon": -59.9 + g.random(n) * 0.1,
                "lat": 45.1 + g.random(n) * 0.1,
                "depth_m": g.uniform(2, 18, n),
                "height_m": g.uniform(0.8, 3, n),
                "width_m": g.uniform(4, 60, n),
                "slope_deg": g.uniform(0, 22, n),
                "vrm": g.uniform(0, 0.02, n),
                "ruled_like": np.where(g.random(n) < 0.1, np.nan, g.random(n)),
                "source": "coast.tif",
                "cell_m": 2.0,
            }
        )  # fmt: skip
    )
