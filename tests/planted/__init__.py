"""Planted seabeds: random ground with a known truth, by seed, on which the finder is judged.

Nothing here uses the project's own kernels: forms are drawn from formulas, heights are measured by the naive rays of
`planted.reference`. Seeds 0-99 are for tuning; only seeds from 1000 on are reported.
"""

from planted.sets import SETS, plant
from planted.truth import Planted, Seabed

__all__ = ["SETS", "Planted", "Seabed", "plant"]
