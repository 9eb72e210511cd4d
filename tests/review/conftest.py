"""One invented run for all tests of this folder."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent))

from seabed import ArraySource, seabed, sites, write_grid, write_run


@pytest.fixture(scope="session")
def invented(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with ``coast.tif`` and the run ``coast`` made from it."""
    base = tmp_path_factory.mktemp("invented")
    source = ArraySource(seabed())
    grid = write_grid(base / "coast.tif", source)
    write_run(base / "coast", grid, sites(source, 120))
    write_run(base / "empty", grid, sites(source, 3).head(0))
    return base
