"""Features as geographic tables: lines and outlines with true bearings, one system for one sheet."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from reefscan.base.doubts import DOUBTS
from reefscan.base.model import Sheet
from reefscan.join.features import Lines
from reefscan.join.merge import Features
from reefscan.pipeline.feature_tables import LAYERS, feature_tables

SHEET = Sheet("EPSG:32631", 2.0)
EAST, NORTH = 500_000.0, 5_000_000.0
FACTS = {
    "feature_id": "LF-1", "length_m": 101.26, "height_m": 2.3456, "height_typical_m": 2.0, "width_m": 6.04, "depth_min_m": 8.0,
    "depth_max_m": 9.5, "sinuosity": 1.1, **{doubt.column: 0.0 for doubt in DOUBTS}, "axis": 90.0, "facing": 359.5, "turn": 1.0,
    "branches": 0, "stations": 3,
}  # fmt: skip


def feature(kind: str = "ledge", *paths: list[tuple[float, float]], **facts: object) -> Features:
    """One feature, or as many of one path each as there are names."""
    paths = paths or ([(0.0, 0.0), (50.0, 0.0), (100.0, 3.0)],)
    every = {**FACTS, **facts}
    count = np.size(every["feature_id"])
    table = pd.DataFrame({name: np.resize(value, count) for name, value in every.items()})
    start = np.cumsum([0, *map(len, paths)])
    first = np.linspace(0, len(paths), count + 1).astype(int)
    return Features(
        kind, Lines(np.arange(start[-1]), start, first), np.concatenate(paths) + (EAST, NORTH), table
    )


def test_every_kind_has_its_layer_and_an_empty_one_has_the_columns_and_the_system_of_a_full_one():
    tables = feature_tables([(SHEET, [feature()])])
    assert set(tables) == set(LAYERS.values()) == {"troughs", "ledges", "rises"}
    assert [len(tables[name]) for name in ("troughs", "ledges", "rises")] == [0, 1, 0]
    assert set(tables["troughs"].columns) == set(tables["ledges"].columns)
    assert all(table.crs.to_epsg() == 32631 for table in tables.values())


def test_bearings_are_turned_to_true_north_and_numbers_are_rounded():
    (row,) = feature_tables([(SHEET, [feature()])])["ledges"].to_dict("records")
    assert (row["axis_deg"], row["facing_deg"]) == (91.0, 0.5)
    assert (row["length_m"], row["height_m"]) == (101.3, 2.35)
    assert not {"axis", "facing", "turn"} & set(row)


def test_a_line_is_drawn_through_its_stations_with_its_branches():
    main, branch = [(0.0, 0.0), (50.0, 0.0)], [(50.0, 0.0), (50.0, 40.0)]
    (shape,) = feature_tables([(SHEET, [feature("trough", main, branch)])])["troughs"].geometry
    assert shape.geom_type == "MultiLineString"
    assert shape.length == pytest.approx(90.0)


@pytest.mark.parametrize(("width_m", "length_m"), [(1.0, 2.0), (6.0, 6.0), (40.0, 10.0)])
def test_one_station_alone_is_a_dash_along_its_axis_as_long_as_it_is_wide(width_m: float, length_m: float):
    (shape,) = feature_tables([(SHEET, [feature("ledge", [(7.0, 8.0)], axis=30.0, width_m=width_m)])])[
        "ledges"
    ].geometry
    (west, south), (east, north) = shape.geoms[0].coords
    assert shape.length == pytest.approx(length_m)
    assert np.degrees(np.arctan2(east - west, north - south)) == pytest.approx(30.0)
    assert_allclose(shape.centroid.coords[0], (EAST + 7.0, NORTH + 8.0))


def test_a_rise_is_the_outline_of_its_foot():
    (shape,) = feature_tables([(SHEET, [feature("rise", [(0.0, 0.0)], width_m=20.0)])])["rises"].geometry
    west, south, east, north = shape.bounds
    assert (east - west, north - south) == pytest.approx((20.0, 20.0))
    assert shape.contains(shape.centroid)


def test_several_sheets_come_together_in_degrees():
    other = Sheet("EPSG:32632", 2.0)
    ledges = feature_tables([(SHEET, [feature()]), (other, [feature(feature_id="LF-2")])])["ledges"]
    assert ledges.crs.to_epsg() == 4326
    assert ledges["feature_id"].tolist() == ["LF-1", "LF-2"]
    # both zones put an easting of 500 km on their own central meridian
    assert_allclose([shape.bounds[0] for shape in ledges.geometry], [3.0, 9.0], atol=1e-6)


def test_features_stand_in_the_order_of_their_names_each_with_its_line():
    names = ["LF-3", "LF-1", "LF-2"]
    paths = [[(1000.0 * int(name[-1]), 0.0), (1000.0 * int(name[-1]), 50.0)] for name in names]
    paths[1] = paths[1][:1]
    ledges = feature_tables([(SHEET, [feature("ledge", *paths, feature_id=names)])])["ledges"]
    assert ledges["feature_id"].tolist() == sorted(names)
    assert_allclose([shape.centroid.x - EAST for shape in ledges.geometry], [1000.0, 2000.0, 3000.0])
    assert_allclose(ledges.length, [6.04, 50.0, 50.0])
