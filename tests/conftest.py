"""Shared fixtures: where real data lie, and seeded random numbers."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest


@pytest.fixture(scope="session")
def realdata() -> Path:
    """Folder of real public grids and logs; the test is skipped where it is absent."""
    default = Path(__file__).resolve().parents[2] / "shared" / "realdata"
    folder = Path(os.environ.get("REEFSCAN_REALDATA", default))
    if not folder.is_dir():
        pytest.skip(f"real data not on this machine (looked in {folder}; set REEFSCAN_REALDATA)")
    return folder


@pytest.fixture
def rng() -> np.random.Generator:
    """A generator with a fixed seed, fresh for every test."""
    return np.random.default_rng(20260)
