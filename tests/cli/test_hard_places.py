"""Whole commands where it is hard: no room, no right, two at once, a folder that moves, odd paths, other users."""

from __future__ import annotations

import itertools
import json
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import rasterio

from reefscan.cli import run as command_line

if os.name != "posix":
    pytest.skip("commands are forked", allow_module_level=True)

pytestmark = pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning")
ROOT_ONLY = pytest.mark.skipif(os.geteuid() != 0, reason="only root may mount, or become another user")
NOBODY = 65534
LONGEST_S = 120.0


@dataclass(frozen=True)
class End:
    """How a command ended: its exit code and what it said."""

    code: int
    said: str


class Running:
    """A command in a forked process, in which all kernels are compiled already."""

    def __init__(self, said: Path, args: list[str], before: Callable[[], None] = lambda: None) -> None:
        self.said = said
        self.pid = os.fork()
        if self.pid == 0:
            code = 70
            try:
                words = os.open(said, os.O_CREAT | os.O_WRONLY | os.O_TRUNC)
                os.dup2(words, 1)
                os.dup2(words, 2)
                sys.stdout = os.fdopen(1, "w", buffering=1, closefd=False)
                sys.stderr = os.fdopen(2, "w", buffering=1, closefd=False)
                before()
                code = command_line(args)
            finally:
                os._exit(code)

    def ended(self) -> bool:
        self._status = os.waitpid(self.pid, os.WNOHANG)
        return self._status[0] != 0

    def end(self) -> End:
        begun = time.monotonic()
        while not self.ended():
            assert time.monotonic() - begun < LONGEST_S, "it hangs"
            time.sleep(0.01)
        return End(os.waitstatus_to_exitcode(self._status[1]), self.said.read_text())


Tell = Callable[..., Running]


