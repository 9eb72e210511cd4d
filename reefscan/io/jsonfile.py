"""JSON from anywhere: nested without end, numbers without end, lines of it one after the other."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from reefscan.base.errors import UnreadableError
from reefscan.io.opening import read_all


def parse_json(path: Path) -> list[Any]:
    """Return the document of a JSON file, or those of a file with one a line.

    Parameters
    ----------
    path : Path
        Unpacked if it is packed.

    Raises
    ------
    UnreadableError
        If it is no JSON to its end, or is nested deeper or has longer numbers than any data.
    """
    text = read_all(path).decode("utf-8-sig", "replace")
    try:
        try:
            return [json.loads(text)]
        except json.JSONDecodeError as error:
            lines = [line for line in text.lstrip("\x1e").splitlines() if line.strip("\x1e \t")]
            if error.msg != "Extra data" or len(lines) < 2:
                raise
            return [json.loads(line.lstrip("\x1e")) for line in lines]
    except json.JSONDecodeError as error:
        raise UnreadableError(f"{path.name}: not JSON to its end ({error}); was the file cut off?") from error
    except (RecursionError, ValueError) as error:
        reason = (
            "nested too deep" if isinstance(error, RecursionError) else "a number in it has too many digits"
        )
        raise UnreadableError(f"{path.name}: no data that can be read: {reason}; export it again") from error
