"""What several sheets see of one place, counted once."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import GridSource
from reefscan.pipeline.sheet_names import lonlat_of
from reefscan.score.ranking import on_ellipsoid

if TYPE_CHECKING:
    import pandas as pd


@dataclass
class EarlierStations:
    """Seeds of the stations found so far, by kind: sheets overlap a little at their borders.

    The two lattices of a border put the top of one rock on cells a little apart, so both sheets own a strip
    of some cells there, and what an earlier sheet has found is left out of the next.
    """

    seeds: dict[str, list[NDArray[np.float64]]] = field(default_factory=dict)

    def new(self, stations: pd.DataFrame, source: GridSource, station_m: float) -> pd.DataFrame:
        """Return the stations that no earlier sheet has within a station's spacing, and remember them."""
        from scipy.spatial import cKDTree  # half a second, of a run with several sheets only

        near_m = max(2.5 * source.sheet.cell_m, station_m)
        lon, lat = lonlat_of(source.sheet)(stations["seed_row"].to_numpy(), stations["seed_col"].to_numpy())
        places = on_ellipsoid(lon, lat)
        fresh = np.ones(len(stations), dtype=bool)
        for kind, rows in stations.groupby("kind", sort=True).indices.items():
            for earlier in self.seeds.get(kind, []):
                away, _ = cKDTree(earlier).query(places[rows], distance_upper_bound=near_m)
                fresh[rows] &= ~np.isfinite(away)
            if fresh[rows].any():
                self.seeds.setdefault(kind, []).append(places[rows][fresh[rows]])
        return stations[fresh].reset_index(drop=True)
