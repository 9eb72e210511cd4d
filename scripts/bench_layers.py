"""How fast the terrain layers are, as ratios in one run: against peers, against other designs, by radius.

    python scripts/bench_layers.py              # 2048 x 2048 cells, about a minute
    python scripts/bench_layers.py --side 4096 --json layers.json

Times are CPU seconds of one thread, the best of three; ratios carry over to other machines, figures do not.
Peers: xarray-spatial's slope, and an annulus by plain convolution. Other designs that were tried and lost
stay here so that the choice can be made again: a far disc by chords and by FFT, blocks of other sizes,
relief by exact chords at large radii.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

sys.path[:0] = [str(Path(__file__).resolve().parents[1]), str(Path(__file__).resolve().parent)]

from rough_ground import fractal  # noqa: E402

from reefscan.base.model import NODATA_MM, to_metres, to_mm  # noqa: E402
from reefscan.kernels.layers import discs, gradient, position, relief, rugosity  # noqa: E402

CELL_M = 2.0


def ground(side: int) -> NDArray[np.int32]:
    """Rough ground with about one cell in twenty unknown, in blots of some 50 cells."""
    mm = to_mm(fractal(side).astype(np.float64))
    blots = fractal(side, seed=2, mean_m=0.0, spread_m=1.0)
    mm[blots > np.quantile(blots, 0.95)] = NODATA_MM
    return mm


def speed(cells: int, run: Callable[[], Any], times: int = 3) -> float:
    """Mcell per CPU second of this thread; the first call compiles and does not count."""
    run()
    best = np.inf
    for _ in range(times):
        start = time.thread_time()
        run()
        best = min(best, time.thread_time() - start)
    return cells / best / 1e6


def ring(inner: float, outer: float) -> NDArray[np.float64]:
    """The annulus as a convolution's weights."""
    reach = int(outer)
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    distance = np.hypot(x, y)
    return ((distance >= inner) & (distance <= outer)).astype(np.float64)


def by_fft(mm: NDArray[np.int32], inner: float, outer: float) -> NDArray[np.float64]:
    """Position index by two convolutions through the Fourier transform; exact after rounding."""
    from scipy.signal import oaconvolve

    weights, known = ring(inner, outer), mm != NODATA_MM
    total = np.rint(oaconvolve(np.where(known, mm, 0).astype(np.float64), weights, "same"))
    count = np.rint(oaconvolve(known.astype(np.float64), weights, "same"))
    with np.errstate(invalid="ignore", divide="ignore"):
        out = (mm - total / count) / 1000.0
    out[~known | (count < 0.5 * weights.sum())] = np.nan
    return np.asarray(out)


def layers(mm: NDArray[np.int32]) -> dict[str, float]:
    """Speed of every kernel at the default recipe's radii on 2 m cells."""
    n = mm.size
    return {
        "slope": speed(n, lambda: gradient.slope_deg(mm, CELL_M)),
        "aspect": speed(n, lambda: gradient.aspect_deg(mm, CELL_M)),
        "tri": speed(n, lambda: gradient.tri_riley_m(mm, CELL_M)),
        "vrm 3x3": speed(n, lambda: rugosity.vrm(mm, CELL_M, 3)),
        "vrm 11x11": speed(n, lambda: rugosity.vrm(mm, CELL_M, 11)),
        "vrm 111x111": speed(n, lambda: rugosity.vrm(mm, CELL_M, 111)),
        "slope + vrm 3x3": speed(n, lambda: (gradient.slope_deg(mm, CELL_M), rugosity.vrm(mm, CELL_M, 3))),
        "surface ratio": speed(n, lambda: rugosity.surface_ratio(mm, CELL_M)),
        "bpi 1-10": speed(n, lambda: position.bpi(mm, 1, 10, 0, 0)),
        "bpi 3-25 (fine)": speed(n, lambda: position.bpi(mm, 3, 25, 0, 0)),
        "bpi 3-250": speed(n, lambda: position.bpi(mm, 3, 250, 0, 0)),
        "bpi 25-125 (broad)": speed(n, lambda: position.bpi(mm, 25, 125, 0, 0)),
        "bpi 250-1250": speed(n, lambda: position.bpi(mm, 250, 1250, 0, 0)),
        "relief 12.5": speed(n, lambda: relief.relief(mm, 12.5)),
        "relief 125": speed(n, lambda: relief.relief(mm, 125)),
    }


