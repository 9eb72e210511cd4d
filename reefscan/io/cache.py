"""Where what was found out about files is kept between runs."""

from __future__ import annotations

import os
from pathlib import Path


def cache_folder() -> Path:
    """Where indexes and converted point files are kept (``REEFSCAN_CACHE`` or the system's cache folder)."""
    told = os.environ.get("REEFSCAN_CACHE")
    if told:
        return Path(told)
    base = os.environ.get("LOCALAPPDATA") or os.environ.get("XDG_CACHE_HOME") or "~/.cache"
    return Path(base).expanduser() / "reefscan"
