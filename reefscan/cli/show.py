"""How a list of sites is shown: a table for a person, JSON for a program."""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from reefscan.base.caution import CAUTION

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


def print_run(run: Any, *, unit: str, best: bool, as_json: bool, first: Sequence[str] = ()) -> None:
    """Print the list of a `reefscan.Run` or of a rescored one: the table and the files on standard output, warnings on standard error.

    What is known of closed ground, and what depths are counted from, stands above everything. ``first`` are warnings of the
    command itself; ``as_json`` prints one JSON object instead.
    """
    from reefscan.base.datum import datum_of
    from reefscan.surroundings.known import closed_words

    sites, info = run.listing.sites, run.info
    if as_json:
        _print_json(sites, info, run.folder)
        return
    print(f"{closed_words(info)}\n{datum_of(info).top}\n")
    _print_sites(sites, unit=unit, best=best)
    _print_notes(info.get("limits", ()), run.folder)
    for line in (*first, *info.get("warnings", ())):
        print(f"warning: {line}", file=sys.stderr)
    print(f"caution: {CAUTION}", file=sys.stderr)


def _print_sites(sites: Sequence[Mapping[str, Any]], *, unit: str, best: bool) -> None:
    """Print the first sites as a table on standard output: all, or the best of each place."""
    from rich.box import SIMPLE_HEAD
    from rich.console import Console
    from rich.table import Table

    from reefscan.base.degrees import position_words
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
    seconds = sum(site.get("second_to") is not None for site in sites)
    rows = [site for site in sites if not best or site.get("second_to") is None]
    for site in rows[:SHOWN]:
        near = "" if site.get("second_to") is None else f"\nnear {site['second_to']}"
        table.add_row(
            str(site["rank"]), f"{site['kind']}{near}", _length(site.get("depth_m"), unit, length_words),
            _length(site.get("height_m"), unit, length_words), f"{site['score']:.1f}",
            _sure(site.get("confidence")), position_words(site["lon"], site["lat"]), str(site["why"]),
        )  # fmt: skip
    console.print(table)
    if len(rows) > SHOWN:
        console.print(f"... and {len(rows) - SHOWN} more.")
    console.print(
        "score: how well the place fits the recipe, 0 to 100. sure: chance that it is as tall as the recipe asks."
    )
    if seconds:
        console.print(
            f"{seconds} of {len(sites)} sites are near a better one, at the same place: "
            + ("left out here." if best else "'near 3' says which. --sites best leaves them out.")
        )


def _print_notes(limits: Sequence[str], folder: Path | None) -> None:
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


def _print_json(sites: Sequence[Mapping[str, Any]], info: Mapping[str, Any], folder: Path | None) -> None:
    """Print the list and the facts of the run as one JSON object on standard output."""
    from reefscan.base.datum import datum_of
    from reefscan.io.out.geojson import to_text
    from reefscan.surroundings.known import closed_words

    collection = json.loads(to_text(sites, caution=CAUTION, datum=datum_of(info)))
    out = {
        "schema": "reefscan-list",
        "schema_version": 1,
        "state": info.get("state", "done"),
        "folder": None if folder is None else str(folder),
        "closed_ground": closed_words(info),
        "datum": datum_of(info).top,
        "caution": CAUTION,
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


def _length(value: Any, unit: str, words: Any) -> str:
    return "?" if value is None or value != value else str(words(float(value), unit))


def _sure(value: Any) -> str:
    from reefscan.score.reasons import sure_words

    return "-" if value is None or value != value else sure_words(float(value))
