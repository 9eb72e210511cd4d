"""An `xarray.DataArray` written as a file, so that it is read by the rules of every other grid.

Its coordinates, CRS, unit and sign go along as a GeoTIFF states them; whether they are enough, and what is to be
said where they are not, is for `reefscan.io.grids.forms`.
"""

from __future__ import annotations

import hashlib
import math
import os
import re
import tempfile
import zlib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from itertools import product
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from pyproj.exceptions import ProjError
from rasterio.errors import CRSError
from rasterio.transform import Affine
from rasterio.windows import Window as RasterWindow

from reefscan.base.errors import InputError, one_line
from reefscan.base.model import BLOCK
from reefscan.io import handles
from reefscan.io.grids.axes import EAST, NORTH, evenly, unrolled
from reefscan.io.newraster import new_raster

if TYPE_CHECKING:
    import xarray

_SAYS = ("positive", "standard_name", "long_name", "units", "missing_value", "_fillvalue")
"""Attributes that the readers look at, in small letters."""

_STORED = {"scale_factor": 1.0, "add_offset": 0.0}
"""Attributes of numbers as stored, not yet decoded."""


@contextmanager
def as_files(grids: Any) -> Iterator[tuple[list[str], list[Path]]]:
    """Give the paths of grids, for as long as the block lasts: arrays among them are written to temporary files.

    A file and not GDAL's memory, for worker processes read it too.

    Parameters
    ----------
    grids : path, DataArray, or iterable of these

    Yields
    ------
    paths : list of str
        Of all grids, in their order.
    written : list of Path
        Those of them that are arrays.

    Raises
    ------
    InputError
        If one is neither, or an array does not say what has to be known of it.
    """
    one = isinstance(grids, (str, os.PathLike)) or hasattr(grids, "dims") or not isinstance(grids, Iterable)
    many = [grids] if one else list(grids)
    if all(isinstance(grid, (str, os.PathLike)) for grid in many):
        yield [str(grid) for grid in many], []
        return
    with tempfile.TemporaryDirectory(prefix="reefscan-", ignore_cleanup_errors=True) as folder:
        paths, written = [], []
        for number, grid in enumerate(many, 1):
            if isinstance(grid, (str, os.PathLike)):
                paths.append(str(grid))
                continue
            place = Path(folder, str(number))
            place.mkdir()
            written.append(_written(grid, place))
            paths.append(str(written[-1]))
        if len({path.name for path in written}) < len(written):
            raise InputError("two of the arrays have one name; give each its own with .rename()")
        try:
            yield paths, written
        finally:
            handles.close_all()  # of this thread: some systems delete no open file


def _written(grid: Any, folder: Path) -> Path:
    import xarray

    if isinstance(grid, xarray.DataArray):
        return write_array(grid, folder)
    if isinstance(grid, xarray.Dataset):
        raise InputError(
            f"a Dataset holds several variables ({', '.join(map(str, grid.data_vars))}); give one, as dataset['name']"
        )
    raise InputError(
        f"{type(grid).__name__}: does not say where it lies; wanted a path, or an xarray.DataArray with coordinates and a CRS"
    )


def write_array(array: xarray.DataArray, folder: Path) -> Path:
    """Write an array of depths or elevations as a GeoTIFF in ``folder``, under its own name; return its path.

    Equal arrays make files of equal size and time, so that a run of them can be taken up again.

    Parameters
    ----------
    array : DataArray
        Two dimensions (others of length 1 are dropped) with evenly spaced coordinates of cell centres, in any order;
        or, for a rotated grid, with two coordinates over both dimensions. A third, ``band``, may hold what else a file
        has bands for (an uncertainty), each named in the attribute ``long_name``. Not modified.
    folder : Path

    Raises
    ------
    InputError
        If it has other dimensions, no coordinates, uneven or curved ones, or holds no numbers.
    """
    name = re.sub(r"[^\w-]+", "_", str(array.name or "array")).strip("_") or "array"
    array = array.squeeze(drop=True)
    if "band" not in array.dims:
        array = array.expand_dims("band")
    if array.ndim != 3:
        sizes = ", ".join(f"{dim}: {size}" for dim, size in array.sizes.items() if dim != "band")
        raise InputError(
            f"{name}: has {array.ndim - 1} dimensions longer than 1 ({sizes}), wanted two; choose one of each other with .isel()"
        )
    if array.dtype.kind not in "iufbc":
        raise InputError(f"{name}: holds {array.dtype}, not numbers of depth or elevation")
    cells, transform, degrees = _placed(array, name)
    path = folder / f"{'grid_' if name.startswith('score') else ''}{name}.tif"  # beside a run's score.tif
    _write(path, cells, transform, array, degrees)
    return path


