"""Shapes around a grid against plain shapely, geodesics and hand-drawn rings."""

from __future__ import annotations

import datetime as dt
import json
import shutil
import subprocess
from importlib.resources import files

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod
from shapely.geometry import MultiPolygon, Polygon

from reefscan.surroundings.closed import first_inside, holds, rings_of
from reefscan.surroundings.dates import in_force
from reefscan.surroundings.shapes import (
    Box,
    Shapes,
    box_of,
    near,
    single_parts,
    spoken,
    to_lonlat,
    whole_areas,
    widened,
)

GEOD = Geod(ellps="WGS84")


def shapes_of(*geometries):
    n = len(geometries)
    return Shapes(
        np.array(geometries, dtype=object), tuple(f"s{i}" for i in range(n)), ("k",) * n, ("f",) * n
    )


def star(rng, x, y, size, holes=True):
    """A ring that never crosses itself: corners by rising angle."""
    angle = np.sort(rng.uniform(0, 2 * np.pi, rng.integers(4, 12)))
    r = size * rng.uniform(0.3, 1.0, len(angle))
    shell = Polygon(np.column_stack((x + r * np.cos(angle), y + r * np.sin(angle)))).buffer(0)
    if not holes:
        return shell
    return shell.difference(
        Polygon(np.column_stack((x + 0.3 * r * np.cos(angle), y + 0.3 * r * np.sin(angle)))).buffer(0)
    )


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), middle=st.sampled_from([-60.0, 0.0, 179.98, -179.99]))
def test_a_place_is_closed_exactly_where_plain_shapely_says_so(seed, middle):
    rng = np.random.default_rng(seed)
    box = Box(middle - 0.1, 44.9, middle + 0.1, 45.1)
    drawn = [star(rng, middle + rng.uniform(-0.1, 0.1), 45 + rng.uniform(-0.1, 0.1), 0.05) for _ in range(12)]
    parts, _ = single_parts(np.array(drawn, dtype=object))
    # as a file may hold them: in the usual range of longitudes, by whole turns off
    turned = np.array(
        [shapely.transform(p, lambda xy: xy - (360.0 * rng.integers(-1, 2), 0)) for p in parts], dtype=object
    )
    placed, rows = near(turned, box)
    lon, lat = middle + rng.uniform(-0.1, 0.1, 300), 45 + rng.uniform(-0.1, 0.1, 300)
    told = first_inside(
        Shapes(placed, ("",) * len(placed), ("",) * len(placed), ("",) * len(placed)),
        (lon + 180) % 360 - 180,
        lat,
        box,
    )
    brute = np.array(
        [any(p.distance(shapely.Point(x, y)) <= 1e-9 for p in parts) for x, y in zip(lon, lat, strict=True)]
    )
    np.testing.assert_array_equal(told >= 0, brute)
    assert brute.any() and not brute.all()
    plain = [any(holds(rings_of(p), x, y) for p in placed) for x, y in zip(box.unwrap(lon), lat, strict=True)]
    np.testing.assert_array_equal(plain, brute)


def test_the_page_asks_the_same_question():
    node = shutil.which("node")
    if node is None:
        pytest.skip("no JavaScript engine (node) on this machine")
    rng = np.random.default_rng(5)
    areas = [star(rng, 179.98 + rng.uniform(-0.1, 0.1), rng.uniform(-0.1, 0.1), 0.05) for _ in range(12)]
    areas = list(single_parts(np.array(areas, dtype=object))[0])
    lon, lat = 179.98 + rng.uniform(-0.12, 0.12, 400), rng.uniform(-0.1, 0.1, 400)
    corners = np.array([ring[:2] for area in areas for ring in rings_of(area)])
    lon, lat = np.concatenate([lon, corners[:, 0]]), np.concatenate([lat, corners[:, 1]])
    closed = {
        "box": [179.8, -1, 180.2, 1],
        "areas": [{"name": f"a{i}", "rings": rings_of(a)} for i, a in enumerate(areas)],
    }
    code = (
        files("reefscan.review").joinpath("web", "closed.js").read_text(encoding="utf-8")
        + """
      const {closed, places} = JSON.parse(require("fs").readFileSync(0, "utf8"));
      process.stdout.write(JSON.stringify(places.map(([x, y]) => Closed.why(closed, x, y))));"""
    )
    places = [[float((x + 180) % 360 - 180), float(y)] for x, y in zip(lon, lat, strict=True)]
    ran = subprocess.run(
        [node, "-e", code],
        input=json.dumps({"closed": closed, "places": [*places, [170.0, 0.0]]}),
        capture_output=True,
        text=True,
        check=True,
    )
    *told, far = json.loads(ran.stdout)
    for words, x, y in zip(told, lon, lat, strict=True):
        first = next((i for i, a in enumerate(areas) if holds(rings_of(a), x, y)), None)
        assert words == ("" if first is None else f"lies in closed ground (a{first})"), (x, y)
    assert "beyond" in far and any(told) and not all(told)


