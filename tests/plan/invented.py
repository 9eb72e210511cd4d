"""Invented nights for tests of whole plans: a rough ground with land and holes, sites on it, a tide, a boat."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
from pyproj import Transformer
from scipy.ndimage import gaussian_filter

from reefscan.plan.books import Boat, Forecast, Net, Stream
from reefscan.plan.legs import Ground
from reefscan.plan.model import Asked, Known, Wishes
from reefscan.plan.sites import Site
from reefscan.plan.tide import NightTide
from reefscan.survey.tide import make_table

CRS = "EPSG:32721"
WEST, NORTH = 440_000.0, 4_272_400.0
ZONE = ZoneInfo("Atlantic/Stanley")
DATE = dt.date(2027, 2, 11)
NOON = dt.datetime(2027, 2, 11, 12, tzinfo=ZONE).timestamp()
_TO_LONLAT = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
_TO_GRID = Transformer.from_crs("EPSG:4326", CRS, always_xy=True)


def to_lonlat(x: float, y: float) -> tuple[float, float]:
    lon, lat = _TO_LONLAT.transform(x, y)
    return float(lon), float(lat)


def to_grid(lon: float, lat: float) -> tuple[float, float]:
    x, y = _TO_GRID.transform(lon, lat)
    return float(x), float(y)


def seabed(rng: np.random.Generator, side: int = 120, cell: float = 5.0) -> Ground:
    """Land in the north, falling south, rough, with holes in the data and the odd islet."""
    row = np.arange(side)[:, None] / side
    rough = gaussian_filter(rng.standard_normal((side, side)), 5)
    elev = 6 - 26 * row + 2.5 * rough / rough.std()
    hole = gaussian_filter(rng.standard_normal((side, side)), 3)
    elev[hole > np.quantile(hole, 0.97)] = np.nan
    return Ground(elev, WEST, NORTH, cell, CRS)


def sites_on(ground: Ground, rng: np.random.Generator, number: int) -> tuple[Site, ...]:
    """Sites at known wet cells, best first."""
    rows, cols = np.nonzero(ground.elev < -3)
    pick = rng.choice(rows.size, number, replace=False)
    score = np.sort(np.round(rng.uniform(30, 95, number), 1))[::-1]
    out = []
    for k, i in enumerate(pick):
        lon, lat = to_lonlat(*ground.middle((int(rows[i]), int(cols[i]))))
        depth = round(float(-ground.elev[rows[i], cols[i]]), 2)
        out.append(
            Site(f"s{k}", round(lon, 7), round(lat, 7), depth, sigma_m=0.15, score=float(score[k]),
                 confidence=round(float(rng.uniform(0.5, 1)), 2), feature=f"f{rng.integers(6)}", kind="ledge")
        )  # fmt: skip
    return tuple(out)


def tide_of(rng: np.random.Generator, *, offset: float = 0.0) -> NightTide:
    """High and low waters from noon on, about 6.2 h apart, of any range up to 8 m."""
    time, high = NOON - 3600 * rng.uniform(0, 6.5), bool(rng.integers(2))
    mean, half = rng.uniform(0.5, 4), rng.uniform(0.1, 4)
    times, heights = [], []
    while time < NOON + 33 * 3600:
        times.append(time)
        heights.append(round(mean + (half if high else -half) * rng.uniform(0.7, 1), 2))
        time, high = time + 3600 * rng.uniform(5.6, 6.8), not high
    return NightTide(make_table(np.array(times), np.array(heights), kind="high-low"), offset, "tides.csv")


def launch_of(ground: Ground) -> tuple[float, float]:
    """The wettest cell of the row a third down."""
    row = ground.elev.shape[0] // 3
    return to_lonlat(*ground.middle((row, int(np.nanargmin(ground.elev[row])))))


def known(sites: tuple[Site, ...], closed: str = "") -> Known:
    return Known(
        tuple(replace(site, barred=closed) for site in sites),
        "Closed ground: none given.",
        to_grid,
        to_lonlat,
    )


def asked_of(rng: np.random.Generator, ground: Ground, **more: object) -> Asked:
    """Any reasonable wishes."""
    count = int(rng.integers(1, 7))
    nets = sorted(
        (Net(name=f"n{k}", rope_m=round(float(rng.uniform(14, 40)), 1), marks_m=float(rng.choice([0, 1, 1.5, 2])),
             radius_m=0.6, line=str(rng.choice(["floating", "sinking"])), float_lift_kgf=6)  # type: ignore[arg-type]
         for k in range(count)),
        key=lambda net: -net.longest_m,
    )  # fmt: skip
    boat = Boat(
        length_m=float(rng.uniform(4, 9)), draft_m=float(rng.uniform(0.3, 1)), freeboard_m=float(rng.choice([0, 0.5])),
        speed_kn=float(rng.uniform(5, 14)), fuel_l_per_h=9.0, fuel_l=60.0,
    )  # fmt: skip
    forecast = Forecast(
        wind_kn=float(rng.uniform(0, 20)), wind_from_deg=float(rng.uniform(0, 360)), wave_m=round(float(rng.uniform(0, 1.5)), 1),
        stream=(Stream(to_deg=float(rng.uniform(0, 360)), speed_kn=float(rng.uniform(0, 2))),),
    )  # fmt: skip
    values: dict[str, object] = {
        "date": DATE, "zone": ZONE, "until": str(rng.choice(["00:30", "02:00", "04:00"])), "nets": tuple(nets),
        "launch": launch_of(ground), "boat": boat, "forecast": forecast, "soak_s": float(rng.choice([30, 60, 90])) * 60,
        "scope": float(rng.choice([1.0, 1.25, 1.5])), "surge_m": float(rng.choice([0.0, 0.3])), "wishes": Wishes(),
    }  # fmt: skip
    return Asked(**{**values, **more})  # type: ignore[arg-type]
