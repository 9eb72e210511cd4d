"""What a file does not say is asked in a terminal and nowhere else; the flag that repeats the answer is printed."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
import rasterio

sys.path.insert(0, str(Path(__file__).resolve().parent))

from terminal import at_terminal

from reefscan.cli import asking as talk
from reefscan.cli import run as command_line


@pytest.fixture
def both_sides(tmp_path: Path) -> Path:
    """A tilted plane with numbers on both sides of zero, as high as deep and as rough: 60 % lies below zero, the rest to the north."""
    z = np.repeat(np.linspace(20.0, -30.0, 100)[:, None], 80, axis=1).astype("float32")
    path = tmp_path / "coast.tif"
    with rasterio.open(
        path, "w", driver="GTiff", width=80, height=100, count=1, dtype="float32", crs="EPSG:32631",
        transform=rasterio.Affine(5, 0, 500_000, 0, -5, 5_600_000),
    ) as out:  # fmt: skip
        out.write(z, 1)
    return path


@pytest.fixture
def answers(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> object:
    """Sit at a terminal and type these lines."""

    def sit(*lines: str) -> None:
        left = iter(lines)
        monkeypatch.setattr(talk, "at_a_terminal", lambda: True)
        monkeypatch.setattr("sys.stdin.readline", lambda: f"{next(left, '')}\n", raising=False)

    return sit


def test_the_sign_is_asked_in_a_terminal_with_what_speaks_for_each_answer(both_sides: Path) -> None:
    code, shown = at_terminal(["look", str(both_sides)], "nonsense\n1\n")
    assert code == 0
    # by hand: linspace from 20 to -30 in 100 steps is below zero from the 41st on
    assert "60 % would be under water, to 30 m deep; land would lie mostly in the north" in shown
    assert "40 % would be under water, to 20 m deep; land would lie mostly in the south" in shown
    assert "'nonsense' is none of them: up, down" in shown
    assert "To say so next time: --positive up" in shown
    assert "depths to 30 m, and up to 20 m above zero" in shown


@pytest.mark.parametrize("more", [[], ["--json"]])
def test_piped_it_is_the_one_line_that_names_the_flag(
    both_sides: Path, capsys: pytest.CaptureFixture[str], more: list[str]
) -> None:
    assert command_line(["look", str(both_sides), *more]) == 1
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.count("\n") == 1
    assert "say --positive up (elevation) or --positive down (depth)" in told.err


def test_the_answer_reads_the_file_as_the_flag_does(
    both_sides: Path, capsys: pytest.CaptureFixture[str], answers
) -> None:
    said = {}
    for word in ("up", "down"):
        assert command_line(["look", str(both_sides), "--positive", word]) == 0
        said[word] = capsys.readouterr().out
        answers(word)
        assert command_line(["look", str(both_sides)]) == 0
        assert capsys.readouterr().out == said[word]
    assert said["up"] != said["down"]


def test_no_answer_ends_with_the_error_as_without_a_terminal(
    both_sides: Path, capsys: pytest.CaptureFixture[str], answers
) -> None:
    answers("")
    assert command_line(["look", str(both_sides)]) == 1
    assert capsys.readouterr().err.splitlines()[-1].endswith("or --positive down (depth)")


def test_a_coordinate_system_that_is_not_stored_is_asked_with_the_numbers_it_must_fit(
    both_sides: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], answers
) -> None:
    with rasterio.open(both_sides) as old, rasterio.open(
        tmp_path / "bare.tif", "w", **{**old.profile, "crs": None}
    ) as new:  # fmt: skip
        new.write(-np.abs(old.read()) - 1.0)
    answers("EPSG:32631")
    assert command_line(["look", str(tmp_path / "bare.tif")]) == 0
    told = capsys.readouterr()
    assert "x runs from 500000 to 500400, y from 5599500 to 5600000" in told.err
    assert "To say so next time: --crs EPSG:32631" in told.err
    assert "Sheet 1: EPSG:32631" in told.out


def test_the_unit_is_asked_with_what_the_values_would_be(
    both_sides: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], answers
) -> None:
    with rasterio.open(both_sides) as old, rasterio.open(tmp_path / "mm.tif", "w", **old.profile) as new:
        new.write(1000.0 * (-np.abs(old.read()) - 1.0))
    answers("4")
    assert command_line(["look", str(tmp_path / "mm.tif")]) == 0
    told = capsys.readouterr().err
    assert "mm      they would run from -31 to -1" in told
    assert "To say so next time: --value-unit mm" in told


def test_a_scan_asks_for_the_datum_where_neither_the_grid_nor_the_command_says_it(
    both_sides: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    answers,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Asked before the work, and written beside each depth; not asked where it is said, nor where nobody sits."""
    asked = ["scan", str(both_sides), "--positive", "up", "--no-map", "--workers", "1"]
    monkeypatch.setattr("reefscan.cli.scan.at_a_terminal", lambda: True)
    answers("mean low water")
    assert command_line(asked) == 0
    told = capsys.readouterr()
    assert "To say so next time: --datum 'mean low water'" in told.err
    assert "Depths are below mean low water; the tide is not added." in told.out
    for more in (["--datum", "chart datum"], ["--quiet"]):
        assert command_line([*asked, *more]) == 0
        told = capsys.readouterr()
        assert "next time" not in told.err
    assert "Datum not stated by the grid" in told.out
