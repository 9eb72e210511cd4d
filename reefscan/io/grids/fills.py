"""Numbers that stand for "nothing here" though they look like depths: zeros round a survey, masks."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from reefscan.io.grids.probe import Sample

WALL_M = 1.0
"""A shore reaches zero by small steps; a fill stands over what it borders on by more than this, in the median."""

WALL_STEPS = 8.0
"""And by more than so many of the seabed's own steps from cell to cell."""


def zeros_are_fill(sample: Sample, values: NDArray[np.float64], metres_per_unit: float) -> bool:
    """Tell whether cells of exactly 0 mean "not surveyed".

    They do if 0 is the least or the greatest number, lies in patches, and the ground beside them does not run
    towards it: their border is a wall nearly everywhere. Land that was set to 0 meets the sea in small steps.

    Parameters
    ----------
    sample : Sample
    values : ndarray of float64
        Known stored numbers of the sample.
    metres_per_unit : float
        Of the stored numbers.
    """
    zero = values == 0.0
    if zero.sum() < 30 or zero.all() or (values.min() < 0.0 < values.max()):
        return False
    inner, flat = 0, 0
    walls, steps = [], []
    for raw, known in zip(sample.windows, sample.known, strict=True):
        if min(raw.shape) < 3:
            continue
        z = raw.astype(np.float64)
        hit = (z == 0.0) & known
        mid = hit[1:-1, 1:-1]
        inner += int((mid & hit[:-2, 1:-1] & hit[2:, 1:-1] & hit[1:-1, :-2] & hit[1:-1, 2:]).sum())
        flat += int(mid.sum())
        for one, two, a, b, ka, kb in (
            (z[:-1], z[1:], hit[:-1], hit[1:], known[:-1], known[1:]),
            (z[:, :-1], z[:, 1:], hit[:, :-1], hit[:, 1:], known[:, :-1], known[:, 1:]),
        ):
            step = np.abs(two - one)
            both = ka & kb
            walls.append(step[both & (a ^ b)])
            steps.append(step[both & ~a & ~b])
    if not walls or flat == 0 or inner < 0.5 * flat:
        return False
    wall, step = np.concatenate(walls), np.concatenate(steps)
    if wall.size < 30 or step.size < 30:
        return False
    least = max(WALL_M / abs(metres_per_unit), WALL_STEPS * float(np.median(step)))
    # a tenth may be ground that does run out at zero
    return float(np.quantile(wall, 0.1)) > least


def is_mask(values: NDArray[np.float64], dtype: str) -> bool:
    """Tell whether whole numbers are a mask: nothing but 0 and one other."""
    if np.dtype(dtype).kind not in "iu" or not values.size:
        return False
    numbers = np.unique(values)
    return numbers.size == 2 and numbers[0] == 0.0 and numbers[1] in (1.0, 255.0)
