"""The cleaning rules, one function each, applied in a fixed order.

A rule sees only soundings that no earlier rule has set aside, and answers with those it distrusts.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from reefscan.survey.running import bursts, short_excursions, spikes
from reefscan.survey.settings import Clean
from reefscan.survey.table import CODE, Soundings, sessions

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]
Rule = Callable[[Soundings, NDArray[np.int32], Clean], Bools]


def clean(data: Soundings, rules: Clean, *, now_s: float | None = None) -> Soundings:
    """Set aside what the rules distrust.

    Parameters
    ----------
    data : Soundings
        Unreduced: depths as the sounder gave them.
    rules : Clean
        Switches and limits.
    now_s : float, optional
        Seconds since 1970: times more than a day later are impossible.

    Returns
    -------
    Soundings
        A copy with `reason` and `steep` filled in; nothing removed, nothing overwritten.
    """
    session = sessions(data)
    reason = data.reason.copy()
    if now_s is not None:
        with np.errstate(invalid="ignore"):
            reason[(reason == 0) & (data.time > now_s + 86400.0)] = CODE["time"]
    for name, switch, rule in RULES:
        if switch is not None and not getattr(rules, switch):
            continue
        rows = np.flatnonzero(reason == 0)
        if rows.size == 0:
            break
        part = take(data, rows)
        bad = rule(part, session[rows], rules)
        reason[rows[bad]] = CODE[name]
    steep = np.zeros(len(data), bool)
    if rules.use_steep:
        rows = np.flatnonzero(reason == 0)
        steep[rows] = _steep(take(data, rows), session[rows], rules)
    return replace(data, reason=reason, steep=steep)


def take(data: Soundings, rows: NDArray[np.int64]) -> Soundings:
    """Some rows of a table, in the order given."""
    return replace(
        data, x=data.x[rows], y=data.y[rows], depth=data.depth[rows], time=data.time[rows],
        to_surface=data.to_surface[rows], file=data.file[rows], reason=data.reason[rows], steep=data.steep[rows],
    )  # fmt: skip


def _starts(session: NDArray[np.int32]) -> Bools:
    return np.r_[True, session[1:] != session[:-1]] if session.size else np.zeros(0, bool)


def distance_along(data: Soundings, session: NDArray[np.int32]) -> tuple[Floats, Bools]:
    """Distance made good (m), and where a new stretch starts (new session or a jump of place)."""
    step = np.r_[0.0, np.hypot(np.diff(data.x), np.diff(data.y))]
    new = _starts(session)
    typical = float(np.median(step[step > 0])) if np.any(step > 0) else 1.0
    new |= step > max(50.0, 20.0 * typical)
    step[new] = 0.0
    return np.cumsum(step), new


def _repeat(data: Soundings, session: NDArray[np.int32], rules: Clean) -> Bools:
    same = np.zeros(len(data), bool)
    same[1:] = (
        (np.diff(data.time) == 0)
        & (np.diff(data.x) == 0)
        & (np.diff(data.y) == 0)
        & (np.diff(data.depth) == 0)
    )
    if len(data.files) > 1:  # the same log given twice
        key = np.stack([data.time, data.x, data.y, data.depth])
        good = np.isfinite(data.time)
        _, first = (
            np.unique(key[:, good], axis=1, return_index=True) if good.sum() < 2_000_000 else (None, None)
        )
        if first is not None:
            again = np.ones(int(good.sum()), bool)
            again[first] = False
            same[np.flatnonzero(good)[again]] = True
    return same


def _speed(data: Soundings, session: NDArray[np.int32], rules: Clean) -> Bools:
    """Short stretches reached and left at impossible speed; the longer stretch is believed."""
    bad = np.zeros(len(data), bool)
    if not np.isfinite(data.time).any():
        return bad
    alive = np.arange(len(data))
    for _ in range(3):
        x, y, t, s = data.x[alive], data.y[alive], data.time[alive], session[alive]
        with np.errstate(invalid="ignore"):
            pace = np.maximum(np.abs(np.diff(t)), 1.0)
            far = np.hypot(np.diff(x), np.diff(y)) > rules.speed_max_m_s * pace + 15.0
        edge = np.r_[True, far | (np.diff(s) != 0)]
        piece = np.cumsum(edge) - 1
        size = np.bincount(piece)
        of = s[np.flatnonzero(edge)]
        total = np.bincount(s - s.min())[of - s.min()]
        # Stretches between jumps shorter than a tenth of their session (20 at the most) are thrown.
        short = (size < np.minimum(20, np.maximum(2, total // 10))) & (size < total)
        new = short[piece]
        if not new.any() or new.all():
            break
        bad[alive[new]] = True
        alive = alive[~new]
    return bad


def _no_bottom(data: Soundings, session: NDArray[np.int32], rules: Clean) -> Bools:
    with np.errstate(invalid="ignore"):
        return np.asarray(~(data.depth > 0))


def _range(data: Soundings, session: NDArray[np.int32], rules: Clean) -> Bools:
    return np.asarray((data.depth < rules.depth_min_m) | (data.depth > rules.depth_max_m))


def _stuck(data: Soundings, session: NDArray[np.int32], rules: Clean) -> Bools:
    """One value held over a long stretch that others leave, and a maker's mark for no bottom."""
    bad = np.zeros(len(data), bool)
    along, new = distance_along(data, session)
    change = new | np.r_[True, np.diff(data.depth) != 0]
    start = np.flatnonzero(change)
    size = np.diff(np.r_[start, len(data)])
    stop = start + size - 1
    held = (size >= rules.stuck_count) & (along[stop] - along[start] >= rules.stuck_run_m)
    # On level ground a coarse sounder may rightly repeat itself: only distrust a value that is
    # entered or left with a jump.
    step = np.abs(np.diff(data.depth, prepend=data.depth[:1]))
    usual = float(np.median(step[step > 0])) if np.any(step > 0) else 0.1
    jump = np.maximum(10.0 * usual, 0.05 * data.depth[start])
    leave = np.r_[step, 0.0][np.minimum(stop + 1, len(data))]
    held &= (step[start] > jump) | (leave > jump)
    for k in np.flatnonzero(held):
        bad[start[k] : stop[k] + 1] = True
    top = data.depth.max()
    rest = data.depth[data.depth < top]
    if rest.size and np.sum(data.depth == top) >= 3 and top > 2.0 * np.max(rest) and top > 50:
        bad |= data.depth == top
    return bad


