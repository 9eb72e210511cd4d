"""``reefscan layers``: terrain layers of a grid as GeoTIFFs."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from reefscan.base.errors import InputError, RunFolderError
from reefscan.cli.aroundoptions import WindFrom
from reefscan.cli.asking import asking
from reefscan.cli.gridarguments import GridArguments
from reefscan.cli.grouped import grouped
from reefscan.cli.options import (
    DatumShift,
    Json,
    Quiet,
    RecipeFile,
    asked,
    check_positive,
    make_recipe,
    metres,
)

if TYPE_CHECKING:
    from reefscan.base.model import GridSource, Window
    from reefscan.base.recipe import Find
    from reefscan.io.grids.source import SheetSource
    from reefscan.layers.terrain import Layer

WINDOW, LARGEST = 1024, 3072
"""Side (cells) of one window. It grows with the halo, so that reading the halo again for each window stays
cheap, up to a side at which all layers take about half a gigabyte, whatever the grid's size."""


OPEN_WATER = "fetch_m"
"""What names the layers of open water (`reefscan.pipeline.lee`)."""


@dataclass(frozen=True)
class OutOptions:
    """Which layers are written, and where."""

    only: Annotated[
        str | None,
        typer.Option(
            "--only",
            metavar="A,B,...",
            help="Layers to write, with commas between them. If not given: all.",
            show_default=False,
        ),
    ] = None
    out: Annotated[Path, typer.Option("--out", metavar="FOLDER", help="Where the files go.")] = Path("layers")
    replace: Annotated[bool, typer.Option("--replace", help="Write over files of an earlier call.")] = False
    listed: Annotated[
        bool, typer.Option("--list", help="List the layers, their units and sources, and stop.")
    ] = False

    def rows(self) -> Sequence[Layer]:
        """Rows of the table of layers that were asked for; open water is no row, for it follows from land alone."""
        from reefscan.layers.terrain import chosen

        names = self._names()
        if names is not None and OPEN_WATER in names:
            names.remove(OPEN_WATER)
            if not names:
                return ()
        return chosen(names)

    def wants_open_water(self) -> bool:
        """True if open water was asked for by its name."""
        return OPEN_WATER in (self._names() or ())

    def _names(self) -> list[str] | None:
        if self.only is None:
            return None
        return [name.strip() for name in self.only.split(",") if name.strip()]

    def files(self, names: Sequence[str], tail: str, grids: list[str]) -> dict[str, Path]:
        """File of each layer, by its name; refused where one is there and may not be written over."""
        from reefscan.io.outs import refuse_foreign

        files = {name: self.out / f"{name}{tail}.tif" for name in names}
        there = [path for path in files.values() if path.exists()]
        if there and not self.replace:
            raise RunFolderError(f"{there[0]}: exists already; say --replace, or another folder with --out")
        for path in there:
            refuse_foreign(path, [p for p in grids if "://" not in p and not Path(p).is_dir()])
        return files


@dataclass(frozen=True)
class LandOptions:
    """From what open water is measured."""

    land: Annotated[
        list[str] | None,
        asked(
            "--land",
            metavar="FILE",
            help="Land: also write layers of the open water (fetch_m).",
        ),
    ] = None
    wind_from: WindFrom = None


