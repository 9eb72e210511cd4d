"""The sites that go along: the run's list, or what was picked from it."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from reefscan.io.localfile import read_small_text
from reefscan.review.opened import OpenedRun
from reefscan.review.picks import apply_picks, load_picks


def picked_sites(
    opened: OpenedRun, picks: Path | None, *, best: bool = False
) -> tuple[pd.DataFrame, list[str]]:
    """Return the sites with ``name`` and ``note``, and sentences for the person.

    With ``best`` second sites of a place are left out, unless they were picked.
    """
    listed = opened.listed
    if best:
        listed = listed[listed["second_to"].isna()]
    if picks is None:
        return listed.assign(name="", note=""), []
    return apply_picks(
        listed, opened.explained(), load_picks(read_small_text(picks), name=str(picks)), opened.known
    )
