"""Crossings, levelling and latency against tracks whose errors were planted."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from ground import plants, seabed, sounded, tracks
from numpy.testing import assert_allclose

from reefscan.base.errors import InputError
from reefscan.survey.build import Corrections, prepare
from reefscan.survey.crossings import Crossings, find_crossings, session_biases, share_within, summary
from reefscan.survey.reduce import reduce_depths
from reefscan.survey.settings import Reduce, SurveySettings


def test_differences_of_two_soundings_are_allowed_the_root_of_two_times_as_much():
    at = np.full(2, 20.0)
    limit = 0.2915476 * np.sqrt(2)
    assert share_within("special", np.array([limit - 1e-4, limit + 1e-4]), at) == 0.5


def lawnmower(noise, rng, bias=0.0):
    """Two sessions: lines north, and two hours later lines east; the second reads ``bias`` too deep."""
    x, y = tracks(200.0, 20.0, cross=0)
    both = sounded(np.r_[x, y], np.r_[y, x + 0.3], np.r_[seabed(x, y, []), seabed(y, x + 0.3, [])])
    depth = both.depth + noise * rng.normal(size=len(both))
    time, half = both.time.copy(), x.size
    depth[half:] += bias
    time[half:] += 7200
    return replace(both, depth=depth, time=time), half


def find(data, session):
    breaks = np.r_[True, np.diff(session) != 0]
    return find_crossings(data.x, data.y, data.depth, data.time, session, breaks, longest_step_m=30.0)


def test_every_crossing_of_ten_lines_with_ten_is_found_at_its_place(rng):
    data, half = lawnmower(0.0, rng)
    session = (np.arange(len(data)) >= half).astype(np.int32)
    got = find(data, session)
    between = got.first != got.second
    assert 99 <= between.sum() <= 125  # a hundred, and where the turns at the ends cross lines
    assert np.abs(got.difference[between]).max() < 0.01  # one ground, interpolated twice


def test_the_bias_of_a_session_is_found_through_wild_crossings(rng):
    data, half = lawnmower(0.05, rng, bias=0.42)
    depth = data.depth.copy()
    depth[half + 40 : half + 70] += 5.0
    session = (np.arange(len(data)) >= half).astype(np.int32)
    bias = session_biases(find(replace(data, depth=depth), session), 2)
    assert_allclose(bias[1] - bias[0], 0.42, atol=0.02)
    assert_allclose(bias.sum(), 0.0, atol=1e-6)


def test_levelling_lowers_the_spread_at_crossings_when_asked_and_only_then(rng):
    data, _ = lawnmower(0.05, rng, bias=0.6)
    plain = prepare(data, SurveySettings())
    level = prepare(data, SurveySettings(), Corrections(level=True))
    assert summary(plain.after)["rms_m"] > 0.4
    assert summary(level.after)["rms_m"] < 0.12
    assert any(c["what"] == "levelling" for c in level.corrections)


def test_sessions_that_never_cross_get_no_bias():
    none = np.zeros(0)
    empty = Crossings(none, none, none, none, none.astype(int), none.astype(int), none)
    assert session_biases(empty, 3).tolist() == [0.0, 0.0, 0.0]
    assert summary(empty) == {"count": 0}


def test_a_late_position_is_found_on_opposite_tracks_and_offered_not_imposed(rng):
    planted = plants(rng, 16, 300.0)
    x, y = tracks(300.0, 1.5, cross=0)
    data = sounded(x, y, seabed(x, y, planted, rough=0.3) + 0.02 * rng.normal(size=x.size), speed=3.0)
    run = np.c_[data.x, data.y]
    late = 1.2  # the position logged is where the boat was 1.2 s ago
    moved = [np.interp(data.time - late, data.time, run[:, k]) for k in (0, 1)]
    ready = prepare(replace(data, x=moved[0], y=moved[1]), SurveySettings())
    assert ready.delay is not None
    assert_allclose(ready.delay[0], late, atol=0.25)
    assert not any(c["what"] == "latency" for c in ready.corrections)


def test_no_delay_is_offered_where_clocks_agree(rng):
    planted = plants(rng, 16, 300.0)
    x, y = tracks(300.0, 6.0)
    assert (
        prepare(sounded(x, y, seabed(x, y, planted) + 0.06 * rng.normal(size=x.size)), SurveySettings()).delay
        is None
    )


def one(depth=10.0, reference="transducer", offset=np.nan):
    data = sounded(np.arange(4.0), np.zeros(4), np.full(4, -depth))
    return replace(data, references=(reference,), to_surface=np.full(4, offset, np.float32))


def test_ten_metres_at_1500_are_9_867_in_water_of_1480():
    got, _ = reduce_depths(one(), Reduce(sound_set_m_s=1500.0, sound_true_m_s=1480.0), draft_m=0.0)
    assert_allclose(got.depth, 9.867, atol=5e-4)


@pytest.mark.parametrize(
    ("data", "draft", "want"),
    [
        (one(), 0.5, 10.5),
        (one(), None, 10.0),
        (one(offset=0.8), 0.5, 10.8),  # the log's own offset, and never the draft on top
        (one(reference="surface"), 0.5, 10.0),
    ],
    ids=["draft", "no draft", "offset of the log", "from the surface"],
)
def test_a_draft_is_added_once(data, draft, want):
    got, done = reduce_depths(data, Reduce(), draft_m=draft)
    assert_allclose(got.depth, want, atol=1e-6)
    assert len({d["what"] for d in done}) == len(done)


def test_depths_below_the_keel_need_the_keel():
    with pytest.raises(InputError, match="--keel"):
        reduce_depths(one(reference="keel"), Reduce(), draft_m=0.5)
    assert_allclose(reduce_depths(one(reference="keel"), Reduce(), keel_m=1.4)[0].depth, 11.4)


class _Short:
    def at(self, when):
        return np.where(when < when.min() + 1, 1.0, np.nan)


def test_a_tide_table_that_ends_early_is_refused_with_the_times_it_lacks():
    with pytest.raises(InputError, match="2023-11-14T22:13"):
        reduce_depths(one(), Reduce(), draft_m=0.0, tide=_Short())


def test_a_tide_for_soundings_without_a_date_is_refused():
    data = replace(one(), time=np.full(4, np.nan))
    with pytest.raises(InputError, match="--date"):
        reduce_depths(data, Reduce(), draft_m=0.0, tide=_Short())
