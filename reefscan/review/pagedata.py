"""What the offline page carries: sites, recipe, picture, contours, features and profiles, as plain JSON.

Sizes are bounded: the picture by its pixels, profiles by a number of sites; what was left out is said in
``notes`` on the page itself.
"""

from __future__ import annotations

import base64
import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame
from pyproj import Transformer

from reefscan.base.caution import CAUTION, SHORT
from reefscan.base.columns import CANDIDATE
from reefscan.base.datum import NOT_STATED, Datum
from reefscan.base.flags import FLAGS
from reefscan.base.model import GridSource
from reefscan.base.overview import MapGround
from reefscan.base.recipe import Recipe
from reefscan.base.terms import DEFAULT_TERMS, called
from reefscan.base.units import UNITS
from reefscan.render.featurepick import drawn_features, lines_by_kind
from reefscan.render.marks import SYMBOLS, contour_depths
from reefscan.render.shade import choose_stretch, deepest_tint_m, enlarged, shaded_relief, trimmed
from reefscan.review.ground import overview_of_all
from reefscan.review.opened import OpenedRun
from reefscan.review.section import sections
from reefscan.review.takealong import LETTER, NAME_LENGTH, naming_of
from reefscan.surroundings.closed import rings_of
from reefscan.surroundings.known import NONE_GIVEN, Surroundings
from reefscan.surroundings.shapes import box_of, near

PICTURE_PX = 2000
MOST_SECTIONS = 2000
MOST_FEATURES = 300
MOST_POINTS = 120_000
LATTICE = 17
KNOWN_SQUARES = 400
"""Squares along the longer side in which the page knows ground from none: 27 kB at most."""

NUMBERS = tuple(column.name for column in CANDIDATE if column.page and column.kind == "number")
TEXTS = ("id", "kind", "feature_id", "source", "why", *(f"why_{unit}" for unit in UNITS))


def site_columns(table: pd.DataFrame, recipe: Recipe) -> dict[str, list[Any]]:
    """Columns as plain lists, unknown numbers None; columns that a term judges come unrounded."""
    out: dict[str, list[Any]] = {}
    judged = {term.column for term in recipe.score.terms.values()}
    for name in TEXTS:
        if name in table:
            out[name] = ["" if pd.isna(v) else str(v) for v in table[name]]
    for name in [*NUMBERS, "lands_within_m", *sorted(judged - set(NUMBERS))]:
        if name not in table:
            continue
        values = pd.to_numeric(table[name], errors="coerce").to_numpy(dtype=np.float64)
        out[name] = [None if not math.isfinite(v) else v for v in values.tolist()]
    if "flags" in table:
        out["flags"] = [_flags(v) for v in table["flags"]]
    return out


def _flags(value: Any) -> list[str]:
    """Flags as a list of texts, from a list, an array or text."""
    if isinstance(value, str):
        return [value] if value else []
    if isinstance(value, (list, tuple, np.ndarray)):
        return [str(v) for v in value]
    return []


def recipe_data(recipe: Recipe) -> dict[str, Any]:
    """The recipe as JSON; open corners as the words ``inf`` and ``-inf``."""
    data: dict[str, Any] = recipe.model_dump(mode="python")
    for term in data["score"]["terms"].values():
        term["kinds"] = list(term["kinds"])
        for corner in ("a", "b", "c", "d", "half"):
            if math.isinf(term[corner]):
                term[corner] = "inf" if term[corner] > 0 else "-inf"
    return data


def picture(ground: MapGround, *, band_max_m: float) -> tuple[str, float]:
    """Shaded relief as a JPEG data URI, and the depth at which its tint ends."""
    from PIL import Image

    deepest = deepest_tint_m(ground.elev, band_max_m)
    stretch = choose_stretch(ground.elev, ground.cell_m)
    rgb = shaded_relief(ground.elev, ground.cell_m, band_max_m=band_max_m, deepest_m=deepest, stretch=stretch)
    rgb = enlarged(rgb, ~np.isfinite(ground.elev), least=1200)  # the page scales it back to whole cells
    out = io.BytesIO()
    Image.fromarray(rgb).save(out, "JPEG", quality=82, optimize=True)
    return "data:image/jpeg;base64," + base64.b64encode(out.getvalue()).decode(), deepest


def known_ground(ground: MapGround) -> dict[str, Any]:
    """Where the grid knows the bottom, as bits row by row (first bit highest): squares of ``side`` pixels, set where any is known."""
    side = max(1, math.ceil(max(ground.elev.shape) / KNOWN_SQUARES))
    rows, cols = (math.ceil(n / side) for n in ground.elev.shape)
    padded = np.zeros((rows * side, cols * side), dtype=bool)
    padded[: ground.elev.shape[0], : ground.elev.shape[1]] = np.isfinite(ground.elev)
    squares = padded.reshape(rows, side, cols, side).any(axis=(1, 3))
    return {"side": side, "cols": cols, "bits": base64.b64encode(np.packbits(squares).tobytes()).decode()}


