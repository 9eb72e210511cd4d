"""One raster as it lies in its file, and all that is needed to read it right.

A `Layer` is plain frozen data: it pickles, it goes into the index of a folder as JSON, and two
equal layers read the same bits.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from typing import Any

from reefscan.io.grids.surveys import Survey


@dataclass(frozen=True)
class Layer:
    """A raster band of depths or elevations.

    Parameters
    ----------
    path : str
        What GDAL opens (a path, or ``/vsicurl/...``, or ``NETCDF:"file":variable``).
    name : str
        Short name for people.
    file : str
        The file behind ``path``, or the URL.
    driver, dtype : str
        GDAL's name of the form; numpy's name of the stored numbers.
    width, height : int
        Cells as stored.
    transform : tuple of 6 floats
        (a, b, c, d, e, f) from stored column and row to the CRS.
    crs : str
        Horizontal CRS, ``EPSG:n`` or WKT; empty if none is known.
    band, sigma_band, quality_band : int
        Band of depths, of uncertainty, of survey numbers; 0 if there is none.
    factor, add_mm : float
        ``elevation in mm = raw * factor + add_mm``.
    unknown : tuple of float
        Stored values that mean "unknown".
    sigma_factor : float
        Millimetres of one standard deviation per stored unit of the uncertainty band.
    sigma_unknown : tuple of float
        The same for the uncertainty band.
    sigma_path : str
        What GDAL opens for the uncertainty, where that is not ``path`` (variables of a netCDF file).
    quality_path : str
        What GDAL opens for the survey numbers, where that is not ``path`` (BAG, S-102).
    surveys : tuple of Survey
        What the attribute table tells of the surveys in the quality band.
    masked : bool
        True if a mask band has to be read too.
    crop : tuple of 4 int
        First row, first column, end row, end column of what is used.
    copied : tuple of (int, int, int, int)
        Duplicate lines: parts of it (first row, first column, end row, end column) that only repeat their neighbours: unknown.
        The name is part of the header by which a finished run knows its grids again: it stays.
    options : tuple of (str, str)
        Open options for GDAL.
    vertical : str
        Vertical datum as the file names it; empty if it does not.
    form : str
        The form in words, for people ("GeoTIFF, depths in decimetres").
    notes : tuple of str
        What was assumed, repaired or looks wrong, one sentence each.
    low_m, high_m : float
        Least and greatest elevation in the sample that was looked at; NaN if nothing was known.
    sigma_m : float
        Median standard uncertainty in the sample; NaN if there is none.
    date : str
        When surveyed or made, as the file says; empty if it does not.
    between_m : float
        Distance between the tracks of the soundings that it was made of, as a file of ours says; 0 if it does not.
    size, mtime_ns : int
        Of the file, 0 for a URL.
    """

    path: str
    name: str
    file: str
    driver: str
    dtype: str
    width: int
    height: int
    transform: tuple[float, float, float, float, float, float]
    crs: str
    band: int = 1
    sigma_band: int = 0
    quality_band: int = 0
    factor: float = 1000.0
    add_mm: float = 0.0
    unknown: tuple[float, ...] = ()
    sigma_factor: float = 1000.0
    sigma_unknown: tuple[float, ...] = ()
    sigma_path: str = ""
    quality_path: str = ""
    surveys: tuple[Survey, ...] = ()
    masked: bool = False
    crop: tuple[int, int, int, int] = (0, 0, 0, 0)
    copied: tuple[tuple[int, int, int, int], ...] = ()
    options: tuple[tuple[str, str], ...] = ()
    vertical: str = ""
    form: str = ""
    notes: tuple[str, ...] = ()
    low_m: float = math.nan
    high_m: float = math.nan
    sigma_m: float = math.nan
    date: str = ""
    between_m: float = 0.0
    size: int = 0
    mtime_ns: int = 0

    @property
    def has_uncertainty(self) -> bool:
        """True if an uncertainty band or the surveys' own statements tell how good the depths are."""
        return bool(self.sigma_band) or any(math.isfinite(survey.fixed_m) for survey in self.surveys)

    def noted(self, *sentences: str) -> Layer:
        """Return a copy with more notes."""
        return dataclasses.replace(self, notes=self.notes + sentences)

    def to_json(self) -> dict[str, Any]:
        """Plain data for the index of a folder (NaN becomes None)."""
        out = dataclasses.asdict(self)
        for key, value in out.items():
            if isinstance(value, float) and math.isnan(value):
                out[key] = None
            elif isinstance(value, tuple):
                out[key] = [_plain(item) for item in value]
        return out

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> Layer:
        """Inverse of `to_json`."""
        made: dict[str, Any] = {}
        for field in dataclasses.fields(cls):
            value = data[field.name]
            if value is None:
                value = math.nan
            elif isinstance(value, list):
                value = tuple(tuple(v) if isinstance(v, list) else _number(v) for v in value)
            made[field.name] = value
        made["surveys"] = tuple(Survey(*row) for row in made["surveys"])
        return cls(**made)


def _plain(item: Any) -> Any:
    if isinstance(item, float) and not math.isfinite(item):
        return str(item)
    return list(item) if isinstance(item, tuple) else item


def _number(item: Any) -> Any:
    return float(item) if item in ("nan", "inf", "-inf") else item
