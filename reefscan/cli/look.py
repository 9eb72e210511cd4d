"""``reefscan look``: what is here, before anything is scanned."""

from __future__ import annotations

import json
import math
import sys
from typing import TYPE_CHECKING, Annotated, Any

import typer

from reefscan.cli.asking import asking
from reefscan.cli.gridarguments import GridArguments
from reefscan.cli.grouped import grouped
from reefscan.cli.options import Area, Bbox, Json

if TYPE_CHECKING:
    from reefscan.io.grids.layer import Layer
    from reefscan.io.grids.source import SheetSource


@grouped
def command(
    paths: Annotated[list[str], typer.Argument(metavar="PATH...", help="Files, folders or addresses.")],
    reading: GridArguments,
    bbox: Bbox = None,
    area: Area = None,
    as_json: Json = False,
) -> None:
    """Say what is in files and folders: forms, cells, depths, datum, overlaps, troubles. Changes nothing."""
    from reefscan.io.areas import read_area
    from reefscan.io.grids.rasters import open_grids

    outline = read_area(area) if area is not None else None

    def opened(reading: GridArguments) -> list[SheetSource]:
        return open_grids(paths, bbox=bbox, area=outline, **reading.keywords())

    sheets = opened(reading) if as_json else asking(opened, reading)[0]
    found = [_facts(sheet) for sheet in sheets]
    if as_json:
        sys.stdout.write(json.dumps({"sheets": found}, indent=1, ensure_ascii=False) + "\n")
        return
    for number, (sheet, facts) in enumerate(zip(sheets, found, strict=True), 1):
        if number > 1:
            print()
        _print(number, sheet, facts)


def _facts(sheet: SheetSource) -> dict[str, Any]:
    layers = list({layer.path: layer for layer in sheet.layers}.values())
    lows = [layer.low_m for layer in layers if math.isfinite(layer.low_m)]
    highs = [layer.high_m for layer in layers if math.isfinite(layer.high_m)]
    sigmas = [layer.sigma_m for layer in layers if math.isfinite(layer.sigma_m)]
    west, south, east, north = sheet.sheet.bounds(sheet.extent)
    lon, lat = sheet.lonlat(
        _ends(sheet.extent.row, sheet.extent.row_end), _ends(sheet.extent.col, sheet.extent.col_end)
    )
    return {
        "crs": sheet.sheet.crs,
        "cell_m": sheet.sheet.cell_m,
        "rows": sheet.extent.height,
        "columns": sheet.extent.width,
        "bounds_m": [west, south, east, north],
        "north_west": [round(float(lon[0]), 6), round(float(lat[0]), 6)],
        "south_east": [round(float(lon[1]), 6), round(float(lat[1]), 6)],
        "warped": any(piece.warped for piece in sheet.pieces),
        "depth_m": [round(-max(highs), 2) + 0.0, round(-min(lows), 2) + 0.0] if lows else None,
        "uncertainty_m": round(sorted(sigmas)[len(sigmas) // 2], 2) if sigmas else None,
        "vertical": sheet.vertical or None,
        "order": sheet.order,
        "files": [
            {
                "name": layer.name,
                "form": layer.form,
                "rows": layer.height,
                "columns": layer.width,
                "crs": layer.crs if len(layer.crs) < 20 else "WKT",
                "date": layer.date or None,
            }
            for layer in layers
        ],
        "notes": list(sheet.notes),
    }


def _ends(first: int, end: int) -> Any:
    import numpy as np

    return np.array([first, end - 1])


def _print(number: int, sheet: SheetSource, facts: dict[str, Any]) -> None:
    crs = facts["crs"] if len(facts["crs"]) < 20 else "a projection of its own (WKT)"
    how = "warped to the world's grid" if facts["warped"] else "used as it lies"
    print(
        f"Sheet {number}: {crs}, cells of {facts['cell_m']:g} m, {facts['rows']} rows x {facts['columns']} columns, {how}"
    )
    (w, n), (e, s) = facts["north_west"], facts["south_east"]
    print(f"  from {n:.5f}, {w:.5f} (north-west) to {s:.5f}, {e:.5f} (south-east)")
    if facts["depth_m"]:
        print(f"  depths {_span(*facts['depth_m'])}, as far as was looked at")
    sigma = facts["uncertainty_m"]
    print(f"  uncertainty: {f'{sigma:g} m (1 sigma, median)' if sigma is not None else 'none stated'}")
    print(f"  vertical datum: {facts['vertical'] or 'not stated'}")
    files = facts["files"]
    print(f"  {len(files)} file{'s' if len(files) > 1 else ''}:")
    for form, layers in _by_form(sheet.layers).items():
        shown = ", ".join(layer.name for layer in layers[:3])
        more = f" and {len(layers) - 3} more" if len(layers) > 3 else ""
        print(f"    {form}: {shown}{more}")
    if len(files) > 1:
        print(f"  where they overlap: {facts['order']}")
    for note in facts["notes"]:
        print(f"  note: {note}")


def _span(shallow: float, deep: float) -> str:
    if shallow < 0 <= deep:
        return f"to {deep:g} m, and up to {-shallow:g} m above zero"
    if deep < 0:
        return f"none: all {-deep:g} to {-shallow:g} m above zero"
    return f"{shallow:g} to {deep:g} m"


def _by_form(layers: list[Layer]) -> dict[str, list[Layer]]:
    out: dict[str, list[Layer]] = {}
    for layer in {layer.path: layer for layer in layers}.values():
        out.setdefault(layer.form, []).append(layer)
    return out
