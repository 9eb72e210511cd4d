"""One table of columns: what is measured, joined, doubted, judged, shown and written are rows of it."""

from __future__ import annotations

import re

import numpy as np
import pytest
from surfaces import scan_cells

from reefscan.base.columns import BY_NAME, CANDIDATE, DECIMALS, MEASURED, OUTSIDE, TEXT, WHOLE
from reefscan.base.doubts import DOUBTS
from reefscan.base.recipe import Recipe
from reefscan.base.terms import DEFAULT_TERMS
from reefscan.find.candidates import COLUMNS as MEASURED_OF_A_STATION
from reefscan.io.out.geojson import PROPERTIES
from reefscan.io.out.schemas import load_schema


def test_names_stand_once_and_every_row_says_what_it_is():
    names = [column.name for column in CANDIDATE]
    assert len(names) == len(set(names)) == len(BY_NAME)
    for column in CANDIDATE:
        assert len(column.about) > 10 or column.name == "kind", column.name
        assert (column.decimals is None) == (column.kind != "number"), column.name


@pytest.mark.parametrize("unit", ["m", "deg"])
def test_a_column_in_metres_or_degrees_says_so(unit):
    said = {"m": r"\bm\b", "deg": "degrees"}[unit]
    for column in CANDIDATE:
        if column.name.endswith("_" + unit):
            assert re.search(said, column.about), column.name


def test_a_station_is_measured_with_every_column_that_is_measured():
    assert set(MEASURED) <= set(MEASURED_OF_A_STATION)


def test_every_doubt_and_every_default_term_has_its_column_and_its_note():
    terms = Recipe.default().score.terms
    for doubt in DOUBTS:
        assert BY_NAME[doubt.column].bounds == (0, 1)
        assert doubt.column in {term.column for term in terms.values()}
    for name, term in terms.items():
        assert term.column in BY_NAME
        assert DEFAULT_TERMS[name].note


def test_the_schema_has_the_columns_with_their_types_and_bounds():
    site = load_schema("candidates")["properties"]["features"]["items"]["properties"]["properties"]
    assert set(site["required"]) == set(site["properties"]) == set(PROPERTIES)
    for name in DECIMALS:
        if name not in ("lon", "lat"):
            told = site["properties"][name]
            low, high = BY_NAME[name].bounds or (None, None)
            assert told["type"] == ["number", "null"]
            assert (told.get("minimum"), told.get("maximum")) == (low, high), name
    assert set(site["properties"]["kind"]["enum"]) == {"trough", "ledge", "rise", "man-made"}


def test_a_run_has_the_columns_in_their_order_within_their_bounds():
    y, x = np.mgrid[0:240, 0:240] * 2.0
    z = -10.0 - 2.5 * np.clip(2 - np.abs(x - 120) / 6, 0, 1) - 2.0 * (x > 300 + 0.2 * y)
    z += 3.0 * np.clip(1 - np.hypot(x - 220, y - 200) / 9.0, 0, None)
    table = scan_cells(z, cell_m=2.0).candidates
    assert set(table["kind"]) == {"trough", "ledge", "rise"}
    stored = [name for name in table.columns if name in BY_NAME]
    assert stored == [column.name for column in CANDIDATE if column.name in stored]
    assert set(BY_NAME) - set(stored) == set(OUTSIDE), (
        "what files from outside would tell, and none was given"
    )
    for column in CANDIDATE:
        if column.outside:
            continue
        values = table[column.name]
        if column.name in TEXT:
            assert all(isinstance(value, str) for value in values.dropna()), column.name
            continue
        assert (values.dtype == np.int64) == (column.name in WHOLE), column.name
        low, high = column.bounds or (None, None)
        known = values.dropna()
        assert low is None or (known >= low).all(), column.name
        assert high is None or (known <= high).all(), column.name
