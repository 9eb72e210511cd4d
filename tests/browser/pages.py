"""Pages of an invented seabed, and what several tests ask of them."""

from __future__ import annotations

from typing import Any

import pandas as pd
from seabed import ArraySource, seabed

from reefscan.base.recipe import Recipe
from reefscan.review.page import compose_page
from reefscan.review.pagedata import About, page_data

SOURCE = ArraySource(seabed())


def page_of(table: pd.DataFrame, *, run_name: str = "invented", source: ArraySource = SOURCE) -> bytes:
    """The page of these sites as bytes."""
    return compose_page(
        page_data(
            table,
            About(run_name, limits={"m": "4 m cells.", "ft": "13 ft cells."}, letters="QX"),
            recipe=Recipe.default(),
            sources=[source],
            features={},
        )
    )


def settle(driver: Any) -> None:
    """Two frames later all that was asked for is drawn."""
    driver.execute_async_script(
        "const f = arguments[0]; requestAnimationFrame(() => requestAnimationFrame(() => f()))"
    )


def touch(driver: Any, kind: str, *points: tuple[float, float]) -> None:
    """One step of fingers on the screen: ``touchStart``, ``touchMove`` or ``touchEnd``."""
    driver.execute_cdp_cmd(
        "Input.dispatchTouchEvent",
        {"type": kind, "touchPoints": [{"x": x, "y": y, "id": i} for i, (x, y) in enumerate(points)]},
    )
