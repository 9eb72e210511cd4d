"""Compiled kernels: arrays and numbers in, arrays and numbers out."""

import contextlib
import os

from reefscan.kernels.stale import discard_stale, sources_beside

with contextlib.suppress(OSError):  # in an archive there is no folder to look into
    discard_stale(
        os.path.join(os.path.dirname(os.path.abspath(__file__)), "__pycache__"), sources_beside(__file__)
    )
del contextlib, os
