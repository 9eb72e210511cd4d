"""Order and spacing of the listed sites."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from pyproj import Geod

from reefscan.base.recipe import Rank, Recipe, Score
from reefscan.score.listing import list_sites
from reefscan.score.ranking import rank_sites, second_to, spaced
from reefscan.score.scoring import score_table

WGS84 = Geod(ellps="WGS84")


def some_sites(n, seed=0, spread_deg=0.02):
    g = np.random.default_rng(seed)
    return pd.DataFrame({
        "id": [f"s{i:06d}" for i in g.permutation(n)],
        "kind": g.choice(["trough", "ledge", "rise"], n),
        "feature_id": [f"f{i}" for i in g.integers(0, max(n // 4, 1), n)],
        "lon": (-59.9 + g.random(n) * spread_deg).round(7), "lat": (45.1 + g.random(n) * spread_deg).round(7),
        "depth_m": g.uniform(2, 18, n).round(2), "height_m": g.uniform(0.8, 3, n).round(2),
        "width_m": g.uniform(4, 60, n).round(1), "slope_deg": g.uniform(0, 22, n).round(1),
        "vrm": g.uniform(0, 0.02, n).round(5),
    })  # fmt: skip


def test_listed_sites_stand_apart_on_the_ellipsoid():
    table = some_sites(400)
    rows = rank_sites(table, score_table(table, Score()), Rank(spacing_m=60, top=1000))
    lon, lat = table["lon"].to_numpy()[rows], table["lat"].to_numpy()[rows]
    i, j = np.triu_indices(len(rows), 1)
    _, _, distance = WGS84.inv(lon[i], lat[i], lon[j], lat[j])  # geodesics by a library of their own
    assert len(rows) > 50 and distance.min() >= 60


def test_no_site_is_left_out_without_a_better_neighbour_listed():
    table = some_sites(300, seed=3)
    rank = Rank(spacing_m=80, top=1000, second_share=1.0)
    scored = score_table(table, Score())
    rows = rank_sites(table, scored, rank)
    kept = set(rows.tolist())
    for row in np.flatnonzero(scored.listed):
        if row in kept:
            continue
        n = len(rows)
        _, _, d = WGS84.inv(
            np.full(n, table.lon[row]),
            np.full(n, table.lat[row]),
            table.lon.to_numpy()[rows],
            table.lat.to_numpy()[rows],
        )
        near = rows[d < 80.001]
        assert len(near) and (scored.points[near] >= scored.points[row]).any()


def test_spacing_holds_across_the_180th_meridian_and_near_the_pole():
    lon, lat = np.array([179.9999, -179.9999, 10.0, 100.0]), np.array([-17.0, -17.0, 89.9999, 89.9999])
    assert spaced(lon, lat, spacing_m=60).tolist() == [0, 2]


def test_at_no_share_the_best_site_of_every_feature_comes_before_any_second_one_near_it():
    table = some_sites(500, seed=5)
    rows = rank_sites(
        table, score_table(table, Score()), Rank(spacing_m=0, top=1000, feature_m=1e6, second_share=0.0)
    )
    features = table["feature_id"].to_numpy()[rows]
    firsts = len(set(features))
    assert len(set(features[:firsts])) == firsts < len(rows)


@pytest.mark.parametrize("apart_m", [100.0, 250.0, 900.0])
def test_a_second_site_far_from_the_first_of_its_feature_counts_as_a_first_of_its_own(apart_m):
    table = some_sites(500, seed=5)
    scored = score_table(table, Score())
    by_score = rank_sites(table, scored, Rank(spacing_m=0, top=1000, second_share=1.0))
    feature, lon, lat = (table[name].to_numpy() for name in ("feature_id", "lon", "lat"))
    firsts, later = [], []
    for row in by_score:
        near = [
            a for a in firsts if feature[a] == feature[row] and WGS84.inv(lon[a], lat[a], lon[row], lat[row])[2] < apart_m
        ]  # fmt: skip
        (later if near else firsts).append(row)
    assert len(set(feature[firsts])) < len(firsts) < len(by_score)
    rows = rank_sites(table, scored, Rank(spacing_m=0, top=1000, feature_m=apart_m, second_share=0.0))
    assert rows.tolist() == [*firsts, *later]


def test_a_second_site_stands_in_the_order_where_its_share_of_the_score_does():
    table = some_sites(500, seed=5)
    scored = score_table(table, Score())
    rank = Rank(spacing_m=0, top=1000, feature_m=1e6, second_share=0.8)
    rows = rank_sites(table, scored, rank)
    feature = table["feature_id"].to_numpy()
    best: list[int] = []
    worth = {}
    for row in rank_sites(table, scored, rank.model_copy(update={"second_share": 1.0})):
        near = feature[row] in feature[best]
        worth[row] = scored.points[row] * (0.8 if near else 1.0)
        if not near:
            best.append(row)
    told = np.array([worth[row] for row in rows])
    assert (np.diff(told) <= 0).all()
    # a good second site comes before a poor best one
    assert 0 < len(best) < len(rows)
    assert rows[: len(best)].tolist() != best


def test_at_no_distance_every_site_is_a_first():
    table = some_sites(300, seed=9)
    scored = score_table(table, Score())
    by_score = rank_sites(table, scored, Rank(spacing_m=0, top=1000, second_share=1.0))
    assert rank_sites(table, scored, Rank(spacing_m=0, top=1000, feature_m=0)).tolist() == by_score.tolist()


def test_without_spacing_and_features_the_order_is_that_of_the_score():
    table = some_sites(500, seed=6)
    scored = score_table(table, Score())
    rows = rank_sites(table, scored, Rank(spacing_m=0, top=1000, second_share=1.0))
    assert (np.diff(scored.points[rows]) <= 0).all()
    assert len(rows) == (scored.listed & (scored.points > 0)).sum()


def test_what_penalties_leave_too_little_of_keeps_its_score_and_is_told_and_not_listed():
    table = some_sites(200, seed=6).assign(
        scatter=np.where(np.arange(200) % 4 == 0, 1.0, 0.0), ruled_like=0.0
    )
    table.loc[::8, "scatter"] = 0.27  # keeps three quarters
    table.loc[1::8, "scatter"] = 0.33  # keeps just half
    table.loc[2::4, "ruled_like"] = 1.0  # keeps seven tenths
    table.loc[1::16, "ruled_like"] = 1.0  # and with the half a third
    everything = Recipe.model_validate({"rank": {"spacing_m": 0, "top": 1000}, "score": {"least_kept": 0}})
    all_of = list_sites(table, everything)
    listing = list_sites(table, Recipe.model_validate({"rank": {"spacing_m": 0, "top": 1000}}))
    doubted = (
        (table["scatter"] == 1.0) | ((table["scatter"] == 0.33) & (table["ruled_like"] == 1.0))
    ).to_numpy()
    assert set(all_of.rows) - set(listing.rows) == set(np.flatnonzero(doubted & (all_of.scored.points > 0)))
    np.testing.assert_array_equal(listing.scored.points, all_of.scored.points)
    left_out = len(all_of.rows) - len(listing.rows)
    assert left_out > 10
    assert any(f"{left_out} candidates are too doubtful to be listed" in w for w in listing.warnings)
    assert not any("not listed" in w for w in all_of.warnings)
    short = list_sites(table, Recipe.model_validate({"rank": {"spacing_m": 0, "top": 5}}))
    assert not any("not listed" in w for w in short.warnings)


def test_a_site_without_a_feature_is_its_own_best():
    table = some_sites(30, seed=8).assign(feature_id=None)
    rows = rank_sites(table, score_table(table, Score()), Rank(spacing_m=0, top=1000))
    assert (np.diff(score_table(table, Score()).points[rows]) <= 0).all()


@pytest.mark.parametrize("seed", range(4))
def test_the_list_does_not_depend_on_the_order_of_the_table(seed):
    table = some_sites(300, seed=seed)
    shuffled = table.sample(frac=1, random_state=seed).reset_index(drop=True)
    recipe = Recipe.default()
    assert list_sites(table, recipe).sites == list_sites(shuffled, recipe).sites


def test_the_list_is_cut_at_top_and_numbered_from_one():
    sites = list_sites(some_sites(500, spread_deg=0.2), Recipe.default().with_top(7)).sites
    assert [s["rank"] for s in sites] == [1, 2, 3, 4, 5, 6, 7]


def test_nothing_to_list_is_a_valid_answer_with_a_reason():
    table = some_sites(20).assign(depth_m=30.0)
    listing = list_sites(table, Recipe.default())
    assert listing.sites == [] and "none fits" in listing.warnings[-1]
    assert list_sites(table.iloc[:0], Recipe.default()).sites == []


def test_a_site_near_a_better_one_or_on_its_feature_is_a_second_site_of_its_place():
    """To the north 0.001 degree is 111 m. From the first the second lies 56 m off; the third 111 m, on the same feature; the fourth
    111 m, on another; the fifth 56 m from the fourth; the last 333 m from the first, too far to belong to its part of the feature."""
    table = pd.DataFrame(
        {
            "feature_id": ["a", "b", "a", "c", "d", "a"],
            "lon": 0.0,
            "lat": [45.0, 45.0005, 45.001, 44.999, 44.9985, 45.003],
        }
    )
    rows = np.arange(6)
    assert second_to(table, rows, Rank(place_m=100.0, feature_m=250.0)) == [None, 1, 1, None, 4, None]
    assert second_to(table, rows, Rank(place_m=0.0, feature_m=0.0)) == [None] * 6


def test_no_best_site_of_a_place_lies_near_another():
    table = some_sites(300, seed=5)
    recipe = Recipe.model_validate({"rank": {"spacing_m": 0, "top": 200}})
    sites = list_sites(table, recipe).sites
    best = [site for site in sites if site["second_to"] is None]
    assert 10 < len(best) < len(sites)
    for i, one in enumerate(best):
        for other in best[i + 1 :]:
            apart = WGS84.inv(one["lon"], one["lat"], other["lon"], other["lat"])[2]
            assert apart >= recipe.rank.place_m - 1e-3
    by_rank = {site["rank"]: site for site in sites}
    assert all(by_rank[s["second_to"]] in best for s in sites if s["second_to"] is not None)
