"""What the person knows and the grid does not: gear, boat, forecast, local rules, a secondary tide station.

Each is a small text of TOML. Lengths carry a unit or are metres, speeds a unit or are knots, spans of time a unit or
are minutes. A key that is not known is refused with the nearest one that is: a misspelt limit must not be a limit lost.
"""

from __future__ import annotations

import math
from typing import Annotated, Literal, TypeVar

from pydantic import Field, field_validator, model_validator

from reefscan.base.complaint import fitted
from reefscan.base.recipe import read_toml
from reefscan.base.recipe_part import Metres, Part
from reefscan.plan.amounts import Clock, Knots, Minutes
from reefscan.surroundings.dates import day_of

Azimuth = Annotated[float, Field(ge=0, le=360)]
Share = Annotated[float, Field(gt=0)]
Length = Annotated[Metres, Field(ge=0, le=10_000)]
Wave = Annotated[Metres, Field(ge=0, le=15)]
"""Heights beyond it are slips of a unit: nobody sets nets in such a sea."""


class Net(Part):
    """One net or pot with its rope.

    ``rope_m`` is the whole rope; it is let out to a mark, the marks ``marks_m`` apart (0: any length).
    ``sink_m_per_s`` is how fast it sinks: 0.5 is a guess, common practice and no source, so watch yours once.
    """

    name: str = Field(default="", max_length=20)
    count: int = Field(default=1, ge=1, le=500)
    rope_m: Annotated[Metres, Field(gt=0, le=1000)]
    marks_m: Annotated[Metres, Field(ge=0, le=100)] = 0.0
    line: Literal["floating", "sinking"] = "floating"
    line_diameter_m: Annotated[Metres, Field(gt=0, le=0.1)] = 0.008
    float_lift_kgf: float | None = Field(default=None, gt=0)
    radius_m: Annotated[Metres, Field(ge=0, le=50)] = 0.5
    weight_kg: float | None = Field(default=None, gt=0)
    sink_m_per_s: float = Field(default=0.5, gt=0, le=10)
    light: str = Field(default="", max_length=80)

    @property
    def longest_m(self) -> float:
        """Rope to its last mark (m): what can be let out."""
        if not self.marks_m:
            return math.floor(self.rope_m * 10 + 1e-6) / 10
        return round(math.floor(self.rope_m / self.marks_m + 1e-9) * self.marks_m, 6)

    @model_validator(mode="after")
    def _has_a_mark(self) -> Net:
        if self.longest_m <= 0:
            raise ValueError(f"a rope of {self.rope_m:g} m has no mark at {self.marks_m:g} m")
        return self


class Gear(Part):
    """The gear book: every net that is aboard."""

    nets: tuple[Net, ...] = Field(min_length=1)

    @property
    def each(self) -> tuple[Net, ...]:
        """One entry a net, longest rope first; those without a name are numbered."""
        flat = [net for net in self.nets for _ in range(net.count)]
        flat.sort(key=lambda net: -net.longest_m)
        return tuple(
            net if net.name else net.model_copy(update={"name": f"{k}"}) for k, net in enumerate(flat, 1)
        )


class Limits(Part):
    """The person's own limits; what is not set is not checked.

    ``turn_back`` is when the last net is left at the latest, whatever is still in the water; of nets left overnight that is
    the evening's trip, and ``turn_back_morning`` that of the trip which pulls them.
    """

    wind_kn: Knots | None = None
    gust_kn: Knots | None = None
    wave_m: Wave | None = None
    wave_period_s: float | None = Field(default=None, gt=0, description="shortest period of the waves")
    visibility_m: Length | None = None
    crew: int | None = Field(default=None, ge=1, description="fewest persons aboard")
    turn_back: Clock | None = None
    turn_back_morning: Clock | None = None
    refuge: str = Field(default="", max_length=120, description="a place to run to")


