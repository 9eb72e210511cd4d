"""Cards for the boat: two sites a page, black on white, large type.

No colour at all: under a red headlamp red, orange and yellow ink vanish and only lightness is left. The
small map is grey relief with contours, the profile a black line over grey ground.
"""

from __future__ import annotations

import io
import math
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon, Rectangle

from reefscan.base.caution import CAUTION, SHORT
from reefscan.base.columns import number_of
from reefscan.base.datum import NOT_STATED, Datum
from reefscan.base.degrees import degrees_minutes
from reefscan.base.errors import InputError
from reefscan.base.flags import flag_words
from reefscan.base.units import far_unit
from reefscan.render.fitted import PITCH, Face, fit_line, fit_lines, width_in
from reefscan.render.furniture import HALO, plain
from reefscan.render.marks import UNIT_METRES, contour_depths, kind_of, rule_length, show_depth
from reefscan.render.profile import Profile, draw_profile
from reefscan.render.shade import Floats, choose_stretch, hillshade, smoothed
from reefscan.score.reasons import MAY_LAND, WITHIN_DOUBT, lost_in_doubt, sure_words

PAGE_IN = (8.27, 11.69)  # A4; prints on US letter with its own margins


@dataclass(frozen=True)
class CardSite:
    """What one card shows.

    Parameters
    ----------
    site : dict
        Columns of the ranked list; ``name`` and ``note`` as well where picked.
    depths_m : ndarray or None
        Profile along the heading (m, positive down, NaN unknown), drop point in the middle.
    half_m : float
        Distance from the middle to each end of the profile.
    heading_deg : float
        True heading of the profile.
    patch : ndarray or None
        Elevations around the site (m, positive up), the site in the middle cell.
    cell_m : float
        Cell of the patch.
    marks : sequence of (float, str)
        Distance (m) from the drop point along the heading, and what is there: foot or top of a face.
    """

    site: dict[str, Any]
    depths_m: Floats | None
    half_m: float
    heading_deg: float
    patch: Floats | None
    cell_m: float
    marks: Sequence[tuple[float, str]] = ()


def draw_cards(
    cards: Sequence[CardSite],
    *,
    title: str,
    closed_text: str = "",
    datum: Datum = NOT_STATED,
    unit: str = "m",
    fmt: str = "pdf",
    dpi: int = 150,
) -> list[bytes]:
    """Draw cards, two a page; ``closed_text`` (what is known of closed ground) and what depths are counted from stand at the top.

    Returns
    -------
    list of bytes
        One PDF, or one PNG a page. A page that says so where there is no site.
    """
    if unit not in UNIT_METRES:
        raise InputError(f"cards: unit {unit!r} is not known; say one of {', '.join(UNIT_METRES)}")
    if fmt not in ("pdf", "png"):
        raise InputError(f"cards: format {fmt!r} is not known; say pdf or png")
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message=r"Glyph .* missing")
        pages = [
            _page(cards[i : i + 2], title=title, closed_text=closed_text, datum=datum, unit=unit)
            for i in range(0, max(1, len(cards)), 2)
        ]
        if fmt == "png":
            return [_png(page, dpi) for page in pages]
        return [pdf_of(pages)]


def pdf_of(pages: Sequence[Figure]) -> bytes:
    """Pages as one PDF without dates: equal pages are equal bytes."""
    out = io.BytesIO()
    dates: dict[str, Any] = {"CreationDate": None, "ModDate": None, "Producer": None, "Creator": "reefscan"}
    with PdfPages(out, metadata=dates) as pdf:
        for page in pages:
            pdf.savefig(page)
    return out.getvalue()


HINTING = "no_hinting"
"""Hinted letters are whole pixels wide: at few pixels an inch a line would be a tenth longer than it was measured."""


def _png(figure: Figure, dpi: int) -> bytes:
    out = io.BytesIO()
    with matplotlib.rc_context({"text.hinting": HINTING}):
        figure.savefig(out, format="png", dpi=dpi, metadata={"Software": "reefscan"})
    return out.getvalue()


def _page(
    cards: Sequence[CardSite], *, title: str, unit: str, closed_text: str = "", datum: Datum = NOT_STATED
) -> Figure:
    figure = Figure(figsize=PAGE_IN, facecolor="white")
    FigureCanvasAgg(figure)
    short, size = fit_line(plain(title), Face(10, 7, "bold"), 0.2 * PAGE_IN[0])
    figure.text(0.06, 0.985, short, fontsize=size, weight="bold", va="top", parse_math=False)
    # beside the title; the whole of it stands in the run and on its map
    _block(figure, f"{datum.top} {plain(closed_text)}", (0.28, 0.985, 0.67, 0.026), Face(7.2, 6.2))
    _block(figure, CAUTION, (0.06, 0.026, 0.88, 0.022), Face(7.2, 6))
    if not cards:
        figure.text(0.06, 0.9, "No site was found in this run.", fontsize=16, va="top")
    for slot, card in enumerate(cards):
        _card(figure, card, top=0.955 - slot * 0.465, unit=unit, datum=datum)
    return figure


