"""The deck sheet in print: one page, black on white, in type that is read at arm's length under a red lamp."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from reefscan.plan.legs import Ground
from reefscan.plan.model import Plan
from reefscan.render.card import pdf_of
from reefscan.render.fitted import TIED, Face, width_in
from reefscan.render.furniture import plain
from reefscan.render.nightpicture import draw_ground, draw_tide
from reefscan.render.sheet import Sheet, SheetNet, SheetRound, sheet_of

PAGE_IN = (11.69, 8.27)  # A4 on its side: a row of rounds needs the width
LEFT, RIGHT = 0.025, 0.975
TABLE_TOP, TABLE_BOTTOM = 0.815, 0.345
SITE_WIDE = 0.265
FOOT_TALL, NOTE_STEP = 0.258, 0.0148
MOST_MIND = 14  # lines: the rules' boxes want room too
WIDE_PT = (RIGHT - LEFT) * PAGE_IN[0] * 72


def draw_deck(plan: Plan, ground: Ground, *, unit: str) -> bytes:
    """The sheet as PDF; equal plans give equal bytes."""
    return pdf_of([deck_figure(plan, ground, unit=unit)])


def deck_figure(plan: Plan, ground: Ground, *, unit: str) -> Figure:
    """The sheet as a figure of one A4 page on its side."""
    sheet = sheet_of(plan, unit=unit)
    figure = Figure(figsize=PAGE_IN, facecolor="white")
    FigureCanvasAgg(figure)
    _head(figure, sheet)
    _table(figure, sheet)
    tide = figure.add_axes((0.045, 0.105, 0.235, 0.205))
    draw_tide(tide, plan, unit=unit, font=9)
    draw_ground(figure.add_axes((0.285, 0.08, 0.175, 0.245)), plan, ground, font=9)
    _foot(figure, sheet)
    return figure


def _head(figure: Figure, sheet: Sheet) -> None:
    """Failed checks first, then the hours."""
    figure.text(LEFT, 0.982, plain(sheet.title), fontsize=11, weight="bold", va="top", parse_math=False)
    figure.text(RIGHT, 0.982, "CHECK LOCAL RULES", fontsize=12, weight="bold", va="top", ha="right")
    (closed,) = textwrap.wrap(sheet.closed, 205, max_lines=1, placeholder=" … (deck.html)")
    figure.text(LEFT, 0.9615, closed, fontsize=7.2, va="top", parse_math=False)
    if sheet.failed:
        _failed(figure, sheet)
    else:
        text = (
            f"{len(sheet.passed)} checks passed, which is no promise: look at sky, sea and chart. "
            + "; ".join(sheet.passed)
        )
        lines = textwrap.wrap(plain(text), 150, max_lines=2, placeholder=" …")
        figure.text(LEFT, 0.94, "\n".join(lines), fontsize=9.5, va="top", parse_math=False)
    many = len(sheet.times) > 5
    x = LEFT
    for name, value in sheet.times:
        figure.text(x, 0.878, value, fontsize=14 if many else 17, weight="bold", va="top")
        figure.text(x, 0.845, name, fontsize=8 if many else 9, va="top")
        x += 0.078 if many else 0.085
    sky = "   ".join(f"{name} {value}".replace(" ", TIED) for name, value in sheet.light)
    light = textwrap.wrap(sky, 62 if many else 80, max_lines=2, placeholder=" …")
    figure.text(RIGHT, 0.876, "\n".join(light), fontsize=9.5, va="top", ha="right", linespacing=1.35)


def _failed(figure: Figure, sheet: Sheet) -> None:
    """What failed, in a frame: smaller type rather than a check that is cut off."""
    text = (
        f"STAY?  {len(sheet.failed)} of {len(sheet.failed) + len(sheet.passed)} checks FAILED:  "
        + ";  ".join(sheet.failed)
    )
    for size, wide, rows in ((12, 112, 2), (9, 150, 2), (7, 190, 3)):
        lines = textwrap.wrap(plain(text), wide, max_lines=rows, placeholder=" … the rest is in deck.html")
        if not lines[-1].endswith("the rest is in deck.html"):
            break
    frame = {"boxstyle": "square,pad=0.35", "facecolor": "white", "edgecolor": "black", "linewidth": 2.5}
    figure.text(
        LEFT + 0.005, 0.938, "\n".join(lines), fontsize=size, weight="bold", va="top", bbox=frame, parse_math=False
    )  # fmt: skip


def fitting(text: str, wide_pt: float, *, bold: bool = False) -> float:
    """Size of type (points) at which a line is ``wide_pt`` wide."""
    wide = width_in(text, 10.0, Face(10.0, 10.0, "bold" if bold else "normal"))
    return 10.0 * wide_pt / 72.0 / max(wide, 1e-9)


def _table(figure: Figure, sheet: Sheet) -> None:
    """A row a net, a column a round: times to tick, marks, sounder."""
    ax = figure.add_axes((LEFT, TABLE_BOTTOM, RIGHT - LEFT, TABLE_TOP - TABLE_BOTTOM))
    ax.set_axis_off()
    ax.set_xlim(0, 1)
    rows, most = len(sheet.nets), max(len(net.rounds) for net in sheet.nets)
    ax.set_ylim(rows, 0)
    tall_pt = (TABLE_TOP - TABLE_BOTTOM) * PAGE_IN[1] * 72 / rows
    folds = _folds(most, tall_pt)
    across = math.ceil(most / folds)
    wide = (1 - SITE_WIDE) / max(across, 3)
    wide_pt = (wide - 0.01) * WIDE_PT
    for n in range(across):
        x = LEFT + (SITE_WIDE + n * wide) * (RIGHT - LEFT)
        head = "round " + ", ".join(f"{r + 1}" for r in range(n, most, across)) + ":  □ set, □ pull"
        figure.text(x, TABLE_TOP + 0.003, head, fontsize=min(7.5, fitting(head, wide_pt)), va="bottom")
    for k, net in enumerate(sheet.nets):
        ax.plot([0, 1], [k, k], color="black", linewidth=1.4)
        _site(ax, net, k, tall_pt)
        for n, one in enumerate(net.rounds):
            down, along = divmod(n, across)
            x, y = SITE_WIDE + along * wide, k + down / folds
            ax.plot([x - 0.005] * 2, [y + 0.05 / folds, y + 0.95 / folds], color="0.6", linewidth=0.6)
            changed = not n or one.rope != net.rounds[n - 1].rope
            _cell(ax, one, (x, y), (tall_pt / folds, wide_pt), rows_pt=tall_pt, changed=changed)
    ax.plot([0, 1], [rows, rows], color="black", linewidth=1.4)


def _folds(most: int, tall_pt: float) -> int:
    """In how many lines a net's rounds are printed largest: few nets have tall rows, and many rounds narrow columns."""

    def size(folds: int) -> float:
        tall, wide = tall_pt / folds, (1 - SITE_WIDE) / max(math.ceil(most / folds), 3) * WIDE_PT
        return max(min(16.0, tall / 3.9, wide / 9.8), min(14.0, tall / 4.9, wide / 5.2))

    return max(range(1, most + 1), key=lambda folds: (size(folds), -folds))


