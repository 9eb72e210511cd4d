"""The deck sheet in print: one page, black on white, in type that is read at arm's length under a red lamp."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from reefscan.plan.legs import Ground
from reefscan.plan.model import Plan
from reefscan.render.card import pdf_of
from reefscan.render.furniture import plain
from reefscan.render.nightpicture import draw_ground, draw_tide
from reefscan.render.sheet import Sheet, SheetNet, SheetRound, sheet_of

PAGE_IN = (11.69, 8.27)  # A4 on its side: a row of rounds needs the width
LEFT, RIGHT = 0.025, 0.975
TABLE_TOP, TABLE_BOTTOM = 0.825, 0.345
SITE_WIDE = 0.265
FOOT_TALL = 0.258


def draw_deck(plan: Plan, ground: Ground, *, unit: str) -> bytes:
    """The sheet as PDF; equal plans give equal bytes."""
    sheet = sheet_of(plan, unit=unit)
    figure = Figure(figsize=PAGE_IN, facecolor="white")
    FigureCanvasAgg(figure)
    _head(figure, sheet)
    _table(figure, sheet)
    tide = figure.add_axes((0.045, 0.105, 0.235, 0.205))
    draw_tide(tide, plan, unit=unit, font=9)
    draw_ground(figure.add_axes((0.285, 0.08, 0.175, 0.245)), plan, ground, font=9)
    _foot(figure, sheet)
    return pdf_of([figure])


def _head(figure: Figure, sheet: Sheet) -> None:
    """Failed checks first, then the hours."""
    figure.text(LEFT, 0.975, plain(sheet.title), fontsize=11, weight="bold", va="top", parse_math=False)
    figure.text(RIGHT, 0.975, "CHECK LOCAL RULES", fontsize=12, weight="bold", va="top", ha="right")
    if sheet.failed:
        told = (
            f"STAY?  {len(sheet.failed)} of {len(sheet.failed) + len(sheet.passed)} checks FAILED:  "
            + ";  ".join(sheet.failed)
        )
        lines = textwrap.wrap(plain(told), 112, max_lines=2, placeholder=" …")
        frame = {"boxstyle": "square,pad=0.35", "facecolor": "white", "edgecolor": "black", "linewidth": 2.5}
        figure.text(
            LEFT + 0.005,
            0.94,
            "\n".join(lines),
            fontsize=12,
            weight="bold",
            va="top",
            bbox=frame,
            parse_math=False,
        )
    else:
        told = (
            f"{len(sheet.passed)} checks passed, which is no promise: look at sky, sea and chart. "
            + "; ".join(sheet.passed)
        )
        lines = textwrap.wrap(plain(told), 150, max_lines=2, placeholder=" …")
        figure.text(LEFT, 0.942, "\n".join(lines), fontsize=9.5, va="top", parse_math=False)
    x = LEFT
    for name, value in sheet.times:
        figure.text(x, 0.878, value, fontsize=17, weight="bold", va="top")
        figure.text(x, 0.845, name, fontsize=9, va="top")
        x += 0.085
    sky = "   ".join(
        f"{name} {value}".replace(" ", "_") for name, value in sheet.light
    )  # a name and its hour stay together
    text = [line.replace("_", " ") for line in textwrap.wrap(sky, 80, max_lines=2, placeholder=" …")]
    figure.text(RIGHT, 0.876, "\n".join(text), fontsize=9.5, va="top", ha="right", linespacing=1.35)


def _table(figure: Figure, sheet: Sheet) -> None:
    """A row a net, a column a round: times to tick, marks, sounder."""
    ax = figure.add_axes((LEFT, TABLE_BOTTOM, RIGHT - LEFT, TABLE_TOP - TABLE_BOTTOM))
    ax.set_axis_off()
    ax.set_xlim(0, 1)
    rows, most = len(sheet.nets), max(len(net.rounds) for net in sheet.nets)
    ax.set_ylim(rows, 0)
    wide = (1 - SITE_WIDE) / max(most, 3)
    tall_pt = (TABLE_TOP - TABLE_BOTTOM) * PAGE_IN[1] * 72 / rows
    wide_pt = wide * (RIGHT - LEFT) * PAGE_IN[0] * 72
    for k, net in enumerate(sheet.nets):
        ax.plot([0, 1], [k, k], color="black", linewidth=1.4)
        _site(ax, net, k, min(16.0, tall_pt / 3.9))
        for n, one in enumerate(net.rounds):
            x = SITE_WIDE + n * wide
            ax.plot([x - 0.005] * 2, [k + 0.05, k + 0.95], color="0.6", linewidth=0.6)
            changed = not n or one.rope != net.rounds[n - 1].rope
            _cell(ax, one, (x, k), tall_pt, wide_pt, changed=changed)
    ax.plot([0, 1], [rows, rows], color="black", linewidth=1.4)


def _cell(
    ax: Axes, one: SheetRound, at: tuple[float, float], tall_pt: float, wide_pt: float, *, changed: bool
) -> None:
    """One soak: times to tick, rope (bold where it is another than before), sounder; one above the other where it is narrow."""
    side_by_side = f"□ {one.set_at}  □ {one.pull_at}"
    rest = f"reads {one.sounder}" + (f", {one.haul}" if one.haul else "")
    if wide_pt / 9.8 >= tall_pt / 4.9:
        size = min(16.0, tall_pt / 3.9, wide_pt / 9.8)
        lines = [
            (side_by_side, size, True),
            (one.rope, size * 0.95, changed),
            (rest, min(size * 0.72, wide_pt / (0.56 * len(rest))), False),
        ]
    else:
        size = min(14.0, tall_pt / 4.9, wide_pt / 5.2)
        short = one.rope.split(" (")[0]
        lines = [
            (f"□ {one.set_at}", size, True),
            (f"□ {one.pull_at}", size, True),
            (short, size * 0.95, changed),
            (f"reads {one.sounder}", size * 0.78, False),
        ]
    y = at[1] + 0.06
    for text, points, bold in lines:
        ax.text(at[0], y, text, fontsize=points, weight="bold" if bold else "normal", va="top")
        y += 1.28 * points / tall_pt


def _site(ax: Axes, net: SheetNet, k: int, size: float) -> None:
    """Number, place, what is there, how to come to it, where to let go."""
    ax.text(0.0, k + 0.06, f"{net.number}", fontsize=size * 1.7, weight="bold", va="top")
    what = (
        "STAY?  " + "; ".join(net.stay)
        if net.stay
        else f"{net.title}, {net.depth}; look again if off by {net.look_again}"
    )
    small, x = min(size * 0.66, 8.2), 0.034
    release = next((one.release for one in net.rounds if one.release), "")
    ax.text(x, k + 0.07, net.place, fontsize=min(size * 0.86, 11.5), weight="bold", va="top")
    ax.text(
        x,
        k + 0.34,
        _short(what, 42 if net.stay else 52),
        fontsize=small,
        weight="bold" if net.stay else "normal",
        va="top",
        parse_math=False,
    )
    ax.text(x, k + 0.55, _short(net.way, 52), fontsize=small, va="top")
    ax.text(x, k + 0.76, _short(release, 52), fontsize=small, va="top")


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def _foot(figure: Figure, sheet: Sheet) -> None:
    """Checks to tick, the user's own rules, reserves, what to mind; two columns."""
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
    _column(figure, 0.468, boxes, size=7.9, step=0.0205, wide=60)
    _column(figure, 0.672, notes, size=7.2, step=0.0148, wide=40)
    _column(figure, 0.845, mind, size=7.2, step=0.0148, wide=33)
    last = f"{sheet.hauling} {sheet.lights} {sheet.rules_line} {sheet.caution}"
    for k, line in enumerate(textwrap.wrap(last, 208)):
        figure.text(LEFT, 0.06 - k * 0.0155, line, fontsize=7.2, va="top")


def _column(figure: Figure, x: float, texts: Sequence[str], *, size: float, step: float, wide: int) -> None:
    """Lines from the top of the foot down, heads in bold; what finds no room is told to be elsewhere."""
    lines = [
        line for text in texts for line in textwrap.wrap(plain(text), wide, max_lines=6, placeholder=" …")
    ]
    most = int(FOOT_TALL / step)
    if len(lines) > most:
        lines = [*lines[: most - 1], "… the rest is in deck.html"]
    for k, line in enumerate(lines):
        weight = "bold" if line.isupper() else "normal"
        figure.text(x, 0.325 - k * step, line, fontsize=size, weight=weight, va="top", parse_math=False)
