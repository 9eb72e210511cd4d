"""From the cells of one tile to stations: places beside structure, with every raw measure.

A station depends on ``[find]`` alone, never on how it will be scored, and on a stated number of cells
around it, so it is the same in every cut.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reefscan.kernels import flank, measure, noise, placement, stations, structure
from reefscan.localnoise import GridNoise, LocalNoise, height_sigma
from reefscan.model import NODATA_MM, GridBlock, Sheet, Window
from reefscan.recipe import Find

KINDS = ("trough", "ledge", "rise")
"""Kinds the terrain gives; their order is the order of the height fields."""

FLIER_FLOOR_MM = 400
"""Smallest excess of a flier: below it a bad cell can make no structure (floors start at 0.8 m)."""

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
    """Cells around a tile's core on which its stations depend."""
    trough, rise, run, ground = radii(find, cell_m)
    seek = seek_halo(find, cell_m)
    gauge = measure.measure_halo(max(trough, rise), run, ground)
    place = window_half(find, cell_m) + math.ceil(0.5 * trough)
    index = place + math.ceil(max(find.bpi_broad_outer_m, find.bpi_fine_outer_m) / cell_m)
    around = math.ceil(0.5 * trough) + flank.flank_halo(cell_m)
    return max(seek, gauge, index, around, noise.HALO) + stations.FLIER_HALO + 1


def seek_band(find: Find) -> tuple[int, int]:
    """Elevations (mm) where structure is looked for: tops stand above and feet below the band itself."""
    return (-round(1000 * find.depth_max_m) - 6000, -round(1000 * find.depth_min_m) + 8000)


def under_water(elev_mm: NDArray[np.int32]) -> NDArray[np.int32]:
    """Ground as the animals and the sounder meet it: cut off at `SEA_MM`; a copy."""
    return np.minimum(elev_mm, np.int32(SEA_MM))


def fields(
    elev_mm: NDArray[np.int32], cell_m: float, find: Find
) -> tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.int32]]:
    """Trough, ledge and rise height (mm) as the search sees them."""
    trough, rise, run, ground = radii(find, cell_m)
    return structure.heights(
        elev_mm,
        trough_cells=trough,
        rise_cells=rise,
        run_cells=run,
        ground_cells=ground,
        band_mm=seek_band(find),
        finding=True,
        rise_floor_mm=round(1000 * SEEK * find.rise_min_m),
    )


def seek_halo(find: Find, cell_m: float) -> int:
    """Cells around a core over which heights are wanted and on which they depend."""
    trough, rise, run, ground = radii(find, cell_m)
    wanted = max(2 * station_side(find, cell_m), math.ceil(find.off_max_m / cell_m) + 2)
    return structure.structure_halo(trough, rise, run, ground) + wanted


def find_stations(
    block: GridBlock,
    core: Window,
    sheet: Sheet,
    find: Find,
    heights: tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.int32]],
) -> pd.DataFrame:
    """Find and measure the stations whose cell lies in the core.

    Parameters
    ----------
    block : GridBlock
        Cells with fliers already set aside, at least `halo` cells around the core.
    core : Window
    sheet : Sheet
    find : Find
    heights : tuple of ndarray
        From `fields`, on the block's window or on one that lies in its middle.

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
    side = station_side(find, cell)
    noise_of = GridNoise(elev, window, cell)
    edge = window.grow(-(elev.shape[0] - heights[0].shape[0]) // 2)
    sums: tuple[NDArray[np.int64], NDArray[np.int32]] | None = None
    parts = []
    for code, (kind, field) in enumerate(zip(KINDS, heights, strict=True)):
        low = round(1000 * SEEK * floors[kind])
        rows, cols = stations.best_of_squares(field, edge.row, edge.col, side, low)
        rows, cols = rows + edge.row - window.row, cols + edge.col - window.col
        inside = (
            (rows + window.row >= core.row)
            & (rows + window.row < core.row_end)
            & (cols + window.col >= core.col)
            & (cols + window.col < core.col_end)
        )
        rows, cols = rows[inside], cols[inside]
        if not rows.size:
            continue
        local = noise_of.at(rows, cols)
        found = measure.measure_stations(
            elev, rows, cols, code, cell, local.cell_m, local.share_of_lines(cell), *reach[kind]
        )
        good = (found[:, 13] == 1.0) & (found[:, 2] >= floors[kind])
        rows, cols, local = rows[good], cols[good], local.of(good)
        found = np.ascontiguousarray(found[good])
        if not rows.size:
            continue
        sums = sums or placement.row_sums(elev)
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
            *sums,
        )
        around = flank.surroundings(elev, found, code, cell, local.of_operator())
        parts.append(_table(kind, rows, cols, found, net, around, local, block, cell))
    if not parts:
        return pd.DataFrame({name: pd.Series(dtype=kind) for name, kind in COLUMNS.items()})
    return pd.concat(parts, ignore_index=True)[list(COLUMNS)].astype(COLUMNS)


COLUMNS: dict[str, str] = {
    "kind": "object", "seed_row": "int64", "seed_col": "int64", "at_row": "float64", "at_col": "float64",
    "row": "float64", "col": "float64", "depth_m": "float64", "height_m": "float64", "width_m": "float64",
    "axis": "float64", "facing": "float64", "off_m": "float64", "slope_deg": "float64", "vrm": "float64",
    "relief_m": "float64", "bpi_fine_m": "float64", "bpi_broad_m": "float64", "uncertainty_m": "float64",
    "height_sigma_m": "float64", "noise_m": "float64", "position_m": "float64", "interpolated": "float64",
    "rock_row": "float64", "rock_col": "float64", "rough_m": "float64", "asymmetry": "float64",
    "flat_share": "float64", "strength": "float64", "level_m": "float64",
    **dict.fromkeys(flank.FIELDS, "float64"),
}  # fmt: skip
"""Columns of a station: the seed cell (its identity), the structure's middle (``at``), the drop point."""


