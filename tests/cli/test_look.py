"""``reefscan look`` tells what is here and changes nothing."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.transform import Affine

from reefscan.cli import run


@pytest.fixture(autouse=True)
def own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("REEFSCAN_CACHE", str(tmp_path / "cache"))


def survey(folder: Path) -> Path:
    """Two tiles that disagree by 3 m, a stranger and a file without a CRS."""
    here = folder / "survey tiles"
    here.mkdir()
    rng = np.random.default_rng(1)
    for i, drop in enumerate((0.0, 3.0)):
        z = (-12.0 - drop + rng.normal(scale=0.1, size=(60, 80))).astype("f4")
        place = Affine(2, 0, 350_000 + 100 * i, 0, -2, 5_400_000)
        for name, crs in ((f"part{i}.tif", "EPSG:32760"), ("lost.tif", None)):
            with rasterio.open(
                here / name, "w", driver="GTiff", width=80, height=60, count=1, dtype="float32", crs=crs, transform=place
            ) as out:  # fmt: skip
                out.write(z, 1)
    (here / "notes.docx").write_text("x")
    return here


def test_it_tells_forms_depths_overlaps_and_troubles(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    here = survey(tmp_path)
    before = sorted((p.name, p.stat().st_mtime_ns) for p in here.iterdir())
    assert run(["look", str(here)]) == 0
    out = capsys.readouterr().out
    assert "Sheet 1: EPSG:32760, cells of 2 m, 60 rows x 130 columns, used as it lies" in out
    assert "GeoTIFF, elevation in m: part0.tif, part1.tif" in out
    assert "part1.tif is 3.0" in out
    assert "m deeper in the median" in out
    assert "lost.tif: no coordinate system" in out
    assert ".docx" in out
    assert "depths 11." in out
    assert sorted((p.name, p.stat().st_mtime_ns) for p in here.iterdir()) == before


def test_json_holds_the_same(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["look", str(survey(tmp_path)), "--json"]) == 0
    (sheet,) = json.loads(capsys.readouterr().out)["sheets"]
    assert (sheet["crs"], sheet["cell_m"], sheet["rows"], sheet["columns"]) == ("EPSG:32760", 2.0, 60, 130)
    assert [f["name"] for f in sheet["files"]] == ["part0.tif", "part1.tif"]
    assert sheet["bounds_m"] == [350_000, 5_399_880, 350_260, 5_400_000]


def test_a_missing_path_is_one_line_and_exit_1(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["look", str(tmp_path / "nothing")]) == 1
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert "there is no such file or folder" in said.err


def test_what_the_program_itself_made_is_no_seabed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    here = tmp_path / "bay"
    here.mkdir()
    y, x = np.mgrid[0:120, 0:140].astype(float)
    z = -9.0 + np.random.default_rng(2).normal(scale=0.02, size=x.shape)
    z += 2.5 * np.exp(-((x - 70) ** 2 + (y - 60) ** 2) / 9.0)
    with rasterio.open(
        here / "bay.tif", "w", driver="GTiff", width=140, height=120, count=1, dtype="float32", crs="EPSG:32760",
        transform=Affine(2, 0, 350_000, 0, -2, 5_400_000),
    ) as out:  # fmt: skip
        out.write(z.astype("f4"), 1)
    grid = str(here / "bay.tif")
    assert run(["scan", grid, "--out", str(here / "runs" / "one"), "--quiet"]) == 0
    assert run(["layers", grid, "--out", str(here / "layers"), "--quiet"]) == 0
    capsys.readouterr()
    assert run(["look", str(here), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert [file["name"] for sheet in told["sheets"] for file in sheet["files"]] == ["bay.tif"]
    notes = "\n".join(told["sheets"][0]["notes"])
    assert "1 x folder of an earlier run" in notes
    assert "trough_m.tif: is a layer that reefscan made" in notes
    # named outright, the score is refused and not read as depths of 0 to 100 m
    assert run(["look", str(here / "runs" / "one" / "score.tif"), "--positive", "down"]) == 1
    assert "is a layer that reefscan made (Score of drop points)" in capsys.readouterr().err
