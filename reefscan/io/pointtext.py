"""Text of x, y, z: what separates the numbers, how fractions are written, which column is which."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from reefscan.errors import UnreadableError
from reefscan.io import words

LOOK = 40
"""Lines looked at before the whole file is read."""

_X = ("x", "lon", "long", "longitude", "easting", "east", "e")
_Y = ("y", "lat", "latitude", "northing", "north", "n")
_Z = ("z", *words.UP_WORDS, *words.DOWN_WORDS, "bathymetry", "bathy")

_THOUSANDS = re.compile(r"\d,\d{3}(?:,\d{3}|\.\d)")


@dataclass(frozen=True)
class Points:
    """Numbers of three columns, and what their heading says of the third.

    Parameters
    ----------
    x, y, z : ndarray of float64, shape (n,)
        NaN where a line has no number.
    label : str
        The third column's name; empty if there is no heading.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    z: NDArray[np.float64]
    label: str = ""


def read_points(path: str, name: str) -> Points:
    """Read a text file of points.

    Raises
    ------
    UnreadableError
        If it is no table of three numbers a line.
    """
    with _lines(path) as lines:
        head = [line for _, line in zip(range(LOOK), lines, strict=False)]
    found = _manner(head)
    grouped = any(_THOUSANDS.search(line) for line in head)
    hint = "; write its numbers without thousands separators" if grouped else ""
    if found is None:
        raise UnreadableError(
            f"{name}: not a table of x, y, z: no line among the first {LOOK} has three numbers{hint}"
        )
    first, mark, comma = found
    columns, label = _roles(head[:first], len(_parts(head[first], mark)), mark)
    with _lines(path) as lines:
        try:
            rows = (line for line in islice(lines, first, None) if not line.lstrip().startswith("//"))
            table = np.loadtxt(
                (line.replace(",", ".") for line in rows) if comma else rows,
                delimiter=mark, usecols=columns, ndmin=2, comments="#", quotechar='"',
            )  # fmt: skip
        except ValueError as error:
            raise UnreadableError(
                f"{name}: not a table of x, y, z ({' '.join(str(error).split())})"
            ) from error
    return Points(table[:, 0], table[:, 1], table[:, 2], label)


@contextmanager
def _lines(path: str) -> Iterator[Iterator[str]]:
    with open(path, "rb") as raw:
        mark = raw.read(2)
    encoding = "utf-16" if mark in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    with open(path, encoding=encoding, errors="replace") as lines:
        yield lines


def _parts(line: str, mark: str | None) -> list[str]:
    return [part.strip().strip('"') for part in line.strip().split(mark)]


def _manner(head: list[str]) -> tuple[int, str | None, bool] | None:
    """First line of numbers, what separates them (None: white space), and whether fractions have a comma."""
    for comma in (False, True):
        for mark in (None, ";", "\t", ","):
            if comma and mark == ",":
                continue
            good = [_is_row(line, mark, comma) for line in head]
            if not any(good):
                continue
            first = good.index(True)
            rest = [ok for ok, line in zip(good, head, strict=True) if line.strip()][first:]
            if sum(rest) >= 0.8 * len(rest):
                return first, mark, comma
    return None


def _is_row(line: str, mark: str | None, comma: bool) -> bool:
    parts = _parts(line.replace(",", ".") if comma else line, mark)
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


def _roles(heading: list[str], width: int, mark: str | None) -> tuple[tuple[int, int, int], str]:
    """Columns of x, y and z by the heading nearest to the numbers, else the first three; and z's name."""
    for line in reversed(heading):
        names = [part.lower() for part in _parts(line.lstrip("#/ "), mark)]
        if len(names) != width:
            continue
        heads = [re.split(r"[^a-z]+", name)[0] for name in names]
        found = [next((i for i, h in enumerate(heads) if h in role), None) for role in (_X, _Y, _Z)]
        if None not in found:
            x, y, z = (int(i) for i in found if i is not None)
            return (x, y, z), names[z]
    return (0, 1, 2), ""
