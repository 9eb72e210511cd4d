"""The five sets of planted seabeds, each a function of a seed alone.

- ``simple``: smooth sand, troughs at every bearing, ledges, piles from 1.2 m; decoys: banks, ramps, sand waves, seams, spikes, gaps,
  the same structures too deep and too shallow.
- ``hard``: patches of fractal rock beside sand, sinuous gullies with unequal crests, curved ledges whose foot lies in sand, boulder fields, a rubble
  ridge from land, seams, ripple, spikes, gaps, half the grid interpolated from four times coarser data.
- ``dug``: dredged channels, trenches, pits, spoil, sand waves and ridges beside real gullies and ledges.
- ``sure``: structures whose heights are spread evenly about the asked height, noise white or correlated, the grid's uncertainty band absent, right,
  or wrong by two either way (``facts["band"]`` 0, 1, 2, 0.5): for calibration.
- ``sounded``: the same seabeds as tracks of soundings 12 to 40 m apart show them (`planted.sounded`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import gaussian_filter

from planted import forms, moved, survey
from planted.forms import Ground
from planted.reference import rise_at, trough_at
from planted.sounded import as_sounded
from planted.truth import Planted, Seabed

Grid = NDArray[np.float64]
SIDES = {1.0: 1024, 2.0: 640, 3.0: 448, 4.0: 384, 8.0: 256}
APART_M = 100.0
"""Clear ground between two objects: sites of two neighbours never stand in each other's spacing."""


def _ground(rng: np.random.Generator, cell_m: float) -> Ground:
    """Land on one side, a shelf from 3 to 13 m over most of the grid, 20 m on the far side; sand that undulates a little."""
    side = SIDES[cell_m]
    x, y = np.meshgrid((np.arange(side) + 0.5) * cell_m, -(np.arange(side) + 0.5) * cell_m)
    b = rng.uniform(0, 2 * np.pi)
    s = x * np.sin(b) + y * np.cos(b)
    s = (s - s.min()) / (s.max() - s.min())
    depth = PchipInterpolator([0, 0.08, 0.2, 0.82, 0.93, 1], [-3, 0.5, 4.5, 12.5, 18, 22])(s)
    sand = survey.correlated(rng, x.shape, 60 / cell_m) * rng.uniform(0.05, 0.2)
    return Ground(x, y, cell_m, -(depth + sand), np.zeros_like(x), np.zeros_like(x))


