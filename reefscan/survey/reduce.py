"""From a sounder's reading to a depth below the datum, with every correction written down."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from reefscan.base.errors import AmbiguousError, InputError
from reefscan.base.question import Question
from reefscan.survey.settings import Reduce
from reefscan.survey.table import Log, Soundings

Floats = NDArray[np.float64]
Record = Callable[[str, Floats, NDArray[np.bool_], str], None]
"""Takes what was corrected, by how much (m), of which soundings, and how."""


class Tide(Protocol):
    """Anything that knows the height of the tide (m above the datum) at a time; NaN where it does not."""

    def at(self, when: Floats) -> Floats:
        """Height at times in seconds since 1970 UTC."""


def reduce_depths(
    data: Soundings, settings: Reduce, *, draft_m: float | None = None, keel_m: float | None = None,
    tide: Tide | None = None,
) -> tuple[Soundings, list[dict[str, object]]]:  # fmt: skip
    """Correct sound speed, draft and tide, in that order.

    Depth below datum = reading x (true / set sound speed) + draft - tide. A draft is added once:
    an offset that the log itself states (DPT, B-12) stands in place of ``draft_m``, and depths that
    the log measures from the surface get none.

    Parameters
    ----------
    data : Soundings
    settings : Reduce
    draft_m : float, optional
        Transducer below the waterline, for depths below the transducer.
    keel_m : float, optional
        Keel below the waterline, for depths below the keel.
    tide : Tide, optional

    Returns
    -------
    Soundings
        `depth` is below the datum, positive down.
    corrections : list of dict
        ``what``, ``soundings``, ``mean_m`` and a sentence ``how``, one a correction.

    Raises
    ------
    InputError
        Depths below the keel without ``keel_m``; soundings without a date, or outside the tide
        table, when a tide is asked for.
    """
    depth = data.depth.copy()
    done: list[dict[str, object]] = []

    def record(what: str, change: Floats, rows: NDArray[np.bool_], how: str) -> None:
        mean = float(np.mean(change[rows])) if rows.any() else 0.0
        done.append({"what": what, "soundings": int(rows.sum()), "mean_m": round(mean, 3), "how": how})

    ratio = settings.sound_true_m_s / settings.sound_set_m_s
    if ratio != 1.0:
        record("sound speed", depth * (ratio - 1.0), np.isfinite(depth),
               f"readings times {settings.sound_true_m_s:g} / {settings.sound_set_m_s:g}")  # fmt: skip
        depth *= ratio
    depth += _offsets(data, draft_m, keel_m, record)
    if tide is not None:
        depth -= _tide(data, tide, record)
    return replace(data, depth=depth), done


def measured_from(data: Soundings, where: str) -> NDArray[np.bool_]:
    """Soundings whose depth counts from there (``transducer``, ``keel``), where the log itself does not bring it to the surface."""
    return np.asarray((np.array(data.references)[data.file] == where) & ~np.isfinite(data.to_surface), bool)


def refuse_without_keel(data: Soundings, keel_m: float | None) -> None:
    """Ask for the keel's depth where some depths are below it.

    Raises
    ------
    AmbiguousError
        If it is not given.
    """
    keel = measured_from(data, "keel")
    if keel.any() and keel_m is None:
        raise AmbiguousError(
            f"{data.files[int(data.file[keel][0])]}: depths are below the keel; say --keel, its depth below the waterline",
            asks=Question(
                "--keel", "How deep is the keel below the waterline? Write it as 1.2m or 4ft.", free=True
            ),
        )


def refuse_undated(data: Soundings, logs: Sequence[Log] = ()) -> None:
    """Ask for the day of soundings that a tide is to be taken off; ``logs`` are those that they came from.

    Raises
    ------
    AmbiguousError
        If more than one in fifty has no date and time.
    """
    kept = data.kept
    undated = kept & ~np.isfinite(data.time)
    if logs:  # a clock without a day counts from any day
        undated |= kept & ~np.array([log.dated for log in logs])[data.file]
    if undated.sum() > 0.02 * len(data):
        name = data.files[int(data.file[undated][0])]
        raise AmbiguousError(
            f"{name}: {int(undated.sum())} soundings have no date and time; a tide needs one; say --date or drop --tide",
            asks=Question(
                "--date", "On which day was its first sounding? Write it as 2024-12-31.", free=True
            ),
        )


def _offsets(data: Soundings, draft_m: float | None, keel_m: float | None, record: Record) -> Floats:
    """Metres to add to each reading, for a depth below the water's surface."""
    refuse_without_keel(data, keel_m)
    own = np.isfinite(data.to_surface)
    keel, below = (measured_from(data, where) for where in ("keel", "transducer"))
    add = np.zeros(len(data))
    add[own] = data.to_surface[own]
    if draft_m is not None:
        add[below] = draft_m
    if keel.any():
        add[keel] = keel_m
    if own.any():
        record(
            "offset of the log",
            add,
            own,
            "transducer to waterline as the log states it; no draft added to these",
        )
    if below.any():
        record("draft", add, below, "transducer below the waterline as given" if draft_m is not None
               else "no draft given: depths stay below the transducer, shoaler than the water is")  # fmt: skip
    if keel.any():
        record("keel", add, keel, "keel below the waterline as given")
    return add


def _tide(data: Soundings, tide: Tide, record: Record) -> Floats:
    """Height of the tide at each sounding (m); the mean one where a sounding has no time."""
    refuse_undated(data)
    kept = data.kept
    undated = kept & ~np.isfinite(data.time)
    heights = np.nan_to_num(np.zeros(len(data)))
    timed = kept & np.isfinite(data.time)
    got = tide.at(data.time[timed])
    missing = ~np.isfinite(got)
    if missing.any():
        when = data.time[timed][missing]
        stamp = np.datetime_as_string(np.array([when.min(), when.max()]).astype("datetime64[s]"))
        raise InputError(
            f"tide: no height for {int(missing.sum())} of {int(timed.sum())} soundings, {stamp[0]}Z to {stamp[1]}Z: "
            "outside the table or in a gap of it; no height is guessed; give a table that covers them"
        )
    heights[timed] = got
    if undated.any():
        heights[undated] = float(np.mean(got))
    record("tide", -heights, timed, f"heights {got.min():.2f} to {got.max():.2f} m above the datum taken off")
    return heights
