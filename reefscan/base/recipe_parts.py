"""The parts of a recipe: the numbers that a person may want to change in what is found, how it is scored and what is listed.

Thresholds of what a place may be instead (`reefscan.doubts`) and of the noise of the ground are no matter of taste: they
stand in the code, beside the figures that set them.

Four parts, and the split of the first three is the backbone of the package:

- ``[find]`` is everything that touches a raster. It decides the candidates and is the key of
  the tile store (`Find.key`).
- ``[score]`` judges stored candidates: terms with a trapezoid each. Changing it reads no raster.
- ``[rank]`` decides how many are listed and how far apart.
- ``[around]`` names files that come from outside the grid. What is closed is decided in the scan and stays decided.

Lengths in the file carry a unit (``"80ft"``, ``"24m"``, ``"13fathom"``) or are metres; inside they
are metres. A file may name only what it changes: the rest keeps its default. The default terms are
always there; a term with weight 0 is off.
"""

from __future__ import annotations

import difflib
import hashlib
import json
import math
from typing import Any, Literal, Self

from pydantic import (
    ConfigDict,
    Field,
    ValidationError,
    ValidationInfo,
    field_validator,
    model_validator,
)

from reefscan.base.errors import NeedsScanError, RecipeError
from reefscan.base.recipe_around import Around
from reefscan.base.recipe_part import DEEPEST_M, FARTHEST_M, Metres, Part
from reefscan.base.s44 import ASSUMED
from reefscan.base.terms import DEFAULT_TERMS
from reefscan.base.units import parse_length

RECIPE_VERSION: Literal[1] = 1
KINDS = ("trough", "ledge", "rise", "man-made")
Kind = Literal["trough", "ledge", "rise", "man-made"]


MOST_SITES = 1_000_000


class Find(Part):
    """What is searched for, and where a net would lie beside it. Touches rasters."""

    depth_min_m: Metres = Field(default=1.0, ge=0, description="search band: shallowest depth looked at")
    depth_max_m: Metres = Field(
        default=40.0, gt=0, le=DEEPEST_M, description="search band: deepest depth looked at"
    )
    sight_gradient: float = Field(
        default=0.05,
        ge=0,
        le=1,
        description="what rises no faster than this (1 in 20) is the lie of the land, not structure",
    )
    face_longest_m: Metres = Field(default=150.0, gt=0, description="a longer slope is not a ledge")
    trough_radius_m: Metres = Field(
        default=50.0, gt=0, description="how far the two flanks of a trough may reach"
    )
    rise_radius_m: Metres = Field(default=25.0, gt=0, description="how far the flanks of a rise may reach")
    trough_min_m: Metres = Field(default=0.8, gt=0, description="troughs lower than this are not kept at all")
    ledge_min_m: Metres = Field(default=0.8, gt=0, description="ledges lower than this are not kept at all")
    rise_min_m: Metres = Field(default=0.8, gt=0, description="rises lower than this are not kept at all")
    station_m: Metres = Field(
        default=20.0, gt=0, description="candidates along one long feature stand this far apart"
    )
    off_min_m: Metres = Field(default=3.0, ge=0, description="nearest a net may lie to the rock (guess)")
    off_max_m: Metres = Field(default=15.0, gt=0, description="farthest a net may lie from the rock (guess)")
    floor_radius_m: Metres = Field(
        default=3.0, gt=0, description="the floor's slope is taken within this radius"
    )
    refuge_min_m: Metres = Field(
        default=5.0, ge=0, description="broken ground counts as refuge from here outward"
    )
    refuge_max_m: Metres = Field(
        default=25.0, gt=0, description="broken ground counts as refuge up to here (guess)"
    )
    bpi_fine_inner_m: Metres = Field(
        default=6.0, gt=0, description="fine position index: inner radius of the ring"
    )
    bpi_fine_outer_m: Metres = Field(
        default=50.0, gt=0, description="fine position index: outer radius of the ring"
    )
    bpi_broad_inner_m: Metres = Field(
        default=50.0, gt=0, description="broad position index: inner radius of the ring"
    )
    bpi_broad_outer_m: Metres = Field(
        default=250.0, gt=0, description="broad position index: outer radius of the ring"
    )
    vrm_window_m: Metres = Field(default=6.0, gt=0, description="window in which ruggedness (vrm) is taken")
    relief_radius_m: Metres = Field(
        default=25.0, gt=0, description="local relief is highest minus lowest within this"
    )

    @model_validator(mode="after")
    def _bands_run_forward(self) -> Self:
        for name, value in self.model_dump().items():
            if not name.startswith("depth") and value > FARTHEST_M:
                raise ValueError(f"{name} = {value:g} m is more than {FARTHEST_M:g} m; is the unit right?")
        for low, high in (
            ("depth_min_m", "depth_max_m"),
            ("off_min_m", "off_max_m"),
            ("refuge_min_m", "refuge_max_m"),
            ("bpi_fine_inner_m", "bpi_fine_outer_m"),
            ("bpi_broad_inner_m", "bpi_broad_outer_m"),
        ):
            a, b = getattr(self, low), getattr(self, high)
            if not a < b:
                raise ValueError(f"{low} = {a:g} must be less than {high} = {b:g}; swap or widen them")
        return self

    def key(self) -> str:
        """Return a hash that changes exactly when a number of this part changes (64 hex digits)."""
        text = json.dumps({"recipe": RECIPE_VERSION, **self.model_dump()}, sort_keys=True)
        return hashlib.sha256(text.encode()).hexdigest()


