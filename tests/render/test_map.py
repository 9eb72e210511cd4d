"""The map: same bytes, said what is left out, readable in grey and with colour-blindness."""

from __future__ import annotations

import io
import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from PIL import Image
from pyproj import Transformer
from shapely.geometry import LineString

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "review"))

from seabed import ArraySource, seabed, sites

from reefscan.base.errors import InputError
from reefscan.base.overview import MapGround
from reefscan.render.contours import _name_contours
from reefscan.render.featurepick import drawn_features
from reefscan.render.furniture import Legend, degree_words, panel
from reefscan.render.map import PANEL_IN, MapWords, Paper, draw_map
from reefscan.render.marks import SYMBOLS, contour_depths, nice_length, score_rgb
from reefscan.render.shade import LAND, UNKNOWN, WATER, hillshade, shaded_relief, thin, trimmed

SOURCE = ArraySource(seabed())
WEST, _, _, NORTH = SOURCE.sheet.bounds(SOURCE.extent)


def listed(number: int) -> pd.DataFrame:
    table = sites(SOURCE, number)
    return table.assign(rank=np.arange(1, number + 1), score=np.linspace(95, 30, number))


def draw(elev: np.ndarray, candidates: pd.DataFrame, *, fmt: str = "png", **options: object) -> bytes:
    asked: dict[str, object] = {
        "depth_band_m": (4.0, 15.0),
        "words": MapWords("Invented", "4 m cells"),
        "paper": Paper(fmt, dpi=60),
        **options,
    }
    return draw_map(
        trimmed(MapGround(elev, WEST, NORTH, 4.0, SOURCE.sheet.crs)),
        candidates=candidates,
        features={},
        **asked,
    )  # type: ignore[arg-type]


