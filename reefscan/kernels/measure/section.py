"""Stations from faces: what a face is part of, each measured on the section that is shown, with its net.

Arrays and numbers in, arrays out. Ground that stands up on the other side of its foot makes a face the flank of a trough, ground that falls
away all round its top the side of a rise; else it is a ledge.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from reefscan.kernels.compiled import inlined, kernel
from reefscan.kernels.measure import face as of_face
from reefscan.kernels.measure import measured as at
from reefscan.kernels.measure.ground_at import Whole, row_sums
from reefscan.kernels.measure.ledge import first_look, measure_ledge
from reefscan.kernels.measure.looking import Scratch, Search, face_reach
from reefscan.kernels.measure.net import Asked, ground_of_net, net_of_ledge, net_of_rise, net_of_trough
from reefscan.kernels.measure.rise import measure_rise
from reefscan.kernels.measure.trough import low_beyond, measure_trough

LEAST_TOGETHER = 0.5
"""Share of the parallel lines across a face that must fall as the face does: what jumps from cell to cell does not hang together."""

OPPOSITE = 0.5
"""Share of a face's fall that the other side must climb to make a trough of it."""

ALL_ROUND = 0.6
"""Share of a face's height that the ground must fall away all round its top to make a rise of it."""


@kernel
def measure_faces(
    elev_mm: NDArray[np.int32],
    rows: NDArray[np.int64],
    cols: NDArray[np.int64],
    facing: NDArray[np.float64],
    noise_m: NDArray[np.float64],
    share: NDArray[np.float64],
    search: Search,
    asked: Asked,
    half: int,
) -> NDArray[np.float64]:
    """Measure what stands at each seed, and place its net.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
        Millimetres, positive up, `NODATA_MM` unknown.
    rows, cols : ndarray of int64, shape (n,)
        Seeds, positions in the array.
    facing : ndarray of float64, shape (n,)
        Downhill there, radians clockwise from grid north.
    noise_m, share : ndarray of float64, shape (n,)
        Standard deviation of the noise of one cell (m), and how much of it the mean of a profile's lines keeps.
    search : Search
    asked : Asked
    half : int
        Cells around a seed on which all of it may depend.

    Returns
    -------
    ndarray of float64, shape (3, n, len(measured.FIELDS))
        What each seed is part of: a trough, a ledge, a rise; NaN where it is none. One seed may be the flank of a trough and the
        side of a rise at once, a ledge only if it is neither.
    """
    n = rows.shape[0]
    out = np.full((3, n, len(at.FIELDS)), np.nan)
    room = _scratch(search, asked)
    floor = min(search.trough_min_m, min(search.ledge_min_m, search.rise_min_m))
    around = n * math.pi * asked.broad[1] ** 2
    sums = row_sums(elev_mm, around > 4.0 * elev_mm.size)
    for i in range(n):
        # Each station is measured in a patch with its seed at the same place, and its positions are in whole
        # 1/4096 cells: fractions of a cell would else be rounded differently for every cut of the grid.
        top, left = max(0, rows[i] - half), max(0, cols[i] - half)
        patch = elev_mm[top : rows[i] + half + 1, left : cols[i] + half + 1]
        r, c = float(rows[i] - top), float(cols[i] - left)
        if not first_look(patch, r, c, facing[i], search, room) or room.face[of_face.HEIGHT] < 0.5 * floor:
            continue
        found = _rise_above(
            patch, r, c, facing[i], noise_m[i], share[i], search, asked, room, out[at.RISE, i]
        )
        ledge = out[at.LEDGE, i]
        stands = (
            measure_ledge(patch, r, c, facing[i], noise_m[i], share[i], search, floor, room, ledge)
            and ledge[at.TOGETHER] >= LEAST_TOGETHER
        )
        if stands:
            found |= _trough_below(patch, noise_m[i], share[i], search, asked, room, ledge, out[at.TROUGH, i])
        reach = face_reach(search)
        if (
            found
            or not stands
            or ledge[at.HEIGHT] < search.ledge_min_m
            or not net_of_ledge(
                patch, room.p[: 2 * reach + 1], room.face, noise_m[i] * share[i], asked, search.cell_m, ledge
            )
        ):
            ledge[:] = np.nan
        for kind in range(3):
            line = out[kind, i]
            if not line[at.KIND] == line[at.KIND]:
                continue
            ground_of_net(patch, Whole(elev_mm, sums, top, left), asked, search.cell_m, line)
            for k in (at.ROW, at.NET_ROW, at.ROCK_ROW):
                line[k] = rows[i] + np.rint((line[k] - r) * 4096.0) / 4096.0
            for k in (at.COL, at.NET_COL, at.ROCK_COL):
                line[k] = cols[i] + np.rint((line[k] - c) * 4096.0) / 4096.0
    return out