def _block(figure: Figure, text: str, box: tuple[float, float, float, float], face: Face) -> float:
    """Write text into a box of the page (left, top, width, height as shares of it); return where it ends."""
    left, top, width, height = box
    lines, size = fit_lines(text, face, width * PAGE_IN[0], height * PAGE_IN[1])
    pitch = PITCH * size / 72.0 / PAGE_IN[1]
    for i, line in enumerate(lines):
        figure.text(
            left, top - i * pitch, line, fontsize=size, weight=face.weight, va="top", parse_math=False
        )
    return top - len(lines) * pitch


def _card(figure: Figure, card: CardSite, *, top: float, unit: str, datum: Datum) -> None:
    """One card: ``top`` is its upper edge as a share of the page, and so are all places below."""
    figure.add_artist(Rectangle((0.05, top - 0.455), 0.9, 0.45, fill=False, linewidth=1.6, zorder=-1))
    _head(figure, card.site, top=top, unit=unit, datum=datum)
    ax = figure.add_axes((0.11, top - 0.33, 0.46, 0.19))
    if card.depths_m is None or not np.isfinite(card.depths_m).any():
        ax.set_axis_off()
        ax.text(0.5, 0.5, "no profile: the ground is unknown here", ha="center", fontsize=9)
    else:
        profile = Profile(
            card.depths_m, card.half_m, card.heading_deg, number_of(card.site, "depth_m"), card.marks
        )
        draw_profile(ax, profile, unit=unit)
    _patch(figure, card, box=(0.64, top - 0.33, 0.285, 0.2015), unit=unit)
    _facts(figure, card, top=top, unit=unit)


LEFT, RIGHT = 0.066, 0.934
"""Where text begins and ends in a card, as shares of the page."""


def _head(figure: Figure, site: dict[str, Any], *, top: float, unit: str, datum: Datum) -> None:
    """Number, name, score, depth with what it is counted from, position."""

    def line(at: float, text: str, face: Face, *, left: float, right: float, side: str = "left") -> float:
        """Write one line between two edges; return its width."""
        said, size = fit_line(text, face, (right - left) * PAGE_IN[0])
        x = left if side == "left" else right
        figure.text(
            x, top - at, said, fontsize=size, weight=face.weight, family=face.family, va="top", ha=side,
            parse_math=False,
        )  # fmt: skip
        return width_in(said, size, face) / PAGE_IN[0]

    rank = number_of(site, "rank")
    big = f"{int(rank)}" if math.isfinite(rank) else "+"
    left = LEFT + line(0.021, big, Face(34, 20, "bold"), left=LEFT, right=LEFT + 0.2) + 0.025
    depth = show_depth(number_of(site, "depth_m"), unit)
    wide = line(0.021, depth, Face(26, 16, "bold"), left=0.65, right=RIGHT, side="right")
    name = plain(site.get("name") or "") or plain(site.get("id") or "") or "site"
    line(0.025, name, Face(15, 9, "bold"), left=left, right=RIGHT - wide - 0.02)
    score, sure = number_of(site, "score"), number_of(site, "confidence")
    words = plain(site.get("kind", "")) + (f", score {score:.1f}" if math.isfinite(score) else "")
    words += f", chance it is tall enough: {sure_words(sure)}" if math.isfinite(sure) else ""
    line(0.052, words, Face(11, 7), left=left, right=RIGHT - wide - 0.02)
    line(0.070, f"at the drop point, {datum.short}", Face(8, 6), left=LEFT, right=RIGHT, side="right")
    lat, lon = number_of(site, "lat"), number_of(site, "lon")
    position = f"{degrees_minutes(lat, lat=True)}   {degrees_minutes(lon, lat=False)}"
    line(0.087, position, Face(17, 12, "bold", "monospace"), left=LEFT, right=RIGHT)


def _facts(figure: Figure, card: CardSite, *, top: float, unit: str) -> None:
    """Heights and headings; what to mind, the reason and the note; a line to write on; the caution."""
    site, width = card.site, RIGHT - LEFT
    y = _block(figure, _measures(site, unit), (LEFT, top - 0.355, width, 0.028), Face(9.5, 7, "bold"))
    flags = site.get("flags")
    warned = (
        "Mind: " + "; ".join(flag_words(str(f)) for f in flags) + ". "
        if isinstance(flags, (list, tuple)) and flags
        else ""
    )
    note = f"Note: {plain(site['note'])}" if site.get("note") else ""
    text = plain(warned + str(site.get("why") or "") + " " + note)
    _block(figure, text, (LEFT, y - 0.003, width, y - 0.003 - (top - 0.434)), Face(8.6, 6.5))
    figure.add_artist(Line2D([LEFT, RIGHT], [top - 0.440] * 2, color="black", linewidth=0.7))
    known = f" Id: {plain(site['id'])}" if site.get("id") else ""
    _block(figure, SHORT + known, (LEFT, top - 0.4425, width, 0.0105), Face(7, 6))