class Ashore(Part):
    """What is left ashore besides the plan itself."""

    skipper: str = ""
    phone: str = ""
    address: str = ""
    persons: tuple[str, ...] = ()
    contact: str = ""
    contact_phone: str = ""
    rescue_phone: str = ""
    late_min: Minutes = 60.0
    from_place: str = ""
    to_place: str = ""
    car: str = ""


class Boat(Part):
    """The boat, its limits, and who is informed."""

    name: str = ""
    kind: str = ""
    registration: str = ""
    colours: str = ""
    engine: str = ""
    radio: str = ""
    mmsi: str = ""
    safety: str = ""
    length_m: Annotated[Metres, Field(gt=0, le=200)] = 6.0
    draft_m: Annotated[Metres, Field(ge=0, le=20)] = 0.6
    transducer_m: Annotated[Metres, Field(ge=0, le=20)] = 0.3
    freeboard_m: Annotated[Metres, Field(ge=0, le=10)] = 0.0
    speed_kn: Annotated[Knots, Field(gt=0, le=60)] = 8.0
    fuel_l_per_h: float | None = Field(default=None, ge=0)
    fuel_l: float | None = Field(default=None, ge=0)
    set_min: Minutes = 3.0
    handling_min: Minutes = 6.0
    haul_side: Literal["port", "starboard"] = "starboard"
    tide_datum_offset_m: Metres | None = None
    limits: Limits = Limits()
    ashore: Ashore = Ashore()


class Stream(Part):
    """Where the water goes from a time on: ``to_deg`` is true and the way it runs TO."""

    at: Clock | None = None
    to_deg: Azimuth
    speed_kn: Knots


class Forecast(Part):
    """The forecast as the person reads it: the worst of the night."""

    source: str = ""
    issued: str = ""
    wind_kn: Knots | None = None
    wind_from_deg: Azimuth | None = None
    gust_kn: Knots | None = None
    wave_m: Wave | None = None
    wave_period_s: float | None = Field(default=None, gt=0)
    visibility_m: Length | None = None
    stream: tuple[Stream, ...] = ()

    @model_validator(mode="after")
    def _streams_have_times(self) -> Forecast:
        if len(self.stream) > 1 and any(row.at is None for row in self.stream):
            raise ValueError('of several [[stream]] each needs at = "20:00", the time from which it holds')
        return self


class Rules(Part):
    """Limits that the person copied from the local rules; the program knows none of its own."""

    source: str = ""
    season_from: str | None = None
    season_to: str | None = None
    hours_from: Clock | None = None
    hours_to: Clock | None = None
    nets_per_person: int | None = Field(default=None, ge=0)
    nets_per_boat: int | None = Field(default=None, ge=0)
    bag_per_person: int | None = Field(default=None, ge=0)
    bag_per_boat: int | None = Field(default=None, ge=0)
    minimum_size_m: Annotated[Metres, Field(gt=0, le=5)] | None = None
    reporting_areas: tuple[str, ...] = ()
    licence: str = ""
    float_marks: str = ""

    @field_validator("season_from", "season_to", mode="before")
    @classmethod
    def _a_day(cls, value: object) -> object:
        day_of(value)
        return None if value is None else str(value)


class Secondary(Part):
    """A secondary station: what is added to the times of the reference station, and what its heights are times or plus."""

    name: str = ""
    high_min: float = 0.0
    low_min: float = 0.0
    high_factor: Share = 1.0
    low_factor: Share = 1.0
    high_add_m: Metres = 0.0
    low_add_m: Metres = 0.0


Book = TypeVar("Book", bound=Part)


def read_book(text: str, form: type[Book], *, name: str) -> Book:
    """Read a book from TOML text.

    Parameters
    ----------
    form : type
        `Gear`, `Boat`, `Forecast`, `Rules` or `Secondary`.
    name : str
        What to call it in a message (a file name).

    Raises
    ------
    RecipeError
        One line: where, what is wrong, what was found, what is wanted.

    Examples
    --------
    >>> read_book('draft_m = "2ft"', Boat, name="boat.toml").draft_m
    0.6096
    """
    return fitted(read_toml(text, name), form, name=name)
