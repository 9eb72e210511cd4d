"""What a finder is and what it answers.

A *finder* is ``find(elev, cell_m, **georef) -> list[Found]``: ``elev`` an array of heights (m, positive up, NaN unknown, row 0
north), ``cell_m`` the side of a cell, ``georef`` at most ``crs`` and ``origin`` (north-west corner), ``sigma``, and ``depth`` (a band other than 4 to 15 m). The list is ranked.
"""

from __future__ import annotations

import importlib
import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

CRS = "EPSG:32633"
ORIGIN = (500_000.0, 5_000_000.0)
"""On a central meridian, where grid north is true north."""

NAN = float("nan")


@dataclass(frozen=True)
class Found:
    """One listed site. The drop point is (x, y), the rock (structure_x, structure_y); what a finder does not tell is NaN."""

    rank: int
    kind: str
    x: float
    y: float
    score: float = NAN
    confidence: float = NAN
    depth_m: float = NAN
    height_m: float = NAN
    width_m: float = NAN
    off_m: float = NAN
    axis_deg: float = NAN
    facing_deg: float = NAN
    slope_deg: float = NAN
    steep_deg: float = NAN
    structure_x: float = NAN
    structure_y: float = NAN
    why: str = ""
    flags: tuple[str, ...] = ()

    @property
    def xy(self) -> tuple[float, float]:
        """The drop point."""
        return (self.x, self.y)


Finder = Callable[..., list[Found]]

MEASURES = (
    "score", "confidence", "depth_m", "height_m", "width_m", "off_m", "axis_deg", "facing_deg", "slope_deg",
    "steep_deg",
)  # fmt: skip


def number(value: Any) -> float:
    """A float, NaN for what is missing or no number."""
    try:
        return float(value) if value is not None else NAN
    except (TypeError, ValueError):
        return NAN


def found_of_run(run: Any, *, crs: str = CRS, origin: tuple[float, float] = ORIGIN) -> list[Found]:
    """The ranked list of a `reefscan.Run` in local metres of a grid whose north-west corner is ``origin`` in ``crs``."""
    from pyproj import Transformer

    to_xy = Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    flags = {site["rank"]: tuple(site["flags"]) for site in run.listing.sites}
    out = []
    for row in run.candidates.to_dict("records"):
        rank = number(row.get("rank"))
        if not math.isfinite(rank):
            continue
        x, y = to_xy.transform(row["lon"], row["lat"])
        sx, sy = to_xy.transform(number(row.get("structure_lon")), number(row.get("structure_lat")))
        place = {
            "x": x - origin[0],
            "y": y - origin[1],
            "structure_x": sx - origin[0],
            "structure_y": sy - origin[1],
        }
        place = {name: value if math.isfinite(value) else NAN for name, value in place.items()}
        why = row.get("why")
        out.append(
            Found(
                int(rank),
                str(row["kind"]),
                **place,
                **{name: number(row.get(name)) for name in MEASURES},
                why=why if isinstance(why, str) else "",
                flags=flags.get(int(rank), ()),
            )
        )
    return sorted(out, key=lambda site: site.rank)


def listing(top: int) -> Any:
    """The package's default recipe with a longer list."""
    import reefscan

    recipe = reefscan.Recipe.default()
    return recipe.model_copy(update={"rank": recipe.rank.model_copy(update={"top": top})})


def reefscan_finder(top: int = 500) -> Finder:
    """A finder that runs the package's public scan with the default recipe and lists ``top`` sites at most."""

    def find(
        elev: NDArray[np.floating],
        cell_m: float,
        *,
        crs: str = CRS,
        origin: tuple[float, float] = ORIGIN,
        sigma: NDArray[np.floating] | None = None,
        depth: tuple[float, float] | None = None,
    ) -> list[Found]:
        from surfaces import scan_cells

        recipe = listing(top) if depth is None else listing(top).with_depth(*depth)
        run = scan_cells(elev, cell_m=cell_m, sigma=sigma, recipe=recipe, crs=crs, origin=origin)
        return found_of_run(run, crs=crs, origin=origin)

    find.reads_files = True  # type: ignore[attr-defined]
    return find


def scan_file(path: Path, *, top: int = 500, **reading: Any) -> list[Found]:
    """The package's list for a file, in local metres of `CRS` and `ORIGIN`; ``reading`` goes to `reefscan.scan`."""
    import reefscan

    return found_of_run(reefscan.scan(str(path), listing(top), workers=1, **reading))


def load_finder(name: str) -> Finder:
    """``reefscan``, ``plain``, or ``module:function`` (the function is the finder itself)."""
    if name == "reefscan":
        return reefscan_finder()
    if name == "plain":
        name = "unseen.plain_finder:find"
    module, _, function = name.partition(":")
    finder: Finder = getattr(importlib.import_module(module), function)
    return finder
