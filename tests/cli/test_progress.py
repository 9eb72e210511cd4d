"""What a person, and a log, see of a scan that runs."""

from __future__ import annotations

import io
import sys

import pytest

from reefscan.base.model import Window
from reefscan.batch.events import Compiling, Packing, Planned, TileDamaged, TileDone, TileFailed, TileKept
from reefscan.cli import progress
from reefscan.cli.progress import Progress

CELLS = 4_000_000
CORE = Window(0, 0, 2000, 2000)


class Clock:
    """A clock that stands until it is moved."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.now = 100.0
        monkeypatch.setattr(progress.time, "monotonic", lambda: self.now)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    """Stand in for the clock."""
    return Clock(monkeypatch)


def test_a_log_gets_a_line_now_and_then_with_tiles_speed_and_time_left(
    clock: Clock, capsys: pytest.CaptureFixture[str]
) -> None:
    with Progress() as shown:
        shown(Planned(100, 100 * CELLS))
        shown(TileKept(CORE, CELLS))
        for _ in range(49):
            clock.now += 1.0
            shown(TileDone(CORE, CELLS, 1.0))
    lines = capsys.readouterr().err.splitlines()
    # one tile of 4 Mcell a second: after 10 s ten are done and one was kept, 89 are left
    assert lines[0] == "reefscan: 11/100 tiles, 4 million cells a second, 1:29 left"
    assert len(lines) == 4


def test_the_lines_grow_rarer(clock: Clock, capsys: pytest.CaptureFixture[str]) -> None:
    with Progress() as shown:
        shown(Planned(100_000, 100_000 * CELLS))
        for _ in range(36_000):  # ten hours
            clock.now += 1.0
            shown(TileDone(CORE, CELLS, 1.0))
    assert 40 < len(capsys.readouterr().err.splitlines()) < 100


def test_failures_are_told_and_what_is_no_tile_is_passed_over(clock: Clock) -> None:
    shown = Progress(quiet=True)
    for event in (Planned(3, 3 * CELLS), TileFailed(CORE, CELLS, "planted", 1), TileDamaged(CORE), object()):
        shown(event)
    assert shown.words() == "1/3 tiles, 1 failed"
    clock.now += 2.0
    shown(TileDone(CORE, CELLS, 1.0))
    assert shown.words() == "2/3 tiles, 2 million cells a second, 0:02 left, 1 failed"
    shown(TileDone(CORE, CELLS, 1.0))
    assert shown.words() == "3/3 tiles, joining what they found, 1 failed"


def test_quiet_says_nothing(clock: Clock, capsys: pytest.CaptureFixture[str]) -> None:
    with Progress(quiet=True) as shown:
        shown(Planned(2, 2 * CELLS))
        clock.now += 100.0
        shown(TileDone(CORE, CELLS, 1.0))
    assert capsys.readouterr().err == ""


class Terminal(io.StringIO):
    """Standard error of a person watching."""

    def isatty(self) -> bool:
        """Say that it is a terminal."""
        return True


@pytest.mark.parametrize("columns", [20, 200])
def test_no_line_is_wider_than_the_terminal(
    columns: int, monkeypatch: pytest.MonkeyPatch, clock: Clock
) -> None:
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setenv("COLUMNS", str(columns))
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("NO_COLOR", "1")
    with Progress() as shown:
        shown(Planned(7, 7 * CELLS))
        clock.now += 1.0
        shown(TileDone(CORE, CELLS, 1.0))
        shown._bar.refresh()
    import re

    plain = re.sub(r"\x1b\[[0-9;?]*[a-zA-Z]", "", terminal.getvalue())
    lines = re.split(r"[\r\n]", plain)
    assert max(map(len, lines)) <= columns
    assert any("1/7 tiles" in line for line in lines)
    assert any("\u2501" in line for line in lines) == (columns > 60)


def test_a_raster_that_is_packed_for_minutes_is_said_to_be(capsys: pytest.CaptureFixture[str]) -> None:
    shown = Progress()
    shown(Packing(90_000_000_000, 300_000))
    assert "writing score.tif, 90,000 million cells" in (said := capsys.readouterr().err)
    assert "sooner one by one" in said
    shown(Packing(4_000_000_000, 3_000_000_000))
    assert "one by one" not in capsys.readouterr().err
    shown(Packing(1_000_000, 9))
    assert capsys.readouterr().err == ""


def test_a_log_says_that_it_compiles_and_the_speed_of_the_tiles_knows_nothing_of_it(
    clock: Clock, capsys: pytest.CaptureFixture[str]
) -> None:
    with Progress() as shown:
        shown(Planned(100, 100 * CELLS))
        for functions in range(60):
            shown(Compiling(functions))
            clock.now += 1.0
        for _ in range(11):
            shown(TileDone(CORE, CELLS, 1.0))
            clock.now += 1.0
    lines = capsys.readouterr().err.splitlines()
    assert lines[0] == "reefscan: preparing the program for this machine, the first time only, about a minute"
    assert (
        lines[1]
        == "reefscan: preparing the program for this machine, the first time only: 10 functions, 10 s"
    )
    assert len(lines) == 7
    # the first tile is over at once here: 11 tiles in 10 s
    assert lines[6] == "reefscan: 11/100 tiles, 4.4 million cells a second, 1:21 left"
