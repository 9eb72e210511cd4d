"""The examiner examined: naive heights against closed forms, the truth against the surface, the judge against lists of known worth."""

from __future__ import annotations

import dataclasses
from functools import partial

import numpy as np
import pytest
import surfaces
from numpy.testing import assert_allclose, assert_array_equal

from planted import SETS, plant
from planted.judge import Site, judge, true_height
from planted.lines_judged import trace
from planted.reference import floor_slope_deg, ledge_at, rise_at, tallest_near, trough_at
from planted.truth import Planted, Seabed

MIDDLE = np.array([60.0])
NAN = float("nan")


def _grid(surface, **options):
    return surfaces.sample(partial(surface, **options), 121, 121)


@pytest.mark.parametrize("bearing", [0, 22.5, 33, 45, 71])
def test_naive_heights_are_zero_on_every_plane(bearing):
    z = _grid(surfaces.plane, gradient=0.1, facing_deg=bearing)
    rows, cols = np.array([60.0, 55.0]), np.array([60.0, 64.0])
    for measure in (trough_at, ledge_at, rise_at):
        assert_allclose(measure(z, rows, cols, cell_m=1.0), 0, atol=1e-12)


@pytest.mark.parametrize("axis", [0, 22.5, 45, 90, 135])
def test_naive_trough_reads_the_lower_crest_of_a_v(axis):
    """Check values: 2.0, less at most .45 x flank x cell."""
    z = _grid(surfaces.v_trough, axis_deg=axis)
    assert_allclose(trough_at(z, MIDDLE, MIDDLE, cell_m=1.0, radius_m=15), 2.0, atol=0.135)
    assert_allclose(trough_at(z, MIDDLE, MIDDLE, cell_m=1.0, radius_m=5), 1.25, atol=0.06)


@pytest.mark.parametrize("facing", [0, 22.5, 45, 200])
@pytest.mark.parametrize("gradient", [0, 0.05, 0.2])
def test_naive_ledge_reads_a_step_whatever_the_slope(facing, gradient):
    z = _grid(surfaces.step, facing_deg=facing, gradient=gradient, ground_facing_deg=facing + 60)
    assert_allclose(ledge_at(z, MIDDLE, MIDDLE, cell_m=1.0), 2.0, atol=1e-9)
    assert_allclose(ledge_at(_grid(surfaces.slope_break), MIDDLE, MIDDLE, cell_m=1.0), 0, atol=1e-12)


def test_naive_rise_reads_a_cone_and_nothing_on_a_ridge():
    """Check values: 2.0 on a flat, 1.75 and 1.5 on planes of slope .05 and .1 (error -.085 to -.027 there)."""
    for gradient, height in ((0.0, 2.0), (0.05, 1.75), (0.1, 1.5)):
        z = _grid(surfaces.cone, gradient=gradient)
        assert_allclose(rise_at(z, MIDDLE, MIDDLE, cell_m=1.0, radius_m=15), height, atol=0.09)
    assert_allclose(rise_at(_grid(surfaces.ridge), MIDDLE, MIDDLE, cell_m=1.0, radius_m=15), 0, atol=1e-12)


def test_floor_slope_of_a_plane_is_its_own():
    z = _grid(surfaces.plane, gradient=0.2, facing_deg=30)
    assert_allclose(floor_slope_deg(z, 60, 60, cell_m=1.0), np.degrees(np.arctan(0.2)), rtol=1e-9)


@pytest.mark.parametrize("name", list(SETS))
def test_a_seed_gives_the_same_seabed_twice_and_another_seed_another(name):
    one, two, other = plant(name, 3), plant(name, 3), plant(name, 5)
    assert_array_equal(one.elev, two.elev)
    assert [p.height_m for p in one.planted] == [p.height_m for p in two.planted]
    assert one.elev.shape != other.elev.shape or not np.array_equal(one.elev, other.elev)


