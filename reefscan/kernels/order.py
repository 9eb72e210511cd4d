"""A few numbers put in order: compiled in a moment and faster than a sort made for many.

The library's own sort and median take 1 to 4 s to compile for each type they are used with, of the half minute that the
first scan ever has.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from reefscan.kernels.compiled import kernel


@kernel
def put_in_order(values: NDArray[np.generic]) -> None:
    """Sort a short array in place, ascending, by insertion; without NaN."""
    for i in range(1, len(values)):
        one = values[i]
        k = i
        while k > 0 and values[k - 1] > one:
            values[k] = values[k - 1]
            k -= 1
        values[k] = one


@kernel
def median(numbers: NDArray[np.float64]) -> float:
    """Median of any number of values without NaN, the mean of the middle two of an even number (quickselect, Hoare 1961)."""
    values, n = numbers.copy(), len(numbers)
    low, high, k = 0, n - 1, n // 2
    while low < high:
        pivot, i, j = values[(low + high) // 2], low, high
        while i <= j:
            while values[i] < pivot:
                i += 1
            while values[j] > pivot:
                j -= 1
            if i <= j:
                values[i], values[j] = values[j], values[i]
                i += 1
                j -= 1
        if k <= j:
            high = j
        elif k >= i:
            low = i
        else:
            break
    if n % 2 == 1:
        return float(values[k])
    below = values[0]
    for i in range(1, k):
        below = max(below, values[i])
    return float(0.5 * (below + values[k]))
