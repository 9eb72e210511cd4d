"""From the cells of one tile to stations: places beside structure, with every raw measure.

A station depends on ``[find]`` alone, never on how it will be scored, and on a stated number of cells around it, so it is the same
in every cut. It is measured once, whole: what is said of a site is what was read on the section through its net, and nothing later changes it.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reefscan.base.columns import MEASURED
from reefscan.base.model import NODATA_MM, GridBlock, Sheet, Window
from reefscan.base.reach import refuse_reach
from reefscan.base.recipe import Find
from reefscan.find.localnoise import (
    GridNoise,
    LocalNoise,
    filled_in,
    height_sigma,
    more_than_rounding,
    rounded,
)
from reefscan.kernels import open_water
from reefscan.kernels.evidence import noise
from reefscan.kernels.find import bridge, smooth, spikes
from reefscan.kernels.find.edges import find_faces
from reefscan.kernels.measure import measured
from reefscan.kernels.measure.looking import Search, face_reach
from reefscan.kernels.measure.net import Asked
from reefscan.kernels.measure.section import measure_faces
from reefscan.kernels.stray import strays

if TYPE_CHECKING:
    import pandas as pd

KINDS = measured.KINDS
"""Kinds the terrain gives, in the order of what is measured."""

SEA_MM = 0
"""Ground above the grid's zero counts as standing no higher than it: a shore cliff is no taller for the net."""

SEEK = 0.5
"""Share of the least height from which an edge is worth measuring: smoothing and one single line read a small pile so much too low."""

STEEP = 0.06
"""Slope of the smoothed ground from which a cell may be part of a face, where cells are fine enough to show it."""

SHOWN = 2.5
"""On coarse cells a sight line is no steeper than the least height over so many of them: a face of that height, spread over the cells that it
touches, would else be lost (real ridges of a metre on cells of 22 m)."""

STRAY_M, STRAY_CELLS = 6.0, 3.0
"""How far around a station at the least it is told whether cells stray from their neighbours, m and cells."""

LOOK_M = 40.0
"""How far up and down the fall line an edge is looked at before it is measured."""


def station_side(find: Find, cell_m: float) -> int:
    """Side (cells) of the lattice square that offers one station: half the spacing, 3 cells at least."""
    return max(3, round(0.5 * find.station_m / cell_m))


def least_height(find: Find) -> float:
    """Least height (m) of any kind."""
    return min(find.trough_min_m, find.ledge_min_m, find.rise_min_m)


def sight_gradient(find: Find, cell_m: float) -> float:
    """Gradient of the sight line on cells of a size."""
    return min(find.sight_gradient, least_height(find) / (SHOWN * cell_m))


def search_of(find: Find, cell_m: float) -> Search:
    """What the kernels look for."""
    return Search(
        sight_gradient(find, cell_m), max(find.face_longest_m, 6.0 * cell_m), max(find.trough_radius_m, 4.0 * cell_m),
        max(find.rise_radius_m, 3.0 * cell_m), find.trough_min_m, find.ledge_min_m, find.rise_min_m, cell_m,
    )  # fmt: skip


def asked_of(find: Find, cell_m: float) -> Asked:
    """What the kernels know of the drop point."""
    return Asked(
        find.off_min_m / cell_m,
        find.off_max_m / cell_m,
        max(1.0, find.floor_radius_m / cell_m),
        -round(1000 * find.depth_max_m),
        -round(1000 * find.depth_min_m),
        (find.refuge_min_m / cell_m, max(2.0, find.refuge_max_m / cell_m)),
        max(1.0, find.relief_radius_m / cell_m),
        (max(1.0, find.bpi_fine_inner_m / cell_m), max(3.0, find.bpi_fine_outer_m / cell_m)),
        (max(1.0, find.bpi_broad_inner_m / cell_m), max(3.0, find.bpi_broad_outer_m / cell_m)),
    )


