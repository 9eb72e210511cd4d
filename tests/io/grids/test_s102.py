"""S-102 files of three editions, written by another program, read with all they carry."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio

from reefscan.base.model import NODATA_MM
from reefscan.io.grids.rasters import open_grids

DATA = Path(__file__).parent / "data"  # README.md there says what is in the files and who wrote them
EDITIONS = ["2.1", "2.2", "3.0"]
Z95 = 1.959963984540054  # standard normal quantile at 97.5 %


@pytest.fixture(autouse=True)
def own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("REEFSCAN_CACHE", str(tmp_path / "cache"))


@pytest.mark.parametrize("edition", EDITIONS)
def test_depth_and_uncertainty_of_every_edition_are_read(edition: str) -> None:
    (sheet,) = open_grids(DATA / f"s102_edition_{edition}.h5")
    assert sheet.sheet.crs == "EPSG:32760"
    assert sheet.sheet.bounds(sheet.extent) == (352_000.0, 5_401_952.0, 352_064.0, 5_402_000.0)
    assert sheet.vertical == "MLLW"
    assert sheet.layers[0].date == "2024-05-06"
    r, c = np.mgrid[0:12, 0:16][:, ::-1]  # the file's rows run from south to north
    known = ~((r < 3) & (c < 4))
    block = sheet.read(sheet.extent)
    assert block.sigma_mm is not None
    np.testing.assert_array_equal(block.elev_mm != NODATA_MM, known)
    np.testing.assert_allclose(block.elev_mm[known], -(10_000 + 50 * c + 100 * r)[known], atol=0.6)
    np.testing.assert_allclose(block.sigma_mm[known], ((400 + 10 * c) / Z95)[known], atol=0.6)
    assert (block.sigma_mm[~known] == 0).all()


OLD = tuple(int(n) for n in rasterio.__gdal_version__.split(".")[:2]) < (3, 10)


@pytest.mark.parametrize(
    "edition",
    [
        "2.2",
        pytest.param(
            "3.0", marks=pytest.mark.skipif(OLD, reason="GDAL before 3.10 shows no quality of edition 3.0")
        ),
    ],
)
def test_the_quality_of_a_survey_tells_what_was_filled_in(edition: str) -> None:
    name = f"s102_edition_{edition}.h5"
    (sheet,) = open_grids(DATA / name)
    e = sheet.extent
    r, c = (a.ravel() for a in np.mgrid[0:12, 0:16])
    rows, cols = r + e.row, c + e.col
    np.testing.assert_array_equal(sheet.filled_at(rows, cols), c >= 8)
    unknown = (r >= 9) & (c < 4)
    expected = np.where(c < 8, f"{name} (S7 harbour)", f"{name} (S9 filled)")
    expected[unknown] = name
    assert sheet.source_at(rows, cols) == expected.tolist()


def test_an_edition_without_quality_says_nothing_of_it() -> None:
    (sheet,) = open_grids(DATA / "s102_edition_2.1.h5")
    assert sheet.layers[0].surveys == ()
    e = sheet.extent
    assert not sheet.filled_at(np.array([e.row]), np.array([e.col])).any()


def test_s102_in_a_folder_is_a_grid_like_any_other(tmp_path: Path) -> None:
    for edition in ("2.2", "3.0"):
        (tmp_path / f"{edition}.h5").write_bytes((DATA / f"s102_edition_{edition}.h5").read_bytes())
    (sheet,) = open_grids(tmp_path)
    assert len(sheet.layers) == 2
    assert not any("disagree" in note for note in sheet.notes)
