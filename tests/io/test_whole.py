"""Files are written whole or not at all, and what goes wrong is told by the name that the person gave."""

from __future__ import annotations

from pathlib import Path

import pytest

from reefscan.errors import RunFolderError
from reefscan.io.whole import write_whole


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
