"""Logs in every open form and every bad shape: what is read, what is counted, what is refused."""

from __future__ import annotations

import gzip
import json
import lzma
import zipfile
from datetime import timedelta, timezone

import numpy as np
import pytest
from numpy.testing import assert_allclose

from reefscan.base.errors import AmbiguousError, InputError, MissingInputError, UnreadableError
from reefscan.io.logs.columns import parse_angle, unit_of
from reefscan.io.logs.soundings import (
    ReadOptions,
    list_logs,
    read_log,
    read_logs,
    refuse_two_ways,
    tabulate,
    zone_crs,
)  # fmt: skip
from reefscan.io.logs.text import TextOptions
from reefscan.io.logs.times import parse_zone
from reefscan.io.opening import chunks

PLAIN = ReadOptions()
ROWS = [(5.1, 60.2, 10.0), (5.1001, 60.2001, 11.5), (5.1002, 60.2002, 12.25)]


def write(tmp_path, text, name="log.csv"):
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def same(log, rows=ROWS, atol=1e-9):
    assert_allclose(np.c_[log.lon, log.lat, log.depth], rows, atol=atol)


@pytest.mark.parametrize(
    "text",
    [
        "lon,lat,depth_m\n5.1,60.2,10\n5.1001,60.2001,11.5\n5.1002,60.2002,12.25\n",
        "Depth (m);Latitude;Longitude\n10,0;60,2;5,1\n11,5;60,2001;5,1001\n12,25;60,2002;5,1002\n",
        "# made by hand\nLongitude\tLatitude\tDepth [M]\n5.1\t60.2\t10\n5.1001\t60.2001\t11.5\n5.1002\t60.2002\t12.25",
        "  lon   lat  depth_m\n 5.1   60.2  10\n 5.1001  60.2001   11.5\n5.1002 60.2002 12.25\n",
        "lat,lon,elevation_m\r\n60.2,5.1,-10\r\n60.2001,5.1001,-11.5\r\n60.2002,5.1002,-12.25\r\n",
        "lat,lon,depth_fathom\n60.2,5.1,5.4680664917\n60.2001,5.1001,6.2882764654\n60.2002,5.1002,6.6983814523\n",
        "\ufefflon,lat,depth_m\n5.1,60.2,10\n5.1001,60.2001,11.5\nlon,lat,depth_m\n5.1002,60.2002,12.25\n5.1,60.\n",
        "lon,lat,depth_m\n365.1,60.2,10\n365.1001,60.2001,11.5\n365.1002,60.2002,12.25\n",
        'lon,lat,depth_m,remark\n5.1,60.2,10,"reef, north"\n5.1001,60.2001,11.5,\n5.1002,60.2002,12.25,x\n',
    ],
    ids=["comma", "semicolon, decimal comma", "tab, comment", "blanks", "elevation", "fathoms", "BOM, second header, cut",
         "0 to 360", "quotes"],
)  # fmt: skip
def test_text_in_every_layout_gives_the_same_soundings(tmp_path, text):
    same(read_log(write(tmp_path, text), PLAIN))


def test_columns_without_names_are_asked_for_and_a_count_of_the_rows_is_not_taken_for_a_place(tmp_path):
    rows = [f"{5.1 + 1e-4 * i},{60.2 + 1e-4 * i},{10 + i}" for i in range(6)]
    with pytest.raises(
        AmbiguousError, match=r"3 columns .*; say which is which, such as --columns lon=1,lat=2,depth_m=3"
    ):
        read_log(write(tmp_path, "\n".join(rows)), PLAIN)
    counted = write(tmp_path, "\n".join(f"{i},{row}" for i, row in enumerate(rows)))
    with pytest.raises(
        AmbiguousError, match=r"the first only counts the rows: .* --columns lon=2,lat=3,depth_m=4"
    ):
        read_log(counted, PLAIN)
    log = read_log(counted, ReadOptions(TextOptions("lon=2,lat=3,depth_m=4")))
    assert_allclose(log.depth, np.arange(10.0, 16.0))


