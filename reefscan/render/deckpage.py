"""The deck sheet for a phone: one HTML file that asks no network for anything."""

from __future__ import annotations

import base64
from importlib.resources import files

from jinja2 import Environment

from reefscan.plan.legs import Ground
from reefscan.plan.model import Plan
from reefscan.render.nightpicture import pictures
from reefscan.render.sheet import sheet_of


def deck_page(plan: Plan, ground: Ground) -> bytes:
    """The sheet as HTML; every text is escaped."""
    tide, ground_map = (
        "data:image/png;base64," + base64.b64encode(picture).decode() for picture in pictures(plan, ground)
    )
    form = (files("reefscan.render") / "deck.html").read_text(encoding="utf-8")
    page = Environment(autoescape=True, trim_blocks=True).from_string(form)
    return page.render(s=sheet_of(plan), tide=tide, map=ground_map).encode("utf-8", "replace")
