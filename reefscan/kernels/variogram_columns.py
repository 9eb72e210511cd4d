"""What is told of the ground around a station, by column: of `reefscan.kernels.variogram.variogram`."""

from __future__ import annotations

FIELDS = ("near", "far", "quiet", "floor", "lesser")
"""Names, in order."""

NEAR, FAR, QUIET, FLOOR, LESSER = range(len(FIELDS))
