"""Measure stations properly: profiles across the structure, averaged along it.

The height fields say where to look; here each station gets its axis to a degree or two, its height
without the upward bias of a maximum over noise, its width, the roughness and evenness of its sides.
See `reefscan.kernels.profiles` for positions and angles.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from reefscan.kernels import station_columns as station
from reefscan.kernels.measure_ledge import measure_ledge
from reefscan.kernels.measure_rise import measure_rise
from reefscan.kernels.measure_trough import measure_trough


@njit(cache=True, nogil=True)
def measure_stations(
    elev_mm: NDArray[np.int32],
    rows: NDArray[np.int64],
    cols: NDArray[np.int64],
    kind: int,
    cell_m: float,
    noise_m: NDArray[np.float64],
    share: NDArray[np.float64],
    radius_cells: float,
    beyond: float,
) -> NDArray[np.float64]:
    """Measure stations of one kind (0 trough, 1 ledge, 2 rise).

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
    rows, cols : ndarray of int64, shape (n,)
        Stations, positions in the array.
    kind : int
    cell_m : float
    noise_m : ndarray of float64, shape (n,)
        Standard deviation of the noise of one cell at each station, metres.
    share : ndarray of float64, shape (n,)
        Share of it left in the mean of the parallel lines of a profile, 0 to 1 (`noise.share_of_lines`).
    radius_cells : float
        Reach of trough or rise, or the ledge's run.
    beyond : float
        Of a ledge the ground beyond it, cells; of a trough the least height of one that is listed, metres.

    Returns
    -------
    ndarray of float64, shape (n, len(station_columns.FIELDS))
        Row, col (recentred, cells), height (m, bias removed), width (cells, crest to crest, face
        or foot to foot), axis (radians 0 to pi), facing (cross heading of a trough, downhill of a ledge),
        share of one cell's noise left in the height, foot (half the floor of a trough, half a ledge's face,
        foot distance of a rise; cells), slope of the face (m per cell), roughness of the sides (m, beyond
        noise), asymmetry, floor's share of the width, strength of the axis, 1 if measured.
    """
    out = np.full((rows.shape[0], len(station.FIELDS)), np.nan)
    scratch = np.empty(8 * int(max(radius_cells, beyond)) + 64)
    half = int(max(1.6 * radius_cells + 12, 2.25 * radius_cells + beyond + 10)) + 2
    for i in range(rows.shape[0]):
        line = out[i]
        line[station.OK] = 0.0
        # Each station is measured in a patch with itself at the same place, and its position told in whole
        # 1/4096 cells: fractions of a cell would else be rounded differently for every cut of the grid.
        top, left = max(0, rows[i] - half), max(0, cols[i] - half)
        patch = elev_mm[top : rows[i] + half + 1, left : cols[i] + half + 1]
        r, c = float(rows[i] - top), float(cols[i] - left)
        if kind == 0:
            measure_trough(patch, r, c, radius_cells, beyond, cell_m, noise_m[i], share[i], scratch, line)
        elif kind == 1:
            measure_ledge(patch, r, c, radius_cells, beyond, cell_m, noise_m[i], share[i], scratch, line)
        else:
            measure_rise(patch, r, c, radius_cells, cell_m, noise_m[i], share[i], scratch, line)
        line[station.ROW] = rows[i] + np.rint((line[station.ROW] - r) * 4096.0) / 4096.0
        line[station.COL] = cols[i] + np.rint((line[station.COL] - c) * 4096.0) / 4096.0
    return out


def measure_halo(radius_cells: float, run_cells: float, ground_cells: float) -> int:
    """Cells around a station that its measures depend on."""
    ledge = 1.75 * run_cells + ground_cells + 0.5 * run_cells + 10
    return int(max(1.6 * radius_cells + 12, ledge)) + 2
