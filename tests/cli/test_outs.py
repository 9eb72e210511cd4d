"""``--out`` writes new files and our own: no input, no file of another kind or maker, no device is ever written over."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from reefscan.base.errors import RunFolderError
from reefscan.cli import run as command_line
from reefscan.io.out.siteforms import write_sites
from reefscan.io.out.waypoints import Waypoint
from reefscan.io.outs import refuse_foreign, write_out

LOG = "lon,lat,depth_m\n" + "".join(
    f"{3 + i % 60 * 3e-5:.6f},{50 + i // 60 * 1e-4:.6f},{10 + i % 7 * 0.1}\n" for i in range(600)
)
POINT = Waypoint("a", 3.0, 50.0, 10.0, "text")


@pytest.fixture(scope="module")
def own(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A log, and a grid made of it."""
    folder = tmp_path_factory.mktemp("own")
    (folder / "log.csv").write_text(LOG)
    assert command_line(["grid", str(folder / "log.csv"), "--out", str(folder / "own.tif"), "--quiet"]) == 0
    return folder


@pytest.fixture
def here(own: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(own, tmp_path / "here"))


def refused(capsys: pytest.CaptureFixture[str], *args: str) -> str:
    assert command_line(list(args)) == 1
    told = capsys.readouterr().err.strip().splitlines()
    return told[-1]


def test_a_grid_replaces_its_own_earlier_one(here: Path) -> None:
    before = (here / "own.tif").stat().st_ino
    assert command_line(["grid", str(here / "log.csv"), "--out", str(here / "own.tif"), "--quiet"]) == 0
    assert (here / "own.tif").stat().st_ino != before


@pytest.mark.parametrize(
    "kind", ["the grid it is set into", "that grid by a link", "a foreign grid", "a log", "a foreign report"]
)
def test_a_grid_replaces_nothing_else(here: Path, capsys: pytest.CaptureFixture[str], kind: str) -> None:
    out, more = here / "out.tif", []
    if kind == "the grid it is set into":
        out, more = here / "own.tif", ["--onto", str(here / "own.tif")]
    elif kind == "that grid by a link":
        out.symlink_to(here / "own.tif")
        more = ["--onto", str(here / "own.tif")]
    elif kind == "a foreign grid":
        out.write_bytes((here / "own.tif").read_bytes().replace(b"reefscan", b"somebody"))
    elif kind == "a log":
        shutil.copy(here / "log.csv", out)
    else:
        (here / "out.report.json").write_text('{"mine": 1}')
    before = {path.name: path.read_bytes() for path in here.iterdir()}
    told = refused(capsys, "grid", str(here / "log.csv"), "--out", str(out), *more)
    assert "choose another --out" in told
    assert {path.name: path.read_bytes() for path in here.iterdir()} == before


@pytest.mark.parametrize("fmt", ["gpx", "kml", "csv", "geojson", "gpkg"])
def test_sites_replace_their_own_kind_alone(tmp_path: Path, fmt: str) -> None:
    out = tmp_path / f"sites.{fmt}"
    write_sites([POINT], out, fmt=fmt, title="t")
    write_sites([POINT], out, fmt=fmt, title="t")
    for foreign in (b"<gpx creator='another'/>", b"{}", b"a,b\n1,2", b"reefscan", b"\x00" * 9, b""):
        out.write_bytes(foreign)
        with pytest.raises(RunFolderError, match="exists already and is not a"):
            write_sites([POINT], out, fmt=fmt, title="t")
        assert out.read_bytes() == foreign


def test_parts_of_a_split_list_are_all_looked_at_before_the_first_is_written(tmp_path: Path) -> None:
    (tmp_path / "sites-2.gpx").write_text("mine")
    with pytest.raises(RunFolderError, match=r"sites-2\.gpx"):
        write_sites([POINT, POINT], tmp_path / "sites.gpx", fmt="gpx", title="t", most=1)
    assert [p.name for p in tmp_path.iterdir()] == ["sites-2.gpx"]


def drawn_map(fmt: str) -> bytes:
    import numpy as np

    from reefscan.base.overview import MapGround
    from reefscan.render.changes import draw_changes

    return draw_changes(
        MapGround(np.full((20, 20), -5.0), 5e5, 5e6, 2.0, "EPSG:32631"),
        [],
        band_max_m=10.0,
        title="t",
        fmt=fmt,
    )


def card(fmt: str) -> bytes:
    from reefscan.render.card import draw_cards

    return draw_cards([], title="t", unit="m", fmt=fmt)[0]


@pytest.mark.parametrize(
    ("make", "fmt"),
    [(drawn_map, "png"), (drawn_map, "pdf"), (drawn_map, "svg"), (card, "png"), (card, "pdf")],
)
def test_pictures_are_known_again(tmp_path: Path, make: Callable[[str], bytes], fmt: str) -> None:
    write_out(tmp_path / f"a.{fmt}", make(fmt))
    refuse_foreign(tmp_path / f"a.{fmt}")


def test_an_input_folder_is_not_written_into_over_what_is_there(tmp_path: Path) -> None:
    (tmp_path / "grids").mkdir()
    write_out(tmp_path / "grids" / "a.json", '{"by": "reefscan"}')
    refuse_foreign(tmp_path / "grids" / "a.json")
    with pytest.raises(RunFolderError, match="is what is read"):
        refuse_foreign(tmp_path / "grids" / "a.json", [tmp_path / "grids"])
    refuse_foreign(tmp_path / "grids" / "new.json", [tmp_path / "grids"])