def _place(
    rng: np.random.Generator, g: Ground, line: Grid, taken: list[Planted], reach: float, lo: float, hi: float
) -> Grid | None:
    """Move a line to where all of it has ground between two depths, clear of the edge and of all else; None if nowhere."""
    size = g.x.shape[0] * g.cell_m
    others = (
        np.concatenate([p.line[:: max(1, len(p.line) // 60)] for p in taken]) if taken else np.empty((0, 2))
    )
    room = np.concatenate(
        [np.full(len(p.line[:: max(1, len(p.line) // 60)]), p.half_width_m) for p in taken] or [[]]
    )
    probe = line[:: max(1, len(line) // 40)]
    for _ in range(400):
        at = np.array([rng.uniform(0, size), -rng.uniform(0, size)])
        p = probe + at
        edge = reach + 45
        if (
            p.min(0)[0] < edge
            or p.max(0)[0] > size - edge
            or p.max(0)[1] > -edge
            or p.min(0)[1] < edge - size
        ):
            continue
        rows, cols = (-p[:, 1] / g.cell_m).astype(int), (p[:, 0] / g.cell_m).astype(int)
        depth = -g.base[rows, cols]
        if depth.min() < lo or depth.max() > hi:
            continue
        if len(others):
            gap = np.hypot(*(p[:, None, :] - others[None]).transpose(2, 0, 1)) - room[None] - reach
            if gap.min() < APART_M:
                continue
        return np.asarray(line + at)
    return None


def _structure(
    rng: np.random.Generator,
    g: Ground,
    taken: list[Planted],
    kind: str,
    *,
    rough: bool,
    zone: str,
    height_m: float | None = None,
) -> None:
    """Plant one real structure of a kind in a depth zone ('band', 'deep', 'shallow'), if there is room."""
    cell = g.cell_m
    point = np.zeros((1, 2))
    bounds = {"band": (5.0, 14.0), "deep": (17.0, 40.0), "shallow": (0.8, 2.6)}[zone]
    if kind == "trough":
        width = max(rng.uniform(8, 40), 4.6 * cell)
        steepest = min(5.0, width / 3)
        depth = height_m or rng.uniform(1.2, max(1.3, steepest))
        line = forms.gully_line(rng, width, sinuous=rough or rng.random() < 0.5)
        hi = bounds[1] - depth if zone == "band" else bounds[1]
        lo, hi = (bounds[0], hi) if zone != "shallow" else (0.5, max(1.0, 3.2 - depth))
        placed = _place(rng, g, line, taken, width / 2, lo, hi)
        if placed is not None:
            taken.append(
                replace(forms.trough(rng, g, placed, rough, width_m=width, depth_m=depth), role=zone)
            )
    elif kind == "ledge":
        height = height_m or rng.uniform(1.2, 4.0)
        run = max(height * rng.uniform(0.25, 0.9), 1.2 * cell)
        line = forms.ledge_line(rng, curved=rough or rng.random() < 0.5)
        placed = _place(rng, g, line, taken, 10, *bounds)
        if placed is not None:
            taken.append(replace(forms.ledge(rng, g, placed, rough, height_m=height, run_m=run), role=zone))
    elif kind == "pile":
        height = height_m or rng.uniform(1.2, 3.0)
        radius = max(rng.uniform(3.5, 9), 1.1 * height, 2.4 * cell)
        placed = _place(rng, g, point, taken, radius, *bounds)
        if placed is not None:
            taken.append(
                replace(forms.pile(rng, g, placed, rough, height_m=height, radius_m=radius), role=zone)
            )
    else:
        placed = _place(rng, g, point, taken, 18, *bounds)
        if placed is not None:
            taken.append(
                replace(forms.boulder_field(rng, g, placed, rough, top_m=rng.uniform(1.2, 2.2)), role=zone)
            )


def _rubble(rng: np.random.Generator, g: Ground, taken: list[Planted]) -> None:
    """A rubble ridge from the shore outward, down the slope of the ground."""
    rows, cols = np.nonzero((g.base > -2.5) & (g.base < -1.0))
    if not len(rows):
        return
    down_r, down_c = np.gradient(gaussian_filter(g.base, 20 / g.cell_m))
    for _ in range(60):
        i = rng.integers(len(rows))
        r, c = rows[i], cols[i]
        heading = np.arctan2(-down_c[r, c], down_r[r, c]) + rng.uniform(-0.4, 0.4)
        s = np.arange(0, rng.uniform(170, 260), 0.5)
        line = np.array([g.x[r, c], g.y[r, c]]) + s[:, None] * np.array([np.sin(heading), np.cos(heading)])
        if _clear(g, line, taken):
            made = forms.rubble(rng, g, line, True, height_m=rng.uniform(3, 5))
            rr, cc = (-line[:, 1] / g.cell_m).astype(int), (line[:, 0] / g.cell_m).astype(int)
            inside = (-g.base[rr, cc] > 5) & (-g.base[rr, cc] < 14) & made.full
            taken.append(replace(made, role="band" if inside.sum() > 80 else "optional", full=inside))
            return


def _clear(g: Ground, line: Grid, taken: list[Planted]) -> bool:
    size = g.x.shape[0] * g.cell_m
    if (
        line.min(0)[0] < 60
        or line.max(0)[0] > size - 60
        or line.max(0)[1] > -60
        or line.min(0)[1] < 60 - size
    ):
        return False
    return all(p.nearest(line[::20])[0].min() > APART_M + p.half_width_m for p in taken)


def _rock(rng: np.random.Generator, g: Ground, *, share: float) -> Grid:
    """Fractal rock, scaled so that by itself it hardly ever reaches the asked height; bares patches of it on the ground.

    Half the seeds have 2-D power 3.2-3.6 (profiles of slope 2.2-2.6), half 2.2-2.6 (far spikier), since both readings are met in practice.
    """
    side = g.x.shape[0]
    power = rng.uniform(2.2, 2.6) + (1.0 if rng.random() < 0.5 else 0.0)
    texture = survey.fractal(rng, side, power=power, cell_m=g.cell_m, outer_m=60)
    rows, cols = rng.uniform(60, side - 60, (2, 400))
    tall = np.maximum(
        trough_at(texture, rows, cols, cell_m=g.cell_m), rise_at(texture, rows, cols, cell_m=g.cell_m)
    )
    blob = gaussian_filter(rng.standard_normal(g.x.shape), 45 / g.cell_m, mode="reflect")
    cut = np.quantile(blob, 1 - share)
    patch = np.clip((blob - cut) / (0.12 * blob.std()), 0, 1)
    g.rock[:] = patch
    return np.asarray(texture * (rng.uniform(0.7, 0.95) / np.quantile(tall, 0.98)))


def _finish(
    rng: np.random.Generator,
    name: str,
    seed: int,
    g: Ground,
    texture: Grid | float,
    taken: list[Planted],
    *,
    white: float,
    soft: float = 0.0,
    soft_cells: float = 1.5,
    seam_m: float = 0.0,
    ripple_m: float = 0.0,
    spike_share: float = 0.0,
    gap_share: float = 0.0,
    coarse: bool = False,
    band: float = 1.0,
) -> Seabed:
    """Add up the ground, survey it, and settle every object's role."""
    shape = g.x.shape
    true = g.base + g.add + g.rock * texture
    noisy = true + white * rng.standard_normal(shape) + soft * survey.correlated(rng, shape, soft_cells)
    if seam_m:
        noisy += survey.seams(rng, g.x, g.y, size_m=seam_m)
    if ripple_m:
        noisy += survey.ripple(rng, g.x, g.y, height_m=ripple_m)
    half = np.zeros(shape, dtype=bool)
    if coarse:
        side, axis = shape[0] // 2, rng.integers(4)
        half[(slice(side), slice(side, None))[axis % 2]] = True
        half = half if axis < 2 else half.T.copy()
        noisy = np.where(half, survey.coarsen(noisy, 4), noisy)
    if spike_share:
        noisy = np.where(half, noisy, survey.spikes(rng, noisy, share=spike_share))
    sigma = np.sqrt(white**2 + soft**2 + seam_m**2 / 12 + ripple_m**2 / 8) * np.ones(shape)
    if gap_share:
        lost = survey.gaps(rng, shape, g.cell_m, share=gap_share)
        noisy[lost & (~half | (rng.random(shape) < 0.0))] = np.nan
    planted = [_settle(p, g, half, noisy) for p in taken]
    return Seabed(
        name,
        seed,
        g.cell_m,
        noisy.astype(np.float32),
        true,
        g.add.copy(),
        (band * sigma).astype(np.float32) if band else None,
        sigma,
        half,
        planted,
        facts={"band": band, "white": white, "soft": soft},
    )


def _settle(p: Planted, g: Ground, half: NDArray[np.bool_], noisy: Grid) -> Planted:
    """'band' becomes *real*, or *optional* where interpolation or a gap took what would show it."""
    if p.role in ("dug", "moving", "decoy", "deep", "shallow", "optional"):
        return p
    line = p.line[p.full] if p.full.any() else p.line
    rows, cols = (-line[:, 1] / g.cell_m).astype(int), (line[:, 0] / g.cell_m).astype(int)
    in_coarse = half[rows, cols].mean() > 0.3
    known = np.isfinite(noisy[rows, cols]).mean()
    step = 4 * g.cell_m if in_coarse else g.cell_m
    fine_enough = {
        "trough": p.width_m >= 4 * step,
        "rise": p.width_m >= 4 * step,
        "ledge": p.height_m * (step <= 8 / 3 or not in_coarse) > 0,
        "rubble": p.width_m >= 4 * step,
    }[p.kind]
    if p.kind == "rise" and p.width_m > 24 and in_coarse:
        fine_enough = False
    return replace(p, role="real" if fine_enough and known > 0.6 else "optional", in_coarse=bool(in_coarse))


def _cell(rng: np.random.Generator) -> float:
    return float(rng.choice([1.0, 2.0, 3.0, 4.0], p=[0.35, 0.4, 0.15, 0.1]))


def simple(seed: int) -> Seabed:
    """Smooth sand with clean structures and decoys."""
    rng = np.random.default_rng([1, seed])
    g = _ground(rng, _cell(rng))
    taken: list[Planted] = []
    kinds = ["trough"] * 4 + ["ledge"] * 2 + ["pile"] * 2
    for kind in kinds:
        _structure(rng, g, taken, kind, rough=False, zone="band")
    for zone in ("deep", "shallow"):
        for kind in ("trough", "ledge", "pile"):
            _structure(rng, g, taken, kind, rough=False, zone=zone)
    for make, reach in ((moved.waves, 130.0), (moved.bank, 120.0), (moved.even_ramp, 130.0)):
        _moved(rng, g, taken, make, reach)
    return _finish(
        rng, "simple", seed, g, 0.0, taken, white=0.05, seam_m=rng.uniform(0.1, 0.3), spike_share=3e-4,
        gap_share=0.02, band=float(seed % 2),
    )  # fmt: skip


def _moved(
    rng: np.random.Generator,
    g: Ground,
    taken: list[Planted],
    make: Callable[[np.random.Generator, Ground, Grid], Planted],
    reach: float,
) -> None:
    at = _place(rng, g, np.zeros((1, 2)), taken, reach, 4.0, 14.0)
    if at is not None:
        taken.append(make(rng, g, at))


def hard(seed: int) -> Seabed:
    """Fractal rock beside sand, everything a survey does wrong, half of it interpolated."""
    rng = np.random.default_rng([2, seed])
    g = _ground(rng, _cell(rng))
    texture = _rock(rng, g, share=rng.uniform(0.25, 0.4))
    taken: list[Planted] = []
    if rng.random() < 0.6:
        _rubble(rng, g, taken)
    for kind in ["trough"] * 4 + ["ledge"] * 3 + ["pile"] * 2 + ["boulders"]:
        _structure(rng, g, taken, kind, rough=True, zone="band")
    return _finish(
        rng, "hard", seed, g, texture, taken, white=rng.uniform(0.03, 0.08), soft=rng.uniform(0.0, 0.05),
        seam_m=rng.uniform(0.1, 0.3), ripple_m=rng.uniform(0.05, 0.15), spike_share=2e-4, gap_share=0.02,
        coarse=True, band=float(seed % 2),
    )  # fmt: skip


def dug(seed: int) -> Seabed:
    """Dug and moving ground beside real gullies and ledges."""
    rng = np.random.default_rng([3, seed])
    g = _ground(rng, _cell(rng))
    texture = _rock(rng, g, share=rng.uniform(0.1, 0.25))
    taken: list[Planted] = []
    for kind in ["trough"] * 2 + ["ledge"]:
        _structure(rng, g, taken, kind, rough=True, zone="band")
    makers: list[tuple[Callable[[np.random.Generator, Ground, Grid], Planted], float]] = [
        (moved.channel, 60), (moved.trench, 40), (moved.scour, 20), (moved.anchor_pits, 40), (moved.spoil, 60),
        (moved.waves, 130), (moved.sand_ridge, 110),
    ]  # fmt: skip
    for i in rng.permutation(len(makers))[:5]:
        _moved_line(rng, g, taken, *makers[i])
    for kind in ["trough", "ledge"]:
        _structure(rng, g, taken, kind, rough=True, zone="band")
    return _finish(
        rng, "dug", seed, g, texture, taken, white=rng.uniform(0.03, 0.06), soft=0.02,
        seam_m=rng.uniform(0.0, 0.15), spike_share=1e-4, gap_share=0.01, band=float(seed % 2),
    )  # fmt: skip


def _moved_line(
    rng: np.random.Generator,
    g: Ground,
    taken: list[Planted],
    make: Callable[[np.random.Generator, Ground, Grid], Planted],
    reach: float,
) -> None:
    """Plant dug or moving ground, undone and tried again while it runs over something else or off the grid."""
    add, rock = g.add.copy(), g.rock.copy()
    size = g.x.shape[0] * g.cell_m
    for _ in range(25):
        at = _place(rng, g, np.zeros((1, 2)), taken, reach * 0.5, 5.0, 12.0)
        if at is None:
            return
        made = make(rng, g, at)
        line = made.line[:: max(1, len(made.line) // 60)]
        on_grid = (
            line.min(0)[0] > 20
            and line.max(0)[0] < size - 20
            and line.max(0)[1] < -20
            and line.min(0)[1] > 20 - size
        )
        apart = all(p.nearest(line)[0].min() > p.half_width_m + made.half_width_m + 60 for p in taken)
        if on_grid and apart:
            taken.append(made)
            return
        g.add[:], g.rock[:] = add, rock


def sure(seed: int) -> Seabed:
    """Heights spread evenly about the asked height, on plain sand."""
    rng = np.random.default_rng([4, seed])
    g = _ground(rng, float(rng.choice([1.0, 2.0])))
    taken: list[Planted] = []
    for kind in ["trough", "ledge", "pile"] * 7:
        _structure(rng, g, taken, kind, rough=False, zone="band", height_m=rng.uniform(0.4, 1.8))
    band = (0.0, 1.0, 2.0, 0.5)[seed % 4]
    noise = float(rng.choice([0.06, 0.12, 0.2]))
    white, soft = (noise, 0.0) if (seed // 4) % 2 == 0 else (0.3 * noise, 0.95 * noise)
    return _finish(
        rng,
        "sure",
        seed,
        g,
        0.0,
        taken,
        white=white,
        soft=soft,
        soft_cells=float(rng.choice([1.5, 3.0])),
        band=band,
    )


def sounded(seed: int) -> Seabed:
    """The seabed of `sure` drawn between tracks; three ways of drawing take turns."""
    return as_sounded(
        sure(seed), how=seed % 3, apart_m=float(np.random.default_rng([6, seed]).uniform(12, 40))
    )


SETS: dict[str, Callable[[int], Seabed]] = {
    "simple": simple, "hard": hard, "dug": dug, "sure": sure, "sounded": sounded,
}  # fmt: skip


def plant(name: str, seed: int) -> Seabed:
    """The seabed of a set and a seed; the same every time."""
    return SETS[name](seed)
