"""What is measured of a station, by column: of `reefscan.kernels.measure.measure_stations`."""

from __future__ import annotations

FIELDS = (
    "row", "col", "height", "width", "axis", "facing", "sigma_scale", "foot", "face_slope",
    "rough", "asymmetry", "flat_share", "axis_strength", "ok",
)  # fmt: skip
"""Names, in order."""

(
    ROW, COL, HEIGHT, WIDTH, AXIS, FACING, SIGMA_SCALE, FOOT, FACE_SLOPE,
    ROUGH, ASYMMETRY, FLAT_SHARE, AXIS_STRENGTH, OK,
) = range(len(FIELDS))  # fmt: skip
