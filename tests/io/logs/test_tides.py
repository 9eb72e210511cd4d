"""Tide files: what they are is worked out, what they leave open is asked."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from reefscan.base.errors import AmbiguousError, InputError, UnreadableError
from reefscan.io.logs.tides import read_tide
from reefscan.io.logs.times import parse_zone
from reefscan.survey.harmonics import HarmonicTide


def write(tmp_path, text):
    path = tmp_path / "tide.csv"
    path.write_text(text, encoding="utf-8")
    return path


HIGH_LOW = "date,time,height (ft)\n2024-05-01,03:27,2.2\n2024-05-01,11:41,11.4\n2024-05-01,17:50,1.9\n"


def test_a_unit_that_is_said_against_the_header_is_refused(tmp_path):
    path = write(
        tmp_path, "time_utc,height_ft\n2024-01-01T00:00Z,1\n2024-01-01T06:00Z,9\n2024-01-01T12:00Z,1\n"
    )
    with pytest.raises(InputError, match="column 'height_ft' states its unit and --tide-unit says another"):
        read_tide(path, unit=1.0)
    assert read_tide(path, unit=0.3048).height.max() == pytest.approx(9 * 0.3048)


def test_high_and_low_waters_are_told_from_a_series_and_follow_the_cosine(tmp_path):
    table = read_tide(write(tmp_path, HIGH_LOW), zone=parse_zone("-4"))
    assert table.turning
    when = np.array([np.datetime64("2024-05-01T11:00").astype("datetime64[s]").astype(float)])  # 07:00 local
    assert_allclose(
        table.at(when) / 0.3048, 5.8131, atol=2e-4
    )  # worked example of the Canadian tide tables: 5.8 ft


def test_a_height_is_known_by_the_short_names_that_tables_give_it(tmp_path):
    for head in ("ht_ft", "h_ft", "Ht (ft)"):
        table = read_tide(write(tmp_path, HIGH_LOW.replace("height (ft)", head)), zone=parse_zone("-4"))
        assert table.height.max() == pytest.approx(11.4 * 0.3048)


def test_a_flag_overrides_what_the_table_looks_like(tmp_path):
    assert not read_tide(write(tmp_path, HIGH_LOW), zone=parse_zone("UTC"), kind="series").turning


def test_times_of_which_some_carry_a_zone_and_some_do_not_are_refused(tmp_path):
    """The zone of the first row was taken for all: three hours, a quarter of the tide, without a word."""
    rows = "time,height_m\n2027-02-11T13:02-03:00,0.74\n2027-02-11T19:14,3.31\n2027-02-12T01:31-03:00,0.69\n"
    with pytest.raises(InputError, match="'2027-02-11T19:14' carries no zone and '2027-02-11T13:02-03:00' does"):  # fmt: skip
        read_tide(write(tmp_path, rows), zone=parse_zone("UTC"))


def test_times_without_a_zone_and_heights_without_a_unit_are_asked_for(tmp_path):
    with pytest.raises(AmbiguousError, match="--tide-zone"):
        read_tide(write(tmp_path, HIGH_LOW))
    with pytest.raises(AmbiguousError, match="--tide-unit"):
        read_tide(write(tmp_path, HIGH_LOW.replace(" (ft)", "")), zone=parse_zone("UTC"))


def test_a_wrong_unit_shows_in_a_range_that_no_sea_has(tmp_path):
    with pytest.raises(InputError, match="more than any tide"):
        read_tide(write(tmp_path, HIGH_LOW.replace("11.4", "114")), zone=parse_zone("UTC"))


def test_harmonic_constants_are_read_with_mean_and_unit(tmp_path):
    got = read_tide(
        write(
            tmp_path,
            "constituent;amplitude (ft);phase_GMT\nM2;1.616;181.1\nK1;1.199;219.8\nZ0;2.8281;\nS4;0;0\n",
        )
    )
    assert isinstance(got, HarmonicTide)
    assert_allclose(
        [got.mean, got.amplitude["M2"], got.phase["K1"]], [2.8281 * 0.3048, 1.616 * 0.3048, 219.8]
    )
    assert "S4" not in got.amplitude


def test_phases_on_local_time_and_unknown_names_are_refused(tmp_path):
    with pytest.raises(AmbiguousError, match="Greenwich"):
        read_tide(write(tmp_path, "name,amplitude_m,phase local\nM2,1,2\n"))
    with pytest.raises(InputError, match="QQ7"):
        read_tide(write(tmp_path, "name,amplitude_m,phase\nQQ7,1,2\n"))


def test_what_is_no_tide_is_refused(tmp_path):
    for text in ("", "a,b\n1,2\n", "time,height_m\n2024-05-01T00:00Z,1\n"):
        with pytest.raises((UnreadableError, InputError)):
            read_tide(write(tmp_path, text))


def test_an_hour_left_out_of_real_hourly_levels_is_found_within_six_centimetres(realdata):
    table = read_tide(realdata / "sea_level_hourly.csv", unit=1.0)
    assert not table.turning
    t, h = table.time[:4001:2], table.height[:4001:2]
    from reefscan.survey.tide import make_table

    miss = make_table(t, h, gap_h=2.5, kind="series").at(table.time[1:4000:2]) - table.height[1:4000:2]
    assert np.nanstd(miss) < 0.06


@pytest.mark.parametrize(
    "text", ["", "# nothing\n", "time,height_m\n", "time,height_m\n2024-05-01T04:00:00\n"]
)
def test_a_file_without_a_whole_row_is_refused_as_no_table(tmp_path, text):
    with pytest.raises(UnreadableError, match="no table"):
        read_tide(write(tmp_path, text))