def _lost(data: Soundings, session: NDArray[np.int32], rules: Clean) -> Bools:
    """Bursts of readings at more than 1.6 times, or less than 0.6 times, the ground's level around them."""
    bad = np.zeros(len(data), bool)
    along, new = distance_along(data, session)
    step = np.r_[0.0, np.diff(along)]
    for start, stop, before, after in bursts(data.depth, step, new, longest=rules.lost_count):
        part = data.depth[start:stop]
        ratio = part / np.linspace(before, after, stop - start)
        off = (ratio > 1.6) | (ratio < 0.6)
        if (
            all(
                abs(float(np.median(part[off])) / (2.0 * v) - 1.0) <= rules.double_within
                for v in (before, after)
            )
            if off.any()
            else False
        ):
            continue  # the double echo has its own name
        bad[start:stop] = off
    return bad


def _double(data: Soundings, session: NDArray[np.int32], rules: Clean) -> Bools:
    bad = np.zeros(len(data), bool)
    _, new = distance_along(data, session)
    for start, stop in short_excursions(data.depth, new, jump_m=0.4 * data.depth, longest=60):
        before = np.median(data.depth[max(0, start - 5) : start])
        after = np.median(data.depth[stop : stop + 5])
        level = float(np.median(data.depth[start:stop]))
        if all(abs(level / (2.0 * side) - 1.0) <= rules.double_within for side in (before, after)):
            bad[start:stop] = True
    return bad


def _spike(data: Soundings, session: NDArray[np.int32], rules: Clean) -> Bools:
    _, new = distance_along(data, session)
    return spikes(
        data.depth, new, floor_m=rules.spike_floor_m, share=rules.spike_share,
        times=rules.spike_times, run=rules.spike_run,
    )  # fmt: skip


def _beside(data: Soundings, session: NDArray[np.int32], rules: Clean) -> Bools:
    """Longer runs that jump out and back, where another pass close by shows the ground without them."""
    bad = np.zeros(len(data), bool)
    if not rules.use_beside:
        return bad
    _, new = distance_along(data, session)
    jump = np.maximum(2.0 * rules.spike_floor_m, 0.08 * data.depth)
    runs = short_excursions(data.depth, new, jump_m=jump, longest=40)
    if not runs:
        return bad
    suspect = np.zeros(len(data), bool)
    for start, stop in runs:
        suspect[start:stop] = True
    ground = np.flatnonzero(~suspect)
    if ground.size == 0:
        return bad
    tree = cKDTree(np.c_[data.x[ground], data.y[ground]])
    for start, stop in runs:
        rows = np.arange(start, stop)
        near = tree.query_ball_point(np.c_[data.x[rows], data.y[rows]], rules.beside_m)
        votes = against = 0
        for row, hits in zip(rows, near, strict=True):
            others = ground[np.array(hits, int)] if hits else np.zeros(0, int)
            others = others[np.abs(others - row) > 40]  # another pass, not this one
            if others.size < 3:
                continue
            votes += 1
            low, high = np.percentile(data.depth[others], [5, 95])
            gap = max(low - data.depth[row], data.depth[row] - high)
            against += gap > 0.5 * jump[row]
        if votes >= max(1, rows.size // 2) and against > 0.8 * votes:
            bad[start:stop] = True
    return bad


def _steep(data: Soundings, session: NDArray[np.int32], rules: Clean) -> Bools:
    """Ground whose slope along the track makes the beam's footprint span over half a metre."""
    if len(data) < 5:
        return np.zeros(len(data), bool)
    along, new = distance_along(data, session)
    ahead, behind = (
        np.minimum(np.arange(len(data)) + 2, len(data) - 1),
        np.maximum(np.arange(len(data)) - 2, 0),
    )
    piece = np.cumsum(new)
    run = along[ahead] - along[behind]
    ok = (piece[ahead] == piece[behind]) & (run > 0.5)
    slope = np.abs(data.depth[ahead] - data.depth[behind]) / np.where(ok, run, 1.0)
    footprint = 2.0 * data.depth * np.tan(np.deg2rad(rules.beam_deg) / 2.0)
    return np.asarray(ok & (slope * footprint / 2.0 > 0.5 + 0.02 * data.depth))


RULES: tuple[tuple[str, str | None, Rule], ...] = (
    ("repeat", "use_repeat", _repeat),
    ("no bottom", None, _no_bottom),
    ("out of range", "use_range", _range),
    ("speed", "use_speed", _speed),
    ("stuck", "use_stuck", _stuck),
    ("lost bottom", "use_lost", _lost),
    ("double echo", "use_double", _double),
    ("spike", "use_spike", _spike),
    ("spike", "use_spike", _beside),
)
"""Reason, switch (None: always) and rule, in the order they run."""
