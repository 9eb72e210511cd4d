"""Files are written whole or not at all, and what goes wrong is told by the name that the person gave."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from reefscan.base.errors import RunFolderError
from reefscan.base.model import Sheet, Window
from reefscan.io.out.layers import layer_rasters
from reefscan.io.out.scoreraster import score_raster
from reefscan.io.out.soundings_grid import GridCells, write_grid
from reefscan.io.whole import write_whole

SHEET, EXTENT = Sheet("EPSG:32631", 2.0), Window(0, 0, 512, 512)


def test_where_nothing_can_be_written_the_file_asked_for_is_named(tmp_path: Path) -> None:
    """Under a file neither the writing nor the clearing away can be done; on a read-only disk likewise."""
    (tmp_path / "taken").write_text("mine", encoding="utf-8")
    with pytest.raises(RunFolderError, match=r"taken/page\.html: cannot be written"):
        write_whole(tmp_path / "taken" / "page.html", "x")
    assert (tmp_path / "taken").read_text(encoding="utf-8") == "mine"


def test_a_write_that_fails_leaves_the_old_file_and_nothing_beside_it(tmp_path: Path) -> None:
    write_whole(tmp_path / "a.txt", "old")
    (tmp_path / "b.txt").mkdir()
    with pytest.raises(RunFolderError, match=r"b\.txt: cannot be written"):
        write_whole(tmp_path / "b.txt", "new")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.txt", "b.txt"]
    assert (tmp_path / "a.txt").read_text(encoding="utf-8") == "old"


@pytest.mark.parametrize("form", ["score", "layers", "grid"])
def test_an_input_that_fails_meanwhile_is_not_told_as_a_file_that_cannot_be_written(
    tmp_path: Path, form: str
) -> None:
    def gone() -> Iterator[GridCells]:
        open(tmp_path / "input.tif", "rb").close()
        yield GridCells(EXTENT, *(np.zeros((512, 512)) for _ in range(4)))  # type: ignore[arg-type]

    with pytest.raises(FileNotFoundError, match=r"input\.tif") as caught:
        if form == "score":
            with score_raster(tmp_path / "score.tif", SHEET, EXTENT):
                next(gone())
        elif form == "layers":
            labels = {"units": "m", "long_name": "x", "reference": "y"}
            with layer_rasters({"a": tmp_path / "a.tif"}, SHEET, EXTENT, {"a": labels}):
                next(gone())
        else:
            write_grid(tmp_path / "own.tif", SHEET, EXTENT, gone(), tags={})
    assert not isinstance(caught.value, RunFolderError)
    assert not list(tmp_path.iterdir())
