"""The night's files: each kind of tide, the datum that must be stated, zones that must be."""

from __future__ import annotations

import datetime as dt
import json
from datetime import UTC
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from reefscan.base.errors import AmbiguousError, InputError, MissingInputError, RecipeError, UnreadableError
from reefscan.io.nightbooks import load_book, load_off, load_tide, zone_of_table
from reefscan.plan.books import Boat, Forecast, Gear, Rules
from reefscan.surroundings.shapes import Box
from reefscan.survey.harmonics import HarmonicTide

NIGHT = Path(__file__).parents[2] / "data_samples" / "night"
EVENING = dt.datetime(2027, 2, 11, 22, tzinfo=UTC).timestamp()


def test_the_sample_books_are_read() -> None:
    assert len(load_book(NIGHT / "gear.toml", Gear).each) == 6
    assert load_book(NIGHT / "boat.toml", Boat).limits.wind_kn == 15
    assert len(load_book(NIGHT / "forecast.toml", Forecast).stream) == 2
    assert load_book(NIGHT / "rules.toml", Rules).minimum_size_m == pytest.approx(0.087)


def test_a_datum_that_is_not_stated_is_asked_for() -> None:
    with pytest.raises(AmbiguousError, match=r"tides\.csv: .* say --tide-datum-offset"):
        load_tide(NIGHT / "tides.csv", offset_m=None, zone=None, unit=None)


def test_a_series_and_a_table_of_turns_tell_the_same_tide(tmp_path: Path) -> None:
    """A series of ten minutes worked out from the sample's turns by the cosine; between its rows the curve is within a millimetre."""
    turns = load_tide(NIGHT / "tides.csv", offset_m=0.4, zone=None, unit=None)
    when = np.arange(EVENING, EVENING + 6 * 3600, 600)
    rows = [f"{dt.datetime.fromtimestamp(t, UTC):%Y-%m-%dT%H:%M:%SZ},{h:.5f}" for t, h in zip(when, turns.at(when) - 0.4, strict=True)]  # fmt: skip
    (tmp_path / "series.csv").write_text("\n".join(["time_utc,height_m", *rows]))
    series = load_tide(tmp_path / "series.csv", offset_m=0.4, zone=None, unit=None)
    assert series.at(when[:-1] + 300) == pytest.approx(turns.at(when[:-1] + 300), abs=1e-3)


def test_constants_are_taken_and_have_no_end(tmp_path: Path) -> None:
    (tmp_path / "constants.csv").write_text("constituent,amplitude_m,phase\nM2,1.0,30\nS2,0.3,60\nZ0,2.0,0\n")
    tide = load_tide(tmp_path / "constants.csv", offset_m=0.0, zone=None, unit=None)
    assert isinstance(tide.source, HarmonicTide)
    low, high = tide.span(EVENING, EVENING + 13 * 3600)
    # two constituents about a mean of 2 m: never beyond 1.3 m (and nodes of 4 %) from it, and more than 0.6 m both ways in 13 h
    assert 0.6 < low < 1.4 and 2.6 < high < 3.4
    with pytest.raises(InputError, match="high and low water"):
        (tmp_path / "second.toml").write_text("high_min = 10\n")
        load_tide(tmp_path / "constants.csv", offset_m=0.0, zone=None, unit=None, secondary=tmp_path / "second.toml")  # fmt: skip


def test_a_secondary_station_is_read_from_its_own_file(tmp_path: Path) -> None:
    (tmp_path / "second.toml").write_text(
        'high_min = 30\nlow_min = 20\nhigh_add_m = "1ft"\nlow_factor = 0.5\n'
    )
    plain = load_tide(NIGHT / "tides.csv", offset_m=0.0, zone=None, unit=None)
    there = load_tide(
        NIGHT / "tides.csv", offset_m=0.0, zone=None, unit=None, secondary=tmp_path / "second.toml"
    )
    # the sample's high of 19:14 is 3.31 m, its low of 01:31 0.69 m
    high = dt.datetime(2027, 2, 11, 19, 14, tzinfo=UTC).timestamp()
    low = dt.datetime(2027, 2, 12, 1, 31, tzinfo=UTC).timestamp()
    assert plain.height(high) == pytest.approx(3.31) and there.height(high + 1800) == pytest.approx(
        3.31 + 0.3048
    )
    assert there.height(low + 1200) == pytest.approx(0.345)
    (tmp_path / "second.toml").write_text("high_minutes = 30\n")
    with pytest.raises(RecipeError, match="did you mean 'high_min'"):
        load_tide(NIGHT / "tides.csv", offset_m=0.0, zone=None, unit=None, secondary=tmp_path / "second.toml")


