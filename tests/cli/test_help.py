"""The help of every command, read as a person reads it."""

from __future__ import annotations

import re
import subprocess
import sys

import pytest

from reefscan.cli import COMMANDS


@pytest.mark.parametrize("command", ["", *COMMANDS])
def test_the_help_names_types_as_people_do(command: str) -> None:
    """A flag has no type; a file is a FILE, a number an N or what it counts; no word of the option parser's."""
    arguments = [command] if command else []
    told = subprocess.run(
        [sys.executable, "-m", "reefscan", *arguments, "--help"], capture_output=True, text=True, check=True
    ).stdout
    assert not re.search(r"<[a-z\[\] ]+>|list\[|[{}]|\[[A-Z]+\.\.\.\]|x>=|<=x", told)
    assert "--help" in told
    assert not command or f"reefscan {command} [OPTIONS]" in told
