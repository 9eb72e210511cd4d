"""How a list of sites is shown: a table for a person, JSON for a program."""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

SHOWN = 12
"""Rows of the printed table; the rest is in the files."""

FILES = {
    "candidates.geojson": "the ranked sites",
    "candidates.parquet": "every candidate with all its measures",
    "features.gpkg": "ledges, troughs and rises",
    "score.tif": "score of every cell",
    "map.png": "the map",
    "surroundings.gpkg": "closed ground and what else was given from outside the grid, as used",
    "recipe.toml": "the recipe as used",
    "run.json": "inputs, versions, warnings, timings",
}


def print_closed(info: Mapping[str, Any]) -> None:
    """Print what is known of closed ground: it stands above everything."""
    from reefscan.surroundings.known import closed_words

    print(closed_words(info) + "\n")


def print_sites(sites: Sequence[Mapping[str, Any]], *, unit: str) -> None:
    """Print the best sites as a table on standard output."""
    from rich.box import SIMPLE_HEAD
    from rich.console import Console
    from rich.table import Table

    from reefscan.score.reasons import length_words

    console = Console()
    if not console.is_terminal:
        console = Console(width=150)
    if not sites:
        console.print("No site is listed.")
        return
    table = Table(box=SIMPLE_HEAD, pad_edge=False, padding=(0, 1), show_edge=False)
    for name in ("#", "kind", "depth", "height", "score", "sure", "position"):
        table.add_column(name, justify="left" if name in ("kind", "position") else "right", no_wrap=True)
    table.add_column("why", ratio=1)
    for site in sites[:SHOWN]:
        table.add_row(
            str(site["rank"]), str(site["kind"]), _length(site.get("depth_m"), unit, length_words),
            _length(site.get("height_m"), unit, length_words), f"{site['score']:.1f}",
            _sure(site.get("confidence")), position_words(site["lon"], site["lat"]), str(site["why"]),
        )  # fmt: skip
    console.print(table)
    if len(sites) > SHOWN:
        console.print(f"... and {len(sites) - SHOWN} more.")


def print_notes(limits: Sequence[str], folder: Path | None) -> None:
    """Print what the grid could not have shown, and where the files are."""
    if limits:
        print("\nWhat this grid cannot show:")
        for line in limits:
            print(f"  {line}")
    if folder is not None:
        print(f"\nIn {folder}:")
        for name, what in FILES.items():
            if (folder / name).exists():
                print(f"  {name:<20} {what}")
    print()


def print_warnings(warnings: Sequence[str], caution: str) -> None:
    """Print warnings and the caution on standard error."""
    for line in warnings:
        print(f"warning: {line}", file=sys.stderr)
    print(f"caution: {caution}", file=sys.stderr)


def print_json(
    sites: Sequence[Mapping[str, Any]], info: Mapping[str, Any], *, folder: Path | None, caution: str
) -> None:
    """Print the list and the facts of the run as one JSON object on standard output."""
    from reefscan.io.out.geojson import to_text
    from reefscan.surroundings.known import closed_words

    collection = json.loads(to_text(sites, caution=caution))
    out = {
        "schema": "reefscan-list",
        "schema_version": 1,
        "state": info.get("state", "done"),
        "folder": None if folder is None else str(folder),
        "closed_ground": closed_words(info),
        "caution": caution,
        "warnings": list(info.get("warnings", ())),
        "limits": list(info.get("limits", ())),
        "sites": [
            {
                **feature["properties"],
                "lon": feature["geometry"]["coordinates"][0],
                "lat": feature["geometry"]["coordinates"][1],
            }
            for feature in collection["features"]
        ],
    }
    sys.stdout.write(json.dumps(out, indent=1, ensure_ascii=False, allow_nan=False, default=str) + "\n")


def position_words(lon: float, lat: float) -> str:
    """Say a position in degrees and decimal minutes, as plotters do.

    Examples
    --------
    >>> position_words(-63.5234567, 44.9999999)
    "45°00.000'N 63°31.407'W"
    """
    return f"{_angle(lat, 'N', 'S')} {_angle(lon, 'E', 'W')}"


def _angle(value: float, plus: str, minus: str) -> str:
    thousandths = round(abs(value) * 60_000)  # of a minute, whole, so that 59.9996' carries over
    degrees, rest = divmod(thousandths, 60_000)
    return f"{degrees}°{rest // 1000:02d}.{rest % 1000:03d}'{plus if value >= 0 else minus}"


def _length(value: Any, unit: str, words: Any) -> str:
    return "?" if value is None or value != value else str(words(float(value), unit))


def _sure(value: Any) -> str:
    from reefscan.score.reasons import sure_words

    return "-" if value is None or value != value else sure_words(float(value))
