"""Lines of a grid that only repeat the line beside them: made where it was padded, or where two grids were joined.

Judged once per file when it is opened, on the stored numbers, so that what is found does not depend on
the area or on the cut. Exact repetition cell after cell over ground that changes along the line is never
surveyed; but a plane, an invented seabed or a coarse grid on fine cells repeats too, and is spared by the rules
below.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]
Flags = NDArray[np.bool_]
Boxes = tuple[tuple[int, int, int, int], ...]
Read = Callable[[int, int, int, int], Numbers]
"""From row, column, height and width to stored numbers, NaN where unknown."""

ALIKE = 0.95
"""Share of a line's cells that must equal the line beside it. A padded edge has its odd cell at a corner."""

LEAST_VALUES = 16
"""Different numbers that a line must hold: a flat or empty line repeats by nature."""

LEAST_RUN, MOST_RUN = 3, 15
"""Repeats in succession inside a grid that count. One or two may be a coarse line or rounding, and ground alike
over more is a made seabed, which is what it is."""

LEAST_WIDE = 32
"""Cells along the line over which the same lines repeat: one line of an invented form is no duplicate band."""

LEAST_JUMP = 4.0
"""Steps of the stored numbers by which the ground must change at one end of a run: rows over the crest of a smooth
swell, stored in whole centimetres, may be alike too, but go on by one step or two."""

MOST_SHARE = 0.25
"""Where more of the ground repeats than this, it is made so, or a coarse grid on finer cells."""

BRIDGE = 2
"""Odd lines between two duplicate bands that go with them: they are a mean of both."""

STRIP_CELLS = 4_000_000
"""Cells that may be decoded each way to look for duplicate bands in a file that is not read whole: 50 ms."""

MOST_BANDS = 32
"""Bands looked at closely in such a file, each way."""


def repeated_edge(strips: list[Numbers]) -> int:
    """Number of outer rows that only repeat the row further in, 0 if none.

    Rows count only where they hold `LEAST_VALUES` different numbers, all strips agree, and the repetition
    stops before the strip does (a seabed that is the same all along is no repeated edge). Cells like their
    neighbour along the row as well as across say nothing and are not counted.

    Parameters
    ----------
    strips : list of ndarray of float64, shape (rows inward, cells along)
        NaN where unknown.
    """
    counts = []
    for strip in strips:
        if strip.shape[0] < 3:
            return 0
        outer = strip[0][np.isfinite(strip[0])]
        alike = _alike(strip)
        same = alike >= ALIKE
        if not same[:LEAST_RUN].all():
            same = (
                alike == 1.0
            )  # one or two lines must be copies to the last cell: smooth ground in centimetres is nearly so
        run = int(np.argmin(same)) if not same.all() else -1
        if run <= 0 or np.unique(outer).size < LEAST_VALUES:
            return 0
        if run + 1 > strip.shape[0] - 2 or same[run:].mean() > 0.5:
            return 0
        counts.append(run)
    return min(counts) if counts else 0


def _alike(z: Numbers) -> Numbers:
    """Share of the telling cells of each row that equal the next row's; 0 where fewer than `LEAST_VALUES` tell."""
    equal = z[1:] == z[:-1]
    known = np.isfinite(z[1:]) & np.isfinite(z[:-1])
    flat = np.zeros(equal.shape, dtype=bool)
    flat[:, 1:] = equal[:, 1:] & (z[:-1, 1:] == z[:-1, :-1])
    telling = known & ~flat
    count = telling.sum(axis=1)
    return np.where(count >= LEAST_VALUES, (equal & telling).sum(axis=1) / np.maximum(count, 1), 0.0)


@dataclass
class _Lines:
    """What was found in rows (``z`` as it lies) or in columns (``z`` turned)."""

    mask: Flags
    share: float
    spans: list[tuple[int, int]] = field(default_factory=list)