def luminance(rgb: np.ndarray) -> np.ndarray:
    """Relative luminance, WCAG 2.1."""
    c = np.asarray(rgb, dtype=float)
    line = np.where(c <= 0.03928, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    return line @ np.array([0.2126, 0.7152, 0.0722])


@pytest.mark.parametrize("fmt", ["png", "pdf", "svg"])
def test_equal_input_gives_equal_bytes(fmt: str) -> None:
    elev, table = seabed(120, 160), listed(20)
    assert draw(elev, table, fmt=fmt) == draw(elev, table, fmt=fmt)


def test_the_input_is_not_modified() -> None:
    elev, table = seabed(120, 160), listed(20)
    before = elev.copy(), table.copy()
    draw(elev, table)
    np.testing.assert_array_equal(elev, before[0])
    pd.testing.assert_frame_equal(table, before[1])


@pytest.mark.parametrize(
    "elev",
    [
        np.full((1, 1), -5.0),
        np.full((1, 40), -5.0),
        np.full((30, 30), np.nan),
        np.full((30, 30), 4.0),
        np.zeros((5, 300)) - 9,
    ],
    ids=["one cell", "one row", "nothing known", "all land", "a strip"],
)
def test_odd_grids_still_give_a_picture(elev: np.ndarray) -> None:
    picture = Image.open(io.BytesIO(draw(elev, listed(20).head(0))))
    assert min(picture.size) > 100


@pytest.mark.parametrize("title", ["$\\frac{", "潮の岩 \x00\x07", "<b>&", "x" * 400, ""])
def test_hostile_titles_are_drawn_as_text(title: str) -> None:
    assert draw(seabed(60, 60), listed(5), words=MapWords(title, "4 m cells"))[:4] == b"\x89PNG"


def test_unknown_units_and_formats_are_refused() -> None:
    with pytest.raises(InputError, match="say one of"):
        MapWords("Invented", "4 m cells", unit="yard")
    with pytest.raises(InputError, match="say one of"):
        draw(seabed(60, 60), listed(5), fmt="gif")


@pytest.mark.parametrize("letters", [26, 36])
def test_a_files_long_name_stays_one_text_beside_the_map(letters: int) -> None:
    """Its type gets smaller down to six tenths; it neither breaks nor runs off the paper."""
    figure = Figure(figsize=(4, 6))
    FigureCanvasAgg(figure)
    side = figure.add_axes((0.02, 0.02, (PANEL_IN - 0.35) / 4, 0.96))
    name = "survey_of_the_outer_banks_north_side_2026"[: letters - 4] + ".tif"
    legend = Legend(name, ["2 m cells"], ["ledge"], (4.0, 15.0), deepest_m=20.0, unit="m", thinned="")
    panel(side, legend, width_in=PANEL_IN - 0.35, height_in=5.7)
    (title,) = (text for text in side.texts if text.get_text() == name)
    box = title.get_window_extent(figure.canvas.get_renderer())  # type: ignore[attr-defined]
    assert box.x1 <= side.get_window_extent().x1


def test_ten_thousand_sites_are_thinned_and_the_map_says_so() -> None:
    text = draw(seabed(200, 300), listed(10_000), fmt="svg")
    few = draw(seabed(200, 300), listed(10), fmt="svg")
    assert len(text) < 60 * len(few)


def test_deeper_water_is_always_darker_and_a_better_score_too() -> None:
    water = luminance(np.array([rgb for _, rgb in WATER]) / 255.0)
    assert np.all(np.diff(water) < 0)
    score = luminance(score_rgb(np.linspace(0, 100, 101)))
    assert np.all(np.diff(score) < 0)


def test_land_water_and_unknown_part_for_people_who_do_not_see_red_or_green() -> None:
    # Viénot, Brettel & Mollon 1999, linear RGB matrices for protanopia and deuteranopia (values from memory)
    land, shoal, unknown = (np.array(c) / 255.0 for c in (LAND[0][1], WATER[2][1], UNKNOWN))
    for matrix in ([[0.11238, 0.88762, 0], [0.11238, 0.88762, 0], [0.00401, -0.00401, 1]],
                   [[0.29275, 0.70725, 0], [0.29275, 0.70725, 0], [-0.02234, 0.02234, 1]]):  # fmt: skip
        seen = [np.array(matrix) @ c**2.2 for c in (land, shoal, unknown)]
        for i in range(3):
            for j in range(i):
                assert np.abs(seen[i] - seen[j]).max() > 0.12


def test_kinds_differ_by_shape_and_dash_not_by_colour() -> None:
    assert len({k.outline for k in SYMBOLS.values()}) == len(SYMBOLS)
    assert len({k.line for k in SYMBOLS.values()}) == len(SYMBOLS)


def test_a_plane_is_lit_evenly_and_a_slope_to_the_light_is_brighter() -> None:
    y, x = np.mgrid[0:30, 0:30] * 4.0
    to_light = hillshade((x + y) * 0.2, 4.0, stretch=1.0)
    away = hillshade(-(x + y) * 0.2, 4.0, stretch=1.0)
    assert np.ptp(to_light) < 1e-12
    assert to_light[5, 5] > away[5, 5]  # rises to the south-east, so it faces the light in the north-west


def test_hillshade_spreads_a_gap_by_no_cell() -> None:
    elev = seabed(60, 60)
    elev[20, 30] = np.nan
    assert np.isnan(hillshade(elev, 4.0, stretch=2.0)).sum() == np.isnan(elev).sum()


def test_thinning_is_the_mean_of_known_cells() -> None:
    elev = np.arange(36, dtype=float).reshape(6, 6)
    elev[0, 0] = np.nan
    small, factor = thin(elev, most=3)
    assert factor == 2
    assert small[0, 0] == pytest.approx((1 + 6 + 7) / 3)
    assert small[2, 2] == pytest.approx((28 + 29 + 34 + 35) / 4)


def test_unknown_ground_never_looks_like_water() -> None:
    elev = np.full((30, 30), -1.0)
    elev[:, 15:] = np.nan
    rgb = shaded_relief(elev, 4.0, band_max_m=15, deepest_m=30, stretch=1).astype(int)
    assert np.ptp(rgb[:, 15:], axis=2).max() <= 6
    assert np.ptp(rgb[:, :15], axis=2).min() >= 8


def test_contours_stand_at_round_depths_of_the_unit() -> None:
    assert contour_depths(18.0, "m") == [2, 4, 6, 8, 10, 12, 14, 16, 18]
    np.testing.assert_allclose(np.array(contour_depths(20.0, "ft")) / 0.3048, [10, 20, 30, 40, 50, 60])
    np.testing.assert_allclose(np.array(contour_depths(20.0, "fathom")) / 1.8288, [2, 4, 6, 8, 10])


@pytest.mark.parametrize(
    ("value", "lat", "step", "want"),
    [
        (-63.5, False, 1 / 60, "63°30'W"),
        (44.6416666667, True, 0.5 / 60, "44°38.5'N"),
        (59.9999999, True, 1 / 60, "60°00'N"),
    ],
)
def test_degrees_are_written_as_on_a_chart(value: float, lat: bool, step: float, want: str) -> None:
    assert degree_words(value, lat=lat, step=step) == want


def test_scale_lengths_are_1_2_or_5() -> None:
    assert [nice_length(v) for v in (1, 1.9, 2, 4.99, 7, 1234)] == [1, 1, 2, 2, 5, 1000]


def test_features_of_listed_sites_are_always_drawn_and_dry_ones_never() -> None:
    n = 500
    frame = gpd.GeoDataFrame(
        {"feature_id": [f"f{i}" for i in range(n)], "length_m": np.arange(n, dtype=float),
         "depth_min_m": np.where(np.arange(n) % 2, 5.0, -6.0), "depth_max_m": np.where(np.arange(n) % 2, 6.0, -5.0)},
        geometry=[LineString([(i, 0), (i, 5)]) for i in range(n)],
    )  # fmt: skip
    drawn, left = drawn_features({"ledges": frame}, listed={"f1", "f3"}, band_m=(4, 15), most=50)
    ids = set(drawn["ledges"]["feature_id"])
    assert {"f1", "f3", "f499"} <= ids
    assert "f498" not in ids
    assert len(ids) == 52
    assert left == n - 52


def test_features_of_two_sheets_in_degrees_are_picked_by_the_length_they_carry_without_a_word() -> None:
    """Their own length would be in degrees, and geopandas warns of that; a warning is an error here."""
    frame = gpd.GeoDataFrame(
        {"feature_id": ["short", "long"], "length_m": [20.0, 200.0]},
        geometry=[LineString([(3, 45), (4, 45)]), LineString([(3, 46), (3.1, 46)])],
        crs="EPSG:4326",
    )
    drawn, left = drawn_features({"ledges": frame}, listed=set(), band_m=(4, 15), most=1)
    assert list(drawn["ledges"]["feature_id"]) == ["long"]
    assert left == 1


def test_no_depth_is_written_under_the_scale_bar_or_the_north_arrow() -> None:
    ax = FigureCanvasAgg(Figure()).figure.add_subplot()
    y, x = np.mgrid[0:1000:101j, 0:1000:101j]
    # the middles of the first and the last contour lie in a corner
    lines = ax.contour(x, y, x + y, levels=[180.0, 1000.0, 1860.0])
    _name_contours(ax, lines, {180.0: "2", 1000.0: "10", 1860.0: "19"}, (0.0, 0.0, 1000.0, 1000.0))
    places = [text.get_position() for text in ax.texts]
    assert len(places) == 3
    assert not [at for at in places if at[1] < 100 and not 300 < at[0] < 700]
    assert not [at for at in places if at[1] > 880 and at[0] > 900]


def test_areas_that_overlap_are_hatched_alike_whichever_way_round_they_were_drawn() -> None:
    """Two rings of opposite turns would cancel each other where both fill a path."""
    to_lonlat = Transformer.from_crs(SOURCE.sheet.crs, "EPSG:4326", always_xy=True)

    def area(left: float, right: float, *, turned: bool) -> shapely.Polygon:
        x = WEST + np.array([left, right, right, left])
        ring = np.column_stack(to_lonlat.transform(x, NORTH - np.array([40.0, 40.0, 180.0, 180.0])))
        return shapely.Polygon(ring[::-1] if turned else ring)

    pictures = [
        np.asarray(
            Image.open(
                io.BytesIO(
                    draw(
                        seabed(60, 60), listed(1),
                        closed=[area(30.0, 150.0, turned=False), area(90.0, 210.0, turned=turned)],
                    )
                )
            )
        ).astype(int)
        for turned in (False, True)
    ]  # fmt: skip
    assert (np.abs(pictures[0] - pictures[1]).max(axis=-1) > 40).sum() < 20
