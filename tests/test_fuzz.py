"""A slice of the attack on every reader (`scripts/fuzz.py`): nothing worse than one line, and no request."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

sys.path[:0] = [str(Path(__file__).parents[1] / "scripts")]

if os.name != "posix":
    pytest.skip("cases are forked", allow_module_level=True)

import fuzz  # noqa: E402 - found by the path above

CASES = 3
pytestmark = pytest.mark.filterwarnings(
    "ignore:.*fork:DeprecationWarning"
)  # the children only read, and end at once


@pytest.fixture(scope="module")
def arena() -> Iterator[Any]:
    before = dict(os.environ)
    try:
        with fuzz.arena(list(fuzz.READERS)) as made:
            yield made
    finally:
        os.environ.clear()
        os.environ.update(before)


@pytest.mark.parametrize("reader", fuzz.READERS)
def test_damaged_files_end_in_one_line_and_ask_nobody(arena: Any, reader: str) -> None:
    work, grounds, server = arena
    toll = fuzz.attack(reader, grounds[reader], work, iter(range(CASES)))
    assert toll.failures == []
    assert toll.cases == CASES
    assert server.asked == []


def test_the_files_that_are_damaged_are_good_before(arena: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Else nothing would be tried but the refusal of something else."""
    work, grounds, _ = arena
    monkeypatch.setattr(fuzz, "hurt_file", lambda name, data, dice, words: data)
    for reader in set(fuzz.READERS) - {"recipe"}:  # which is for a grid that is not there
        toll = fuzz.attack(reader, grounds[reader], work, iter([9000]))
        assert toll.ends == {"exit 0": 1}, reader


def test_a_case_is_its_number(arena: Any) -> None:
    work, grounds, _ = arena
    for name in ("one", "two"):
        fuzz.prepare(grounds["csv"], "csv", 7, work / name)
    assert (work / "one" / "a.csv").read_bytes() == (work / "two" / "a.csv").read_bytes()
    assert (work / "one" / "a.csv").read_bytes() != grounds["csv"].files["a.csv"]


@pytest.mark.parametrize(
    ("code", "says"),
    [
        ("raise RuntimeError('x')", "traceback"),
        ("os.kill(os.getpid(), 9)", "signal 9"),
        ("os._exit(99)", "exit 99"),
        ("(folder / '.a.part.tif').write_text('x'); os._exit(0)", "a half file left"),
        ("(folder / 'out.tif').write_text('x'); os._exit(0)", "half a file"),
    ],
)
def test_the_judge_sees_what_is_wrong(tmp_path: Path, code: str, says: str) -> None:
    """What would be wrong is done, and told."""

    def calls(folder: Path, dice: Any) -> Any:
        return lambda: exec(code, {"os": os, "folder": folder})

    ground = fuzz.Ground({"a.txt": b"a"}, (), calls)
    toll = fuzz.attack("a", ground, tmp_path, iter([1]))
    assert len(toll.failures) == 1
    assert says in toll.failures[0]
