"""Where there is no room, the old file stays, nothing lies beside it, and the call fails: no cut file counts as done."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from shapely.geometry import LineString

from reefscan.base.errors import DiskFullError, RunFolderError
from reefscan.base.model import Sheet, Window
from reefscan.io.out import tables
from reefscan.io.out.layers import layer_rasters
from reefscan.io.out.placed import write_placed_png
from reefscan.io.out.scoreraster import publish, score_raster
from reefscan.io.out.soundings_grid import GridCells, write_grid
from reefscan.io.whole import put_in_place, write_whole

SHEET, EXTENT = Sheet("EPSG:32631", 2.0), Window(0, 0, 512, 512)
NOISE = np.random.default_rng(3)


@contextmanager
def no_file_over(size: int) -> Iterator[None]:
    """What a quota or `ulimit -f` does; a full disk fails at the same calls."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def grid(out: Path) -> None:
    cells = GridCells(EXTENT, *(NOISE.normal(size=(512, 512)) for _ in range(4)))  # type: ignore[arg-type]
    write_grid(out, SHEET, EXTENT, [cells], tags={})


def layer(out: Path) -> None:
    label = {"units": "m", "long_name": "x", "reference": "y"}
    with layer_rasters({"a": out}, SHEET, EXTENT, {"a": label}) as rasters:
        rasters.write(EXTENT, {"a": NOISE.normal(size=(512, 512)).astype(np.float32)})


def score(out: Path) -> None:
    with score_raster(out, SHEET, EXTENT) as raster:
        raster.put(EXTENT, NOISE.integers(0, 101, (512, 512)).astype(np.uint8))
    publish(out)


def features(out: Path) -> None:
    lines = [LineString(NOISE.normal(size=(400, 2))) for _ in range(100)]
    tables.write_features(out, {"ledges": gpd.GeoDataFrame({"n": range(100)}, geometry=lines, crs=4326)})


def picture(out: Path) -> None:
    shades = NOISE.integers(0, 255, (4, 512, 512)).astype(np.uint8)
    write_placed_png(out, shades, west_m=0, north_m=0, cell_m=1, crs="EPSG:32631")


def text(out: Path) -> None:
    write_whole(out, "x" * 300_000)


WRITERS = [
    (grid, ".tif"),
    (layer, ".tif"),
    (score, ".tif"),
    (features, ".gpkg"),
    (picture, ".png"),
    (text, ".txt"),
]


@pytest.mark.parametrize(("write", "ending"), WRITERS, ids=[w.__name__ for w, _ in WRITERS])
@pytest.mark.parametrize("limit", [0, 3_000, 100_000, 190_000])
def test_a_file_that_is_cut_never_takes_the_place_of_a_good_one(
    tmp_path: Path, write: Callable[[Path], None], ending: str, limit: int
) -> None:
    out = tmp_path / f"own{ending}"
    out.write_bytes(b"the good one")
    with no_file_over(limit), pytest.raises(RunFolderError, match=r"own\.\w+: cannot be written"):
        write(out)
    assert out.read_bytes() == b"the good one"
    assert [p.name for p in tmp_path.iterdir()] == [out.name]


@pytest.mark.parametrize(("write", "ending"), WRITERS, ids=[w.__name__ for w, _ in WRITERS])
def test_the_same_file_is_written_where_there_is_room(
    tmp_path: Path, write: Callable[[Path], None], ending: str
) -> None:
    write(tmp_path / f"own{ending}")
    assert (tmp_path / f"own{ending}").stat().st_size > 200_000


def test_bytes_that_do_not_read_back_as_written_are_no_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Path, "read_bytes", lambda _: b"cut")
    with pytest.raises(DiskFullError, match=r"a\.txt: cannot be written to its end"):
        write_whole(tmp_path / "a.txt", "whole")
    assert not (tmp_path / "a.txt").exists()


