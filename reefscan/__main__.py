"""``python -m reefscan``: the command line."""

from __future__ import annotations

from reefscan.cli import main

if __name__ == "__main__":
    main()
