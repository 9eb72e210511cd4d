"""Web addresses that were typed on this machine. A run that somebody else made may name others: those are not opened."""

from __future__ import annotations

import hashlib
from contextlib import suppress
from pathlib import Path

from reefscan.io.cache import cache_folder


def remember(address: str) -> None:
    """Note that a person typed an address; only a sum of it is kept, for it may hold a key."""
    with suppress(OSError):  # it only saves typing it again
        place = _place(address)
        place.parent.mkdir(parents=True, exist_ok=True)
        place.touch()


def was_named(address: str) -> bool:
    """True if the address was typed before by a user of this cache folder."""
    return _place(address).exists()


def _place(address: str) -> Path:
    return cache_folder() / f"address-{hashlib.sha256(address.encode('utf-8', 'replace')).hexdigest()[:32]}"