@pytest.mark.parametrize("name", ["log.csv.gz", "log.csv.xz", "log.zip"])
def test_packed_logs_are_read_like_plain_ones(tmp_path, name):
    text = b"lon,lat,depth_m\n5.1,60.2,10\n5.1001,60.2001,11.5\n5.1002,60.2002,12.25\n"
    path = tmp_path / name
    if name.endswith("gz"):
        path.write_bytes(gzip.compress(text))
    elif name.endswith("xz"):
        path.write_bytes(lzma.compress(text))
    else:
        with zipfile.ZipFile(path, "w") as archive:
            archive.writestr("inside.csv", text)
    same(read_log(path, PLAIN))


def test_a_truncated_archive_is_refused_in_one_line(tmp_path):
    path = write(tmp_path, gzip.compress(b"lon,lat,depth_m\n" + b"5.1,60.2,10\n" * 9000)[:90], "log.csv.gz")
    with pytest.raises(UnreadableError, match="cannot be read to its end"):
        read_log(path, PLAIN)


def test_utf_16_and_nul_bytes_and_stray_latin_1_are_read(tmp_path):
    text = "lon,lat,depth_m\n5.1,60.2,10\n5.1001,60.2001,11.5\n5.1002,60.2002,12.25\n"
    same(read_log(write(tmp_path, text.encode("utf-16")), PLAIN))
    same(read_log(write(tmp_path, text.encode().replace(b"10", b"1\x000")), PLAIN))
    same(read_log(write(tmp_path, text.replace("depth_m", "depth_m,name").replace("10\n", "10,Ærø\n").replace("11.5\n", "11.5,\n").replace("12.25\n", "12.25,\n").encode("latin-1")), PLAIN))  # fmt: skip


def test_columns_without_names_are_asked_for_and_then_read(tmp_path):
    path = write(
        tmp_path, "1,60.2,5.1,32.80839895\n2,60.2001,5.1001,37.72965879\n3,60.2002,5.1002,40.19028871\n"
    )
    with pytest.raises(AmbiguousError, match="--columns"):
        read_log(path, PLAIN)
    same(read_log(path, ReadOptions(TextOptions(columns="lon=3,lat=2,depth_ft=4"))))


def test_a_depth_without_a_unit_is_refused_until_one_is_said(tmp_path):
    path = write(tmp_path, "lon,lat,depth\n5.1,60.2,10\n5.1001,60.2001,11.5\n5.1002,60.2002,12.25\n")
    with pytest.raises(AmbiguousError, match="--depth-unit"):
        read_log(path, PLAIN)
    same(read_log(path, ReadOptions(TextOptions(depth_unit=1.0))))


def test_a_unit_written_behind_each_depth_is_its_unit(tmp_path):
    rows = [f"{lon},{lat},{d / 0.3048:.4f} ft\n" for lon, lat, d in ROWS]
    same(read_log(write(tmp_path, "lon,lat,depth\n" + "".join(rows)), PLAIN), atol=1e-4)
    with pytest.raises(AmbiguousError, match="several units"):
        read_log(write(tmp_path, "lon,lat,depth\n" + rows[0] + rows[1].replace("ft", "m")), PLAIN)
    with pytest.raises(AmbiguousError, match="says another"):
        read_log(write(tmp_path, "lon,lat,depth_m\n" + "".join(rows)), PLAIN)


def test_a_table_with_bars_between_its_columns_is_read(tmp_path):
    rows = [f"{lon}|{lat}|{d}\n" for lon, lat, d in ROWS]
    same(read_log(write(tmp_path, "lon|lat|depth_m\n" + "".join(rows)), PLAIN))


def test_degrees_are_not_taken_for_metres_of_the_map_that_was_said(tmp_path):
    rows = [f"{lon},{lat},{d}\n" for lon, lat, d in ROWS]
    log = read_log(
        write(tmp_path, "lon,lat,depth_m\n" + "".join(rows)), ReadOptions(TextOptions(crs="EPSG:32633"))
    )
    same(log)
    assert "was not used" in log.notes[-1]


def test_columns_that_say_no_place_are_refused(tmp_path):
    path = write(tmp_path, "5.1,60.2,10\n5.2,60.2,11\n")
    with pytest.raises(InputError, match="neither a place"):
        read_log(path, ReadOptions(TextOptions(columns="lon=1,depth_m=3")))