def _cell(
    ax: Axes,
    one: SheetRound,
    at: tuple[float, float],
    room_pt: tuple[float, float],
    *,
    rows_pt: float,
    changed: bool,
) -> None:
    """One soak: times to tick, rope (bold where it is another than before), sounder; one above the other where it is narrow."""
    side_by_side = f"□ {one.set_at}  □ {one.pull_at}"
    rest = f"reads {one.sounder}" + (f", {one.haul}" if one.haul else "")
    tall_pt, wide_pt = room_pt
    beside = min(16.0, tall_pt / 3.9, fitting(side_by_side, wide_pt, bold=True))
    below = min(14.0, tall_pt / 4.9, fitting(f"□ {one.set_at}", wide_pt, bold=True))
    size = max(beside, below)
    times = [side_by_side] if beside >= below else [f"□ {one.set_at}", f"□ {one.pull_at}"]
    lines = [
        *((text, size, True) for text in times),
        (one.rope, size * 0.95, changed),
        (rest, size * 0.72, False),
    ]
    _lines(ax, (at[0], at[1] + 0.06 * tall_pt / rows_pt), lines, rows_pt, wide_pt)


def _lines(
    ax: Axes,
    at: tuple[float, float],
    lines: Sequence[tuple[str, float, bool]],
    tall_pt: float,
    wide_pt: float,
) -> None:
    """Lines of text, size and weight one below the other; none is wider than its place, since it would hide a number beside it."""
    y = at[1]
    for text, most, bold in lines:
        points = min(most, fitting(text, wide_pt, bold=bold))
        ax.text(
            at[0], y, text, fontsize=points, weight="bold" if bold else "normal", va="top", parse_math=False
        )
        y += 1.28 * points / tall_pt


