"""Choosing: the solver against every subset on small cases, and quick on large ones."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from reefscan.base.errors import InputError
from reefscan.plan.books import Net, Stream
from reefscan.plan.choose import Question, choose, cliques
from reefscan.plan.rope import Allowances
from reefscan.plan.sites import OffGround, Site, Water, against
from reefscan.plan.spacing import between, circles, off_ground, too_far, too_near, wanted_apart


def question(seed: int, n: int, nets: int, **more: object) -> Question:
    rng = np.random.default_rng(seed)
    place = rng.uniform(0, 300, (n, 2))
    gap = np.hypot(*(place[:, None] - place[None]).transpose(2, 0, 1))
    apart = (gap < 90) & ~np.eye(n, dtype=bool)
    far = gap > 260
    values: dict[str, object] = {
        "score": np.round(rng.uniform(20, 95, n), 1), "apart": apart, "far": far, "feature": rng.integers(-1, 3, n),
        "needed_m": rng.uniform(8, 26, n), "ropes_m": tuple(rng.choice([15.0, 20.0, 25.0], nets)), "per_feature": max(1, nets - 1),
    }  # fmt: skip
    return Question(**{**values, **more})  # type: ignore[arg-type]


def fits(asked: Question, rows: tuple[int, ...]) -> bool:
    """Every limit read off one by one: pairs, features, and a net for each site by trying all pairings in order."""
    if len(rows) > len(asked.ropes_m) or not set(asked.keep) <= set(rows):
        return False
    for a, b in itertools.combinations(rows, 2):
        if asked.apart[a, b] or asked.far[a, b]:
            return False
    for number in set(asked.feature[list(rows)]) - {-1}:
        if sum(asked.feature[r] == number for r in rows) > asked.per_feature:
            return False
    if asked.unknown is not None and sum(asked.unknown[r] for r in rows) < asked.explore:
        return False
    return any(
        all(asked.needed_m[r] <= rope for r, rope in zip(rows, ropes, strict=False))
        for ropes in itertools.permutations(asked.ropes_m, len(rows))
    )


def best_of_all(asked: Question) -> float:
    n, most = asked.score.size, len(asked.ropes_m)
    totals = [
        asked.score[list(rows)].sum()
        for k in range(most + 1)
        for rows in itertools.combinations(range(n), k)
        if fits(asked, rows)
    ]
    return max(totals, default=-math.inf)


@pytest.mark.parametrize("seed", range(25))
def test_the_solver_finds_the_total_that_trying_every_subset_finds(seed: int) -> None:
    asked = question(seed, 11, 2 + seed % 3)
    made = choose(asked)
    assert fits(asked, made.rows)
    assert made.total == pytest.approx(best_of_all(asked), abs=1e-6)
    assert made.gap == 0


@pytest.mark.parametrize("seed", range(8))
def test_what_is_kept_and_explored_is_there_and_the_rest_is_still_the_best(seed: int) -> None:
    unknown = np.arange(11) % 4 == seed % 4
    asked = question(seed, 11, 3, keep=(5,), unknown=unknown, explore=1, needed_m=np.full(11, 12.0))
    best = best_of_all(asked)
    if math.isinf(best):
        with pytest.raises(InputError, match="kept and explored"):
            choose(asked)
        return
    made = choose(asked)
    assert 5 in made.rows and fits(asked, made.rows)
    assert made.total == pytest.approx(best, abs=1e-6)


def test_two_kept_sites_that_exclude_each_other_are_refused() -> None:
    asked = question(1, 11, 3)
    a, b = (int(v) for v in np.argwhere(asked.apart)[0])
    with pytest.raises(InputError, match="too near each other"):
        choose(question(1, 11, 3, keep=(a, b)))


@pytest.mark.parametrize("seed", range(6))
def test_every_excluding_pair_lies_in_a_clique_and_every_clique_excludes_itself(seed: int) -> None:
    apart = question(seed, 60, 3).apart
    covered = np.zeros_like(apart)
    found = cliques(apart)
    for group in found:
        inside = apart[np.ix_(group, group)] | np.eye(len(group), dtype=bool)
        assert inside.all()
        covered[np.ix_(group, group)] = True
    assert (covered | ~apart).all()
    assert len(found) < np.triu(apart, 1).sum()


def test_five_hundred_candidates_at_scan_spacing_are_proved_best() -> None:
    """Twenty metres apart along wandering ledges, nets some 60 m apart: the crowding that a scan gives."""
    rng = np.random.default_rng(7)
    lines = [np.cumsum(np.column_stack((rng.normal(14, 6, 50), rng.normal(0, 12, 50))), 0) + rng.uniform(0, 700, 2) for _ in range(10)]  # fmt: skip
    place = np.concatenate(lines)
    gap = np.hypot(*(place[:, None] - place[None]).transpose(2, 0, 1))
    asked = Question(
        score=np.round(rng.uniform(50, 95, 500), 1),
        apart=(gap < 60) & ~np.eye(500, dtype=bool),
        far=gap > 600,
        feature=np.repeat(np.arange(10), 50),
        needed_m=rng.uniform(8, 22, 500),
        ropes_m=(24.0,) * 6 + (15.0,) * 4,
        per_feature=5,
    )
    made = choose(asked)
    assert len(made.rows) == 10 and made.gap == 0
    assert (
        not asked.apart[np.ix_(made.rows, made.rows)].any()
        and not asked.far[np.ix_(made.rows, made.rows)].any()
    )


def test_of_equal_sites_the_earlier_is_taken_and_none_gives_none() -> None:
    n = 4
    asked = Question(np.full(n, 50.0), ~np.eye(n, dtype=bool), np.zeros((n, n), bool), np.full(n, -1), np.ones(n), (10.0,) * 2, 1)  # fmt: skip
    assert choose(asked).rows == (0,)
    assert choose(replace(asked, turn=np.array([2, 3, 0, 1]))).rows == (2,)
    better = replace(asked, score=np.array([50.0, 50.1, 50.0, 50.0]), turn=np.array([2, 3, 0, 1]))
    assert choose(better).rows == (1,)  # a tenth of a point is more than all turns together
    nothing = Question(np.zeros(0), np.zeros((0, 0), bool), np.zeros((0, 0), bool), np.zeros(0, int), np.zeros(0), (1.0,), 1)  # fmt: skip
    assert choose(nothing).rows == ()


WATER = Water(low_m=0.3, high_m=2.1, add=Allowances(wave_m=1.0), draft_m=0.6)
NETS = (Net(rope_m=24, marks_m=1.5),)


def site(**more: object) -> Site:
    values: dict[str, object] = {"id": "a", "lon": -22.5, "lat": 45.0, "depth_m": 9.0, "sigma_m": 0.2}
    return Site(**{**values, **more})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({}, ""),
        # 1.7 + 0.3 = 2.0 m at low water; 0.6 + 1 + 0.5 + 1.96 x 0.2 = 2.49 m wanted
        ({"depth_m": 1.7}, "too shallow for the boat: 2.0 m of water at its lowest, wanted 2.5 m"),
        # 2.19 + 0.3 = 2.49 m: enough for the keel with no doubt to speak of, under 2.5 x 1 m for the swell
        ({"depth_m": 2.19, "sigma_m": 0.01}, "swell may break there: 2.5 m"),
        ({"depth_m": 2.21, "sigma_m": 0.01}, ""),
        # 24 / 1.25 - 2.1 - 0.8 = 16.3 m
        ({"depth_m": 16.3}, ""),
        ({"depth_m": 16.4}, "out of the rope's reach: wanted 24.1 m, the longest has 24 m"),
        ({"depth_m": math.nan}, "its depth is not known"),
    ],
)
def test_each_hard_limit_has_a_worked_case(more: dict[str, object], said: str) -> None:
    told = against(site(**more), WATER, NETS)
    assert told == "" if not said else told.startswith(said)


def test_a_float_swings_into_no_closed_ground_and_stands_off_what_is_named() -> None:
    """The worked circle is 11.77 m and the net 0.5 m, 12.27 m; with 10 m more closed ground has to be 22.27 m off, a wall with a
    stand-off of 30 m 42.27 m. Told up to whole metres or feet, what is there down: 13 + 10 m, 41 + 99 ft."""
    circle = float(circles((site(),), WATER, NETS)[0])
    for metres, said in ((22.3, ()), (22.2, ("too near closed ground (North): it lies 22 m away; wanted 23 m: the circle of its float, 13 m, and 10 m more",))):  # fmt: skip
        near = site(off=(OffGround("closed ground", "North", metres, 10.0),))
        assert off_ground(near, circle, "m") == off_ground(near, circle, "m", forced=True) == said
    inside = site(off=(OffGround("a fairway", "Run", 0.0, 10.0, True, "; --allow-fairways takes it all the same"),))  # fmt: skip
    assert off_ground(inside, circle, "m") == (
        "it lies in a fairway (Run); --allow-fairways takes it all the same",
    )
    wall = site(off=(OffGround("hard structure", "Mole", 42.2, 30.0, bound=False),))
    (words,) = off_ground(wall, circle, "ft")
    assert words.startswith(
        "too near hard structure (Mole): it lies 138 ft away; wanted 140 ft: the circle of its float, 41 ft, and 99 ft"
    )
    assert off_ground(wall, circle, "m", forced=True) == ()  # kept, it is a warning


def test_two_floats_cannot_meet() -> None:
    """The circle of the worked example is 11.77 m and the net 0.5 m; two of them, two boats of 6 m and 10 m: 46.5 m."""
    circle = circles((site(), site()), WATER, NETS)
    assert circle == pytest.approx(math.sqrt(138.51) + 0.5)
    assert wanted_apart(circle, 6.0)[0, 1] == pytest.approx(2 * (math.sqrt(138.51) + 0.5) + 12 + 10)
    # CHECKS g: 1 minute of latitude centred on 45 N is 1852.1963 m
    north = 46.6 / 1852.1963 / 60
    for more, near in ((0.0, False), (-0.3 / 1852.1963 / 60, True)):
        pair = (site(), site(lat=45.0 + north + more))
        assert bool(too_near(between(pair), wanted_apart(circle, 6.0), ())[0, 1]) is near


def test_along_the_stream_baits_want_more_room_than_across_it() -> None:
    north = 100 / 1852.1963 / 60
    pair = (site(), site(lat=45.0 + north))
    wanted = np.full((2, 2), 46.5)
    assert too_near(between(pair), wanted, (Stream(to_deg=0, speed_kn=1),))[0, 1]
    assert too_near(between(pair), wanted, (Stream(to_deg=180, speed_kn=1),))[1, 0]
    assert not too_near(between(pair), wanted, (Stream(to_deg=90, speed_kn=1),)).any()
    assert not too_near(between(pair), wanted, (Stream(to_deg=0, speed_kn=0.05),)).any()


def test_distances_are_geodesics_and_the_cap_is_the_persons_own() -> None:
    """CHECKS g: 44.64,-63.57 to 44.74,-63.57 is 11112.57197 m; across the 180th meridian -17,179.99 to -17,-179.99 is 2129.71661 m."""
    gap = between((site(lat=44.64, lon=-63.57), site(lat=44.74, lon=-63.57)))
    assert gap.distance_m[0, 1] == pytest.approx(11112.57197, abs=1e-4)
    gap = between((site(lat=-17, lon=179.99), site(lat=-17, lon=-179.99)))
    assert gap.distance_m[0, 1] == pytest.approx(2129.71661, abs=1e-4)
    assert gap.azimuth_deg[0, 1] == pytest.approx(90.0029, abs=1e-3)
    assert too_far(gap, 2000.0)[0, 1] and not too_far(gap, 2200.0).any() and not too_far(gap, None).any()
