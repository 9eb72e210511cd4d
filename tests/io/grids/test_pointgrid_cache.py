"""A text that was put on its grid once is kept; by other rules of reading it may say something else, and is read anew."""

from __future__ import annotations

from pathlib import Path

import pytest

from reefscan.io import cache
from reefscan.io.grids import pointgrid


def test_a_text_is_put_on_its_grid_once_for_the_rules_it_is_read_by(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("REEFSCAN_CACHE", str(tmp_path / "kept"))
    text = tmp_path / "bed.xyz"
    text.write_text(
        "".join(f"{500000 + 2 * i} {5000000 + 2 * j} {-9 - 0.1 * i}\n" for i in range(12) for j in range(12))
    )
    first = pointgrid.grid_from_points(str(text), "bed.xyz")
    with monkeypatch.context() as patch:
        patch.setattr(pointgrid, "read_points", None)  # not read again
        assert pointgrid.grid_from_points(str(text), "bed.xyz") == first
    monkeypatch.setattr(cache, "reader_rules", lambda: "others")
    assert pointgrid.grid_from_points(str(text), "bed.xyz") != first