@pytest.mark.parametrize(
    ("zone", "day", "taken"),
    [
        ("Atlantic/Stanley", dt.date(2027, 2, 11), True),  # no summer time
        ("America/Halifax", dt.date(2027, 1, 11), True),
        ("America/Halifax", dt.date(2027, 7, 11), False),
        ("America/Halifax", dt.date(2025, 11, 1), False),  # the clocks change that night
        ("America/Halifax", dt.date(2025, 3, 8), False),
    ],
)
def test_bare_times_are_of_the_nights_zone_where_no_summer_time_makes_it_doubtful(
    zone: str, day: dt.date, taken: bool
) -> None:
    found = zone_of_table(None, ZoneInfo(zone), day)
    assert found == (ZoneInfo(zone) if taken else None)
    assert zone_of_table(UTC, ZoneInfo(zone), day) is UTC


def test_dates_that_read_two_ways_are_refused_with_a_remedy_that_this_command_has(tmp_path: Path) -> None:
    table = tmp_path / "tides.csv"
    table.write_text(
        "date,time,height_m\n11/02/2027,12:02,0.74\n11/02/2027,18:14,3.31\n12/02/2027,00:31,0.69\n"
    )
    with pytest.raises(
        AmbiguousError, match=r"tides\.csv: dates such as .* or month first; write them as"
    ) as told:
        load_tide(table, offset_m=0.0, zone=UTC, unit=None)
    assert "--dates" not in str(told.value)


def test_what_is_no_book_is_refused(tmp_path: Path) -> None:
    with pytest.raises(MissingInputError):
        load_book(tmp_path / "gone.toml", Boat)
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(UnreadableError):
        load_book(tmp_path / "bytes.toml", Boat)
    with pytest.raises(UnreadableError):
        load_book(tmp_path, Boat)


def test_the_plan_is_told_in_which_zone_the_table_was_read(tmp_path: Path) -> None:
    (own,) = load_tide(NIGHT / "tides.csv", offset_m=0.0, zone=None, unit=None).taken
    assert own == "Its times carry their own zone."
    (own,) = load_tide(NIGHT / "tides.csv", offset_m=0.0, zone=UTC, unit=None).taken
    assert own == "Its times carry their own zone; --tide-zone is not used."
    bare = tmp_path / "bare.csv"
    bare.write_text("time,height_m\n2027-02-11 12:02,0.74\n2027-02-11 18:14,3.31\n2027-02-12 00:31,0.69\n")
    (said,) = load_tide(
        bare, offset_m=0.0, zone=ZoneInfo("Atlantic/Azores"), unit=None, zone_is="a guess"
    ).taken
    assert said == "Its times carry no zone and were read in Atlantic/Azores, a guess."
    (tmp_path / "second.toml").write_text('name = "Quay"\nhigh_min = 30\n')
    _, station = load_tide(NIGHT / "tides.csv", offset_m=0.0, zone=None, unit=None, secondary=tmp_path / "second.toml").taken  # fmt: skip
    assert "secondary station Quay" in station
    constants = tmp_path / "constants.csv"
    constants.write_text("constituent,amplitude_m,phase_GMT\nM2,1.2,60\nZ0,2.0,0\n")
    assert load_tide(constants, offset_m=0.0, zone=None, unit=None).taken == ("Its phases are on Greenwich.",)


def test_ground_to_keep_off_is_read_from_points_lines_and_areas_near_the_grid(tmp_path: Path) -> None:
    box = Box(-1.0, 49.0, 1.0, 51.0)
    shapes = [
        ("Mole", {"type": "LineString", "coordinates": [[0.0, 50.0], [0.1, 50.0]]}),
        ("Rock", {"type": "Point", "coordinates": [0.2, 50.2]}),
        ("", {"type": "MultiPolygon", "coordinates": [[[[0.3, 50], [0.4, 50], [0.4, 50.1], [0.3, 50]]], [[[0.5, 50], [0.6, 50], [0.6, 50.1], [0.5, 50]]]]}),
        ("Far", {"type": "Point", "coordinates": [30.0, 10.0]}),
    ]  # fmt: skip
    path = tmp_path / "off.geojson"
    features = [
        {"type": "Feature", "properties": {"name": name}, "geometry": shape} for name, shape in shapes
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    found = load_off([path], box)
    assert [found.called(k) for k in range(len(found))] == ["Mole", "Rock", *["an area of off.geojson"] * 2]  # fmt: skip
    charted = json.dumps({"type": "FeatureCollection", "features": features}).replace('"name"', '"OBJNAM"')
    path.write_text(charted)  # as S-57 calls it; KML says Name
    assert [load_off([path], box).called(k) for k in range(2)] == ["Mole", "Rock"]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features[3:]}))
    with pytest.raises(InputError, match="nothing in it lies near the grid; --avoid wants"):
        load_off([path], box)
    with pytest.raises(MissingInputError, match="--avoid wants a file of shapes"):
        load_off([tmp_path / "gone.gpkg"], box)
    (tmp_path / "no.gpkg").write_text("no shapes")
    with pytest.raises(UnreadableError, match="--avoid wants a file of shapes"):
        load_off([tmp_path / "no.gpkg"], box)
