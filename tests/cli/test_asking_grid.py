"""What a log leaves open is asked in a terminal before it is gridded; piped it is the one line that names the option."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path

import numpy as np
import pytest
import rasterio

sys.path.insert(0, str(Path(__file__).resolve().parent))

from terminal import at_terminal

from reefscan.cli import run as command_line
from reefscan.io.grids.rasters import open_grids

SAMPLES = Path(__file__).parents[2] / "data_samples"


def log_of(path: Path, header: str, row: str, *, many: int = 400) -> Path:
    """A boat that runs up and down over ground of 9 m, every 5 m; ``row`` is filled with what one sounding holds."""
    lines = [header] if header else []
    for k in range(many):
        line, along = divmod(k, 40)
        north = 5.0 * (along if line % 2 == 0 else 39 - along)
        values = {"lon": 5 + 10.0 * line / 55_660, "lat": 60 + north / 111_300, "x": 500_000 + 10.0 * line,
                  "y": 6_651_400 + north, "clock": f"10:{k // 60:02d}:{k % 60:02d}", "depth": 9.0 + 0.1 * np.sin(k / 7)}  # fmt: skip
        lines.append(row.format(**values))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def depths_of(path: Path) -> tuple[float, float]:
    with rasterio.open(path) as grid:
        elev = grid.read(1, masked=True)
    return -float(elev.max()), -float(elev.min())


def test_dates_unit_transducer_and_datum_are_asked_before_the_work_and_the_flags_repeat_it(
    tmp_path: Path,
) -> None:
    """What is printed to repeat it gives the same grid where nobody sits; the scan reads the datum from the grid."""
    log = log_of(tmp_path / "log.csv", "date,time,lon,lat,depth", "03/04/2024,{clock},{lon:.7f},{lat:.7f},{depth:.2f}")  # fmt: skip
    out = tmp_path / "own.tif"
    asked = ["grid", str(log), "--cell", "5m", "--next", "0", "--out", str(out)]
    code, shown = at_terminal(asked, "2\nmonth-first\n0.6m\nmean low water\n")
    assert code == 0, shown
    # by hand: 9 ft = 2.743 m
    assert "ft" in shown and "they would run from 2.713 to 2.774 m" in shown
    assert "day-first    all on 3 April 2024" in shown and "month-first  all on 4 March 2024" in shown
    assert shown.index("How are its dates written?") < shown.index("reading 1 log")
    assert shown.index("(the datum)") < shown.index("cleaning")
    flags = [line.split("To say so next time: ")[1].strip() for line in shown.splitlines() if "next time" in line]  # fmt: skip
    assert flags == ["--depth-unit ft", "--dates month-first", "--draft 0.6m", "--datum 'mean low water'"]
    assert "deep below mean low water" in shown
    first = out.read_bytes()
    low, high = depths_of(out)
    assert 2.713 + 0.6 - 0.05 < low < high < 2.774 + 0.6 + 0.05
    assert open_grids([str(out)])[0].vertical == "mean low water"
    out.unlink()
    assert command_line([*asked, *(word for flag in flags for word in shlex.split(flag)), "--quiet"]) == 0
    assert out.read_bytes() == first


@pytest.mark.parametrize(
    ("header", "row", "flag"),
    [
        ("time,lon,lat,depth", "2024-04-03 {clock},{lon:.7f},{lat:.7f},{depth:.2f}", "--depth-unit"),
        ("time,lon,lat,depth_m", "03/04/2024 {clock},{lon:.7f},{lat:.7f},{depth:.2f}", "--dates"),
        ("time,x,y,depth_m", "2024-04-03 {clock},{x:.2f},{y:.2f},{depth:.2f}", "--crs"),
        ("", "{lon:.7f},{lat:.7f},{depth:.2f}", "--columns"),
    ],
)
def test_piped_it_is_one_line_that_names_the_option(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], header: str, row: str, flag: str
) -> None:
    log = log_of(tmp_path / "log.csv", header, row)
    assert command_line(["grid", str(log), "--out", str(tmp_path / "own.tif")]) == 1
    told = capsys.readouterr()
    assert told.out == "" and told.err.count("\n") == 1, told.err
    assert flag in told.err and "log.csv" in told.err


@pytest.mark.parametrize(
    ("header", "row", "typed", "shown"),
    [
        ("time,x,y,depth_m", "2024-04-03 {clock},{x:.2f},{y:.2f},{depth:.2f}", "EPSG:32631",
         "x runs from 500000 to 500090, y from 6651400 to 6651595"),
        ("", "{lon:.7f},{lat:.7f},{depth:.2f}", "lon=1,lat=2,depth_m=3", "column 3: 9.00"),
    ],
)  # fmt: skip
def test_coordinate_system_and_columns_are_asked_with_the_numbers_that_the_answer_must_fit(
    tmp_path: Path, header: str, row: str, typed: str, shown: str
) -> None:
    log = log_of(tmp_path / "log.csv", header, row)
    asked = ["grid", str(log), "--draft", "0m", "--datum", "x", "--cell", "5m", "--next", "0", "--out", str(tmp_path / "own.tif")]  # fmt: skip
    code, told = at_terminal(asked, f"{typed}\n")
    assert code == 0, told
    assert shown in told
    low, high = depths_of(tmp_path / "own.tif")
    assert 8.8 < low < high < 9.2


def test_what_a_tide_table_leaves_open_is_asked_too(tmp_path: Path) -> None:
    log = log_of(tmp_path / "log.csv", "time,lon,lat,depth_m", "2024-04-03 {clock},{lon:.7f},{lat:.7f},{depth:.2f}")  # fmt: skip
    tide = tmp_path / "tide.csv"
    tide.write_text("time,height\n" + "".join(f"2024-04-03 {h:02d}:00,{10.0 + h % 2:.1f}\n" for h in range(0, 24)), encoding="utf-8")  # fmt: skip
    asked = ["grid", str(log), "--tide", str(tide), "--tide-kind", "series", "--draft", "0m", "--datum", "x", "--cell", "5m",
             "--next", "0", "--out", str(tmp_path / "own.tif")]  # fmt: skip
    code, told = at_terminal(asked, "UTC\nft\n")
    assert code == 0, told
    assert "In which time zone are its times, such as 2024-04-03 00:00?" in told
    assert "they would run from 3.048 to 3.353 m" in told
    low, high = depths_of(tmp_path / "own.tif")
    assert 5.5 < low < high < 6.1  # 9 m less 10 to 10.1 ft of tide between 10:00 and 10:06


def test_a_folder_is_gridded_without_the_logs_that_leave_something_open(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "logs").mkdir()
    log_of(tmp_path / "logs" / "a.csv", "time,lon,lat,depth_m", "2024-04-03 {clock},{lon:.7f},{lat:.7f},{depth:.2f}")  # fmt: skip
    log_of(tmp_path / "logs" / "b.csv", "time,lon,lat,depth", "2024-04-03 {clock},{lon:.7f},{lat:.7f},{depth:.2f}")  # fmt: skip
    assert command_line(["grid", str(tmp_path / "logs"), "--cell", "5m", "--next", "0", "--out", str(tmp_path / "own.tif")]) == 0  # fmt: skip
    assert "skipped: b.csv: the depth column states no unit" in capsys.readouterr().out


def test_the_sign_of_the_public_grid_is_asked_in_the_words_of_its_option(tmp_path: Path) -> None:
    log = log_of(tmp_path / "log.csv", "time,lon,lat,depth_m", "2024-04-03 {clock},{lon:.7f},{lat:.7f},{depth:.2f}")  # fmt: skip
    z = np.repeat(np.linspace(20.0, -30.0, 100)[:, None], 80, axis=1).astype("float32")
    with rasterio.open(
        tmp_path / "coast.tif", "w", driver="GTiff", width=80, height=100, count=1, dtype="float32", crs="EPSG:4326",
        transform=rasterio.Affine(1e-4, 0, 4.998, 0, -1e-4, 60.004),
    ) as grid:  # fmt: skip
        grid.write(z, 1)
    asked = ["grid", str(log), "--onto", str(tmp_path / "coast.tif"), "--draft", "0m", "--datum", "x", "--cell", "5m", "--next", "0",
             "--out", str(tmp_path / "own.tif")]  # fmt: skip
    code, told = at_terminal(asked, "up\n")
    assert "To say so next time: --onto-positive up" in told, told
    assert code == 0, told


def test_an_answer_that_cannot_be_used_is_told_and_asked_again(tmp_path: Path) -> None:
    log = log_of(tmp_path / "log.csv", "time,x,y,depth_m", "2024-04-03 {clock},{x:.2f},{y:.2f},{depth:.2f}")
    asked = ["grid", str(log), "--datum", "x", "--cell", "5m", "--next", "0", "--out", str(tmp_path / "own.tif")]  # fmt: skip
    code, told = at_terminal(asked, "nonsense\nEPSG:32631\na foot\n1ft\n")
    assert code == 0, told
    assert "--crs: 'nonsense' is not a coordinate system" in told
    assert "'a foot' is not a length" in told
    assert told.count("In which coordinate system are they?") == 2
    flags = [line.split("next time: ")[1].strip() for line in told.splitlines() if "next time" in line]
    assert flags[-1] == "--draft 1ft" and "--crs EPSG:32631" in flags
    low, _ = depths_of(tmp_path / "own.tif")
    assert low == pytest.approx(9.0 + 0.3048, abs=0.15)


def test_the_day_of_a_log_that_has_only_a_clock_is_asked_where_a_tide_needs_it(tmp_path: Path) -> None:
    """NMEA 0183: GLL and DBT carry a time of day and no date; the tide of the day that is answered is taken off."""

    def sentence(body: str) -> str:
        check = 0
        for letter in body:
            check ^= ord(letter)
        return f"${body}*{check:02X}"

    lines = []
    for k in range(400):
        line, along = divmod(k, 40)
        north, east = 5.0 * (along if line % 2 == 0 else 39 - along) / 111_300, 10.0 * line / 55_660
        clock = f"10{k // 60:02d}{k % 60:02d}"
        lines.append(sentence(f"GPGLL,60{north * 60:07.4f},N,005{east * 60:07.4f},E,{clock},A"))
        lines.append(sentence("SDDBT,29.5,f,9.00,M,4.9,F"))
    log = tmp_path / "log.nmea"
    log.write_text("\n".join(lines) + "\n", encoding="ascii")
    tide = tmp_path / "tide.csv"
    rows = [f"2024-04-0{day} {hour:02d}:00Z,{day}.{hour % 2}" for day in (2, 3) for hour in range(24)]
    tide.write_text("time,height_m\n" + "\n".join(rows) + "\n", encoding="utf-8")
    asked = ["grid", str(log), "--tide", str(tide), "--tide-kind", "series", "--draft", "0m", "--datum", "x", "--cell", "5m",
             "--next", "0", "--out", str(tmp_path / "own.tif")]  # fmt: skip
    code, told = at_terminal(asked, "2024-04-03\n")
    assert code == 0, told
    assert "To say so next time: --date 2024-04-03" in told
    low, high = depths_of(tmp_path / "own.tif")
    assert 9.0 - 3.1 - 0.05 < low <= high < 9.0 - 3.0 + 0.05, "the heights of the third, not of the second"