def _placed(array: xarray.DataArray, name: str) -> tuple[xarray.DataArray, Affine, bool]:
    """The array with rows from north to south and columns from west to east, its transform, and if it is in degrees."""
    flat = {dim: array.coords[dim] for dim in array.dims if dim in array.coords and dim != "band"}
    if len(flat) < 2:
        return _turned(array, name)
    east = [dim for dim, axis in flat.items() if _says(axis) & set(EAST)]
    north = [dim for dim, axis in flat.items() if _says(axis) & set(NORTH)]
    if len(east) != 1 or len(north) != 1 or east == north:
        one, two = flat
        raise InputError(
            f"{name}: its dimensions {one!r} and {two!r} do not say which runs east and which north; "
            f"name them x and y, as with .rename({two}='x', {one}='y')"
        )
    array = array.transpose("band", north[0], east[0])
    west, dx = _axis(flat[east[0]], f"{name}: its coordinates {east[0]!r}", turn=True)
    first, dy = _axis(flat[north[0]], f"{name}: its coordinates {north[0]!r}")
    if dx < 0:
        array, west = array[:, :, ::-1], west + dx * (array.shape[2] - 1)
    if dy > 0:
        array, first = array[:, ::-1], first + dy * (array.shape[1] - 1)
    dx, dy = abs(dx), abs(dy)
    degrees = all(
        {f"degrees_{way}", f"degree_{way}"} & _says(flat[dim])
        for dim, way in ((east[0], "east"), (north[0], "north"))
    )
    return array, Affine(dx, 0, west - dx / 2, 0, -dy, first + dy / 2), degrees


def _says(axis: xarray.DataArray) -> set[str]:
    words = [axis.name, *(axis.attrs.get(key, "") for key in ("units", "standard_name", "long_name"))]
    return {str(word).lower() for word in words}


def _axis(axis: xarray.DataArray, what: str, *, turn: bool = False) -> tuple[float, float]:
    """First coordinate and step."""
    if axis.dtype.kind not in "iuf":
        raise InputError(f"{what} are not numbers ({axis.dtype})")
    values = axis.to_numpy()
    if values.size < 2:
        raise InputError(f"{what} are {values.size}: wanted two or more, which tell how wide a cell is")
    grain = float(np.spacing(np.abs(values).max())) if values.dtype.kind == "f" else 0.0
    values = values.astype(np.float64)
    if turn and abs(values[-1] - values[0]) <= 360.0:
        values = unrolled(values)
    return evenly(values, grain, what)


def _turned(array: xarray.DataArray, name: str) -> tuple[xarray.DataArray, Affine, bool]:
    """A rotated grid: two coordinates over both dimensions, which a plane fits to a part of a cell."""
    dims = [dim for dim in array.dims if dim != "band"]
    both = {str(key): axis for key, axis in array.coords.items() if set(axis.dims) == set(dims)}
    pair = [
        next(
            (key for key, axis in both.items() if ({key.lower().rstrip("c")} | _says(axis)) & set(words)), ""
        )
        for words in (EAST, NORTH)
    ]
    if not all(pair):
        raise InputError(
            f"{name}: has no coordinates along {' and '.join(map(repr, dims))}, so it does not say where it lies; "
            "give it those of its cells' centres with .assign_coords(x=..., y=...)"
        )
    array = array.transpose("band", *dims)
    rows, cols = np.indices(array.shape[1:], dtype=np.float64)
    plane = np.column_stack([cols.ravel(), rows.ravel(), np.ones(cols.size)])
    places = np.column_stack(
        [both[key].transpose(*dims).to_numpy().astype(np.float64).ravel() for key in pair]
    )
    middle = places.mean(axis=0)
    fit, *_ = np.linalg.lstsq(plane, places - middle, rcond=None)
    off = float(np.abs(plane @ fit - (places - middle)).max())
    if not off <= 0.25 * float(np.hypot(*fit[:2].T).min()):
        raise InputError(
            f"{name}: its coordinates {pair[0]!r} and {pair[1]!r} change along both dimensions and are not a rotated grid "
            "(a curvilinear one); warp it to a plain grid first (gdalwarp does it)"
        )
    (a, d), (b, e), (c, f) = fit
    # from the first cell's centre to its corner
    return array, Affine(a, b, c + middle[0] - (a + b) / 2, d, e, f + middle[1] - (d + e) / 2), False