def measure_halo(find: Find, cell_m: float) -> int:
    """Cells around a seed on which what is measured of it depends."""
    search, asked = search_of(find, cell_m), asked_of(find, cell_m)
    trough = math.ceil(1.6 * search.trough_m / cell_m)
    # the middle of the face lies off the seed, its net off the middle, and rings around the net
    middle = math.ceil(0.5 * search.longest_m / cell_m)
    net = (
        middle
        + math.ceil(
            max(0.5 * search.longest_m / cell_m, trough, 2.0 * search.rise_m / cell_m) + asked.off_max
        )
        + 4
    )
    rings = math.ceil(max(asked.broad[1], asked.fine[1], asked.refuge[1], asked.relief))
    rings = max(rings, open_water.reach_of(cell_m))
    along = getattr(face_reach, "py_func", face_reach)(search)  # asked before kernels are loaded
    return int(max(net + rings, middle + max(along, trough + trough // 2), noise.HALO)) + 12


def halo(find: Find, cell_m: float) -> int:
    """Cells around a core on which its stations depend."""
    return measure_halo(find, cell_m) + spikes.SPIKE_HALO + bridge.REACH + 1


def check_reach(find: Find, cell_m: float) -> None:
    """Refuse a recipe that looks farther than memory holds.

    Raises
    ------
    RecipeError
        Naming the longest length of it.
    """
    refuse_reach(max(halo(find, cell_m), search_halo(find, cell_m)), find, cell_m)


def seek_band(find: Find) -> tuple[int, int]:
    """Elevations (mm) where structure is looked for: tops stand above and feet below the band itself."""
    return (-round(1000 * find.depth_max_m) - 6000, -round(1000 * find.depth_min_m) + 8000)


class Seeds(NamedTuple):
    """Cells that a tile's stations start from: rows and columns on the sheet, and the way the ground falls there (radians)."""

    rows: NDArray[np.int64]
    cols: NDArray[np.int64]
    facing: NDArray[np.float64]


def _look(cell_m: float) -> int:
    return max(4, round(LOOK_M / cell_m))


def _edge(cell_m: float) -> int:
    """Cells at the rim of a window that the search does not answer for."""
    return _look(cell_m) + smooth.passes(cell_m) + 3


def wanted(find: Find, cell_m: float) -> int:
    """Cells around a core over which edges are wanted: for its seeds, and for the score of its cells."""
    return max(2 * station_side(find, cell_m), math.ceil(find.off_max_m / cell_m) + 2)


def search_halo(find: Find, cell_m: float) -> int:
    """Cells around a core on which its seeds and its score depend."""
    return _edge(cell_m) + wanted(find, cell_m) + spikes.SPIKE_HALO + bridge.REACH + 1


def find_seeds(
    elev_mm: NDArray[np.int32], window: Window, core: Window, find: Find, cell_m: float
) -> tuple[Seeds, NDArray[np.int32]]:
    """Cells of the core that are worth measuring, and how much stands up and falls away at every edge (mm, shape of the window).

    ``elev_mm`` covers ``window``, `search_halo` cells around the core, cut off at `SEA_MM`, with spikes set aside.
    """
    height = np.zeros(elev_mm.shape, np.int32)
    steep = min(STEEP, 0.75 * least_height(find) / (2.0 * cell_m))
    low, high = seek_band(find)
    rows, cols, facing = find_faces(
        smooth.smooth(elev_mm, smooth.passes(cell_m)),
        (low / 1000.0, high / 1000.0),
        steep * cell_m,
        sight_gradient(find, cell_m) * cell_m,
        _look(cell_m),
        SEEK * least_height(find),
        _edge(cell_m),
        (window.row, window.col),
        station_side(find, cell_m),
        height,
    )
    rows, cols = rows + window.row, cols + window.col
    inside = (rows >= core.row) & (rows < core.row_end) & (cols >= core.col) & (cols < core.col_end)
    return Seeds(rows[inside], cols[inside], facing[inside]), height


def noise_near(block: GridBlock, cell_m: float, seeds: Seeds) -> LocalNoise:
    """Tell the noise of a block from itself, at the seeds."""
    window = block.window
    rows, cols = seeds.rows - window.row, seeds.cols - window.col
    return GridNoise(block.elev_mm, window, cell_m, [(rows, cols)]).at(rows, cols)


def find_stations(
    block: GridBlock, as_read: NDArray[np.int32], sheet: Sheet, find: Find, seeds: Seeds, local: LocalNoise
) -> pd.DataFrame:
    """Measure the stations at the seeds, each with its drop point.

    Parameters
    ----------
    block : GridBlock
        Cells cut off at `SEA_MM` with spikes already set aside, at least `halo` cells around the seeds.
    as_read : ndarray of int32, shape of the block
        The same with the spikes in it.
    sheet : Sheet
    find : Find
    seeds : Seeds
    local : LocalNoise
        Noise at the seeds.

    Returns
    -------
    DataFrame
        One row a station, `COLUMNS`; angles in degrees from grid north; rows by kind, row, col.
    """
    import pandas as pd

    cell, window = sheet.cell_m, block.window
    found = measure_faces(
        block.elev_mm,
        seeds.rows - window.row,
        seeds.cols - window.col,
        seeds.facing,
        local.cell_m,
        local.share_of_lines(cell),
        search_of(find, cell),
        asked_of(find, cell),
        measure_halo(find, cell),
    )
    parts = []
    for code in range(len(KINDS)):
        good = np.isfinite(found[code, :, measured.KIND])
        good &= more_than_rounding(found[code, :, measured.HEIGHT], local.step_m)
        if good.any():
            parts.append(
                _table(KINDS[code], found[code][good], seeds, good, local.of(good), block, cell, find)
            )
            parts[-1]["scatter"] = _scatter(parts[-1], as_read, window, cell)
    if not parts:
        return find_stations_none()
    return pd.concat(parts, ignore_index=True)[list(COLUMNS)].astype(COLUMNS)


_PLACES = ("at_row", "at_col", "row", "col", "rock_row", "rock_col")
COLUMNS: dict[str, str] = {
    "kind": "object",
    "seed_row": "int64",
    "seed_col": "int64",
    **dict.fromkeys((*_PLACES, "axis", "facing", "cross", "level_m", *MEASURED), "float64"),
}
"""Columns of a station: the seed cell (its identity), the structure's middle (``at``), the drop point, the rock nearest to it, how it
lies, and all that its candidate takes over (`reefscan.base.columns`)."""


def _table(
    kind: str,
    found: NDArray[np.float64],
    seeds: Seeds,
    which: NDArray[np.bool_],
    local: LocalNoise,
    block: GridBlock,
    cell: float,
    find: Find,
) -> pd.DataFrame:
    import pandas as pd

    row0, col0 = block.window.row, block.window.col
    of = {name: found[:, i] for i, name in enumerate(measured.FIELDS)}
    # the section through the net: across a trough, down a ledge's face, toward a rise
    toward = np.arctan2(of["rock_col"] - of["net_col"], of["net_row"] - of["rock_row"])
    cross = np.where(np.isnan(of["facing"]), toward, of["facing"]) % np.pi
    return pd.DataFrame(
        {
            "kind": kind,
            "seed_row": seeds.rows[which],
            "seed_col": seeds.cols[which],
            "at_row": of["row"] + row0,
            "at_col": of["col"] + col0,
            "row": of["net_row"] + row0,
            "col": of["net_col"] + col0,
            "depth_m": of["depth"],
            "height_m": of["height"],
            "drop_m": of["drop"],
            "run_m": of["run"],
            "steep_deg": np.degrees(np.arctan(of["steep"])),
            "width_m": of["width"],
            "axis": np.degrees(of["axis"]),
            "facing": np.degrees(of["facing"]),
            "cross": np.degrees(cross),
            "off_m": of["off"],
            "slope_deg": of["floor_slope"],
            # cells wider than the ring's near edge show the lie of the land, not the broken ground that hides an animal
            "vrm": of["vrm"] if cell <= find.refuge_min_m else np.nan,
            "relief_m": of["relief"],
            "bpi_fine_m": of["bpi_fine"],
            "bpi_broad_m": of["bpi_broad"],
            "uncertainty_m": _sigma_at(block, of["net_row"], of["net_col"]),
            "height_sigma_m": filled_in(
                rounded(height_sigma(kind, local.cell_m, of["sigma_share"]), local.step_m),
                of["height"],
                local.interpolated,
            ),
            "noise_m": local.cell_m,
            "position_m": position_m(cell, local.interpolated, local.interval_m),
            "interpolated": local.interpolated,
            "interval_m": local.interval_m,
            "rock_row": of["rock_row"] + row0,
            "rock_col": of["rock_col"] + col0,
            "level_m": _level_at(block, of["row"], of["col"]),
        }
    )


def _scatter(
    stations: pd.DataFrame, as_read: NDArray[np.int32], window: Window, cell_m: float
) -> NDArray[np.float64]:
    """How far cells stray as a share of a station's height: of a ledge's face, of all of a rise, of a trough with both its crests."""
    rows, cols, height, width = (
        stations[name].to_numpy() for name in ("at_row", "at_col", "height_m", "width_m")
    )
    wide = np.where(stations["kind"].to_numpy() == "ledge", 0.0, 0.5 * width)
    radius = np.maximum(STRAY_CELLS, np.maximum(STRAY_M, wide) / cell_m)
    return np.asarray(strays(as_read, rows - window.row, cols - window.col, radius) / height)


def _sigma_at(block: GridBlock, row: NDArray[np.float64], col: NDArray[np.float64]) -> NDArray[np.float64]:
    """Stated uncertainty (m) of the cells that places of a block lie in, NaN where none is stated."""
    if block.sigma_mm is None:
        return np.full(len(row), np.nan)
    cells = block.sigma_mm[np.rint(row).astype(int), np.rint(col).astype(int)]
    return np.where(cells > 0, cells / 1000.0, np.nan)


def _level_at(block: GridBlock, row: NDArray[np.float64], col: NDArray[np.float64]) -> NDArray[np.float64]:
    """Elevation (m) of the cells that places of a block lie in, NaN unknown; beyond its edge that of the edge."""
    r = np.clip(np.rint(row).astype(int), 0, block.elev_mm.shape[0] - 1)
    c = np.clip(np.rint(col).astype(int), 0, block.elev_mm.shape[1] - 1)
    cells = block.elev_mm[r, c]
    return np.where(cells == NODATA_MM, np.nan, cells / 1000.0)


def position_m(
    cell_m: float, interpolated: NDArray[np.float64] | float, interval_m: NDArray[np.float64] | float = 0.0
) -> NDArray[np.float64]:
    """Uncertainty of a position: half the diagonal of a cell, or of the interval under the cells where that is known.

    Four times that of a cell on ground that was filled in at an interval that is not.
    """
    filled = np.where(np.asarray(interpolated) > 0.5, 4.0 * cell_m, cell_m)
    interval = np.maximum(cell_m, interval_m)
    return np.asarray(math.sqrt(0.5) * np.where(np.asarray(interval_m) > 0, interval, filled))


def find_stations_none() -> pd.DataFrame:
    """An empty table of stations, with its columns."""
    import pandas as pd

    return pd.DataFrame({name: pd.Series(dtype=kind) for name, kind in COLUMNS.items()})
