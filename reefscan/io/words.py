"""What names, units and attributes in files say of sign, unit and kind of a band."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from reefscan.base.question import Question
from reefscan.base.units import METRES_PER, UNITS

UP_WORDS = ("elevation", "elev", "altitude", "height", "topo", "dem", "dtm", "bathymetry_elevation")
DOWN_WORDS = ("depth", "sounding", "tiefe", "profondeur")
SIGMA_WORDS = (
    "uncertainty",
    "uncert",
    "sigma",
    "stddev",
    "stdev",
    "std",
    "std_dev",
    "standard_deviation",
    "tvu",
    "error",
)
QUALITY_WORDS = ("contributor", "quality", "source_id", "tid", "type_identifier", "survey_id")

SCORE_TITLE = "Score of drop points"
"""By which a score raster of ours is known, and not taken for a grid."""

STANDARD_NAMES: dict[str, str] = {
    # CF standard name table (v85); the sign is part of each definition
    "altitude": "up",
    "height": "up",
    "surface_altitude": "up",
    "bedrock_altitude": "up",
    "height_above_mean_sea_level": "up",
    "height_above_reference_ellipsoid": "up",
    "height_above_geopotential_datum": "up",
    "ground_level_altitude": "up",
    "depth": "down",
    "sea_floor_depth_below_geoid": "down",
    "sea_floor_depth_below_geopotential_datum": "down",
    "sea_floor_depth_below_mean_sea_level": "down",
    "sea_floor_depth_below_reference_ellipsoid": "down",
    "sea_floor_depth_below_sea_surface": "down",
    "sea_floor_depth": "down",
}

NOT_DEPTH = re.compile(
    r"backscatter|^bs\d|intensity|slope|aspect|rugos|^vrm|^bpi|^tpi|hillshade|density|count|nsound|number of|flag|mask|"
    r"temperature|salinity|velocity|speed|wave|^lat|^lon|^crs$|time|interpolat|bnds|bounds",
    re.IGNORECASE,
)

_UNIT_NAMES: dict[str, float] = {
    **dict.fromkeys(
        (
            "us survey foot",
            "us_survey_foot",
            "foot_us",
            "ussurveyfoot",
            "us survey feet",
            "ftus",
            "us-ft",
            "sft",
        ),
        METRES_PER["us-ft"],
    ),
    "international foot": METRES_PER["ft"],
    **{
        f"{prefix}{metre}": factor
        for prefix, factor in (("deci", 0.1), ("centi", 0.01), ("milli", 0.001), ("kilo", 1000.0))
        for metre in ("metre", "metres", "meter", "meters")
    },
    "mètres": 1.0,
}


def unit_metres(text: str | None) -> float | None:
    """Metres per unit for a unit's name in a file, None if it says nothing or is no length.

    Examples
    --------
    >>> unit_metres("US survey foot") == 1200 / 3937
    True
    >>> unit_metres("dm"), unit_metres("metre"), unit_metres(""), unit_metres("dB")
    (0.1, 1.0, None, None)
    """
    if not text:
        return None
    plain = text.strip().lower().strip("[]()")
    plain = re.sub(r"[\s_](below|above|relative|depth|elevation)\b.*", "", plain)  # "m below MSL"
    if plain in _UNIT_NAMES:
        return _UNIT_NAMES[plain]
    return METRES_PER.get(plain)


def foreign_unit(text: str | None) -> bool:
    """True for a unit that is surely not a length (dB, degrees, m/s); placeholders say nothing."""
    plain = (text or "").strip().lower()
    return bool(plain) and plain not in _NOTHING and unit_metres(text) is None


_NOTHING = (
    "1",
    "-",
    "unknown",
    "unspecified",
    "undefined",
    "none",
    "n/a",
    "na",
    "null",
    "dimensionless",
    "unitless",
)


def side_of(text: str | None) -> str:
    """``down`` for words such as "depth below mean sea level", ``up`` for heights, empty for neither or both.

    A text that speaks of negative numbers may mean either, and says nothing.

    Examples
    --------
    >>> side_of("Depth below mean sea level"), side_of("m above geoid"), side_of("elevation or depth")
    ('down', 'up', '')
    """
    plain = (text or "").lower()
    if "negative" in plain:
        return ""
    down = says(plain, DOWN_WORDS) or bool(re.search(r"\bbelow\b", plain))
    up = says(plain, UP_WORDS) or bool(re.search(r"\babove\b", plain))
    return "" if down == up else ("down" if down else "up")


def says(name: str, words: tuple[str, ...]) -> bool:
    """True if one of ``words`` is in a name, as a word of its own or with digits after it."""
    parts = re.split(r"[^a-zà-ÿ]+", name.lower())
    return any(word in parts or word == name.lower() for word in words)


def which_unit(values: NDArray[np.float64], flag: str, of: str, units: Sequence[str] = UNITS, *, free: bool = True) -> Question:  # fmt: skip
    """The question in which unit values are, with what they would be in metres under each answer."""
    known = values[np.isfinite(values)]
    spans = [
        f"they would run from {known.min() * METRES_PER[unit]:.4g} to {known.max() * METRES_PER[unit]:.4g} m" if known.size else ""
        for unit in units
    ]  # fmt: skip
    return Question(flag, f"In which unit are its {of}?", tuple(zip(units, spans, strict=True)), free)


DATUM = "VERTICAL_DATUM_ABBREV"
"""Tag that names the level which heights are counted from, as S-102 grids carry it, and ours."""

BETWEEN_TRACKS = "reefscan_between_tracks_m"
"""Tag of a grid of ours: distance between the tracks of its soundings, metres. Its cells are finer, what it shows is not."""
