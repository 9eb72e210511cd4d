"""The tide at any moment against printed tables and published predictions."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from numpy.testing import assert_allclose

from reefscan.base.errors import InputError
from reefscan.survey.harmonics import HarmonicTide, node_and_argument, orbit
from reefscan.survey.tide import cosine, is_high_low, make_table

FOOT = 0.3048


def seconds(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


def test_the_height_between_low_and_high_water_is_the_worked_example_of_the_canadian_tide_tables():
    # LW 03:27 2.2 ft, HW 11:41 11.4 ft; at 07:00 the table gives 5.8 ft, the cosine 5.8131.
    t = np.array([seconds("2024-05-01T03:27"), seconds("2024-05-01T11:41")])
    got = make_table(t, np.array([2.2, 11.4]) * FOOT, kind="high-low").at(
        np.array([seconds("2024-05-01T07:00")])
    )
    assert_allclose(got / FOOT, 5.8131, atol=2e-4)


def test_sixteen_steps_from_low_water_give_the_columns_of_the_height_table():
    # NOAA table 3, range 10 ft: k sixtieths of the period from low water, rounded to a tenth.
    printed = [0.0, 0.0, 0.1, 0.2, 0.4, 0.7, 1.0, 1.3, 1.7, 2.1, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0]
    when = np.arange(16) / 30.0
    got = cosine(np.array([0.0, 1.0]), np.array([0.0, 10.0]), when)
    assert_allclose(np.round(got, 1), printed, atol=0.051)


# NOAA CO-OPS station 9413450 Monterey: name, amplitude (ft, MLLW), Greenwich phase; 2016 f and V0+u at 2016-01-01.
MONTEREY = """2N2 .044 123.9 1.0367 249.92|2Q1 .016 199.4 .8135 243.77|J1 .071 233.4 .8343 166.42|K1 1.199 219.8 .8864 7.56
|K2 .121 172.0 .7533 195.61|L2 .023 220.2 .9704 182.09|LDA2 .011 180.7 1.0367 19.21|M1 .038 225.9 1.4048 211.44
|M2 1.616 181.1 1.0367 210.46|MU2 .041 114.6 1.0367 61.44|N2 .368 154.6 1.0367 50.19|NU2 .072 161.1 1.0367 221.71
|O1 .753 203.4 .8135 204.31|OO1 .036 250.2 .5 348.0|P1 .374 215.6 1 349.9|Q1 .134 195.1 .8135 44.04
|R2 .003 180.2 1 176.88|RHO1 .026 196.6 .8135 215.56|S1 .033 319.1 1 180|S2 .428 180.2 1 0|SA .157 206.0 1 280.1
|SSA .09 283.9 1 200.19|T2 .022 167.8 1 3.12"""
ROWS = [r.split() for r in MONTEREY.replace("\n", "").split("|")]
PUBLISHED = [  # PDT = UTC-7, ft above MLLW
    ("2016-07-13T01:18", 1.44), ("2016-07-13T07:03", 3.07), ("2016-07-13T11:58", 2.01), ("2016-07-13T18:50", 5.01),
    ("2016-07-14T02:10", 1.01), ("2016-07-14T08:19", 3.14), ("2016-07-14T12:48", 2.26), ("2016-07-14T19:29", 5.20),
]  # fmt: skip


def test_harmonic_constants_reproduce_the_published_high_and_low_waters_of_monterey():
    tide = HarmonicTide({r[0]: float(r[1]) for r in ROWS}, {r[0]: float(r[2]) for r in ROWS}, 2.8281)
    minute = np.arange(seconds("2016-07-13T00:00"), seconds("2016-07-15T12:00"), 60.0)
    height = tide.at(minute)
    turn = np.flatnonzero(np.diff(np.sign(np.diff(height)))) + 1
    for text, feet in PUBLISHED:
        when = seconds(text) + 7 * 3600
        near = turn[np.abs(minute[turn] - when).argmin()]
        assert (
            abs(minute[near] - when) <= 180
        )  # published to the minute; f and u here are of the day, not mid-year
        assert_allclose(height[near], feet, atol=0.04)


@pytest.mark.parametrize("row", [r for r in ROWS if r[0] != "M1"], ids=lambda r: r[0])
def test_node_factors_and_arguments_are_noaas_for_2016(row):
    # NOAA holds f and u fixed at mid-year: compare there, with V carried on by the constituent's own speed.
    start, middle = seconds("2016-01-01T00:00"), seconds("2016-07-02T00:00")
    f, angle = node_and_argument(row[0], np.array([middle]))
    assert_allclose(f, float(row[3]), atol=0.0015)
    a, b = (node_and_argument(row[0], np.array([middle + s]))[1][0] for s in (-1800.0, 1800.0))
    speed = SPEEDS[row[0]]
    assert_allclose((b - a) % 360, speed % 360, atol=2e-3)
    carried = float(row[4]) + speed * (middle - start) / 3600
    assert abs((angle[0] - carried + 180) % 360 - 180) < 0.12


SPEEDS = {  # degrees an hour, NOAA CO-OPS
    "M2": 28.9841042, "S2": 30.0, "N2": 28.4397295, "K1": 15.0410686, "O1": 13.9430356, "NU2": 28.5125831,
    "MU2": 27.9682084, "2N2": 27.8953548, "OO1": 16.1391017, "LDA2": 29.4556253, "S1": 15.0, "J1": 15.5854433,
    "SSA": 0.0821373, "SA": 0.0410686, "RHO1": 13.4715145, "Q1": 13.3986609, "T2": 29.9589333, "R2": 30.0410667,
    "2Q1": 12.8542862, "P1": 14.9589314, "L2": 29.5284789, "K2": 30.0821373,
}  # fmt: skip


def test_orbit_and_node_angles_are_those_of_the_published_spot_check():
    # Meeus' polynomials and Schureman's equations at 2019-10-04T10:15:40.010Z, as published with an open tide library.
    o = orbit(np.array([seconds("2019-10-04T10:15:40.010")]))
    want = {"s": 258.23871, "h": 192.82640, "p": 167.23260, "p1": 283.27698, "incline": 22.81130, "xi": 11.98995,
            "nu": 13.02857, "nu1": 8.88225, "nu2": 2 * 8.81625}  # fmt: skip
    for name, value in want.items():
        assert_allclose(getattr(o, name), value, atol=3e-4, err_msg=name)


HONOLULU = """M2 .171 59.4|S2 .056 54.7|N2 .033 48.8|K1 .149 226.8|M4 .001 195.3|O1 .081 215.9|M6 .001 229.7|MK3 .001 342.6
|MN4 .001 92.9|NU2 .007 56|MU2 .004 7.8|2N2 .004 39.9|OO1 .005 251.7|LAM2 .001 76.2|S1 .002 210|M1 .005 232.5|J1 .01 238.3
|MM .005 43.4|SA .048 177.7|MF .006 44.3|RHO .002 195.4|Q1 .014 209.6|T2 .004 43.6|R2 .001 357.3|2Q1 .001 231|P1 .045 224.9
|2SM2 .001 199.8|M3 .001 164.1|L2 .004 49.3|K2 .016 45.7|MS4 .001 104"""


def test_harmonic_constants_reproduce_noaas_hourly_predictions_of_honolulu():
    rows = [r.split() for r in HONOLULU.replace("\n", "").split("|")]
    tide = HarmonicTide({r[0]: float(r[1]) for r in rows}, {r[0]: float(r[2]) for r in rows}, 0.247)
    want = np.array([0.761, 0.768, 0.698, 0.570, 0.413, 0.261, 0.140, 0.072, 0.063, 0.103])
    got = tide.at(seconds("2023-08-29T00:00") + 3600.0 * np.arange(10))
    assert_allclose(got, want, atol=0.006)
    assert_allclose(got - got.mean(), want - want.mean(), atol=0.003)


def test_a_constituent_that_is_not_known_is_refused_by_name():
    with pytest.raises(InputError, match="XYZ9"):
        node_and_argument("XYZ9", np.zeros(1))


def test_many_times_give_what_each_time_alone_gives():
    tide = HarmonicTide({"M2": 1.0, "K1": 0.4, "M8": 0.05}, {"M2": 20.0, "K1": 200.0, "M8": 0.0}, 1.0)
    when = seconds("2024-02-28T23:00") + np.linspace(0, 20_000, 5000)
    assert_allclose(tide.at(when), tide._exact(when), atol=1e-6)


def test_a_table_with_every_row_a_turning_point_is_high_and_low_water_and_else_a_series():
    t = 6.2 * 3600 * np.arange(6)
    assert make_table(t, np.array([0.2, 2.0, 0.4, 1.8, 0.3, 2.1])).turning
    assert not make_table(t[:6] / 6, np.array([0.2, 0.6, 1.4, 1.8, 1.5, 1.1])).turning
    assert not is_high_low(np.array([1.0, 2.0, 3.0]))


def test_an_hourly_series_is_followed_within_a_centimetre():
    tide = HarmonicTide({"M2": 1.5, "K1": 0.3}, {"M2": 10.0, "K1": 100.0}, 2.0)
    t = seconds("2024-03-01T00:00") + 3600.0 * np.arange(72)
    table = make_table(t, tide.at(t))
    between = t[3] + 600.0 * np.arange(300)
    assert_allclose(table.at(between), tide.at(between), atol=0.01)


def test_nothing_is_extrapolated_and_gaps_are_not_bridged():
    t = 3600.0 * np.r_[0:10, 20:30]
    table = make_table(t, np.sin(t / 7000.0), kind="series")
    got = table.at(np.array([-1.0, 0.0, 15 * 3600.0, 29 * 3600.0, 29 * 3600.0 + 1, np.nan]))
    assert np.isnan(got[[0, 2, 4, 5]]).all()
    assert np.isfinite(got[[1, 3]]).all()


def test_two_heights_for_one_time_are_refused():
    start = datetime(2024, 10, 27, tzinfo=UTC)
    t = np.array([(start + timedelta(hours=h)).timestamp() for h in (0, 1, 1, 2)])
    with pytest.raises(InputError, match="two heights"):
        make_table(t, np.array([1.0, 2.0, 2.5, 3.0]))
