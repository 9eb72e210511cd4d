"""Own ground set into a public grid: own soundings where there are, the public grid elsewhere.

The public grid keeps its datum: the robust median of the differences is taken off the own ground.
What still differs at the edge is carried outward and let fade, so that no seam shows in the slope.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, gaussian_filter

from reefscan.base.spread import robust_sd

Floats = NDArray[np.float64]
OWN, BLENDED, PUBLIC = 1, 2, 3
"""Values of the source band; 0 where nothing is known."""
FEWEST = 50


@dataclass(frozen=True)
class Bias:
    """Constant difference between own and public ground.

    Parameters
    ----------
    value_m : float
        Own minus public elevation, robust median; 0 when there are too few shared cells.
    spread_m : float
        Robust standard deviation of the difference.
    cells : int
        Cells that both know.
    """

    value_m: float
    spread_m: float
    cells: int


def estimate_bias(own: Floats, public: Floats) -> Bias:
    """Own minus public elevation where both are known."""
    both = np.isfinite(own) & np.isfinite(public)
    cells = int(both.sum())
    if cells < FEWEST:
        return Bias(0.0, float("nan"), cells)
    difference = (own - public)[both]
    middle = float(np.median(difference))
    return Bias(middle, robust_sd(difference - middle), cells)


def fuse(
    own: Floats,
    own_sigma: Floats,
    public: Floats,
    public_sigma: Floats,
    *,
    bias: Bias,
    cell_m: float,
    blend_m: float,
) -> tuple[Floats, Floats, NDArray[np.uint8]]:
    """Blend two grids on one lattice.

    Parameters
    ----------
    own, public : ndarray of float
        Elevation (m, positive up), NaN unknown.
    own_sigma, public_sigma : ndarray of float
        Standard uncertainty (m); NaN unknown.
    bias : Bias
        Taken off the own ground.
    cell_m, blend_m : float
        Cell, and the distance over which a remaining difference fades out beyond the own ground.

    Returns
    -------
    elev, sigma : ndarray of float
    source : ndarray of uint8
        `OWN`, `BLENDED`, `PUBLIC`, 0.
    """
    shifted = own - bias.value_m
    have, know = np.isfinite(shifted), np.isfinite(public)
    source = np.where(have, OWN, np.where(know, PUBLIC, 0)).astype(np.uint8)
    elev = np.where(have, shifted, public)
    spread = 0.0 if not np.isfinite(bias.spread_m) else bias.spread_m / np.sqrt(max(bias.cells, 1))
    sigma = np.where(have, np.hypot(own_sigma, spread), public_sigma)
    both = have & know
    if not both.any() or not (know & ~have).any():
        return elev, sigma, source
    distance, (row, col) = distance_transform_edt(~both, return_indices=True)
    reach = distance * cell_m
    zone = know & ~have & (reach < blend_m)
    if not zone.any():
        return elev, sigma, source
    difference = np.where(both, shifted - np.where(know, public, 0.0), 0.0)
    # The nearest edge's difference, smoothed along the edge so that one odd cell draws no ray.
    known = both.astype(float)
    level = gaussian_filter(difference, 1.5) / np.maximum(gaussian_filter(known, 1.5), 1e-6)
    carried = level[row, col]
    width = max(blend_m / cell_m / 6.0, 1.0)
    near = (reach < 1.5 * blend_m).astype(float)
    smooth = gaussian_filter(carried * near, width) / np.maximum(gaussian_filter(near, width), 1e-6)
    share = np.clip(reach / blend_m, 0.0, 1.0)
    along = np.clip(reach / (0.4 * blend_m), 0.0, 1.0)  # at the very edge exactly the edge's own
    carried = carried * (1 - along) + smooth * along
    weight = 1.0 - share**3 * (share * (6.0 * share - 15.0) + 10.0)
    elev = np.where(zone, public + carried * weight, elev)
    sigma = np.where(zone, np.hypot(public_sigma, np.abs(carried) * weight * 0.5), sigma)
    source[zone] = BLENDED
    return elev, sigma, source
