"""Check everything with one command: ``python scripts/test.py``.

Makes ``.venv`` if it is missing, installs the package with its pinned dependencies, then runs the
linter, the formatter's check, the type checker, the import layers and all tests (docstring
examples among them). Ends with a summary; the exit code is 0 only if every step passed.

What follows the command goes to pytest, and then pytest alone is run::

    python scripts/test.py tests/io -k bag
    python scripts/test.py --lower-bounds       # the oldest versions the package allows

Standard library only.
"""

import os
import re
import subprocess
import sys
import time

from bootstrap import ROOT, environment

LOWER = "--lower-bounds"

# At the lower bounds only what touches the dependencies' own interfaces is worth the time, and
# tests that compare with a reference library are left out: those libraries want newer versions.
LOWER_SELECTION = [
    "tests/test_packaging.py",
    "tests/test_units.py",
    "tests/base/test_recipe.py",
    "tests/score/test_scoring.py",
    "tests/score/test_ranking.py",
    "tests/pipeline/test_scan.py",
    "tests/plan/test_choose.py",
    "tests/plan/test_night.py",
    "tests/test_readme.py",
    "tests/cli",
]


def _step(name: str, command: list[str], results: list[tuple[str, int, float, str]]) -> None:
    """Run one check, show what it says while it says it, and keep its last line."""
    print(f"\n--- {name}", flush=True)
    start = time.monotonic()
    closing = ""
    with subprocess.Popen(
        command,
        cwd=ROOT,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        encoding="utf-8",
        errors="replace",
    ) as process:
        assert process.stdout is not None
        for line in process.stdout:
            sys.stdout.write(line)
            sys.stdout.flush()
            if line.strip():
                closing = re.sub(r"\x1b\[[0-9;]*m", "", line).strip(" =\n")
    results.append((name, process.returncode, time.monotonic() - start, closing))


def _workers(options: list[str]) -> list[str]:
    """Two workers for a whole run; one process where a person asks for something particular."""
    if any(option.startswith(("-n", "--pdb", "--numprocesses")) for option in options):
        return []
    narrow = any(not option.startswith("-") for option in options)
    return [] if narrow or (os.cpu_count() or 1) < 2 else ["-n", "2", "--dist", "loadfile"]


def main(arguments: list[str]) -> int:
    """Run the checks; return the exit code."""
    lower = LOWER in arguments
    options = [argument for argument in arguments if argument != LOWER]
    os.environ.setdefault("PYTHONUTF8", "1")
    results: list[tuple[str, int, float, str]] = []
    if lower:
        python = str(environment("test", "constraints-min.txt", ".venv-lower"))
        chosen = options or [path for path in LOWER_SELECTION if (ROOT / path).exists()]
        # Old libraries warn about their own past; here only results count.
        _step(
            "pytest at the lower bounds",
            [python, "-m", "pytest", "-q", "--disable-warnings", "-W", "default", *chosen],
            results,
        )
    else:
        python = str(environment("dev"))
        if not options:
            _step("ruff check", [python, "-m", "ruff", "check", "."], results)
            _step("ruff format", [python, "-m", "ruff", "format", "--check", "."], results)
            _step("mypy", [python, "-m", "mypy"], results)
            layers = "from importlinter.cli import lint_imports_command; lint_imports_command()"
            _step("import layers", [python, "-c", layers, "--no-cache"], results)
        _step("pytest", [python, "-m", "pytest", *_workers(options), *options], results)

    print("\n--- summary")
    width = max(len(name) for name, *_ in results)
    for name, code, seconds, closing in results:
        print(f"{'ok  ' if code == 0 else 'FAIL'}  {name:{width}}  {seconds:6.1f} s  {closing}")
    return int(any(code for _, code, _, _ in results))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
