"""Laws that every layer of the table keeps, whatever the seabed (STYLE: one short test a law)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from numpy.typing import NDArray

from reefscan.base.model import NODATA_MM, GridBlock, Sheet, Window
from reefscan.base.recipe import Find
from reefscan.layers.terrain import LAYERS, Ground, halo_cells, window_layers
from reefscan.pipeline.derive import derive

NAMES = list(LAYERS)
CELL_M = 2.0
FIND = Find(
    trough_radius_m=16, rise_radius_m=12, vrm_window_m=10, relief_radius_m=30,
    bpi_fine_inner_m=4, bpi_fine_outer_m=20, bpi_broad_inner_m=20, bpi_broad_outer_m=70,
)  # fmt: skip
"""Small radii, but every way to compute is taken: an octagon of relief, a broad index over blocks."""

quick = settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
seeds = st.integers(0, 2**31)


@dataclass(frozen=True)
class Sea:
    """A grid held in memory."""

    elev_mm: NDArray[np.int32]
    row: int = 0
    col: int = 0
    sheet: Sheet = Sheet("EPSG:32633", CELL_M)
    name: str = "sea"
    has_uncertainty: bool = False

    @property
    def extent(self) -> Window:
        return Window(self.row, self.col, *self.elev_mm.shape)

    def read(self, window: Window) -> GridBlock:
        out = np.full((window.height, window.width), NODATA_MM, np.int32)
        inside = window.intersect(self.extent)
        if not inside.empty:
            out[inside.slices_in(window)] = self.elev_mm[inside.slices_in(self.extent)]
        return GridBlock(window, out)

    def fingerprint(self) -> dict[str, object]:
        return {}

    def depth_range(self, window: Window) -> tuple[float, float] | None:
        return None


def rough(seed: int, rows: int, cols: int, holes: float = 0.0) -> NDArray[np.int32]:
    """Correlated noise of some metres about 20 m down, part of it unknown."""
    rng = np.random.default_rng(seed)
    steps = rng.integers(-300, 301, (rows, cols))
    field = np.cumsum(steps, axis=0) // 3 + np.cumsum(steps[::-1], axis=1) // 3 - 20_000
    mm = field.astype(np.int32)
    if holes:
        mm[rng.random(mm.shape) < holes] = NODATA_MM
        top, left = rng.integers(0, rows - 8), rng.integers(0, cols - 8)
        mm[top : top + 8, left : left + 8] = NODATA_MM
    return mm


def layers(
    mm: NDArray[np.int32], names: list[str] = NAMES, row: int = 0, col: int = 0, cell_m: float = CELL_M
) -> dict[str, NDArray[np.floating]]:
    ground = Ground(np.ascontiguousarray(mm), cell_m, row, col, FIND)
    return {name: LAYERS[name].compute(ground) for name in names}


def trusted(values: NDArray[np.floating], name: str) -> NDArray[np.floating]:
    halo = LAYERS[name].halo(FIND, CELL_M)
    return values[halo:-halo, halo:-halo]


@quick
@given(seed=seeds, shift=st.integers(-400_000, 400_000))
def test_adding_a_constant_changes_nothing(seed: int, shift: int) -> None:
    mm = rough(seed, 190, 170, holes=0.01)
    moved = np.where(mm == NODATA_MM, NODATA_MM, mm + np.int32(shift)).astype(np.int32)
    before, after = layers(mm), layers(moved)
    for name in NAMES:
        assert_allclose(after[name], before[name], rtol=0, atol=1e-6, err_msg=name)


@pytest.mark.parametrize("p", [0, 60, -500])
@pytest.mark.parametrize("q", [0, 84, 1200])
def test_a_plane_is_even_everywhere(p: int, q: int) -> None:
    # p and q are millimetres a cell, even: the middle of a knight's move is then a whole number too.
    y, x = np.mgrid[0:200, 0:200]
    found = layers((p * x + q * y - 90_000).astype(np.int32))
    steep = np.hypot(p, q) / 2000.0
    for name in ("vrm", "bpi_fine_m", "bpi_broad_m", "trough_m", "ledge_m", "rise_m"):
        # The block sums' cubic gives planes back exactly but for float64's rounding (of 90 m: 1e-14 m).
        assert_allclose(trusted(found[name], name), 0.0, rtol=0, atol=1e-9, err_msg=name)
    assert_allclose(trusted(found["slope_deg"], "slope_deg"), np.degrees(np.arctan(steep)), atol=1e-5)
    assert_allclose(trusted(found["surface_ratio"], "surface_ratio"), np.sqrt(1 + steep**2), rtol=1e-12)
    assert_allclose(trusted(found["surface_ratio_even"], "surface_ratio_even"), 1.0, rtol=1e-12)
    assert_allclose(trusted(found["tri_riley_m"], "tri_riley_m"), CELL_M * steep * np.sqrt(6), rtol=1e-6)
    if steep:
        facing = np.degrees(np.arctan2(-p, q)) % 360.0
        turn = (trusted(found["aspect_deg"], "aspect_deg") - facing + 180.0) % 360.0 - 180.0
        assert_allclose(turn, 0.0, atol=2e-5)


@quick
@given(seed=seeds, factor=st.integers(2, 9))
def test_scaling_heights_and_cells_together_keeps_pure_numbers(seed: int, factor: int) -> None:
    mm = rough(seed, 40, 40)
    names = ["slope_deg", "aspect_deg", "surface_ratio", "surface_ratio_even"]
    small, large = layers(mm, names), layers(mm * np.int32(factor), names, cell_m=CELL_M * factor)
    for name in names:
        assert_allclose(large[name], small[name], rtol=1e-6, atol=2e-5, err_msg=name)
    from reefscan.kernels.layers.rugosity import vrm

    assert_allclose(vrm(mm * np.int32(factor), CELL_M * factor, 5), vrm(mm, CELL_M, 5), rtol=0, atol=3e-8)


@quick
@given(seed=seeds)
def test_flipping_the_seabed_flips_the_position_index_and_keeps_roughness(seed: int) -> None:
    mm = rough(seed, 190, 170, holes=0.01)
    flipped = np.where(mm == NODATA_MM, NODATA_MM, -mm).astype(np.int32)
    names = ["bpi_fine_m", "bpi_broad_m", "slope_deg", "vrm", "relief_m", "tri_riley_m", "surface_ratio"]
    up, down = layers(mm, names), layers(flipped, names)
    for name in names:
        sign = -1.0 if LAYERS[name].colours == "split" else 1.0
        assert_allclose(down[name], sign * up[name], rtol=1e-6, atol=1e-6, err_msg=name)


@quick
@given(seed=seeds)
def test_turning_the_grid_by_a_right_angle_turns_the_layer(seed: int) -> None:
    # A whole number of blocks of every size in use, from a corner on the lattice: blocks turn onto blocks.
    mm = rough(seed, 192, 192, holes=0.01)
    before, after = layers(mm), layers(np.ascontiguousarray(np.rot90(mm)))
    for name in NAMES:
        turned = trusted(np.rot90(before[name]), name)
        seen = trusted(after[name], name)
        if name == "aspect_deg":  # turning the map a quarter against the clock takes 90 off every bearing
            assert_array_equal(np.isnan(seen), np.isnan(turned))
            off = (seen - turned + 90.0 + 180.0) % 360.0 - 180.0
            assert_allclose(off[np.isfinite(off)], 0.0, atol=1e-4)
        else:
            assert_allclose(seen, turned, rtol=1e-6, atol=1e-6, err_msg=name)


@quick
@given(seed=seeds, row=st.integers(60, 129), col=st.integers(60, 129))
def test_an_unknown_cell_is_felt_no_farther_than_the_halo(seed: int, row: int, col: int) -> None:
    mm = rough(seed, 190, 190)
    holed = mm.copy()
    holed[row, col] = NODATA_MM
    before, after = layers(mm), layers(holed)
    y, x = np.mgrid[:190, :190]
    for name in NAMES:
        far = np.maximum(abs(y - row), abs(x - col)) > LAYERS[name].halo(FIND, CELL_M)
        assert_array_equal(after[name][far], before[name][far], err_msg=name)
        assert np.isnan(after[name][row, col]), name


@pytest.mark.parametrize("name", NAMES)
def test_the_input_is_not_modified(name: str) -> None:
    mm = rough(5, 120, 130, holes=0.02)
    kept = mm.copy()
    mm.flags.writeable = False
    layers(mm, [name])
    assert_array_equal(mm, kept)


@settings(max_examples=25, deadline=None)
@given(data=st.data(), seed=seeds)
def test_a_window_is_the_whole_bit_for_bit_wherever_it_is_cut(data: st.DataObject, seed: int) -> None:
    rows, cols = data.draw(st.integers(30, 260)), data.draw(st.integers(30, 260))
    first_row, first_col = data.draw(st.integers(-3000, 3000)), data.draw(st.integers(-3000, 3000))
    sea = Sea(rough(seed, rows, cols, holes=0.02), first_row, first_col)
    whole = window_layers(sea, sea.extent, FIND)
    top, left = data.draw(st.integers(0, rows - 1)), data.draw(st.integers(0, cols - 1))
    height, width = data.draw(st.integers(1, rows - top)), data.draw(st.integers(1, cols - left))
    part = Window(first_row + top, first_col + left, height, width)
    cut = window_layers(sea, part, FIND)
    for name in NAMES:
        expected = np.ascontiguousarray(whole[name][top : top + height, left : left + width])
        assert cut[name].tobytes() == expected.tobytes(), name


def test_heights_that_overflow_a_running_sum_give_the_same_index() -> None:
    # 9 km of range: sums over a disc no longer fit 32 bits, and the wide ones are used.
    mm = rough(3, 150, 150)
    cliff = mm.copy()
    cliff[:, 140:] = 9_000_000
    narrow, wide = layers(mm, ["bpi_fine_m"])["bpi_fine_m"], layers(cliff, ["bpi_fine_m"])["bpi_fine_m"]
    assert_array_equal(wide[:, :125], narrow[:, :125])
    assert np.nanmin(wide[:, 130:140]) < -100.0


def test_derive_labels_each_layer_afresh_and_puts_cells_on_the_sheet() -> None:
    sea = Sea(rough(1, 60, 80), row=100, col=-50)
    found = derive(sea, FIND, only=["slope_deg", "vrm", "bpi_fine_m"])
    assert list(found) == ["slope_deg", "vrm", "bpi_fine_m"]
    assert [found[name].attrs["units"] for name in found] == ["degree", "1", "m"]
    assert all("doi" in found[n].attrs["reference"] for n in ("slope_deg", "vrm"))
    assert float(found.x[0]) == -99.0 and float(found.y[0]) == -201.0  # centres of cells of 2 m
    assert found.rio.crs.to_epsg() == 32633
    assert found.slope_deg.shape == (60, 80)


def test_an_unknown_layer_is_refused_with_the_nearest_known_name() -> None:
    with pytest.raises(ValueError, match="did you mean bpi_fine_m"):
        halo_cells(FIND, CELL_M, ["bpi_fin_m"])


@pytest.mark.parametrize("cell_m", [0.01, 0.5, 60.0])
def test_radii_far_finer_or_wider_than_the_grid_still_give_every_layer(cell_m: float) -> None:
    sea = Sea(rough(2, 90, 110), sheet=Sheet("EPSG:32633", cell_m))
    found = window_layers(sea, sea.extent, Find(relief_radius_m=1, trough_radius_m=1, rise_radius_m=1))
    for name, values in found.items():
        wide = name.startswith("bpi") and cell_m < 1.0  # less than half the annulus is on the grid
        if not wide and not (name == "vrm" and cell_m == 0.01):
            assert np.isfinite(values[40:50, 50:60]).all(), name
