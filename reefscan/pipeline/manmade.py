"""Candidates of kind ``man-made``: the toe of given breakwaters, where the grid shows nothing of its own."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from reefscan.base.model import GridSource, Window, to_metres
from reefscan.base.recipe import Recipe
from reefscan.find.candidates import position_m
from reefscan.io.georef import transformer
from reefscan.pipeline.sheet_names import lonlat_of, sheet_name
from reefscan.surroundings.known import Surroundings
from reefscan.surroundings.onsheet import flat_on
from reefscan.surroundings.shapes import GEOD, Floats
from reefscan.surroundings.toe import FACES, REACH_M, has_toe, toes_of

RESOLVED_M = 40.0
"""Where a candidate from the grid stands as near as this, the grid shows the toe itself."""

PIECE_M = 400.0
"""Lines are worked through in pieces: as much grid as lies around one is read at a time."""


def man_made(
    table: pd.DataFrame, known: Surroundings, recipe: Recipe, sources: Sequence[GridSource]
) -> pd.DataFrame:
    """Candidates beside given structures, with the columns of ``table``; none where no structure with a toe was given.

    Finer grids go first; where one has proposed or found something, a coarser one proposes nothing.
    """
    hard = known.of("hard")
    toes = [i for i in range(len(hard)) if has_toe(hard.kind[i])]
    faces = [i for i in range(len(hard)) if FACES.search(hard.kind[i])]
    taken = [table[["lon", "lat"]]]
    found: list[pd.DataFrame] = []
    for source in sorted(sources, key=lambda source: source.sheet.cell_m) if toes else ():
        more = _of_sheet(source, hard.take(toes), hard.shapes[faces], recipe)
        near = _near(more, pd.concat(taken, ignore_index=True), source)
        more = more[~near].reset_index(drop=True)
        found.append(more.reindex(columns=table.columns))
        taken.append(more[["lon", "lat"]])
    found = [more for more in found if len(more)]
    return pd.concat(found, ignore_index=True) if found else table.iloc[:0]


def _of_sheet(source: GridSource, hard: Any, faces: Any, recipe: Recipe) -> pd.DataFrame:
    sheet = source.sheet
    west, south, east, north = sheet.bounds(source.extent)
    area = shapely.box(west - REACH_M, south - REACH_M, east + REACH_M, north + REACH_M)
    lines, of = [], []
    for i, shape in enumerate(flat_on(sheet, hard.shapes)):
        line = shape.boundary if shape.geom_type == "Polygon" else shape
        for part in shapely.get_parts(line):
            if part.geom_type == "LineString" and part.length > 0 and part.intersects(area):
                lines.append(part)
                of.append(i)
    walls = [face for face in flat_on(sheet, faces) if face.intersects(area)] if len(faces) else []
    found = toes_of(
        lines, lambda x, y: depths_at(source, x, y), faces=walls,
        band_m=(recipe.find.depth_min_m, recipe.find.depth_max_m), tide_m=recipe.around.tide_m,
        station_m=recipe.find.station_m, step_m=max(1.0, sheet.cell_m / 2),
    )  # fmt: skip
    lonlat = lonlat_of(sheet)
    row, col = (np.asarray(sheet.row_of(found.y)), np.asarray(sheet.col_of(found.x)))
    lon, lat = lonlat(row, col) if len(row) else (np.zeros(0), np.zeros(0))
    at = (np.asarray(sheet.row_of(found.at_y)), np.asarray(sheet.col_of(found.at_x)))
    at_lon, at_lat = lonlat(*at) if len(row) else (np.zeros(0), np.zeros(0))
    away = np.asarray(GEOD.inv(at_lon, at_lat, lon, lat)[0]) % 360.0 if len(row) else np.zeros(0)
    name = sheet_name(sheet)
    cells = np.rint(row).astype(np.int64), np.rint(col).astype(np.int64)
    heads = [shapely.get_coordinates(lines[i])[0] for i in found.line]
    structure = [
        f"M-{name}-{int(np.rint(sheet.col_of(head[0])))}-{-int(np.rint(sheet.row_of(head[1])))}"
        for head in heads
    ]
    return pd.DataFrame(
        {
            "id": [f"M-{name}-{c}-{-r}" for r, c in zip(*cells, strict=True)],
            "kind": "man-made",
            "feature_id": structure,
            "sheet": name,
            "row": cells[0],
            "col": cells[1],
            "lon": lon,
            "lat": lat,
            "cross_deg": away % 180.0,
            "structure_lon": at_lon,
            "structure_lat": at_lat,
            "cell_m": sheet.cell_m,
            "depth_m": found.depth_m,
            "off_m": found.off_m,
            "slope_deg": _slopes(source, found.x, found.y, max(recipe.find.floor_radius_m, sheet.cell_m)),
            "position_m": position_m(sheet.cell_m, np.zeros(len(row))),
            "source": [hard.file[of[i]] for i in found.line],
        }
    )


def depths_at(source: GridSource, x: Floats, y: Floats) -> Floats:
    """Depth (m) of the cell that each place lies in, NaN unknown; read square by square."""
    sheet = source.sheet
    row = np.rint(sheet.row_of(y)).astype(np.int64)
    col = np.rint(sheet.col_of(x)).astype(np.int64)
    side = max(64, int(PIECE_M / sheet.cell_m))
    out: NDArray[np.float64] = np.full(len(x), np.nan)
    order = np.lexsort((col // side, row // side))
    r, c = row[order] // side, col[order] // side
    starts = np.flatnonzero(np.concatenate([[True], (np.diff(r) != 0) | (np.diff(c) != 0)]))
    for start, mine in zip(starts, np.split(order, starts[1:]), strict=True) if len(order) else ():
        window = Window(int(r[start]) * side, int(c[start]) * side, side, side)
        if window.intersect(source.extent).empty:
            continue
        elev = to_metres(source.read(window).elev_mm)
        out[mine] = -elev[row[mine] - window.row, col[mine] - window.col]
    return out


def _slopes(source: GridSource, x: Floats, y: Floats, radius_m: float) -> Floats:
    """Slope (degrees) of the floor between places a radius to all sides."""
    east = (depths_at(source, x + radius_m, y) - depths_at(source, x - radius_m, y)) / (2 * radius_m)
    north = (depths_at(source, x, y + radius_m) - depths_at(source, x, y - radius_m)) / (2 * radius_m)
    return np.asarray(np.degrees(np.arctan(np.hypot(east, north))))


def _near(more: pd.DataFrame, others: pd.DataFrame, source: GridSource) -> NDArray[np.bool_]:
    """Which of the proposed stand near what was found before."""
    if not len(more) or not len(others):
        return np.zeros(len(more), dtype=bool)
    to_sheet = transformer("EPSG:4326", source.sheet.crs)
    there = np.column_stack(to_sheet.transform(others["lon"].to_numpy(float), others["lat"].to_numpy(float)))
    there = there[np.isfinite(there).all(axis=1)]
    here = np.column_stack(to_sheet.transform(more["lon"].to_numpy(float), more["lat"].to_numpy(float)))
    (which, _), apart = shapely.STRtree(shapely.points(there)).query_nearest(
        shapely.points(here), max_distance=RESOLVED_M, return_distance=True, all_matches=False
    )
    near = np.zeros(len(more), dtype=bool)
    near[which[apart < RESOLVED_M]] = True
    return near