def _table(
    kind: str,
    rows: NDArray[np.int64],
    cols: NDArray[np.int64],
    found: NDArray[np.float64],
    net: NDArray[np.float64],
    around: NDArray[np.float64],
    local: LocalNoise,
    block: GridBlock,
    cell: float,
) -> pd.DataFrame:
    row0, col0 = block.window.row, block.window.col
    placed = ~np.isnan(net[:, 0])
    sigma = np.full(rows.size, np.nan)
    if block.sigma_mm is not None:
        r, c = np.nan_to_num(net[:, 0]).astype(int), np.nan_to_num(net[:, 1]).astype(int)
        sigma = np.where(placed & (block.sigma_mm[r, c] > 0), block.sigma_mm[r, c] / 1000.0, np.nan)
    r = np.clip(np.rint(found[:, 0]).astype(int), 0, block.elev_mm.shape[0] - 1)
    c = np.clip(np.rint(found[:, 1]).astype(int), 0, block.elev_mm.shape[1] - 1)
    level = block.elev_mm[r, c] / 1000.0
    level[block.elev_mm[r, c] == NODATA_MM] = np.nan
    return pd.DataFrame(
        {
            "kind": kind,
            "seed_row": rows + row0,
            "seed_col": cols + col0,
            "at_row": found[:, 0] + row0,
            "at_col": found[:, 1] + col0,
            "row": net[:, 0] + row0,
            "col": net[:, 1] + col0,
            "depth_m": net[:, 2],
            "height_m": found[:, 2],
            "width_m": found[:, 3] * cell,
            "axis": np.degrees(found[:, 4]),
            "facing": np.degrees(found[:, 5]),
            "off_m": net[:, 3],
            "slope_deg": net[:, 4],
            "vrm": net[:, 5],
            "relief_m": net[:, 6],
            "bpi_fine_m": net[:, 7],
            "bpi_broad_m": net[:, 8],
            "uncertainty_m": sigma,
            "height_sigma_m": height_sigma(kind, local.cell_m, found[:, 6]),
            "noise_m": local.cell_m,
            "position_m": position_m(cell, local.interpolated),
            "interpolated": local.interpolated,
            "rock_row": net[:, 9] + row0,
            "rock_col": net[:, 10] + col0,
            "rough_m": np.nan_to_num(found[:, 9]),
            "asymmetry": np.nan_to_num(found[:, 10]),
            "flat_share": np.nan_to_num(found[:, 11]),
            "strength": found[:, 12],
            "level_m": level,
            **dict(zip(flank.FIELDS, around.T, strict=True)),
        }
    )


def position_m(cell_m: float, interpolated: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """Doubt of a position: half a cell's diagonal, four times that on ground that was filled in."""
    return np.asarray(cell_m * math.sqrt(0.5) * np.where(np.asarray(interpolated) > 0.5, 4.0, 1.0))


def find_stations_none() -> pd.DataFrame:
    """An empty table of stations, with its columns."""
    return pd.DataFrame({name: pd.Series(dtype=kind) for name, kind in COLUMNS.items()})
