"""JSON Schemas (draft 2020-12) of the files a run, its page and a plan leave behind.

The frame of each is package data; what a candidate's columns may hold is put in from `reefscan.base.columns`.
"""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any

from reefscan.base.columns import BY_NAME, Column
from reefscan.io.out.geojson import PROPERTIES

NAMES = ("candidates", "picks", "plan", "run")

_TYPES = {"number": "number", "whole": "integer", "text": "string"}


def load_schema(name: str) -> dict[str, Any]:
    """Return the schema of ``candidates`` (candidates.geojson), ``picks`` (saved from the page), ``plan`` (plan.json) or ``run`` (run.json).

    For programs that read our files, and for our own tests.
    """
    if name not in NAMES:
        raise KeyError(f"no schema {name!r}; there are {', '.join(NAMES)}")
    text = (files(__package__) / f"{name}.schema.json").read_text(encoding="utf-8")
    schema: dict[str, Any] = json.loads(text)
    if name == "candidates":
        site = schema["properties"]["features"]["items"]["properties"]["properties"]
        framed = site["properties"]
        site["properties"] = {key: framed.get(key) or _property(BY_NAME[key]) for key in PROPERTIES}
        site["required"] = list(PROPERTIES)
    return schema


def _property(column: Column) -> dict[str, Any]:
    """What a column may hold: every one may be unknown."""
    low, high = column.bounds or (None, None)
    out: dict[str, Any] = {"type": [_TYPES[column.kind], "null"], "description": column.about}
    return out | {key: bound for key, bound in (("minimum", low), ("maximum", high)) if bound is not None}