def _write(
    path: Path, cells: xarray.DataArray, transform: Affine, array: xarray.DataArray, degrees: bool
) -> None:
    import rioxarray  # noqa: F401  # registers the .rio accessor

    try:
        crs = array.rio.crs
    except (CRSError, ProjError) as error:
        raise InputError(
            f"{path.name}: its CRS cannot be understood ({one_line(error)}); give it another with .rio.write_crs()"
        ) from None
    try:
        nodata = array.rio.nodata
        scale, offset = (float(array.attrs.get(key, usual)) for key, usual in _STORED.items())
    except (ValueError, TypeError, OverflowError) as error:
        raise InputError(
            f"{path.name}: one of its attributes _FillValue, missing_value, scale_factor, add_offset is not a number of its kind "
            f"({one_line(error)}); set it right, or take it out of .attrs"
        ) from None
    dtype = {"b": "uint8", "f": "float32" if cells.dtype.itemsize < 8 else "float64"}.get(
        cells.dtype.kind, "complex128" if cells.dtype.kind == "c" else cells.dtype.newbyteorder("=").name
    )
    bands, attrs = cells.shape[0], {str(key).lower(): value for key, value in array.attrs.items()}
    profile: dict[str, Any] = {
        "driver": "GTiff", "height": cells.shape[1], "width": cells.shape[2], "count": cells.shape[0], "dtype": dtype,
        "nodata": math.nan if dtype.startswith("f") else None, "transform": transform, "crs": crs,
        "tiled": True, "blockxsize": BLOCK, "blockysize": BLOCK, "compress": "deflate", "zlevel": 1,
        "bigtiff": "if_safer",
    }  # fmt: skip
    if nodata is not None and (dtype.startswith("f") or np.can_cast(np.min_scalar_type(nodata), dtype)):
        profile["nodata"] = nodata
    stamp = hashlib.blake2b(
        repr((transform, crs, sorted(map(str, array.attrs.items())))).encode(), digest_size=8
    )
    with new_raster(path, path, profile) as out:
        for band in range(1, bands + 1):
            said = {key: _of_band(value, band) for key, value in attrs.items() if key in _SAYS}
            out.dataset.set_band_description(
                band, str(array.name or "" if bands == 1 else said.get("long_name", ""))
            )
            out.dataset.update_tags(band, **said)
        out.dataset.scales, out.dataset.offsets = (scale,) * bands, (offset,) * bands
        if degrees and crs is None:  # CF allows a grid of longitude and latitude to name no datum
            out.dataset.update_tags(**{"lon#units": "degrees_east", "lat#units": "degrees_north"})
        for band, row in product(range(bands), range(0, cells.shape[1], BLOCK)):
            part: NDArray[Any] = np.ascontiguousarray(cells[band, row : row + BLOCK].to_numpy(), dtype=dtype)
            stamp.update(zlib.crc32(part.data).to_bytes(4, "big"))
            out.write(part, band + 1, RasterWindow(0, row, part.shape[1], part.shape[0]))
    # what identifies a file is its size and time: a moment before 2038 that these cells make, in steps that disks keep
    moment = int.from_bytes(stamp.digest(), "big") % (2**31 * 10**7) * 100
    os.utime(path, ns=(moment, moment))


def _of_band(value: Any, band: int) -> Any:
    """An attribute as it is stored for one band: the library that opens rasters keeps those of several in a tuple."""
    return value[band - 1] if isinstance(value, (tuple, list)) and len(value) >= band else value