def _lines(z: Numbers) -> _Lines:
    """Cells of rows that lie in a run of repeats; the share rule is left to the caller.

    A cell is in a run if it equals `LEAST_RUN` to `MOST_RUN` rows in succession and differs from a known
    cell before and after, at one end by `LEAST_JUMP` of the least difference along the row. Rows count where that holds along `LEAST_WIDE` cells (single odd cells
    apart), `LEAST_VALUES` of which, and half of those that are not flat, differ from both neighbours along the row:
    in a coarse grid laid on finer cells none does.
    """
    rows, cols = z.shape
    mask = np.zeros(z.shape, dtype=bool)
    if rows < LEAST_RUN + 3 or cols < LEAST_WIDE:
        return _Lines(mask, 0.0)
    equal = z[1:] == z[:-1]
    if np.count_nonzero(equal.sum(axis=1) >= ALIKE * LEAST_WIDE) < LEAST_RUN:
        return _Lines(mask, 0.0)
    lone = np.zeros(z.shape, dtype=bool)
    lone[:, 1:-1] = (z[:, 1:-1] != z[:, :-2]) & (z[:, 1:-1] != z[:, 2:]) & np.isfinite(z[:, 1:-1])
    level = np.zeros(z.shape, dtype=bool)
    level[:, 1:-1] = (z[:, 1:-1] == z[:, :-2]) & (z[:, 1:-1] == z[:, 2:])
    compared = lone[:-1] & np.isfinite(z[1:])
    share = int((compared & equal).sum()) / max(1, int(compared.sum()))

    jump = _bounded_runs(z, equal)
    held = jump > 0.0
    closed = held.copy()
    closed[:, 1:-1] |= held[:, :-2] & held[:, 2:]
    for r in np.flatnonzero(closed.sum(axis=1) >= LEAST_WIDE):
        ends = np.flatnonzero(np.diff(np.concatenate([[False], closed[r], [False]]).astype(np.int8)))
        for left, right in ends.reshape(-1, 2):
            n = int(lone[r, left:right].sum())
            if right - left < LEAST_WIDE or n < LEAST_VALUES:
                continue
            steps = np.abs(np.diff(z[r, left:right]))
            change = float(np.median(jump[r, left:right][held[r, left:right]]))
            if change < LEAST_JUMP * float(np.min(steps[steps > 0.0])):
                continue
            if 2 * n >= right - left - int(level[r, left:right].sum()):
                mask[r : r + 2, left:right] = True
    out = _Lines(mask, share)
    hit = np.flatnonzero(np.diff(np.concatenate([[False], mask.any(axis=1), [False]]).astype(np.int8)))
    out.spans = [(int(a), int(b)) for a, b in hit.reshape(-1, 2)]
    return out


def _bounded_runs(z: Numbers, equal: Flags) -> Numbers:
    """Change of the ground at the greater end of runs of equal pairs of rows; 0 where there is no run.

    Runs are `LEAST_RUN` to `MOST_RUN` equal pairs with a known unequal pair at both ends.
    """
    out = np.zeros(equal.shape)
    step = np.abs(np.diff(z, axis=0))
    length = np.zeros(equal.shape[1], dtype=np.int64)
    before = np.full(equal.shape[1], np.nan)  # change ahead of the run, NaN if not known
    for r in range(equal.shape[0]):
        good = ~equal[r] & (length >= LEAST_RUN) & (length <= MOST_RUN) & np.isfinite(step[r] + before)
        for n in np.unique(length[good]):
            which = np.flatnonzero(good & (length == n))
            out[r - n : r, which] = np.maximum(before, step[r])[which]
        before = np.where(equal[r], before, step[r])
        length = np.where(equal[r], length + 1, 0)
    return out


def _bridged(mask: Flags) -> Flags:
    """Close gaps of up to `BRIDGE` rows between duplicate bands."""
    out = mask.copy()
    for gap in range(1, BRIDGE + 1):
        both = mask[: -gap - 1] & mask[gap + 1 :]
        for k in range(1, gap + 1):
            out[k : k + both.shape[0]] |= both
    return out


def boxes_of(mask: Flags) -> Boxes:
    """Rectangles (row, column, end row, end column) that make up a mask: runs of like rows, by their columns."""
    found = []
    busy = np.flatnonzero(mask.any(axis=1))
    r = 0
    while r < busy.size:
        top = int(busy[r])
        bottom = top + 1
        while bottom < mask.shape[0] and np.array_equal(mask[bottom], mask[top]):
            bottom += 1
        ends = np.flatnonzero(np.diff(np.concatenate([[False], mask[top], [False]]).astype(np.int8)))
        found += [(top, int(a), bottom, int(b)) for a, b in ends.reshape(-1, 2)]
        r = int(np.searchsorted(busy, bottom))
    return tuple(found)