def peers(mm: NDArray[np.int32]) -> dict[str, float]:
    """Speed of what else there is for two of them."""
    from scipy import ndimage

    found = {}
    small = to_metres(mm[:512, :512])
    weights = ring(1, 10)
    found["annulus 1-10 by convolution"] = speed(
        small.size, lambda: small - ndimage.convolve(small, weights, mode="constant") / weights.sum(), 1
    )
    try:
        import xarray
        import xrspatial
    except ImportError:
        return found
    raster = xarray.DataArray(
        to_metres(mm).astype(np.float32), dims=("y", "x"), attrs={"res": (CELL_M, CELL_M)}
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found["xarray-spatial slope"] = speed(mm.size, lambda: xrspatial.slope(raster).values)
    return found


def designs(mm: NDArray[np.int32]) -> dict[str, tuple[float, float]]:
    """Speed and rms error (per cent of the index's spread) of the designs that were weighed."""
    exact, blocks = position.EXACT_CELLS, discs.BLOCKS_IN_RADIUS
    out = {}
    for outer in (25.0, 64.0, 125.0):
        truth = by_fft(mm, 3.0, outer)
        spread = np.nanstd(truth)

        def miss(values: NDArray[Any], truth: Any = truth, spread: Any = spread) -> float:
            return float(100.0 * np.sqrt(np.nanmean((values - truth) ** 2)) / spread)

        out[f"fft 3-{outer:g}"] = (speed(mm.size, lambda outer=outer: by_fft(mm, 3.0, outer), 1), 0.0)
        for name, near, in_radius in (
            ("chords", 1e9, blocks), ("blocks, 8-16 in a radius", exact, blocks),
            ("blocks, 4-8 in a radius", 8.0, 4.0), ("blocks, 12-24 in a radius", 24.0, 12.0),
        ):  # fmt: skip
            position.EXACT_CELLS, discs.BLOCKS_IN_RADIUS = near, in_radius
            values = position.bpi(mm, 3.0, outer, 0, 0)
            out[f"{name} 3-{outer:g}"] = (
                speed(mm.size, lambda outer=outer: position.bpi(mm, 3.0, outer, 0, 0), 1), miss(values)
            )  # fmt: skip
        position.EXACT_CELLS, discs.BLOCKS_IN_RADIUS = exact, blocks
    largest = relief.DISC_CELLS
    for radius in (12.0, 25.0):
        for name, limit in (("relief by chords", 1e9), ("relief by an octagon", 0.0)):
            relief.DISC_CELLS = limit
            out[f"{name} {radius:g}"] = (
                speed(mm.size, lambda radius=radius: relief.relief(mm, radius), 1), float("nan")
            )  # fmt: skip
    relief.DISC_CELLS = largest
    return out


def main() -> None:
    """Print the tables; exit 1 if a promised ratio is not kept."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--side", type=int, default=2048, help="cells a side")
    parser.add_argument("--json", type=Path, help="also write the figures here")
    args = parser.parse_args()
    mm = ground(args.side)
    ours, theirs, tried = layers(mm), peers(mm), designs(mm)
    print(
        f"{args.side} x {args.side} cells, {100 * np.mean(mm == NODATA_MM):.0f} % unknown; Mcell per CPU second"
    )
    for name, value in (ours | theirs).items():
        print(f"  {name:<32}{value:9.1f}")
    print("designs weighed: speed, rms error in per cent of the index's spread")
    for name, (value, error) in tried.items():
        print(f"  {name:<32}{value:9.1f}" + ("" if np.isnan(error) else f"{error:9.2f}"))
    promises = {
        "bpi 1-10 / convolution (>= 20)": (ours["bpi 1-10"] / theirs["annulus 1-10 by convolution"], 20.0),
        "bpi 3-250 / 3-25 (>= 1)": (ours["bpi 3-250"] / ours["bpi 3-25 (fine)"], 1.0),
        "bpi 250-1250 / 25-125 (>= 1)": (ours["bpi 250-1250"] / ours["bpi 25-125 (broad)"], 1.0),
    }
    # The one window whose passes along a row grow with the logarithm of its length: a quarter dearer.
    promises["relief 125 / 12.5 (>= 0.7)"] = (ours["relief 125"] / ours["relief 12.5"], 0.7)
    if "xarray-spatial slope" in theirs:
        ratio = ours["slope + vrm 3x3"] / theirs["xarray-spatial slope"]
        promises["slope + vrm / xarray-spatial's slope (>= 2)"] = (ratio, 2.0)
    print("ratios")
    for name, (value, least) in promises.items():
        print(f"  {name:<46}{value:6.2f}  {'kept' if value >= least else 'NOT KEPT'}")
    if args.json:
        args.json.write_text(json.dumps({"layers": ours, "peers": theirs, "designs": tried}, indent=2))
    sys.exit(0 if all(value >= least for value, least in promises.values()) else 1)


if __name__ == "__main__":
    main()
