"""From a table of soundings to a surface with its uncertainty: the steps in their order."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from reefscan.base.errors import InputError
from reefscan.base.model import BLOCK, Sheet, Window
from reefscan.survey.blocks import Blocks, count_cells, reduce_blocks, sounding_noise
from reefscan.survey.clean import clean, distance_along, take
from reefscan.survey.crossings import Crossings, find_crossings, latency, session_biases, with_depths
from reefscan.survey.reduce import Tide, reduce_depths
from reefscan.survey.settings import SurveySettings
from reefscan.survey.surface import surface_cut, within
from reefscan.survey.table import REASONS, Soundings, sessions
from reefscan.survey.tune import Tuning, tune

Floats = NDArray[np.float64]
CELLS = (0.5, 1.0, 2.0, 4.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0)
"""Cell sizes (m) to choose from where the user gives none."""


@dataclass(frozen=True)
class Corrections:
    """What the person says about the boat and the water."""

    draft_m: float | None = None
    keel_m: float | None = None
    tide: Tide | None = None
    latency_s: float = 0.0
    level: bool = False


@dataclass(frozen=True)
class Prepared:
    """Soundings cleaned and reduced, and what was learnt on the way.

    Parameters
    ----------
    soundings : Soundings
        All of them; `depth` below the datum.
    corrections : list of dict
    before, after : Crossings
        Where tracks cross: cleaned but neither reduced nor levelled, and at the end.
    delay : (seconds, share) or None
        Position latency that would explain most of the disagreement: offered, not applied.
    noise_m, step_m, gap_m : float
        Noise of a sounding, distance between soundings, between tracks (m).
    """

    soundings: Soundings
    corrections: list[dict[str, object]]
    before: Crossings
    after: Crossings
    delay: tuple[float, float] | None
    noise_m: float
    step_m: float
    gap_m: float


def prepare(
    data: Soundings,
    settings: SurveySettings,
    corrections: Corrections | None = None,
    *,
    now_s: float | None = None,
) -> Prepared:
    """Clean, move by the stated latency, reduce, level if asked.

    Raises
    ------
    InputError
        Nothing is left after cleaning; see `reduce_depths` for the rest.
    """
    asked = corrections or Corrections()
    data = clean(data, settings.clean, now_s=now_s)
    if not data.kept.any():
        told, counts = dict(REASONS), data.tally()
        tally = "; ".join(f"{count} {told[name]}" for name, count in counts.items() if count)
        known = data.depth[np.isfinite(data.depth)]
        below = known.size > 0 and bool((known < 0).all())
        do = (
            "; if they are elevations, call the column elevation_m or say --columns elev_m=4" if below else ""
        )
        raise InputError(f"no sounding is left after cleaning: {tally}{do}")
    session = sessions(data)
    steps: list[dict[str, object]] = []
    if asked.latency_s:
        data = shift_by_latency(data, session, asked.latency_s)
        steps.append({"what": "latency", "soundings": len(data), "mean_m": 0.0,
                      "how": f"positions moved along the track by {asked.latency_s:g} s, as given"})  # fmt: skip
    reduced, done = reduce_depths(
        data, settings.reduce, draft_m=asked.draft_m, keel_m=asked.keel_m, tide=asked.tide
    )
    steps += done
    rows = np.flatnonzero(data.kept)
    raw, kept, of = take(data, rows), take(reduced, rows), session[rows]
    along, breaks = distance_along(kept, of)
    step = np.hypot(np.diff(kept.x), np.diff(kept.y))
    step = step[(step > 0) & ~breaks[1:]]
    step_m = float(np.median(step)) if step.size else 0.0
    longest = max(10.0 * step_m, 5.0)
    before = find_crossings(raw.x, raw.y, raw.depth, raw.time, of, breaks, longest_step_m=longest)
    after = with_depths(before, kept.depth)
    if asked.level:
        bias = session_biases(after, int(session.max()) + 1)
        steps.append({"what": "levelling", "soundings": rows.size, "mean_m": round(float(-bias[of].mean()), 3),
                      "how": "bias of each session from crossings: " + ", ".join(f"{b:+.2f} m" for b in bias[:12])})  # fmt: skip
        reduced = replace(reduced, depth=reduced.depth - bias[session])
        kept = take(reduced, rows)
        after = with_depths(before, kept.depth)
    gap = track_gap(kept.x, kept.y, along, breaks, fallback_m=max(10.0, 5.0 * step_m))
    delay = latency(kept.x, kept.y, kept.depth, kept.time, breaks, side_m=max(2.0, step_m))
    noise = sounding_noise(kept.depth, breaks)
    return Prepared(reduced, steps, before, after, delay, noise, step_m, gap)


def shift_by_latency(data: Soundings, session: NDArray[np.int32], seconds: float) -> Soundings:
    """Move each position to where the boat was ``seconds`` later, along its own track."""
    x, y = data.x.copy(), data.y.copy()
    for number in np.unique(session):
        rows = np.flatnonzero((session == number) & np.isfinite(data.time) & np.isfinite(data.x) & data.kept)
        if rows.size < 2:
            continue
        order = rows[np.argsort(data.time[rows], kind="stable")]
        t = data.time[order]
        later = t + seconds
        x[order] = np.interp(later, t, data.x[order])
        y[order] = np.interp(later, t, data.y[order])
    return replace(data, x=x, y=y)


def track_gap(x: Floats, y: Floats, along: Floats, breaks: NDArray[np.bool_], *, fallback_m: float) -> float:
    """Typical distance (m) from a track to the next one beside it; the fallback where there is none."""
    piece = np.cumsum(breaks)
    spot = np.floor(along / max(fallback_m / 10.0, 0.5)).astype(np.int64)
    thin = np.flatnonzero(np.r_[True, (np.diff(spot) != 0) | (np.diff(piece) != 0)])
    if thin.size < 20:
        return fallback_m
    tree = cKDTree(np.c_[x[thin], y[thin]])
    sample = thin[np.random.default_rng(3).choice(thin.size, min(2000, thin.size), replace=False)]
    distance, near = tree.query(np.c_[x[sample], y[sample]], k=min(96, thin.size))
    other = thin[near]
    run = np.abs(along[other] - along[sample][:, None])
    beside = (run > 3.0 * distance + 3.0 * fallback_m / 5.0) | (piece[other] != piece[sample][:, None])
    beside &= distance > 0.05 * fallback_m
    first = np.where(beside.any(axis=1), distance[np.arange(sample.size), beside.argmax(axis=1)], np.nan)
    if np.isfinite(first).mean() < 0.3:
        return fallback_m
    return float(np.nanmedian(first))


def choose_cell(prepared: Prepared) -> float:
    """A cell no finer than the soundings along the track, nor than a sixth of the gap between tracks."""
    want = max(prepared.step_m, prepared.gap_m / 6.0)
    return min((c for c in CELLS if c >= 0.75 * want), default=CELLS[-1])


@dataclass(frozen=True)
class SurveySurface:
    """A surface ready to be drawn window by window."""

    sheet: Sheet
    x: Floats
    y: Floats
    blocks: Blocks
    tuning: Tuning
    reach_m: float
    noise_m: float

    @property
    def margin(self) -> int:
        """Cells around a window that are looked at."""
        return int(np.ceil(4.0 * self.reach_m / self.sheet.cell_m)) + 4

    def windows(self) -> list[Window]:
        """World-aligned windows of up to `BLOCK` cells that can hold known cells, in order."""
        cell, reach = self.sheet.cell_m, self.reach_m
        found: set[tuple[int, int]] = set()
        for dx in (-reach, 0.0, reach):
            for dy in (-reach, 0.0, reach):
                col = np.floor((self.blocks.x + dx) / cell / BLOCK).astype(np.int64)
                row = np.floor(-(self.blocks.y + dy) / cell / BLOCK).astype(np.int64)
                keys = np.unique(row * (1 << 31) + col + (1 << 30))
                found.update((int(k >> 31), int(k & ((1 << 31) - 1)) - (1 << 30)) for k in keys)
        extent = self.extent()
        cuts = (Window(r * BLOCK, c * BLOCK, BLOCK, BLOCK).intersect(extent) for r, c in sorted(found))
        return [w for w in cuts if not w.empty]

    def extent(self) -> Window:
        """Window of all soundings and their reach."""
        r = self.reach_m
        return self.sheet.window_of(
            float(self.x.min()) - r, float(self.y.min()) - r, float(self.x.max()) + r, float(self.y.max()) + r
        )

    def cut(self, core: Window) -> Cut:
        """Elevation, uncertainty, count and distance for one window; the same values for any cut."""
        wide = core.grow(self.margin)
        west, south, east, north = self.sheet.bounds(wide)
        near = (self.x >= west) & (self.x < east) & (self.y >= south) & (self.y < north)
        count = count_cells(self.x[near], self.y[near], self.sheet, wide)
        elev, distance = surface_cut(
            within(self.blocks, (west, south, east, north)), count > 0, self.sheet, core,
            method=self.tuning.method, reach_m=self.reach_m, margin=self.margin,
            give_m=max(0.5, 2.0 * self.tuning.rough.overall),
        )  # fmt: skip
        inner = count[core.slices_in(wide)]
        sigma = np.full(elev.shape, np.nan)
        row, col = np.nonzero(np.isfinite(elev))
        rough = np.full(elev.shape, np.nan)
        if row.size:
            x = np.asarray(self.sheet.x_of(col.astype(np.float64) + core.col))
            y = np.asarray(self.sheet.y_of(row.astype(np.float64) + core.row))
            rough[row, col] = self.tuning.rough.at(x, y)
            sigma[row, col] = self.tuning.uncertainty.sigma(distance[row, col], rough[row, col])
        return Cut(core, elev, sigma, inner, distance, rough)

    def cuts(self) -> Iterator[Cut]:
        """Every window in turn."""
        return (self.cut(w) for w in self.windows())


@dataclass(frozen=True)
class Cut:
    """One window of the surface: elevation and uncertainty (m), soundings a cell, distance to data, roughness."""

    window: Window
    elev: Floats
    sigma: Floats
    count: NDArray[np.int32]
    distance: Floats
    rough: Floats


def make_surface(prepared: Prepared, sheet: Sheet, settings: SurveySettings) -> SurveySurface:
    """Tune the surface and make it ready.

    Parameters
    ----------
    prepared : Prepared
    sheet : Sheet
        Its CRS must be that of the soundings.
    settings : SurveySettings
    """
    kept = prepared.soundings.kept
    x, y = prepared.soundings.x[kept], prepared.soundings.y[kept]
    elev = -prepared.soundings.depth[kept]
    reach = settings.surface.reach_m or max(15.0, 3.0 * sheet.cell_m)
    tuning = tune(
        x,
        y,
        elev,
        cell_m=sheet.cell_m,
        gap_m=prepared.gap_m,
        noise_m=prepared.noise_m,
        settings=settings.surface,
    )
    blocks = reduce_blocks(x, y, elev, side_m=tuning.block_cells * sheet.cell_m)
    return SurveySurface(sheet, x, y, blocks, tuning, reach, prepared.noise_m)
