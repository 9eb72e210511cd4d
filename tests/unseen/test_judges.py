"""The judges say what is plain to see: of steps and slopes in closed form, of lists that are right, wrong, true or false."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from unseen.bed import Bed, Planted, axes
from unseen.coarser import means
from unseen.forms import Fine, shared, turned
from unseen.found import Found
from unseen.natural_judge import judge_natural
from unseen.odd import ending
from unseen.plain_finder import find
from unseen.planted_grounds import hard, plain
from unseen.planted_judge import judge_planted, median
from unseen.section import bilinear, drops_around, floor_slope, land_fall, profile, read_face, read_low
from unseen.sentence_judge import read_again
from unseen.standing import standing, structures

CELL = 2.0


def step(height: float, *, slope: float = 0.0, cells: int = 160) -> np.ndarray:
    """A step that faces east at x = 160, two cells wide, on a plane that sinks eastward."""
    x, _ = axes(cells, cells, CELL)
    return -8 - slope * x - height * np.clip((x - 158) / 4, 0, 1)


def ledge(x: float, **told: float) -> Found:
    """A listed ledge beside that step."""
    said = {
        "depth_m": 10.0,
        "height_m": 2.0,
        "off_m": x - 162,
        "axis_deg": 0.0,
        "facing_deg": 90.0,
        "slope_deg": 0.0,
    } | told
    return Found(1, "ledge", x, -160.0, structure_x=160.0, structure_y=-160.0, **said)


@pytest.mark.parametrize("slope", [0.0, 0.1])
def test_the_reference_gives_a_step_its_height_and_a_plane_none(slope: float) -> None:
    ground = standing(step(2.0, slope=slope), CELL)
    assert_allclose(ground.face[80, 79], 2.0, atol=0.45)
    assert ground.face[80, 20] == 0
    assert standing(step(0.0, slope=slope), CELL).tall.max() < 1e-3


def test_the_reference_lets_a_swell_pass_and_not_a_gully() -> None:
    x, _ = axes(200, 200, CELL)
    swell = standing(-8 + 0.7 * np.sin(2 * np.pi * x / 90), CELL)
    assert swell.face.max() < 0.5
    gully = standing(-8 - 1.5 * (np.abs(x - 200) < 6), CELL)
    assert_allclose(gully.trough[100, 99], 1.1, atol=0.3)


def test_natural_structures_stand_apart_and_are_found_where_they_are() -> None:
    true = step(2.0)
    natural = structures(true, standing(true, CELL).face, CELL)
    places = np.array([(n.x, n.y) for n in natural])
    assert 3 <= len(natural) <= 5
    assert_allclose(places[:, 0], 160, atol=4)
    gaps = np.abs(places[:, None, 1] - places[None, :, 1])[~np.eye(len(places), dtype=bool)]
    assert gaps.min() >= 58


def test_natural_judge_tells_right_from_nothing() -> None:
    true = step(2.6)
    bed = Bed("step", 0, CELL, true, true, true)
    v = judge_natural(bed, [Found(1, "ledge", 168, -160), Found(2, "ledge", 60, -160)])
    assert (v.right, v.listed, v.nothing, v.first) == (1, 2, 1, 2)
    assert v.tall == v.n and v.tall_found in (1, 2)


def test_planted_judge_counts_places_as_it_says() -> None:
    true = step(2.0)
    line = np.stack([np.full(100, 160.0), -np.arange(110.0, 210.0)], 1)
    p = Planted("ledge", 2.0, 4.0, line + [2, 0], line, np.zeros(100), np.full(100, 90.0))
    bed = Bed("step", 0, CELL, true, true, true, (p,))
    right, again = Found(1, "ledge", 168, -150, axis_deg=4.0), Found(2, "ledge", 168, -190, axis_deg=178.0)
    v = judge_planted(bed, [right, again])
    assert (v.k, v.found_at_k, v.right_60, v.same_kind) == (1, 1, 2, 2)
    assert_allclose(sorted(v.axes), [2, 4])
    wrong = Found(1, "rise", 40, -40)
    v = judge_planted(bed, [wrong, Found(2, "ledge", 168, -150)])
    assert (v.found_at_k, v.found_60, v.right_60, len(v.wrong)) == (0, 1, 1, 1)


def test_bilinear_reads_planes_exactly_and_spreads_no_unknown() -> None:
    x, y = axes(30, 30, CELL)
    z = 0.1 * x - 0.3 * y
    assert_allclose(bilinear(z, np.array([21.3]), np.array([-33.1]), CELL), 0.1 * 21.3 + 0.3 * 33.1)
    z[10, 10] = np.nan
    assert np.isnan(bilinear(z, np.array([21.5]), np.array([-21.5]), CELL))[0]
    assert np.isfinite(bilinear(z, np.array([23.0]), np.array([-23.0]), CELL))[0]
    assert np.isnan(bilinear(z, np.array([0.5]), np.array([-20.0]), CELL))[0]


@pytest.mark.parametrize("slope", [0.0, 0.08])
def test_a_face_is_read_beyond_the_slope_of_its_ground(slope: float) -> None:
    s = np.arange(-120.0, 121.0)
    p = profile(step(2.0, slope=slope), CELL, 160, -160, 90, s)
    face = read_face(p, s, near_m=8, land=land_fall(p, s))
    assert face is not None
    assert_allclose(face.height_m, 2.0, atol=0.15)
    assert_allclose(face.foot_10, 2.0, atol=2.5)


def test_a_low_and_a_top_are_read() -> None:
    x, y = axes(160, 160, CELL)
    s = np.arange(-80.0, 81.0)
    low = read_low(
        profile(-8 - 1.5 * np.exp(-(((x - 160) / 8) ** 2)), CELL, 160, -160, 90, s), s, near_m=8, reach_m=40
    )
    assert low is not None
    assert_allclose(low.height_m, 1.45, atol=0.1)
    assert_allclose(low.middle, 0, atol=1)
    pile = -8 + 2 * np.exp(-(((x - 160) ** 2 + (y + 160) ** 2) / 36)) - 0.05 * x
    assert_allclose(drops_around(pile, CELL, 163, -160)[2], 1.6, atol=0.4)


def test_the_floor_slope_and_its_bearing() -> None:
    x, y = axes(40, 40, CELL)
    slope, bearing = floor_slope(-0.1 * x, CELL, 40, -40)
    assert_allclose([slope, bearing], [np.degrees(np.arctan(0.1)), 90], atol=1e-6)


def test_a_true_sentence_passes_and_each_false_word_fails() -> None:
    ground = step(2.0) + 0.03 * np.random.default_rng(0).standard_normal((160, 160))
    truth = read_again(ground, CELL, [ledge(170)])[0]
    assert truth.all and truth.height and truth.off and truth.heading and truth.clear
    for told, check in (
        ({"height_m": 3.0}, "height"), ({"off_m": 14.0}, "off"), ({"slope_deg": 9.0}, "slope"),
        ({"depth_m": 11.0}, "depth"), ({"facing_deg": 150.0}, "heading"),
    ):  # fmt: skip
        truth = read_again(ground, CELL, [ledge(170, **told)])[0]
        assert getattr(truth, check) is False, check
        assert not truth.all


def test_a_net_behind_a_second_hump_is_not_clear() -> None:
    ground = step(2.0)
    x, _ = axes(160, 160, CELL)
    ground = ground + 1.0 * np.exp(-(((x - 176) / 3) ** 2))
    assert read_again(ground, CELL, [ledge(186)])[0].clear is False


def test_one_list_is_itself_and_a_far_one_is_not() -> None:
    sites = [Found(i + 1, "ledge", 100.0 * i, -50.0) for i in range(30)]
    far = [Found(i + 1, "ledge", 100.0 * i, -59.0) for i in range(30)]
    assert shared(sites, sites) == (20, 20)
    assert shared(sites, far) == (0, 20)


def test_a_turned_grid_gives_its_sites_back_in_place() -> None:
    x, y = axes(60, 50, CELL)
    grid, home = turned(0.1 * x + 0.05 * y, CELL, 30.0)
    rows, cols = np.nonzero(np.isfinite(grid))
    for row, col in list(zip(rows, cols, strict=True))[::400]:
        site = home(Found(1, "ledge", (col + 0.5) * CELL, -(row + 0.5) * CELL))
        assert_allclose(0.1 * site.x + 0.05 * site.y, grid[row, col], atol=1e-9)


@pytest.mark.parametrize("cell", [1.5, 2.0, 2.5])
def test_surveys_on_other_cells_keep_a_plane(cell: float) -> None:
    x, _ = axes(60, 60, 1.0)
    made = Fine(0.1 * x, np.zeros((60, 60), bool), 0).on(cell, 0)
    want = 0.1 * (np.arange(made.shape[1]) + 0.5) * cell
    assert_allclose(np.broadcast_to(want, made.shape), made, atol=0.3)
    assert_allclose(want, made.mean(0), atol=0.05)


def test_block_means_are_unknown_where_half_is() -> None:
    z = np.ones((4, 4))
    z[:2, :2] = np.nan
    z[2, 2] = np.nan
    assert np.isnan(means(z, 2)[0, 0])
    assert_allclose(means(z, 2)[1, 1], 1)


@pytest.mark.parametrize("at_edge", [False, True])
def test_data_end_where_the_ground_is_still_an_even_slope(at_edge: bool) -> None:
    made = ending(8.0, at_edge=at_edge)
    known = np.isfinite(made.elev)
    assert known.mean() > 0.2
    assert np.nanmin(made.elev) < -7.5
    assert np.nanmax(np.abs(np.diff(made.elev, axis=1))) < 1.3


def test_plain_ground_is_the_same_for_a_seed_and_the_plain_finder_finds_it_all() -> None:
    bed = plain(3, cells=320)
    assert_allclose(bed.elev, plain(3, cells=320).elev)
    v = judge_planted(bed, find(bed.elev, bed.cell_m))
    assert v.k >= 3
    assert v.found_at_k == v.k
    assert median(v.axes) < 15


def test_hard_ground_has_holes_a_coarse_half_and_real_structures() -> None:
    bed = hard(3, cells=320)
    assert len(bed.real) >= 8
    assert 0.005 < np.isnan(bed.elev).mean() < 0.1
    assert np.isfinite(bed.true).all()
    assert not np.array_equal(bed.true, bed.shown)
