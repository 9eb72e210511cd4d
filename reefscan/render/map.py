"""The map of a run: shaded seabed, features, numbered sites, legend and caution, as PNG, PDF or SVG bytes."""

from __future__ import annotations

import io
import math
import warnings
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from PIL import Image
from PIL.PngImagePlugin import PngInfo
from pyproj import Proj, Transformer

from reefscan.base.datum import NOT_STATED, Datum
from reefscan.base.errors import InputError
from reefscan.base.overview import MapGround
from reefscan.render import furniture
from reefscan.render.contours import draw_contours
from reefscan.render.featurepick import drawn_features, lines_by_kind
from reefscan.render.marks import CLOSED, INK, PAPER, SYMBOLS, UNIT_METRES, Box
from reefscan.render.picture import Picture
from reefscan.render.shade import Floats, choose_stretch, deepest_tint_m, enlarged, shaded_relief, thin
from reefscan.render.sitemarks import draw_sites, sites_xy

FORMATS = ("png", "pdf", "svg")
PNG_LEVEL = 1
"""Of zlib: 0.12 s and 3.1 MB for a map of rough ground; 2 takes a fifth longer for as much, the usual 6 four times as long for a tenth less."""

PANEL_IN = 2.55
MARGIN_IN = 0.32
MOST_FEATURES = 150
"""Beside those of listed sites; the longest. A rough shore has thousands of short ones."""


@dataclass(frozen=True)
class Paper:
    """What a map is drawn on.

    Parameters
    ----------
    fmt : {"png", "pdf", "svg"}
    dpi : int
        Pixels to the inch of a PNG, and of the shaded ground in the others.
    long_side_in : float
        Longer side of the map itself, inches.

    Raises
    ------
    InputError
        For an unknown format.
    """

    fmt: str = "png"
    dpi: int = 150
    long_side_in: float = 9.0

    def __post_init__(self) -> None:
        if self.fmt not in FORMATS:
            raise InputError(f"map: format {self.fmt!r} is not known; say one of {', '.join(FORMATS)}")


@dataclass(frozen=True)
class MapWords:
    """What a map says beside the ground.

    Attributes
    ----------
    title : str
    limits : str
        What the grid could not have shown.
    closed : str
        What is known of closed ground: stands first.
    datum : Datum
        What depths are counted from: stands over the key of depths.
    unit : {"m", "ft", "fathom"}

    Raises
    ------
    InputError
        For an unknown unit.
    """

    title: str
    limits: str
    closed: str = ""
    datum: Datum = NOT_STATED
    unit: str = "m"

    def __post_init__(self) -> None:
        if self.unit not in UNIT_METRES:
            raise InputError(f"map: unit {self.unit!r} is not known; say one of {', '.join(UNIT_METRES)}")


def draw_map(
    ground: MapGround,
    *,
    candidates: pd.DataFrame,
    features: dict[str, GeoDataFrame],
    depth_band_m: tuple[float, float],
    words: MapWords,
    closed: Iterable[Any] = (),
    paper: Paper = Paper(),
) -> bytes:
    """Draw the map of a run. For looking and for print; never for steering.

    Parameters
    ----------
    ground : MapGround
        Of any size: thinned to the paper. `reefscan.render.shade.trimmed` takes off its empty margins.
    candidates : DataFrame
        ``lon``, ``lat``, ``kind``, ``score``, ``rank``; may be empty.
    features : dict of GeoDataFrame
        ``ledges``, ``troughs``, ``rises`` (lines or outlines; any may be missing).
    depth_band_m : tuple of float
        Searched depths, metres, positive down.
    words : MapWords
    closed : iterable of polygons
        Closed ground, longitude and latitude: hatched.
    paper : Paper

    Returns
    -------
    bytes
        The same for the same input, run to run.

    Raises
    ------
    InputError
        For a grid without cells.
    """
    unit = words.unit
    if ground.elev.ndim != 2 or ground.elev.size == 0:
        raise InputError(f"map: the grid has shape {ground.elev.shape}; wanted at least one cell")
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message=r"Glyph .* missing")  # a foreign name, drawn as boxes
        figure, ax, side = _sheet(ground.bounds, paper.long_side_in)
        most = int(paper.long_side_in * paper.dpi)
        deepest = _ground(ax, ground, band_m=depth_band_m, unit=unit, most=most)
        listed = set(candidates["feature_id"].astype(str)) if "feature_id" in candidates else set()
        drawn, left_out = drawn_features(features, listed=listed, band_m=depth_band_m, most=MOST_FEATURES)
        _features(ax, drawn, ground.crs)
        ringed = list(closed)
        _closed(ax, ringed, ground.crs)
        wide, high = map(float, figure.get_size_inches())
        shown = draw_sites(ax, candidates, box=ground.bounds, crs=ground.crs, inches=wide - PANEL_IN)
        _furnish(ax, ground, candidates, unit)
        legend = furniture.Legend(
            closed=bool(ringed),
            title=words.title,
            lines=[text for text in (words.closed, words.limits) if text],
            kinds=_kinds(candidates),
            band_m=depth_band_m,
            deepest_m=deepest,
            unit=unit,
            datum=words.datum,
            thinned=_left_out(shown, len(candidates), left_out)
            + ("" if np.isfinite(ground.elev).all() else " Pale with stripes: not known."),
        )
        furniture.panel(side, legend, width_in=PANEL_IN - 0.35, height_in=high - 2 * MARGIN_IN)
        return as_file(figure, paper)


