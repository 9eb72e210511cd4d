"""JSON Schemas (draft 2020-12) of the files a run leaves behind, as package data."""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any

NAMES = ("candidates", "run")


def load_schema(name: str) -> dict[str, Any]:
    """Return the schema of ``candidates`` (candidates.geojson) or ``run`` (run.json)."""
    if name not in NAMES:
        raise KeyError(f"no schema {name!r}; there are {', '.join(NAMES)}")
    text = (files(__package__) / f"{name}.schema.json").read_text(encoding="utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema
