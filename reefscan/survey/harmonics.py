"""Tide from harmonic constants, with node factors and arguments after Schureman.

Height = mean + sum of f A cos(V + u - G), where G is the phase lag on Greenwich. The orbital
elements, the node factors f and the angles u follow Schureman 1958, *Manual of Harmonic Analysis
and Prediction of Tides*, US C&GS Special Publication 98; the elements' polynomials are those of
Meeus 1998, *Astronomical Algorithms*. Predictions are of the tide alone: wind and air pressure add
decimetres that no table knows.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reefscan.base.errors import InputError

Floats = NDArray[np.float64]
_OMEGA = 23.4392911  # obliquity at J2000, degrees; its drift over a century moves f by less than 1e-4
_INCLINE = 5.145  # moon's orbit to the ecliptic, degrees
_DAY = 86400.0


@dataclass(frozen=True)
class Orbit:
    """Longitudes and inclinations (degrees) that the arguments are made of."""

    hour: Floats  # hour angle of the mean sun from midnight, T in Schureman plus 180
    s: Floats
    h: Floats
    p: Floats
    p1: Floats
    incline: Floats
    xi: Floats
    nu: Floats
    nu1: Floats
    nu2: Floats  # the doubled angle, 2 nu''
    big_p: Floats


def orbit(time: Floats) -> Orbit:
    """Elements of moon and sun at times given in seconds since 1970 UTC."""
    t = np.asarray(time, np.float64)
    c = (t / _DAY + 2440587.5 - 2451545.0) / 36525.0
    s = 218.3164477 + 481267.88123421 * c - 0.0015786 * c**2
    h = 280.46646 + 36000.76983 * c + 0.0003032 * c**2
    p = 83.3532465 + 4069.0137287 * c - 0.0103200 * c**2
    n = 125.0445479 - 1934.1362891 * c + 0.0020754 * c**2
    p1 = 282.93735 + 1.71946 * c + 0.00046 * c**2
    w, i, node = np.deg2rad(_OMEGA - 0.0130042 * c), np.deg2rad(_INCLINE), np.deg2rad(n)
    big_i = np.arccos(np.cos(i) * np.cos(w) - np.sin(i) * np.sin(w) * np.cos(node))
    e1 = np.arctan(np.cos(0.5 * (w - i)) / np.cos(0.5 * (w + i)) * np.tan(0.5 * node))
    e2 = np.arctan(np.sin(0.5 * (w - i)) / np.sin(0.5 * (w + i)) * np.tan(0.5 * node))
    wrapped = 0.5 * np.arctan2(np.sin(node), np.cos(node))  # half angle, in the tangents' own branch
    xi = 2 * wrapped - e1 - e2
    nu = e1 - e2
    nu1 = np.arctan2(np.sin(2 * big_i) * np.sin(nu), np.sin(2 * big_i) * np.cos(nu) + 0.3347)
    nu2 = np.arctan2(np.sin(big_i) ** 2 * np.sin(2 * nu), np.sin(big_i) ** 2 * np.cos(2 * nu) + 0.0727)
    deg = np.rad2deg
    return Orbit(
        (t % _DAY) / _DAY * 360.0, s % 360, h % 360, p % 360, p1 % 360,
        deg(big_i), deg(xi), deg(nu), deg(nu1), deg(nu2), p - deg(xi),
    )  # fmt: skip


def _sin(o: Orbit) -> Floats:
    return np.asarray(np.sin(np.deg2rad(o.incline)))


def _f_m2(o: Orbit) -> Floats:
    return np.asarray(np.cos(np.deg2rad(o.incline) / 2) ** 4 / 0.9154)


def _f_o1(o: Orbit) -> Floats:
    return np.asarray(_sin(o) * np.cos(np.deg2rad(o.incline) / 2) ** 2 / 0.3800)


def _f_k1(o: Orbit) -> Floats:
    i2 = np.deg2rad(2 * o.incline)
    return np.asarray(
        np.sqrt(0.8965 * np.sin(i2) ** 2 + 0.6001 * np.sin(i2) * np.cos(np.deg2rad(o.nu)) + 0.1006)
    )


def _f_k2(o: Orbit) -> Floats:
    s2 = _sin(o) ** 2
    return np.asarray(np.sqrt(19.0444 * s2**2 + 2.7702 * s2 * np.cos(np.deg2rad(2 * o.nu)) + 0.0981))


def _f_j1(o: Orbit) -> Floats:
    return np.asarray(np.sin(np.deg2rad(2 * o.incline)) / 0.7214)


def _f_oo1(o: Orbit) -> Floats:
    return np.asarray(_sin(o) * np.sin(np.deg2rad(o.incline) / 2) ** 2 / 0.0164)


def _f_mm(o: Orbit) -> Floats:
    return np.asarray((2 / 3 - _sin(o) ** 2) / 0.5021)


def _f_mf(o: Orbit) -> Floats:
    return np.asarray(_sin(o) ** 2 / 0.1578)


def _f_l2(o: Orbit) -> Floats:
    t2 = np.tan(np.deg2rad(o.incline) / 2) ** 2
    return np.asarray(_f_m2(o) * np.sqrt(1 - 12 * t2 * np.cos(np.deg2rad(2 * o.big_p)) + 36 * t2**2))


def _f_m1(o: Orbit) -> Floats:
    return np.asarray(_f_o1(o) * np.sqrt(2.310 + 1.435 * np.cos(np.deg2rad(2 * o.big_p))))


def _r(o: Orbit) -> Floats:
    two = np.deg2rad(2 * o.big_p)
    cot2 = 1 / np.tan(np.deg2rad(o.incline) / 2) ** 2
    return np.asarray(np.rad2deg(np.arctan2(np.sin(two), cot2 / 6 - np.cos(two))))


def _q(o: Orbit) -> Floats:
    big = np.deg2rad(o.big_p)
    return np.asarray(np.rad2deg(np.arctan2(0.483 * np.sin(big), np.cos(big))))


def _one(o: Orbit) -> Floats:
    return np.ones_like(o.s)


def _zero(o: Orbit) -> Floats:
    return np.zeros_like(o.s)


def _u(name: str) -> Callable[[Orbit], Floats]:
    return {
        "M2": lambda o: 2 * o.xi - 2 * o.nu,
        "O1": lambda o: 2 * o.xi - o.nu,
        "K1": lambda o: -o.nu1,
        "K2": lambda o: -o.nu2,
        "J1": lambda o: -o.nu,
        "OO1": lambda o: -2 * o.xi - o.nu,
        "MF": lambda o: -2 * o.xi,
        "L2": lambda o: 2 * o.xi - 2 * o.nu - _r(o),
        "M1": lambda o: o.xi - o.nu + _q(o),
    }[name]


# name: (multiples of T (hour angle + 180 taken in the constant), s, h, p, p1; constant), f, u.
# Schureman's table 2; T counts 15 degrees an hour from midnight plus 180.
_BASE: dict[str, tuple[tuple[float, ...], Callable[[Orbit], Floats], Callable[[Orbit], Floats]]] = {
    "M2": ((2, -2, 2, 0, 0, 0), _f_m2, _u("M2")),
    "N2": ((2, -3, 2, 1, 0, 0), _f_m2, _u("M2")),
    "2N2": ((2, -4, 2, 2, 0, 0), _f_m2, _u("M2")),
    "NU2": ((2, -3, 4, -1, 0, 0), _f_m2, _u("M2")),
    "MU2": ((2, -4, 4, 0, 0, 0), _f_m2, _u("M2")),
    "LAM2": ((2, -1, 0, 1, 0, 180), _f_m2, _u("M2")),
    "L2": ((2, -1, 2, -1, 0, 180), _f_l2, _u("L2")),
    "S2": ((2, 0, 0, 0, 0, 0), _one, _zero),
    "T2": ((2, 0, -1, 0, 1, 0), _one, _zero),
    "R2": ((2, 0, 1, 0, -1, 180), _one, _zero),
    "K2": ((2, 0, 2, 0, 0, 0), _f_k2, _u("K2")),
    "K1": ((1, 0, 1, 0, 0, -90), _f_k1, _u("K1")),
    "O1": ((1, -2, 1, 0, 0, 90), _f_o1, _u("O1")),
    "P1": ((1, 0, -1, 0, 0, 90), _one, _zero),
    "Q1": ((1, -3, 1, 1, 0, 90), _f_o1, _u("O1")),
    "2Q1": ((1, -4, 1, 2, 0, 90), _f_o1, _u("O1")),
    "RHO": ((1, -3, 3, -1, 0, 90), _f_o1, _u("O1")),
    "J1": ((1, 1, 1, -1, 0, -90), _f_j1, _u("J1")),
    "OO1": ((1, 2, 1, 0, 0, -90), _f_oo1, _u("OO1")),
    "M1": ((1, -1, 1, 0, 0, -90), _f_m1, _u("M1")),
    "S1": ((1, 0, 0, 0, 0, 0), _one, _zero),
    "MM": ((0, 1, 0, -1, 0, 0), _f_mm, _zero),
    "MF": ((0, 2, 0, 0, 0, 0), _f_mf, _u("MF")),
    "MSF": ((0, 2, -2, 0, 0, 0), _f_m2, lambda o: -_u("M2")(o)),
    "SSA": ((0, 0, 2, 0, 0, 0), _one, _zero),
    "SA": ((0, 0, 1, 0, 0, 0), _one, _zero),
    "S4": ((4, 0, 0, 0, 0, 0), _one, _zero),
    "S6": ((6, 0, 0, 0, 0, 0), _one, _zero),
    "M3": ((3, -3, 3, 0, 0, 0), lambda o: _f_m2(o) ** 1.5, lambda o: 1.5 * _u("M2")(o)),
}
_COMPOUND: dict[str, dict[str, int]] = {
    "M4": {"M2": 2}, "M6": {"M2": 3}, "M8": {"M2": 4}, "MS4": {"M2": 1, "S2": 1}, "MN4": {"M2": 1, "N2": 1},
    "MK3": {"M2": 1, "K1": 1}, "2MK3": {"M2": 2, "K1": -1}, "2SM2": {"S2": 2, "M2": -1},
}  # fmt: skip
_ALIAS = {"LDA2": "LAM2", "LAMBDA2": "LAM2", "RHO1": "RHO", "NO1": "M1", "MO3": "2MK3"}


def node_and_argument(name: str, time: Floats) -> tuple[Floats, Floats]:
    """Node factor f and argument V + u (degrees, 0-360) of a constituent.

    Raises
    ------
    InputError
        If the constituent is not one of the 37 in general use.
    """
    key = _ALIAS.get(name.strip().upper(), name.strip().upper())
    o = orbit(np.asarray(time, np.float64))
    if key in _COMPOUND:
        f, angle = np.ones_like(o.s), np.zeros_like(o.s)
        for part, times in _COMPOUND[key].items():
            pf, pa = node_and_argument(part, time)
            f, angle = f * pf ** abs(times), angle + times * pa
        return f, angle % 360.0
    if key not in _BASE:
        known = ", ".join(sorted({*_BASE, *_COMPOUND}))
        raise InputError(f"tide constants: constituent {name!r} is not known; known: {known}")
    (a, b, c, d, e, constant), factor, shift = _BASE[key]
    # T runs from midnight and the sun's hour angle from noon: 180 degrees for every odd multiple.
    angle = a * (o.hour + 180.0) + b * o.s + c * o.h + d * o.p + e * o.p1 + constant
    return factor(o), np.asarray(angle + shift(o)) % 360.0


@dataclass(frozen=True)
class HarmonicTide:
    """Harmonic constants of a place.

    Parameters
    ----------
    amplitude, phase : dict of str to float
        Amplitude (m) and Greenwich phase lag (degrees) by constituent.
    mean : float
        Height of mean level above the datum (m).
    """

    amplitude: dict[str, float]
    phase: dict[str, float]
    mean: float = 0.0

    def at(self, when: Floats) -> Floats:
        """Height (m) at times in seconds since 1970 UTC; NaN where the time is NaN.

        Evaluated on a one-minute lattice and splined when there are many times (error < 1e-6 m).
        """
        when = np.asarray(when, np.float64)
        good = np.isfinite(when)
        out = np.full(when.shape, np.nan)
        if not good.any():
            return out
        lo, hi = np.floor(when[good].min() / 300.0) - 2, np.ceil(when[good].max() / 300.0) + 2
        if hi - lo < good.sum() / 4:
            from scipy.interpolate import CubicSpline

            lattice = np.arange(lo, hi + 1) * 300.0
            out[good] = CubicSpline(lattice, self._exact(lattice))(when[good])
        else:
            out[good] = self._exact(when[good])
        return out

    def _exact(self, when: Floats) -> Floats:
        total = np.full(when.shape, self.mean)
        for name, amplitude in self.amplitude.items():
            f, angle = node_and_argument(name, when)
            total += f * amplitude * np.cos(np.deg2rad(angle - self.phase[name]))
        return total