def test_what_a_killed_writer_left_is_cleared_by_the_next_one(tmp_path: Path) -> None:
    code = (
        "import os, sys; from pathlib import Path; from reefscan.io.whole import put_in_place\n"
        "with put_in_place(Path(sys.argv[1])) as part:\n"
        "    part.write_text('half'); os.kill(os.getpid(), 9)"
    )
    subprocess.run([sys.executable, "-c", code, str(tmp_path / "a.txt")], check=False)
    assert [p.suffixes for p in tmp_path.iterdir()] == [[".part", ".txt"]]
    with put_in_place(tmp_path / "a.txt") as mine:
        mine.write_text("being written")
        write_whole(tmp_path / "a.txt", "whole")
        assert mine.exists()  # its writer lives
    assert [p.name for p in tmp_path.iterdir()] == ["a.txt"]


@pytest.mark.parametrize("kind", ["pipe", "device", "folder", "link to a device"])
def test_only_a_file_is_replaced_by_a_file(tmp_path: Path, kind: str) -> None:
    place = tmp_path / "out.txt"
    if kind == "pipe":
        os.mkfifo(place)
    elif kind == "folder":
        place.mkdir()
    elif kind == "link to a device":
        place.symlink_to("/dev/null")
    else:
        place = Path("/dev/null")
    before = place.lstat()
    with pytest.raises(RunFolderError, match="cannot be written: it is a"):
        write_whole(place, "x")
    assert (place.lstat().st_mode, place.lstat().st_ino) == (before.st_mode, before.st_ino)


def test_a_name_of_250_letters_is_written(tmp_path: Path) -> None:
    name = "é" * 100 + "n" * 45 + ".txt"
    assert write_whole(tmp_path / name, "x").read_text() == "x"


def in_a_child(act: Callable[[], None], user: int | None = None) -> int:
    """Do something in a forked process, as another user if one is given; its exit code."""
    pid = os.fork()
    if pid == 0:
        code = 1
        try:
            if user is not None:
                os.setegid(user)
                os.seteuid(user)
            os.umask(0o077)
            act()
            code = 0
        except RunFolderError as error:
            code = 3 if "cannot be written" in str(error) else 4
        finally:
            os._exit(code)
    return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])


@pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning")
def test_two_writers_of_one_file_leave_one_whole_file_and_nothing_else(tmp_path: Path) -> None:
    out = tmp_path / "own.tif"
    pids = []
    for _ in range(3):
        pid = os.fork()
        if pid == 0:
            code = 1
            try:
                for _ in range(3):
                    grid(out)
                code = 0
            finally:
                os._exit(code)
        pids.append(pid)
    assert [os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]) for pid in pids] == [0, 0, 0]
    assert [p.name for p in tmp_path.iterdir()] == ["own.tif"]
    with rasterio.open(out) as back:
        assert np.isfinite(back.read(1)).all()


@pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning")
@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root may become another user"
)
def test_another_user_writes_where_they_may_and_is_told_where_not(tmp_path: Path) -> None:
    mine, theirs = tmp_path / "mine", tmp_path / "their own, étroit"
    for folder, mode in ((mine, 0o755), (theirs, 0o777)):
        folder.mkdir()
        folder.chmod(mode)
    for place in (tmp_path, *tmp_path.parents[:3]):
        place.chmod(place.stat().st_mode | 0o055)
    (mine / "a.txt").write_text("mine")
    nobody = 65534
    assert in_a_child(lambda: text(mine / "a.txt"), nobody) == 3
    assert (mine / "a.txt").read_text() == "mine"
    assert in_a_child(lambda: text(theirs / "a.txt"), nobody) == 0
    assert [p.name for p in theirs.iterdir()] == ["a.txt"]
    assert (theirs / "a.txt").stat().st_uid == nobody
    assert (theirs / "a.txt").stat().st_mode & 0o077 == 0  # as their umask has it


def test_a_long_path_with_blanks_and_accents_is_written_and_read(tmp_path: Path) -> None:
    deep = tmp_path / ("Öst kusten, été " * 8).strip() / ("礁 и риф " * 8).strip()
    deep.mkdir(parents=True)
    grid(deep / "own ñ.tif")
    with rasterio.open(deep / "own ñ.tif") as back:
        assert back.count == 4
