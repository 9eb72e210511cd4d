"""What the tool says it only, never or always does, tried the other way round."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from reefscan.cli import COMMANDS
from reefscan.cli import run as command_line

ROOT = Path(__file__).parents[1]
LOG = "lon,lat,depth_m\n" + "".join(
    f"{3 + i % 60 * 3e-5:.6f},{50 + i // 60 * 1e-4:.6f},{10 + i % 7 * 0.1}\n" for i in range(600)
)


def told_by(command: str) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "reefscan", command, "--help"], capture_output=True, text=True, check=True
    )
    return " ".join(re.sub(r"[│╭╮╰╯─]", " ", done.stdout).split())


HELD = {
    "look": {"Changes nothing."},  # test_look_changes_nothing
    "rescore": {"no grid is read", "nothing written"},  # test_rescore_reads_no_grid_and_writes_nothing
    "review": {"No network is needed"},  # tests/browser: the page's own policy lets nothing be fetched
}
"""Sentences of the help that promise something, and what holds them."""


@pytest.mark.parametrize("command", sorted(HELD))
def test_what_is_promised_here_is_what_the_help_promises(command: str) -> None:
    text = told_by(command)
    for sentence in HELD[command]:
        assert sentence in text


def contents(folder: Path) -> dict[str, tuple[bytes, int]]:
    return {
        str(p.relative_to(folder)): (p.read_bytes(), p.stat().st_mtime_ns)
        for p in folder.rglob("*")
        if p.is_file()
    }


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to work in, with a grid in it; the cache lies elsewhere."""
    monkeypatch.setenv("REEFSCAN_CACHE", str(tmp_path / "cache"))
    (tmp_path / "in").mkdir()
    shutil.copy(ROOT / "data_samples" / "demo_coast.tif", tmp_path / "in")
    return tmp_path / "in"


def test_look_changes_nothing(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "a.xyz").write_text(
        "".join(f"{500000 + 2 * c} {5500000 - 2 * r} -{10 + c % 3}\n" for r in range(20) for c in range(20))
    )
    before = contents(here)
    for target in (here, here / "demo_coast.tif"):
        assert command_line(["look", str(target), "--crs", "EPSG:32631"]) == 0
    assert contents(here) == before


def test_a_grid_changes_no_log(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "logs").mkdir()
    (tmp_path / "logs" / "a.csv").write_text(LOG)
    before = contents(tmp_path / "logs")
    assert command_line(["grid", str(tmp_path / "logs"), "--out", str(tmp_path / "own.tif"), "--quiet"]) == 0
    assert contents(tmp_path / "logs") == before


def test_every_command_says_what_it_takes() -> None:
    """Each has a help that names its options, so that a refusal can point there."""
    assert set(HELD) <= set(COMMANDS)


@pytest.mark.parametrize(
    "sentence",
    [
        "every file is written whole or not at",  # tests/io/test_no_room.py
        "an existing folder that is not a run is never touched",  # tests/io/out/test_runfolder.py
    ],
)
def test_promises_of_the_manual_still_stand_there(sentence: str) -> None:
    text = " ".join((ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split())
    assert " ".join(sentence.split()) in text
