"""Text of x, y, z: what separates the numbers, how fractions are written, which column is which."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from itertools import islice, pairwise

import numpy as np
from numpy.typing import NDArray

from reefscan.base.errors import UnreadableError
from reefscan.io import words

LOOK = 40
"""Lines looked at before the whole file is read."""

ODD_SHARE = 0.02
"""Lines without a point that a text of points may have; with more of them it is something else."""

FEWEST = 4
"""Rows from which on a column that goes up by one is believed to count them: the least that a grid has."""

_X = ("x", "lon", "long", "longitude", "easting", "east", "e")
_Y = ("y", "lat", "latitude", "northing", "north", "n")
_Z = ("z", *words.UP_WORDS, *words.DOWN_WORDS, "bathymetry", "bathy")

_THOUSANDS = re.compile(r"\d,\d{3}(?:,\d{3}|\.\d)")


Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Points:
    """Numbers of three columns, and what their heading says of the third.

    Parameters
    ----------
    x, y, z : ndarray of float64, shape (n,)
        NaN where a line has no number.
    label : str
        The third column's name; empty if there is no heading.
    note : str
        What the reader should know of the columns that were chosen; empty if they are the first three or go by their names.
    """

    x: Floats
    y: Floats
    z: Floats
    label: str = ""
    note: str = ""


def read_points(path: str, name: str) -> Points:
    """Read a text file of points.

    Raises
    ------
    UnreadableError
        If it is no table of three numbers a line.
    """
    with _lines(path) as lines:
        head = [line for _, line in zip(range(LOOK), lines, strict=False)]
    manner = _manner(head)
    grouped = any(_THOUSANDS.search(line) for line in head)
    hint = "; write its numbers without thousands separators" if grouped else ""
    if manner is None:
        raise UnreadableError(
            f"{name}: not a table of x, y, z: no line among the first {LOOK} has three numbers{hint}"
        )
    heading, rows = head[: manner.first], [line for line in head[manner.first :] if _is_row(line, manner)]
    width = len(_parts(rows[0], manner.mark))
    if counts_rows([_parts(line, manner.mark) for line in rows]):
        columns, label = _roles(heading, width, manner.mark, counted=True)
        (count, x, y, z), odd = _columns(path, name, manner, (0, *columns))
        if (
            np.diff(count) == 1.0
        ).all():  # in the whole file, or it is the first row of a grid in whole metres
            return Points(x, y, z, label, "; ".join(s for s in ("" if label else _taken(columns), odd) if s))
    columns, label = _roles(heading, width, manner.mark)
    (x, y, z), odd = _columns(path, name, manner, columns)
    return Points(x, y, z, label, odd)


def _taken(columns: Sequence[int]) -> str:
    x, y, z = (at + 1 for at in columns)
    return f"its first column only counts the rows: column {x} is taken for x, {y} for y, {z} for z"


@dataclass(frozen=True)
class Manner:
    """How rows of numbers are written.

    Parameters
    ----------
    first : int
        The first line of numbers.
    mark : str or None
        What separates them; None: white space.
    comma : bool
        True if fractions have a comma.
    """

    first: int
    mark: str | None
    comma: bool


def counts_rows(rows: Sequence[Sequence[str]]) -> bool:
    """True if the first of at least four columns counts the rows one by one, so that it is no place.

    The x of a grid does not: it comes again in every row of cells, and a track has fractions.

    Parameters
    ----------
    rows : sequence of sequence of str
        The cells of the first rows of numbers, in order.
    """
    if len(rows) < FEWEST or min(len(row) for row in rows) < 4:
        return False
    first = [row[0].strip() for row in rows]
    return all(cell.isdecimal() for cell in first) and all(int(b) - int(a) == 1 for a, b in pairwise(first))


def _columns(path: str, name: str, manner: Manner, which: tuple[int, ...]) -> tuple[list[Floats], str]:
    """Numbers of some columns, and a sentence on the lines that have none."""

    def load(rows: Iterable[str]) -> list[Floats]:
        plain = (line.replace(",", ".") for line in rows) if manner.comma else rows
        return list(np.loadtxt(plain, delimiter=manner.mark, usecols=which, ndmin=2, comments=None).T)

    def rows(lines: Iterable[str]) -> Iterator[str]:
        for line in islice(lines, manner.first, None):
            bare = line.partition("#")[0].replace('"', "")
            if bare.strip() and not bare.lstrip().startswith("//"):
                yield bare

    with suppress(ValueError), _lines(path) as lines:  # the quick way, where all is well
        return load(rows(lines)), ""
    total, odd, first = 0, 0, ""
    good: list[tuple[float, ...]] = []
    with _lines(path) as lines:
        for line in rows(lines):
            total += 1
            parts = _parts(line.replace(",", ".") if manner.comma else line, manner.mark)
            try:
                good.append(tuple(float(parts[k]) for k in which))
            except (ValueError, IndexError):
                odd += 1
                first = first or repr("".join(ch if ch.isprintable() else " " for ch in line).strip()[:60])
    said = f"{odd:,} of its {total:,} lines hold no three numbers and are left out, such as {first}"
    if odd > ODD_SHARE * total:
        raise UnreadableError(f"{name}: not a table of x, y, z: {said}")
    return list(np.array(good, dtype=np.float64).T), said


@contextmanager
def _lines(path: str) -> Iterator[Iterator[str]]:
    with open(path, "rb") as raw:
        mark = raw.read(2)
    encoding = "utf-16" if mark in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    with open(path, encoding=encoding, errors="replace") as lines:
        yield lines


def _parts(line: str, mark: str | None) -> list[str]:
    return [part.strip().strip('"') for part in line.strip().split(mark)]


def _manner(head: list[str]) -> Manner | None:
    for comma in (False, True):
        for mark in (None, ";", "\t", ","):
            if comma and mark == ",":
                continue
            good = [_is_row(line, Manner(0, mark, comma)) for line in head]
            if not any(good):
                continue
            first = good.index(True)
            rest = [ok for ok, line in zip(good, head, strict=True) if line.strip()][first:]
            if sum(rest) >= 0.8 * len(rest):
                return Manner(first, mark, comma)
    return None


def _is_row(line: str, manner: Manner) -> bool:
    parts = _parts(line.replace(",", ".") if manner.comma else line, manner.mark)
    if len(parts) < 3:
        return False
    count = 0
    for part in parts[:12]:
        try:
            float(part)
        except ValueError:
            continue
        count += 1
    return count >= 3


def _roles(
    heading: list[str], width: int, mark: str | None, *, counted: bool = False
) -> tuple[tuple[int, int, int], str]:
    """Columns of x, y and z by the heading nearest to the numbers, without a heading the first three; and z's name.

    Where the first column counts the rows (``counted``) it comes last by its name, for ``n`` may be a number or a northing,
    and is none of the three without one.
    """
    order = [*range(1, width), 0] if counted else [*range(width)]
    for line in reversed(heading):
        names = [part.lower() for part in _parts(line.lstrip("#/ "), mark)]
        if len(names) != width:
            continue
        heads = [re.split(r"[^a-z]+", name)[0] for name in names]
        found = [next((i for i in order if heads[i] in role), None) for role in (_X, _Y, _Z)]
        if None not in found:
            x, y, z = (int(i) for i in found if i is not None)
            return (x, y, z), names[z]
    return ((1, 2, 3) if counted else (0, 1, 2)), ""
