"""NMEA 0183 against sentences printed in public notes, checksums and all."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from reefscan.base.errors import UnreadableError
from reefscan.io.logs.nmea import checksum_states, read_nmea


def line(body: str) -> str:
    total = 0
    for char in body:
        total ^= ord(char)
    return f"${body}*{total:02X}"


def log(tmp_path, *lines: str, name="log.nmea"):
    path = tmp_path / name
    path.write_bytes("\r\n".join([*lines, ""]).encode("latin-1"))
    return path


PRINTED = [  # gpsd's NMEA notes and its tests
    "$SDDBT,7.8,f,2.4,M,1.3,F*0D", "$INDPT,2.3,0.0*46", "$SDDBK,1330.5,f,0405.5,M,0221.6,F*2E",
    "$GNGGA,001043.00,4404.14036,N,12118.85961,W,1,12,0.98,1113.0,M,-21.3,M*47",
    "$GPGGA,184353.07,1929.045,S,02410.506,E,1,04,2.6,100.00,M,-33.9,M,,0000*6D",
    "$GNGLL,4404.14012,N,12118.85993,W,001037.00,A,A*67", "$GPGLL,4916.45,N,12311.12,W,225444,A,*1D",
    "$GNRMC,001031.00,A,4404.13993,N,12118.86023,W,0.146,,100117,,,A*7B",
    "$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68", "$GPZDA,160012.71,11,03,2004,-1,00*7D",
]  # fmt: skip
# Printed on a documentation page with checksums that are wrong.
WRONG = ["$SDDBT,12.3,f,3.7,M,2.0,F*35", "$SDDBS,15.8,f,4.8,M,2.6,F*09", "$SDDPT,4.2,0.5,*4F"]


def test_printed_checksums_are_right_and_the_three_misprinted_ones_wrong():
    block = "\n".join([*PRINTED, *WRONG, "$GPGLL,4916.45,N,12311.12,W", ""]).encode()
    _, _, state = checksum_states(block)
    assert state.tolist() == [1] * len(PRINTED) + [-1] * 3 + [0]


@pytest.mark.parametrize(
    ("sentence", "lat", "lon"),
    [
        (PRINTED[3], 44.069006, -121.3143268333),
        (PRINTED[4], -19.4840833333, 24.1751),
        (PRINTED[6], 49.2741666667, -123.1853333333),
        (PRINTED[8], 49.2741666667, -123.1853333333),
    ],
)
def test_printed_positions_are_read_to_the_tenth_decimal(tmp_path, sentence, lat, lon):
    got = read_nmea(log(tmp_path, sentence))
    assert_allclose([got.lat[0], got.lon[0]], [lat, lon], atol=1e-9)


@pytest.mark.parametrize(
    ("sentence", "depth", "offset", "reference"),
    [
        (PRINTED[0], 2.4, np.nan, "transducer"),
        (PRINTED[1], 2.3, np.nan, "transducer"),
        (PRINTED[2], 405.5, np.nan, "keel"),
        ("$SDDPT,10.0,-0.5,100.0*4D", 10.0, np.nan, "transducer"),
        ("$SDDPT,10.0,0.5,*4F", 10.0, 0.5, "transducer"),
        ("$SDDBS,032.93,f,010.04,M,005.42,F*3C", 10.04, np.nan, "surface"),
        ("$SDDBT,,f,22.5,M,,F*33", 22.5, np.nan, "transducer"),
        (line("SDDBT,32.8,f,,M,,F"), 32.8 * 0.3048, np.nan, "transducer"),
        (line("SDDBT,,f,,M,5.0,F"), 9.144, np.nan, "transducer"),
    ],
)
def test_depths_come_in_metres_from_where_the_sentence_says(tmp_path, sentence, depth, offset, reference):
    got = read_nmea(log(tmp_path, f"2024-05-01T10:00:00Z {sentence}"))
    assert_allclose(got.depth, [depth])
    assert_allclose(got.to_surface, [offset])
    assert got.reference == reference


def gll(clock: str, lat: float, lon: float, state="A") -> str:
    ns, ew = "NS"[lat < 0], "EW"[lon < 0]
    lat, lon = abs(lat), abs(lon)
    place = f"{int(lat):02d}{(lat % 1) * 60:08.5f},{ns},{int(lon):03d}{(lon % 1) * 60:08.5f},{ew}"
    return line(f"GPGLL,{place},{clock},{state},A")


def rmc(clock: str, lat: float, lon: float, day: str) -> str:
    place = gll(clock, lat, lon).split(",")
    return line(f"GPRMC,{clock},A,{','.join(place[1:5])},4.0,90.0,{day},,,A".replace("$GPGLL,", ""))


def test_a_depth_between_two_fixes_lies_between_them(tmp_path):
    got = read_nmea(
        log(tmp_path, gll("100000", 50, 5), "$SDDBT,32.8,f,10.0,M,5.5,F*0E", gll("100002", 50.001, 5.002)),
        date="2024-02-29",
    )
    assert_allclose([got.lat[0], got.lon[0]], [50.0005, 5.001], atol=1e-7)
    assert got.dated
    assert np.datetime64(int(got.time[0]), "s") == np.datetime64("2024-02-29T10:00:01")


def test_fixes_marked_invalid_are_dropped_and_the_gap_is_not_bridged(tmp_path):
    lines = []
    for k in range(40):
        lines += [
            gll(f"10{k // 60:02d}{k % 60:02d}", 50 + k * 1e-5, 5, "V" if 5 < k < 35 else "A"),
            line("SDDBT,,f,9.0,M,,F"),
        ]
    got = read_nmea(log(tmp_path, *lines), gap_s=15)
    assert got.counts["invalid or empty"] == 29
    assert np.isnan(got.lat).sum() >= 28
    assert np.isfinite(got.lat).sum() >= 9


def test_a_gga_of_quality_0_is_no_fix(tmp_path):
    with pytest.raises(UnreadableError, match="not one usable position"):
        read_nmea(log(tmp_path, line("GPGGA,100000,5000.0,N,00500.0,E,0,04,2.6,1.0,M,0,M,,")))


def test_time_of_day_runs_on_past_midnight_without_a_date_and_with_one(tmp_path):
    clocks = ["235958", "235959", "000000", "000001"]
    lines = [part for c in clocks for part in (gll(c, 50, 5), line("SDDBT,,f,9.0,M,,F"))] + [
        gll("000002", 50, 5)
    ]
    undated = read_nmea(log(tmp_path, *lines))
    assert not undated.dated
    assert_allclose(np.diff(undated.time), 1.0)
    dated = read_nmea(log(tmp_path, rmc("235957", 50, 5, "280224"), *lines))
    assert dated.dated
    assert np.datetime64(int(dated.time[-1]), "s") == np.datetime64("2024-02-29T00:00:01")


def test_a_sentence_cut_off_before_its_checksum_is_dropped_where_others_have_one(tmp_path):
    got = read_nmea(
        log(
            tmp_path,
            *[f"2024-05-01T10:00:0{k}Z {line('SDDBT,,f,9.0,M,,F')}" for k in range(5)],
            "$SDDBT,,f,1",
        )
    )
    assert got.depth.size == 5


def test_garbage_nul_bytes_and_two_sentences_on_a_line_do_no_harm(tmp_path, rng):
    noise = bytes(rng.integers(0, 256, 5000, dtype=np.uint8)).replace(b"$", b"x")
    good = [f"2024-05-01T10:00:{k:02d}Z {line('SDDPT,8.0,0.4')}".encode() for k in range(30)]
    path = tmp_path / "dirty.nmea"
    path.write_bytes(
        noise
        + b"\n"
        + b"\n".join(g[:4] + b"\x00" + g[4:] for g in good)
        + b"\n$SDDPT,8."
        + good[0][21:]
        + b"\n"
    )
    got = read_nmea(path)
    assert got.depth.size == 31
    assert_allclose(got.depth, 8.0)
    assert_allclose(got.to_surface, 0.4)


def test_a_passage_logged_in_an_archipelago_keeps_its_track_and_its_depths(realdata):
    got = read_nmea(realdata / "coastal_sail_dbt.nmea")
    assert got.depth.size == 7250
    assert np.isfinite(got.lon).mean() > 0.999
    assert (np.nanmin(got.lat), np.nanmax(got.lat)) == pytest.approx((59.86, 60.08), abs=0.01)
    assert not got.dated  # its ZDA has no date
    assert got.depth.min() == pytest.approx(1.4, abs=0.1)


def test_the_loggers_own_clock_joins_two_logs_of_a_research_ship(realdata):
    gps, depth = (read_nmea(realdata / f"research_ship_{k}.nmea") for k in ("gps", "depth"))
    assert gps.lon.size == 1667 and gps.depth.size == 0
    assert depth.depth.size == 5000 and depth.lon.size == 0
    assert np.datetime64(int(depth.time[0]), "s") == np.datetime64("2014-08-01T00:00:07")
