"""The deck sheet in print: one page, black on white, in type that is read at arm's length under a red lamp."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from reefscan.plan.legs import Ground
from reefscan.plan.model import Plan
from reefscan.render.card import pdf_of
from reefscan.render.fitted import PITCH, TIED, Face, fit_line, fit_lines
from reefscan.render.furniture import plain
from reefscan.render.nightpicture import draw_ground, draw_tide
from reefscan.render.sheet import Sheet, SheetNet, SheetRound, sheet_of

PAGE_IN = (11.69, 8.27)  # A4 on its side: a row of rounds needs the width
WIDE_PT = PAGE_IN[0] * 72
LEFT, RIGHT = 0.025, 0.975
TABLE_TOP, TABLE_BOTTOM = 0.825, 0.345
SITE_WIDE = 0.265
FOOT_TOP, FOOT_TALL = 0.325, 0.258
COLUMNS = ((0.468, 8.2, 0.0205), (0.662, 7.2, 0.0148), (0.836, 7.2, 0.0148))
"""Left edge, size of type and step of the foot's columns of words."""


def draw_deck(plan: Plan, ground: Ground, *, unit: str) -> bytes:
    """The sheet as PDF; equal plans give equal bytes."""
    return pdf_of([deck_figure(plan, ground, unit=unit)])


def deck_figure(plan: Plan, ground: Ground, *, unit: str) -> Figure:
    """The one page of the sheet."""
    sheet = sheet_of(plan, unit=unit)
    figure = Figure(figsize=PAGE_IN, facecolor="white")
    FigureCanvasAgg(figure)
    _head(figure, sheet)
    _table(figure, sheet)
    draw_tide(figure.add_axes((0.045, 0.105, 0.235, 0.205)), plan, unit=unit, font=9)
    draw_ground(figure.add_axes((0.285, 0.08, 0.175, 0.245)), plan, ground, font=9)
    _foot(figure, sheet)
    return figure


def _head(figure: Figure, sheet: Sheet) -> None:
    """Failed checks first, then the hours."""
    figure.text(LEFT, 0.975, plain(sheet.title), fontsize=11, weight="bold", va="top", parse_math=False)
    figure.text(RIGHT, 0.975, "CHECK LOCAL RULES", fontsize=12, weight="bold", va="top", ha="right")
    room = (RIGHT - LEFT) * WIDE_PT
    if sheet.failed:
        all_ = len(sheet.failed) + len(sheet.passed)
        text = f"STAY? {len(sheet.failed)} of {all_} checks FAILED: " + "; ".join(sheet.failed)
        lines = _lines(plain(text), room - 14, 11.5, bold=True, most=2)
        frame = {"boxstyle": "square,pad=0.35", "facecolor": "white", "edgecolor": "black", "linewidth": 2.5}
        figure.text(
            LEFT + 0.006,
            0.938,
            "\n".join(lines),
            fontsize=11.5,
            weight="bold",
            va="top",
            bbox=frame,
            parse_math=False,
        )
    else:
        text = (
            f"{len(sheet.passed)} checks passed, which is no promise: look at sky, sea and chart. "
            + "; ".join(sheet.passed)
        )
        lines = _lines(plain(text), room, 9.5, most=2)
        figure.text(LEFT, 0.942, "\n".join(lines), fontsize=9.5, va="top", parse_math=False)
    x = LEFT
    for name, value in sheet.times:
        figure.text(x, 0.878, value, fontsize=17, weight="bold", va="top")
        figure.text(x, 0.845, name, fontsize=9, va="top")
        x += 0.085
    sky = "; ".join(f"{name} {value}".replace(" ", TIED) for name, value in sheet.light)
    light = _lines(sky, (RIGHT - x) * WIDE_PT, 9.5, most=2)
    figure.text(RIGHT, 0.876, "\n".join(light), fontsize=9.5, va="top", ha="right", linespacing=1.35)


def _table(figure: Figure, sheet: Sheet) -> None:
    """A row a net, a column a round: times to tick, marks, sounder."""
    ax = figure.add_axes((LEFT, TABLE_BOTTOM, RIGHT - LEFT, TABLE_TOP - TABLE_BOTTOM))
    ax.set_axis_off()
    ax.set_xlim(0, 1)
    rows, most = len(sheet.nets), max(len(net.rounds) for net in sheet.nets)
    ax.set_ylim(max(rows, 3), 0)
    wide = (1 - SITE_WIDE) / max(most, 3)
    tall_pt = (TABLE_TOP - TABLE_BOTTOM) * PAGE_IN[1] * 72 / max(rows, 3)
    room_pt = (wide - 0.012) * (RIGHT - LEFT) * WIDE_PT
    for k, net in enumerate(sheet.nets):
        ax.plot([0, 1], [k, k], color="black", linewidth=1.4)
        _site(ax, net, k, min(16.0, tall_pt / 3.9))
        for n, one in enumerate(net.rounds):
            x = SITE_WIDE + n * wide
            ax.plot([x - 0.005] * 2, [k + 0.05, k + 0.95], color="0.6", linewidth=0.6)
            y = k + 0.06
            for text, size, bold in _cell(one, net.rounds[n - 1] if n else None, tall_pt, room_pt):
                ax.text(x, y, text, fontsize=size, weight="bold" if bold else "normal", va="top")
                y += 1.26 * size / tall_pt
    ax.plot([0, 1], [rows, rows], color="black", linewidth=1.4)