def _site(ax: Axes, net: SheetNet, k: int, tall_pt: float) -> None:
    """Number, place, what is there, what failed there, how to come to it, where to let go."""
    size = min(16.0, tall_pt / 3.9)
    ax.text(0.0, k + 0.06, f"{net.number}", fontsize=size * 1.7, weight="bold", va="top")
    stay = "; ".join(words.split(":")[0] for words in net.stay)
    rest = [
        (f"STAY?  {stay}", True) if stay else ("", False),
        (f"{net.title}, {net.depth}; look again if off by {net.look_again}", False),
        (net.way, False),
        (net.release, False),
    ]
    rest = [(_short(text, 64), bold) for text, bold in rest if text]
    place = min(size * 0.86, 11.5)
    small = min(size * 0.66, 8.2, (0.9 * tall_pt - 1.28 * place) / (1.28 * len(rest)))
    lines = [(net.place, place, True), *((text, small, bold) for text, bold in rest)]
    _lines(ax, (0.034, k + 0.06), lines, tall_pt, (SITE_WIDE - 0.034 - 0.012) * WIDE_PT)


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def _foot(figure: Figure, sheet: Sheet) -> None:
    """Checks to tick; then what to mind, the ways, reserves and the user's own rules, in two columns."""
    boxes = [
        "BEFORE LEAVING", *(f"□ {line}" for line in sheet.before_leaving),
        "BEFORE MOVING ON", *(f"□ {line}" for line in sheet.before_moving),
    ]  # fmt: skip
    rules = [*sheet.rules, *(f"{name}, most {most}: {'□ ' * min(most, 12)}" for name, most in sheet.tallies)]
    lights = dict.fromkeys(net.light for net in sheet.nets if net.light)
    mind = [
        "MIND",
        *(f"• {words}" for words in sheet.warnings or ("nothing was noticed, which is no promise",)),
    ]
    notes = [
        *(f"Next round, to net 1: {way}" for way in sheet.again),
        f"Home: {sheet.home}",
        "RESERVES", *(sheet.reserves or ("none",)),
        *(["YOUR RULES", *rules] if rules else []),
        *(["LIGHTS", *lights] if lights else []),
    ]  # fmt: skip
    tall = int(FOOT_TALL / NOTE_STEP)
    kept = _cut(_wrapped(mind, 37), MOST_MIND)
    said = _cut([*kept, *_wrapped(notes, 37)], 2 * tall)
    _column(figure, 0.468, _wrapped(boxes, 60), size=7.3, step=0.0205)
    _column(figure, 0.648, said[:tall], size=6.9, step=NOTE_STEP)
    _column(figure, 0.815, said[tall:], size=6.9, step=NOTE_STEP)
    last = f"{sheet.hauling} {sheet.lights} {sheet.rules_line} {sheet.datum} {sheet.caution}"
    for k, line in enumerate(textwrap.wrap(last, 208)):
        figure.text(LEFT, 0.06 - k * 0.0155, line, fontsize=7.2, va="top")


def _wrapped(texts: Sequence[str], wide: int) -> list[str]:
    return [
        line for text in texts for line in textwrap.wrap(plain(text), wide, max_lines=6, placeholder=" …")
    ]


def _cut(lines: list[str], most: int) -> list[str]:
    """What finds no room is said to be elsewhere."""
    return lines if len(lines) <= most else [*lines[: most - 1], "… the rest is in deck.html"]


def _column(figure: Figure, x: float, lines: Sequence[str], *, size: float, step: float) -> None:
    """Lines from the top of the foot down, heads in bold."""
    for k, line in enumerate(lines):
        weight = "bold" if line.isupper() else "normal"
        figure.text(x, 0.325 - k * step, line, fontsize=size, weight=weight, va="top", parse_math=False)