@pytest.fixture
def call(tmp_path_factory: pytest.TempPathFactory) -> Tell:
    """Start a command; what it says goes to a folder of its own."""
    place, numbers = tmp_path_factory.mktemp("said"), itertools.count()

    def of(*args: object, before: Callable[[], None] = lambda: None) -> Running:
        return Running(place / f"{next(numbers)}.txt", [str(a) for a in args], before)

    return of


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder with a grid, a log and the finished run of the grid, made in this process."""
    place = tmp_path_factory.mktemp("made")
    before = os.environ.get("REEFSCAN_CACHE")
    os.environ["REEFSCAN_CACHE"] = str(place / "cache")
    y, x = np.mgrid[:240, :240]
    mounds = sum(
        4.0 * np.exp(-((x - c) ** 2 + (y - r) ** 2) / 50.0) for r, c in ((60, 60), (120, 180), (200, 90))
    )
    cells = (-18 + mounds + 3.0 * (x > 130) + np.random.default_rng(1).normal(0, 0.03, x.shape)).astype("f4")
    profile = {"driver": "GTiff", "width": 240, "height": 240, "count": 1, "dtype": "float32", "crs": "EPSG:32631", "nodata": -9999.0}  # fmt: skip
    with rasterio.open(
        place / "big.tif", "w", **profile, transform=rasterio.Affine(2, 0, 5e5, 0, -2, 5.5e6)
    ) as out:
        out.write(cells, 1)
    rows = (f"{3 + i % 60 * 3e-5:.6f},{50 + i // 60 * 1e-4:.6f},{10 + i % 7 * 0.1:.1f}" for i in range(600))
    (place / "log.csv").write_text("\n".join(["lon,lat,depth_m", *rows]))
    assert command_line([*SCAN, str(place / "big.tif"), "--out", str(place / "run")]) == 0
    assert command_line(["grid", str(place / "log.csv"), "--out", str(place / "own.tif"), "--quiet"]) == 0
    loaded = place / "loaded"  # another user may not reach the libraries of this one
    loaded.mkdir()
    for command, name in (("export", "a.gpx"), ("review", "a.html"), ("map", "a.png")):
        assert command_line([command, str(place / "run"), "--out", str(loaded / name)]) == 0
    yield place
    os.environ.pop("REEFSCAN_CACHE")
    if before is not None:
        os.environ["REEFSCAN_CACHE"] = before


SCAN = ["scan", "--depth", "5m", "30m", "--workers", "1", "--quiet"]


def one_line(end: End, says: str) -> None:
    """An error is one line, in words; nothing of the inside shows."""
    assert end.code == 1, end
    assert says in end.said
    assert "internal error" not in end.said
    assert "Traceback" not in end.said


def same_run(one: Path, other: Path) -> None:
    """Two runs of one grid hold the same sites and scores, and nothing half."""
    names = sorted(p.name for p in one.iterdir() if p.is_file() and p.name not in ("lock", "run.json"))
    assert "candidates.geojson" in names
    for name in names:
        assert (one / name).read_bytes() == (other / name).read_bytes(), name
    assert not [p for p in other.rglob("*") if ".part" in p.name]


def test_a_file_size_limit_is_one_line_and_half_of_nothing(made: Path, tmp_path: Path, call: Tell) -> None:
    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))

    shutil.copy(made / "own.tif", tmp_path / "own.tif")
    good = (tmp_path / "own.tif").read_bytes()
    one_line(call("grid", made / "log.csv", "--out", tmp_path / "own.tif", before=limit).end(), "cannot be written")  # fmt: skip
    assert (tmp_path / "own.tif").read_bytes() == good
    one_line(call(*SCAN, made / "big.tif", "--out", tmp_path / "run", before=limit).end(), "cannot be written")  # fmt: skip
    assert not list((tmp_path / "run").glob("candidates*"))
    again = call(*SCAN, made / "big.tif", "--out", tmp_path / "run").end()  # with room it goes on
    assert again.code == 0
    same_run(made / "run", tmp_path / "run")


@ROOT_ONLY
def test_a_disk_that_is_nearly_full_is_one_line_and_half_of_nothing(
    made: Path, tmp_path: Path, call: Tell
) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    done = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=3m", "tmpfs", str(disk)], capture_output=True, text=True, check=False
    )  # fmt: skip
    if done.returncode:
        pytest.skip(f"a small disk cannot be mounted here ({done.stderr.strip()})")
    try:
        (disk / "filler").write_bytes(bytes(round(0.95 * (3 << 20))))
        for args in (
            [*SCAN, made / "big.tif", "--out", disk / "run"],
            ["grid", made / "log.csv", "--out", disk / "own.tif"],
            ["review", made / "run", "--out", disk / "page.html"],
            ["map", made / "run", "--out", disk / "map.png"],
            ["cards", made / "run", "--top", "20", "--out", disk / "cards.pdf"],
        ):
            one_line(call(*args).end(), "space")
        assert not [p for p in disk.rglob("*") if ".part" in p.name]
        assert not [p for p in disk.iterdir() if p.suffix in (".html", ".png", ".pdf") and p.name != "own.report.html"]  # fmt: skip
        if (disk / "own.tif").exists():  # a small file may have found its room
            assert (disk / "own.tif").read_bytes() == (made / "own.tif").read_bytes()
        assert json.loads((disk / "run" / "run.json").read_text())["state"] == "failed"
        (disk / "filler").unlink()
        assert call(*SCAN, made / "big.tif", "--out", disk / "run").end().code == 0
        same_run(made / "run", disk / "run")
    finally:
        subprocess.run(["umount", str(disk)], check=True)


@ROOT_ONLY
def test_another_user_is_told_where_they_may_not_write_and_writes_where_they_may(
    made: Path, tmp_path: Path, call: Tell
) -> None:
    def nobody() -> None:
        os.setgroups([])
        os.setgid(NOBODY)
        os.setuid(NOBODY)
        os.umask(0o077)
        os.environ["REEFSCAN_CACHE"] = str(theirs / "cache")

    mine, theirs = tmp_path / "mine", tmp_path / "theirs"
    for folder, mode in ((mine, 0o755), (theirs, 0o777)):
        folder.mkdir()
        folder.chmod(mode)
    for place in (*tmp_path.parents[:3], tmp_path, made):
        place.chmod(place.stat().st_mode | 0o055)
    for args in (
        [*SCAN, made / "big.tif", "--out", mine / "run"],
        ["grid", made / "log.csv", "--out", mine / "own.tif"],
        ["export", made / "run", "--out", mine / "sites.gpx"],
        ["review", made / "run", "--out", mine / "page.html"],
        ["map", made / "run", "--out", mine / "map.png"],
    ):
        end = call(*args, before=nobody).end()
        one_line(end, "cannot be")
        assert str(args[-1]) in end.said or mine.name in end.said
    assert list(mine.iterdir()) == []
    assert call(*SCAN, made / "big.tif", "--out", theirs / "run", before=nobody).end().code == 0
    same_run(made / "run", theirs / "run")
    for path in (theirs / "run").rglob("*"):
        told = path.stat()
        assert (told.st_uid, told.st_mode & 0o077) == (NOBODY, 0), path


def test_a_run_folder_on_another_disk_than_the_temporary_one_is_the_same(
    made: Path, tmp_path: Path, call: Tell
) -> None:
    disk = Path("/dev/shm")
    if not os.access(disk, os.W_OK) or disk.stat().st_dev == tmp_path.stat().st_dev:
        pytest.skip("there is no second disk here")
    with tempfile.TemporaryDirectory(dir=disk) as there:
        assert call(*SCAN, made / "big.tif", "--out", f"{there}/run").end().code == 0
        same_run(made / "run", Path(there) / "run")


def test_two_scans_into_one_folder_give_one_whole_run(made: Path, tmp_path: Path, call: Tell) -> None:
    both = [call(*SCAN, made / "big.tif", "--out", tmp_path / "run") for _ in range(2)]
    ends = [running.end() for running in both]
    assert 0 in [end.code for end in ends]
    for end in ends:
        if end.code:
            one_line(end, "in use")
    same_run(made / "run", tmp_path / "run")


def test_a_review_during_a_scan_is_a_page_or_one_line(made: Path, tmp_path: Path, call: Tell) -> None:
    scan = call(*SCAN, made / "big.tif", "--out", tmp_path / "run")
    ends = []
    while not scan.ended():
        ends.append(call("review", tmp_path / "run", "--out", tmp_path / "page.html").end())
    assert os.waitstatus_to_exitcode(scan._status[1]) == 0
    assert ends
    for end in ends:
        if end.code:
            one_line(end, "run")
    assert call("review", tmp_path / "run", "--out", tmp_path / "page.html").end().code == 0
    same_run(made / "run", tmp_path / "run")


def test_two_grids_on_one_out_leave_one_whole_grid(made: Path, tmp_path: Path, call: Tell) -> None:
    both = [call("grid", made / "log.csv", "--out", tmp_path / "own.tif", "--quiet") for _ in range(2)]
    assert [running.end().code for running in both] == [0, 0]
    assert (tmp_path / "own.tif").read_bytes() == (made / "own.tif").read_bytes()
    assert not [p for p in tmp_path.iterdir() if ".part" in p.name]


def test_a_run_that_is_moved_while_it_is_read_is_read_or_one_line(
    made: Path, tmp_path: Path, call: Tell
) -> None:
    here, there = tmp_path / "run", tmp_path / "moved"
    shutil.copytree(made / "run", here)
    stop = threading.Event()

    def move() -> None:
        while not stop.is_set():
            here.rename(there)
            time.sleep(0.01)
            there.rename(here)
            time.sleep(0.02)

    mover = threading.Thread(target=move)
    mover.start()
    try:
        ends = [
            call(*args).end()
            for _ in range(4)
            for args in (
                ["status", here],
                ["export", here, "--out", tmp_path / "sites.gpx"],
                ["review", here, "--out", tmp_path / "page.html"],
                ["rescore", here, "--json"],
                ["cards", here, "--top", "2", "--out", tmp_path / "cards.pdf"],
            )
        ]
    finally:
        stop.set()
        mover.join()
    for end in ends:
        assert end.code in (0, 1), end
        assert "internal error" not in end.said
        assert "Traceback" not in end.said


def test_every_command_works_in_a_path_of_250_letters_with_blanks_and_accents(
    made: Path, tmp_path: Path, call: Tell
) -> None:
    place = tmp_path / "Été à la côte, n° 1 %s {x} $HOME"
    place /= "礁 и риф " * ((250 - len(str(place))) // 8 - 2) + "x"
    place.mkdir(parents=True)
    assert 220 < len(str(place)) < 260
    shutil.copy(made / "big.tif", place / "a b.tif")
    shutil.copy(made / "log.csv", place / "l o g.csv")
    run = place / "run é"
    for args in (
        ["look", place],
        [*SCAN, place / "a b.tif", "--out", run],
        ["status", run],
        ["grid", place / "l o g.csv", "--out", place / "own é.tif"],
        ["rescore", run, "--top", "3", "--out", place / "other"],
        ["compare", run, place / "other"],
        ["export", run, "--out", place / "é.gpkg"],
        ["export", run, "--out", place / "é.kml"],
        ["review", run, "--out", place / "é.html"],
        ["map", run, "--out", place / "é.png"],
        ["cards", run, "--top", "1", "--out", place / "é.pdf"],
        ["layers", place / "a b.tif", "--only", "slope_deg", "--out", place / "layers é"],
    ):
        end = call(*args).end()
        assert end.code == 0, (args, end)
    same_run_sites(made / "run", run)


def same_run_sites(one: Path, other: Path) -> None:
    """The same places; the grid has another name."""
    read = (run / "candidates.geojson" for run in (one, other))
    first, second = (path.read_text().replace("a b.tif", "big.tif") for path in read)
    assert first == second
