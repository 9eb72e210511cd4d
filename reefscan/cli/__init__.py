"""The command line: one file per command, each loaded only when it is called.

The only place that prints. Results go to standard output, talk to standard error; exit codes are
0 done, 1 error, 2 usage, 3 finished with failed tiles, 130 interrupted.
"""

from __future__ import annotations

import functools
import importlib
import logging
import os
import sys
from typing import Any

import typer
from typer.core import TyperCommand, TyperGroup

from reefscan.cli import interrupt
from reefscan.cli.lean import lean
from reefscan.cli.quiet import hush

COMMANDS: dict[str, str] = {
    "scan": "Find, score and rank drop points in a seabed grid.",
    "rescore": "List the sites of a run again with another recipe; no grid is read.",
    "recipe": "Print a recipe with a comment on every line.",
    "layers": "Write maps of slope, roughness and other measures of the ground.",
    "look": "Say what is in a file and how it would be read.",
    "grid": "Make a grid from your own soundings.",
    "review": "Make one page, for a phone or a computer, to look through a run.",
    "cards": "Make cards of the sites to print.",
    "map": "Draw the map of a run.",
    "export": "Write the sites as waypoints for a plotter.",
    "plan": "Plan a night: sites, rope, order, clock, a sheet for the boat.",
    "compare": "Say what changed between two runs.",
    "status": "Say whether a run is finished.",
}
"""Commands by name: the module ``reefscan.cli.<name>`` has ``command``; the text stands in the help."""


INTERRUPTED = 130


def _for_people(params: list[Any]) -> list[Any]:
    """Parameters as a person reads them in the help: a flag has no type, and an argument is called what its metavar says."""
    for param in params:
        argument = param.param_type_name == "argument"
        if argument or getattr(param, "is_flag", False):
            param.display_type_rich = _no_type
        for holder in (
            param,
            getattr(param, "type", None),
        ):  # of the newest version that we take, and of the oldest
            for name in ("_get_number_range_help_str", "_describe_range"):
                if hasattr(holder, name):
                    setattr(holder, name, _no_range)
        if argument and param.metavar:
            param.get_usage_pieces = functools.partial(_called, param.metavar)
    return params


def _no_type(ctx: Any) -> None:
    """Name no type."""


def _no_range() -> str:
    """Tell no limits as formulas: the words of the option say them."""
    return ""


def _called(metavar: str, ctx: Any) -> list[str]:
    return [metavar]


class _Command(TyperCommand):
    """A command with a help for people."""

    def get_params(self, ctx: Any) -> Any:
        return _for_people(super().get_params(ctx))


class _Lazy(TyperCommand):
    """Stands for a command in the help; becomes the real one when called."""

    def make_context(self, info_name: Any, args: Any, parent: Any = None, **extra: Any) -> Any:
        return _load(str(self.name)).make_context(info_name, args, parent=parent, **extra)


class _Commands(TyperGroup):
    """The group of commands; none is imported to list them."""

    def get_params(self, ctx: Any) -> Any:
        return _for_people(super().get_params(ctx))

    def list_commands(self, ctx: Any) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        if cmd_name not in COMMANDS:
            return None
        return _Lazy(name=cmd_name, help=COMMANDS[cmd_name], short_help=COMMANDS[cmd_name])


def _load(name: str) -> Any:
    module = importlib.import_module(f"reefscan.cli.{name}")
    single = typer.Typer(add_completion=False, pretty_exceptions_enable=False)
    single.command(name=name, cls=_Command)(module.command)
    return typer.main.get_command(single)


app = typer.Typer(cls=_Commands, add_completion=False, pretty_exceptions_enable=False, no_args_is_help=True)


@app.callback()
def _root(
    debug: bool = typer.Option(
        False, "--debug", help="Show all details of an error (may stand anywhere in the line)."
    ),
    version: bool = typer.Option(False, "--version", help="Print the version and stop."),
) -> None:
    """Find places to set baited nets and pots: beside the ledges, troughs and rock piles of a seabed grid, best first, each with its reason.

    Not for navigation.
    """


