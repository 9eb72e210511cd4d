"""What the tool says it only, never or always does, tried the other way round."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import rasterio

from reefscan.cli import COMMANDS
from reefscan.cli import run as command_line

ROOT = Path(__file__).parents[1]
LOG = "lon,lat,depth_m\n" + "".join(
    f"{3 + i % 60 * 3e-5:.6f},{50 + i // 60 * 1e-4:.6f},{10 + i % 7 * 0.1}\n" for i in range(600)
)


def told_by(command: str) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "reefscan", command, "--help"], capture_output=True, text=True, check=True
    )
    return " ".join(re.sub(r"[│╭╮╰╯─]", " ", done.stdout).split())


HELD = {
    "look": {"Changes nothing."},  # test_look_changes_nothing
    "rescore": {"no grid is read", "nothing written"},  # test_rescore_reads_no_grid_and_writes_nothing
    "review": {"No network is needed"},  # tests/browser: the page's own policy lets nothing be fetched
}
"""Sentences of the help that promise something, and what holds them."""


@pytest.mark.parametrize("command", sorted(HELD))
def test_what_is_promised_here_is_what_the_help_promises(command: str) -> None:
    text = told_by(command)
    for sentence in HELD[command]:
        assert sentence in text


def contents(folder: Path) -> dict[str, tuple[bytes, int]]:
    return {
        str(p.relative_to(folder)): (p.read_bytes(), p.stat().st_mtime_ns)
        for p in folder.rglob("*")
        if p.is_file()
    }


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to work in, with a grid in it; the cache lies elsewhere."""
    monkeypatch.setenv("REEFSCAN_CACHE", str(tmp_path / "cache"))
    (tmp_path / "in").mkdir()
    shutil.copy(ROOT / "data_samples" / "demo_coast.tif", tmp_path / "in")
    return tmp_path / "in"


def test_look_changes_nothing(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "a.xyz").write_text(
        "".join(f"{500000 + 2 * c} {5500000 - 2 * r} -{10 + c % 3}\n" for r in range(20) for c in range(20))
    )
    before = contents(here)
    for target in (here, here / "demo_coast.tif"):
        assert command_line(["look", str(target), "--crs", "EPSG:32631"]) == 0
    assert contents(here) == before


def test_a_grid_changes_no_log(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "logs").mkdir()
    (tmp_path / "logs" / "a.csv").write_text(LOG)
    before = contents(tmp_path / "logs")
    assert command_line(["grid", str(tmp_path / "logs"), "--out", str(tmp_path / "own.tif"), "--quiet"]) == 0
    assert contents(tmp_path / "logs") == before


def test_every_command_says_what_it_takes() -> None:
    """Each has a help that names its options, so that a refusal can point there."""
    assert set(HELD) <= set(COMMANDS)


MANUALS = {
    "it can only raise a score": "tests/pipeline/test_around.py::test_hard_structure_never_lowers_a_site_and_says_what_is_where",
    "closed areas only what you hand over": "tests/pipeline/test_closed_ground.py::test_every_file_for_the_boat_says_what_is_known_of_closed_ground",
    "A file names only what it changes": "tests/base/test_recipe.py::test_lengths_take_units_and_a_file_may_name_only_what_it_changes",
    "`cli` is the only place that prints": "pyproject.toml::T20",
    "`[rank]` touch tables only": "tests/test_promises.py::test_rescore_reads_no_grid_and_writes_nothing",
    "peaks of *structure*, never of score": "tests/pipeline/test_rescore.py::test_a_rescore_equals_a_fresh_scan_byte_for_byte",
    "Imports go down this list only": "pyproject.toml::importlinter",
    "never onto the input's own bounding box": "tests/properties/test_any_cut.py::test_other_cells_beside_it_change_no_site_far_from_them",
    "Engines differ only in where the work runs": "tests/batch/test_batch_run.py::test_every_engine_gives_every_cell_once",
    "Where only the stamp differs": "tests/batch/test_batch_store.py::test_a_tile_made_from_something_else_is_stale_and_not_given",
}
"""Sentences of README and DEVELOPERS with "only", "never" or "always", and what tries the opposite of each."""

HELPS = {
    "Search inside these polygons only": "tests/test_promises.py::test_a_part_of_a_grid_is_that_part",
    "Search inside this box only": "tests/test_promises.py::test_a_part_of_a_grid_is_that_part",
    "Draw this box only": "tests/render/test_map.py",
    "The best N only": "tests/test_promises.py::test_a_part_of_a_grid_is_that_part",
}
"""The same for the help of the commands."""

ABSOLUTE = re.compile(r"\b(?:only|never|always)\b", re.I)


