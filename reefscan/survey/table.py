"""The table of soundings, and the reasons for which one is set aside.

Nothing is ever deleted: a sounding that a rule distrusts keeps its row and gets a reason code, so
that every rule can be undone and every loss can be counted and drawn.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

REASONS: tuple[tuple[str, str], ...] = (
    ("kept", "used for the grid"),
    ("position", "position missing, impossible or exactly 0, 0"),
    ("time", "time missing where it is needed, or later than now"),
    ("repeat", "same time, place and depth as the sounding before"),
    ("speed", "the boat would have had to go faster than it can"),
    ("no bottom", "zero, negative or empty depth: the sounder had no bottom"),
    ("out of range", "deeper or shoaler than the limits asked for"),
    ("stuck", "one value held while the boat moved on, or a sounder's mark for no bottom"),
    ("lost bottom", "leaps off the ground's level and back, steeper than ground can be"),
    ("double echo", "twice the depth on both sides: the echo of the echo"),
    ("spike", "stands off from the soundings before, after and beside it"),
    ("no fix", "no position near enough in time"),
    ("far off", "many times farther away than nearly all the others lie from one another"),
)
"""Every reason: its code is its place here. Report, map and tests read this one table."""

CODE = {name: code for code, (name, _) in enumerate(REASONS)}


@dataclass(frozen=True)
class Log:
    """What one file held, before anything is judged.

    Parameters
    ----------
    name : str
        Short file name.
    lon, lat : ndarray of float
        Degrees, WGS84; empty if the file has no positions.
    depth : ndarray of float
        Metres, positive down, as measured from `reference`; empty if the file has no depths.
    time : ndarray of float
        Seconds since 1970-01-01 UTC, NaN where unknown.
    to_surface : ndarray of float
        Metres to add to reach the water surface where the log says so itself, else NaN.
    reference : str
        ``transducer``, ``surface`` or ``keel``: what `depth` was measured from.
    dated : bool
        False if the log has times of day but no date.
    counts : dict of str to int
        Lines read, lines that could not be used and why.
    notes : tuple of str
        What a reader of the report should know.
    """

    name: str
    lon: Floats
    lat: Floats
    depth: Floats
    time: Floats
    to_surface: Floats
    reference: str = "transducer"
    dated: bool = True
    counts: dict[str, int] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Soundings:
    """Every sounding of a survey, one row each, in the order they were logged.

    Parameters
    ----------
    x, y : ndarray of float64
        Easting and northing (m) in the survey's sheet; NaN where the position is unusable.
    depth : ndarray of float64
        Metres below `reference` before reduction, below the stated datum after it.
    time : ndarray of float64
        Seconds since 1970 UTC, NaN unknown.
    to_surface : ndarray of float32
        Offset stated by the log itself (m), NaN where none.
    file : ndarray of int16
        Row in `files`.
    reason : ndarray of uint8
        0 kept, else a code of `REASONS`.
    steep : ndarray of bool
        Flag: the beam spans so much relief that the shoalest edge was read.
    files : tuple of str
    references : tuple of str
        One per file: ``transducer``, ``surface`` or ``keel``.
    """

    x: Floats
    y: Floats
    depth: Floats
    time: Floats
    to_surface: NDArray[np.float32]
    file: NDArray[np.int16]
    reason: NDArray[np.uint8]
    steep: NDArray[np.bool_]
    files: tuple[str, ...]
    references: tuple[str, ...]

    def __len__(self) -> int:
        return int(self.depth.size)

    @property
    def kept(self) -> NDArray[np.bool_]:
        """True for the soundings that no rule has set aside."""
        return np.asarray(self.reason == 0)

    def tally(self) -> dict[str, int]:
        """Count of soundings by reason, ``kept`` first; reasons that never occurred are left out."""
        counts = np.bincount(self.reason, minlength=len(REASONS))
        return {name: int(counts[code]) for name, code in CODE.items() if counts[code] or code == 0}


SILENCE_S = 1800.0


def sessions(data: Soundings) -> NDArray[np.int32]:
    """Number the stretches of unbroken logging: a new file, a long silence or time running back by as much starts another.

    Returns
    -------
    ndarray of int32
        Session number of each sounding, from 0, rising.
    """
    n = len(data)
    if n == 0:
        return np.zeros(0, np.int32)
    new = np.zeros(n, bool)
    new[1:] = data.file[1:] != data.file[:-1]
    with np.errstate(invalid="ignore"):
        new[1:] |= np.abs(np.diff(data.time)) > SILENCE_S
    return np.cumsum(new).astype(np.int32)
