"""What looks dug or moving, on whole scans of seabeds laid out here: closed forms in white noise of 4 cm, on 1 m cells."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest
from scipy import ndimage

import reefscan
from reefscan.character import characters
from reefscan.features import Line
from reefscan.listing import list_sites
from reefscan.waves import among, among_swales

ROWS, COLS = 420, 560
Form = Callable[[np.ndarray, np.ndarray], np.ndarray]


def _scan(form: Form, *, noise_m: float = 0.04, rough_m: float = 0.0, spread: float = 0.0) -> pd.DataFrame:
    """Candidates on sand at 9 m that falls by 1 in 200, plus a form; ``rough_m`` of white roughness where the form is not nil.

    With a ``spread`` the noise and the roughness are drawn out over a Gaussian of so many cells, at their full size.
    """
    y, x = np.mgrid[0:ROWS, 0:COLS].astype(float)
    x, y = x - COLS / 2, ROWS / 2 - y
    rng = np.random.default_rng(11)
    z = form(x, y)
    unit = rng.normal(0.0, 1.0, z.shape)
    if spread:
        unit = ndimage.gaussian_filter(unit, spread)
        unit /= unit.std()
    z = z + unit * np.where(np.abs(z) > 0.05, np.hypot(noise_m, rough_m), noise_m)
    run = reefscan.scan_elevation(z - 9.0 - 0.005 * y, cell_m=1.0)
    table = run.candidates
    assert len(table), "nothing was found: the test would hold of an empty list"
    return table


def _turned(x: np.ndarray, y: np.ndarray, bearing_deg: float) -> tuple[np.ndarray, np.ndarray]:
    b = np.radians(bearing_deg)
    return x * np.sin(b) + y * np.cos(b), x * np.cos(b) - y * np.sin(b)


def _ends(along: np.ndarray, length_m: float) -> np.ndarray:
    return np.clip((length_m / 2 - np.abs(along)) / 15.0 + 1.0, 0.0, 1.0)


def _cut(length_m: float, floor_m: float, depth_m: float, batter: float, bearing_deg: float) -> Form:
    def form(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        along, across = _turned(x, y, bearing_deg)
        side = np.clip((np.abs(across) - floor_m / 2) / (batter * depth_m), 0.0, 1.0)
        return -depth_m * (1.0 - side) * _ends(along, length_m)

    return form


@pytest.mark.parametrize(
    ("length_m", "floor_m", "depth_m", "batter"), [(420, 40, 3, 4), (420, 170, 3, 4), (400, 3, 1.8, 3)],
    ids=["channel", "fairway wider than any trough", "trench"],
)  # fmt: skip
def test_a_straight_cut_of_hundreds_of_metres_looks_dug_in_all_its_parts(length_m, floor_m, depth_m, batter):
    table = _scan(_cut(length_m, floor_m, depth_m, batter, 62.0))
    assert table["dug_like"].min() >= 0.5, table[["kind", "height_m", "width_m", "dug_like"]]
    assert set(table["looks_like"]) == {"cut"}


def test_a_straight_smooth_gully_of_120_m_does_not():
    table = _scan(_cut(120, 6, 2.5, 4, 62.0))
    assert table["dug_like"].max() < 0.5
    assert table["moving_like"].max() < 0.5


def test_a_sinuous_gully_of_any_length_does_not():
    def form(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        across = y - 30.0 * np.sin(2 * np.pi * x / 150.0)
        return -2.5 * np.clip(1.6 - np.abs(across) / 8.0, 0.0, 1.0) * _ends(x, 480.0)

    table = _scan(form)
    assert table["dug_like"].max() < 0.3


def test_a_round_smooth_pit_looks_dug_and_the_same_pit_in_rock_does_not():
    def form(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return -2.0 * np.clip(1.0 - np.hypot(x, y * 1.2) / 14.0, 0.0, 1.0)

    pit = _scan(form)
    assert pit["dug_like"].max() >= 0.8
    assert set(pit.loc[pit["dug_like"] >= 0.5, "looks_like"]) == {"pit"}

    def in_rock(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return form(x, y) + 0.06 * (np.hypot(x, y) < 80.0)

    assert _scan(in_rock, rough_m=0.2)["dug_like"].max() < 0.3


def test_smooth_gentle_heaps_look_dumped_and_a_steep_pile_does_not():
    """Side slopes 1.8 / 16 and 1.8 / 6: the first looser than 1 in 7, the second as rock stands."""

    def heaps(radius_m: float) -> Form:
        return lambda x, y: sum(
            1.8 * np.clip(1.0 - np.hypot(x - at, y) / radius_m, 0.0, 1.0) for at in (-130.0, 0.0, 130.0)
        )

    gentle, steep = _scan(heaps(16.0)), _scan(heaps(6.0))
    assert gentle[gentle["kind"] == "rise"]["dug_like"].min() >= 0.6
    assert set(gentle[gentle["kind"] == "rise"]["looks_like"]) == {"heap"}
    assert steep[steep["kind"] == "rise"]["dug_like"].max() < 0.3


def test_waves_move_to_their_last_crest_and_are_not_called_dug():
    def form(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        field = np.clip((150.0 - np.abs(x)) / 20.0, 0.0, 1.0) * np.clip((120.0 - np.abs(y)) / 20.0, 0.0, 1.0)
        return 0.75 * field * (np.sin(2 * np.pi * x / 32.0) + 0.25 * np.sin(4 * np.pi * x / 32.0))

    table = _scan(form)
    assert (table["moving_like"] >= 0.5).mean() >= 0.95
    assert (table["looks_like"] == "waves").mean() >= 0.95
    assert table["dug_like"].max() < 0.5


def test_the_hollow_between_sand_ridges_moves_and_a_gully_of_the_same_depth_does_not():
    def ridges(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return 0.8 * (1.0 + np.cos(2 * np.pi * (y - 35.0) / 70.0)) * (np.abs(y) < 70.0) * _ends(x, 380.0)

    table = _scan(ridges)
    hollow = table[table["kind"] == "trough"]
    assert len(hollow)
    assert hollow["moving_like"].min() >= 0.5
    assert set(hollow["looks_like"]) == {"swale"}
    assert hollow["dug_like"].max() < 0.5
    assert _scan(_cut(120, 6, 1.6, 3, 90.0))["moving_like"].max() < 0.5


def test_small_waves_on_large_ones_do_not_make_rock_of_their_hollows():
    """The sides of a wide hollow slope by two degrees here, and waves of 11 m ride on them."""

    def ridges(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        large = 0.75 * (1.0 + np.cos(2 * np.pi * (y - 45.0) / 90.0)) * (np.abs(y) < 90.0)
        small = 0.2 * np.sin(2 * np.pi * (y + 0.4 * x) / 11.0) * (np.abs(y) < 110.0)
        return (large + small) * _ends(x, 380.0)

    hollow = _scan(ridges)
    hollow = hollow[(hollow["kind"] == "trough") & (hollow["width_m"] > 60.0)]
    assert len(hollow)
    assert hollow["moving_like"].min() >= 0.8


def test_a_trough_is_judged_with_the_field_it_lies_in_only_where_it_shows_a_likeness_of_its_own():
    table = pd.DataFrame(
        {
            "kind": ["trough"] * 5 + ["ledge"],
            "x": [0.0, 40.0, 80.0, 120.0, 900.0, 41.0],
            "y": 0.0,
            "width_m": 60.0,
        }
    )
    own = np.array([1.0, 0.6, 1.0, 0.0, 0.6, 0.6])
    # within 90 m of the second lie four whose mean is 0.65; the gully (0) beside them and what lies alone keep their own, ledges are told elsewhere
    np.testing.assert_allclose(among_swales(table, own), [1.0, 0.65, 1.0, 0.0, 0.6, 0.6])
    own[3] = 1.0
    np.testing.assert_allclose(among_swales(table, own)[1], 0.9)
    own[1] = 0.3
    np.testing.assert_allclose(among_swales(table, own)[1], 0.6 * 0.825)


@pytest.mark.parametrize(
    ("kind", "height_m", "moving"),
    [("ledge", 0.9, 0.7), ("ledge", 1.7, 0.7), ("ledge", 1.9, 0.0), ("rise", 1.4, 0.7), ("rise", 2.4, 0.0)],
)
def test_what_lies_beside_a_hollow_of_sand_is_in_doubt_and_what_is_taller_than_its_sides_is_not(
    kind, height_m, moving
):
    """A rock ledge of 2.4 m was told as moving sand for one hollow of 0.8 m, 99 m wide, that the noise had made beside it."""
    rest = {"rough_near_m": 0.0, "noise_m": 0.05, "interpolated": 0.0, "y": 0.0}
    trough = pd.DataFrame([{"kind": "trough", "x": 0.0, "height_m": 1.0, "width_m": 90.0, **rest}])
    beside = pd.DataFrame([{"kind": kind, "x": 60.0, "height_m": height_m, "width_m": 40.0, **rest}])
    np.testing.assert_allclose(among(beside, trough, np.array([1.0])), [moving])


def _laid_out(*features: dict[str, object]) -> tuple[np.ndarray, np.ndarray]:
    """How dug and how moving features look that are laid out here, not scanned: each its stations by ``x``, and what is unlike the others."""
    same = {
        "kind": "trough", "y": 0.0, "facing": np.nan, "height_m": 1.0, "width_m": 60.0, "level_m": -9.0, "rough_m": 0.0,
        "rough_near_m": 0.0, "rough_around_m": 0.0, "noise_m": 0.05, "interpolated": 0.0, "repeats": 0.0, "spacing_m": 40.0,
        "flat_share": 0.0, "closed_m": 0.0, "stands_m": 0.0, "length_m": 200.0,
    }  # fmt: skip
    parts = [pd.DataFrame({**same, "feature_id": f"f{i}", **one}) for i, one in enumerate(features)]
    lines = {f"f{i}": Line(tuple(range(len(part)))) for i, part in enumerate(parts)}
    dug, moving, _ = characters(pd.concat(parts, ignore_index=True), lines, 10.0, 2.0)
    return dug, moving


def test_a_hollow_that_is_half_a_swale_is_judged_with_its_field_and_as_a_whole():
    here, beside = np.arange(0.0, 400.0, 10.0), np.arange(0.0, 150.0, 10.0)
    # sides of two degrees, rough by 12 hundredths of the height: twice gentle enough, three tenths smooth enough
    half = {"x": here, "y": 25.0 * np.sin(here / 24.0), "rough_m": 0.12}  # winding, so no cut
    _, alone = _laid_out(half)
    np.testing.assert_allclose(alone, 0.6)
    _, both = _laid_out(half, {"x": beside, "y": 80.0})
    of_half = both[: len(here)]
    assert 0.63 < of_half[0] < 0.9
    np.testing.assert_array_equal(of_half, of_half[0])
    np.testing.assert_array_equal(both[len(here) :], 1.0)


def test_a_pile_on_filled_in_ground_may_be_as_steep_as_rock():
    """1.5 m high and 24 wide: 1 in 7.3 where it was sounded; with soundings four cells of 2 m apart its sides may be 1 in 5.3."""
    pile = {"x": [0.0], "kind": "rise", "height_m": 1.5, "width_m": 24.0, "stands_m": 1.5, "length_m": 24.0}
    (seen,), _ = _laid_out(pile)
    (filled,), _ = _laid_out({**pile, "interpolated": 1.0})
    assert seen == 1.0
    assert filled == 0.0


def test_what_moves_for_sure_is_not_listed_and_the_run_says_how_to_see_it():
    def form(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        field = np.clip((150.0 - np.abs(x)) / 20.0, 0.0, 1.0) * np.clip((120.0 - np.abs(y)) / 20.0, 0.0, 1.0)
        return 0.75 * field * (np.sin(2 * np.pi * x / 32.0) + 0.25 * np.sin(4 * np.pi * x / 32.0))

    table, recipe = _scan(form), reefscan.Recipe.default()
    sure = table["moving_like"] >= recipe.score.terms["not_moving"].d
    listing = list_sites(table, recipe)
    assert sure.mean() > 0.9
    assert len(listing.sites) <= (~sure).sum()
    (line,) = [line for line in listing.warnings if "sand waves" in line]
    # what is too low or too deep besides would not be listed by the line of the recipe that is named
    alone = sure & (table["height_m"] > 1.0) & table["depth_m"].between(4.0, 15.0)
    assert 0 < alone.sum() < sure.sum()
    assert line.startswith(f"{alone.sum()} candidates look wholly like")
    assert "[score.terms.not_moving]" in line
    shown = recipe.model_dump()
    shown["score"]["terms"]["not_moving"]["required"] = False
    listing = list_sites(table, reefscan.Recipe.model_validate(shown))
    assert len(listing.sites) > 3
    assert not [line for line in listing.warnings if "sand waves" in line]


def test_where_the_noise_goes_together_over_cells_a_pit_and_a_heap_are_told_by_what_lies_farther_apart():
    """Such ground reads as filled in, cell by cell; a few cells apart it was sounded, and there sand is smooth and rock is not."""

    def form(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        heap = 1.8 * np.clip(1.0 - np.hypot(x - 120.0, y) / 16.0, 0.0, 1.0)
        return heap - 2.0 * np.clip(1.0 - np.hypot(x + 120.0, y) / 14.0, 0.0, 1.0)

    def in_rock(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return form(x, y) + 0.06 * (np.hypot(x + 120.0, y) < 80.0) + 0.06 * (np.hypot(x - 120.0, y) < 80.0)

    sand = _scan(form, noise_m=0.06, spread=1.4)
    assert sand["interpolated"].min() > 0.5
    assert {"pit", "heap"} <= set(sand.loc[sand["dug_like"] >= 0.5, "looks_like"])
    assert _scan(in_rock, noise_m=0.06, rough_m=0.4, spread=1.4)["dug_like"].max() < 0.3


def test_on_ground_without_any_noise_smoothness_is_no_sign():
    """A grid that was filled in shows neither noise nor roughness: its pits and heaps may be rock."""

    def form(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        heap = 1.8 * np.clip(1.0 - np.hypot(x - 120.0, y) / 16.0, 0.0, 1.0)
        return heap - 2.0 * np.clip(1.0 - np.hypot(x + 120.0, y) / 14.0, 0.0, 1.0)

    assert _scan(form, noise_m=0.0)["dug_like"].max() < 0.1


@pytest.mark.parametrize(
    ("rest_m", "whole"), [(260.0, True), (560.0, False)], ids=["half of it", "a third of it"]
)
def test_a_gully_straight_over_half_its_stations_is_a_cut_as_a_whole_and_over_a_third_in_that_part(
    rest_m, whole
):
    """300 m due north, as straight as a cut, then east in meanders of 25 m: stations laid out here, not scanned."""
    s = np.arange(0.0, 301.0, 10.0)
    t = np.arange(10.0, rest_m, 10.0)
    x = np.r_[np.zeros(len(s)), t + 10.0]
    y = np.r_[s, 300.0 + 25.0 * np.sin(2 * np.pi * t / 160.0)]
    table = pd.DataFrame(
        {
            "kind": "trough", "feature_id": "f", "x": x, "y": y, "facing": np.nan, "height_m": 2.0, "width_m": 14.0,
            "level_m": -9.0, "rough_m": 0.5, "rough_near_m": 0.02, "rough_around_m": 0.02, "noise_m": 0.04,
            "interpolated": 0.0, "repeats": 0.0, "spacing_m": 40.0, "flat_share": 0.9, "closed_m": 0.0, "stands_m": 0.0,
            "length_m": 300.0 + rest_m,
        }
    )  # fmt: skip
    table.loc[: len(s) - 1, "rough_m"] = 0.02
    dug, _, looks = characters(table, {"f": Line(tuple(range(len(table))))}, 10.0, 1.0)
    assert (dug[: len(s)] == 1.0).all()
    assert set(looks[: len(s)]) == {"cut"}
    assert bool((dug[len(s) :] > 0.9).all()) is whole
    assert bool((dug[-5:] > 0.0).any()) is whole