@pytest.mark.parametrize(("lon", "lat"), [(-22.5, 45.0), (179.995, -17.0), (10.0, 69.0)])
@pytest.mark.parametrize("metres", [5.0, 250.0, 5000.0])
def test_a_margin_is_never_narrower_than_asked_and_at_most_one_percent_wider(lon, lat, metres):
    box = Box(lon - 0.01, lat - 0.01, lon + 0.01, lat + 0.01).grown(50_000)
    drawn = widened(shapes_of(shapely.Point(lon + 0.2, lat + 0.1)), np.array([metres]), box)
    for azimuth in range(0, 360, 7):
        for share, inside in ((0.9999, True), (1.012, False)):
            x, y, _ = GEOD.fwd(lon + 0.2, lat + 0.1, azimuth, metres * share)
            assert (first_inside(drawn, np.array([x]), np.array([y]), box)[0] >= 0) == inside, (
                azimuth,
                share,
            )


def test_all_that_a_crossed_ring_goes_round_is_closed():
    turns = np.arange(6) * 2 * 2 * np.pi / 5  # five points, each second one: the middle is gone round twice
    pentagram = Polygon(np.column_stack((np.cos(turns), np.sin(turns))))
    bow = Polygon([(0, 0), (2, 2), (2, 0), (0, 2)])
    assert not pentagram.is_valid and not bow.is_valid
    mended, count = whole_areas(np.array([pentagram, bow, shapely.box(0, 0, 1, 1)], dtype=object))
    assert count == 2 and shapely.is_valid(mended).all()
    assert shapely.Point(0, 0).within(mended[0]), "the usual repair leaves the middle open"
    assert mended[1].area == pytest.approx(2.0)


def test_straight_edges_of_a_projected_file_stay_where_they_are():
    # 40 km along a parallel of the projection: in degrees the chord would run metres beside it
    area = Polygon([(500_000, 5_000_000), (540_000, 5_000_000), (540_000, 5_010_000), (500_000, 5_010_000)])
    there = to_lonlat(np.array([area], dtype=object), "EPSG:32630", file="a")
    from pyproj import Transformer

    lon, lat = Transformer.from_crs(32630, 4326, always_xy=True).transform(520_000, 5_000_000)
    for off, inside in ((1e-7, True), (-1e-7, False)):  # a centimetre
        assert shapely.Point(lon, lat + off).within(there[0]) == inside
    chord = shapely.LineString(
        [there[0].exterior.coords[0], next(c for c in there[0].exterior.coords if c[0] > lon + 0.25)]
    )
    assert abs(chord.distance(shapely.Point(lon, lat))) > 1e-5


def test_an_area_drawn_over_the_180th_meridian_in_one_ring_is_found_on_both_sides():
    ring = Polygon([(179.9, -1), (-179.9, -1), (-179.9, 1), (179.9, 1)])
    box = Box(179.5, -2, 180.5, 2)
    parts, _ = near(np.array([ring], dtype=object), box)
    told = first_inside(shapes_of(*parts), np.array([179.95, -179.95, 179.8, -179.8, 0.0]), np.zeros(5), box)
    assert (told >= 0).tolist() == [True, True, False, False, False]
    world, _ = near(np.array([shapely.box(-180, -80, 180, 80)], dtype=object), box)
    assert (first_inside(shapes_of(*world), np.array([179.95, -179.8]), np.zeros(2), box) >= 0).all()


def test_the_box_of_grids_on_both_sides_of_the_180th_meridian_is_narrow():
    box = box_of(
        [("EPSG:32660", (800_000, 0, 833_000, 20_000)), ("EPSG:32601", (167_000, 0, 200_000, 20_000))]
    )
    assert box.east - box.west < 1.0 and box.west < 180 < box.east


def test_parts_holes_and_collections_come_apart():
    mixed = shapely.GeometryCollection(
        [MultiPolygon([shapely.box(0, 0, 1, 1), shapely.box(2, 0, 3, 1)]), shapely.Point(0, 0)]
    )
    parts, rows = single_parts(np.array([mixed, shapely.Point(5, 5), Polygon()], dtype=object))
    assert [p.geom_type for p in parts] == ["Polygon", "Polygon", "Point", "Point"]
    assert rows.tolist() == [0, 0, 0, 1]


@pytest.mark.parametrize(
    ("start", "end", "day", "closed"),
    [
        ("2026-04-01", "2026-09-30", "2026-04-01", True),
        ("2026-04-01", "2026-09-30", "2026-09-30", True),
        ("20260401", "20260930", "2026-10-01", False),
        (None, "2025-12-31", "2026-01-01", False),
        ("--1001", "--0331", "2026-01-15", True),
        ("--1001", "--0331", "2026-06-15", False),
        ("--0401", None, "2026-03-31", False),
        (dt.datetime(2026, 4, 1), float("nan"), "2027-01-01", True),
    ],
)
def test_a_closure_holds_on_its_days_both_ends_included(start, end, day, closed):
    assert in_force(start, end, dt.date.fromisoformat(day)) == closed
    assert in_force(start, end, None)


@pytest.mark.parametrize("text", ["1 April", "2026-13-01", "--0230x", "04/01/2026"])
def test_what_is_no_day_is_refused(text):
    with pytest.raises(ValueError):
        in_force(text, None, dt.date(2026, 1, 1))


def test_a_hostile_name_is_spoken_as_plain_text():
    assert (
        spoken("<script>alert(1)</script>\n\x1b[31m=HYPERLINK(1)")
        == "‹script›alert(1)‹/script› [31m=HYPERLINK(1)"
    )
    assert len(spoken("x" * 500)) == 80