def _kinds(candidates: pd.DataFrame) -> list[str]:
    """Kinds that the legend explains: those of the sites, all that can be found where there is no site."""
    there = set(candidates["kind"].astype(str)) if "kind" in candidates else set()
    return [k for k in SYMBOLS if k in there] or ["trough", "ledge", "rise"]


def _left_out(shown: int, total: int, left_out: int) -> str:
    """What the map leaves out, in words."""
    if total == 0:
        return "No site was found."
    words = f"{shown} of {total} sites drawn, best first" if shown < total else f"{total} sites"
    words += "; numbers where they fit."
    return words + (f" {left_out} short features are not drawn." if left_out else "")


def _sheet(box: Box, long_side_in: float) -> tuple[Figure, Axes, Axes]:
    """A figure with the map's axes at the left and a legend panel at the right."""
    width, height = box[2] - box[0], box[3] - box[1]
    ratio = min(max(width / height, 0.35), 3.0)
    map_w, map_h = (
        (long_side_in, long_side_in / ratio) if ratio >= 1 else (long_side_in * ratio, long_side_in)
    )
    left, bottom = 0.42, 0.42
    fig_w = left + map_w + PANEL_IN
    fig_h = max(map_h + bottom + MARGIN_IN, 6.1)
    figure = Figure(figsize=(fig_w, fig_h), facecolor=PAPER)
    FigureCanvasAgg(figure)
    y = (fig_h - MARGIN_IN - map_h) / fig_h
    ax = figure.add_axes((left / fig_w, y, map_w / fig_w, map_h / fig_h))
    side = figure.add_axes(
        (
            (left + map_w + 0.2) / fig_w,
            MARGIN_IN / fig_h,
            (PANEL_IN - 0.35) / fig_w,
            (fig_h - 2 * MARGIN_IN) / fig_h,
        )
    )
    if width / height != ratio:  # a thin strip: paper around it instead of a sliver of a map
        extra_w = max(0.0, height * ratio - width) / 2
        extra_h = max(0.0, width / ratio - height) / 2
        box = (box[0] - extra_w, box[1] - extra_h, box[2] + extra_w, box[3] + extra_h)
    ax.set_xlim(box[0], box[2])
    ax.set_ylim(box[1], box[3])
    ax.set_facecolor("#f0f0ee")
    return figure, ax, side


def _ground(ax: Axes, ground: MapGround, *, band_m: tuple[float, float], unit: str, most: int) -> float:
    """Relief, shoreline and contours; returns the depth at which the tint ends."""
    small, factor = thin(ground.elev, most=max(most, 16))
    deepest = deepest_tint_m(small, band_m[1])
    step, box = ground.cell_m * factor, ground.bounds
    stretch = choose_stretch(small, step)
    picture = shaded_relief(small, step, band_max_m=band_m[1], deepest_m=deepest, stretch=stretch)
    picture = enlarged(picture, ~np.isfinite(small), least=1000)
    south, east = box[3] - small.shape[0] * step, box[0] + small.shape[1] * step
    ax.add_artist(Picture(picture, (box[0], south, east, box[3])))
    if min(small.shape) >= 3:
        draw_contours(ax, small, step, deepest_m=min(deepest, band_m[1] * 3), unit=unit, box=box)
    return deepest