def test_swapped_longitude_and_latitude_are_noticed_and_asked_not_guessed(tmp_path):
    path = write(tmp_path, "lon,lat,depth_m\n-43.5,172.7,9\n-43.51,172.71,9\n")
    with pytest.raises(AmbiguousError, match="--swap-lonlat"):
        read_log(path, PLAIN)
    log = read_log(path, ReadOptions(TextOptions(swap_lonlat=True)))
    assert_allclose(np.c_[log.lon, log.lat], [[172.7, -43.5], [172.71, -43.51]])


@pytest.mark.parametrize(
    ("text", "want"),
    [
        ("48°07.038'N", 48.1173), ("11 31 00 W", -11.5166666667), ("S 33° 51' 31.5\"", -33.8587500), ("4807.5", 4807.5),
        ("-3.5", -3.5), ("12:30:00E", 12.5), ("12 60 N", np.nan), ("-12 N", np.nan), ("north", np.nan), ("", np.nan),
    ],
)  # fmt: skip
def test_angles_are_read_as_people_write_them(text, want):
    assert_allclose(parse_angle(text), want, atol=1e-9)


def test_angles_with_letters_and_projected_coordinates_give_the_same_place(tmp_path):
    log = read_log(
        write(
            tmp_path,
            "lat;lon;depth_m\n60°12.0'N;5°06.0'E;10\n60°12.006'N;5°06.006'E;11.5\n60°12.012'N;5°06.012'E;12.25\n",
        ),
        PLAIN,
    )
    same(log)
    table, crs = tabulate([log])
    text = "x,y,depth_m\n" + "".join(
        f"{x:.6f},{y:.6f},{d}\n" for x, y, d in zip(table.x, table.y, table.depth, strict=True)
    )
    path = write(tmp_path, text, "xy.csv")
    with pytest.raises(AmbiguousError, match="--crs"):
        read_log(path, PLAIN)
    again = read_log(path, ReadOptions(TextOptions(crs=crs)))
    assert_allclose(np.c_[again.lon, again.lat], np.array(ROWS)[:, :2], atol=1e-8)


@pytest.mark.parametrize(
    ("unit", "metres"),
    [
        ("depth_ft", 0.3048),
        ("Depth (m)", 1.0),
        ("DEPTH [fathom]", 1.8288),
        ("depth", None),
        ("water depth", None),
    ],
)
def test_a_column_name_states_its_unit(unit, metres):
    assert unit_of(unit) == metres


def test_times_with_zones_without_and_in_seconds_are_one_moment(tmp_path):
    head = "time,lon,lat,depth_m\n"
    zoned = read_log(
        write(tmp_path, head + "2024-02-29T12:00:00+02:00,5,60,9\n2024-02-29T12:00:01+02:00,5,60,9\n"), PLAIN
    )
    local = read_log(
        write(tmp_path, head + "2024-02-29 12:00:00,5,60,9\n2024-02-29 12:00:01,5,60,9\n"),
        ReadOptions(TextOptions(zone=timezone(timedelta(hours=2)))),
    )
    epoch = read_log(write(tmp_path, head + "1709200800,5,60,9\n1709200801,5,60,9\n"), PLAIN)
    dotted = read_log(
        write(tmp_path, head + "29.02.2024 10:00:00,5,60,9\n29.02.2024 10:00:01,5,60,9\n"), PLAIN
    )
    for log in (zoned, local, epoch, dotted):
        assert_allclose(log.time, [1709200800.0, 1709200801.0])


def test_of_two_columns_of_one_name_the_first_is_read_and_it_is_said(tmp_path):
    log = read_log(write(tmp_path, "lon,lat,depth_m,Depth_m\n5,60,9,99\n5,60,8,99\n"), PLAIN)
    assert_allclose(log.depth, [9, 8])
    assert any(
        "more than one column is called 'depth_m', and the first is read" in note for note in log.notes
    )
    once = read_log(write(tmp_path, "lon,lat,depth_m,depth_ft\n5,60,9,30\n5,60,8,26\n"), PLAIN)
    assert not any("more than one column" in note for note in once.notes)


