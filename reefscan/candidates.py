"""From the cells of one tile to stations: places beside structure, with every raw measure.

A station depends on ``[find]`` alone, never on how it will be scored, and on a stated number of cells
around it, so it is the same in every cut.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reefscan.kernels import (
    flank,
    fliers,
    measure,
    noise,
    pasted,
    placement,
    repeats,
    stations,
    structure,
    variogram,
)
from reefscan.kernels import net_columns as drop
from reefscan.kernels import station_columns as station
from reefscan.kernels.search import search
from reefscan.kernels.shore import dry_share
from reefscan.localnoise import (
    GridNoise,
    LocalNoise,
    filled_in,
    height_sigma,
    more_than_rounding,
    rounded,
)
from reefscan.model import NODATA_MM, GridBlock, Sheet, Window
from reefscan.overgrown import jumbled, weed_like
from reefscan.reach import refuse_reach
from reefscan.recipe import Find

KINDS = ("trough", "ledge", "rise")
"""Kinds the terrain gives; their order is the order of the height fields."""

SEA_MM = 0
"""Ground above the grid's zero counts as standing no higher than it: a shore cliff is no taller for the net."""

SEEK = 0.75
"""Share of the floor from which a cell of the height field is worth measuring. A lattice axis 11 degrees
off and two cells across a narrow trough read it a quarter too low; the measure has neither fault."""


def station_side(find: Find, cell_m: float) -> int:
    """Side (cells) of the lattice square that offers one station: half the spacing, 3 cells at least."""
    return max(3, round(0.5 * find.station_m / cell_m))


def radii(find: Find, cell_m: float) -> tuple[float, float, float, float]:
    """Reach of trough and rise, run and ground of a ledge, in cells; never less than can show them."""
    return (
        max(4.0, find.trough_radius_m / cell_m),
        max(3.0, find.rise_radius_m / cell_m),
        max(2.0, find.ledge_run_m / cell_m),
        max(2.0, find.ledge_ground_m / cell_m),
    )


def window_half(find: Find, cell_m: float) -> int:
    """Half side (cells) of the window in which a drop point is sought."""
    return math.ceil((find.off_max_m + 20.0) / cell_m) + 3


def halo(find: Find, cell_m: float) -> int:
    """Cells around a seed on which its station depends."""
    trough, rise, run, ground = radii(find, cell_m)
    gauge = measure.measure_halo(max(trough, rise), run, ground)
    place = window_half(find, cell_m) + math.ceil(0.5 * trough)
    index = place + math.ceil(max(find.bpi_broad_outer_m, find.bpi_fine_outer_m) / cell_m)
    around = math.ceil(0.5 * trough) + max(flank.flank_halo(cell_m), repeats.repeats_halo(cell_m))
    behind = gauge + math.ceil(BEHIND_M / cell_m) + 2
    return (
        max(gauge, index, around, behind, noise.HALO, pasted.REACH, variogram.VARIOGRAM_HALO)
        + fliers.FLIER_HALO
        + 1
    )


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


class Fields(NamedTuple):
    """Heights (mm) where they are worth measuring, 0 elsewhere; see `reefscan.kernels.search.search`.

    Attributes
    ----------
    heights : tuple of ndarray of int32
        Trough, ledge and rise, on the window that was searched.
    live : ndarray of bool
        Squares of ``side`` cells that hold any, by kind, from cell (``edge``, ``edge``) on.
    side, edge : int
    """

    heights: tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.int32]]
    live: NDArray[np.bool_]
    side: int
    edge: int

    def near(self, code: int, rows: slice, cols: slice, reach: int) -> bool:
        """True if a kind has heights within ``reach`` cells of a part of the window."""
        first_row, last_row = (
            (rows.start - reach - self.edge) // self.side,
            (rows.stop + reach - 1 - self.edge) // self.side,
        )
        first_col, last_col = (
            (cols.start - reach - self.edge) // self.side,
            (cols.stop + reach - 1 - self.edge) // self.side,
        )
        part = self.live[code, max(0, first_row) : last_row + 1, max(0, first_col) : last_col + 1]
        return bool(part.any())


Seeds = dict[str, tuple[NDArray[np.int64], NDArray[np.int64]]]
"""By kind: rows and columns, on the sheet, of the cells that a tile's stations start from."""


