"""``[around]`` of a recipe: the files that come from outside the grid, and how they are read."""

from __future__ import annotations

import datetime
import math
import re
from typing import Self

from pydantic import Field, field_validator, model_validator

from reefscan.base.recipe_part import FARTHEST_M, Metres, Part

POINTS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")

ROLES = ("closed", "caution", "hard", "land")
"""What a file of shapes may be given as, and the field of `Around` that names it."""


class Around(Part):
    """What lies around: the files that a person hands over, and how they are read. Paths are taken as on the command line."""

    closed: tuple[str, ...] = Field(
        default=(), description="files of closed ground: nothing in it is ever listed"
    )
    caution: tuple[str, ...] = Field(
        default=(),
        description="files of ground to take care in (fairways, anchorages, cables): a site near is flagged",
    )
    hard: tuple[str, ...] = Field(
        default=(), description="files of hard structure (breakwaters, wrecks, piles) and of chart cells"
    )
    land: tuple[str, ...] = Field(
        default=(), description="files of land, from which the open water around a site is measured"
    )
    closed_buffer_m: Metres = Field(
        default=0.0, ge=0, le=FARTHEST_M, description="margin around closed ground that is closed too"
    )
    tide_m: Metres = Field(
        default=0.0,
        description="rise of the water above the grid's datum, for the stand-off from a breakwater's waterline",
    )
    wind_from: str = Field(
        default="",
        description='where the wind comes from, "SW" or "225" true degrees: open water to there counts against a site',
    )
    layers: tuple[str, ...] = Field(
        default=(),
        description='rasters of your own, "name=file": the cell under the net becomes the column layer_name',
    )
    worth: tuple[str, ...] = Field(
        default=(),
        description='what classes of a layer are worth, "name: 1=1, 3=0.2": the column layer_name_worth, 0 for others',
    )
    allow_fairways: bool = Field(
        default=False,
        description="true: fairways and dredged areas of a chart are ground to take care in, not closed",
    )
    classes: str = Field(
        default="",
        description="your own table of what the classes of a chart cell are taken for; empty = the built-in one",
    )
    date: str = Field(
        default="",
        description='the day of the visit, "2026-05-01": closures with dates are judged by it; empty = all are closed',
    )

    @field_validator("date")
    @classmethod
    def _a_day(cls, value: str) -> str:
        try:
            return value and datetime.date.fromisoformat(value).isoformat()
        except ValueError:
            raise ValueError("is not a day; write it as 2026-05-01") from None

    @field_validator("wind_from")
    @classmethod
    def _a_direction(cls, value: str) -> str:
        text = value.strip().upper()
        if text in POINTS:
            return text
        try:
            degrees = float(text or 0)
        except ValueError:
            degrees = math.nan
        if not 0 <= degrees <= 360:
            raise ValueError("is not a direction; write a point such as SW, or true degrees from 0 to 360")
        return text

    @property
    def wind_deg(self) -> float:
        """Where the wind comes from, true degrees; NaN where it is not said."""
        if not self.wind_from:
            return math.nan
        return POINTS.index(self.wind_from) * 22.5 if self.wind_from in POINTS else float(self.wind_from)

    @property
    def rasters(self) -> dict[str, str]:
        """Name and path of every raster."""
        return {
            name.strip(): path.strip() for name, _, path in (layer.partition("=") for layer in self.layers)
        }

    @property
    def worths(self) -> dict[str, dict[float, float]]:
        """What each class of a layer is worth, 0 to 1."""
        out: dict[str, dict[float, float]] = {}
        for text in self.worth:
            name, _, pairs = text.partition(":")
            split = (pair.partition("=") for pair in pairs.split(",") if pair.strip())
            out[name.strip()] = {float(key): float(value) for key, _, value in split}
        return out

    @model_validator(mode="after")
    def _layers_can_be_read(self) -> Self:
        for layer in self.layers:
            name, _, path = layer.partition("=")
            if not re.fullmatch(r"[a-z][a-z0-9_]*", name.strip()) or not path.strip():
                raise ValueError(
                    f"layer {layer!r}: write name=file, the name in small letters, such as kelp=kelp.tif"
                )
        if len(self.rasters) < len(self.layers):
            raise ValueError("layers: one name is there twice")
        try:
            worths = self.worths
        except ValueError:
            raise ValueError("worth: write name: class=worth, such as substrate: 1=1, 3=0.2") from None
        for name, classes in worths.items():
            if name not in self.rasters:
                raise ValueError(f"worth: there is no layer {name!r}")
            if not classes or not all(0 <= value <= 1 for value in classes.values()):
                raise ValueError(f"worth of {name}: wanted classes with a worth from 0 to 1 each")
        return self

    @model_validator(mode="after")
    def _one_role_each(self) -> Self:
        seen: dict[str, str] = {}
        for role in ROLES:
            for path in getattr(self, role):
                if path in seen:
                    raise ValueError(f"{path} is given as {seen[path]} and as {role}; give it once")
                seen[path] = role
        return self

    @property
    def files(self) -> tuple[tuple[str, str], ...]:
        """Role and path of every file of shapes."""
        return tuple((role, path) for role in ROLES for path in getattr(self, role))
