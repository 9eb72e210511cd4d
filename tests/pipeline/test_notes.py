"""What a scan says about itself: each thing once, in the right number, and nothing of ground that could not be done."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pandas as pd
import pytest

from reefscan.base.model import Window
from reefscan.base.recipe import Recipe
from reefscan.pipeline.notes import warnings_of


def said(
    *,
    notes: tuple[tuple[str, ...], ...] = ((),),
    interval_m: float = 0.0,
    interpolated: float = 0.0,
    files: tuple[str, ...] = ("a.tif",),
    rows: int = 4,
    wide: int = 300,
    **facts: Any,
) -> list[str]:
    told = {"cells_in_band": 100, "spikes": 0, "failures": [], **facts}
    limits = SimpleNamespace(too_coarse=False, cell_m=2.0, trough_width_m=8.0)
    sheet = SimpleNamespace(facts=told, failures=told["failures"], limits=limits)
    table = pd.DataFrame(
        {
            "interpolated": [max(interpolated, float(interval_m > 0))] * 4,
            "interval_m": [interval_m] * 4,
        }
    ).head(rows)
    cells = Window(0, 0, 300, wide)
    sources = [SimpleNamespace(notes=part, files=files, changed=tuple, extent=cells) for part in notes]
    return warnings_of(sources, [sheet], Recipe.default(), table)  # type: ignore[arg-type,list-item]


def test_what_two_sheets_notice_of_one_file_is_said_once() -> None:
    assert said(notes=(("a.tif: odd", "b.tif: odd"), ("a.tif: odd",))) == ["a.tif: odd", "b.tif: odd"]


@pytest.mark.parametrize(("spikes", "words"), [(1, "1 lone spike was set"), (2, "2 lone spikes were set")])
def test_one_bad_cell_is_one(spikes: int, words: str) -> None:
    (line,) = said(spikes=spikes)
    assert line.startswith(words)


def test_of_ground_whose_tiles_failed_nothing_is_said_to_lie_outside_the_band() -> None:
    (line,) = said(cells_in_band=0)
    assert line.startswith("no cell is as deep as what is searched, 1 m (3.28 ft) to 40 m (131 ft)")
    assert said(cells_in_band=0, failures=["tile"]) == []


def test_where_nothing_is_found_since_the_grid_is_a_line_that_is_said() -> None:
    (line,) = said(rows=0, wide=1)
    assert line.endswith("15 m (49.2 ft): the grid is 1 cell wide, and a ledge wants 3 across it")
    (line,) = said(rows=0)
    assert line.endswith("15 m (49.2 ft)")


def test_a_grid_that_shows_no_more_than_a_coarser_one_is_said_to_once_and_not_to_be_filled_in() -> None:
    (line,) = said(interval_m=30.0)
    assert line.startswith(
        "100 % of the candidates stand where the grid holds no more than one depth for every 30 m (98.4 ft) or so: what is narrower"
    )


def test_where_filled_in_ground_may_hide_a_sounded_grid_the_way_to_put_that_first_is_told() -> None:
    (alone,) = said(interpolated=1.0)
    assert "looks filled in" in alone
    assert "--prefer" not in alone
    (line,) = said(interpolated=1.0, files=("fine.tif", "coarse.tif"))
    assert line.endswith("if another of your grids was sounded there, say --prefer and its name")
