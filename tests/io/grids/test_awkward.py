"""Every awkward file has one outcome: the right cells, a note, or an error that names the way out."""

from __future__ import annotations

import os
import warnings
from pathlib import Path

import numpy as np
import pytest

from reefscan.base import errors
from reefscan.base.model import NODATA_MM
from reefscan.io.grids.rasters import open_grids
from tests.io.awkward import ROWS, Awkward, table
from tests.io.awkward_more import MORE

ALL = ROWS + MORE


@pytest.mark.parametrize("row", ALL, ids=[row.name for row in ALL])
def test_an_awkward_file_has_its_stated_outcome(
    tmp_path: Path, row: Awkward, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("REEFSCAN_CACHE", str(tmp_path / "cache"))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the writers' own, about files without a place
        path = row.make(tmp_path)
    if row.outcome not in ("opens", "note"):
        with pytest.raises(getattr(errors, row.outcome)) as caught:
            open_grids(path, **row.said)
        message = str(caught.value)
        assert row.says in message
        assert path.name in message
        assert "\n" not in message
        return
    sheets = open_grids(path, **row.said)
    told = "\n".join(note for sheet in sheets for note in sheet.notes)
    if row.outcome == "note":
        assert row.says in told
    else:
        assert "taken for 'no data'" not in told
    elev = np.concatenate([sheet.read(sheet.extent).elev_mm.ravel() for sheet in sheets])
    known = elev[elev != NODATA_MM]
    assert known.size
    if row.known is not None:
        assert known.size / elev.size == pytest.approx(row.known, abs=0.002)
    if row.low_m is not None:
        assert known.min() / 1000 == pytest.approx(row.low_m, abs=0.0006)
    if row.form.startswith("netCDF"):
        assert -13.01 < known.min() / 1000 < known.max() / 1000 < -6.99
        if row.name != "nc-wrap":  # written a turn away from where the formula was taken
            for sheet in sheets:
                inner = sheet.extent.grow(-6)
                got = sheet.read(inner).elev_mm
                r, c = (a.ravel() for a in np.mgrid[inner.row : inner.row_end, inner.col : inner.col_end])
                lon, lat = sheet.lonlat(r, c)
                # the formula of the files, at the places where the cells are said to lie
                truth = -10.0 - 3.0 * np.sin(lon % 360.0 * 300.0) * np.cos(lat * 200.0)
                there = got.ravel() != NODATA_MM
                error = np.abs(got.ravel()[there] / 1000 - truth[there])
                assert np.quantile(error, 0.98) < 0.1
                assert error.max() < 0.6  # beside a gap the known neighbours stand in


def test_cells_at_a_cut_off_are_unknown_and_no_others(tmp_path: Path) -> None:
    row = next(r for r in ROWS if r.name == "clipped")
    (sheet,) = open_grids(row.make(tmp_path))
    elev = sheet.read(sheet.extent).elev_mm
    assert elev[elev != NODATA_MM].min() > -45_000
    assert 0.2 < (elev == NODATA_MM).mean() < 0.5
    assert (elev[:, :190] != NODATA_MM).all()


def test_a_flat_floor_with_sloping_sides_is_not_a_cut_off(tmp_path: Path) -> None:
    # a flat-bottomed trough in a flat bed, without any noise: made, not clipped
    from tests.io.seabed import write

    z = np.full((260, 300), -10.0)
    x = np.abs(np.arange(300) - 150)[None, :]
    z = np.minimum(z, -12.0 + np.clip((x - 20) * 0.2, 0, 2.0) + np.zeros((260, 1)))
    (sheet,) = open_grids(write(tmp_path / "a.tif", z))
    assert (sheet.read(sheet.extent).elev_mm != NODATA_MM).all()
    assert sheet.notes == ()


def test_a_seabed_alike_all_along_has_no_repeated_edge(tmp_path: Path) -> None:
    from tests.io.seabed import cells, write

    z = np.repeat(cells()[:1], 200, axis=0)
    (sheet,) = open_grids(write(tmp_path / "a.tif", z))
    assert sheet.extent.height == 200
    assert sheet.notes == ()


def test_the_page_of_awkward_files_is_this_table() -> None:
    page = Path(__file__).with_name("AWKWARD.md")
    if os.environ.get("REEFSCAN_WRITE_PAGES"):
        page.write_text(table(ALL), encoding="utf-8")
    assert page.read_text(encoding="utf-8") == table(ALL)
