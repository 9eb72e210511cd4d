"""Waypoint files against their published schemas, GDAL and gpxpy."""

from __future__ import annotations

import csv
import io
import json
import math
from importlib.resources import files
from pathlib import Path

import gpxpy
import pyogrio
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from reefscan.base.caution import SHORT
from reefscan.base.errors import InputError
from reefscan.io.out.siteforms import Headed, csv_bytes, encode, form_of, inert, write_sites
from reefscan.io.out.waypoints import Waypoint, clean, route_order, tidy, unique_names

GPX = etree.XMLSchema(etree.parse(str(Path(__file__).parent / "schemas" / "gpx.xsd")))


@pytest.fixture(scope="module")
def kml_schema() -> etree.XMLSchema:
    """OGC's own KML 2.2 schema, as shipped by fastkml."""
    return etree.XMLSchema(etree.parse(str(files("fastkml") / "schema" / "ogckml22.xsd")))


HOSTILE = [
    "Reef & <b>bold</b>",
    "=cmd|' /C calc'!A0",
    "]]>\x00\x1f<!--",
    "naïve Grüße ✓ 潮",
    "",
    "  ",
    "reef & <B>BOLD</B>",
    "\ud800broken",
    "a" * 300,
    '"quoted", with comma\nand line',
    "+1",
    "@SUM(A1)",
]


def hostile_points() -> list[Waypoint]:
    return [
        Waypoint(
            n,
            179.99999999 if i == 0 else -63.5 + i / 1e6,
            44.0 + i / 3,
            None if i == 2 else 5.0 + i,
            text=n,
            kind="ledge",
            fields={"score": 90.5 - i, "note": n, "vrm": math.nan, "a<b": 1},
        )
        for i, n in enumerate(HOSTILE)
    ]


def wrap(inner: str, creator: str = ' creator="t"') -> bytes:
    return f'<gpx version="1.1"{creator} xmlns="http://www.topografix.com/GPX/1/1">{inner}</gpx>'.encode()


@pytest.mark.parametrize(
    ("inner", "valid"),
    [
        ('<wpt lat="90" lon="-180.0"><ele>-5</ele><name>a</name></wpt>', True),
        ('<wpt lat="1" lon="1"><name>a</name><ele>-5</ele></wpt>', False),
        ('<wpt lat="1" lon="180.0"/>', False),
        ('<wpt lat="91" lon="1"/>', False),
        ('<wpt lat="1" lon="1e-5"/>', False),
        ('<wpt lat="1" lon="1"><ele>NaN</ele></wpt>', False),
        ('<rte/><wpt lat="1" lon="1"/>', False),
        ("<rte><rtept lat='1' lon='1'/><name>r</name></rte>", False),
        ("<wpt lat='1' lon='1'><extensions><name>x</name></extensions></wpt>", False),
        ("<wpt lat='1' lon='1'><extensions/><type>x</type></wpt>", False),
    ],
)
def test_the_gpx_schema_copy_accepts_and_rejects_the_known_cases(inner: str, valid: bool) -> None:
    # cases of the GPX 1.1 schema, each computed with lxml and xmlschema on the published file
    assert GPX.validate(etree.fromstring(wrap(inner))) is valid
    assert not GPX.validate(etree.fromstring(wrap("", creator="")))


@pytest.mark.parametrize("symbols", [{}, {"": "Anchor <1>"}, {"ledge": "Step & down"}, {"trough": "V"}])
def test_hostile_names_still_give_valid_gpx(symbols: dict[str, str]) -> None:
    data = encode(tidy(hostile_points()), "gpx", title="T & <t>\x00", symbols=symbols)
    tree = etree.fromstring(data)
    GPX.assertValid(tree)
    found = tree.findall(".//{*}sym")
    wanted = symbols.get("", symbols.get("ledge"))
    assert [s.text for s in found] == [wanted] * (len(HOSTILE) if wanted else 0)


