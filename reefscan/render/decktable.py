"""The table of the deck sheet: a row a net, a column a round, each with what is done there in the dark."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from reefscan.render.fitted import PITCH, Face, width_in
from reefscan.render.paper import EDGE, WIDE, Paper
from reefscan.render.sheet import Sheet, SheetNet, SheetRound

LEAST_PT = 10.5
"""Smallest type of what is read at sea. Capitals of it are 2.7 mm tall, 15 minutes of arc at 60 cm, about the least that is asked
of signs in poor light (MIL-STD-1472, from memory)."""

MOST_PT = 17.0
SITE_PT, NUMBER_PT = 232.0, 33.0
HOURS, ROPE, REST = 1.15, 1.0, 0.97
"""Sizes of the three lines of a cell over each other."""

GAP_PT = 6.0
HEAD_PT = 12.0


@dataclass(frozen=True)
class Columns:
    """Rounds beside each other, in how many lines they go on, and how wide each is (points)."""

    across: int
    folds: int
    wide: float

    @property
    def least_row(self) -> float:
        """Height of a row at the smallest type (points)."""
        return self.folds * (PITCH * LEAST_PT * (HOURS + ROPE + REST) + GAP_PT / 2)


def columns_of(sheet: Sheet) -> Columns:
    """As many rounds beside each other as keep their hours at the smallest type."""
    room = WIDE - 2 * EDGE - SITE_PT
    most = max(len(net.rounds) for net in sheet.nets)
    words = [cell for net in sheet.nets for one in net.rounds for cell in _cell(one, net, brief=True)]
    least = max(_wide(text, LEAST_PT, heavy) for text, _, heavy in words)
    folds = math.ceil(most / max(1, int(room / (least + GAP_PT))))
    across = math.ceil(most / folds)
    return Columns(across, folds, room / max(across, 3))


def draw_rows(paper: Paper, sheet: Sheet, nets: Sequence[SheetNet], columns: Columns, box: tuple[float, float]) -> None:  # fmt: skip
    """Rows of some nets, and above them what stands in the columns.

    Parameters
    ----------
    box : (float, float)
        Top and bottom of the whole (points).
    """
    top, bottom = box[0] + HEAD_PT, box[1]
    tall = min((bottom - top) / len(nets), columns.folds * 3.9 * MOST_PT)
    most = max(len(net.rounds) for net in sheet.nets)
    face = Face(9.0, 5.0)
    paper.fitted((EDGE, box[0]), "reads: the sounder at the set; beyond ± look again", face, SITE_PT - GAP_PT)
    for n in range(columns.across):
        numbers = ", ".join(f"{r + 1}" for r in range(n, most, columns.across))
        x = EDGE + SITE_PT + n * columns.wide
        paper.fitted((x, box[0]), f"round {numbers}:  □ set  □ pull", face, columns.wide - GAP_PT)
    for k, net in enumerate(nets):
        y = top + k * tall
        paper.rule((EDGE, y), (WIDE - EDGE, y), 1.4)
        _site(paper, net, (y + 2.5, y + tall - 1))
        for n, one in enumerate(net.rounds):
            down, along = divmod(n, columns.across)
            x, start = EDGE + SITE_PT + along * columns.wide, y + down * tall / columns.folds
            paper.rule((x - 4, start + 3), (x - 4, start + tall / columns.folds - 2), 0.6, "0.6")
            changed = not n or one.rope != net.rounds[n - 1].rope
            _draw_cell(paper, one, net, (x, start + 2.5), (columns.wide - GAP_PT, tall / columns.folds - GAP_PT / 2), bold=changed)  # fmt: skip
    end = top + len(nets) * tall
    paper.rule((EDGE, end), (WIDE - EDGE, end), 1.4)


def _wide(words: str, size: float, bold: bool) -> float:
    return width_in(words, size, Face(size, size, "bold" if bold else "normal")) * 72 / 0.97


def _cell(one: SheetRound, net: SheetNet, *, brief: bool) -> list[tuple[str, float, bool]]:
    """What one soak says, with sizes: hours to tick, rope to let out, what the sounder reads."""
    return [
        (f"□ {one.set_at}  □ {one.pull_at}", HOURS, True),
        (one.rope_brief if brief else one.rope, ROPE, True),
        (f"reads {one.sounder.split()[0]} ± {net.look_again}", REST, False),
    ]


def _draw_cell(
    paper: Paper, one: SheetRound, net: SheetNet, at: tuple[float, float], room: tuple[float, float], *, bold: bool
) -> None:  # fmt: skip
    """One soak; the rope is bold where it is another than before, and goes without its length where that would make it small."""
    size = min(MOST_PT, room[1] / (PITCH * (HOURS + ROPE + REST)))
    whole, brief = (_cell(one, net, brief=short) for short in (False, True))
    y = at[1]
    for (words, share, heavy), (shorter, _, _) in zip(whole, brief, strict=True):
        chosen = words if _wide(words, LEAST_PT * share, heavy) <= room[0] else shorter
        weight = "bold" if heavy and (bold or words != one.rope) else "normal"
        y = paper.fitted((at[0], y), chosen, Face(size * share, 4.0, weight), room[0])


def _site(paper: Paper, net: SheetNet, rows: tuple[float, float]) -> None:
    """Number, and that something failed there; place, how to come to it, what is there, where to let go."""
    y, bottom = rows
    x, wide = EDGE + NUMBER_PT, SITE_PT - NUMBER_PT - 12
    size = min(26.0, (bottom - y) * (0.45 if net.stay else 0.62))
    below = paper.fitted((EDGE, y), f"{net.number}", Face(size, 8.0, "bold"), NUMBER_PT - 5)
    if net.stay:  # what failed stands in the frame above, with the numbers of the nets
        paper.fitted((EDGE, below), "STAY?", Face(9.0, 6.0, "bold"), NUMBER_PT - 3)
    y = paper.fitted((x, y), net.place, Face(13.5, 8.0, "bold"), wide)
    rest = [net.way, "; ".join(filter(None, (f"{net.title}, {net.depth}", net.release)))]
    size = min(12.0, (bottom - y) / (PITCH * len(rest)))
    for words in rest:
        y = paper.fitted((x, y), words, Face(size, 6.5), wide)
