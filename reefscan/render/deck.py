"""The deck sheet in print: black on white, in type that is read at arm's length under a red lamp.

A handful of nets is one page. What finds no room there in type that can be read goes on to further pages: first nets, then notes.
"""

from __future__ import annotations

import math
import re

from matplotlib.figure import Figure

from reefscan.plan.legs import Ground
from reefscan.plan.model import Plan
from reefscan.render.card import pdf_of
from reefscan.render.decktable import GAP_PT, HEAD_PT, Columns, columns_of, draw_rows
from reefscan.render.fitted import PITCH, TIED, Face, fit_line, fit_lines, wrap
from reefscan.render.furniture import plain
from reefscan.render.nightpicture import draw_ground, draw_tide
from reefscan.render.paper import EDGE, TALL, WIDE, Paper
from reefscan.render.sheet import Sheet, sheet_of

INNER = WIDE - 2 * EDGE
BOXES_PT, TIDE_PT, MAP_PT = 184.0, 144.0, 112.0
LEAST_FOOT_PT, FOOT_PT, MOST_FOOT_PT = 108.0, 130.0, 210.0
"""Height of the foot: what the rows of nets leave, the least only where that keeps them all on one page."""

NOTE_PT, LEAST_NOTE_PT = 10.0, 8.0
"""Notes are read before one leaves; smaller than the least they go on to pages of their own, in the largest of
`NOTE_PAGE_PT` that takes the fewest."""

NOTE_PAGE_PT = (11.5, 10.5, 9.5, 9.0)
LABEL_PT = 10.5

Lines = list[tuple[str, bool]]
"""Lines of text with whether each is a head."""


def draw_deck(plan: Plan, ground: Ground) -> bytes:
    """The sheet as PDF; equal plans give equal bytes."""
    return pdf_of(deck_figures(plan, ground))


def deck_figures(plan: Plan, ground: Ground) -> list[Figure]:
    """The sheet as figures of A4 pages on their side."""
    sheet = sheet_of(plan)
    columns = columns_of(sheet)
    first = Paper()
    pages = [first]
    top = _head(first, sheet)
    bottom = TALL - EDGE - _last(first, sheet)
    left = bottom - top - HEAD_PT - GAP_PT - columns.least_row * len(sheet.nets)
    foot = bottom - (FOOT_PT if left < LEAST_FOOT_PT else min(left, MOST_FOOT_PT))
    done = _rows(first, sheet, columns, 0, (top, foot - GAP_PT), least=0)
    while done < len(sheet.nets):
        pages.append(Paper())
        top = _short_head(pages[-1], sheet, f"nets from {done + 1} on")
        done = _rows(pages[-1], sheet, columns, done, (top, TALL - EDGE - GAP_PT))
    beside = _fitted_notes(sheet, bottom - foot)
    if beside is None:
        pages += _note_pages(sheet)
    _foot(first, plan, ground, sheet, (foot, bottom), beside)
    for k, paper in enumerate(pages, 1) if len(pages) > 1 else ():
        paper.text((WIDE - EDGE, TALL - 12), f"page {k} of {len(pages)}", 8.5, right=True)
    return [paper.figure for paper in pages]


def _rows(paper: Paper, sheet: Sheet, columns: Columns, done: int, box: tuple[float, float], *, least: int = 1) -> int:  # fmt: skip
    """As many nets as find room in readable type; returns how many are done with them."""
    many = max(least, int((box[1] - box[0] - HEAD_PT) / columns.least_row + 1e-6))
    if not many:  # so many rounds that a single net wants a page
        return done
    draw_rows(paper, sheet, sheet.nets[done : done + many], columns, box)
    return done + many


def _head(paper: Paper, sheet: Sheet) -> float:
    """Failed checks first, then the hours; returns the ``y`` below."""
    paper.text((EDGE, 12), plain(sheet.title), 11, bold=True)
    paper.text((WIDE - EDGE, 12), "CHECK LOCAL RULES", 12, bold=True, right=True)
    lines, size = fit_lines(sheet.closed, Face(8.5, 6.5), INNER / 72, 20 / 72)
    y = paper.lines((EDGE, 27), lines, size) + 2
    y = _failed(paper, sheet, y) if sheet.failed else _passed(paper, sheet, y)
    x, step = EDGE, min(96.0, (INNER - 190) / len(sheet.times))
    for name, value in sheet.times:
        paper.fitted((x, y), value, Face(21.0, 8.0, "bold"), step - 8)
        paper.fitted((x, y + 25), name, Face(LABEL_PT, 6.0), step - 6)
        x += step
    light = ", ".join(f"{name} {value}".replace(" ", TIED) for name, value in sheet.light)
    lines, size = fit_lines(light, Face(LABEL_PT, 7.0), (WIDE - EDGE - x) / 72, 39 / 72)
    paper.lines((x, y), lines, size)
    return _haul(paper, sheet, y + 41)


