"""Options in groups: the parser sees one option for each field, the command its groups."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import pytest
import typer
from typer.testing import CliRunner

from reefscan.cli import COMMANDS, _load
from reefscan.cli.grouped import grouped


@dataclass(frozen=True)
class Boat:
    draft: Annotated[str | None, typer.Option("--draft")] = None
    crew: Annotated[int, typer.Option("--crew", min=1)] = 2


def called(*words: str) -> tuple[int, list[object]]:
    got: list[object] = []

    @grouped
    def command(
        logs: Annotated[list[str], typer.Argument()],
        boat: Boat,
        quiet: Annotated[bool, typer.Option("--quiet")] = False,
    ) -> None:
        """Take soundings."""
        got.extend([logs, boat, quiet])

    app = typer.Typer(add_completion=False)
    app.command()(command)
    return CliRunner().invoke(app, words).exit_code, got


def test_a_group_is_filled_from_its_options_and_their_defaults() -> None:
    assert called("a", "b") == (0, [["a", "b"], Boat(None, 2), False])
    assert called("a", "--draft", "0.5m", "--quiet", "--crew", "4") == (0, [["a"], Boat("0.5m", 4), True])


def test_what_the_parser_checks_is_checked_in_a_group_too() -> None:
    assert called("a", "--crew", "0") == (2, [])
    assert called("--draft", "1m") == (2, [])


def test_two_options_of_one_name_are_refused_when_the_command_is_made() -> None:
    def twice(boat: Boat, crew: Annotated[int, typer.Option("--crew")] = 1) -> None: ...

    with pytest.raises(TypeError, match="two options have one name"):
        grouped(twice)


@pytest.mark.parametrize("name", list(COMMANDS))
def test_no_command_has_one_option_twice(name: str) -> None:
    flags = [flag for option in _load(name).params for flag in (*option.opts, *option.secondary_opts)]
    assert len(flags) >= 1
    assert len(set(flags)) == len(flags)