def contours(ground: MapGround, *, deepest_m: float, unit: str) -> list[dict[str, Any]]:
    """Lines of equal depth at even round depths of the unit, in picture pixels; coarser until few enough."""
    from skimage.measure import find_contours

    if min(ground.elev.shape) < 3:
        return []
    factor = max(1, max(ground.elev.shape) // 700)
    rows, cols = (n // factor for n in ground.elev.shape)
    blocks = ground.elev[: rows * factor, : cols * factor].reshape(rows, factor, cols, factor)
    calm = blocks.mean(axis=(1, 3))
    if min(calm.shape) < 2 or not np.isfinite(calm).any():
        return []
    for most in (9, 6, 4, 2):
        out: list[dict[str, Any]] = []
        total = 0
        for depth in [0.0, *contour_depths(deepest_m, unit, most=most)]:
            lines = [(line[:, ::-1] + 0.5) * factor for line in find_contours(calm, -depth) if len(line) > 6]
            total += sum(len(line) for line in lines)
            out.append({"depth": depth, "lines": [np.round(line, 1).ravel().tolist() for line in lines]})
        if total <= MOST_POINTS:
            return out
    return out[:1]


def feature_lines(features: Mapping[str, GeoDataFrame], ground: MapGround) -> list[dict[str, Any]]:
    """Feature lines in picture pixels, by kind."""
    corner, pixel = (ground.west_m, ground.north_m), (ground.cell_m, -ground.cell_m)
    return [
        {
            "kind": kind.name,
            "lines": [np.round((xy - corner) / pixel, 1).ravel().tolist() for xy in lines],
        }
        for kind, lines in lines_by_kind(features, ground.crs, simplify_m=ground.cell_m * 0.5)
    ]


def lattice(ground: MapGround) -> dict[str, Any]:
    """Longitude and latitude on an even lattice of picture points: the page interpolates positions from it."""
    west, south, east, north = ground.bounds
    x, y = np.meshgrid(np.linspace(west, east, LATTICE), np.linspace(north, south, LATTICE))
    lon, lat = Transformer.from_crs(ground.crs, "EPSG:4326", always_xy=True).transform(x, y)
    lon = np.degrees(np.unwrap(np.unwrap(np.radians(np.asarray(lon)), axis=1), axis=0))
    return {"n": LATTICE, "lon": np.round(lon, 8).ravel().tolist(), "lat": np.round(lat, 8).ravel().tolist()}


def section_rows(table: pd.DataFrame, sources: Sequence[GridSource]) -> list[dict[str, Any] | None]:
    """The section through every net, best first; None where no grid knows the place, and beyond `MOST_SECTIONS`."""
    return [
        None
        if section is None or section.depths_m is None
        else {
            "bearing": section.bearing_deg,
            "half_m": section.half_m,
            "depths": [None if not math.isfinite(d) else round(float(d), 2) for d in section.depths_m],
            "marks": [[round(mark.at_m, 1), mark.what] for mark in section.marks],
        }
        for section in sections(table, sources, most=MOST_SECTIONS)
    ]


@dataclass(frozen=True)
class About:
    """What the page says of the run itself.

    Parameters
    ----------
    run_name : str
    limits : mapping of str
        What the grid could not have shown, by unit.
    warnings : sequence of str
    unit : {"m", "ft", "fathom"}
        Unit of depths that the page opens with.
    closed_words : str
        What is known of closed ground: stands at the top.
    datum : Datum
        What depths are counted from.
    letters : str
        What the names of its waypoints begin with.
    """

    run_name: str
    limits: Mapping[str, str] = field(default_factory=dict)
    warnings: Sequence[str] = ()
    unit: str = "m"
    closed_words: str = NONE_GIVEN
    datum: Datum = NOT_STATED
    letters: str = ""

    @classmethod
    def of(cls, opened: OpenedRun) -> About:
        """What an opened run says of itself."""
        return cls(
            opened.name,
            {unit: opened.limits_in(unit) for unit in UNITS},
            opened.warnings,
            opened.unit,
            opened.closed_words,
            opened.datum,
            naming_of(opened).letters,
        )


def closed_areas(known: Surroundings | None, ground: MapGround) -> dict[str, Any] | None:
    """Closed ground in and around the picture, with the box in which it is all of it; None where none was given.

    Around is as far again as the picture is wide: a site set by hand beyond that is refused.
    """
    if known is None or not known.knows_closed:
        return None
    west, south, east, north = ground.bounds
    box = box_of([(ground.crs, ground.bounds)]).grown(max(east - west, north - south, 1000.0))
    shapes = known.of("closed")
    parts, rows = near(shapes.shapes, box)
    flat = shapely.get_type_id(parts) == 3  # where the box only touches one, a line or a point is left of it
    return {
        "box": [box.west, box.south, box.east, box.north],
        "areas": [
            {"name": shapes.called(row), "rings": rings_of(part)}
            for part, row in zip(parts[flat], rows[flat], strict=True)
        ],
    }


def page_data(
    table: pd.DataFrame,
    about: About,
    *,
    recipe: Recipe,
    sources: Sequence[GridSource],
    features: Mapping[str, GeoDataFrame],
    picture_px: int = PICTURE_PX,
    known: Surroundings | None = None,
) -> dict[str, Any]:
    """Everything the page shows, JSON-ready.

    Parameters
    ----------
    table : DataFrame
        All candidates of the run with raw measures, best first; may be empty.
    about : About
    recipe : Recipe
        The one the run was scored with.
    sources : sequence of GridSource
        The grids of the run, sheet by sheet.
    features : mapping of GeoDataFrame
        ``ledges``, ``troughs``, ``rises``.
    picture_px : int
        Longer side of the picture.
    known : Surroundings, optional
        What the run knows from outside its grid; closed ground near the picture goes along.
    """
    ground = trimmed(overview_of_all(sources, most=picture_px))
    uri, deepest = picture(ground, band_max_m=recipe.depth_band[1])
    listed = set(table["feature_id"].astype(str).head(200)) if "feature_id" in table else set()
    band = (recipe.find.depth_min_m, recipe.find.depth_max_m)
    drawn, left_out = drawn_features(features, listed=listed, band_m=band, most=MOST_FEATURES)
    rows, cols = ground.elev.shape
    return {
        "schema": "reefscan-page/1",
        "run": about.run_name,
        "unit": about.unit,
        "caution": CAUTION,
        "caution_short": SHORT,
        "naming": {"letters": about.letters, "length": NAME_LENGTH, "kinds": LETTER},
        "datum": {"top": about.datum.top, "short": about.datum.short, "named": bool(about.datum.name)},
        "closed_words": about.closed_words,
        "closed": closed_areas(known, ground),
        "limits": dict(about.limits),
        "notes": [*map(str, about.warnings), *_left_out(len(table), left_out)],
        "recipe": recipe_data(recipe),
        "term_notes": {name: row.note for name, row in DEFAULT_TERMS.items()},
        "term_words": {name: _term_words(name, recipe) for name in recipe.score.terms},
        "flag_words": FLAGS,
        "table": {"n": len(table), "columns": _placed_columns(table, recipe, ground)},
        "sections": section_rows(table, sources),
        "picture": {
            "uri": uri,
            "width": cols,
            "height": rows,
            "cell_m": ground.cell_m,
            "deepest_m": round(deepest, 1),
        },
        "known": known_ground(ground),
        "contours": contours(ground, deepest_m=min(deepest, recipe.depth_band[1] * 3), unit=about.unit),
        "features": feature_lines(drawn, ground),
        "lattice": lattice(ground),
        "kinds": {
            k.name: {"words": k.words, "outline": [list(p) for p in k.outline], "dash": list(k.line)}
            for k in SYMBOLS.values()
        },
    }


def _placed_columns(table: pd.DataFrame, recipe: Recipe, ground: MapGround) -> dict[str, list[Any]]:
    """Columns of the sites with their places in the picture (``px``, ``py``, pixels)."""
    if not len(table):
        return {k: [] for k in ("id", "kind", "feature_id", "lon", "lat", "depth_m", "px", "py")}
    columns = site_columns(table, recipe)
    to_grid = Transformer.from_crs("EPSG:4326", ground.crs, always_xy=True)
    x, y = to_grid.transform(table["lon"].to_numpy(dtype=float), table["lat"].to_numpy(dtype=float))
    columns["px"] = np.round((np.asarray(x) - ground.west_m) / ground.cell_m, 2).tolist()
    columns["py"] = np.round((ground.north_m - np.asarray(y)) / ground.cell_m, 2).tolist()
    return columns


def _term_words(name: str, recipe: Recipe) -> str:
    """What a term judges; of which kind, where it is one alone. What is worth the full amount where a fault is absent says so."""
    term = recipe.score.terms[name]
    words = f"free of: {called(name)}" if term.penalty and name in DEFAULT_TERMS else called(name)
    return f"{words} ({term.kinds[0]})" if len(term.kinds) == 1 else words


def _left_out(sites: int, features: int) -> list[str]:
    """What the page leaves out, in sentences."""
    out = []
    if sites > MOST_SECTIONS:
        out.append(
            f"Profiles are stored for the best {MOST_SECTIONS} of {sites} sites, to keep the file small."
        )
    if features:
        out.append(f"{features} short features are not drawn.")
    return out
