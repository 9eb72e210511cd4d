"""What an input is known by: equal fingerprints read equal cells, and a change is seen where it matters and nowhere else."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from reefscan.base.model import Window
from reefscan.io.grids.rasters import open_grids
from reefscan.io.grids.source import SheetSource
from tests.batch.run_bytes import write_geographic, write_native

SIDE = 60
ROW, COL = -2_500_000, 250_000
FLAT = np.full((SIDE, SIDE), -9.0, np.float32)


def mosaic(folder: Path, count: int = 3) -> Path:
    """Files side by side from west to east, each a metre deeper than the last."""
    folder.mkdir()
    for i in range(count):
        write_native(folder / f"part{i}.tif", FLAT - np.float32(i), row=ROW, col=COL + i * SIDE)
    return folder


def opened(path: Path, **options: object) -> SheetSource:
    (source,) = open_grids(path, **options)  # type: ignore[arg-type]
    return source


def under(number: int) -> Window:
    """Window of one file of the mosaic."""
    return Window(ROW + 5, COL + number * SIDE + 5, 40, 40)


def later(path: Path) -> None:
    """Give a file another time of change, its bytes the same."""
    facts = path.stat()
    os.utime(path, ns=(facts.st_atime_ns, facts.st_mtime_ns + 10_000_000_000))


def test_opened_twice_an_input_is_the_same(tmp_path: Path) -> None:
    here = mosaic(tmp_path / "coast")
    one, two = opened(here), opened(here)
    assert one.fingerprint() == two.fingerprint()
    assert [one.fingerprint_of(under(i)) for i in range(3)] == [
        two.fingerprint_of(under(i)) for i in range(3)
    ]
    assert one.changed() == []


def test_windows_over_other_files_have_other_fingerprints(tmp_path: Path) -> None:
    source = opened(mosaic(tmp_path / "coast"))
    assert len({source.fingerprint_of(under(i)) for i in range(3)}) == 3


def rewritten(path: Path) -> None:
    write_native(path, FLAT - np.float32(7.5), row=ROW, col=COL + SIDE)


@pytest.mark.parametrize("change", [later, rewritten])
def test_a_changed_file_is_named_and_changes_the_windows_over_it_alone(
    tmp_path: Path, change: Callable[[Path], None]
) -> None:
    here = mosaic(tmp_path / "coast")
    before = opened(here)
    whole, parts = before.fingerprint(), [before.fingerprint_of(under(i)) for i in range(3)]
    change(here / "part1.tif")
    if change is rewritten:
        later(here / "part1.tif")
    assert before.changed() == ["part1.tif"]
    after = opened(here)
    assert after.fingerprint() != whole
    assert [after.fingerprint_of(under(i)) == parts[i] for i in range(3)] == [True, False, True]


def test_a_file_that_is_gone_is_a_changed_one(tmp_path: Path) -> None:
    here = mosaic(tmp_path / "coast")
    source = opened(here)
    (here / "part2.tif").unlink()
    assert source.changed() == ["part2.tif"]


def test_how_a_file_is_read_is_part_of_what_it_is(tmp_path: Path) -> None:
    path = write_native(tmp_path / "a.tif", FLAT, row=ROW, col=COL)
    prints = {
        str(opened(path, **options).fingerprint_of(under(0)))
        for options in ({}, {"datum_shift_m": 0.25}, {"positive": "down"}, {"unit": "ft"})
    }
    assert len(prints) == 4


def test_a_file_may_move_without_being_another(tmp_path: Path) -> None:
    first = mosaic(tmp_path / "here")
    source = opened(first)
    want = [source.fingerprint_of(under(i)) for i in range(3)]
    first.rename(tmp_path / "there")
    moved = opened(tmp_path / "there")
    assert [moved.fingerprint_of(under(i)) for i in range(3)] == want


def test_a_box_that_is_asked_for_changes_the_windows_at_its_edge(tmp_path: Path) -> None:
    """Cells beyond the box are not read, so a window across its edge is another input."""
    path = write_native(tmp_path / "long.tif", np.full((SIDE, 6000), -9.0, np.float32), row=ROW, col=COL)
    free = opened(path)
    lon, lat = free.lonlat(np.array([ROW + SIDE, ROW]), np.array([COL, COL + 600]))
    boxed = opened(path, bbox=(lon[0], lat[0], lon[1], lat[1]))
    assert boxed.extent.col_end < free.extent.col_end
    assert boxed.fingerprint() != free.fingerprint()
    edge = Window(ROW + 5, boxed.extent.col_end - 10, 20, 20)
    assert boxed.fingerprint_of(edge) != free.fingerprint_of(edge)


def test_a_file_that_is_sampled_is_seen_under_all_its_cells(tmp_path: Path) -> None:
    """Every window that has a cell of the file changes with it, for sampled outlines are no boxes."""
    path = write_geographic(
        tmp_path / "degrees.tif", np.full((150, 150), -8.0, np.float32), lon=13.2, lat=45.0
    )
    before = opened(path)
    e = before.extent
    corners = [
        Window(row, col, 4, 4) for row in (e.row + 2, e.row_end - 6) for col in (e.col + 2, e.col_end - 6)
    ]
    old = [before.fingerprint_of(window) for window in corners]
    later(path)
    after = opened(path)
    assert all(after.fingerprint_of(w) != was for w, was in zip(corners, old, strict=True))


def test_what_lies_far_from_every_file_depends_on_none(tmp_path: Path) -> None:
    here = mosaic(tmp_path / "coast")
    far = Window(ROW + 5_000, COL, 40, 40)
    before = opened(here).fingerprint_of(far)
    later(here / "part0.tif")
    assert opened(here).fingerprint_of(far) == before