def fields(elev_mm: NDArray[np.int32], cell_m: float, find: Find) -> Fields:
    """Trough, ledge and rise height (mm) as the search sees them, `wanted` cells around a core and in it.

    ``elev_mm`` has `search_halo` cells around the core.
    """
    trough, rise, run, ground = radii(find, cell_m)
    least = tuple(round(1000 * SEEK * m) for m in (find.trough_min_m, find.ledge_min_m, find.rise_min_m))
    edge = search_halo(find, cell_m) - wanted(find, cell_m)
    heights, live, side = search(
        elev_mm,
        trough_cells=trough,
        rise_cells=rise,
        run_cells=run,
        ground_cells=ground,
        band_mm=seek_band(find),
        least_mm=(least[0], least[1], least[2]),
        edge=edge,
    )
    return Fields(heights, live, side, edge)


def wanted(find: Find, cell_m: float) -> int:
    """Cells around a core over which heights are wanted: for its seeds, and for the score of its cells."""
    return max(2 * station_side(find, cell_m), math.ceil(find.off_max_m / cell_m) + 2)


def search_halo(find: Find, cell_m: float) -> int:
    """Cells around a core on which its seeds and its score depend."""
    trough, rise, run, ground = radii(find, cell_m)
    reach = structure.structure_halo(trough, rise, run, ground)
    return reach + wanted(find, cell_m) + fliers.FLIER_HALO + 1


def find_seeds(found: Fields, window: Window, core: Window, find: Find, cell_m: float) -> Seeds:
    """Cells in the core that are worth measuring: the best of every lattice square; kinds without any are left out.

    Parameters
    ----------
    found : Fields
    window : Window
        What they cover.
    core : Window
    find : Find
    cell_m : float
    """
    seeds: Seeds = {}
    side = station_side(find, cell_m)
    for code, (kind, field) in enumerate(zip(KINDS, found.heights, strict=True)):
        rows, cols = stations.best_of_squares(
            field, found.live[code], found.edge, found.side, window.row, window.col, side
        )
        rows, cols = rows + window.row, cols + window.col
        inside = (rows >= core.row) & (rows < core.row_end) & (cols >= core.col) & (cols < core.col_end)
        if inside.any():
            seeds[kind] = rows[inside], cols[inside]
    return seeds


NoiseAt = Callable[[NDArray[np.int64], NDArray[np.int64]], LocalNoise]
"""Noise at stations (rows, cols), positions in a block."""


def noise_near(block: GridBlock, cell_m: float, seeds: Seeds) -> NoiseAt:
    """Tell the noise of a block from itself, where the seeds are."""
    window = block.window
    places = [(rows - window.row, cols - window.col) for rows, cols in seeds.values()]
    return GridNoise(block.elev_mm, window, cell_m, places).at


