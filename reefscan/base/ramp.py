"""How far a measure has come from one value to another: nearly every likeness is made of it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def ramp(value: float | Floats, ends: tuple[float | Floats, float | Floats]) -> Floats:
    """0 up to the first of two values, 1 from the second on, linear between.

    Parameters
    ----------
    value : float or ndarray
        NaN stays NaN.
    ends : tuple of float or ndarray
        The second may be the lower one: then small values are worth 1.

    Examples
    --------
    >>> ramp(np.array([1.0, 2.5, 9.0]), (2.0, 3.0))
    array([0. , 0.5, 1. ])
    >>> float(ramp(0.25, (1.0, 0.0)))
    0.75
    """
    none, full = ends
    # half the time of np.clip for the single numbers of a long line's runs
    return np.asarray(np.minimum(np.maximum((value - none) / (full - none), 0.0), 1.0))
