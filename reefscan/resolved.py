"""Is a structure wider than the ground's own cells can show?

Cells may only repeat a coarser grid (`reefscan.kernels.interval`), or edges lie on the lattice of one
(`reefscan.coarse_edges`). What is narrower than a few of its cells was not seen by
anyone: it is the steps between repeated cells, the pit in the corner of a coarse cell beside the shore, or a real form of
which neither width nor place is known.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reefscan.ramp import ramp

Floats = NDArray[np.float64]

INTERVALS = {"trough": 4.0, "ledge": 3.0, "rise": 3.0}
"""Intervals across a structure before it is told (common practice, no source): crest to crest before a trough has a floor and two
flanks; across a ledge before its face is told from a slope, or a rise before it counts as one (planted rises of 3.5 cells are
found, of 1.5 cells not, on cells of 2, 4 and 8 m). A narrower one that is as high may still be found where the soundings happen to fall on
it; its width and height are then not to be relied on."""

NOT_AT_ALL = 0.5
"""Share of that width up to which a structure is not resolved at all; linear between. Half of it lets pass what an interval told a
third too wide and a width read a third too narrow would make of one that is just wide enough."""


def unresolved(table: pd.DataFrame) -> Floats:
    """How far each structure is narrower than the ground's own cells can show, 0 (resolved) to 1.

    Parameters
    ----------
    table : DataFrame
        ``kind``, ``width_m``, ``interval_m`` (m; 0 or unknown: the cells are the ground's own).
    """
    need = table["kind"].map(INTERVALS).to_numpy(dtype=np.float64) * table["interval_m"].to_numpy(
        dtype=np.float64
    )
    share = table["width_m"].to_numpy(dtype=np.float64) / np.where(need > 0, need, np.inf)
    like = ramp(share, (1.0, NOT_AT_ALL))
    return np.where(need > 0, np.nan_to_num(like), 0.0)