def test_hostile_names_still_give_valid_kml(kml_schema: etree.XMLSchema) -> None:
    tree = etree.fromstring(encode(tidy(hostile_points()), "kml", title="T & <t>\x00"))
    kml_schema.assertValid(tree)
    assert len(tree.findall(".//{*}Placemark")) == len(HOSTILE)


def test_gpxpy_and_gdal_read_back_what_was_written(tmp_path: Path) -> None:
    points = tidy(hostile_points())
    data = encode(points, "gpx", title="t")
    read = gpxpy.parse(data.decode()).waypoints
    assert [w.name for w in read] == [p.name for p in points]
    assert [(w.longitude, w.latitude) for w in read] == [(p.lon, p.lat) for p in points]
    assert [w.elevation for w in read] == [None if p.depth_m is None else -p.depth_m for p in points]
    for fmt in ("gpx", "kml", "geojson", "gpkg"):
        path = tmp_path / f"s.{fmt}"
        path.write_bytes(encode(points, fmt, title="t"))
        frame = (
            pyogrio.read_dataframe(path, layer="waypoints") if fmt == "gpx" else pyogrio.read_dataframe(path)
        )
        column = "Name" if fmt == "kml" else "name"
        assert list(frame[column]) == [p.name for p in points], fmt
        got = [v for g in frame.geometry for v in (g.x, g.y)]
        assert got == pytest.approx([v for p in points for v in (p.lon, p.lat)], abs=1e-9), fmt
    assert list(frame["score"]) == [p.fields["score"] for p in points]


@given(st.lists(st.text(max_size=12), max_size=40), st.sampled_from([None, 6, 8]), st.booleans())
@settings(max_examples=60, deadline=None)
def test_names_are_unique_short_and_plain(names: list[str], length: int | None, plain: bool) -> None:
    got = unique_names(names, length=length, ascii_only=plain)
    assert len({n.casefold() for n in got}) == len(names)
    assert all(n and n == n.strip() for n in got)
    assert all(length is None or len(n) <= length for n in got)
    assert all(not plain or n.isascii() for n in got)


def test_five_thousand_equal_names_fit_into_eight_characters() -> None:
    got = unique_names(["Long reef name"] * 5000, length=8)
    assert len(set(got)) == 5000
    assert max(map(len, got)) == 8


def test_four_characters_for_too_many_names_is_refused_in_one_line() -> None:
    with pytest.raises(InputError, match="allow longer names"):
        unique_names(["abcd"] * 1200, length=4)


@given(st.floats(-1e4, 1e4), st.floats(-90, 90))
def test_longitude_is_always_within_the_gpx_range(lon: float, lat: float) -> None:
    (point,) = tidy([Waypoint("a", lon, lat)])
    GPX.assertValid(etree.fromstring(encode([point], "gpx", title="t")))
    assert -180.0 <= point.lon < 180.0
    assert abs((point.lon - lon + 180) % 360 - 180) < 1e-6


@pytest.mark.parametrize(("lon", "lat"), [(0, 90.1), (math.nan, 0), (math.inf, 0), (0, -91)])
def test_an_impossible_position_is_refused(lon: float, lat: float) -> None:
    with pytest.raises(InputError, match="wanted finite degrees"):
        tidy([Waypoint("a", lon, lat)])


def test_no_text_cell_of_the_csv_starts_like_a_formula_and_numbers_stay_numbers() -> None:
    # starts listed by OWASP, "CSV Injection"
    rows = list(
        csv.reader(io.StringIO(csv_bytes(tidy(hostile_points()), Headed("sites")).decode(), newline=""))
    )
    head, body = rows[0], rows[1:]
    assert len(body) == len(HOSTILE)
    for row in body:
        for name, cell in zip(head, row, strict=True):
            if name in ("lon", "lat", "depth_m", "score", "a<b"):
                assert cell == "" or math.isfinite(float(cell))
            else:
                assert cell[:1] not in ("=", "+", "-", "@", "\t", "\r")
    assert inert("-5 m") == "'-5 m"
    assert inert("reef-5") == "reef-5"