@grouped
def command(
    to: OutOptions,
    reading: GridArguments,
    shore: LandOptions,
    grid: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="GRID...", help="Seabed grids: files, folders or addresses.", show_default=False
        ),
    ] = None,
    recipe: RecipeFile = None,
    datum_shift: DatumShift = "0m",
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Write maps of slope, roughness and other measures of the ground.

    One GeoTIFF for each, with its unit and its source inside; radii come from the recipe, as in:
    reefscan layers coast.tif --only slope_deg,bpi_fine_m --out layers/
    """
    check_positive(reading.positive)
    rows = to.rows()
    if to.listed:
        _list(rows)
        return
    if not grid:
        raise InputError("no grid was named; write reefscan layers GRID.tif (or --list for the layers)")
    if not shore.land and (shore.wind_from or to.wants_open_water()):
        raise InputError(
            f"{OPEN_WATER}: open water is measured from land, and none was given; add --land FILE"
        )
    find = make_recipe(recipe, None, None).find

    from reefscan.io.grids.rasters import open_grids

    shift = metres("--datum-shift", datum_shift)

    def opened(said: GridArguments) -> list[SheetSource]:
        return open_grids(list(grid), datum_shift_m=shift, **said.keywords())

    sources = opened(reading) if quiet or as_json else asking(opened, reading)[0]
    if rows:
        _refuse_reach(sources, rows, find)  # before anything is written
    written = []
    for number, source in enumerate(sources, start=1):
        tail = f"-{number}" if len(sources) > 1 else ""
        files = to.files([row.name for row in rows], tail, list(grid))
        if files:
            _write(source, files, find, quiet=quiet or as_json)
        if shore.land:
            files |= _write_open_water(source, to, shore, tail, list(grid))
        written += [{"layer": name, "file": str(path)} for name, path in files.items()]
    if as_json:
        print(json.dumps({"schema": 1, "layers": written}, indent=2))
    else:
        for item in written:
            print(item["file"])


def _write_open_water(
    source: GridSource, to: OutOptions, shore: LandOptions, tail: str, grids: list[str]
) -> dict[str, Path]:
    """Write how far it is over open water, and return the files by their layers."""
    from reefscan.io.out.layers import layer_rasters
    from reefscan.pipeline.lee import fetch_layers

    lee = fetch_layers(source, shore.land or [], shore.wind_from)
    files = to.files(list(lee.layers), tail, [*grids, *(shore.land or [])])
    label = {"units": "m", "reference": "distance to land along a bearing (common practice, no source)"}
    toward = {name: f"toward {name[6:9]} degrees true" for name in lee.layers}
    if shore.wind_from:
        toward = dict.fromkeys(lee.layers, f"within 15 degrees of the wind from {shore.wind_from}")
    labels = {name: {**label, "long_name": f"open water {where}"} for name, where in toward.items()}
    settings = {"SOURCE": source.name, "LAND": ", ".join(Path(path).name for path in shore.land or [])}
    with layer_rasters(files, lee.sheet, lee.window, labels, settings=settings) as rasters:
        rasters.write(lee.window, lee.layers)
    return files


def _refuse_reach(sources: list[SheetSource], rows: Sequence[Layer], find: Find) -> None:
    """Refuse cells so small that the radii of the recipe reach over too many of them."""
    from reefscan.base.reach import refuse_reach
    from reefscan.layers.terrain import halo_cells

    for source in sources:
        cell_m = source.sheet.cell_m
        refuse_reach(halo_cells(find, cell_m, [row.name for row in rows]), find, cell_m)


def _list(rows: Sequence[Layer]) -> None:
    width = max(len(row.name) for row in rows)
    for row in rows:
        print(f"{row.name:<{width}}  {row.units:<6}  {row.long_name} [{row.reference}]")
    print(
        f"{OPEN_WATER:<{width}}  {'m':<6}  open water toward --wind-from, else in eight directions; wants --land"
    )


def _write(source: GridSource, files: dict[str, Path], find: Find, *, quiet: bool) -> None:
    from rich.console import Console
    from rich.progress import track

    from reefscan.io.out.layers import layer_rasters
    from reefscan.layers.terrain import LAYERS, attributes, halo_cells, wider_than, window_layers

    for sentence in wider_than(source.extent, source.sheet.cell_m, find, only=files):
        print(f"warning: {source.name}: {sentence}", file=sys.stderr)
    labels = {name: attributes(LAYERS[name]) for name in files}
    settings = {"SOURCE": source.name, "RECIPE_FIND": json.dumps(find.model_dump(), sort_keys=True)}
    windows = list(_windows(source.extent, halo_cells(find, source.sheet.cell_m, files)))
    console = Console(stderr=True)
    with layer_rasters(files, source.sheet, source.extent, labels, settings=settings) as rasters:
        steps = track(
            windows, source.name, console=console, disable=quiet or not console.is_terminal, transient=True
        )
        for window in steps:
            if source.depth_range(window) is None:
                continue
            rasters.write(window, window_layers(source, window, find, only=files))


def _windows(extent: Window, halo: int) -> Iterator[Window]:
    from reefscan.base.model import BLOCK, Window

    side = min(max(WINDOW, 2 * halo // BLOCK * BLOCK), LARGEST)
    for row in range(extent.row, extent.row_end, side):
        for col in range(extent.col, extent.col_end, side):
            yield Window(row, col, min(side, extent.row_end - row), min(side, extent.col_end - col))
