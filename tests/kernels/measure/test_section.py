"""Troughs, ledges and rises measured on planted ground: closed forms at any azimuth and on cells of 1 to 10 m, and laws.

Of a face of ``w`` m, cells of ``c`` m show its ends to a cell, so widths and places are good to that; heights do not suffer
while a few cells lie on the floor and on the tops.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from surfaces import bank, cone, coordinates, flat_trough, plane, ramp, sample, sand_waves, scan_cells

from reefscan.base.model import to_mm
from reefscan.base.recipe import Find
from reefscan.find.candidates import asked_of, measure_halo, search_of
from reefscan.kernels.measure import measured as at
from reefscan.kernels.measure.looking import gradient
from reefscan.kernels.measure.section import measure_faces

Found = dict[str, dict[str, float]]
Surface = Callable[[np.ndarray, np.ndarray], np.ndarray]

FIND = Find()
SIDE_M = 640.0
AZIMUTHS = (0.0, 30.0, 45.0, 101.0, 222.0)


def bed(surface: Surface, cell_m: float) -> np.ndarray:
    """A seabed around the origin."""
    n = int(SIDE_M / cell_m) | 1
    return sample(surface, n, n, cell_m)


def measure(
    z: np.ndarray, cell_m: float, x: float, y: float, facing_deg: float, *, find: Find = FIND, noise_m: float = 0.0
) -> Found:  # fmt: skip
    """What stands at the place (x, y): measures by kind, places in metres from the origin, angles in degrees."""
    middle = (z.shape[0] // 2, z.shape[1] // 2)
    rows, cols = np.array([round(middle[0] - y / cell_m)]), np.array([round(middle[1] + x / cell_m)])
    elev = to_mm(z)
    kept = elev.copy()
    lines = measure_faces(
        elev, rows, cols, np.radians([facing_deg]), np.array([noise_m]), np.array([0.5]),
        search_of(find, cell_m), asked_of(find, cell_m), measure_halo(find, cell_m),
    )[:, 0]  # fmt: skip
    assert_array_equal(elev, kept)
    out: Found = {}
    for kind, line in zip(at.KINDS, lines, strict=True):
        if np.isfinite(line[at.KIND]):
            told = dict(zip(at.FIELDS, line.tolist(), strict=True))
            for name, of in (("at", ""), ("net", "net_"), ("rock", "rock_")):
                told[f"{name}_x"] = (told[of + "col"] - middle[1]) * cell_m
                told[f"{name}_y"] = (middle[0] - told[of + "row"]) * cell_m
            told |= {name: float(np.degrees(told[name])) for name in ("axis", "facing")}
            out[kind] = told
    return out


def off_line(x: float, y: float, azimuth_deg: float) -> float:
    """Distance along an azimuth, from the origin."""
    return x * np.sin(np.radians(azimuth_deg)) + y * np.cos(np.radians(azimuth_deg))


def turn(a: float, b: float, period: float) -> float:
    return abs((a - b + period / 2) % period - period / 2)


@pytest.mark.parametrize("azimuth", AZIMUTHS)
@pytest.mark.parametrize(("cell_m", "depth_m", "floor_m", "flank_m"), [(1, 2, 12, 4), (2, 2, 12, 4), (4, 2, 16, 8), (10, 4, 40, 20)])  # fmt: skip
def test_a_trough_is_as_deep_and_wide_as_planted_and_runs_so(azimuth, cell_m, depth_m, floor_m, flank_m):
    z = bed(
        lambda x, y: flat_trough(x, y, floor_m=floor_m, flank_m=flank_m, depth_m=depth_m, axis_deg=azimuth),
        cell_m,
    )
    d, a = 0.5 * (floor_m + flank_m), np.radians(azimuth + 90)
    found = measure(z, cell_m, d * np.sin(a), d * np.cos(a), azimuth + 270)
    assert list(found) == ["trough"]
    told = found["trough"]
    # a lip that a cell rounds off is told where the sight line is passed, no more than that rises in a cell too low
    assert depth_m - FIND.sight_gradient * cell_m - 0.02 <= told["height"] <= depth_m + 0.02
    assert_allclose(told["width"], floor_m + 2 * flank_m, atol=1.2 * cell_m)
    assert turn(told["axis"], azimuth, 180) < 1
    assert abs(off_line(told["at_x"], told["at_y"], azimuth + 90)) < 0.5 * cell_m
    # the net lies on the floor, midway, and the rock is the foot of a wall
    assert abs(off_line(told["net_x"], told["net_y"], azimuth + 90)) < 0.5 * cell_m
    assert_allclose(told["off"], 0.5 * floor_m, atol=cell_m)
    assert_allclose(
        np.hypot(told["rock_x"] - told["net_x"], told["rock_y"] - told["net_y"]), told["off"], atol=1e-3 * cell_m
    )  # fmt: skip
    assert_allclose((told["depth"], told["floor_slope"]), (10.0 + depth_m, 0.0), atol=0.01)


@pytest.mark.parametrize("azimuth", AZIMUTHS)
@pytest.mark.parametrize("cell_m", [1.0, 2.0, 4.0, 10.0])
def test_a_ledge_is_as_high_as_planted_and_faces_so(azimuth, cell_m):
    z = bed(lambda x, y: ramp(x, y, height_m=3.0, run_m=6.0, facing_deg=azimuth), cell_m)
    found = measure(z, cell_m, 0.0, 0.0, azimuth + 12)
    assert list(found) == ["ledge"]
    told = found["ledge"]
    assert_allclose((told["height"], told["drop"]), 3.0, atol=0.05)
    assert_allclose(told["width"], max(6.0, 2 * cell_m), atol=1.3 * cell_m)
    # within a cell that is wider than the face its contour runs in steps, of which six cells along it show some two
    most = 1.5 if cell_m <= 6.0 else 2.5
    assert turn(told["facing"], azimuth, 360) < most
    assert turn(told["axis"], azimuth + 90, 180) < most
    assert abs(off_line(told["at_x"], told["at_y"], azimuth)) < 0.2 * cell_m
    # 3 m in 6 m, of which cells take off what they spread themselves
    assert_allclose(told["steep"], 0.5, atol=0.01 if cell_m <= 6.0 else 0.025)
    assert told["together"] == 1.0
    # the net lies below it, as far from its foot as told
    net, rock = (off_line(told[f"{name}_x"], told[f"{name}_y"], azimuth) for name in ("net", "rock"))
    assert rock > 0
    assert_allclose(net - rock, told["off"], atol=0.1 * cell_m)
    assert FIND.off_min_m <= told["off"] <= FIND.off_max_m
    assert_allclose(told["depth"], 10.0, atol=0.05)
    # nearer to the foot than a cell the floor has a share in what the cells spread of it
    assert told["floor_slope"] < (0.1 if told["off"] >= cell_m else 1.0)


@pytest.mark.parametrize("azimuth", range(0, 360, 15))
@pytest.mark.parametrize("cell_m", [2.0, 5.0, 10.0])
def test_a_ledges_axis_is_set_over_six_cells_at_the_least(azimuth, cell_m):
    """Whatever the cells, a step of their own width has its bearing told to a few parts of a cell in six."""
    z = bed(lambda x, y: ramp(x, y, height_m=3.0, run_m=cell_m, facing_deg=azimuth), cell_m)
    told = measure(z, cell_m, 0.0, 0.0, azimuth - 12)["ledge"]
    assert turn(told["facing"], azimuth, 360) < 2.5


@pytest.mark.parametrize("cell_m", [1.0, 2.0, 4.0, 5.0])
def test_the_depth_at_a_net_is_that_of_the_few_metres_it_lies_on(cell_m):
    """Readings lie 2 m apart at the most: of a hollow 12 m wide the bottom is told, not its rims."""
    z = bed(
        lambda x, y: flat_trough(x, y, floor_m=12.0, flank_m=4.0, depth_m=3.0, axis_deg=0.0) + 0.001 * y,
        cell_m,
    )
    told = measure(z, cell_m, 8.0, 0.0, 270.0)["trough"]
    here = 13.0 - 0.001 * told["net_y"]
    assert_allclose(told["depth"], here, atol=0.02)


@pytest.mark.parametrize(
    ("slope", "turned"),
    [(0.02, 0.0), (0.02, 60.0), (0.02, 180.0), (0.05, 0.0), (0.05, 180.0), (0.1, 0.0), (0.1, 60.0)],
)
def test_a_ledge_on_a_slope_is_as_high_as_its_step(slope, turned):
    def surface(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return ramp(x, y, height_m=3.0, run_m=6.0, facing_deg=70.0, base_m=0.0) + plane(
            x, y, gradient=slope, facing_deg=70.0 + turned, base_m=-20.0
        )

    told = measure(bed(surface, 2.0), 2.0, 0.0, 0.0, 70.0)["ledge"]
    # against the slope the step is told as the plain fall from lip to foot: what climbs again is not its own
    least = 3.0 - (slope * 12.0 if turned == 180.0 else 0.0)
    assert least - 0.1 <= told["height"] <= 3.05
    along = np.cos(np.radians(70.0 + turned - told["facing"]))
    assert_allclose(told["drop"], 3.0 + slope * along * told["run"], atol=0.1)


@pytest.mark.parametrize("azimuth", AZIMUTHS)
@pytest.mark.parametrize(
    ("cell_m", "height_m", "radius_m"), [(1, 3, 10), (2, 3, 10), (4, 3, 16), (10, 8, 40)]
)
def test_a_rise_is_as_high_and_wide_as_planted(azimuth, cell_m, height_m, radius_m):
    find = FIND if radius_m < 25 else FIND.model_copy(update={"rise_radius_m": 60.0})
    z = bed(lambda x, y: cone(x, y, height_m=height_m, radius_m=radius_m), cell_m)
    a = np.radians(azimuth)
    found = measure(z, cell_m, 0.5 * radius_m * np.sin(a), 0.5 * radius_m * np.cos(a), azimuth, find=find)
    assert list(found) == ["rise"]
    told = found["rise"]
    assert_allclose(told["height"], height_m, rtol=0.1)
    assert_allclose(told["width"], 2 * radius_m, atol=max(2.5, 1.2 * cell_m))
    assert np.hypot(told["at_x"], told["at_y"]) <= cell_m
    net, rock = (np.hypot(told[f"{name}_x"], told[f"{name}_y"]) for name in ("net", "rock"))
    assert abs(rock - 0.9 * radius_m) <= cell_m
    assert_allclose(net - rock, told["off"], atol=0.5 * cell_m)
    assert_allclose((told["depth"], told["floor_slope"]), (10.0, 0.0), atol=0.01)


@pytest.mark.parametrize("cell_m", [8.0, 10.0, 20.0])
def test_a_pile_that_fills_one_coarse_cell_keeps_most_of_what_the_cell_shows(cell_m):
    z = np.full((65, 65), -10.0)
    z[32, 32] += 2.5
    found = measure(z, cell_m, 0.0, cell_m, 0.0)
    assert list(found) == ["rise"]
    # of a dome one cell in radius the highest cell misses a sixth
    assert 2.0 <= found["rise"]["height"] <= 2.5 * 7 / 6


def rough(rng: np.random.Generator, rows: int = 321) -> np.ndarray:
    """A trough that bends, a ledge and a cone on uneven ground, cells of 2 m; each of them 2 to 3 m."""
    x, y = coordinates(rows, rows, 2.0)
    z = -12.0 - 0.01 * x + 0.3 * np.sin(x / 31) * np.cos(y / 23) + 0.05 * rng.normal(size=x.shape)
    z -= 2.5 * np.clip(2 - np.abs(x + 80 + 10 * np.sin(y / 60)) / 6, 0, 1)
    z -= 3.0 * np.clip((x - 140 + 0.3 * y) / 6 + 0.5, 0, 1)
    return np.asarray(z + np.clip(3.0 * (1 - np.hypot(x, y - 60) / 9.0), 0, None))


SEEDS = ((-70.0, 0.0, 270.0), (140.0, 0.0, 73.0), (4.0, 60.0, 90.0))
"""Places and headings at which a trough, a ledge and a rise are found on it."""

EACH = [*zip(at.KINDS, SEEDS, strict=True)]

LENGTHS = (
    "height",
    "width",
    "drop",
    "run",
    "steep",
    "together",
    "off",
    "floor_slope",
    "vrm",
    "relief",
)


def same_measures(a: Found, b: Found, *, rtol: float = 1e-5) -> None:
    assert list(a) == list(b)
    for kind in a:
        for name in LENGTHS:
            assert_allclose(b[kind][name], a[kind][name], rtol=rtol, atol=1e-4, err_msg=f"{kind} {name}")


@pytest.fixture
def uneven(rng: np.random.Generator) -> np.ndarray:
    return rough(rng)


@pytest.mark.parametrize(("kind", "seed"), EACH)
def test_turning_the_grid_by_90_degrees_turns_what_is_told(uneven, kind, seed):
    x, y, facing = seed
    before = measure(uneven, 2.0, x, y, facing)
    assert list(before) == [kind]
    after = measure(np.rot90(uneven).copy(), 2.0, -y, x, facing - 90.0)
    same_measures(before, after)
    assert turn(after[kind]["axis"], before[kind]["axis"] - (0 if kind == "rise" else 90.0), 180.0) < 1e-3
    assert_allclose((after[kind]["net_x"], after[kind]["net_y"]), (-before[kind]["net_y"], before[kind]["net_x"]), atol=1e-2)  # fmt: skip


@pytest.mark.parametrize(("kind", "seed"), EACH)
def test_a_mirrored_grid_tells_the_same_mirrored(uneven, kind, seed):
    x, y, facing = seed
    before = measure(uneven, 2.0, x, y, facing)
    after = measure(uneven[:, ::-1].copy(), 2.0, -x, y, -facing)
    same_measures(before, after)
    assert turn(after[kind]["axis"], -before[kind]["axis"], 180.0) < 1e-3
    assert_allclose((after[kind]["net_x"], after[kind]["net_y"]), (-before[kind]["net_x"], before[kind]["net_y"]), atol=1e-2)  # fmt: skip


@pytest.mark.parametrize(("kind", "seed"), EACH)
def test_other_water_over_it_changes_nothing_but_the_depth(uneven, kind, seed):
    before, after = measure(uneven, 2.0, *seed), measure(uneven - 7.0, 2.0, *seed)
    same_measures(before, after)
    assert_allclose(after[kind]["depth"], before[kind]["depth"] + 7.0, atol=1e-3)


@pytest.mark.parametrize(("kind", "seed"), EACH)
def test_the_same_place_further_in_a_grid_is_measured_to_the_last_bit(uneven, kind, seed):
    """The place in the array must not come into it, or a station would depend on how the grid was cut."""
    x, y, facing = seed
    middle = 320 // 2
    row, col = round(middle - y / 2), round(middle + x / 2)
    search, asked, half = search_of(FIND, 2.0), asked_of(FIND, 2.0), measure_halo(FIND, 2.0)
    wide = np.pad(to_mm(uneven), 400, mode="edge")
    cut = (37, 211)
    told = []
    for elev, r, c in (
        (wide, row + 400, col + 400), (wide[cut[0]:, cut[1]:].copy(), row + 400 - cut[0], col + 400 - cut[1])
    ):  # fmt: skip
        line = measure_faces(
            elev, np.array([r]), np.array([c]), np.radians([facing]), np.zeros(1), np.ones(1), search, asked, half
        )[at.KINDS.index(kind), 0]  # fmt: skip
        for name in ("row", "net_row", "rock_row"):
            line[at.FIELDS.index(name)] -= r
        for name in ("col", "net_col", "rock_col"):
            line[at.FIELDS.index(name)] -= c
        told.append(line)
    assert np.isfinite(told[0][at.KIND])
    assert_array_equal(told[0], told[1])


def test_holes_far_away_change_nothing_and_holes_near_by_leave_no_measure_unknown(uneven, rng):
    x, y = coordinates(*uneven.shape, 2.0)
    for kind, seed in EACH:
        before = measure(uneven, 2.0, *seed)
        far = np.hypot(x - seed[0], y - seed[1]) > 2.0 * measure_halo(FIND, 2.0)
        if far.any():
            same_measures(before, measure(np.where(far, np.nan, uneven), 2.0, *seed), rtol=0)
        for _ in range(20):
            holed = np.where(rng.random(uneven.shape) < 0.02, np.nan, uneven)
            for told in measure(holed, 2.0, *seed).values():
                unknown = {name for name, value in told.items() if not np.isfinite(value)}
                assert unknown <= {"facing"}
            assert kind in before


@pytest.mark.parametrize("known_m", [0.0, 2.0, 4.0])
@pytest.mark.parametrize("cell_m", [1.0, 2.0])
def test_where_the_data_end_before_the_foot_there_is_no_ledge(known_m, cell_m):
    """A face of 8 m in 20 m of which the lower part is not known."""
    z = bed(lambda x, y: ramp(x, y, height_m=8.0, run_m=20.0, facing_deg=90.0), cell_m)
    x, _ = coordinates(*z.shape, cell_m)
    z[x > known_m] = np.nan
    assert measure(z, cell_m, -4.0, 0.0, 90.0) == {}


@pytest.mark.parametrize("known_m", [2.0, 6.0, 10.0, 20.0])
def test_an_even_slope_that_grows_steeper_where_the_data_end_is_no_ledge(known_m):
    x, _ = coordinates(321, 321, 2.0)
    z = -12.0 - np.where(x < -20, 0.05 * (x + 20), 0.3 * (x + 20))
    z[x > known_m] = np.nan
    for place in range(-24, int(known_m), 4):
        assert measure(z, 2.0, float(place), 0.0, 90.0) == {}


def candidates(z: np.ndarray, cell_m: float) -> int:
    return len(scan_cells(z, cell_m=cell_m).candidates)


@pytest.mark.parametrize("slope", [0.01, 0.04, 0.08, 0.18, 0.5])
@pytest.mark.parametrize("azimuth", [0.0, 30.0, 45.0])
def test_a_plane_of_any_slope_gives_no_station(slope, azimuth):
    surface = bed(lambda x, y: plane(x, y, gradient=slope, facing_deg=azimuth, base_m=-18.0), 4.0)
    assert candidates(np.minimum(surface, -1.0) if slope > 0.1 else surface, 4.0) == 0


@pytest.mark.parametrize("cell_m", [2.0, 4.0, 10.0])
def test_swell_gentler_than_the_sight_line_gives_no_station(cell_m):
    """1.5 m every 100 m: 1 in 21 at its steepest."""
    assert candidates(bed(lambda x, y: sand_waves(x, y, height_m=1.5, length_m=100.0, axis_deg=25.0), cell_m), cell_m) == 0  # fmt: skip


def test_a_wide_bank_gives_no_station():
    """4 m, nowhere steeper than 1 in 35."""
    assert candidates(bed(lambda x, y: bank(x, y), 4.0), 4.0) == 0


def test_what_is_a_few_cells_long_hangs_together_with_nothing():
    """A block of 3 m, 6 m long: a face by its height, no ledge, for it ends within the lines by which a face is told to go on."""
    z = np.full((321, 321), -10.0)
    z[159:162, 159:162] = -7.0
    assert "ledge" not in measure(z, 2.0, 3.0, 0.0, 90.0)
    z[120:200, 120:162] = -7.0
    assert "ledge" in measure(z, 2.0, 3.0, 0.0, 90.0)


@pytest.mark.parametrize(
    ("cell_m", "run_m", "least_deg", "most_deg"),
    [(2.0, 4.0, 30, 40), (10.0, 20.0, 30, 40), (100.0, 199.0, 0, 10)],
)
def test_a_face_that_one_cell_spreads_is_no_steeper_than_cells_of_its_size_can_tell(
    cell_m: float, run_m: float, least_deg: float, most_deg: float
) -> None:
    """Four metres within two cells: a wall may stand in cells of 2 and 10 m; of 100 m no one knows whether it is one."""
    told = math.degrees(math.atan(gradient(4.1, run_m, cell_m)))
    assert least_deg <= told <= most_deg
