"""One odd row among many good ones costs that row, is counted, and is shown."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from reefscan.base.errors import InputError, UnreadableError
from reefscan.base.model import NODATA_MM
from reefscan.io.grids.rasters import open_grids
from reefscan.io.logs.soundings import ReadOptions, read_log
from reefscan.io.logs.text import TextOptions
from reefscan.io.pointtext import read_points

ROWS = [f"{3 + i * 1e-5:.5f},{50 + i * 1e-5:.5f},{10 + i % 7}.5,line {i}" for i in range(1000)]
HEAD = "lon,lat,depth_m,note"


def log_of(path: Path, rows: list[str], head: str = HEAD) -> dict[str, int]:
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8", errors="surrogateescape")
    log = read_log(path, ReadOptions())
    assert log.counts["lines"] == 1 + len(rows)
    assert log.depth.size + log.counts["bad lines"] == len(rows)
    if log.counts["bad lines"]:
        assert any("hold no sounding, such as" in note for note in log.notes)
    return {"kept": log.depth.size, "bad": log.counts["bad lines"]}


@pytest.mark.parametrize(
    ("odd", "kept"),
    [
        ('3.0,50.0,10,"never closed', 1000),
        ('3.0,50.0,10,5" rod', 1000),
        ('"3.0,50.0,10,a', 999),
        ('3.0,50.0,"10,a', 1000),  # a fix without a depth: set aside by that name
        ('3.0,50.0,10,"a"b', 1000),
        ('"3.0","50.0","10","quoted, with a comma"', 1000),
        ('3.0,50.0,10,"say ""hello"", twice"', 1000),
        ('3.0, "50.0" ,10,a', 1000),
        ("3.0,50.0", 999),
        ("a,b,c,d", 999),
        ("3.0,50.0,10,a,b,c", 999),
        ("3.0,50.0,10,\udce9\udcff", 1000),
        ("3.0,50.0,10," + "n" * 5000, 1000),
        ("nan,nan,nan,", 999),
        ("3.0,50.0,1e999,", 1000),
        ("x" * 70000, 999),
    ],
)
def test_one_odd_row_costs_that_row_alone(tmp_path: Path, odd: str, kept: int) -> None:
    for place in (1, 500, 999):
        rows = [*ROWS[:place], odd, *ROWS[place + 1 :]]
        assert log_of(tmp_path / "a.csv", rows) == {"kept": kept, "bad": 1000 - kept}


@pytest.mark.parametrize("mark", [";", "|", "\t", " "])
def test_marks_count_only_where_a_field_is_quoted_whole_whatever_parts_the_fields(
    tmp_path: Path, mark: str
) -> None:
    rows = [row.replace(" ", "_").replace(",", mark) for row in ROWS]
    rows[100] += '"'
    rows[300] = f'"3.0"{mark}"50.0"{mark}"10"{mark}"a{mark}b"'
    rows[500] = f'3.0{mark}50.0{mark}10{mark}"a'
    assert log_of(tmp_path / "a.csv", rows, HEAD.replace(",", mark)) == {"kept": 1000, "bad": 0}


def test_comments_blank_lines_and_a_second_header_add_up(tmp_path: Path) -> None:
    text = "\n".join(["# a", "// b", HEAD, *ROWS[:500], "", "# c", HEAD, *ROWS[500:]])
    (tmp_path / "a.csv").write_text(text)
    log = read_log(tmp_path / "a.csv", ReadOptions())
    assert (log.depth.size, log.counts) == (1000, {"lines": 1005, "bad lines": 1})


def test_angles_with_seconds_are_read_beside_a_stray_mark(tmp_path: Path) -> None:
    rows = [f"3°00'{i % 60:02d}\"E,50°00'{i % 60:02d}\"N,10" for i in range(300)]
    (tmp_path / "a.csv").write_text("\n".join(["lon,lat,depth_m", *rows]))
    log = read_log(tmp_path / "a.csv", ReadOptions(TextOptions()))
    assert log.depth.size == 300
    assert np.isclose(log.lon[30], 3 + 30 / 3600)


@pytest.mark.parametrize("odd", ["3.0 abc 5", '3.0 "50.0', "3.0", "x y z", "", "1e5 \udcff 3"])
def test_one_odd_row_of_a_grid_of_points_is_left_out_and_said(tmp_path: Path, odd: str) -> None:
    rows = [f"{500000 + 2 * c} {4000000 - 2 * r} {-10 - r % 3}" for r in range(40) for c in range(40)]
    rows[777] = odd
    path = tmp_path / "a.xyz"
    path.write_bytes("\n".join(rows).encode("utf-8", "surrogateescape"))
    points = read_points(str(path), "a.xyz")
    assert points.x.size == 1599
    assert ("1 of its 1,600 lines" in points.note) == bool(odd)


@pytest.mark.parametrize(
    "odd",
    ["500031.3 3999961.1 -9", "500030 3999961.2 -9", "0 0 0", "1e12 3999960 -9", "500022 3999980 -300", "-500022 3999980 -9"],
)  # fmt: skip
@pytest.mark.parametrize("place", [0, 777, 1600])
def test_one_odd_point_of_a_grid_of_points_costs_its_own_cell(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, odd: str, place: int
) -> None:
    monkeypatch.setenv("REEFSCAN_CACHE", str(tmp_path / "cache"))
    rows = [f"{500000 + 2 * c} {4000000 - 2 * r} {-10 - r % 3}" for r in range(40) for c in range(40)]
    rows.insert(place, odd)
    (tmp_path / "a.xyz").write_text("\n".join(rows))
    (sheet,) = open_grids(tmp_path / "a.xyz", crs="EPSG:32631", positive="up")
    known = sheet.read(sheet.extent).elev_mm != NODATA_MM
    told_twice = odd.endswith("-300")
    assert known.sum() == 1600 - told_twice
    assert known.shape == (40, 40)
    told = "\n".join(sheet.notes)
    assert (
        "such as at 500022 3999980" in told
        if told_twice
        else "1 of its 1,601 points stand off the grid of the others and are left out" in told
    )


def test_points_on_no_grid_are_no_grid_of_some_of_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("REEFSCAN_CACHE", str(tmp_path / "cache"))
    rows = [f"{500000 + 2 * c} {4000000 - 2 * r} -10" for r in range(40) for c in range(40)]
    rows[::20] = [f"{500000 + 1.37 * i} {4000000 - 0.73 * i} -10" for i in range(80)]
    (tmp_path / "a.xyz").write_text("\n".join(rows))
    with pytest.raises(InputError, match="stand on no regular grid"):
        open_grids(tmp_path / "a.xyz", crs="EPSG:32631")


def test_text_that_is_mostly_no_points_is_no_grid(tmp_path: Path) -> None:
    rows = ["1 2 3" if i < 60 else "words of another kind" for i in range(100)]
    (tmp_path / "a.xyz").write_text("\n".join(rows))
    with pytest.raises(UnreadableError, match=r"a\.xyz: not a table of x, y, z: 40 of its 100 lines"):
        read_points(str(tmp_path / "a.xyz"), "a.xyz")


CELLS_HEAD = "ncols 60\nnrows 50\nxllcorner 500000\nyllcorner 5400000\ncellsize 2\n"


def ascii_grid(
    path: Path, odd: str, *, head: str = f"{CELLS_HEAD}NODATA_value -9999\n", cells: int = 1
) -> Path:
    rows = [[f"{-10 - r % 3 - c % 5 * 0.1:.2f}" for c in range(60)] for r in range(50)]
    rows[20][30 - cells // 2 : 30 + (cells + 1) // 2] = [odd] * cells
    path.write_text(head + "\n".join(" ".join(row) for row in rows), encoding="latin-1")
    return path


@pytest.mark.parametrize("odd", ["abc", "--", "1.2.3", "\xff", "12m", "-", "1e"])
def test_a_word_in_an_ascii_grid_costs_its_cell_and_no_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, odd: str
) -> None:
    monkeypatch.setenv("REEFSCAN_CACHE", str(tmp_path / "cache"))
    (like,) = open_grids(ascii_grid(tmp_path / "b.asc", "-9999"), crs="EPSG:32631")
    (sheet,) = open_grids(ascii_grid(tmp_path / "a.asc", odd), crs="EPSG:32631")
    cells = sheet.read(sheet.extent).elev_mm
    np.testing.assert_array_equal(cells, like.read(sheet.extent).elev_mm)
    assert (cells == NODATA_MM).sum() == 1
    shown = "\ufffd" if odd == "\xff" else odd
    said = f"1 of its 3,000 cells hold no number and are taken for unknown, such as {shown!r} in line 27"
    assert any(said in note for note in sheet.notes), sheet.notes


@pytest.mark.parametrize(
    "head",
    [CELLS_HEAD, CELLS_HEAD.replace("\n", " ") + "\n", "north: 5400100\nsouth: 5400000\neast: 500120\nwest: 500000\nrows: 50\ncols: 60\n"],
    ids=["no nodata value", "header in one line", "of another kind"],
)  # fmt: skip
def test_a_word_is_unknown_also_where_the_header_names_no_number_for_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, head: str
) -> None:
    monkeypatch.setenv("REEFSCAN_CACHE", str(tmp_path / "cache"))
    (sheet,) = open_grids(ascii_grid(tmp_path / "a.asc", "bad", head=head), crs="EPSG:32631")
    assert (sheet.read(sheet.extent).elev_mm == NODATA_MM).sum() == 1
    assert sheet.layers[0].low_m == pytest.approx(-12.4)


def test_the_word_that_an_ascii_grid_names_for_unknown_cells_is_no_fault(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("REEFSCAN_CACHE", str(tmp_path / "cache"))
    rows = [["0.00" if r == c else f"{-10 - r % 3:.2f}" for c in range(60)] for r in range(50)]
    for row in rows[30:]:  # four cells in ten
        row[:] = ["NA"] * 60
    text = f"{CELLS_HEAD}NODATA_value NA\n" + "\n".join(" ".join(row) for row in rows)
    (tmp_path / "a.asc").write_text(text)
    (sheet,) = open_grids(tmp_path / "a.asc", crs="EPSG:32631")
    cells = sheet.read(sheet.extent).elev_mm
    assert (cells == NODATA_MM).sum() == 20 * 60
    assert (cells == 0).sum() == 30  # GDAL takes the word for 0, and then every 0 for unknown
    assert not any("no number" in note for note in sheet.notes)


def test_what_stands_beside_an_ascii_grid_counts_for_its_copy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("REEFSCAN_CACHE", str(tmp_path / "cache"))
    grid = ascii_grid(tmp_path / "a.asc", "bad")
    beside = (
        tmp_path / "a.prj"
    )  # as the first tools of this form wrote it, which the raster library alone reads
    for zone in (31, 32):
        beside.write_text(
            f"Projection    UTM\nZone          {zone}\nDatum         WGS84\nZunits        NO\nUnits         METERS\n"
        )
        (sheet,) = open_grids(grid)
        assert f"UTM zone {zone}N" in sheet.sheet.crs


def test_an_ascii_grid_with_words_all_over_is_none(tmp_path: Path) -> None:
    with pytest.raises(
        InputError, match=r"a\.asc: 61 of its 3,000 cells hold no number, the first of them 'abc' in line 7"
    ):
        wide = ascii_grid(tmp_path / "a.asc", "abc", cells=60)
        wide.write_text(wide.read_text().replace("-10.00", "abc", 1))
        open_grids(wide, crs="EPSG:32631")


@pytest.mark.parametrize("odd", ["no data", "-10 abc -10"])
def test_words_that_shift_the_cells_of_an_ascii_grid_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, odd: str
) -> None:
    monkeypatch.setenv("REEFSCAN_CACHE", str(tmp_path / "cache"))
    with pytest.raises(
        InputError,
        match=r"a\.asc: holds words where numbers should stand, and 3,00[12] of both for 3,000 cells",
    ):
        open_grids(ascii_grid(tmp_path / "a.asc", odd), crs="EPSG:32631")
    assert not list((tmp_path / "cache").glob("*.asc"))


@pytest.mark.parametrize("odd", ["-10", "-1.05E+01", "-10,5", ".5", "5.", "nan", "-9999"])
def test_numbers_of_an_ascii_grid_are_read_however_they_are_written(tmp_path: Path, odd: str) -> None:
    (sheet,) = open_grids(ascii_grid(tmp_path / "a.asc", odd), crs="EPSG:32631")
    assert (sheet.read(sheet.extent).elev_mm != NODATA_MM).sum() >= 2999


def test_a_track_that_breaks_off_keeps_what_was_logged(tmp_path: Path) -> None:
    points = "".join(
        f'<trkpt lat="50.{i:04d}" lon="3.0"><ele>-{10 + i % 5}</ele></trkpt>' for i in range(1000)
    )
    whole = f'<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{points}'
    (tmp_path / "a.gpx").write_text(whole[:-9])
    log = read_log(tmp_path / "a.gpx", ReadOptions())
    assert log.depth.size == 999
    assert "what stands after 999 points is left out" in log.notes[0]


def test_one_odd_point_of_a_track_costs_that_point(tmp_path: Path) -> None:
    points = [f'<trkpt lat="50.{i:04d}" lon="3.0"><ele>-{10 + i % 5}</ele></trkpt>' for i in range(1000)]
    points[500] = '<trkpt lat="north" lon=""><ele>deep</ele></trkpt>'
    (tmp_path / "a.gpx").write_text(f"<gpx><trk><trkseg>{''.join(points)}</trkseg></trk></gpx>")
    log = read_log(tmp_path / "a.gpx", ReadOptions())
    assert (log.depth.size, log.counts["bad lines"]) == (999, 1)


def test_one_odd_sentence_of_a_logger_costs_that_sentence(tmp_path: Path) -> None:
    lines = [
        f"$GPGGA,10{i // 60:02d}{i % 60:02d},5000.{i:04d},N,00300.0000,E,1,8,1,0,M,,M,,\n$SDDBT,,f,{10 + i % 5}.0,M,,F\n"
        for i in range(300)
    ]
    whole = read_nmea_size(tmp_path, lines)
    for odd in (
        "$SDDBT,,f,\xff\xfe,M,,F\n",
        "$" * 5000 + "\n",
        "x" * 70_000 + "\n",
        '"',
        "$GPGGA,999999,9999.9,N\n",
        "\x00\x00\n",
    ):
        assert read_nmea_size(tmp_path, [*lines[:150], odd, *lines[150:]]) >= whole - 1


def read_nmea_size(folder: Path, lines: list[str]) -> int:
    (folder / "a.nmea").write_text("".join(lines), encoding="latin-1")
    return read_log(folder / "a.nmea", ReadOptions(date="2024-05-01")).depth.size