class Term(Part):
    """One reason to like or dislike a place: a column, a trapezoid and a weight.

    The membership is 0 outside ``a..d``, 1 between ``b`` and ``c`` and linear between.
    Corners are in the unit of the column; ``-inf`` and ``inf`` leave a side open.

    With ``half`` it is besides multiplied by ``x / (x + half)``: the more the better, without end.

    Among plain terms, raising a weight never lowers the site that is best on that term. A bonus or a
    penalty acts on the mean of the others and cannot promise that.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=True)

    column: str = Field(min_length=1, description="column of the candidate table that is judged")
    a: float = Field(default=-math.inf, description="worth nothing below this")
    b: float = Field(default=-math.inf, description="worth the full amount from this")
    c: float = Field(default=math.inf, description="worth the full amount up to this")
    d: float = Field(default=math.inf, description="worth nothing above this")
    half: float = Field(
        default=0.0,
        ge=0,
        description="above 0: the value that is worth half; more is worth ever more, never all",
    )
    weight: float = Field(default=1.0, ge=0, le=1000, description="how much it counts; 0 switches it off")
    required: bool = Field(default=False, description="true: a site where it is worth nothing is not listed")
    kinds: tuple[Kind, ...] = Field(
        default=(), description="kinds of site it applies to; empty = all of them"
    )
    bonus: bool = Field(default=False, description="true: can only raise a score (weight 0 to 1)")
    penalty: bool = Field(default=False, description="true: can only lower a score (weight 0 to 1)")

    @field_validator("a", "b", "c", "d", "half", mode="before")
    @classmethod
    def _corner(cls, value: object, info: ValidationInfo) -> object:
        if isinstance(value, bool) or not isinstance(value, (int, float, str)):
            raise ValueError(f"{value!r} is not a number")
        if isinstance(value, str):
            column = str(info.data.get("column", ""))
            if not column.endswith("_m"):
                raise ValueError(f"{value!r}: {column} is not a length; write a plain number")
            return parse_length(value)
        if math.isnan(value):
            raise ValueError("is not a number (nan)")
        return value

    @model_validator(mode="after")
    def _corners_run_forward(self) -> Self:
        if not self.a <= self.b <= self.c <= self.d:
            raise ValueError(
                f"corners must run a <= b <= c <= d; found {self.a:g}, {self.b:g}, {self.c:g}, {self.d:g}"
            )
        if self.a == math.inf or self.d == -math.inf:
            raise ValueError("a = inf or d = -inf leaves nothing that counts")
        if (self.bonus or self.penalty) and self.weight > 1:
            raise ValueError(f"weight of a bonus or penalty is 0 to 1; found {self.weight:g}")
        if self.bonus and self.penalty:
            raise ValueError("a term is either a bonus or a penalty, not both")
        if self.required and (self.bonus or self.penalty):
            raise ValueError("a bonus or penalty cannot be required; add required = false")
        return self


class Score(Part):
    """How a stored candidate is judged. Touches no raster."""

    optional_floor: float = Field(
        default=0.05, ge=0.001, le=0.5, description="a term that need not be met counts at least this, 0 to 1"
    )
    unknown: float = Field(default=0.5, ge=0.01, le=0.9, description="what an unknown value counts, 0 to 1")
    least_kept: float = Field(
        default=0.45,
        ge=0,
        lt=1,
        description="a site whose penalties leave less than this share of its score is not listed: what it is, is in doubt",
    )
    s44_order: Literal["exclusive", "special", "1a", "1b", "2"] = Field(
        default=ASSUMED, description="IHO S-44 order assumed where the grid states no uncertainty"
    )
    say_doubt: float = Field(
        default=0.5,
        ge=0,
        le=1,
        description="a site that looks at least this much like something else says so, 0 to 1",
    )
    say_interpolated: float = Field(
        default=0.5, ge=0, le=1, description="a site with at least this share of filled-in ground says so"
    )
    say_position_m: Metres = Field(
        default=15.0, gt=0, description="a site whose position is this unsure or more says so"
    )
    fix_m: Metres = Field(
        default=5.0,
        ge=0,
        description="how far from the spot meant a net lands by the boat's position fix and by drifting as it sinks (guess)",
    )
    say_confidence: float = Field(
        default=0.7, ge=0, le=1, description="below this confidence the height is said to be unsure"
    )
    say_hard_m: Metres = Field(
        default=200.0, ge=0, description="hard structure nearer than this is named (guess)"
    )
    say_caution_m: Metres = Field(
        default=100.0, ge=0, description="a site nearer than this to caution ground says so (guess)"
    )
    say_closed_m: Metres = Field(
        default=50.0,
        ge=0,
        description="a site nearer than this to closed ground says so: nets and positions drift (guess)",
    )
    terms: dict[str, Term] = Field(default_factory=dict, validate_default=True, description="the terms")

    @field_validator("terms", mode="before")
    @classmethod
    def _fill_in_defaults(cls, value: object) -> object:
        if not isinstance(value, dict):
            raise ValueError("terms must be a table of terms, such as [score.terms.depth]")
        merged: dict[str, Any] = {name: dict(row.values) for name, row in DEFAULT_TERMS.items()}
        for name, term in value.items():
            given = term.model_dump() if isinstance(term, Term) else term
            if not isinstance(given, dict):
                raise ValueError(f"term {name!r} must be a table: [score.terms.{name}]")
            if name not in merged and "column" not in given:
                near = difflib.get_close_matches(str(name), merged, n=1, cutoff=0.5)
                hint = f"; did you mean {near[0]!r}?" if near else ""
                raise ValueError(f"term {name!r} is new and names no column{hint}")
            merged[name] = {**merged.get(name, {}), **given}
        return merged


class Rank(Part):
    """How many are listed, and how far apart."""

    spacing_m: Metres = Field(
        default=60.0, ge=0, description="two listed sites stand at least this far apart (guess)"
    )
    top: int = Field(default=60, ge=1, le=MOST_SITES, description="how many are listed")
    second_share: float = Field(
        default=0.35,
        ge=0,
        le=1,
        description="what a second site near the best one of its feature counts of its score in the order, 0 to 1; 0: after all others",
    )
    feature_m: Metres = Field(
        default=250.0,
        ge=0,
        description="a site this far from the first of its feature is not a second one (guess)",
    )
    place_m: Metres = Field(
        default=100.0,
        ge=0,
        description="a site nearer than this to a better one is marked as a second site of its place (guess)",
    )


class Recipe(Part):
    """The whole recipe. `Recipe.default` is the one used when none is given."""

    version: Literal[1] = Field(default=RECIPE_VERSION, description="form of this file")
    find: Find = Field(default_factory=Find)
    score: Score = Field(default_factory=Score)
    rank: Rank = Field(default_factory=Rank)
    around: Around = Field(default_factory=Around)

    def __repr__(self) -> str:
        low, high = self.depth_band
        return f"{super().__repr__()} for {low:g} to {high:g} m, the best {self.rank.top}"

    @classmethod
    def default(cls) -> Recipe:
        """Return the default recipe (first guesses of the trade)."""
        return cls()

    def with_depth(self, depth_min_m: float, depth_max_m: float) -> Recipe:
        """Return a recipe that lists only sites in a depth band, with hard edges.

        The search band is widened where the new band leaves it, never narrowed, so that the
        tile store stays good for as many bands as possible.

        Parameters
        ----------
        depth_min_m, depth_max_m : float
            Metres, positive down, shallow edge first.

        Raises
        ------
        RecipeError
            If the band is reversed, empty, negative or not finite.
        """
        low, high = float(depth_min_m), float(depth_max_m)
        if not (math.isfinite(low) and math.isfinite(high)):
            raise RecipeError(
                f"depth band {low:g} to {high:g} m is not finite; give two depths, such as 15ft 60ft"
            )
        if low < 0 or high < 0:
            raise RecipeError(
                f"depth band {low:g} to {high:g} m is negative; depths are positive down, such as 4 15"
            )
        if high > DEEPEST_M:
            raise RecipeError(
                f"depth band {low:g} to {high:g} m goes deeper than any sea; is the unit right?"
            )
        if not low < high:
            raise RecipeError(
                f"depth band {low:g} to {high:g} m is reversed or empty; give the shallow edge first, "
                f"such as {high:g} {max(low, high + 1):g}"
            )
        find = self.find.model_dump()
        find["depth_min_m"] = min(find["depth_min_m"], low)
        find["depth_max_m"] = max(find["depth_max_m"], high)
        terms = {name: term.model_dump() for name, term in self.score.terms.items()}
        terms["depth"].update(a=low, b=low, c=high, d=high, required=True)
        terms["depth"]["weight"] = terms["depth"]["weight"] or 1.0
        score = {**self.score.model_dump(), "terms": terms}
        return Recipe(find=Find(**find), score=Score(**score), rank=self.rank, around=self.around)

    def with_find_of(self, stored: Recipe) -> Recipe:
        """Return this recipe on the candidates that ``stored`` searched for.

        Raises
        ------
        NeedsScanError
            If the two search for different things, or this one asks for depths that were not searched.
        """
        if self.around not in (Around(), stored.around):
            raise NeedsScanError(
                "[around] of this recipe names other files or another day than the run's: what is closed is decided in the scan, "
                "so scan again with this recipe"
            )
        mine, theirs = self.find.model_dump(), stored.find.model_dump()
        band = ("depth_min_m", "depth_max_m")
        for name, wanted in mine.items():
            if name not in band and wanted != theirs[name]:
                metres = " m" if name.endswith("_m") else ""
                raise NeedsScanError(
                    f"find.{name} = {wanted:g}{metres}, but the run was searched with {theirs[name]:g}{metres}: "
                    "that touches the grid, so scan again with this recipe"
                )
        (low, high), (first, last) = self.depth_band, (theirs[name] for name in band)
        if low < first or high > last:
            raise NeedsScanError(
                f"depths {low:g} to {high:g} m are asked for, but the run searched {first:g} to {last:g} m: "
                "scan again with this band"
            )
        return self.model_copy(update={"find": stored.find, "around": stored.around})

    def searched_as_asked(self) -> Recipe:
        """Return a recipe whose search band holds all depths that its depth term asks for: what is not searched cannot be listed."""
        (low, high), find = self.depth_band, self.find
        if low >= find.depth_min_m and high <= find.depth_max_m:
            return self
        wider = {
            "depth_min_m": max(0.0, min(low, find.depth_min_m)),
            "depth_max_m": max(high, find.depth_max_m),
        }
        return self.model_copy(update={"find": Find(**{**find.model_dump(), **wider})})

    def with_around(self, **given: Any) -> Recipe:
        """Return a recipe with more around it: files are added to those of their role, other values take the old one's place.

        Parameters
        ----------
        **given
            Fields of `Around`; None and empty ones change nothing.

        Raises
        ------
        RecipeError
            If a value is wrong.
        """
        values = self.around.model_dump()
        for name, value in given.items():
            if value is None or value is False or value == [] or value == ():
                continue  # an option that was not given takes nothing back that the recipe says
            old = values[name]
            values[name] = (*old, *(v for v in value if v not in old)) if isinstance(old, tuple) else value
        try:
            return self.model_copy(update={"around": Around(**values)})
        except ValidationError as error:
            first = error.errors()[0]
            where = (
                "--" + str(first["loc"][0]).removesuffix("_m").replace("_", "-") + ": "
                if first["loc"]
                else ""
            )
            raise RecipeError(f"{where}{first['msg'].removeprefix('Value error, ')}") from None

    def with_top(self, top: int) -> Recipe:
        """Return a recipe that lists ``top`` sites."""
        if not 1 <= top <= MOST_SITES:
            raise RecipeError(f"top = {top}: must be 1 to {MOST_SITES}")
        return self.model_copy(update={"rank": Rank(**{**self.rank.model_dump(), "top": top})})

    @property
    def depth_band(self) -> tuple[float, float]:
        """Shallow and deep edge (m) outside which the depth term is worth nothing.

        Open sides, or a depth term that is off or not required, fall back on the search band.
        """
        term = self.score.terms["depth"]
        low, high = self.find.depth_min_m, self.find.depth_max_m
        if term.weight == 0 or not term.required:
            return low, high
        return (term.a if math.isfinite(term.a) else low), (term.d if math.isfinite(term.d) else high)