def main(argv: list[str] | None = None) -> None:
    """Run the command line and exit; the entry point of ``reefscan``."""
    lean()
    for name in ("stdout", "stderr"):  # a service may start it with either closed
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115 - held to the end
        elif hasattr(stream := getattr(sys, name), "reconfigure"):
            # a console or a file may know fewer letters than a table is drawn with; a question mark is better than no list
            stream.reconfigure(errors="replace")
    if "--debug" not in (sys.argv[1:] if argv is None else argv):
        hush()
    # Asked to end (by a cluster's queue, a service manager, kill), it ends as for Ctrl-C: with words, workers and lock gone.
    interrupt.listen()
    sys.exit(run(sys.argv[1:] if argv is None else argv))


def run(argv: list[str]) -> int:
    """Run the command line and return the exit code."""
    cut = argv.index("--") if "--" in argv else len(argv)
    debug = "--debug" in argv[:cut]
    argv = [a for a in argv[:cut] if a != "--debug"] + argv[cut:]
    logging.basicConfig(
        stream=sys.stderr, level=logging.DEBUG if debug else logging.ERROR, format="%(name)s: %(message)s"
    )
    if argv and argv[0] == "--version":
        from importlib.metadata import version

        print(f"reefscan {version('reefscan')}")
        return 0
    if "" in argv:  # as a path it would be the folder one is in, as a name nothing
        return _say(
            "one value is empty, as where a variable of the shell is not set; give it, or leave its option out (see 'reefscan --help')",
            2,
        )
    try:
        result = app(args=argv, prog_name="reefscan", standalone_mode=False)
    except typer.Exit as stop:
        result = stop.exit_code
    except (KeyboardInterrupt, typer.Abort):
        result = INTERRUPTED
    except (BrokenPipeError, SystemExit) as stop:
        # The reader of our output went away (head, less): not an error, and no second one at exit. The option parser
        # and the writer of tables turn it into an exit of their own.
        if not isinstance(stop, BrokenPipeError) and not isinstance(stop.__context__, BrokenPipeError):
            raise
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as error:
        if debug:
            import traceback

            traceback.print_exc()
        return _refused(error)
    code = int(result) if isinstance(result, int) else 0
    if code == INTERRUPTED:  # newer option parsers turn Ctrl-C into this code without a word
        return _say("interrupted; what was finished is kept: give the same command again to go on", code)
    return code


def _refused(error: Exception) -> int:
    """Print one line about what went wrong and return the exit code."""
    from reefscan.base.errors import ReefscanError

    if isinstance(error, ReefscanError):
        return _say(str(error), error.exit_code)
    if hasattr(error, "format_message"):  # a usage error of the option parser
        context = getattr(error, "ctx", None)
        path = context.command_path if context is not None else "reefscan"
        code = int(getattr(error, "exit_code", 2))
        text = str(error.format_message())
        return _say(f"{text} (see '{path} --help')", code) if text else code
    if isinstance(error, OSError):
        where = f"{error.filename}: " if error.filename else ""
        return _say(f"{where}{error.strerror or error}", 1)
    if isinstance(error, MemoryError):
        return _say("out of memory; give --out if you did not, try fewer --workers or a smaller --tile", 1)
    return _say(f"internal error: {type(error).__name__}: {error} (run again with --debug for details)", 1)


LONGEST = 500
"""Characters of a message at most: one that quotes a file could fill the screen."""


def _say(text: str, code: int) -> int:
    line = " ".join("".join(ch if ch.isprintable() or ch.isspace() else "?" for ch in text).split())
    if len(line) > LONGEST:  # what is wrong stands first, what to do last
        line = f"{line[: LONGEST * 2 // 3]} ... {line[-LONGEST // 3 :]}"
    print(f"reefscan: {line}", file=sys.stderr)
    return code
