"""Only an address that the person typed is ever asked: a server beside the test counts what comes."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from reefscan.base.errors import InputError, ReefscanError
from reefscan.io.areas import read_area
from reefscan.io.grids.rasters import open_grids
from reefscan.io.logs.soundings import ReadOptions, read_log

from .baits import grids, vectors
from .loopback import Loopback
from .seabed import cells, write


@pytest.fixture(autouse=True)
def straight(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("REEFSCAN_CACHE", str(tmp_path / "cache"))
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    monkeypatch.setenv("no_proxy", "127.0.0.1")


def test_no_file_makes_a_grid_reader_ask_a_server(tmp_path: Path) -> None:
    folder = tmp_path / "in"
    folder.mkdir()
    with Loopback(folder) as server:
        baits = grids(folder, server.url("").rstrip("/"))
        for bait in baits:
            with pytest.raises(InputError):
                [sheet.read(sheet.extent) for sheet in open_grids(bait)]
            assert server.asked == [], bait.name
        write(folder / "good.tif", cells())
        (sheet,) = open_grids(folder)  # one good grid among them is used, the others are named
        assert len(sheet.layers) == 1
        assert server.asked == []
    assert sum("skipped" in note for note in sheet.notes) > 20


def test_no_file_makes_a_reader_of_logs_or_outlines_ask_a_server(tmp_path: Path) -> None:
    with Loopback(tmp_path) as server:
        for bait in vectors(tmp_path, server.url("").rstrip("/")):
            for read in (lambda path: read_log(path, ReadOptions()), read_area):
                try:
                    read(bait)
                except ReefscanError:
                    pass
                assert server.asked == [], bait.name


def test_a_mosaic_at_a_typed_address_leads_to_no_other_server(tmp_path: Path) -> None:
    near, far = tmp_path / "near", tmp_path / "far"
    near.mkdir()
    far.mkdir()
    write(far / "a.tif", cells())
    write(near / "a.tif", cells())
    with Loopback(near) as asked, Loopback(far) as other:
        grids(near, other.url("").rstrip("/"))
        for name in ("curl.vrt", "address.vrt", "tiles.vrt", "netcdf.vrt", "warped.vrt", "tiles.tif"):
            with pytest.raises(InputError):
                [sheet.read(sheet.extent) for sheet in open_grids(asked.url(name))]
            assert other.asked == [], name
        assert asked.asked


@pytest.mark.parametrize("scheme", ["s3", "gs", "az", "ftp"])
def test_a_mosaic_at_another_kind_of_address_is_refused_in_plain_words(scheme: str) -> None:
    with pytest.raises(
        InputError, match=r"a mosaic is read from http and https only; name the files it is made of"
    ):
        open_grids(f"{scheme}://127.0.0.1:1/coast.vrt")


def test_a_run_that_somebody_made_asks_no_server_of_theirs(tmp_path: Path) -> None:
    with Loopback(tmp_path) as server:
        run = tmp_path / "run"
        run.mkdir()
        info = {"mark": "reefscan-run", "schema_version": 1, "state": "done", "grids": [server.url("a.tif")]}
        (run / "run.json").write_text(json.dumps(info))
        for command in ("review", "map", "cards"):
            done = subprocess.run(
                [sys.executable, "-m", "reefscan", command, str(run)],
                capture_output=True,
                text=True,
                cwd=tmp_path,
            )
            assert done.returncode == 1
            assert "Traceback" not in done.stderr
        from reefscan.io.grids.of_run import open_run_grids
        from reefscan.io.out.runfolder import RunFolder

        with pytest.raises(InputError, match="only addresses that you typed are asked"):
            open_run_grids(RunFolder.open(run))
        assert server.asked == []