def _middle(p: Planted) -> np.ndarray:
    line = p.line[p.full] if p.full.any() else p.line
    return line[len(line) // 2]


@pytest.mark.parametrize("name", ["simple", "hard", "dug"])
@pytest.mark.parametrize("seed", [2, 4])
def test_every_real_structure_stands_on_the_noise_free_surface(name, seed):
    bed = plant(name, seed)
    assert len(bed.real) >= 3
    for p in bed.real:
        row, col = bed.rowcol_of(_middle(p))
        reach = p.half_width_m + 2 if p.kind == "rise" else 5.0
        tall, _ = tallest_near(bed.true_elev, row, col, cell_m=bed.cell_m, within_m=reach, floor_m=99)
        assert tall >= 0.8 * p.height_m, f"{p.kind} of {p.height_m:.2f} m reads {tall:.2f}"


def _site(xy, rank, kind="ledge", **more) -> Site:
    numbers = dict.fromkeys(
        (f.name for f in dataclasses.fields(Site) if f.name not in ("xy", "kind", "rank", "why")), NAN
    )
    return Site(tuple(map(float, xy)), kind, rank, **(numbers | more))


def _perfect(bed: Seabed) -> list[Site]:
    return [_site(_middle(p), i + 1, p.kind, axis_deg=0.0) for i, p in enumerate(bed.real)]


def test_the_judge_gives_a_perfect_list_full_marks_and_an_empty_one_none():
    bed = plant("hard", 2)
    best, none = judge(bed, _perfect(bed)), judge(bed, [])
    assert (best.found, best.wrong, best.strict_found, best.missed) == (best.k, 0, best.k, [])
    assert (none.found, none.wrong, len(none.missed)) == (0, 0, none.k)


def test_the_judge_counts_sites_on_decoys_and_on_bare_sand_as_wrong():
    bed = plant("simple", 2)
    bad = [
        _site(p.line[len(p.line) // 2], i + 1)
        for i, p in enumerate(bed.planted)
        if p.role not in ("real", "optional")
    ]
    verdict = judge(bed, bad)
    assert len(bad) >= 3
    assert verdict.found == 0
    assert verdict.wrong == min(len(bad), verdict.k)


def test_repeats_take_no_place_but_cost_the_strict_count():
    bed = plant("simple", 2)
    sites = [_site(_middle(p), 0, p.kind) for p in bed.real for _ in range(2)]
    verdict = judge(bed, [dataclasses.replace(s, rank=i + 1) for i, s in enumerate(sites)])
    assert verdict.found == verdict.k
    assert verdict.strict_found == (verdict.k + 1) // 2


def test_a_line_along_the_truth_covers_it_and_a_branch_off_it_is_a_spur():
    bed = plant("simple", 2)
    troughs = [p for p in bed.real if p.kind == "trough"]
    lines = [p.line[::8] for p in troughs]
    whole = [t for t in trace(bed, {"trough": lines}) if t["kind"] == "trough"]
    assert min(t["covered"] for t in whole) > 0.95
    assert sum(t["spurs"] for t in whole) == 0
    p = troughs[0]
    branch = np.concatenate(
        [p.line[: len(p.line) // 2 : 8], _middle(p) + np.linspace(0, 1, 20)[:, None] * _across(p) * 70]
    )
    spurs = [t["spurs"] for t in trace(bed, {"trough": [branch]}) if t["kind"] == "trough"]
    assert sum(spurs) == 1
    assert max(t["covered"] for t in trace(bed, {}) if t["kind"] == "trough") == 0


def _across(p: Planted) -> np.ndarray:
    i = len(p.line) // 2
    t = p.line[i + 3] - p.line[i - 3]
    return np.array([t[1], -t[0]]) / np.hypot(*t)


def test_the_true_height_of_a_rise_has_what_the_rocks_texture_adds_to_it():
    """A cone of 2 m: a knob of 0.6 m on its top is part of it, ground that slopes is not."""
    y, x = np.mgrid[-60:61, -60:61].astype(float)
    form = np.maximum(0, 2 * (1 - np.hypot(x, y) / 8))
    knob = 0.6 * np.exp(-(x**2 + y**2) / 4)
    line = np.array([[60.5, -60.5]])
    cone = Planted("rise", "real", line, 8.0, 2.0, 16.0, np.array([True]))
    nothing = np.zeros(form.shape)
    for texture, height in ((nothing, 2.0), (knob, 2.6), (-knob, 1.4)):
        surface = -10 + form + 0.05 * x + texture
        bed = Seabed(
            "one", 0, 1.0, surface.astype(np.float32), surface, form, None, nothing, form < 0, [cone]
        )
        assert_allclose(true_height(bed, cone, 0), height, atol=0.25 if height < 2 else 0.02)
