"""Invented seabeds in closed form, and boats that sound them: the truth that the survey is held against."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reefscan.survey.table import Soundings

Floats = NDArray[np.float64]
EAST, NORTH = 500_000.0, 5_600_000.0


@dataclass(frozen=True)
class Plant:
    """One planted structure: ``kind`` at (x, y), heading of its axis, height, half length."""

    kind: str
    x: float
    y: float
    axis_deg: float
    height: float
    half_m: float


def plants(rng: np.random.Generator, count: int, side_m: float) -> list[Plant]:
    """Structures strewn on a lattice so that none touches another."""
    per = int(np.ceil(np.sqrt(count)))
    out = []
    for k in range(count):
        x = (k % per + 0.5) * side_m / per + rng.uniform(-8, 8)
        y = (k // per + 0.5) * side_m / per + rng.uniform(-8, 8)
        kind = ("ledge", "trough", "rise")[k % 3]
        out.append(Plant(kind, x, y, rng.uniform(0, 180), rng.uniform(1.4, 2.2), rng.uniform(25, 40)))
    return out


def seabed(x: Floats, y: Floats, planted: list[Plant], *, rough: float = 0.0) -> Floats:
    """Elevation (m, positive up) of gentle ground with planted structure, ``rough`` m of small relief."""
    z = -14.0 - 0.006 * x + 0.5 * np.sin(x / 70) * np.cos(y / 90) + 0.3 * np.sin(y / 47 + 1)
    if rough:
        z = z + rough * (np.sin(x / 6.1) * np.sin(y / 7.3 + 0.4) + 0.7 * np.sin(x / 4.2 + y / 9.0))
    for p in planted:
        a = np.deg2rad(p.axis_deg)
        along = (x - p.x) * np.sin(a) + (y - p.y) * np.cos(a)
        across = (x - p.x) * np.cos(a) - (y - p.y) * np.sin(a)
        ends = 0.5 * (np.tanh((along + p.half_m) / 6) - np.tanh((along - p.half_m) / 6))
        if p.kind == "ledge":  # a step 4 m wide that runs out behind over 30 m
            ramp = np.clip((across + 2) / 4, 0, 1) * np.clip(1 - (across - 2) / 30, 0, 1)
            z = z + p.height * ramp * ends
        elif p.kind == "trough":
            z = z - p.height * np.exp(-0.5 * (across / 6) ** 2) * ends
        else:
            z = z + p.height * np.exp(-0.5 * ((along / 10) ** 2 + (across / 8) ** 2))
    return np.asarray(z)


def tracks(
    side_m: float, spacing_m: float, *, step_m: float = 1.5, cross: int = 3, offset: float = 0.0
) -> tuple[Floats, Floats]:
    """Positions along parallel lines up and down a square, then a few lines across."""
    xs, ys = [], []
    n = int(side_m / step_m)
    for k, line in enumerate(np.arange(spacing_m / 2 + offset, side_m, spacing_m)):
        run = np.linspace(0, side_m, n)[:: 1 if k % 2 == 0 else -1]
        xs.append(np.full(n, line) + 1.2 * np.sin(run / 60 + k))
        ys.append(run)
    for k in range(cross):
        run = np.linspace(0, side_m, n)[:: 1 if k % 2 == 0 else -1]
        xs.append(run)
        ys.append(np.full(n, (k + 0.5) * side_m / cross))
    return np.concatenate(xs), np.concatenate(ys)


def sounded(x: Floats, y: Floats, elev: Floats, *, start_s: float = 1.7e9, speed: float = 2.5) -> Soundings:
    """A log of one boat: time from distance run, depth as given, all kept."""
    run = np.r_[0, np.cumsum(np.hypot(np.diff(x), np.diff(y)))]
    n = x.size
    return Soundings(
        EAST + x, NORTH + y, -elev, start_s + run / speed, np.full(n, np.nan, np.float32), np.zeros(n, np.int16),
        np.zeros(n, np.uint8), np.zeros(n, bool), ("boat.csv",), ("transducer",),
    )  # fmt: skip


def add_spikes(
    depth: Floats, rng: np.random.Generator, share: float = 0.01
) -> tuple[Floats, NDArray[np.bool_]]:
    """Replace a share of depths by ones 1 to 8 m off, either way, alone or in runs of two."""
    bad = rng.random(depth.size) < share * 0.9
    bad[1:] |= bad[:-1] & (rng.random(depth.size - 1) < 0.1)
    off = rng.uniform(1.0, 8.0, depth.size) * rng.choice([-1.0, 1.0], depth.size)
    out = np.where(bad, np.maximum(depth + off, 0.3), depth)
    return out, bad & (np.abs(out - depth) >= 0.9)
