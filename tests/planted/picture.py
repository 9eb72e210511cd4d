"""One planted seabed as a picture: shaded ground, the truth in colour by role, feature lines, numbered sites."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from planted.judge import Site
from planted.truth import Seabed

COLOUR = {
    "real": "red", "optional": "orange", "deep": "blue", "shallow": "cyan", "decoy": "black", "dug": "magenta",
    "moving": "white",
}  # fmt: skip


def draw(bed: Seabed, sites: list[Site], lines: dict[str, list[NDArray[np.float64]]], path: Path) -> None:
    """Write a PNG."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt
    from matplotlib.colors import LightSource

    z = bed.elev.astype(float)
    size = z.shape[0] * bed.cell_m
    box = (0.0, size, -size, 0.0)
    shade = LightSource(315, 35).hillshade(z, vert_exag=4, dx=bed.cell_m, dy=bed.cell_m)
    figure, ax = plt.subplots(figsize=(13, 13))
    ax.imshow(shade, cmap="gray", extent=box)
    ax.imshow(z, cmap="viridis", alpha=0.3, extent=box)
    for kind, found in lines.items():
        for line in found:
            ax.plot(line[:, 0], line[:, 1], color="yellow" if kind == "trough" else "lime", lw=0.8)
    for p in bed.planted:
        colour = COLOUR[p.role]
        ax.plot(
            p.line[:, 0],
            p.line[:, 1],
            color=colour,
            lw=1,
            ls=":",
            marker="o" if len(p.line) == 1 else None,
            mfc="none",
        )
        ax.text(*p.line[-1], f"{p.kind[:7]} {p.height_m:.1f}", fontsize=7, color=colour)
    for s in sites[:60]:
        ax.plot(*s.xy, "x", color="yellow", ms=5)
        ax.text(
            s.xy[0] + 4,
            s.xy[1] + 4,
            f"{s.rank}{s.kind[0]} {s.height_m:.1f} ({s.score:.0f})",
            fontsize=7,
            color="yellow",
        )
    ax.set_title(f"{bed.name} {bed.seed}, cell {bed.cell_m:.0f} m, K {len(bed.real)}")
    figure.tight_layout()
    figure.savefig(path, dpi=80)
    plt.close(figure)