def find_stations(
    block: GridBlock,
    above_mm: NDArray[np.int32],
    sheet: Sheet,
    find: Find,
    seeds: Seeds,
    noise_at: NoiseAt,
) -> pd.DataFrame:
    """Measure the stations at the seeds, and find each its drop point.

    Parameters
    ----------
    block : GridBlock
        Cells cut off at `SEA_MM` with fliers already set aside, at least `halo` cells around the seeds.
    above_mm : ndarray of int32, shape of the block
        The same with the land as high as it is: the slope of a shore is no ledge.
    sheet : Sheet
    find : Find
    seeds : Seeds
    noise_at : callable
        `noise_near`, or what is known otherwise.

    Returns
    -------
    DataFrame
        One row a station, `COLUMNS`; angles in degrees from grid north; rows by kind, row, col.
    """
    cell = sheet.cell_m
    window = block.window
    elev = block.elev_mm
    trough, rise, run, ground = radii(find, cell)
    reach = {"trough": (trough, find.trough_min_m), "ledge": (run, ground), "rise": (rise, 0.0)}
    floors = {"trough": find.trough_min_m, "ledge": find.ledge_min_m, "rise": find.rise_min_m}
    parts = []
    for code, kind in enumerate(KINDS):
        if kind not in seeds:
            continue
        rows, cols = seeds[kind][0] - window.row, seeds[kind][1] - window.col
        local = noise_at(rows, cols)
        found = measure.measure_stations(
            above_mm if kind == "ledge" else elev,
            rows,
            cols,
            code,
            cell,
            local.cell_m,
            local.share_of_lines(cell),
            *reach[kind],
        )
        good = (
            (found[:, station.OK] == 1.0)
            & (found[:, station.HEIGHT] >= floors[kind])
            & more_than_rounding(found[:, station.HEIGHT], local.step_m)
        )
        rows, cols, local = rows[good], cols[good], local.of(good)
        found = np.ascontiguousarray(found[good])
        if not rows.size:
            continue
        alike = np.column_stack([local.at_lag(1.0), local.at_lag(variogram.FAR)])
        like, strays = jumbled(variogram.variogram(elev, rows, cols), local.cell_m, alike)
        weed = weed_like(like, strays, found[:, station.HEIGHT])
        local = local.beside(pasted.pasted_width(elev, rows, cols, pasted.NEAR, pasted.REACH) * cell)
        net = placement.place_nets(
            elev,
            found,
            code,
            cell,
            local.of_slope(),
            local.cell_m * local.share_of_lines(cell),
            (find.off_min_m / cell, find.off_max_m / cell),
            max(1.0, find.floor_radius_m / cell),
            (-round(1000 * find.depth_max_m), -round(1000 * find.depth_min_m)),
            (find.refuge_min_m / cell, max(2.0, find.refuge_max_m / cell)),
            max(1.0, find.relief_radius_m / cell),
            (max(1.0, find.bpi_fine_inner_m / cell), max(3.0, find.bpi_fine_outer_m / cell)),
            (max(1.0, find.bpi_broad_inner_m / cell), max(3.0, find.bpi_broad_outer_m / cell)),
            window_half(find, cell),
        )
        apart = local.apart()
        near = np.where(apart > 0, apart, 1)
        told_around = flank.surroundings(elev, found, code, cell, near, local.of_operator(near))
        # where even cells far apart were not sounded for themselves, smoothness is no sign of anything
        told_around[apart == 0, flank.FIELDS.index("rough_near_m") :] = np.nan
        around = np.column_stack(
            [
                told_around,
                repeats.repetition(elev, found, cell, repeats.reach_cells(cell)),
            ]
        )
        shore = _shore(kind, above_mm, found, cell)
        told = _table(kind, rows, cols, found, net, around, local, shore, block, cell, find.refuge_min_m)
        told["weed_like"] = weed
        parts.append(told)
    if not parts:
        return find_stations_none()
    return pd.concat(parts, ignore_index=True)[list(COLUMNS)].astype(COLUMNS)


COLUMNS: dict[str, str] = {
    "kind": "object", "seed_row": "int64", "seed_col": "int64", "at_row": "float64", "at_col": "float64",
    "row": "float64", "col": "float64", "depth_m": "float64", "height_m": "float64", "width_m": "float64",
    "axis": "float64", "facing": "float64", "off_m": "float64", "slope_deg": "float64", "vrm": "float64",
    "relief_m": "float64", "bpi_fine_m": "float64", "bpi_broad_m": "float64", "uncertainty_m": "float64",
    "height_sigma_m": "float64", "noise_m": "float64", "position_m": "float64", "interpolated": "float64",
    "interval_m": "float64",
    "rock_row": "float64", "rock_col": "float64", "rough_m": "float64", "asymmetry": "float64",
    "flat_share": "float64", "strength": "float64", "level_m": "float64", "shore": "float64",
    "weed_like": "float64",
    **dict.fromkeys((*flank.FIELDS, *repeats.FIELDS), "float64"),
}  # fmt: skip
"""Columns of a station: the seed cell (its identity), the structure's middle (``at``), the drop point."""


BEHIND_M = 120.0
"""Ground that stays dry for so far behind an edge is the shore; a breakwater is narrower, even where a
grid of 10 m cells has smeared it (a guess, no source)."""


def _shore(
    kind: str, above_mm: NDArray[np.int32], found: NDArray[np.float64], cell: float
) -> NDArray[np.float64]:
    """How far the structure's top is the shore, 0 to 1: behind a ledge, or behind both flanks of a trough."""
    if kind == "rise":
        return np.zeros(len(found))
    edge, up = 0.5 * found[:, station.WIDTH], found[:, station.FACING] + np.pi
    look = functools.partial(dry_share, above_mm, found[:, station.ROW].copy(), found[:, station.COL].copy())
    beyond = BEHIND_M / cell
    if kind == "ledge":
        return np.asarray(look(up, edge, beyond))
    return np.asarray(0.5 * (look(up, edge, beyond) + look(up + np.pi, edge, beyond)))


