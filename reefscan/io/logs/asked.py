"""What has to be asked of a person before a log can be read, with what speaks for each answer."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reefscan.base.question import Question

Floats = NDArray[np.float64]


def which_columns(cells: list[str]) -> Question:
    """The question which column is what, with what stands in each."""
    held = "\n".join(f"  column {n}: {cell.strip()[:40]}" for n, cell in enumerate(cells[:20], 1))
    text = "Which column is what? Name those of longitude, latitude, depth with its unit, and time, such as lon=1,lat=2,depth_m=3,time=4."
    return Question("--columns", f"{text}\n{held}", free=True)


def which_crs(x: Floats, y: Floats) -> Question:
    """The question for the coordinate system, with the numbers that its answer must make sense of."""
    if not (np.isfinite(x).any() and np.isfinite(y).any()):
        spans = "none of its numbers can be read"
    else:
        spans = f"x runs from {np.nanmin(x):.8g} to {np.nanmax(x):.8g}, y from {np.nanmin(y):.8g} to {np.nanmax(y):.8g}"
    text = f"In which coordinate system are they? {spans}. Write its code, such as EPSG:32633 (UTM zone 33 north)."
    return Question("--crs", text, free=True)


def which_order(series: pd.Series) -> Question:
    """The question how dates are written, with the days that the log would run over under each answer."""
    choices = []
    for order in ("day-first", "month-first"):
        days = pd.to_datetime(series, errors="coerce", dayfirst=order == "day-first", format="mixed").dropna()
        if days.empty:  # 00/00/0000, before a receiver knows the day
            choices.append((order, "none of them is a day"))
            continue
        first, last = (f"{day.day} {day:%B %Y}" for day in (days.min(), days.max()))
        choices.append((order, f"from {first} to {last}" if first != last else f"all on {first}"))
    return Question("--dates", "How are its dates written?", tuple(choices))