def _haul(paper: Paper, sheet: Sheet, y: float) -> float:
    """What is the same for all nets at one hour: how the boat lies, and where up-stream is."""
    parts = [f"HAUL: {'; '.join(sheet.haul)}." if sheet.haul else ""]
    parts += [f"LET GO up-stream, toward {'; '.join(sheet.let_go)}." if sheet.let_go else "", sheet.hauling]
    text = " ".join(filter(None, parts))
    lines, size = fit_lines(text, Face(LABEL_PT, LABEL_PT - 1), INNER / 72, 27 / 72)
    if lines[-1].endswith("…"):  # streams that turn often want more lines rather than small ones
        lines, size = fit_lines(text, Face(LABEL_PT - 1, 7.0), INNER / 72, 60 / 72)
    return paper.lines((EDGE, y), lines, size) + 4


def _failed(paper: Paper, sheet: Sheet, y: float) -> float:
    """What failed, in a frame, all of it: smaller type and more lines rather than a check that is cut off."""
    asked = len(sheet.failed) + len(sheet.passed)
    text = plain(f"STAY?  {len(sheet.failed)} of {asked} checks FAILED:  " + ";  ".join(sheet.failed))
    lines, size = fit_lines(text, Face(12.5, 8.5, "bold"), (INNER - 12) / 72, 46 / 72)
    if lines[-1].endswith("…"):
        size = 7.0
        lines = wrap(text, size, Face(size, size, "bold"), (INNER - 12) / 72)
    end = paper.lines((EDGE + 6, y + 5), lines, size, bold=True) + 2
    paper.frame((EDGE, y + 1, WIDE - EDGE, end), 2.2)
    return end + 6


def _passed(paper: Paper, sheet: Sheet, y: float) -> float:
    names = ", ".join(words.split(":")[0] for words in sheet.passed)
    text = f"{len(sheet.passed)} checks passed, which is no promise (look at sky, sea and chart): {names}"
    return paper.fitted((EDGE, y), plain(text), Face(LABEL_PT, 7.0), INNER) + 4


def _short_head(paper: Paper, sheet: Sheet, what: str) -> float:
    """The head of a further page of nets; returns the ``y`` below."""
    return _haul(paper, sheet, _title(paper, sheet, what))


def _title(paper: Paper, sheet: Sheet, what: str) -> float:
    paper.text((EDGE, 12), plain(f"{sheet.title}: {what}"), 11, bold=True)
    paper.text((WIDE - EDGE, 12), "CHECK LOCAL RULES", 12, bold=True, right=True)
    return 30.0


def notes_of(sheet: Sheet) -> list[tuple[str, list[str]]]:
    """What to mind, the ways, reserves and the user's own rules: heads with what stands under each."""
    rules = [
        *sheet.rules,
        *(f"{name}, most {most}: {'□ ' * min(most, 12)}".strip() for name, most in sheet.tallies),
    ]
    out = [
        ("MIND", list(sheet.warnings or ("nothing was noticed, which is no promise",))),
        ("AT THE NETS", [f"net {net.number}, {net.title}: {', '.join(net.notes)}" for net in sheet.nets if net.notes]),
        ("HEAD HOME BY", [sheet.head_home]),
        ("WAYS", [*(f"next round, to net 1: {way}" for way in sheet.again), f"home: {sheet.home}", f"in all {sheet.in_all}"]),
        ("RESERVES", [f"r{k} {words}" for k, words in enumerate(sheet.reserves, 1)] or ["none"]),
        ("MOVE ON", [sheet.move_on] if sheet.reserves else []),
        ("YOUR RULES", rules),
        ("LIGHTS", list(dict.fromkeys(net.light for net in sheet.nets if net.light))),
    ]  # fmt: skip
    return [(head, [_tied(plain(text)) for text in texts]) for head, texts in out if texts]