def _features(ax: Axes, features: dict[str, GeoDataFrame], crs: str) -> None:
    """Feature lines in the kind's dash over a pale casing, so that they show on shoal and on deep."""
    for kind, lines in lines_by_kind(features, crs):
        ax.add_collection(
            LineCollection(lines, colors=PAPER, linewidths=2.0, alpha=0.75, zorder=6, capstyle="round"),
            autolim=False,
        )
        ax.add_collection(
            LineCollection(
                lines, colors=INK, linewidths=1.0, zorder=7, linestyles=[(0, kind.line) if kind.line else "-"]
            ),
            autolim=False,
        )


def _closed(ax: Axes, shapes: Iterable[Any], crs: str) -> None:
    """Closed ground, hatched and ringed, so that it shows on print without colour: three artists, however many areas."""
    to_map = Transformer.from_crs("EPSG:4326", crs, always_xy=True)

    def rings_of(areas: Any) -> list[Floats]:
        lines = shapely.get_rings(areas) if len(areas) else ()
        rings = [np.column_stack(to_map.transform(*shapely.get_coordinates(line).T)) for line in lines]
        return [ring for ring in rings if np.isfinite(ring).all()]  # all that the map's system can draw

    areas = np.array(list(shapes), dtype=object)
    rings = rings_of(areas)
    if not rings:
        return
    # of areas that lie over each other the hatching must not cancel itself
    path = Path.make_compound_path(
        *(Path(ring, closed=True) for ring in rings_of(shapely.get_parts(shapely.union_all(areas))))
    )
    ax.add_patch(PathPatch(path, facecolor="none", edgecolor=CLOSED, linewidth=0.0, hatch="////", zorder=8))
    for colour, width in ((PAPER, 2.6), (CLOSED, 1.2)):
        ax.add_collection(LineCollection(rings, colors=colour, linewidths=width, zorder=8), autolim=False)


def _furnish(ax: Axes, ground: MapGround, candidates: pd.DataFrame, unit: str) -> None:
    """Scale, north, degree ticks and a firm frame."""
    box, crs = ground.bounds, ground.crs
    to_lonlat = Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
    west, east = ax.get_xlim()
    south, north = ax.get_ylim()
    at = sites_xy(candidates, crs)
    low = at[at[:, 1] < south + 0.1 * (north - south)]
    third = (east - west) * 0.3
    right = bool((low[:, 0] < west + third).sum() > (low[:, 0] > east - third).sum())
    furniture.scale_bar(
        ax, west=west, south=south, width=east - west, height=north - south, unit=unit, right=right
    )
    middle = to_lonlat.transform((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)
    turn = 0.0
    if all(math.isfinite(v) for v in middle):
        turn = float(Proj(crs).get_factors(*middle).meridian_convergence)
    furniture.north_arrow(ax, convergence_deg=turn if math.isfinite(turn) else 0.0)
    furniture.degree_ticks(ax, to_lonlat, west=west, south=south, east=east, north=north)
    for spine in ax.spines.values():
        spine.set_edgecolor(INK)
        spine.set_linewidth(1.0)


def as_file(figure: Figure, paper: Paper) -> bytes:
    """Bytes without dates or random ids, so that equal maps are equal files."""
    import matplotlib

    out = io.BytesIO()
    fmt, dpi = paper.fmt, paper.dpi
    if fmt == "png":
        # without the channel of opacity, which is full all over: a fifth less to pack, and smaller
        figure.set_dpi(dpi)
        figure.set_facecolor(PAPER)
        canvas = FigureCanvasAgg(figure)
        canvas.draw()  # type: ignore[no-untyped-call]
        drawn = np.asarray(canvas.buffer_rgba())  # type: ignore[no-untyped-call]
        picture = Image.fromarray(drawn).convert("RGB")
        mark = PngInfo()
        mark.add_text("Software", "reefscan")  # by which it is known again where it would be written over
        picture.save(out, format="png", compress_level=PNG_LEVEL, dpi=(dpi, dpi), pnginfo=mark)
        return out.getvalue()
    metadata: dict[str, Any] = {
        "pdf": {"CreationDate": None, "ModDate": None, "Producer": None, "Creator": "reefscan"},
        "svg": {"Date": None, "Creator": "reefscan"},
    }[fmt]
    with matplotlib.rc_context({"svg.hashsalt": "reefscan", "pdf.fonttype": 42, "svg.fonttype": "path"}):
        figure.savefig(out, format=fmt, dpi=dpi, facecolor=PAPER, metadata=metadata)
    return out.getvalue()