def in_whole(z: Numbers) -> tuple[Boxes, Boxes]:
    """Duplicate bands of rows and of columns in a band that is in memory.

    Parameters
    ----------
    z : ndarray of float64, shape (rows, cols)
        Stored numbers, NaN where unknown; without the repeated edges.

    Returns
    -------
    rows, columns : tuple of (row, column, end row, end column)
    """
    out = []
    for turned in (z, np.ascontiguousarray(z.T)):
        lines = _lines(turned)
        out.append(boxes_of(_bridged(lines.mask)) if lines.share <= MOST_SHARE and lines.spans else ())
    return out[0], _turned(out[1])


def in_strips(read: Read, crop: tuple[int, int, int, int], block: tuple[int, int]) -> tuple[Boxes, Boxes]:
    """Duplicate bands in a file too large to look at whole: found in a strip through its middle, then read along.

    The strip is one stored block wide. Where decoding it would take more than `STRIP_CELLS` (a large
    file stored by whole rows, looked at from top to bottom) that way is not looked at.

    Parameters
    ----------
    read : callable
        Reads stored numbers by row, column, height, width.
    crop : tuple of 4 int
        First row, first column, end row, end column of what is used.
    block : tuple of 2 int
        Height and width of a stored block.
    """
    top, left, bottom, right = crop

    def across(row: int, col: int, height: int, width: int) -> Numbers:
        return np.ascontiguousarray(read(col, row, width, height).T)

    down = _one_way(read, (top, left, bottom, right), block[1])
    over = _one_way(across, (left, top, right, bottom), block[0])
    return down, _turned(over)


def _one_way(read: Read, part: tuple[int, int, int, int], block: int) -> Boxes:
    top, left, bottom, right = part
    high, wide = bottom - top, right - left
    side = min(wide, max(block, LEAST_WIDE * 4))
    first = min((left + wide // 2) // block * block, right - side)
    decoded = high * (math.ceil((first + side) / block) - first // block) * block
    if decoded > STRIP_CELLS or first < left:
        return ()
    lines = _lines(read(top, first, high, side))
    if lines.share > MOST_SHARE or not lines.spans or len(lines.spans) > MOST_BANDS:
        return ()
    reach = MOST_RUN + 2
    found: list[tuple[int, int, int, int]] = []
    done = -1
    for start, end in lines.spans:
        if start < done:
            continue
        # bands close by are looked at together, so that no cell is read for two of them
        last = end
        for other, other_end in lines.spans:
            if last <= other <= last + 2 * reach:
                last = other_end
        a, b = max(0, start - reach), min(high, last + reach)
        done = last
        mask = _bridged(_lines(read(top + a, left, b - a, wide)).mask)
        found += [(top + a + r, left + c, top + a + r1, left + c1) for r, c, r1, c1 in boxes_of(mask)]
    return tuple(found)


def _turned(boxes: Boxes) -> Boxes:
    return tuple((c, r, c1, r1) for r, c, r1, c1 in boxes)


def sentence(rows: Boxes, columns: Boxes) -> str:
    """Say which lines are copies, for people; counted from 1 as the file stores them."""
    parts = []
    for what, spans in (
        ("rows", [(r, r1) for r, _, r1, _ in rows]),
        ("columns", [(c, c1) for _, c, _, c1 in columns]),
    ):
        joined: list[list[int]] = []
        for a, b in sorted(spans):
            if joined and a <= joined[-1][1]:
                joined[-1][1] = max(b, joined[-1][1])
            else:
                joined.append([a, b])
        if joined:
            shown = ", ".join(f"{a + 1}-{b}" for a, b in joined[:6]) + (
                " and more" if len(joined) > 6 else ""
            )
            parts.append(f"{sum(b - a for a, b in joined)} {what} ({shown})")
    return (
        f"{' and '.join(parts)} inside it only repeat their neighbours, as where two grids were joined: their copied "
        "cells count as unknown"
    )
