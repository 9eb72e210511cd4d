"""How far values scatter, told so that a few wild ones do not count."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

NORMAL = 1.4826
"""Standard deviation of normal noise over its median magnitude."""


def robust_sd(misses: NDArray[np.float64]) -> float:
    """Standard deviation of values about zero by their median magnitude; half of them may be wild.

    Parameters
    ----------
    misses : ndarray
        At least one, none NaN, in any unit; about another level than zero that level is taken off first.

    Examples
    --------
    >>> robust_sd(np.array([-1.0, 1.0, 900.0]))
    1.4826
    """
    return NORMAL * float(np.median(np.abs(misses)))
