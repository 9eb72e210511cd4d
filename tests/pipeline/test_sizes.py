"""What will not fit is refused before it is begun, with the option that would; one wrong fix stretches no grid."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio

from reefscan.base.errors import InputError
from reefscan.base.recipe import Recipe, load_recipe
from reefscan.cli import run as command_line
from reefscan.io import room
from reefscan.io.grids.rasters import open_grids
from reefscan.io.logs.soundings import ReadOptions, read_logs, tabulate
from reefscan.pipeline.scan import scan_sources
from reefscan.pipeline.size import refuse_size


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