def _cell(one: SheetRound, before: SheetRound | None, tall_pt: float, room_pt: float) -> list[tuple[str, float, bool]]:  # fmt: skip
    """Lines of one soak with size and weight: times to tick, rope (bold where it is another than before), sounder.

    Set and pull stand beside each other where that leaves them large, else one above the other.
    """
    changed = before is None or one.rope != before.rope
    beside = f"□ {one.set_at}  □ {one.pull_at}"
    rest = f"reads {one.sounder}" + (f", {one.haul}" if one.haul else "")
    three, four = min(16.0, tall_pt / 3.9), min(14.0, tall_pt / 4.9)
    if _size(beside, room_pt, three, bold=True) >= four * 0.95:
        lines = [(beside, three, True), (one.rope, three * 0.95, changed), (rest, three * 0.72, False)]
    else:
        lines = [
            (f"□ {one.set_at}", four, True), (f"□ {one.pull_at}", four, True), (one.rope.split(" (")[0], four * 0.95, changed),
            (f"reads {one.sounder}", four * 0.78, False),
        ]  # fmt: skip
    return [(text, _size(text, room_pt, size, bold=bold), bold) for text, size, bold in lines]


def _site(ax: Axes, net: SheetNet, k: int, size: float) -> None:
    """Number, place, what is there, how to come to it, where to let go."""
    x, small = 0.034, min(size * 0.66, 8.2)
    room = (SITE_WIDE - x - 0.012) * (RIGHT - LEFT) * WIDE_PT
    ax.text(0.0, k + 0.06, f"{net.number}", fontsize=size * 1.7, weight="bold", va="top")
    ax.text(
        x,
        k + 0.07,
        net.place,
        fontsize=_size(net.place, room, min(11.5, size * 0.95), bold=True),
        weight="bold",
        va="top",
    )
    what = (
        "STAY? " + "; ".join(net.stay)
        if net.stay
        else f"{net.title}, {net.depth}; look again if off by {net.look_again}"
    )
    release = next((one.release for one in net.rounds if one.release), "")
    (line,) = _lines(what, room, small, bold=bool(net.stay), most=1)
    ax.text(
        x, k + 0.34, line, fontsize=small, weight="bold" if net.stay else "normal", va="top", parse_math=False
    )
    for y, text in ((0.55, net.way), (0.76, release)):
        ax.text(x, k + y, text, fontsize=_size(text, room, small), va="top")


def _foot(figure: Figure, sheet: Sheet) -> None:
    """Checks to tick, the user's own rules, reserves, what to mind."""
    boxes = [
        "BEFORE LEAVING", *(f"□ {line}" for line in sheet.before_leaving),
        "BEFORE MOVING ON", *(f"□ {line}" for line in sheet.before_moving),
    ]  # fmt: skip
    rules = [*sheet.rules, *(f"{name}, most {most}: {'□' * min(most, 12)}" for name, most in sheet.tallies)]
    lights = dict.fromkeys(net.light for net in sheet.nets if net.light)
    notes = [
        *(["YOUR RULES", *rules] if rules else []),
        "RESERVES", *(sheet.reserves or ("none",)),
        "HOME", sheet.home,
        *(["LIGHTS", *lights] if lights else []),
    ]  # fmt: skip
    mind = ["MIND", *(sheet.warnings or ("nothing was noticed, which is no promise",))]
    ends = (*(x for x, _, _ in COLUMNS[1:]), RIGHT)
    for (x, size, step), end, texts in zip(COLUMNS, ends, (boxes, notes, mind), strict=True):
        if texts is boxes:  # each stays on its line: none may be lost
            size = min(_size(line, (end - 0.008 - x) * WIDE_PT, size, bold=line.isupper()) for line in boxes)
        _column(figure, (x, end - 0.008), texts, size, step)
    last = f"{sheet.hauling} {sheet.lights} {sheet.rules_line} {sheet.caution}"
    for k, line in enumerate(_lines(last, (RIGHT - LEFT) * WIDE_PT, 7.2)):
        figure.text(LEFT, 0.06 - k * 0.0155, line, fontsize=7.2, va="top")


def _column(figure: Figure, x: tuple[float, float], texts: Sequence[str], size: float, step: float) -> None:  # fmt: skip
    """Lines from the top of the foot down, heads in bold; what finds no room is text to be elsewhere."""
    room = (x[1] - x[0]) * WIDE_PT
    lines = [line for text in texts for line in _lines(plain(text), room, size, bold=text.isupper())]
    most = int(FOOT_TALL / step)
    if len(lines) > most:
        lines = [*lines[: most - 1], "… the rest is in deck.html"]
    for k, line in enumerate(lines):
        weight = "bold" if line.isupper() else "normal"
        figure.text(x[0], FOOT_TOP - k * step, line, fontsize=size, weight=weight, va="top", parse_math=False)


def _face(size: float, *, bold: bool, least: float) -> Face:
    return Face(size, least, "bold" if bold else "normal")


def _size(text: str, wide_pt: float, size: float, *, bold: bool = False) -> float:
    """The largest size up to ``size`` at which a line keeps to a width (points)."""
    return fit_line(text, _face(size, bold=bold, least=1.0), wide_pt / 72.0)[1]


def _lines(text: str, wide_pt: float, size: float, *, bold: bool = False, most: int = 6) -> list[str]:
    """Lines of that size that keep to a width (points); an ellipsis ends them where ``most`` are too few."""
    return fit_lines(text, _face(size, bold=bold, least=size), wide_pt / 72.0, most * PITCH * size / 72.0)[0]
