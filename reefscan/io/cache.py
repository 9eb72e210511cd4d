"""Where what was found out about files is kept between runs."""

from __future__ import annotations

import functools
import hashlib
import os
from pathlib import Path

import platformdirs


def cache_folder() -> Path:
    """Where indexes and converted point files are kept (``REEFSCAN_CACHE`` or the system's cache folder)."""
    return Path(os.environ.get("REEFSCAN_CACHE") or platformdirs.user_cache_path("reefscan", appauthor=False))


@functools.cache
def reader_rules() -> str:
    """Name the reader's own source as it is installed: read by other rules, a file may say something else."""
    root = Path(__file__).parent
    files = sorted(root.rglob("*.py"))
    told = [(str(path.relative_to(root)), path.stat().st_size, path.stat().st_mtime_ns) for path in files]
    return hashlib.sha256(repr(told).encode()).hexdigest()[:16]
