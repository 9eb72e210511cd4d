"""What is measured of a station, by column; lengths in cells or metres as said."""

from __future__ import annotations

KINDS = ("trough", "ledge", "rise")
TROUGH, LEDGE, RISE = range(len(KINDS))

FIELDS = (
    "kind", "row", "col", "height", "width", "axis", "facing", "drop", "run", "steep", "together", "sigma_share",
    "net_row", "net_col", "off", "floor_slope", "depth", "rock_row", "rock_col",
    "vrm", "relief", "bpi_fine", "bpi_broad",
)  # fmt: skip
"""Names, in order. ``row``, ``col``: the structure's middle (cells): of a ledge's face, a trough's floor, a rise's top.
``height``, ``drop`` (m): beyond the ground's own slope, and the plain fall of the face over ``run`` (m); of a trough the lower flank's,
of a rise the median side's. ``width`` (m): crest to crest, of the face, foot to foot. ``axis``, ``facing``: radians clockwise from
grid north. ``steep``: gradient of the face. ``together``: share of the parallel lines across it that fall as the face does."""

(
    KIND, ROW, COL, HEIGHT, WIDTH, AXIS, FACING, DROP, RUN, STEEP, TOGETHER, SIGMA_SHARE,
    NET_ROW, NET_COL, OFF, FLOOR_SLOPE, DEPTH, ROCK_ROW, ROCK_COL,
    VRM, RELIEF, BPI_FINE, BPI_BROAD,
) = range(len(FIELDS))  # fmt: skip