@kernel
def _scratch(search: Search, asked: Asked) -> Scratch:
    """Room for the longest profile that any measure reads."""
    cell = search.cell_m
    reach = max(face_reach(search), int(search.trough_m / cell) + 4)
    beside_rise = int(3.0 * search.rise_m / cell + max(asked.off_max, of_face.GROUND_M[0] / cell)) + 12
    longest, fields = 2 * max(reach, beside_rise) + 8, len(of_face.FIELDS)
    return Scratch(
        np.empty(longest), np.empty(longest), np.empty(longest + 1), np.empty(longest + 1), np.empty(fields), np.empty(fields)
    )  # fmt: skip


@inlined
def _rise_above(
    elev: NDArray[np.int32], row: float, col: float, facing: float, noise: float, share: float, search: Search, asked: Asked,
    room: Scratch, out: NDArray[np.float64],
) -> bool:  # fmt: skip
    """Measure the rise that the face of the first look is a side of, if the ground falls away all round its top."""
    cell = search.cell_m
    up = face_reach(search) - room.face[of_face.TOP]
    if up * cell > search.rise_m:
        return False
    row, col = row + up * math.cos(facing), col - up * math.sin(facing)
    within = max(1.5, min(0.5 * up + 4.0 / cell, search.rise_m / cell))
    if (
        not measure_rise(
            elev, row, col, within, noise, share, search, ALL_ROUND * room.face[of_face.DROP], room, out
        )
        or out[at.HEIGHT] < ALL_ROUND * room.face[of_face.DROP]
        or not net_of_rise(
            elev, noise * share, asked, cell, search.tilt, room.total, room.moment, room.side, out
        )
    ):
        out[:] = np.nan
        return False
    return True


@inlined
def _trough_below(
    elev: NDArray[np.int32], noise: float, share: float, search: Search, asked: Asked, room: Scratch,
    ledge: NDArray[np.float64], out: NDArray[np.float64],
) -> bool:  # fmt: skip
    """Measure the trough that a face is a flank of, if the ground beyond its foot climbs again."""
    cell = search.cell_m
    reach = face_reach(search)
    p = room.p[: 2 * reach + 1]
    foot = int(room.face[of_face.FOOT])
    wanted = max(search.trough_min_m, OPPOSITE * room.face[of_face.HEIGHT])
    low, crest = low_beyond(p, foot, int(1.6 * search.trough_m / cell), wanted)
    if crest < 0:
        return False
    level = p[low] + 0.3 * wanted
    last = low
    while last < crest and p[last + 1] < level:
        last += 1
    first = low
    while first > int(room.face[of_face.TOP]) and p[first - 1] < level:
        first -= 1
    middle = room.face[of_face.MIDDLE]
    shift = 0.5 * (first + last) - middle
    row = ledge[at.ROW] - shift * math.cos(ledge[at.FACING])
    col = ledge[at.COL] + shift * math.sin(ledge[at.FACING])
    width = float(crest - room.face[of_face.TOP])
    if not measure_trough(
        elev, row, col, ledge[at.FACING], width, wanted, noise, share, search, room, out
    ) or not net_of_trough(elev, noise * share, asked, cell, room.q, out):
        out[:] = np.nan
        return False
    out[at.TOGETHER] = ledge[at.TOGETHER]
    return True
