"""How every kernel is compiled, said once.

Kept on disk, since the first minute of a newcomer is numba's; without the lock of the interpreter, since tiles run side by
side; 0 / 0 is NaN as in numpy; and without numba's wrapper for callers in C, of whom there are none (a sixteenth of all that
is compiled).
"""

from __future__ import annotations

from functools import partial

from numba import njit

_kernel = partial(njit, cache=True, nogil=True, error_model="numpy", no_cfunc_wrapper=True)

kernel = _kernel()
"""Of a function of arrays and numbers, the compiled one."""

inlined = _kernel(inline="always")
"""The same for a few lines that are laid into each of their callers, and compiled with them."""
