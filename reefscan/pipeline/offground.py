"""Ground that a float keeps off, as each site has it: closed ground, fairways, hard structure, what the person names."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from reefscan.base.model import GridSource
from reefscan.plan.sites import OffGround
from reefscan.plan.spacing import CLEAR_M
from reefscan.surroundings.known import Surroundings
from reefscan.surroundings.nearest import nearest
from reefscan.surroundings.shapes import MARGIN_M, Box, Floats, Shapes, box_of


def box_around(around: Surroundings | None, sources: Sequence[GridSource]) -> Box:
    """The ground that shapes are looked for on: the run's own, else its grids and the usual margin."""
    if around is not None:
        return around.box
    bounds = [(source.sheet.crs, source.sheet.bounds(source.extent)) for source in sources]
    return box_of(bounds).grown(MARGIN_M)


def off_grounds(
    lon: Floats, lat: Floats, around: Surroundings | None, avoid: Shapes, box: Box, *, fairways: bool, stand_off_m: float
) -> list[tuple[OffGround, ...]]:  # fmt: skip
    """The nearest ground of each sort, for every place.

    Parameters
    ----------
    lon, lat : ndarray
        Places, degrees.
    around : Surroundings or None
        What the run knows from outside its grid.
    avoid : Shapes
        What the person names to keep off, in the frame of ``box``.
    fairways : bool
        Nets may lie in fairways.
    stand_off_m : float
        So far floats keep off ``avoid``, `CLEAR_M` at the least, and off the run's hard structure where it is over 0.
    """
    sorts: list[tuple[str, Shapes, float, bool, str]] = []
    if around is not None:
        sorts.append(("closed ground", around.of("closed"), CLEAR_M, True, ""))
        if not fairways:
            advice = "; --allow-fairways takes it all the same"
            sorts.append(("a fairway", _fairways(around), CLEAR_M, True, advice))
        if stand_off_m > 0:
            sorts.append(("hard structure", around.of("hard"), stand_off_m, False, ""))
    sorts.append(("ground to keep off", avoid, max(stand_off_m, CLEAR_M), False, ""))
    out: list[list[OffGround]] = [[] for _ in lon]
    for what, shapes, keep, bound, advice in sorts:
        rows, metres, _ = nearest(shapes, lon, lat, box)
        for k in np.flatnonzero(rows >= 0):
            name = shapes.called(int(rows[k]))
            out[k].append(OffGround(what, name, float(metres[k]), keep, bound, advice))
    return [tuple(each) for each in out]


def _fairways(around: Surroundings) -> Shapes:
    shapes = around.of("caution")
    words = zip(shapes.kind, shapes.name, strict=True)
    return shapes.take([k for k, (kind, name) in enumerate(words) if "fairway" in f"{kind} {name}".lower()])