def sentences_of(text: str) -> list[str]:
    """Sentences with such a word; examples and names of options are none."""
    text = re.sub(r"```.*?```|`[^`]*--only[^`]*`", "", text, flags=re.S)
    return [s for s in re.split(r"(?<=[.:;|])\s+", " ".join(text.split())) if ABSOLUTE.search(s)]


def test_every_absolute_sentence_of_the_manual_is_tried_the_other_way_round() -> None:
    said = sentences_of((ROOT / "README.md").read_text(encoding="utf-8"))
    assert said
    assert [s for s in said if not any(key in s for key in MANUALS)] == []


def test_every_absolute_sentence_of_the_helps_is_tried_the_other_way_round() -> None:
    said = [
        s for path in (ROOT / "reefscan" / "cli").glob("*.py") for s in re.findall(r'help="([^"]*)', path.read_text())
    ]  # fmt: skip
    said = [s for text in said for s in sentences_of(text)]
    assert said
    assert [s for s in said if not any(key in s for key in HELPS)] == []


@pytest.mark.parametrize("key", [*MANUALS, *HELPS])
def test_what_tries_the_opposite_is_there_and_so_is_the_sentence(key: str) -> None:
    path, _, name = {**MANUALS, **HELPS}[key].partition("::")
    assert name in (ROOT / path).read_text(encoding="utf-8")
    texts = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "reefscan" / "cli").glob("*.py")]
    assert any(key in " ".join(text.read_text(encoding="utf-8").split()) for text in texts)


def test_only_the_command_line_configures_logging() -> None:
    for path in (ROOT / "reefscan").rglob("*.py"):
        if path.parent.name != "cli":
            assert not re.search(r"basicConfig|addHandler|\.setLevel\(|logging\.disable", path.read_text()), (
                path
            )


SCAN = ["scan", "--depth", "5m", "30m", "--workers", "1", "--quiet"]


@pytest.fixture(scope="module")
def mounds(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A grid with structure all over, and its finished run."""
    place = tmp_path_factory.mktemp("mounds")
    y, x = np.mgrid[:240, :240]
    cells = -18 + 4 * np.exp(-((x % 60 - 30) ** 2 + (y % 60 - 30) ** 2) / 50)
    with rasterio.open(
        place / "a.tif", "w", driver="GTiff", width=240, height=240, count=1, dtype="float32", crs="EPSG:32631",
        nodata=-9999.0, transform=rasterio.Affine(2, 0, 5e5, 0, -2, 5.5e6),
    ) as out:  # fmt: skip
        out.write((cells + np.random.default_rng(1).normal(0, 0.03, x.shape)).astype("f4"), 1)
    assert command_line([*SCAN, str(place / "a.tif"), "--out", str(place / "run")]) == 0
    return place


def places(folder: Path) -> list[tuple[float, float]]:
    sites = json.loads((folder / "candidates.geojson").read_text())["features"]
    return [tuple(site["geometry"]["coordinates"]) for site in sites]


def test_a_part_of_a_grid_is_that_part(mounds: Path, tmp_path: Path) -> None:
    whole = places(mounds / "run")
    lons, lats = sorted(lon for lon, _ in whole), sorted(lat for _, lat in whole)
    west, east = lons[0] - 1e-4, lons[len(lons) // 2]
    south, north = lats[0] - 1e-4, lats[len(lats) // 2]
    box = [f"{v:.6f}" for v in (west, south, east, north)]
    ring = [[west, south], [east, south], [east, north], [west, north], [west, south]]
    area = tmp_path / "area.geojson"
    area.write_text(json.dumps({"type": "Polygon", "coordinates": [ring]}))
    for option in (["--bbox", *box], ["--area", str(area)]):
        out = tmp_path / option[0].strip("-")
        assert command_line([*SCAN, str(mounds / "a.tif"), "--out", str(out), *option]) == 0
        there = places(out)
        assert 0 < len(there) < len(whole)
        cell = 5e-5  # two cells of 2 m, for a box is whole cells
        assert all(
            west - cell <= lon <= east + cell and south - cell <= lat <= north + cell for lon, lat in there
        )
    sites = tmp_path / "best.csv"
    assert command_line(["export", str(mounds / "run"), "--top", "3", "--out", str(sites)]) == 0
    assert len(sites.read_text().splitlines()) == 1 + 3


def test_rescore_reads_no_grid_and_writes_nothing(
    mounds: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run = tmp_path / "run"
    shutil.copytree(mounds / "run", run)
    info = json.loads((run / "run.json").read_text().replace(str(mounds), str(tmp_path / "gone")))
    (run / "run.json").write_text(json.dumps(info))
    before = contents(run)
    assert command_line(["rescore", str(run), "--top", "5"]) == 0
    assert contents(run) == before
