"""A finished run given again is read, not made; anything that changed makes it anew."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from reefscan.base.recipe import Recipe
from reefscan.join import merge as merging
from reefscan.pipeline import sheet as sheetscan
from reefscan.pipeline.scan import scan
from tests.batch.run_bytes import contents, rough, sites, write_native


@pytest.fixture
def grid(tmp_path: Path) -> Path:
    """Small rough ground."""
    return write_native(tmp_path / "ground.tif", rough(500, 500, seed=3), row=-3_000_000, col=200_000)


def refuse(*args: object, **more: object) -> None:
    raise AssertionError("the run was made again")


def test_a_finished_run_given_again_is_only_read(
    grid: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = scan(grid, out=tmp_path / "run", workers=1)
    before = contents(tmp_path / "run")
    assert sites(tmp_path / "run") > 3
    monkeypatch.setattr(sheetscan, "finish_tiles", refuse)
    monkeypatch.setattr(merging, "merge", refuse)
    again = scan(grid, out=tmp_path / "run", workers=1)
    assert repr(again.listing.sites) == repr(first.listing.sites)
    assert again.candidates["id"].tolist() == first.candidates["id"].tolist()
    assert {name: len(frame) for name, frame in again.features.items()} == {
        name: len(frame) for name, frame in first.features.items()
    }
    assert again.info["state"] == "done"
    assert contents(tmp_path / "run") == before


@pytest.mark.parametrize("change", ["input", "recipe", "lost file", "cut file", "started"])
def test_anything_that_changed_makes_the_run_anew(
    grid: Path, tmp_path: Path, change: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "run"
    scan(grid, out=out, workers=1)
    recipe = Recipe.default()
    if change == "input":
        os.utime(grid, (1, 1))
    elif change == "recipe":
        recipe = recipe.with_depth(3.0, 12.0)
    elif change == "lost file":
        (out / "map.png").unlink()
    elif change == "cut file":
        data = (out / "score.tif").read_bytes()
        (out / "score.tif").write_bytes(data[:-10])
    else:
        text = (out / "run.json").read_text()
        (out / "run.json").write_text(text.replace('"state": "done"', '"state": "started"'))
    made = []
    whole = merging.merge
    monkeypatch.setattr(merging, "merge", lambda *args, **more: made.append(1) or whole(*args, **more))
    scan(grid, recipe, out=out, workers=1)
    assert made
