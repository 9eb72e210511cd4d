"""``reefscan compare``: what became of the sites between two runs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from reefscan.base.errors import InputError
from reefscan.cli.options import RunUnit, metres

if TYPE_CHECKING:
    from reefscan.review.compare import Change
    from reefscan.review.opened import OpenedRun


SHOWN = 12
"""Sites shown of each kind of change; a new recipe can move every one."""


def command(
    run_a: Annotated[Path, typer.Argument(metavar="RUN_A", help="The earlier run.")],
    run_b: Annotated[Path, typer.Argument(metavar="RUN_B", help="The later run.")],
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the result as JSON on standard output.")
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="FILE", help="A map of the changes: .png, .pdf or .svg.", show_default=False
        ),
    ] = None,
    within: Annotated[
        str,
        typer.Option(
            "--within", metavar="LENGTH", help="How far the same site may lie apart in two surveys."
        ),
    ] = "30m",
    unit: RunUnit = None,
) -> None:
    """Say which sites came, went, rose and fell between two runs, and why.

    As in: reefscan compare runs/coast runs/other --out changes.png
    """
    import json

    from reefscan.io.out.runfolder import run_inputs
    from reefscan.io.outs import refuse_foreign
    from reefscan.review.compare import Side, compare_runs
    from reefscan.review.compare import as_json as document
    from reefscan.review.opened import open_run

    within_m = metres("--within", within)
    if within_m < 0:
        raise InputError(f"--within {within}: is negative; wanted 0 or more")
    if out is not None:
        refuse_foreign(out, [*run_inputs(run_a), *run_inputs(run_b)])
    opened = [open_run(run_a, unit=unit)]
    opened.append(open_run(run_b, unit=opened[0].unit))
    names = [o.name for o in opened]
    if names[0] == names[1]:
        names = [str(run_a), str(run_b)]
    a, b = (
        Side(n, o.table, o.listing, o.recipe, o.known, o.unit) for n, o in zip(names, opened, strict=True)
    )
    changes = compare_runs(a, b, within_m=within_m)
    if out is not None:
        _draw(out, changes, opened[1], f"{a.name} → {b.name}")
    facts = document(changes, name_a=a.name, name_b=b.name)
    facts["closed_ground"] = {name: o.closed_words for name, o in zip(names, opened, strict=True)}
    if as_json:
        typer.echo(json.dumps(facts, ensure_ascii=False, allow_nan=False, indent=1))
        return
    for side in (0, 1):
        typer.echo(f"{names[side]}: {opened[side].closed_words}")
    _print(changes)
    typer.echo(", ".join(f"{facts['counts'][w]} {w}" for w in ("came", "went", "rose", "fell", "same")))


def _print(changes: list[Change]) -> None:
    """Print the sites that came, went or changed their score; how many more there are; how many only changed places."""
    import sys
    from collections import Counter

    from rich.console import Console
    from rich.table import Table

    from reefscan.base.degrees import position_words

    table = Table(box=None, header_style="bold", pad_edge=False)
    for head in ("", "number", "kind", "position", "score", "why"):
        table.add_column(head, no_wrap=head in ("number", "position", "score"))
    shown: Counter[str] = Counter()
    moved = 0
    for c in changes:
        if c.what == "same":
            continue
        if c.what in ("rose", "fell") and c.score_a == c.score_b:
            moved += 1
            continue
        shown[c.what] += 1
        if shown[c.what] <= SHOWN:
            table.add_row(
                c.what,
                f"{c.rank_a or '-'} → {c.rank_b or '-'}",
                c.kind,
                position_words(c.lon, c.lat),
                f"{_points(c.score_a)} → {_points(c.score_b)}",
                _plain(c.because),
            )
    Console(width=None if sys.stdout.isatty() else 150).print(table)
    for what, number in shown.items():
        if number > SHOWN:
            typer.echo(f"... and {number - SHOWN} more that {what} (--json lists all)")
    if moved:
        typer.echo(f"{moved} kept their score and only changed places")


def _points(score: float | None) -> str:
    return "-" if score is None else f"{score:.1f}"


def _plain(text: str) -> str:
    """Text that the table prints as it is, without reading brackets as style."""
    from rich.markup import escape

    return escape("".join(ch if ch.isprintable() else " " for ch in text))


def _draw(out: Path, changes: list[Change], opened: OpenedRun, title: str) -> None:
    from reefscan.cli.lean import figures

    figures()
    from reefscan.io.outs import write_out
    from reefscan.render.changes import draw_changes
    from reefscan.render.map import FORMATS
    from reefscan.review.ground import overview_of_all

    fmt = out.suffix.lower().lstrip(".")
    if fmt not in FORMATS:
        raise InputError(f"--out {out}: ends in {out.suffix or 'nothing'}; wanted .png, .pdf or .svg")
    ground = overview_of_all(opened.sources, most=1600)
    data = draw_changes(
        ground,
        [vars(c) for c in changes],
        band_max_m=opened.recipe.depth_band[1],
        title=title,
        closed_text=opened.closed_words,
        unit=opened.unit,
        fmt=fmt,
    )
    write_out(out, data)
    typer.echo(str(out), err=True)