def _measures(site: dict[str, Any], unit: str) -> str:
    """Height, width, distance to the rock, how it runs, how near a net lands: one after the other."""
    facts, along = [], far_unit(unit)
    height, width, drop, run = (number_of(site, key) for key in ("height_m", "width_m", "drop_m", "run_m"))
    if math.isfinite(height):
        facts.append(f"height {show_depth(height, unit, places=1)}")
    if site.get("kind") == "ledge" and math.isfinite(drop) and math.isfinite(run):
        facts.append(f"falls {show_depth(drop, unit, places=1)} in {show_depth(run, along)}")
    elif math.isfinite(width):
        facts.append(f"width {show_depth(width, along, places=1)}")
    off, lands = number_of(site, "off_m"), number_of(site, "lands_within_m")
    if lost_in_doubt(off, number_of(site, "position_m")):
        facts.append(f"rock {WITHIN_DOUBT}")
    elif math.isfinite(off):
        facts.append(f"rock at {show_depth(off, along, places=1)}")
    if math.isfinite(lands):
        rock = f": {MAY_LAND}" if lost_in_doubt(off, lands) else ""
        facts.append(f"net lands within {show_depth(lands, along)}{rock}")
    if math.isfinite(number_of(site, "axis_deg")):
        axis = number_of(site, "axis_deg")
        facts.append(f"runs {axis:03.0f}°/{(axis + 180) % 360:03.0f}° true")
    return " · ".join(facts)


def _patch(figure: Figure, card: CardSite, *, box: tuple[float, float, float, float], unit: str) -> None:
    """Grey relief around the site, north up, with contours and the line of the profile."""
    ax = figure.add_axes(box)
    ax.set_xticks([])
    ax.set_yticks([])
    patch = card.patch
    if patch is None or min(patch.shape) < 3 or not np.isfinite(patch).any():
        ax.set_axis_off()
        return
    rows, cols = patch.shape
    half_x, half_y = cols * card.cell_m / 2, rows * card.cell_m / 2
    ax.imshow(
        grey_relief(patch, card.cell_m),
        cmap="gray",
        vmin=0,
        vmax=1,
        origin="upper",
        extent=(-half_x, half_x, -half_y, half_y),
        interpolation="nearest",
    )
    x = (np.arange(cols) + 0.5) * card.cell_m - half_x
    y = half_y - (np.arange(rows) + 0.5) * card.cell_m
    _contours(ax, x, y, patch, unit)
    angle = math.radians(card.heading_deg)
    reach = min(card.half_m, half_x * 0.98)
    ax.plot(
        [-math.sin(angle) * reach, math.sin(angle) * reach],
        [-math.cos(angle) * reach, math.cos(angle) * reach],
        color="black",
        linewidth=1.4,
        linestyle=(0, (5, 3)),
        path_effects=HALO,
    )
    size = half_x * 0.06
    outline = [(px * size, py * size) for px, py in kind_of(card.site.get("kind")).outline]
    ax.add_patch(Polygon(outline, closed=True, facecolor="white", edgecolor="black", linewidth=1.8, zorder=5))
    scale_and_north(ax, half_x, half_y, unit)
    for spine in ax.spines.values():
        spine.set_linewidth(1.2)


def grey_relief(patch: Floats, cell_m: float) -> Floats:
    """Lightness 0 to 1 of the shaded ground; land is dark, unknown ground is hatched."""
    light = hillshade(patch, cell_m, stretch=choose_stretch(patch, cell_m))
    flat = float(np.nanmedian(light))
    grey = np.clip(0.82 + (light - flat) * 0.9, 0.3, 1.0)
    grey = np.where(patch >= 0, 0.55, grey)
    row, col = np.ogrid[: patch.shape[0], : patch.shape[1]]
    return np.where(np.isfinite(patch), grey, np.where((row + col) % 6 == 0, 0.75, 1.0))


def _contours(ax: Axes, x: Floats, y: Floats, patch: Floats, unit: str) -> None:
    """Contours at even round depths of the unit, with their numbers."""
    low, high = -float(np.nanmax(patch)), -float(np.nanmin(patch))
    levels = [d for d in contour_depths(max(high, 0.5), unit, most=16) if low < d < high]
    if not levels:
        return
    lines = ax.contour(
        x, y, np.ma.masked_invalid(-smoothed(patch)), levels=levels, colors="black", linewidths=0.7
    )
    names = {d: f"{d / UNIT_METRES[unit]:g}" for d in levels}
    for text in ax.clabel(lines, fmt=names, fontsize=7.5):
        text.set_path_effects(HALO)


def scale_and_north(ax: Axes, half_x: float, half_y: float, unit: str = "m") -> None:
    """Scale bar and north arrow of a map whose axes run from -half to half (m)."""
    length, words = rule_length(half_x * 0.7, unit)
    ax.plot(
        [-half_x * 0.92, -half_x * 0.92 + length],
        [-half_y * 0.9] * 2,
        color="black",
        linewidth=2.5,
        path_effects=HALO,
    )
    ax.text(-half_x * 0.92, -half_y * 0.84, words, fontsize=8, path_effects=HALO)
    ax.text(
        half_x * 0.88,
        half_y * 0.74,
        "N\n↑",
        fontsize=9,
        weight="bold",
        ha="center",
        va="center",
        path_effects=HALO,
    )