def _tied(text: str) -> str:
    """A place, and boxes to tick, stay on one line."""
    text = re.sub(r"\d+° [\d.]+' [NSEW]", lambda found: found[0].replace(" ", TIED), text)
    return text.replace("□ □", f"□{TIED}□").replace("□ □", f"□{TIED}□")


def _fitted_notes(sheet: Sheet, tall: float) -> tuple[list[str], float] | None:
    """The notes in the room beside pictures and boxes, one paragraph under each head, and their size; None where that is too small."""
    size = NOTE_PT
    while size >= LEAST_NOTE_PT:
        wide = (INNER - TIDE_PT - MAP_PT - BOXES_PT - 26) / 72
        lines = [
            line
            for head, texts in notes_of(sheet)
            for line in wrap(f"{head}: {'; '.join(texts)}", size, Face(size, size), wide)
        ]
        if len(lines) * PITCH * size <= tall:
            return lines, size
        size -= 0.25
    return None


def _note_pages(sheet: Sheet) -> list[Paper]:
    """Notes in two columns a page, with all that the night rests on; smaller where that saves a page."""
    heads = [*notes_of(sheet), ("THE NIGHT RESTS ON", list(sheet.assumptions))]
    top = _title(Paper(), sheet, "") + 6
    made = [(_flowed(heads, size), int((TALL - EDGE - top) / (PITCH * size)), size) for size in NOTE_PAGE_PT]
    lines, rows, size = min(
        made, key=lambda one: math.ceil(len(one[0]) / (2 * one[1]))
    )  # of equals the largest
    pages: list[Paper] = []
    for start in range(0, len(lines), 2 * rows):
        pages.append(Paper())
        _title(pages[-1], sheet, "notes")
        for k, (line, head) in enumerate(lines[start : start + 2 * rows]):
            x = EDGE + (k // rows) * (INNER + 14) / 2
            pages[-1].text((x, top + (k % rows) * PITCH * size), line, size, bold=head)
    return pages


def _flowed(heads: list[tuple[str, list[str]]], size: float) -> Lines:
    """Lines of half a page's width."""
    lines: Lines = []
    for head, texts in heads:
        lines.append((head, True))
        for text in texts:
            broken = wrap(f"• {text}", size, Face(size, size), (INNER - 14) / 2 / 72)
            lines += [(line, False) for line in broken]
    return lines


def _foot(paper: Paper, plan: Plan, ground: Ground, sheet: Sheet, rows: tuple[float, float], beside: tuple[list[str], float] | None) -> None:  # fmt: skip
    """Tide and map, boxes to tick, and the notes where they find room."""
    top, bottom = rows
    wide = TIDE_PT if beside else INNER - MAP_PT - BOXES_PT - 40
    draw_tide(paper.axes((EDGE + 20, top + 14, EDGE + wide, bottom - 14)), plan, font=9)
    x = EDGE + wide + 8
    side = MAP_PT if beside else min(bottom - top - 4, MAP_PT + 40)
    draw_ground(paper.axes((x, top + 2, x + side, top + 2 + side)), plan, ground, font=9)
    x += side + 8
    _boxes(paper, sheet, (x, top, bottom))
    if beside:
        lines, size = beside
        paper.lines((x + BOXES_PT, top), lines, size)


def _boxes(paper: Paper, sheet: Sheet, at: tuple[float, float, float]) -> None:
    lines: Lines = [
        ("BEFORE LEAVING", True), *((f"□ {line}", False) for line in sheet.before_leaving),
        ("BEFORE MOVING ON", True), *((f"□ {line}", False) for line in sheet.before_moving),
    ]  # fmt: skip
    step = min((at[2] - at[1]) / len(lines), 14.0)
    size = min(fit_line(line, Face(step / PITCH, 6.0), (BOXES_PT - 6) / 72)[1] for line, _ in lines)
    for k, (line, head) in enumerate(lines):
        paper.text((at[0], at[1] + k * step), line, size, bold=head)


def _last(paper: Paper, sheet: Sheet) -> float:
    """What every sheet says, along the bottom; returns its height."""
    text = f"{sheet.still} {sheet.lights} {sheet.rules_line} {sheet.datum} {sheet.caution}"
    lines, size = fit_lines(plain(text), Face(7.6, 6.5), INNER / 72, 30 / 72)
    tall = len(lines) * PITCH * size
    paper.lines((EDGE, TALL - EDGE - tall), lines, size)
    return tall + 2
