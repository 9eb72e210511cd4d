"""Whatever is wrong with what was handed in: one line, no library's own words, no traceback, no internal error."""

from __future__ import annotations

import datetime
import json
import subprocess
import sys
from pathlib import Path

import h5py
import numpy as np
import pyarrow as pa
import pytest

from reefscan.base.errors import InputError, RecipeError, ReefscanError
from reefscan.base.recipe import load_recipe
from reefscan.base.units import parse_length
from reefscan.cli import run as command_line
from reefscan.io.areas import read_area
from reefscan.io.logs.soundings import ReadOptions, read_log
from reefscan.io.logs.times import to_seconds
from reefscan.survey.settings import load_settings

DIGITS = "1" * 5000


def numbered(number: object) -> str:
    """Ids that do not write out what is tried: some of it cannot be."""
    return next(_ids)


_ids = (str(k) for k in range(10_000))


def test_the_libraries_words_stay_off_the_screen(tmp_path: Path) -> None:
    """A damaged HDF5 file, for which that library prints a stack of its own."""
    for name in ("a.nc", "a.bag", "a.h5"):
        with h5py.File(tmp_path / name, "w") as file:
            file.create_dataset("z", data=np.zeros((60, 60)), chunks=(20, 20), compression="gzip")
        data = bytearray((tmp_path / name).read_bytes())
        for place in range(600, len(data), 37):
            data[place] ^= 0x5A
        (tmp_path / name).write_bytes(data)
    done = subprocess.run(
        [sys.executable, "-m", "reefscan", "look", str(tmp_path)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 1
    assert done.stderr.count("\n") == 1
    assert done.stderr.startswith("reefscan: ")


@pytest.mark.parametrize(
    "value",
    [
        [],
        {},
        [[1]],
        datetime.date(2024, 1, 1),
        datetime.time(1),
        None,
        10**400,
        -(10**5000),
        "1" * 9000,
        float("nan"),
    ],
    ids=numbered,
)
def test_a_length_that_is_none_is_refused_in_a_few_words(value: object) -> None:
    with pytest.raises(InputError) as caught:
        parse_length(value)  # type: ignore[arg-type]
    assert len(str(caught.value)) < 200


@pytest.mark.parametrize(
    "text",
    [
        "[find]\nrelief_radius_m = []",
        "[find]\nrelief_radius_m = {a = 1}",
        "[find]\nrelief_radius_m = 2024-01-01",
        "[find]\nrelief_radius_m = 07:00:00",
        f"[find]\nrelief_radius_m = {DIGITS}",
        f"[find]\nrelief_radius_m = 0x{DIGITS}",
        f"version = 0x{DIGITS}",
        f"{DIGITS} = 1",
        f"[{DIGITS}]",
        f"find = 'a{DIGITS}'",
        "a = " + "[" * 9000,
        "a = " + "{a=" * 9000,
        ".".join(["a"] * 3000) + " = 1",
        "find = 1",
        "[rank]\nspacing_m = 1e400",
        f"[score.terms.height]\nc = 0x{DIGITS}",
        "\x00",
    ],
    ids=numbered,
)
def test_a_recipe_of_any_text_is_refused_in_one_short_line(text: str) -> None:
    with pytest.raises(RecipeError) as caught:
        load_recipe(text, name="r.toml")
    assert len(str(caught.value)) < 700
    with pytest.raises(RecipeError):
        load_settings(text, where="s.toml")


@pytest.mark.parametrize(
    "times",
    [
        ["2024-01-01T00:00:00+02:00", "2024-01-01T00:00:01Z", "2024-01-01T00:00:01"],
        ["31.12.2024 10:00Z", "31.12.2024 10:00+01:00", "31.12.2024 10:00"],
        ["25/12/2024 10:00+02:00", "13/12/2024 10:00", "x"],
        ["12:00", "Jan 3 2024", DIGITS],
        ["", None, "0"],
        ["9999-12-31T00:00:00", "0001-01-01", "-5"],
    ],
    ids=numbered,
)
def test_mixed_dates_are_times_or_none(times: list[str | None]) -> None:
    assert to_seconds(pa.array(times, pa.string())).shape == (3,)


def test_times_with_and_without_a_zone_are_told_apart() -> None:
    told = to_seconds(
        pa.array(["2024-01-01T02:00:00+02:00", "2024-01-01T00:00:00Z", "2024-01-01T00:00:00"], pa.string())
    )
    assert set(told) == {1704067200.0}


def test_a_day_that_is_not_in_the_calendar_is_told(tmp_path: Path) -> None:
    days = ["2024-02-30T10:00:00", *(f"2024-02-28T10:00:{s:02d}" for s in range(50))]
    rows = [f"{day},3.{s:04d},50.0,10" for s, day in enumerate(days)]
    (tmp_path / "a.csv").write_text("\n".join(["time,lon,lat,depth_m", *rows]))
    log = read_log(tmp_path / "a.csv", ReadOptions())
    assert "1 of its times are none, such as '2024-02-30T10:00:00'" in log.notes


POINT = {"type": "Feature", "properties": {"depth": 5, "time": "2024-01-01T00:00:00Z"}, "geometry": {"type": "Point", "coordinates": [3, 50]}}  # fmt: skip
ODD = [
    "a", None, 5, [], {}, {"geometry": "x", "properties": "y"}, {"geometry": {"coordinates": 7}}, {"geometry": {"coordinates": ["a", {}]}},
    {"geometry": {"coordinates": [10**400, 50]}, "properties": {"depth": 10**400}}, {"properties": {"depth": [1]}, "geometry": []},
]  # fmt: skip


@pytest.mark.parametrize("odd", ODD, ids=numbered)
def test_one_odd_feature_costs_that_feature(tmp_path: Path, odd: object) -> None:
    document = {
        "type": "FeatureCollection",
        "properties": odd,
        "features": [POINT] * 20 + [odd] + [POINT] * 20,
    }
    (tmp_path / "a.geojson").write_text(json.dumps(document))
    log = read_log(tmp_path / "a.geojson", ReadOptions())
    assert (log.depth.size, log.counts["bad lines"]) == (40, 1)


@pytest.mark.parametrize(
    "text",
    [
        "[" * 100_000,
        '{"a":' * 100_000,
        f'{{"a": {DIGITS}}}',
        "{}",
        "[]",
        '{"features": 1}',
        '{"type": "FeatureCollection", "features": "abc"}',
        '{"type": "Feature"}',
    ],
    ids=numbered,
)
def test_json_of_any_form_is_refused_in_one_line(tmp_path: Path, text: str) -> None:
    (tmp_path / "a.geojson").write_text(text)
    for read in (lambda path: read_log(path, ReadOptions()), read_area):
        with pytest.raises(ReefscanError, match=r"a\.geojson"):
            read(tmp_path / "a.geojson")


def test_a_message_is_never_longer_than_a_few_lines(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    name = "n" * 200 + ".tif"
    assert command_line(["look", *([str(tmp_path / name)] * 3), "x" * 9000]) == 1
    told = capsys.readouterr().err
    assert told.count("\n") == 1
    assert len(told) < 520
