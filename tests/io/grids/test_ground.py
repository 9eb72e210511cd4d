"""Public grids read onto the lattice of a survey: by the rules of a scan, in one step."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.transform import Affine

from reefscan.base.errors import AmbiguousError, NoCrsError
from reefscan.base.model import Sheet, Window
from reefscan.io.grids.ground import Onto, open_ground
from tests.io import seabed
from tests.io.grids.test_forms import in_degrees, south_up, tiles
from tests.io.seabed import CELL, CRS, NORTH, WEST, cells, write

FINE = Sheet(CRS, 2.0)
MIDDLE = FINE.window_of(WEST + 400, NORTH - 700, WEST + 800, NORTH - 300)


@pytest.fixture(autouse=True)
def own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("REEFSCAN_CACHE", str(tmp_path / "cache"))


def truth(sheet: Sheet, window: Window) -> np.ndarray:
    x = sheet.x_of(np.arange(window.col, window.col_end, dtype=float))
    y = sheet.y_of(np.arange(window.row, window.row_end, dtype=float))
    return seabed.elevation(np.asarray(x)[None, :], np.asarray(y)[:, None])


@pytest.mark.parametrize("form", [in_degrees, south_up, tiles], ids=lambda form: form.__name__)
def test_any_form_gives_the_seabed_on_a_finer_lattice(tmp_path: Path, form: object) -> None:
    ground = open_ground(Onto(form(tmp_path)))  # type: ignore[operator]
    elev, sigma = ground.on_lattice(FINE, MIDDLE)
    # bilinear over 4 m, ground that bends by 0.012 per metre at the most, centimetres in the file
    np.testing.assert_allclose(elev, truth(FINE, MIDDLE), atol=0.04)
    assert np.isnan(sigma).all()


def test_cells_on_the_same_lattice_come_as_they_are(tmp_path: Path) -> None:
    ground = open_ground(Onto(write(tmp_path / "a.tif", cells())))
    sheet = Sheet(CRS, CELL)
    window = ground.window_on(sheet)
    elev, _ = ground.on_lattice(sheet, window)
    known = np.isfinite(elev)
    assert known.sum() == cells().size
    np.testing.assert_array_equal(elev[known].reshape(cells().shape), cells())


def test_depths_in_feet_with_an_uncertainty_and_a_hole(tmp_path: Path) -> None:
    z = -cells() / 0.3048
    z[100:140, 150:180] = 9999.0
    bands = np.stack([z, np.full(z.shape, 1.0)])
    path = write(tmp_path / "a.tif", bands, unit="ft", name="depth")
    with rasterio.open(path, "r+") as out:
        out.descriptions = ("depth", "uncertainty")
    ground = open_ground(Onto(path))
    sheet = Sheet(CRS, CELL)
    window = Window(-round(NORTH / CELL), round(WEST / CELL), 260, 300)
    elev, sigma = ground.on_lattice(sheet, window)
    hole = np.zeros(z.shape, dtype=bool)
    hole[100:140, 150:180] = True
    np.testing.assert_array_equal(np.isnan(elev), hole)
    np.testing.assert_array_equal(np.isnan(sigma), hole)
    np.testing.assert_allclose(elev[~hole], cells()[~hole], atol=0.0006)
    np.testing.assert_allclose(sigma[~hole], 0.305, atol=1e-9)  # a foot in whole millimetres
    assert any("9999 is taken for 'no data'" in note for note in ground.notes)


def test_what_has_to_be_said_is_asked_for_by_its_own_options(tmp_path: Path) -> None:
    with pytest.raises(AmbiguousError, match=r"Say --onto-positive down"):
        open_ground(Onto(write(tmp_path / "a.tif", -cells())))
    with pytest.raises(NoCrsError, match=r"--onto-crs"):
        open_ground(Onto(write(tmp_path / "b.tif", cells(), crs=None)))
    place = Affine(CELL, 0, WEST, 0, -CELL, NORTH)
    said = Onto(write(tmp_path / "c.tif", -cells(), crs=None, transform=place), "down", CRS)
    elev, _ = open_ground(said).on_lattice(FINE, MIDDLE)
    np.testing.assert_allclose(elev, truth(FINE, MIDDLE), atol=0.04)
