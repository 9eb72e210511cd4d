"""Every column of the candidate table, once: its name, decimals, unit, what it says, and which outputs carry it.

The table as stored, GeoJSON, the schema, the page's data and what a station passes on to its candidate are made from `CANDIDATE`:
a new measure is one row here and the place that measures it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from numbers import Real
from typing import Any, Literal

from reefscan.base.doubts import DOUBTS


@dataclass(frozen=True)
class Column:
    """One column.

    Attributes
    ----------
    name : str
    about : str
        What it says, with its unit, in a sentence for a reader of the file.
    decimals : int or None
        Decimals it is stored with, half to even; None for text and whole numbers.
    kind : {"number", "whole", "text"}
    page : bool
        True if the offline page carries it.
    bounds : tuple of float or None
        Least and greatest value there can be.
    measured : bool
        True if a station is measured with it and its candidate takes it over as it is.
    outside : bool
        True for a fact from outside the grid: the table has it only where files were given that tell it.
    """

    name: str
    about: str
    decimals: int | None = None
    kind: Literal["number", "whole", "text"] = "number"
    page: bool = True
    bounds: tuple[float | None, float | None] | None = None
    measured: bool = False
    outside: bool = False


def _measure(
    name: str,
    decimals: int,
    about: str,
    *,
    page: bool = True,
    low: float | None = None,
    high: float | None = None,
) -> Column:
    return Column(name, about, decimals, page=page, bounds=(low, high), measured=True)


def _fact(
    name: str, decimals: int, about: str, *, low: float | None = None, high: float | None = None
) -> Column:
    return Column(name, about, decimals, bounds=(low, high), outside=True)


CANDIDATE: tuple[Column, ...] = (
    Column("id", "kind and place on the lattice: the same in every run on the same grid", kind="text"),
    Column("kind", "trough, ledge or rise", kind="text"),
    Column("feature_id", "the feature that it lies at", kind="text"),
    Column("sheet", "coordinate system and cell size that it was found on", kind="text", page=False),
    Column("row", "row of the cell that it lies in", kind="whole", page=False),
    Column("col", "column of the cell that it lies in", kind="whole", page=False),
    Column("lon", "longitude, WGS 84 degrees", 7, bounds=(-180, 180)),
    Column("lat", "latitude, WGS 84 degrees", 7, bounds=(-90, 90)),
    Column("axis_deg", "bearing along the structure, true degrees; a rise has none", 1, bounds=(0, 180)),
    Column("cross_deg", "bearing across the structure, true degrees", 1, bounds=(0, 180)),
    Column("facing_deg", "bearing downhill from a ledge, true degrees", 1, bounds=(0, 360)),
    Column("structure_lon", "longitude of the rock nearest to the net, WGS 84 degrees", 7, bounds=(-180, 180)),
    Column("structure_lat", "latitude of the rock nearest to the net, WGS 84 degrees", 7, bounds=(-90, 90)),
    Column("cell_m", "side of a cell, m", 4, bounds=(0, None)),
    _measure("depth_m", 2, "depth of the floor at the net below the grid's own datum, m"),
    _measure("height_m", 2, "height of the structure beyond the slope of the ground it stands on, m", low=0),
    _measure("drop_m", 2, "fall of its face (of a trough: of its lower side), m", low=0),
    _measure("run_m", 1, "distance over which the face falls, m", low=0),
    _measure("steep_deg", 1, "gradient of the face (of a trough: of its gentler side; of a rise: of its middle side), degrees", low=0, high=90),
    _measure("width_m", 1, "trough: crest to crest; ledge: its face; rise: foot to foot, m", low=0),
    Column("length_m", "length of the feature, m", 1, bounds=(0, None)),
    Column("sinuosity", "length of the feature divided by the distance between its ends", 2, page=False, bounds=(1, None)),
    _measure("off_m", 1, "distance from the net to the foot of the nearest rock, m", low=0),
    _measure("slope_deg", 1, "slope of the floor under the net, degrees", low=0, high=90),
    _measure("vrm", 5, "ruggedness of the ground around the net (1 minus the mean unit normal)", low=0, high=1),
    _measure("relief_m", 2, "highest minus lowest ground around the net, m", page=False, low=0),
    _measure("bpi_fine_m", 2, "bathymetric position index of the net, fine, m", page=False),
    _measure("bpi_broad_m", 2, "bathymetric position index of the net, broad, m", page=False),
    Column("contrast", "how far it stands out from the structure around it: 1 alone, less the more there is", 2, bounds=(0, 1)),
    Column("extent", "how much of the same feature goes on to both sides, 0 to 1", 2, bounds=(0, 1)),
    _measure("scatter", 2, "how far cells stray from their neighbours there, as a share of the height: weed, fish and false bottoms jump, rock hangs together", low=0),
    *(Column(doubt.column, doubt.about, 2, bounds=(0, 1)) for doubt in DOUBTS),
    _measure("uncertainty_m", 2, "stated standard uncertainty of a depth there, m", low=0),
    _measure("height_sigma_m", 2, "standard deviation of the height, as the grid itself shows it, m", page=True, low=0),
    _measure("noise_m", 3, "standard deviation of the noise of one cell, m", low=0),
    _measure("position_m", 1, "uncertainty of the position by the grid's cells, m", low=0),
    _measure("interpolated", 2, "share of the ground there that was filled in between soundings", low=0, high=1),
    _measure("interval_m", 1, "width of the coarser cells that the grid only repeats there, m; 0 where they are its own", low=0),
    Column("source", "file that it comes from", kind="text"),
    _fact("hard_m", 1, "distance to the nearest hard structure that was given, m", low=0),
    _fact("hard_deg", 1, "bearing of the nearest hard structure that was given, true degrees; none inside of it", low=0, high=360),
    Column("hard_name", "what the nearest hard structure is called, or what it is", kind="text", outside=True),
    _fact("caution_m", 1, "distance to the nearest caution ground that was given, m; 0 inside of it", low=0),
    Column("caution_name", "what the nearest caution ground is called, or what it is", kind="text", outside=True),
    _fact("closed_m", 1, "distance to the nearest closed ground that was given, m", low=0),
    Column("closed_name", "what the nearest closed ground is called, or what it is", kind="text", outside=True),
    _fact("wind_fetch_m", 0, "open water to within 15 degrees of where the stated wind comes from, m; 50 000 stands for more", low=0),
    _fact("open_m", 0, "longest open water in any direction, m; 50 000 stands for more", low=0),
    _fact("open_deg", 0, "bearing of the longest open water, true degrees", low=0, high=360),
    Column("fetch", "open water to the eight points of the compass, m, from north by east", kind="text", outside=True),
)  # fmt: skip

OUTSIDE = tuple(column.name for column in CANDIDATE if column.outside)
BY_NAME = {column.name: column for column in CANDIDATE}
DECIMALS = {column.name: column.decimals for column in CANDIDATE if column.decimals is not None}
TEXT = tuple(column.name for column in CANDIDATE if column.kind == "text")
WHOLE = tuple(column.name for column in CANDIDATE if column.kind == "whole")
MEASURED = tuple(column.name for column in CANDIDATE if column.measured)


def number_of(site: Mapping[Any, Any], name: str) -> float:
    """A measure of a site, a row of a table or the properties of a feature; NaN if there is none.

    Examples
    --------
    >>> number_of({"depth_m": 8, "kind": "ledge"}, "depth_m"), number_of({"kind": "ledge"}, "kind")
    (8.0, nan)
    """
    value = site.get(name)
    return float(value) if isinstance(value, Real) else math.nan


def text_of(site: Mapping[Any, Any], name: str) -> str:
    """What a column of text says of a site; empty if there is nothing."""
    value = site.get(name)
    return value if isinstance(value, str) else ""
