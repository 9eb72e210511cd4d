"""The world catalogue: which metric grid a place belongs to, whatever file it came in.

A sheet of the catalogue is a zone (UTM; polar stereographic within 2 degrees of a pole) with a cell
size from a fixed series and its origin on whole cells. None of these depends on an input's own
bounding box, so one more file or another area moves no pixel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from reefscan.base.model import Sheet

SERIES = (1.0, 1.25, 1.6, 2.0, 2.5, 3.2, 4.0, 5.0, 6.4, 8.0)
"""Cell sizes, times a power of ten. Steps of a quarter (after the R10 series of ISO 3) keep the warped
cell within 12 % of the stored one: hardly any detail is lost and none is invented."""

POLAR_LAT = 88.0
"""UTM serves up to here: its 6 degree zones only narrow, and stay true to 0.1 %. The usual polar
grids are off by 0.6 % at the pole, so the cap has one that is true there."""

METRES_PER_DEGREE = 111_120.0
"""Of latitude (60 nautical miles); within 0.6 % everywhere. Used only to choose a cell size."""


@dataclass(frozen=True)
class Zone:
    """Core of a catalogue zone: half-open in longitude and latitude.

    Parameters
    ----------
    crs : str
        Of the zone's sheets.
    west, east : float
        Degrees; ``east - west`` is 6, or 360 at a pole.
    south, north : float
        Degrees.
    """

    crs: str
    west: float
    east: float
    south: float
    north: float

    def holds(self, lon: float, lat: float) -> bool:
        """Tell whether the core holds a place."""
        inside = self.south <= lat < self.north or (self.north == 90.0 and lat == 90.0)
        return inside and (lon - self.west) % 360.0 < self.east - self.west


_POLAR = (
    "+proj=stere +lat_0={pole} +lat_ts={pole} +lon_0=0 +x_0=0 +y_0=0 +datum=WGS84 +units=m +no_defs +type=crs"
)


def zone_at(lon: float, lat: float) -> Zone:
    """Return the catalogue zone whose core holds a place.

    Examples
    --------
    >>> zone_at(174.8, -41.3).crs
    'EPSG:32760'
    >>> zone_at(180.0, 10.0).crs
    'EPSG:32601'
    """
    if lat >= POLAR_LAT:
        return Zone(_polar(90), -180.0, 180.0, POLAR_LAT, 90.0)
    if lat < -POLAR_LAT:
        return Zone(_polar(-90), -180.0, 180.0, -90.0, -POLAR_LAT)
    number = int(((lon + 180.0) % 360.0) // 6.0)
    number = min(number, 59)  # (-1e-17 + 180) % 360 may round up to 360
    west = -180.0 + 6.0 * number
    if lat >= 0:
        return Zone(f"EPSG:{32601 + number}", west, west + 6.0, 0.0, POLAR_LAT)
    return Zone(f"EPSG:{32701 + number}", west, west + 6.0, -POLAR_LAT, 0.0)


def _polar(pole: int) -> str:
    from pyproj import CRS

    return str(CRS.from_user_input(_POLAR.format(pole=pole)).to_wkt())


def zones_over(west: float, south: float, east: float, north: float) -> list[Zone]:
    """Return every zone whose core meets a box (degrees; ``east`` may exceed 180, and ``west < east``)."""
    out: list[Zone] = []
    lats = [south] + [edge for edge in (-POLAR_LAT, 0.0, POLAR_LAT) if south < edge < north]
    first = math.floor((west + 180.0) / 6.0)
    last = math.ceil((east + 180.0) / 6.0)
    for lat in lats:
        for number in range(first, min(last, first + 60)):
            zone = zone_at(number * 6.0 - 177.0, lat)
            if zone not in out:
                out.append(zone)
    return out


def series_cell(cell_m: float) -> float:
    """Return the size of the series nearest (in ratio) to a cell size.

    Examples
    --------
    >>> series_cell(10.29), series_cell(0.3048), series_cell(3.43), series_cell(91)
    (10.0, 0.32, 3.2, 100.0)
    """
    power = math.floor(math.log10(cell_m))
    choices = [s * 10.0**p for p in (power - 1, power, power + 1) for s in SERIES]
    best = min(choices, key=lambda c: abs(math.log(c / cell_m)))
    return float(f"{best:.6g}")


def geographic_cell(dlon: float, dlat: float, lat: float) -> float:
    """Cell size in metres of a grid in degrees: that of its rows.

    Rows of latitude are equally far apart everywhere, so all tiles of a compilation fall in sheets
    of one cell size, from the tropics to the polar circle; the columns, narrower the farther from the equator, are
    averaged (`reefscan.kernels.cells.spread_of`). Where columns are much wider than rows, it is
    the columns' width, at the nearest ten degrees of latitude.
    """
    if abs(dlon) > 1.5 * abs(dlat):
        wide = (
            abs(dlon) * METRES_PER_DEGREE * math.cos(math.radians(min(80.0, 10.0 * round(abs(lat) / 10.0))))
        )
        return max(wide, abs(dlat) * METRES_PER_DEGREE)
    return abs(dlat) * METRES_PER_DEGREE


def catalogue_sheet(zone: Zone, cell_m: float) -> Sheet:
    """Return the catalogue's sheet for a zone and a stored cell size."""
    return Sheet(zone.crs, series_cell(cell_m))
