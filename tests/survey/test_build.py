"""The grid against invented ground whose truth is known, and its uncertainty against what it really misses by."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import verde as vd
from ground import EAST, NORTH, add_spikes, plants, seabed, sounded, tracks
from numpy.testing import assert_allclose, assert_array_equal

from reefscan.base.errors import InputError
from reefscan.base.model import Sheet
from reefscan.survey.blocks import reduce_blocks, sounding_noise
from reefscan.survey.build import Corrections, choose_cell, make_surface, prepare, track_gap
from reefscan.survey.settings import SurveySettings
from reefscan.survey.surface import one_thread, predict
from reefscan.survey.tide import make_table

SHEET = Sheet("EPSG:32631", 2.0)
SETTINGS = SurveySettings()


class Run:
    """One invented survey from planted ground to grid, with the truth beside it."""

    def __init__(self, *, rough: float, spacing: float, seed: int, side: float = 420.0) -> None:
        rng = np.random.default_rng(seed)
        self.planted, self.rough = plants(rng, 16, side), rough
        x, y = tracks(side, spacing)
        clock = sounded(x, y, np.zeros(x.size))
        stamps = clock.time[0] - 3600 + 6.2 * 3600 * np.arange(12)
        self.tide = make_table(stamps, np.tile([0.3, 2.4], 6))
        water = -seabed(x, y, self.planted, rough=rough) + self.tide.at(clock.time)
        read = water - 0.5 + rng.normal(0, 0.06, x.size)  # draft half a metre
        read, self.bad = add_spikes(read, rng)
        read = np.round(read / 0.3048, 1) * 0.3048  # a sounder in tenths of a foot
        self.ready = prepare(replace(clock, depth=read), SETTINGS, Corrections(draft_m=0.5, tide=self.tide))
        self.surface = make_surface(self.ready, SHEET, SETTINGS)
        self.cuts = list(self.surface.cuts())
        parts = []
        for cut in self.cuts:
            col, row = (
                np.arange(cut.window.width) + cut.window.col,
                np.arange(cut.window.height) + cut.window.row,
            )
            gx, gy = np.meshgrid(np.asarray(SHEET.x_of(col)) - EAST, np.asarray(SHEET.y_of(row)) - NORTH)
            truth = seabed(gx, gy, self.planted, rough=rough)
            ok = np.isfinite(cut.elev) & (gx > 5) & (gy > 5) & (gx < side - 5) & (gy < side - 5)
            parts.append(np.c_[cut.elev[ok], truth[ok], cut.sigma[ok], cut.distance[ok], gx[ok], gy[ok]])
        self.cells = np.concatenate(parts)
        self.miss = self.cells[:, 0] - self.cells[:, 1]


@pytest.fixture(scope="module")
def smooth() -> Run:
    return Run(rough=0.0, spacing=12.0, seed=31)


@pytest.fixture(scope="module")
def rocky() -> Run:
    return Run(rough=0.25, spacing=12.0, seed=32)


def test_the_grid_is_within_fifteen_centimetres_rms_at_tracks_of_twelve_metres(smooth, rocky):
    for run in (smooth, rocky):
        assert np.sqrt(np.mean(run.miss**2)) <= 0.15
        assert abs(np.median(run.miss)) < 0.04  # tide, draft and feet leave no bias


def test_planted_structure_keeps_its_height_in_the_grid(smooth, rocky):
    # Recall: a structure is kept if the ground across it keeps three quarters of its relief.
    for run, least in ((smooth, 0.95), (rocky, 0.80)):
        kept = []
        for p in run.planted:
            near = np.hypot(run.cells[:, 4] - p.x, run.cells[:, 5] - p.y) < 14
            if near.sum() < 20:
                continue
            a, b = (np.percentile(run.cells[near, k], [2, 98]) for k in (0, 1))
            kept.append((a[1] - a[0]) >= 0.75 * (b[1] - b[0]))
        assert len(kept) >= 12
        assert np.mean(kept) >= least


def test_left_out_soundings_miss_by_what_the_uncertainty_says(smooth, rocky):
    for run in (smooth, rocky):
        assert 0.8 <= run.surface.tuning.spread <= 1.25
        assert run.surface.tuning.uncertainty.learnt


def test_the_true_miss_is_within_the_stated_uncertainty_near_data_and_far_from_it(smooth, rocky):
    for run in (smooth, rocky):
        standard = run.miss / run.cells[:, 2]
        for low, high in ((0, 2.5), (2.5, 6.5)):
            some = (run.cells[:, 3] >= low) & (run.cells[:, 3] < high)
            assert 0.35 < standard[some].std() < 1.3
        assert np.mean(np.abs(standard) < 1.96) > 0.92


def test_uncertainty_grows_with_distance_from_data(rocky):
    near = rocky.cells[:, 3] < 2
    assert rocky.cells[~near, 2].mean() > 1.15 * rocky.cells[near, 2].mean()


def test_no_ground_is_invented_beyond_the_reach(smooth):
    for cut in smooth.cuts:
        known = np.isfinite(cut.elev)
        assert (cut.distance[known] <= smooth.surface.reach_m).all()
        assert not np.isfinite(cut.sigma[~known]).any()
    assert sum(int(c.count.sum()) for c in smooth.cuts) == smooth.ready.soundings.kept.sum()


def test_any_cut_gives_the_same_cells(smooth):
    whole = smooth.cuts[0]
    part = replace(whole.window, row=whole.window.row + 20, height=40, col=whole.window.col + 31, width=50)
    again = smooth.surface.cut(part)
    inner = part.slices_in(whole.window)
    assert_array_equal(np.isfinite(again.elev), np.isfinite(whole.elev[inner]))
    assert_allclose(again.elev, whole.elev[inner], atol=2e-3)
    assert_allclose(again.sigma, whole.sigma[inner], rtol=1e-9)


def test_flat_triangles_are_verdes_linear_and_smooth_ones_its_cubic(rng):
    x, y = EAST + rng.uniform(0, 100, 300), NORTH + rng.uniform(0, 100, 300)
    z = np.sin(x / 20) + (y - NORTH) / 50
    blocks = reduce_blocks(x, y, z, side_m=0.01)
    at = EAST + rng.uniform(10, 90, 200), NORTH + rng.uniform(10, 90, 200)
    points = (blocks.x, blocks.y)
    for method, reference in (("linear", vd.Linear(rescale=False)), ("cubic", vd.Cubic(rescale=False))):
        with one_thread():
            want = reference.fit(points, blocks.elev).predict(at)
        assert_allclose(predict(blocks, *at, method=method, give_m=9.0), want, atol=2e-3)


def test_a_plane_stays_a_plane_to_the_millimetre():
    x, y = tracks(120.0, 12.0)
    z = -10 + 0.05 * x - 0.03 * y
    surface = make_surface(prepare(sounded(x, y, z), SETTINGS), SHEET, SETTINGS)
    for cut in surface.cuts():
        col, row = np.arange(cut.window.width) + cut.window.col, np.arange(cut.window.height) + cut.window.row
        gx, gy = np.meshgrid(np.asarray(SHEET.x_of(col)) - EAST, np.asarray(SHEET.y_of(row)) - NORTH)
        inside = (gx > 8) & (gx < 112) & (gy > 8) & (gy < 112)
        assert_allclose(cut.elev[inside], (-10 + 0.05 * gx - 0.03 * gy)[inside], atol=1e-3)


def test_a_block_keeps_the_middle_of_its_soundings_whatever_one_of_them_says():
    got = reduce_blocks(
        np.array([0.2, 0.6, 1.0, 1.4]), np.zeros(4), np.array([-10.0, -10.1, -9.9, -3.0]), side_m=2.0
    )
    assert_allclose(got.elev, [-10.0])
    assert_allclose(got.x, [0.6])
    assert got.count.tolist() == [4]


def test_noise_is_measured_beside_ledges(rng):
    depth = np.where(np.arange(5000) % 200 < 100, 10.0, 13.0) + rng.normal(0, 0.07, 5000)
    assert_allclose(sounding_noise(depth, np.zeros(5000, bool)), 0.07, rtol=0.06)


@pytest.mark.parametrize("spacing", [12.0, 25.0])
def test_the_distance_between_tracks_is_found(spacing):
    x, y = tracks(400.0, spacing, cross=0)
    along = np.r_[0, np.cumsum(np.hypot(np.diff(x), np.diff(y)))]
    got = track_gap(x, y, along, np.zeros(x.size, bool), fallback_m=10.0)
    assert_allclose(got, spacing, rtol=0.25)


@pytest.mark.parametrize(
    ("x", "y"),
    [
        (np.zeros(1), np.zeros(1)),
        (np.zeros(50), np.zeros(50)),
        (np.arange(60.0), np.zeros(60)),
        (np.arange(60.0), 2 * np.arange(60.0)),
        (np.r_[np.arange(40.0), 9000 + np.arange(40.0)], np.r_[np.zeros(40), np.full(40, 7000.0)]),
    ],
    ids=["one sounding", "all at one place", "a line east", "a slanting line", "two areas far apart"],
)
def test_thin_surveys_give_the_cells_they_sounded_and_no_more(x, y):
    ready = prepare(sounded(x, y, np.full(x.size, -9.0)), SETTINGS)
    surface = make_surface(ready, SHEET, SETTINGS)
    known = 0
    for cut in surface.cuts():
        ok = np.isfinite(cut.elev)
        known += int(ok.sum())
        assert_allclose(cut.elev[ok], -9.0)
        assert (cut.sigma[ok] > 0).all()
    assert 0 < known < 400


@pytest.mark.parametrize(
    ("step_m", "gap_m", "cell_m"),
    [
        (1.0, 12.0, 2.0),
        (0.4, 3.0, 0.5),
        (3.0, 6.0, 4.0),
        (1.5, 25.0, 4.0),
        (0.0, 0.0, 0.5),
        (1e5, 10.0, 5000.0),
    ],
)
def test_the_cell_chosen_is_about_a_sixth_of_the_gap_and_no_finer_than_the_soundings(step_m, gap_m, cell_m):
    ready = prepare(sounded(np.arange(60.0), np.zeros(60), np.full(60, -9.0)), SETTINGS)
    assert choose_cell(replace(ready, step_m=step_m, gap_m=gap_m)) == cell_m


def test_a_log_that_is_set_aside_whole_says_in_words_why() -> None:
    """A recorder whose clock is a month ahead: its owner can only mend it if told that the time is what is wrong."""
    log = sounded(np.arange(60.0), np.zeros(60), np.full(60, -9.0))
    before = float(log.time[0]) - 30 * 86400.0
    with pytest.raises(InputError, match="60 time missing where it is needed, or later than now"):
        prepare(log, SETTINGS, now_s=before)
