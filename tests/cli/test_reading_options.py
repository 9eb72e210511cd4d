"""How a grid is read is part of the run: it is opened again the same way, whatever has to be said."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import netCDF4
import numpy as np
import pytest
import rasterio
import shapely
from rasterio.transform import Affine

import reefscan
from reefscan.base.errors import RunFolderError
from reefscan.io.grids.of_run import open_run_grids
from reefscan.io.out.runfolder import RunFolder

FOOT = 0.3048  # the international foot, exact


def run(*arguments: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "reefscan", *map(str, arguments)], capture_output=True, text=True, timeout=600
    )


def seabed(rows: int = 160, cols: int = 180) -> np.ndarray:
    """Elevation, metres: a floor at 9 m with rises 2.5 m high."""
    y, x = np.mgrid[0:rows, 0:cols].astype(float)
    z = -9.0 + np.random.default_rng(4).normal(scale=0.02, size=(rows, cols))
    for col, row in ((50, 60), (120, 100)):
        z += 2.5 * np.exp(-((x - col) ** 2 + (y - row) ** 2) / 3.0**2)
    return z


def survey(path: Path) -> Path:
    """Two soundings variables alike, in feet that the file does not name, and depths positive down."""
    step = 4 / 111_120
    with netCDF4.Dataset(path, "w") as out:
        for name, size, first, unit in (
            ("lat", 160, -41.4, "degrees_north"),
            ("lon", 180, 174.2, "degrees_east"),
        ):
            out.createDimension(name, size)
            v = out.createVariable(name, "f8", (name,))
            v[:] = first + (1 if name == "lon" else -1) * step * np.arange(size)
            v.units = unit
        for name, add in (("depth_lead", 0.0), ("depth_sonar", -2.0)):
            v = out.createVariable(name, "f4", ("lat", "lon"))
            v[:] = -(seabed() + add) / FOOT
    return path


def test_a_scan_of_one_variable_in_feet_opens_again_for_what_follows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("REEFSCAN_CACHE", str(tmp_path / "cache"))
    grid = survey(tmp_path / "survey.nc")
    unsaid = run("scan", grid, "--out", tmp_path / "no")
    assert unsaid.returncode == 1
    assert "--variable" in unsaid.stderr
    said = ("--variable", "depth_sonar", "--value-unit", "ft", "--positive", "down")
    done = run("scan", grid, *said, "--out", tmp_path / "run", "--quiet")
    assert done.returncode == 0, done.stderr
    info = json.loads((tmp_path / "run" / "run.json").read_text())
    assert (info["variable"], info["value_unit"], info["positive"]) == ("depth_sonar", "ft", "down")
    (sheet,) = open_run_grids(RunFolder.open(tmp_path / "run"))
    elev = sheet.read(sheet.extent).elev_mm
    # 11 m under the floor's noise: the second variable, in feet of 0.3048 m
    assert np.median(elev[elev > -100_000]) == pytest.approx(-11_000, abs=20)
    # a rescored run points at the same grid, read the same way
    assert run("rescore", tmp_path / "run", "--out", tmp_path / "again").returncode == 0
    for folder, command, name in (("run", "review", "x.html"), ("again", "map", "x.png")):
        made = run(command, tmp_path / folder, "--out", tmp_path / name)
        assert made.returncode == 0, made.stderr
        assert (tmp_path / name).stat().st_size > 10_000
    # the same question again is answered from the folder
    resumed = run("scan", grid, *said, "--out", tmp_path / "run", "--quiet")
    assert resumed.returncode == 0, resumed.stderr
    assert json.loads((tmp_path / "run" / "run.json").read_text())["finished"] == info["finished"]


def test_preference_and_outline_are_opened_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("REEFSCAN_CACHE", str(tmp_path / "cache"))
    grids = []
    for name, add in (("a.tif", 0.0), ("b.tif", -0.2)):
        grids.append(tmp_path / name)
        with rasterio.open(
            grids[-1], "w", driver="GTiff", height=160, width=180, count=1, dtype="float32", crs="EPSG:32760",
            transform=Affine(4, 0, 352_000, 0, -4, 5_402_000),
        ) as out:  # fmt: skip
            out.write((seabed() + add).astype("f4"), 1)
    outline = shapely.box(174.0, -42.0, 176.0, -41.0)
    made = reefscan.scan(grids, prefer=["b.tif"], area=outline, out=tmp_path / "run", workers=1)
    assert set(made.candidates["source"]) == {"b.tif"}
    (sheet,) = open_run_grids(RunFolder.open(tmp_path / "run"))
    assert sheet.order.startswith("b.tif first")
    assert sheet.layers[0].name == "b.tif"
    assert shapely.equals(shapely.from_wkb(sheet.outline), outline)
    damaged = json.loads((tmp_path / "run" / "run.json").read_text()) | {"datum_shift_m": "AAAA"}
    (tmp_path / "run" / "run.json").write_text(json.dumps(damaged))
    with pytest.raises(RunFolderError, match="datum_shift_m is no number"):
        open_run_grids(RunFolder.open(tmp_path / "run"))
