"""The house as DEVELOPERS.md describes it: short, true, and open to additions at the price that it names."""

from __future__ import annotations

import ast
import re
import sys
import types
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from reefscan.base import columns, doubts, terms
from reefscan.base.doubts import Doubt
from reefscan.doubts import likeness

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "reefscan"
TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_it_can_be_held_in_mind() -> None:
    assert len(TEXT.encode()) <= 12_000


def test_every_file_that_it_names_is_there() -> None:
    named = set(re.findall(r"`((?:[a-z_]+/)+(?:[a-z_]+\.py|[a-z_]+/))`", TEXT))
    assert len(named) > 20
    roots = (ROOT, PACKAGE)
    assert not {name for name in named if not any((root / name).exists() for root in roots)}


def test_every_room_is_named_with_what_is_in_it() -> None:
    rooms = {path.parent.name for path in PACKAGE.glob("*/__init__.py")}
    assert {room for room in rooms if f"`{room}/`" not in TEXT} == set()
    for init in PACKAGE.rglob("__init__.py"):
        assert init.read_text(encoding="utf-8").startswith('"""'), init


def test_one_depth_from_the_file_to_the_site_passes_fifteen_files_at_most() -> None:
    way = re.search(r"To follow one depth from the file to the site: (.+?)\.\n", TEXT, re.DOTALL)
    assert way
    assert 8 <= len(re.findall(r"`[a-z_/]+`", way[1])) <= 15


def test_a_doubt_costs_its_judge_and_one_row(monkeypatch: pytest.MonkeyPatch) -> None:
    """Column, term with its note and words follow from the row; the judge is found by its name."""
    row = Doubt(
        judge="odd", about="how odd it is", looks_like="something odd", flag="looks-odd", costs="oddness",
        note="odd things", full=0.2, none=0.8, weight=0.5,
    )  # fmt: skip
    judge = types.ModuleType("reefscan.doubts.odd")
    judge.likeness = lambda stations, cell_m: np.full(len(stations), 0.25)  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "reefscan.doubts.odd", judge)
    assert likeness(row, pd.DataFrame({"x": [0.0, 1.0]}), 2.0).tolist() == [0.25, 0.25]
    for real in doubts.DOUBTS:
        assert columns.BY_NAME[real.column].about == real.about
        term = terms.DEFAULT_TERMS[real.term]
        assert (term.note, term.high) == (real.note, real.costs)
        assert term.values["column"] == real.column
        assert (PACKAGE / "doubts" / f"{real.judge}.py").exists()
    judged = {path.stem for path in (PACKAGE / "doubts").glob("*.py")} - {"__init__"}
    assert judged == {real.judge for real in doubts.DOUBTS}


LINES, PARAMETERS = 60, 8
"""Of a function at the most, its docstring left out: more wants steps, or a small type for what belongs together."""

DOORS = {
    "reefscan/pipeline/scan.py scan": "what a person can say of a grid and of a run, each a keyword, as readers of arrays have them",
    "reefscan/io/grids/rasters.py open_grids": "the part of these that files are read by",
}
COMPILED = 12
"""Parameters of a compiled kernel: it takes arrays and numbers one by one, and writes into some of them."""


def _too_long() -> dict[str, tuple[int, int]]:
    """Functions that are longer, or take more, with their lines and parameters."""
    found = {}
    for path in sorted([*PACKAGE.rglob("*.py"), *(ROOT / "scripts").glob("*.py")]):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
                continue
            words = ast.get_docstring(node, clean=False) or ""
            lines = node.end_lineno - node.lineno + 1 - len(words.splitlines())
            given = [a.arg for a in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)]
            count = len([name for name in given if name not in ("self", "cls")])
            compiled = any(ast.unparse(mark) in ("kernel", "inlined") for mark in node.decorator_list)
            if lines > LINES or count > (COMPILED if compiled else PARAMETERS):
                found[f"{path.relative_to(ROOT)} {node.name}"] = (lines, count)
    return found


def test_no_function_is_longer_or_takes_more_than_can_be_held_in_mind() -> None:
    assert {name: size for name, size in _too_long().items() if name not in DOORS} == {}
