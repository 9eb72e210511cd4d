"""What is told of a drop point, by column: of `reefscan.kernels.placement.place_nets`."""

from __future__ import annotations

FIELDS = (
    "row", "col", "depth", "off", "slope", "vrm", "relief", "bpi_fine", "bpi_broad", "rock_row", "rock_col",
)  # fmt: skip
"""Names, in order."""

ROW, COL, DEPTH, OFF, SLOPE, VRM, RELIEF, BPI_FINE, BPI_BROAD, ROCK_ROW, ROCK_COL = range(len(FIELDS))
