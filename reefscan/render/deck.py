"""The deck sheet in print: one page, black on white, in type that is read at arm's length under a red lamp."""

from __future__ import annotations

import textwrap

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from reefscan.plan.legs import Ground
from reefscan.plan.model import Plan
from reefscan.render.card import pdf_of
from reefscan.render.furniture import plain
from reefscan.render.nightpicture import draw_ground, draw_tide
from reefscan.render.sheet import Sheet, SheetNet, sheet_of

PAGE_IN = (11.69, 8.27)  # A4 on its side: a row of rounds needs the width
LEFT, RIGHT = 0.025, 0.975
TABLE_TOP, TABLE_BOTTOM = 0.825, 0.345
SITE_WIDE = 0.265


def draw_deck(plan: Plan, ground: Ground, *, unit: str) -> bytes:
    """The sheet as PDF; equal plans give equal bytes."""
    sheet = sheet_of(plan, unit=unit)
    figure = Figure(figsize=PAGE_IN, facecolor="white")
    FigureCanvasAgg(figure)
    _head(figure, sheet)
    _table(figure, sheet)
    tide = figure.add_axes((0.05, 0.105, 0.33, 0.205))
    draw_tide(tide, plan, unit=unit, font=9)
    draw_ground(figure.add_axes((0.39, 0.075, 0.19, 0.25)), plan, ground, font=9)
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
    sky = "   ".join(f"{name} {value}" for name, value in sheet.light)
    text = [*textwrap.wrap(sky, 92, max_lines=2, placeholder=" …"), "tide: " + "   ".join(sheet.tide)]
    figure.text(RIGHT, 0.878, "\n".join(text), fontsize=9.5, va="top", ha="right", linespacing=1.35)


def _table(figure: Figure, sheet: Sheet) -> None:
    """A row a net, a column a round: times to tick, marks, sounder."""
    ax = figure.add_axes((LEFT, TABLE_BOTTOM, RIGHT - LEFT, TABLE_TOP - TABLE_BOTTOM))
    ax.set_axis_off()
    ax.set_xlim(0, 1)
    rows, most = len(sheet.nets), max(len(net.rounds) for net in sheet.nets)
    ax.set_ylim(rows, 0)
    wide = (1 - SITE_WIDE) / max(most, 3)
    # a cell holds four lines, and its widest is "□ 20:24 □ 21:24"
    tall_pt = (TABLE_TOP - TABLE_BOTTOM) * PAGE_IN[1] * 72 / rows
    size = min(15.0, tall_pt / 4.6, wide * (RIGHT - LEFT) * PAGE_IN[0] * 72 / 9.6)
    for k, net in enumerate(sheet.nets):
        ax.plot([0, 1], [k, k], color="black", linewidth=1.4)
        _site(ax, net, k, size)
        for n, one in enumerate(net.rounds):
            x = SITE_WIDE + n * wide
            ax.plot([x - 0.004] * 2, [k + 0.05, k + 0.95], color="0.6", linewidth=0.6)
            before = net.rounds[n - 1].rope if n else ""
            ax.text(x, k + 0.08, f"□ {one.set_at}  □ {one.pull_at}", fontsize=size, weight="bold", va="top")
            ax.text(
                x,
                k + 0.36,
                one.rope,
                fontsize=size * 0.92,
                weight="bold" if one.rope != before else "normal",
                va="top",
            )
            ax.text(x, k + 0.60, f"reads {one.sounder}", fontsize=size * 0.78, va="top")
            ax.text(x, k + 0.80, one.haul.replace(" into the ", " "), fontsize=size * 0.66, va="top")
    ax.plot([0, 1], [rows, rows], color="black", linewidth=1.4)


def _site(ax: object, net: SheetNet, k: int, size: float) -> None:
    text = ax.text  # type: ignore[attr-defined]
    text(0.0, k + 0.06, f"{net.number}", fontsize=size * 1.9, weight="bold", va="top")
    stay = (
        "STAY?  " + "; ".join(net.stay)
        if net.stay
        else f"{net.title}, {net.depth}" + (f", {net.light}" if net.light else "")
    )
    small = min(size * 0.72, 9.2)
    text(0.034, k + 0.08, net.place, fontsize=min(size * 0.82, 11), weight="bold", va="top")
    text(
        0.034,
        k + 0.34,
        _short(stay, 46),
        fontsize=small,
        weight="bold" if net.stay else "normal",
        va="top",
        parse_math=False,
    )
    text(0.034, k + 0.56, f"from before: {net.way}", fontsize=small * 0.86, va="top")
    text(
        0.034,
        k + 0.77,
        _short(f"look again if ±{net.look_again} off" + (f"; {net.release}" if net.release else ""), 66),
        fontsize=small * 0.86,
        va="top",
    )


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def _foot(figure: Figure, sheet: Sheet) -> None:
    """Checks to tick, what to mind, the user's own rules."""
    boxes = [
        "Before leaving",
        *(f"□ {line}" for line in sheet.before_leaving),
        "Before moving on",
        *(f"□ {line}" for line in sheet.before_moving),
    ]
    y = 0.325
    for line in boxes:
        head = not line.startswith("□")
        figure.text(0.592, y, _short(line, 62), fontsize=8.2, weight="bold" if head else "normal", va="top")
        y -= 0.0205
    rules = [*sheet.rules, *(f"{name}, most {most}:  {'□' * min(most, 12)}" for name, most in sheet.tallies)]
    notes = [
        *(["Your rules", *rules] if rules else []),
        "Reserves", *(sheet.reserves or ("none",)),
        "Home", sheet.home,
        "Mind", *(line for words in sheet.warnings for line in textwrap.wrap(words, 50, max_lines=3, placeholder=" …")),
    ]  # fmt: skip
    y = 0.325
    for line in notes:
        if y < 0.085:
            figure.text(0.79, y, "… more in plan.json and deck.html", fontsize=7.2, va="top")
            break
        head = line in ("Your rules", "Reserves", "Home", "Mind")
        figure.text(
            0.79,
            y,
            _short(plain(line), 54),
            fontsize=7.4,
            weight="bold" if head else "normal",
            va="top",
            parse_math=False,
        )
        y -= 0.0165
    for k, line in enumerate(textwrap.wrap(f"{sheet.hauling} {sheet.rules_line} {sheet.caution}", 205)):
        figure.text(LEFT, 0.052 - k * 0.0165, line, fontsize=7.4, va="top")