def _table(
    kind: str,
    rows: NDArray[np.int64],
    cols: NDArray[np.int64],
    found: NDArray[np.float64],
    net: NDArray[np.float64],
    around: NDArray[np.float64],
    local: LocalNoise,
    shore: NDArray[np.float64],
    block: GridBlock,
    cell: float,
    refuge_min_m: float,
) -> pd.DataFrame:
    row0, col0 = block.window.row, block.window.col
    placed = ~np.isnan(net[:, drop.ROW])
    sigma = np.full(rows.size, np.nan)
    if block.sigma_mm is not None:
        r, c = np.nan_to_num(net[:, drop.ROW]).astype(int), np.nan_to_num(net[:, drop.COL]).astype(int)
        sigma = np.where(placed & (block.sigma_mm[r, c] > 0), block.sigma_mm[r, c] / 1000.0, np.nan)
    r = np.clip(np.rint(found[:, station.ROW]).astype(int), 0, block.elev_mm.shape[0] - 1)
    c = np.clip(np.rint(found[:, station.COL]).astype(int), 0, block.elev_mm.shape[1] - 1)
    level = block.elev_mm[r, c] / 1000.0
    level[block.elev_mm[r, c] == NODATA_MM] = np.nan
    return pd.DataFrame(
        {
            "kind": kind,
            "seed_row": rows + row0,
            "seed_col": cols + col0,
            "at_row": found[:, station.ROW] + row0,
            "at_col": found[:, station.COL] + col0,
            "row": net[:, drop.ROW] + row0,
            "col": net[:, drop.COL] + col0,
            "depth_m": net[:, drop.DEPTH],
            "height_m": found[:, station.HEIGHT],
            "width_m": found[:, station.WIDTH] * cell,
            "axis": np.degrees(found[:, station.AXIS]),
            "facing": np.degrees(found[:, station.FACING]),
            "off_m": net[:, drop.OFF],
            "slope_deg": net[:, drop.SLOPE],
            # cells wider than the ring's near edge show the lie of the land, not the broken ground that hides an animal
            "vrm": net[:, drop.VRM] if cell <= refuge_min_m else np.nan,
            "relief_m": net[:, drop.RELIEF],
            "bpi_fine_m": net[:, drop.BPI_FINE],
            "bpi_broad_m": net[:, drop.BPI_BROAD],
            "uncertainty_m": sigma,
            "height_sigma_m": filled_in(
                rounded(height_sigma(kind, local.cell_m, found[:, station.SIGMA_SCALE]), local.step_m),
                found[:, station.HEIGHT],
                local.interpolated,
            ),
            "noise_m": local.cell_m,
            "position_m": position_m(cell, local.interpolated, local.interval_m),
            "interpolated": local.interpolated,
            "interval_m": local.interval_m,
            "rock_row": net[:, drop.ROCK_ROW] + row0,
            "rock_col": net[:, drop.ROCK_COL] + col0,
            "rough_m": np.nan_to_num(found[:, station.ROUGH]),
            "asymmetry": np.nan_to_num(found[:, station.ASYMMETRY]),
            "flat_share": np.nan_to_num(found[:, station.FLAT_SHARE]),
            "strength": found[:, station.AXIS_STRENGTH],
            "level_m": level,
            "shore": shore,
            **dict(zip((*flank.FIELDS, *repeats.FIELDS), around.T, strict=True)),
        }
    )


def position_m(
    cell_m: float, interpolated: NDArray[np.float64] | float, interval_m: NDArray[np.float64] | float = 0.0
) -> NDArray[np.float64]:
    """Doubt of a position: half the diagonal of a cell, or of the interval under the cells where that is known.

    Four times that of a cell on ground that was filled in at an interval that is not.
    """
    filled = np.where(np.asarray(interpolated) > 0.5, 4.0 * cell_m, cell_m)
    told = np.maximum(cell_m, interval_m)
    return np.asarray(math.sqrt(0.5) * np.where(np.asarray(interval_m) > 0, told, filled))


def find_stations_none() -> pd.DataFrame:
    """An empty table of stations, with its columns."""
    return pd.DataFrame({name: pd.Series(dtype=kind) for name, kind in COLUMNS.items()})
