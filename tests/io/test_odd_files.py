"""One odd name or file among good ones is told by its name and stops nothing: not a pipe, a device, nor a wrong letter."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import h5py
import numpy as np
import pytest
import rasterio
from affine import Affine
from rasterio.crs import CRS

from reefscan.base.errors import InputError, UnreadableError
from reefscan.cli import run as command_line
from reefscan.io.grids.rasters import open_grids
from reefscan.io.logs.soundings import ReadOptions, list_logs, read_found, read_logs

from .baits import _vrt
from .seabed import cells, write

LOG = "lon,lat,depth_m\n" + "".join(f"{3 + i * 1e-5:.5f},50.0,1{i % 9}\n" for i in range(300))


@pytest.fixture(autouse=True)
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("REEFSCAN_CACHE", str(tmp_path / "cache"))


def odd_things(folder: Path, ending: str, good: bytes) -> Iterator[str]:
    """Put everything into a folder that is no plain file with a plain name; give what each is called when it is told."""
    os.mkfifo(folder / f"pipe{ending}")
    yield f"pipe{ending}: is a pipe"
    (folder / f"gone{ending}").symlink_to(folder / "nowhere")
    yield f"gone{ending}: is a broken link"
    (folder / f"loop{ending}").symlink_to(folder / f"loop{ending}")
    yield f"loop{ending}: is a name that leads nowhere"
    (folder / f"endless{ending}").symlink_to("/dev/zero")
    yield f"endless{ending}: is a device"
    with socket.socket(socket.AF_UNIX) as listener:
        here = os.getcwd()
        os.chdir(folder)  # the name of a socket may have a hundred letters
        listener.bind(f"socket{ending}")
        os.chdir(here)
    yield f"socket{ending}: is a socket"
    (folder / f"empty{ending}").touch()
    yield f"empty{ending}"
    (folder / f"noise{ending}").write_bytes(bytes(range(1, 256)) * 40)
    yield f"noise{ending}"
    (folder / f"half{ending}").write_bytes(
        good[: len(good) // 3] if ending == ".tif" else b"\x1f\x8b\x08\x00"
    )
    yield f"half{ending}"


def test_a_folder_of_grids_is_read_past_everything_odd_in_it(tmp_path: Path) -> None:
    folder = tmp_path / "in"
    folder.mkdir()
    good = write(folder / "good.tif", cells()).read_bytes()
    told = list(odd_things(folder, ".tif", good))
    shutil.copy(folder / "good.tif", os.fsencode(folder) + b"/\xff\xe9.tif")
    (folder / "wrong_letters.vrt").write_bytes(_vrt("x.tif").encode().replace(b"x.tif", b"\xe9\xff.tif"))
    (folder / "waits.vrt").write_text(_vrt(str(folder / "pipe.tif")))
    (folder / "device.vrt").write_text(_vrt("/dev/zero"))
    (folder / "waits.gti").write_text(
        f"<GDALTileIndexDataset><IndexDataset>{folder}/pipe.tif</IndexDataset></GDALTileIndexDataset>"
    )
    (folder / "self.vrt").write_text(_vrt(str(folder / "self.vrt")))
    os.mkfifo(folder / "side.tif.ovr")
    shutil.copy(folder / "good.tif", folder / "side.tif")
    told += [
        r"\udcff\udce9.tif: not a grid that can be read (its name",
        "wrong_letters.vrt",
        "waits.vrt",
        "device.vrt",
    ]
    told += ["waits.gti", "self.vrt", "side.tif"]
    (sheet,) = open_grids(folder)
    assert [layer.name for layer in sheet.layers] == ["good.tif"]
    notes = "\n".join(sheet.notes)
    for words in told:
        assert words in notes


@pytest.mark.parametrize("name", ["pipe.tif", "endless.tif", "pipe.xyz", "pipe.vrt", "pipe.nc", "pipe.zarr"])
def test_a_pipe_or_a_device_that_was_named_is_an_error_and_no_wait(tmp_path: Path, name: str) -> None:
    if name.startswith("pipe"):
        os.mkfifo(tmp_path / name)
    else:
        (tmp_path / name).symlink_to("/dev/zero")
    with pytest.raises(InputError, match=f"{name}: .*is a (pipe|device)"):
        open_grids(tmp_path / name)


def test_a_folder_of_logs_is_read_past_everything_odd_in_it(tmp_path: Path) -> None:
    (tmp_path / "good.csv").write_text(LOG)
    told = list(odd_things(tmp_path, ".csv", b""))
    Path(os.fsdecode(os.fsencode(tmp_path) + b"/\xff.csv")).write_text(LOG)
    (tmp_path / "deep.json").write_text("[" * 100_000)
    (tmp_path / "long.geojson").write_text('{"type": "FeatureCollection", "features": [' + "1" * 5000 + "]}")
    found = list_logs([tmp_path])
    logs, skipped = read_found(found, [tmp_path], ReadOptions())
    assert sorted(log.depth.size for log in logs) == [300, 300]
    for words in [*told, "deep.json", "long.geojson"]:
        assert any(words in line for line in skipped)


@pytest.mark.parametrize("ending", [".csv", ".nmea", ".gpx", ".geojson", ".gpkg", ".csv.gz", ".zip"])
def test_a_log_that_is_a_pipe_is_an_error_and_no_wait(tmp_path: Path, ending: str) -> None:
    os.mkfifo(tmp_path / f"pipe{ending}")
    with pytest.raises(UnreadableError, match=r"pipe\S+: is a pipe"):
        read_logs([tmp_path / f"pipe{ending}"], ReadOptions())


@pytest.mark.parametrize("option", ["--recipe", "--area"])
def test_an_option_given_a_pipe_or_wrong_letters_is_one_line(
    tmp_path: Path, option: str, capsys: pytest.CaptureFixture[str]
) -> None:
    write(tmp_path / "good.tif", cells())
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "letters").write_bytes(b"a = '\xff\xfe'")
    for name in ("pipe", "letters"):
        code = command_line(["scan", str(tmp_path / "good.tif"), option, str(tmp_path / name), "--quiet"])
        told = capsys.readouterr().err
        assert code == 1
        assert told.count("\n") == 1
        assert name in told
        assert "internal error" not in told


def test_a_heap_of_zeros_is_told_and_is_no_endless_loop(tmp_path: Path) -> None:
    """The library goes round for ever over free space of no size (case 100371 of the attack on netCDF)."""
    with h5py.File(tmp_path / "good.nc", "w") as file:
        z = file.create_dataset("elevation", data=cells().astype("f4"))
        for name, size in (("lat", z.shape[0]), ("lon", z.shape[1])):
            axis = file.create_dataset(name, data=(3.0 if name == "lon" else 50.0) + np.arange(size) * 2e-5)
            axis.make_scale(name)
        z.dims[0].attach_scale(file["lat"])
        z.dims[1].attach_scale(file["lon"])
        z.attrs["units"] = "m"
    good = (tmp_path / "good.nc").read_bytes()
    at = good.index(b"GCOL\x01")
    (tmp_path / "a.nc").write_bytes(good[: at + 16] + bytes(4080) + good[at + 4096 :])
    code = (
        "import sys; from reefscan.cli import run; sys.exit(run(['look', sys.argv[1], '--crs', 'EPSG:4326']))"
    )
    for name, wanted in (("good.nc", 0), ("a.nc", 1)):
        done = subprocess.run(
            [sys.executable, "-c", code, str(tmp_path / name)], capture_output=True, text=True, timeout=120, check=False
        )  # fmt: skip
        assert done.returncode == wanted, done.stderr
    assert "a.nc: not a grid that can be read (a part of it is damaged; fetch the file again)" in done.stderr


def test_a_name_in_a_grid_that_is_no_text_is_told_as_that_file_s_fault(tmp_path: Path) -> None:
    path = tmp_path / "named.tif"
    own = CRS.from_proj4("+proj=tmerc +lon_0=3.5 +k=0.9996 +x_0=500000 +datum=WGS84 +units=m")
    crs = CRS.from_wkt(own.to_wkt().replace('PROJCS["unknown"', 'PROJCS["QQQQQQ"'))
    grid = {"driver": "GTiff", "width": 20, "height": 20, "count": 1, "dtype": "float32"}
    with rasterio.open(path, "w", crs=crs, transform=Affine(2, 0, 5e5, 0, -2, 5e6), **grid) as file:
        file.write(-np.ones((20, 20), np.float32), 1)
    hurt = path.read_bytes().replace(b"QQQQQQ", b"Q\xd3\xd3QQQ")
    assert b"\xd3\xd3" in hurt
    path.write_bytes(hurt)
    with pytest.raises(UnreadableError, match=r"named\.tif: not a grid that can be read .*decode"):
        open_grids([path])