def test_geojson_keeps_to_rfc_7946_and_has_null_for_unknown() -> None:
    from geojson_pydantic import FeatureCollection

    data = json.loads(encode(tidy(hostile_points()), "geojson", title="t"))
    FeatureCollection.model_validate({k: data[k] for k in ("type", "features")})
    assert "crs" not in data
    assert data["features"][2]["properties"]["depth_m"] is None
    assert data["features"][0]["properties"]["vrm"] is None


def test_every_format_gives_the_same_bytes_twice() -> None:
    points = tidy(hostile_points())
    for fmt in ("gpx", "kml", "csv", "geojson", "gpkg"):
        assert encode(points, fmt, title="t") == encode(points, fmt, title="t"), fmt


def test_an_empty_list_is_a_valid_file_in_every_format(kml_schema: etree.XMLSchema) -> None:
    GPX.assertValid(etree.fromstring(encode([], "gpx", title="t")))
    kml_schema.assertValid(etree.fromstring(encode([], "kml", title="t")))
    assert csv_bytes([], Headed("sites")).count(b"\r\n") == 1
    assert json.loads(encode([], "geojson", title="t"))["features"] == []
    assert encode([], "gpkg", title="t").startswith(b"SQLite format 3")


def test_sites_are_split_by_number_and_none_is_lost(tmp_path: Path) -> None:
    points = tidy([Waypoint(f"s{i}", i / 100, 1.0, 5.0) for i in range(25)])
    paths = write_sites(points, tmp_path / "sites.gpx", fmt="gpx", title="t", most=10)
    assert [p.name for p in paths] == ["sites-1.gpx", "sites-2.gpx", "sites-3.gpx"]
    names = [w.name for p in paths for w in gpxpy.parse(p.read_text()).waypoints]
    assert names == [p.name for p in points]
    assert sorted(p.name for p in tmp_path.iterdir()) == [p.name for p in paths]


@pytest.mark.parametrize("fmt", ["gpx", "kml", "csv", "geojson", "gpkg"])
def test_each_site_carries_the_caution_wherever_it_is_read(tmp_path: Path, fmt: str) -> None:
    """A site is looked at alone, in a balloon, a row or a device's list: read back by GDAL, each has it."""
    path = tmp_path / f"s.{fmt}"
    path.write_bytes(encode(tidy(hostile_points()), fmt, title="t"))
    if fmt == "csv":
        rows = [
            " ".join(row.values())
            for row in csv.DictReader(io.StringIO(path.read_bytes().decode(), newline=""))
        ]
    else:
        layer = {"layer": "waypoints"} if fmt == "gpx" else {}
        frame = pyogrio.read_dataframe(path, **layer).drop(columns="geometry")
        rows = [" ".join(map(str, row)) for row in frame.itertuples(index=False)]
    assert len(rows) == len(HOSTILE)
    assert all(SHORT in row for row in rows)


def test_a_row_of_the_csv_tells_degrees_and_minutes_in_plain_letters() -> None:
    (row,) = csv.DictReader(
        io.StringIO(csv_bytes(tidy([Waypoint("a", -22.5166806, 45.0117943)]), Headed("t")).decode())
    )
    # by hand: 0.0117943 x 60 = 0.707658, 0.5166806 x 60 = 31.000836
    assert (row["lat_minutes"], row["lon_minutes"]) == ("45 00.708 N", "022 31.001 W")


@pytest.mark.parametrize(
    ("name", "fmt", "told"),
    [
        ("s.gpx", "csv", "ends in .gpx, but --format is csv"),
        ("s.txt", "csv", "ends in .txt"),
        ("s", None, "ends in nothing"),
        ("s.gpx", "gpx2", "is not known"),
    ],
)
def test_an_ending_and_a_format_that_disagree_are_refused(name: str, fmt: str | None, told: str) -> None:
    with pytest.raises(InputError, match=told):
        form_of(Path(name), fmt)