def test_decimal_commas_between_commas_are_refused_with_what_they_want(tmp_path):
    path = write(tmp_path, "lon,lat,depth_m\n5,1,60,2,9,3\n5,1,60,2,9,4\n")
    with pytest.raises(UnreadableError, match="such as '5,1,60,2,9,3'; a decimal comma wants semicolons"):
        read_log(path, PLAIN)


def test_dates_that_can_be_read_two_ways_are_refused(tmp_path):
    with pytest.raises(InputError, match="day first or month first"):
        read_log(
            write(tmp_path, "time,lon,lat,depth_m\n03/04/2024 10:00,5,60,9\n05/04/2024 10:00,5,60,9\n"), PLAIN
        )


def test_the_date_that_is_asked_about_is_one_of_the_log_and_not_its_header(tmp_path):
    path = write(tmp_path, "date,time,lon,lat,depth_m\n03/04/2024,10:00,5,60,9\n05/04/2024,10:00,5,60,9\n")
    with pytest.raises(InputError, match="dates such as 03/04/2024 10:00 can be read"):
        refuse_two_ways([path], [], PLAIN)


@pytest.mark.parametrize(("order", "day"), [("day-first", "2024-04-03"), ("month-first", "2024-03-04")])
def test_dates_that_can_be_read_two_ways_are_read_as_is_said(tmp_path, order, day):
    path = write(tmp_path, "time,lon,lat,depth_m\n03/04/2024 10:00,5,60,9\n05/04/2024 10:00,5,60,9\n")
    log = read_log(path, ReadOptions(TextOptions(dates=order)))
    assert log.time[0] == np.datetime64(f"{day}T10:00", "s").astype(float)


def test_days_that_are_none_are_asked_for_like_any_other(tmp_path):
    """A receiver writes 00/00/0000 until it knows the day: the question names no days then, and is asked all the same."""
    path = tmp_path / "a.csv"
    path.write_text("lon,lat,depth_m,time\n" + "3.0,50.0,10,00/00/0000 10:00:00\n" * 3)
    with pytest.raises(AmbiguousError, match="--dates day-first or --dates month-first") as error:
        refuse_two_ways([path], [], ReadOptions())
    assert error.value.asks is not None
    assert [about for _, about in error.value.asks.choices] == ["none of them is a day"] * 2


