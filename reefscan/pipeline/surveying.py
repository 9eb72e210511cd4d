"""The composition of a survey: logs read, soundings cleaned and reduced, a grid and its report written."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reefscan.base.caution import OF_SOUNDINGS
from reefscan.base.model import BLOCK, Sheet, Window
from reefscan.io import words
from reefscan.io.grids.ground import Onto, PublicGround, open_ground
from reefscan.io.logs.soundings import ReadOptions, list_logs, read_found, refuse_two_ways, tabulate
from reefscan.io.out.soundings_grid import GridCells, refuse_cells, write_grid
from reefscan.io.outs import refuse_foreign, write_out
from reefscan.io.room import refuse_memory
from reefscan.pipeline.size import expect_grid, hours
from reefscan.pipeline.surveyfacts import SCHEMA, Laid, Surveyed, survey_facts
from reefscan.render import survey_figures as figures
from reefscan.render.survey_report import survey_report
from reefscan.score.limits import INTERVALS
from reefscan.score.reasons import length_words
from reefscan.survey.build import Corrections, Prepared, SurveySurface, choose_cell, make_surface, prepare
from reefscan.survey.fuse import OWN, Bias, estimate_bias, fuse
from reefscan.survey.next_lines import CoarseGround, Line, plan_lines
from reefscan.survey.reduce import measured_from, refuse_undated, refuse_without_keel
from reefscan.survey.settings import SurveySettings
from reefscan.survey.summed_up import summed_up
from reefscan.survey.surface import distance_to_data
from reefscan.survey.table import REASONS, Log, Soundings

Floats = NDArray[np.float64]
OVERVIEW = 900
PUBLIC_SIGMA_M = 1.0
"""Uncertainty given to a public grid that states none: order 2 of S-44 at 40 m is 0.69 m, rounded up."""


@dataclass(frozen=True)
class Order:
    """What is asked for.

    Parameters
    ----------
    logs : sequence of Path
    out : Path
    cell_m : float or None
        None: chosen from the tracks.
    onto : Onto or None
        Public grid to set the survey into, and how it is read.
    next_m : float
        Distance for the lines to survey next; 0 for none.
    unit : {"m", "ft", "fathom"}
        Of the three lines that sum it up.
    datum : str
        Level that the depths are counted from when all is taken off; empty where the person does not say it.
    """

    logs: Sequence[Path]
    out: Path
    reading: ReadOptions = ReadOptions()
    corrections: Corrections = field(default_factory=Corrections)
    settings: SurveySettings = SurveySettings()
    cell_m: float | None = None
    onto: Onto | None = None
    next_m: float = 2000.0
    now_s: float | None = None
    unit: str = "m"
    datum: str = ""


@dataclass
class _Overview:
    """Coarse rasters gathered while the grid is written."""

    sheet: Sheet
    extent: Window
    step: int
    sums: dict[str, Floats] = field(default_factory=dict)

    def add(self, window: Window, **layers: NDArray[Any]) -> None:
        rows = (np.arange(window.row, window.row_end) - self.extent.row) // self.step
        cols = (np.arange(window.col, window.col_end) - self.extent.col) // self.step
        shape = (-(-self.extent.height // self.step), -(-self.extent.width // self.step))
        flat = (rows[:, None] * shape[1] + cols[None, :]).ravel()
        for name, values in layers.items():
            v = np.asarray(values, float).ravel()
            ok = np.isfinite(v)
            for key, weight in ((name, v[ok]), (f"n {name}", np.ones(int(ok.sum())))):
                total = np.bincount(flat[ok], weight, minlength=shape[0] * shape[1]).reshape(shape)
                self.sums[key] = self.sums.get(key, np.zeros(shape)) + total

    def mean(self, name: str) -> Floats:
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.asarray(
                np.where(self.sums[f"n {name}"] > 0, self.sums[name] / self.sums[f"n {name}"], np.nan)
            )

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, east, south, north of the coarse lattice."""
        rows, cols = -(-self.extent.height // self.step), -(-self.extent.width // self.step)
        west, _, _, north = self.sheet.bounds(self.extent)
        size = self.sheet.cell_m * self.step
        return west, west + cols * size, north - rows * size, north


@dataclass(frozen=True)
class Read:
    """What was read for a survey: all that can be asked of a person is answered.

    Attributes
    ----------
    logs : list of Log
    skipped : list of str
        What is wrong with each that was left out.
    table : Soundings
    crs : str
        System of the grid.
    public : PublicGround or None
        The grid that the soundings are set into.
    """

    logs: list[Log]
    skipped: list[str]
    table: Soundings
    crs: str
    public: PublicGround | None

    @property
    def wants_draft(self) -> bool:
        """True where depths count from a transducer and no log says how deep that is."""
        return bool(measured_from(self.table, "transducer").any())


def read_survey(order: Order, *, say: Callable[[str], None] = lambda _: None) -> Read:
    """Read the logs and open the public grid; what leaves something open is refused here, before the work.

    Raises
    ------
    ReefscanError
        In one line, where something cannot be used as it is.
    """
    paths = list_logs(order.logs)
    for out in _outs(order):
        refuse_foreign(out, [*paths, *([order.onto.path] if order.onto else [])])
    refuse_two_ways(paths, order.logs, order.reading)
    public = open_ground(order.onto) if order.onto else None
    say(f"reading {len(paths)} log{'s' if len(paths) > 1 else ''}")
    logs, skipped = read_found(paths, order.logs, order.reading)
    table, crs = tabulate(logs)
    refuse_without_keel(table, order.corrections.keel_m)
    if order.corrections.tide is not None:
        refuse_undated(table, logs)
    return Read(logs, skipped, table, crs, public)


def _outs(order: Order) -> tuple[Path, Path, Path]:
    """The grid, its facts, its report."""
    stem = order.out.with_suffix("")
    return order.out, stem.with_name(stem.name + ".report.json"), stem.with_name(stem.name + ".report.html")


def run_survey(order: Order, read: Read, *, say: Callable[[str], None] = lambda _: None) -> dict[str, Any]:
    """Clean, reduce, grid, report.

    Parameters
    ----------
    order : Order
    read : Read
        Of the same order, by `read_survey`.
    say : callable
        Called with each step in a few words.

    Returns
    -------
    dict
        The facts, as written to ``<out>.report.json``.

    Raises
    ------
    ReefscanError
        In one line, where something cannot be used as it is.
    """
    logs, skipped, table, crs, public = read.logs, read.skipped, read.table, read.crs, read.public
    say(f"cleaning {len(table):,} soundings")
    ready = prepare(table, order.settings, order.corrections, now_s=order.now_s)
    cell = order.cell_m or choose_cell(ready)
    sheet = Sheet(crs, cell)
    say(
        f"fitting the surface ({int(ready.soundings.kept.sum()):,} soundings kept, cells of {length_words(cell, order.unit)})"
    )
    surface = make_surface(ready, sheet, order.settings)
    extent = surface.extent()
    if public is not None:
        extent = extent.union(public.window_on(sheet))
    _refuse_size(surface, extent)
    say(_work_ahead(surface, extent, public))
    overview = _Overview(sheet, extent, max(1, -(-max(extent.height, extent.width) // OVERVIEW)))
    onto = None if public is None else Laid(public, _bias(surface, public))
    say("drawing the grid")
    tags = {"reefscan_schema": SCHEMA, "reefscan_caution": OF_SOUNDINGS}
    if public is None:  # ground between the tracks is the public grid's, which has its own limits
        tags[words.BETWEEN_TRACKS] = f"{ready.gap_m:.1f}"
    if order.datum:
        tags[words.DATUM] = order.datum
    write_grid(
        order.out,
        sheet,
        extent,
        _parts(surface, onto, overview, extent, order.settings),
        tags=tags,
    )
    lines = _next(overview, surface, order.next_m) if order.next_m > 0 else []
    covered_km2 = float(overview.sums["n elev"].sum()) * sheet.cell_m**2 / 1e6
    facts = survey_facts(
        Surveyed(
            order.out.name,
            order.corrections,
            order.settings,
            logs,
            skipped,
            ready,
            surface,
            covered_km2,
            onto,
            lines,
        )
    )
    narrowest_m = INTERVALS["trough"] * max(sheet.cell_m, ready.gap_m)
    summary = summed_up(facts, narrowest_m=narrowest_m, unit=order.unit, datum=order.datum)
    facts = {"summary": summary, "datum": order.datum, **facts}
    say("writing the report")
    pictures = _pictures(ready, surface, overview, lines, order.unit)
    _, told, report = _outs(order)
    write_out(told, json.dumps(facts, indent=1, allow_nan=False) + "\n")
    write_out(report, survey_report(facts, pictures, unit=order.unit))
    return facts


def _work_ahead(surface: SurveySurface, extent: Window, public: PublicGround | None) -> str:
    """How large the grid will be, and how long it takes."""
    windows = len(surface.windows()) if public is None else extent.height * extent.width // BLOCK**2 + 1
    took = hours(expect_grid(surface, times=1 if public is None else 2))
    return f"{extent.width:,} x {extent.height:,} cells, in about {windows:,} part{'s' if windows > 1 else ''} of {BLOCK} x {BLOCK}: {took} on an idle machine"


_BYTES_A_CELL = 150
"""Memory for each cell that is looked at for a part of the grid (measured: 117)."""


def _refuse_size(surface: SurveySurface, extent: Window) -> None:
    """Refuse a grid that will not fit, before it is begun.

    Raises
    ------
    InputError
        With the option that would.
    """
    cell = surface.sheet.cell_m
    refuse_cells(surface.sheet, extent)
    refuse_memory(
        _BYTES_A_CELL * float(BLOCK + 2 * surface.margin) ** 2,
        f"each part of a grid of {cell:g} m cells with a reach of {surface.reach_m:g} m",
        "say a shorter --reach or a larger --cell",
    )


def _bias(surface: SurveySurface, public: PublicGround) -> Bias:
    own, other = [], []
    for cut in surface.cuts():
        # Only cells with soundings speak: interpolated ground would repeat its neighbours.
        seen = np.isfinite(cut.elev) & (cut.count > 0)
        elev, _ = public.on_lattice(surface.sheet, cut.window)
        own.append(cut.elev[seen])
        other.append(elev[seen])
    return estimate_bias(np.concatenate(own), np.concatenate(other))


def _parts(
    surface: SurveySurface, onto: Laid | None, overview: _Overview, extent: Window, settings: SurveySettings
) -> Iterator[GridCells]:
    if onto is None:
        for cut in surface.cuts():
            source = np.where(np.isfinite(cut.elev), OWN, 0).astype(np.uint8)
            overview.add(
                cut.window,
                elev=cut.elev,
                sigma=cut.sigma,
                rough=cut.rough,
                seen=np.where(cut.count > 0, 1.0, np.nan),
            )
            yield GridCells(cut.window, cut.elev, cut.sigma, cut.count, source)
        return
    blend = settings.surface.blend_m
    margin = int(np.ceil(2.0 * blend / surface.sheet.cell_m)) + 2
    own_near = surface.extent().grow(margin)
    for row in range(extent.row // BLOCK, -(-extent.row_end // BLOCK)):
        for col in range(extent.col // BLOCK, -(-extent.col_end // BLOCK)):
            core = Window(row * BLOCK, col * BLOCK, BLOCK, BLOCK).intersect(extent)
            wide = core.grow(margin)
            elev, sigma = onto.ground.on_lattice(surface.sheet, wide)
            sigma = np.where(np.isfinite(elev) & ~np.isfinite(sigma), PUBLIC_SIGMA_M, sigma)
            shape = (core.height, core.width)
            source = np.where(np.isfinite(elev), 3, 0).astype(np.uint8)
            inner = core.slices_in(wide)
            count, rough = np.zeros(shape, np.int32), np.full(shape, np.nan)
            if not wide.intersect(own_near).empty:
                cut = surface.cut(wide)
                elev, sigma, source = fuse(
                    cut.elev,
                    cut.sigma,
                    elev,
                    sigma,
                    bias=onto.bias,
                    cell_m=surface.sheet.cell_m,
                    blend_m=blend,
                )
                count, rough = cut.count[inner], cut.rough[inner]
            # how many soundings a public grid has in a cell it does not tell
            count = np.where(source[inner] == OWN, count, -1).astype(np.int32)
            part = GridCells(core, elev[inner], sigma[inner], count, source[inner])
            overview.add(
                core, elev=part.elev, sigma=part.sigma, rough=rough, seen=np.where(count > 0, 1.0, np.nan)
            )
            yield part


def _next(overview: _Overview, surface: SurveySurface, budget_m: float) -> list[Line]:
    west, _, _, north = overview.bounds
    cell = surface.sheet.cell_m * overview.step
    seen = overview.sums["n seen"] > 0
    ground = CoarseGround(
        overview.mean("elev"), distance_to_data(seen, cell), overview.mean("rough"), cell, west, north
    )
    thin = max(1, int(np.ceil(max(seen.shape) / 320)))  # fine enough for lines, and quick
    if thin > 1:
        ground = CoarseGround(
            ground.elev[::thin, ::thin],
            ground.distance[::thin, ::thin],
            ground.rough[::thin, ::thin],
            cell * thin,
            west,
            north,
        )
    return plan_lines(ground, surface.tuning.uncertainty, budget_m=max(budget_m, 4.0 * ground.cell_m))


def _pictures(
    ready: Prepared, surface: SurveySurface, overview: _Overview, lines: list[Line], unit: str
) -> dict[str, bytes]:
    data = ready.soundings
    names = [name for name, _ in REASONS]
    west, south, east, north = surface.sheet.bounds(surface.extent().grow(8))
    view = (west, east, south, north)
    plan = figures.Plan(overview.mean("elev"), overview.mean("sigma"), overview.bounds)
    out = {
        "depth": figures.depth_map(plan, unit),
        "uncertainty": figures.uncertainty_map(plan, [(g.x0, g.y0, g.x1, g.y1) for g in lines], view, unit),
        "aside": figures.aside_map(data.x, data.y, data.reason, names, view),
        "profile": figures.track_profile(data.depth, data.reason, names, unit),
    }
    if ready.after.difference.size:
        out["crossings"] = figures.crossing_histogram(ready.before.difference, ready.after.difference, unit)
    if surface.tuning.residuals.shape[0]:
        out["residuals"] = figures.residual_histogram(
            surface.tuning.residuals[:, 0] / surface.tuning.residuals[:, 1]
        )
    return out
