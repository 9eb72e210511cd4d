"""From stored measures to score and confidence: arrays in, arrays out, no raster touched.

The formula, exactly, so that any other program (the offline page) gives the same digits
---------------------------------------------------------------------------------------
All inputs are the *stored, rounded* measures of the candidate table. For each term in the order of
the recipe (weight 0 = off; a term whose column is absent, or unknown at every site of the kinds it
applies to, is dropped for the whole run):

1. ``mu = 0`` if ``x < a`` or ``x > d``; else ``(x - a) / (b - a)`` if ``x < b``; else
   ``(d - x) / (d - c)`` if ``x > c``; else 1. With ``half`` above 0 times ``x / (x + half)``, 0 for x below 0. Unknown x: ``score.unknown`` (0.5), but 0 for a bonus.
2. Parts (neither bonus nor penalty): an optional one becomes ``max(mu, score.optional_floor)``;
   a required one at 0 makes the score 0 and the site is not listed.
   ``s = 100 * exp(sum(w * ln(mu)) / sum(w))``, summed over the terms that apply to the site's kind;
   100 where none applies.
3. Each bonus in order: ``s = s + (100 - s) * w * mu``. Then each penalty: ``s = s * (1 - w * (1 - mu))``. Where the penalties
   together leave less than ``score.least_kept`` of it, the site keeps its score and is not listed.
4. ``points = rint(s * 1e6)``, an integer (half to even; a tie there has no practical weight). All
   differences between math libraries end here. Ranking uses ``points``.
5. The printed score is ``points / 1e5`` rounded half to even *in integers*, over 10:
   ``q, r = divmod(points, 100000)``; ``q += 1`` if ``r > 50000`` or (``r == 50000`` and q is odd);
   ``score = q / 10``. The confidence goes the same way: ``c6 = rint(p * 1e6)``, then two decimals.

Why integers: ``round(84.25, 1)`` sees a binary fraction, and JavaScript another rounding rule; an
integer number of millionths has neither trouble.

Confidence: ``p = (1 - 0.05 f) Phi((height (1 + 0.13 f) - a) / sigma)``, with ``a`` the lower corner of the site's own height term
and ``f = interpolated`` (unknown is 0).
With ``u = uncertainty_m`` where that is above 0, else ``TVU(depth) / 1.959963984540054`` of the recipe's
S-44 order: ``sigma = sqrt(own^2 + 2 k^2 max(0, u^2 - noise_m^2))`` where ``own = height_sigma_m`` is above 0,
``k = 0.2`` (an unknown ``noise_m`` or ``interpolated`` is 0); else ``sqrt(2) u``.
`erfc` good to 1e-9 is enough.

Why two parts: ``own`` is what the grid shows of itself (noise, how far it goes together, how sharp the form
is). What the stated uncertainty has beyond that changes slowly (tide, sound speed, draught): crest and
foot, some metres apart, share nearly all of it and their difference keeps ``k`` of it, on ground that was filled in too: between
soundings a surface is wrong most where it shows nothing, and what filling in does to a height that it shows is in ``own``. A stated uncertainty
smaller than the noise seen changes nothing: what is seen is believed.

Why ``f`` counts twice more: between soundings tops are cut off and feet raised, so that a height read there is rather too low; and some
of what is drawn there is not there at all, however high it reads, so that nothing on such ground is more than 95 % sure.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reefscan.base.recipe import Score, Term
from reefscan.base.s44 import Z95, tvu
from reefscan.kernels.roles import BONUS, DEPTH, HEIGHT, OPTIONAL, PENALTY, REQUIRED, SLOPE

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]

HEIGHT_COLUMN = "height_m"

CELL_COLUMNS = {"depth_m": DEPTH, HEIGHT_COLUMN: HEIGHT, "slope_deg": SLOPE}
"""Columns of the candidate table that a cell can answer by itself, by the number the kernel knows them by."""

SLOW_SHARE = 0.2
"""Share of slowly changing error that the difference of two depths some metres apart keeps: with a correlation
exp(-d / L), sqrt(1 - exp(-d / L)); 0.2 for 8 m and L = 200 m (a guess at a swath's own offsets)."""


TOPS_LOST, NOT_THERE = 0.13, 0.05
"""Filled-in ground: what a height is worth more than it reads, as a share of it, and the share of heights that are not there (2 600 sites on
planted, fractal and natural seabeds by two generators, sounded on tracks 12 to 40 m apart, drawn in three ways, tuning seeds: the likeliest of what
was read against what is there; no part of a stated doubt beyond `SLOW_SHARE` made it likelier)."""


@dataclass(frozen=True)
class Scored:
    """Scores of a whole table, row for row.

    Attributes
    ----------
    points : ndarray of int64
        Score in millionths of a point (0 to 100 000 000): what is ranked.
    score : ndarray of float64
        The printed score, 0-100 in tenths.
    confidence : ndarray of float64
        0-1 in hundredths; NaN for kinds that no height term applies to.
    listed : ndarray of bool
        False where a required term is worth nothing, or for what is doubted.
    doubted : ndarray of bool
        True where nothing but that the penalties leave less than `Score.least_kept` keeps it from the list.
    memberships : dict of str to ndarray
        Membership of every term in use, before any floor; NaN where it does not apply or is unknown.
    unknown : dict of str to ndarray of bool
        Where a term applies and its value is unknown.
    assumed : ndarray of bool
        True where the confidence rests on the assumed S-44 order.
    dropped : tuple of str
        Terms that are absent from the whole run.
    """

    points: NDArray[np.int64]
    score: Floats
    confidence: Floats
    listed: NDArray[np.bool_]
    doubted: NDArray[np.bool_]
    memberships: dict[str, Floats]
    unknown: dict[str, NDArray[np.bool_]]
    assumed: NDArray[np.bool_]
    dropped: tuple[str, ...]


def trapezoid(x: Floats | float, a: float, b: float, c: float, d: float, half: float = 0.0) -> Floats:
    """Membership: 0 outside ``a..d``, 1 between ``b`` and ``c``, linear between; NaN stays NaN.

    With ``half`` above 0, times ``x / (x + half)`` (0 for x below 0): the more the better, without end.

    ``a == b`` (or ``c == d``) is a hard edge that belongs to the band. Infinite corners leave a side
    open; ``a = -inf`` with a finite ``b`` is worth the full amount everywhere below ``c``.

    Examples
    --------
    >>> trapezoid(np.array([5, 7.5, 10, 30, 41]), 5, 10, 20, 40).tolist()
    [0.0, 0.5, 1.0, 0.5, 0.0]
    """
    x = np.asarray(x, dtype=np.float64)
    mu = np.ones_like(x)
    with np.errstate(over="ignore"):  # beside a side of almost no width, beyond which nothing counts
        if np.isfinite(a) and b > a:
            mu = np.where(x < b, (x - a) / (b - a) if np.isfinite(b) else 0.0, mu)
        if np.isfinite(d) and d > c:
            mu = np.where(x > c, (d - x) / (d - c) if np.isfinite(c) else 0.0, mu)
    mu = np.where((x < a) | (x > d), 0.0, mu)
    if half > 0:
        mu = mu * (np.maximum(x, 0.0) / (np.maximum(x, 0.0) + half))
    return np.where(np.isnan(x), np.nan, mu)


def round_half_even(value: Floats, decimals: int) -> tuple[NDArray[np.int64], Floats]:
    """Round through whole millionths, so that every language prints the same digits.

    Returns
    -------
    millionths : ndarray of int64
        ``rint(value * 1e6)``; 0 where the value is NaN.
    rounded : ndarray of float64
        The millionths rounded half to even to ``decimals`` (0 to 5), in integers; NaN stays NaN.

    Examples
    --------
    >>> round_half_even(np.array([84.25, 84.35, 84.250001]), 1)[1].tolist()
    [84.2, 84.4, 84.3]
    """
    nan = np.isnan(value)
    millionths = np.rint(np.where(nan, 0.0, value) * 1e6).astype(np.int64)
    step = 10 ** (6 - decimals)
    q, r = np.divmod(millionths, step)
    q = q + ((2 * r > step) | ((2 * r == step) & (q % 2 == 1)))
    return millionths, np.where(nan, np.nan, q / 10**decimals)


def height_confidence(
    height_m: Floats | float, threshold_m: Floats | float, sigma_m: Floats | float
) -> Floats:
    """Probability that the true height reaches a threshold, its error being normal with ``sigma_m``.

    ``sigma_m`` is that of the *height*: for two depths with independent errors, sqrt(2) times the sigma
    of one (too large where their errors go together).
    """
    z = (np.asarray(height_m, dtype=np.float64) - threshold_m) / np.asarray(sigma_m, dtype=np.float64)
    # the normal distribution by the error function, one by one: a library for it takes longer to import than a table has rows
    beyond = [0.5 * math.erfc(-value * math.sqrt(0.5)) for value in z.ravel().tolist()]
    return np.asarray(beyond, dtype=np.float64).reshape(z.shape)


def score_table(table: pd.DataFrame, score: Score) -> Scored:
    """Score every row of a candidate table.

    Parameters
    ----------
    table : DataFrame
        Stored, rounded measures; needs ``kind``; NaN = unknown. Not modified.
    score : Score
        The ``[score]`` part of the recipe.

    Returns
    -------
    Scored
        Row for row.
    """
    n = len(table)
    kind = table["kind"].astype("category")
    codes = kind.cat.codes.to_numpy()
    names = [str(k) for k in kind.cat.categories]

    memberships: dict[str, Floats] = {}
    unknown: dict[str, NDArray[np.bool_]] = {}
    dropped: list[str] = []
    for name, term in score.terms.items():
        if term.weight == 0:
            continue
        applies = _applies(term, names)[codes] if names else np.zeros(n, dtype=bool)
        if not applies.any():
            continue
        x = _column(table, term.column)
        if x is None or np.isnan(x[applies]).all():
            dropped.append(name)
            continue
        mu = trapezoid(x, term.a, term.b, term.c, term.d, term.half)
        unknown[name] = applies & np.isnan(mu)
        memberships[name] = np.where(applies, mu, np.nan)

    points_f, listed, doubted = _combine(memberships, unknown, score, n)
    points, rounded = round_half_even(points_f, 1)
    sure, assumed = _confidence(table, score, codes, names)
    _, confidence = round_half_even(sure, 2)
    return Scored(points, rounded, confidence, listed, doubted, memberships, unknown, assumed, tuple(dropped))


class CellTerms(NamedTuple):
    """The terms of one kind that a cell can answer, as `reefscan.kernels.worth.raise_worth` takes them."""

    measured: NDArray[np.int64]
    roles: NDArray[np.int64]
    numbers: Floats
    by_height: Floats
    unknown: float
    floor: float


def cell_terms(score: Score, kind: str, highest_cm: int) -> CellTerms:
    """Make ready the terms by which `raise_cells` scores cells as if a site of ``kind`` stood in each.

    Terms that judge something else than `CELL_COLUMNS` are left out.

    Parameters
    ----------
    score : Score
    kind : str
    highest_cm : int
        Highest structure that a cell will have near it, centimetres.
    """
    terms = [
        term
        for term in score.terms.values()
        if term.weight > 0 and term.column in CELL_COLUMNS and (not term.kinds or kind in term.kinds)
    ]
    height_m: Floats = np.arange(highest_cm + 1, dtype=np.float64) * 0.01
    by_height = np.zeros((len(terms), highest_cm + 1))
    for logs, term in zip(by_height, terms, strict=True):
        if term.column == HEIGHT_COLUMN:
            mu = trapezoid(height_m, term.a, term.b, term.c, term.d, term.half)
            worth = np.where(mu > 0, mu, np.nan) if term.required else np.maximum(mu, score.optional_floor)
            with np.errstate(divide="ignore"):
                logs[:] = term.weight * np.log(worth)
    numbers = [(t.a, t.b, t.c, t.d, t.weight, t.half) for t in terms]
    return CellTerms(
        np.array([CELL_COLUMNS[term.column] for term in terms], dtype=np.int64),
        np.array([_role(term) for term in terms], dtype=np.int64),
        np.array(numbers, dtype=np.float64).reshape(-1, 6),
        by_height,
        score.unknown,
        score.optional_floor,
    )


def raise_cells(
    points: NDArray[np.uint8],
    terms: CellTerms,
    *,
    elev_mm: NDArray[np.int32],
    height_cm: NDArray[np.uint16],
    slope_deg: NDArray[np.float32],
) -> None:
    """Score cells as if a site stood in each: what ``score.tif`` holds.

    Parameters
    ----------
    points : ndarray of uint8, shape (rows, cols)
        Raised in place to the cell's score, whole points, where a height is near and no required measure is unknown
        or worth nothing.
    terms : CellTerms
    elev_mm : ndarray of int32, shape (rows, cols)
        Millimetres, positive up; known wherever there is a height.
    height_cm : ndarray of uint16, shape (rows, cols)
        Highest structure of the kind within reach, centimetres; 0 none.
    slope_deg : ndarray of float32, shape (rows, cols)
        NaN unknown.
    """
    from reefscan.kernels.worth import raise_worth  # compiled code: a list scored anew needs none

    raise_worth(elev_mm, height_cm, slope_deg, *terms, points)


def _role(term: Term) -> int:
    return REQUIRED if term.required else BONUS if term.bonus else PENALTY if term.penalty else OPTIONAL


def _applies(term: Term, names: list[str]) -> NDArray[np.bool_]:
    return np.array([not term.kinds or name in term.kinds for name in names], dtype=bool)


def _column(table: pd.DataFrame, name: str) -> Floats | None:
    if name not in table.columns:
        return None
    import pandas as pd

    return np.asarray(pd.to_numeric(table[name], errors="coerce"), dtype=np.float64)


def _combine(
    memberships: Mapping[str, Floats], unknown: Mapping[str, NDArray[np.bool_]], score: Score, n: int
) -> tuple[Floats, NDArray[np.bool_], NDArray[np.bool_]]:
    """Steps 2 and 3 of the formula: scores 0-100, whether the site is listed, and whether it is left out for doubt alone."""
    total = np.zeros(n)
    logs = np.zeros(n)
    listed = np.ones(n, dtype=bool)
    for name, mu in memberships.items():
        term = score.terms[name]
        if term.bonus or term.penalty:
            continue
        known = np.where(unknown[name], score.unknown, mu)
        applies = ~np.isnan(known)
        if term.required:
            listed &= ~(known == 0)
            known = np.where(known == 0, 1.0, known)
        else:
            known = np.maximum(known, score.optional_floor)
        total += np.where(applies, term.weight, 0.0)
        logs += np.where(applies, term.weight * np.log(np.where(applies, known, 1.0)), 0.0)
    value = 100.0 * np.exp(logs / np.where(total > 0, total, 1.0))
    for name, mu in memberships.items():
        term = score.terms[name]
        if term.bonus:
            value = value + (100.0 - value) * term.weight * np.where(np.isnan(mu), 0.0, mu)
    kept = np.ones(n)
    for name, mu in memberships.items():
        term = score.terms[name]
        if term.penalty:
            known = np.where(unknown[name], score.unknown, np.where(np.isnan(mu), 1.0, mu))
            share = 1.0 - term.weight * (1.0 - known)
            value, kept = value * share, kept * share
    doubted = listed & (kept < score.least_kept)
    return np.where(listed, value, 0.0), listed & ~doubted, doubted


def height_thresholds(score: Score, kinds: list[str]) -> Floats:
    """Lower corner (m) of the height term of each kind; NaN where none applies or it is open below."""
    out = np.full(len(kinds), np.nan)
    for i, kind in enumerate(kinds):
        for term in score.terms.values():
            if term.column == HEIGHT_COLUMN and term.weight > 0 and (not term.kinds or kind in term.kinds):
                out[i] = term.a if np.isfinite(term.a) else np.nan
                break
    return out


def _confidence(
    table: pd.DataFrame, score: Score, codes: NDArray[np.int8], names: list[str]
) -> tuple[Floats, NDArray[np.bool_]]:
    n = len(table)
    height = _column(table, HEIGHT_COLUMN)
    if height is None or not names:
        return np.full(n, np.nan), np.zeros(n, dtype=bool)
    threshold = height_thresholds(score, names)[codes]
    blank = np.full(n, np.nan)
    own = _column(table, "height_sigma_m")
    single = _column(table, "uncertainty_m")
    depth = _column(table, "depth_m")
    assumed_sigma = tvu(score.s44_order, blank if depth is None else depth) / Z95
    own = blank if own is None else own
    single = blank if single is None else single
    stated = single > 0
    depth_sigma = np.where(stated, single, assumed_sigma)
    sigma = np.where(own > 0, _height_sigma(table, own, depth_sigma), np.sqrt(2.0) * depth_sigma)
    filled = _known(table, "interpolated")
    sure = height_confidence(height * (1.0 + TOPS_LOST * filled), threshold, sigma) * (
        1.0 - NOT_THERE * filled
    )
    return sure, ~stated & ~np.isnan(threshold)


def _known(table: pd.DataFrame, name: str) -> Floats:
    """A column, 0 where it is unknown or there is none."""
    column = _column(table, name)
    return np.zeros(len(table)) if column is None else np.nan_to_num(column)


def _height_sigma(table: pd.DataFrame, own: Floats, depth_sigma: Floats) -> Floats:
    """What the grid shows of a height's doubt, and what a slowly changing error adds."""
    beyond = np.maximum(0.0, depth_sigma**2 - _known(table, "noise_m") ** 2)
    return np.asarray(np.sqrt(own**2 + 2.0 * SLOW_SHARE**2 * beyond))