def test_a_column_beyond_the_last_is_refused_where_no_unit_is_said_either(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("3.0,50.0,10\n" * 3)
    with pytest.raises(AmbiguousError, match="--columns names column 9 of 3"):
        read_log(path, ReadOptions(TextOptions(columns="lon=1,lat=2,depth=9")))


def test_what_must_be_known_of_dates_is_asked_before_any_log_is_read(tmp_path, monkeypatch):
    """The first log is long and fine, the last has dates that can be read two ways: it is asked at once, by name."""
    plain = write(tmp_path, "time,lon,lat,depth_m\n2024-04-03 10:00,5,60,9\n")
    plain = plain.rename(tmp_path / "a.csv")
    odd = write(tmp_path, "time,lon,lat,depth_m\n03/04/2024 10:00,5,60,9\n05/04/2024 10:00,5,60,9\n")
    monkeypatch.setattr("reefscan.io.logs.soundings.read_log", lambda *_: pytest.fail("a log was read"))
    with pytest.raises(AmbiguousError, match=rf"{odd.name}: .*--dates day-first or --dates month-first"):
        refuse_two_ways([plain, odd], [], PLAIN)
    refuse_two_ways([plain, odd], [], ReadOptions(TextOptions(dates="day-first")))


@pytest.mark.parametrize(("text", "hours"), [("UTC", 0), ("+02:00", 2), ("-7", -7), ("+05:30", 5.5)])
def test_zones_are_explicit(text, hours):
    assert parse_zone(text).utcoffset(None) == timedelta(hours=hours)


def test_an_unknown_zone_is_refused():
    with pytest.raises(InputError, match="Mars"):
        parse_zone("Mars/Olympus")


GPX = """<?xml version="1.0"?><gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>
<trkpt lat="60.2" lon="5.1"><ele>-10</ele><time>2024-05-01T10:00:00Z</time></trkpt>
<trkpt lat="60.2001" lon="5.1001"><ele>-11.5</ele><time>2024-05-01T10:00:01Z</time></trkpt>
<trkpt lat="60.2002" lon="5.1002"><ele>-12.25</ele></trkpt></trkseg></trk></gpx>"""


def test_gpx_gives_negative_ele_as_depth_and_a_named_element_where_told(tmp_path):
    same(read_log(write(tmp_path, GPX, "t.gpx"), PLAIN))
    other = GPX.replace("<ele>-", "<extensions><d:water xmlns:d='urn:x'>").replace(
        "</ele>", "</d:water></extensions>"
    )
    same(read_log(write(tmp_path, other, "t.gpx"), ReadOptions(gpx_element="water")))


def test_gpx_cut_off_before_its_first_point_is_refused(tmp_path):
    with pytest.raises(UnreadableError, match="well-formed"):
        read_log(write(tmp_path, GPX[: GPX.index("<trkpt") + 20], "t.gpx"), PLAIN)


def b12(**properties):
    return {
        "type": "FeatureCollection",
        "properties": {"convention": "GeoJSON CSB 3.1", **properties},
        "features": [
            {"type": "Feature", "geometry": {"type": "Point", "coordinates": [lon, lat]},
             "properties": {"depth": d, "time": f"2024-05-01T10:00:0{k}.000Z"}} for k, (lon, lat, d) in enumerate(ROWS)
        ],
    }  # fmt: skip


def test_b12_geojson_is_read_with_its_reference_and_draft(tmp_path):
    log = read_log(write(tmp_path, json.dumps(b12(verticalReferenceOfDepth="Transducer",
        platform={"sensors": [{"type": "Sounder", "draft": 1.4}]})), "b.geojson"), PLAIN)  # fmt: skip
    same(log)
    assert_allclose(log.to_surface, 1.4)
    assert np.isfinite(log.time).all()
    assert (
        read_log(
            write(tmp_path, json.dumps(b12(verticalReferenceOfDepth="Waterline")), "b.json"), PLAIN
        ).reference
        == "surface"
    )


def test_a_document_that_b12s_own_validator_passes_is_read(tmp_path):
    csbschema = pytest.importorskip("csbschema")
    document = b12()
    node = {
        "providerOrganizationName": "Example", "providerEmail": "a@example.com", "uniqueVesselID": "EXAMPL-01234567-89ab-cdef-0123-456789abcdef",
        "convention": "GeoJSON CSB 3.1", "dataLicense": "CC0 1.0", "providerLogger": "Logger", "providerLoggerVersion": "1.0",
        "navigationCRS": "EPSG:4326", "verticalReferenceOfDepth": "Transducer", "vesselPositionReferencePoint": "GNSS",
    }  # fmt: skip
    document["crs"] = {"type": "name", "properties": {"name": "EPSG:4326"}}
    document["properties"] = {
        "trustedNode": node,
        "platform": {"uniqueID": "EXAMPL-01234567-89ab-cdef-0123-456789abcdef"},
    }
    path = write(tmp_path, json.dumps(document), "b.json")
    ok, said = csbschema.validate_data(path)
    assert ok, said
    log = read_log(path, PLAIN)
    same(log)
    assert log.reference == "transducer"
    node["verticalReferenceOfDepth"] = "Waterline"
    assert read_log(write(tmp_path, json.dumps(document), "b.json"), PLAIN).reference == "surface"


def test_b12_csv_with_its_own_column_names_is_read(tmp_path):
    same(
        read_log(
            write(
                tmp_path,
                "LON,LAT,DEPTH (m),TIME\n"
                + "".join(f"{a},{b},{c},2024-05-01T10:00:00.000Z\n" for a, b, c in ROWS),
            ),
            PLAIN,
        )
    )


def test_vector_files_give_points_with_a_depth_and_points_in_space(tmp_path):
    gpd = pytest.importorskip("geopandas")
    lon, lat, depth = np.array(ROWS).T
    frame = gpd.GeoDataFrame({"depth_m": depth}, geometry=gpd.points_from_xy(lon, lat), crs=4326).to_crs(
        32632
    )
    frame.to_file(tmp_path / "s.gpkg")
    assert_allclose(read_log(tmp_path / "s.gpkg", PLAIN).depth, depth)
    space = gpd.GeoDataFrame({"n": [1, 2, 3]}, geometry=gpd.points_from_xy(lon, lat, -depth), crs=4326)
    space.to_file(tmp_path / "z.gpkg")
    got = read_log(tmp_path / "z.gpkg", PLAIN)
    assert_allclose(np.c_[got.lon, got.lat, got.depth], ROWS, atol=1e-7)


def test_a_log_of_depths_takes_positions_from_the_other_log_by_time(tmp_path):
    depths = write(
        tmp_path,
        "time;depth_m\n2024-05-01 10:00:01;9\n2024-05-01 10:00:02;10\n200\n2024-05-01 10:05:00;11\n",
        "d.csv",
    )
    fixes = write(
        tmp_path, "time;lon;lat\n2024-05-01 10:00:00;5;60\n2024-05-01 10:00:04;5.004;60.004\n", "p.csv"
    )
    (log,) = read_logs([depths, fixes], PLAIN)
    assert_allclose(log.lon[:2], [5.001, 5.002])
    assert np.isnan(log.lon[2])
    assert tabulate([log])[0].tally() == {"kept": 2, "no fix": 1}
    with pytest.raises(InputError, match="without positions"):
        read_logs([depths], PLAIN)


def test_positions_at_zero_zero_are_set_aside(tmp_path):
    log = read_log(write(tmp_path, "lon,lat,depth_m\n5.1,60.2,10\n0,0,11\n5.1001,60.2,10\n"), PLAIN)
    assert tabulate([log])[0].tally() == {"kept": 2, "position": 1}


def test_areas_too_far_apart_for_one_grid_are_refused(tmp_path):
    log = read_log(write(tmp_path, "lon,lat,depth_m\n5,60,10\n5,60,10\n40,60,11\n40,60,11\n"), PLAIN)
    with pytest.raises(InputError, match="too far for one grid"):
        tabulate([log])


@pytest.mark.parametrize(
    ("lon", "lat", "code"),
    [
        (5, 60, 32631),
        (-122, 36.6, 32610),
        (179.9, -18, 32760),
        (-180, 10, 32601),
        (0, 85, 32661),
        (0, -85, 32761),
    ],
)
def test_the_zone_is_the_one_the_place_lies_in(lon, lat, code):
    assert zone_crs(lon, lat) == f"EPSG:{code}"


@pytest.mark.parametrize("content", [b"", b"\n\n", b"hello world", bytes(range(256)) * 40, b"\x00" * 5000])
def test_what_is_no_log_is_refused_in_one_line(tmp_path, content):
    with pytest.raises((UnreadableError, AmbiguousError)) as caught:
        read_log(write(tmp_path, content, "x.log"), PLAIN)
    assert "\n" not in str(caught.value)


def test_a_line_without_an_end_costs_no_memory(tmp_path):
    path = write(tmp_path, b"x" * (40 << 20) + b"\nlon,lat\n")
    assert sum(len(c) for c in chunks(path)) < 1 << 17


def test_folders_are_walked_and_missing_paths_named(tmp_path):
    for name in ("b.csv", "a.nmea", "c.jpg", ".hidden.csv"):
        write(tmp_path, "x", name)
    assert [p.name for p in list_logs([tmp_path])] == ["a.nmea", "b.csv"]
    with pytest.raises(MissingInputError, match="nowhere"):
        list_logs([tmp_path / "nowhere"])


def test_the_ship_tracks_have_every_sounding(realdata):
    log = read_log(realdata / "ship_tracks.csv.xz", PLAIN)
    assert log.depth.size == 82_970
    assert -116 < log.lon.min() < log.lon.max() < -104
    assert log.depth.min() > 0


def test_the_sept_iles_logger_is_paired_by_time(realdata):
    options = ReadOptions(TextOptions(depth_unit=1.0))
    (log,) = read_logs([realdata / "sept_iles_sonar.csv", realdata / "sept_iles_gnss.csv"], options)
    assert np.isfinite(log.lon).sum() >= 3590
    assert log.counts["bad lines"] == 1