def test_a_format_goes_by_the_ending() -> None:
    assert [form_of(Path(n), f) for n, f in (("a.GPX", None), ("a.json", "geojson"), ("a.csv", "CSV"))] == [
        "gpx", "geojson", "csv",
    ]  # fmt: skip


def test_a_route_starts_at_the_launch() -> None:
    """Five sites on a line, the launch beyond its east end: from there the way goes along the line, best site or not."""
    points = [Waypoint(str(i), i / 100, 10.0) for i in (0, 3, 1, 4, 2)]
    assert [p.name for p in route_order(points, (0.05, 10.0))] == ["4", "3", "2", "1", "0"]


def test_a_route_on_a_line_goes_along_the_line() -> None:
    points = [Waypoint(str(i), i / 100, 10.0) for i in (0, 5, 2, 9, 1, 7, 3, 4, 8, 6)]
    assert [p.name for p in route_order(points)] == [str(i) for i in range(10)]


def test_a_missing_folder_is_named_in_one_line(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        write_sites([], tmp_path / "no" / "x.gpx", fmt="gpx", title="t")


def test_clean_text_has_no_character_that_xml_forbids() -> None:
    # XML 1.0, production Char
    text = clean("".join(map(chr, range(0x2100))) + "\ufffe\uffff\ud800")
    etree.fromstring(f"<a>{text.replace('&', '').replace('<', '')}</a>")


LIVE = (
    "<script>alert(1)</script>", "<img src=x onerror=alert(1)>", "<a href='http://127.0.0.1/'>x</a>", "]]><b>x</b>",
    "&lt;b&gt;", "$[name] $[description]", "=HYPERLINK(1)", "%n%s", "abc\u202etxt.exe", "\u2066hidden\u2069", "n" * 10_000,
)  # fmt: skip


@pytest.mark.parametrize("fmt", ["gpx", "kml", "csv", "geojson"])
@pytest.mark.parametrize("ascii_only", [False, True])
def test_no_name_or_note_is_live_in_what_shows_it(fmt: str, ascii_only: bool) -> None:
    """Unpacked once, as a reader of XML or JSON does, a text holds nothing that HTML takes for mark-up."""
    points = [Waypoint(t, 1.0, 2.0, 3.0, t, t, "", {"note": t, "source": t}) for t in LIVE]
    data = encode(tidy(points, ascii_only=ascii_only), fmt, title="t" if ascii_only else LIVE[0])
    assert len(data) < 60_000
    if fmt in ("gpx", "kml"):
        texts = [
            node.text or "" for node in etree.fromstring(data).iter() if not isinstance(node, etree._Comment)
        ]
    elif fmt == "csv":
        texts = [cell for row in csv.reader(io.StringIO(data.decode(), newline="")) for cell in row]
        assert not any(cell.lstrip().startswith(("=", "%", "@", "+")) for cell in texts)
    else:
        told = json.loads(data)
        texts = [told["title"], *(str(v) for f in told["features"] for v in f["properties"].values())]
    for text in texts:
        assert not set("<>\u202e\u2066\u2069") & set(text)
        assert "$[" not in text
        assert len(text) <= 2100
    assert data.isascii() or not ascii_only


@pytest.mark.parametrize("fmt", ["gpx", "kml", "geojson"])
def test_a_file_of_sites_carries_the_cautions_and_what_is_known_of_closed_ground(fmt: str) -> None:
    text = encode(tidy(hostile_points()), fmt, title="x", note="Closed ground: none given.").decode()
    first = text.index("Closed ground: none given. Not for navigation.")
    assert first < text.index("<wpt" if fmt == "gpx" else "<Placemark" if fmt == "kml" else '"features"')
