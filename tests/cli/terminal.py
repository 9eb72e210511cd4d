"""A real terminal for a command: what it asks is answered with lines that were typed ahead."""

from __future__ import annotations

import os
import pty
import subprocess
import sys


def at_terminal(arguments: list[str], typed: str) -> tuple[int, str]:
    """Run the command with a real terminal for what it asks and what is typed; return its code and what the terminal showed."""
    master, slave = pty.openpty()
    os.write(master, typed.encode())
    done = subprocess.Popen(
        [sys.executable, "-m", "reefscan", *arguments], stdin=slave, stderr=slave, stdout=subprocess.PIPE
    )
    told, _ = done.communicate(timeout=120)
    os.close(slave)
    shown = b""
    while True:
        try:
            part = os.read(master, 65536)
        except OSError:  # the other end is closed and all is read
            break
        if not part:
            break
        shown += part
    os.close(master)
    return done.returncode, shown.decode() + told.decode()
