"""What will not fit is refused before it is begun, with the option that would; one wrong fix stretches no grid."""

from __future__ import annotations

import re
import time
from pathlib import Path

import numpy as np
import pytest
import rasterio
from numpy.testing import assert_allclose

from reefscan.base.arraysource import ArraySource
from reefscan.base.errors import InputError
from reefscan.base.model import NODATA_MM, Sheet
from reefscan.base.recipe import Recipe, load_recipe
from reefscan.cli import run as command_line
from reefscan.io import room
from reefscan.io.grids.rasters import open_grids
from reefscan.io.logs.soundings import ReadOptions, read_logs, tabulate
from reefscan.kernels.measure.ground_at import ruggedness_and_relief
from reefscan.pipeline.engineoptions import EngineOptions
from reefscan.pipeline.scan import scan_sources
from reefscan.pipeline.size import expect, expect_grid, refuse_size
from reefscan.survey.build import Corrections, make_surface, prepare
from reefscan.survey.settings import load_settings


def track(folder: Path, odd: str = "", rows: int = 900) -> Path:
    """A log without times; ``odd`` replaces its middle row."""
    lines = [
        f"{3 + i % 300 * 3e-5:.6f},{50 + i // 300 * 2e-4:.6f},{10 + i % 5 * 0.1:.2f}" for i in range(rows)
    ]
    if odd:
        lines[rows // 2] = odd
    (folder / "log.csv").write_text("\n".join(["lon,lat,depth_m", *lines]))
    return folder / "log.csv"


@pytest.fixture
def small(monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine of 2 GB."""
    monkeypatch.setattr(room, "memory_bytes", lambda: 2_000_000_000)


@pytest.mark.parametrize("odd", ["10.0,50.0,10", "3.005,57.0,10", "-176.9,50.0,10", "3.4,50.0,10"])
def test_one_wrong_fix_is_set_aside_by_name(tmp_path: Path, odd: str) -> None:
    table, _ = tabulate(read_logs([track(tmp_path, odd)], ReadOptions()))
    tally = table.tally()
    assert tally["kept"] == 899
    assert tally.get("far off", 0) + tally.get("position", 0) == 1
    assert np.nanmax(table.x) - np.nanmin(table.x) < 2000.0


def test_a_survey_of_two_far_places_keeps_both(tmp_path: Path) -> None:
    near = track(tmp_path).read_text().splitlines()
    lines = [*near, *(row.replace("50.", "50.5", 1) for row in near[1:])]
    (tmp_path / "log.csv").write_text("\n".join(lines))
    table, _ = tabulate(read_logs([tmp_path / "log.csv"], ReadOptions()))
    assert table.kept.all()


def test_a_handful_of_soundings_is_kept_whole(tmp_path: Path) -> None:
    table, _ = tabulate(read_logs([track(tmp_path, "4.0,50.0,10", rows=8)], ReadOptions()))
    assert table.kept.all()


@pytest.mark.parametrize(
    ("flags", "says"),
    [
        (["--cell", "2m", "--reach", "9km"], "say a shorter --reach or a larger --cell"),
        (["--cell", "0.05m", "--reach", "5km"], "say --cell "),
    ],
)
def test_a_grid_that_will_not_fit_is_refused_with_the_flag_that_would(
    tmp_path: Path, small: None, capsys: pytest.CaptureFixture[str], flags: list[str], says: str
) -> None:
    out = tmp_path / "own.tif"
    assert command_line(["grid", str(track(tmp_path)), "--out", str(out), *flags]) == 1
    assert says in capsys.readouterr().err
    assert not out.exists()


def claims(path: Path, side: int) -> Path:
    """A file that says it has ``side`` x ``side`` cells, and holds a corner of them."""
    profile = {
        "driver": "GTiff",
        "width": side,
        "height": side,
        "count": 1,
        "dtype": "float32",
        "crs": "EPSG:32631",
    }
    with rasterio.open(
        path, "w", **profile, transform=rasterio.Affine(2, 0, 3e5, 0, -2, 6e6), nodata=-9999, sparse_ok=True,
        tiled=True, blockxsize=2048, blockysize=2048, bigtiff="yes",
    ) as out:  # fmt: skip
        y, x = np.mgrid[:256, :256]
        cells = (-10 - 3 * np.sin(x / 9) - 2 * np.sin(y / 7)).astype("float32")
        out.write(cells, 1, window=((0, 256), (0, 256)))
    return path


def test_a_scan_whose_scores_would_fill_the_memory_asks_for_a_run_folder(tmp_path: Path, small: None) -> None:
    sources = open_grids(claims(tmp_path / "claims.tif", 100_000))
    with pytest.raises(InputError, match=r"100,000 x 100,000 cells .* give a run folder with --out"):
        scan_sources(sources, Recipe.default())


def test_lengths_that_reach_over_more_than_memory_are_refused_by_name(tmp_path: Path, small: None) -> None:
    sources = open_grids(claims(tmp_path / "small.tif", 512))
    far = load_recipe('[find]\nbpi_broad_outer_m = "8km"\nrelief_radius_m = "5km"')
    with pytest.raises(InputError, match=r"small\.tif .* shorten the lengths of \[find\]"):
        refuse_size(sources, far.find, tile=None, workers=1, kept=True)
    refuse_size(sources, Recipe.default().find, tile=None, workers=1, kept=True)


def test_a_map_too_large_to_draw_is_refused(
    tmp_path: Path, small: None, capsys: pytest.CaptureFixture[str]
) -> None:
    assert (
        command_line(
            ["map", str(tmp_path), "--size", "40", "--dpi", "1200", "--out", str(tmp_path / "m.png")]
        )
        == 1
    )
    assert "say a smaller --size or --dpi" in capsys.readouterr().err


def test_the_time_of_a_large_scan_is_told_before_its_first_tile(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def begun(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("reefscan.pipeline.sheet.scan_sheet", begun)
    grid = claims(tmp_path / "claims.tif", 100_000)
    assert command_line(["scan", str(grid), "--out", str(tmp_path / "run")]) == 130
    said = capsys.readouterr().err
    assert re.search(
        r"million cells: .* if nothing lies in the depths searched, .* hours if all of it is rough", said
    )
    assert "--bbox" in said
    small = claims(tmp_path / "small.tif", 2048)
    assert command_line(["scan", str(small), "--out", str(tmp_path / "other")]) == 130
    assert "where nothing lies" not in capsys.readouterr().err


def test_a_scan_of_months_is_refused_with_what_makes_it_shorter(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    grid = claims(tmp_path / "claims.tif", 150_000)
    (tmp_path / "far.toml").write_text('[find]\nrelief_radius_m = "8km"')
    told = ["scan", str(grid), "--recipe", str(tmp_path / "far.toml"), "--out", str(tmp_path / "run"), "--workers", "1"]  # fmt: skip
    assert command_line(told) == 1
    assert re.search(
        r"claims\.tif has .* would take [\d,]+ days with 1 at work; name a part", capsys.readouterr().err
    )
    assert not (tmp_path / "run").exists()


@pytest.mark.parametrize(
    "text",
    [
        "",
        '[find]\nrelief_radius_m = "200m"\nbpi_broad_outer_m = "600m"',
        '[find]\ntrough_radius_m = "4km"',
        '[find]\nrise_radius_m = "4km"',
    ],
)
def test_the_time_that_is_told_is_the_time_it_takes(text: str) -> None:
    """Within a factor (of other machines and of small grids), on ground that is rough all over."""
    y, x = np.mgrid[:300, :300]
    elev = -15 - 3 * np.sin(x / 9) - 2 * np.sin(y / 7) + np.random.default_rng(1).normal(0, 0.05, x.shape)
    source = ArraySource.from_metres(elev, cell_m=2.0)
    recipe = load_recipe(text)
    scan_sources([source], recipe, options=EngineOptions(workers=1))  # compiled
    begun = time.process_time()
    scan_sources([source], recipe, options=EngineOptions(workers=1))
    took = time.process_time() - begun
    told = expect([source], recipe.find, workers=1)
    assert told.least_s < took
    assert told.most_s / 8 < took < 8 * told.most_s


@pytest.mark.parametrize(("cell", "reach"), [(0.25, 15.0), (1.0, 200.0)])
def test_the_time_of_a_grid_that_is_told_is_the_time_it_takes(
    tmp_path: Path, cell: float, reach: float
) -> None:
    """Within a factor (of other machines)."""
    table, crs = tabulate(read_logs([track(tmp_path)], ReadOptions()))
    settings = load_settings(f"[surface]\nreach_m = {reach}")
    surface = make_surface(prepare(table, settings, Corrections()), Sheet(crs, cell), settings)
    begun = time.process_time()
    drawn = sum(int(np.isfinite(cut.elev).sum()) for cut in surface.cuts())
    took = time.process_time() - begun
    assert drawn > 0
    told = expect_grid(surface, times=1)
    assert told / 8 < took < 8 * told
    assert expect_grid(surface, times=2) == pytest.approx(2 * told)


def test_the_time_of_a_grid_is_told_before_it_is_drawn_and_bounded(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def begun(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("reefscan.pipeline.surveying.write_grid", begun)
    told = ["grid", str(track(tmp_path)), "--out", str(tmp_path / "own.tif"), "--cell", "0.05m"]
    assert command_line(told) == 130
    assert re.search(
        r"in about [\d,]+ parts of 512 x 512: [\d.]+ minutes on an idle", capsys.readouterr().err
    )
    monkeypatch.setattr("reefscan.pipeline.size.LONGEST_H", 0.01)
    assert command_line(told) == 1
    assert re.search(
        r"cells with a reach of 15 m would take [\d.]+ minutes; say a larger --cell", capsys.readouterr().err
    )
    assert not (tmp_path / "own.tif").exists()


def test_relief_of_a_wide_disc_is_highest_less_lowest_of_its_cells() -> None:
    rng = np.random.default_rng(2)
    elev = rng.integers(-20_000, -5_000, (160, 170)).astype(np.int32)
    elev[rng.random(elev.shape) < 0.2] = NODATA_MM
    r, c = np.mgrid[:160, :170]
    inner = (r > 0) & (c > 0) & (r < 159) & (c < 169) & (elev != NODATA_MM)
    for row, col, radius in (
        (80, 80, 50.0),
        (3, 166, 25.5),
        (80, 2, 7.0710678),
        (0, 0, 1.0),
        (159, 80, 12.5),
    ):
        cells = elev[inner & ((r - row) ** 2 + (c - col) ** 2 <= radius**2)]
        wanted = (cells.max() - cells.min()) / 1000 if cells.size else np.nan
        assert_allclose(ruggedness_and_relief(elev, row, col, 2.0, 5.0, radius, 2.0)[1], wanted, atol=1e-9)
