"""Candidates on cells that the file itself says were filled in between soundings."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import Sheet
from reefscan.find import candidates
from reefscan.find.localnoise import filled_in

if TYPE_CHECKING:
    import pandas as pd


def mark_interpolated(
    table: pd.DataFrame, sheet: Sheet, filled_at: Callable[[Any, Any], NDArray[np.bool_]]
) -> None:
    """Mark candidates whose drop point or structure the file itself says was filled in between soundings.

    What the cells' own smoothness says stays where it says more.
    """
    from reefscan.io.georef import transformer

    x, y = transformer("EPSG:4326", sheet.crs).transform(
        table["structure_lon"].to_numpy(), table["structure_lat"].to_numpy()
    )
    rock_row = np.nan_to_num(np.asarray(sheet.row_of(np.asarray(y)))).round().astype(np.int64)
    rock_col = np.nan_to_num(np.asarray(sheet.col_of(np.asarray(x)))).round().astype(np.int64)
    filled = filled_at(table["row"].to_numpy(), table["col"].to_numpy()) | filled_at(rock_row, rock_col)
    if not filled.any():
        return
    before = table["interpolated"].to_numpy(dtype=np.float64)
    # the squares of uncertainty add up: what the share known so far put in already is not put in again
    more = np.sqrt(np.where(filled, np.maximum(0.0, 1.0 - before**2), 0.0))
    table["height_sigma_m"] = filled_in(
        table["height_sigma_m"].to_numpy(), table["height_m"].to_numpy(), more
    )
    table.loc[filled, "interpolated"] = 1.0
    table["position_m"] = np.maximum(
        table["position_m"],
        np.where(
            filled,
            candidates.position_m(sheet.cell_m, 1.0, table["interval_m"].to_numpy(dtype=np.float64)),
            0.0,
        ),
    )
