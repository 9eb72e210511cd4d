"""Composes the offline page: one HTML file with everything inside, which asks no network for anything."""

from __future__ import annotations

import base64
import gzip
import html
import json
from importlib.resources import files
from typing import Any

from reefscan.base.errors import InputError

SCRIPTS = (
    "score.js",
    "closed.js",
    "ground.js",
    "words.js",
    "store.js",
    "map.js",
    "mapdraw.js",
    "mapfigures.js",
    "way.js",
    "here.js",
    "list.js",
    "card.js",
    "profile.js",
    "undo.js",
    "picks.js",
    "waypoints.js",
    "takealong.js",
    "pickspanel.js",
    "print.js",
    "awake.js",
    "controls.js",
    "app.js",
)
"""In the order they are run; ``score.js`` is the formula and stands alone."""

PLAIN_BYTES = 300_000
"""Data up to this size travel as readable JSON; larger ones compressed."""

MOST_BYTES = 8_000_000


def script_text() -> str:
    """All scripts of the page, in order."""
    folder = files("reefscan.review") / "web"
    return "\n".join(folder.joinpath(name).read_text(encoding="utf-8") for name in SCRIPTS)


def compose_page(data: dict[str, Any]) -> bytes:
    """Build the page from `reefscan.review.pagedata.page_data`.

    Parameters
    ----------
    data : dict

    Returns
    -------
    bytes
        UTF-8 HTML, the same for the same data.

    Raises
    ------
    InputError
        If the page would be larger than 8 MB: draw a smaller picture or fewer sites.
    """
    data = dict(data)
    picture = dict(data["picture"])
    uri = picture.pop("uri")
    data["picture"] = picture
    folder = files("reefscan.review") / "web"
    values = {
        "TITLE": html.escape("Sites of " + " ".join(str(data["run"]).split())),
        "CLOSED": html.escape(str(data["closed_words"])),
        "CAUTION": html.escape(f"{data['datum']['top']} {data['caution']}"),
        "CSS": folder.joinpath("page.css").read_text(encoding="utf-8"),
        "JS": script_text(),
        "PICTURE": uri,
        "DATA": _packed(data),
    }
    out = folder.joinpath("page.html").read_text(encoding="utf-8")
    pieces = out.split("@@")  # odd pieces are keys; a value is never searched again
    page = "".join(values[p] if i % 2 else p for i, p in enumerate(pieces)).encode("utf-8", "replace")
    if len(page) > MOST_BYTES:
        raise InputError(
            f"the page would be {len(page) / 1e6:.1f} MB; wanted under 8 MB: ask for a smaller picture "
            "(--picture) or scan a smaller area"
        )
    return page


def _packed(data: dict[str, Any]) -> str:
    """JSON that cannot end its script element, or the same gzipped (without a date) when large."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    if len(text) <= PLAIN_BYTES:
        return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")
    # level 9 takes 0.26 s of CPU more, and 1 % less room
    packed = gzip.compress(text.encode("utf-8", "replace"), compresslevel=6, mtime=0)
    return "gzip64:" + base64.b64encode(packed).decode()
