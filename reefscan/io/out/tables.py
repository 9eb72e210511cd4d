"""The candidate table as Parquet and the features as GeoPackage: equal content, equal bytes."""

from __future__ import annotations

import io
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from reefscan.base.columns import DECIMALS, TEXT, WHOLE
from reefscan.base.errors import RunFolderError
from reefscan.io.out.geopackage import write_geopackage

if TYPE_CHECKING:
    import geopandas

SCHEMA_VERSION = 1
_VERSION_KEY = b"reefscan_candidates"


def rounded(table: pd.DataFrame) -> pd.DataFrame:
    """Round every known measure to its stored decimals, half to even; order rows by id.

    Columns that are not of the candidate table (the user's own) are kept as they are. Negative zero
    becomes zero, so that equal values are equal bytes.
    """
    out = table.take(np.argsort(table["id"].to_numpy(dtype=object), kind="stable"))
    out.index = pd.RangeIndex(len(out))
    for name, decimals in DECIMALS.items():
        if name in out.columns:
            values = pd.to_numeric(out[name], errors="coerce").to_numpy(dtype=np.float64)
            out[name] = np.round(values, decimals) + 0.0
    return out


def candidates_to_bytes(table: pd.DataFrame) -> bytes:
    """Write the candidate table as Parquet bytes; equal tables give equal bytes."""
    columns: list[Any] = []
    for name in table.columns:
        series = table[name]
        if name in TEXT:
            columns.append(pa.array(series.astype("object").where(series.notna(), None), type=pa.string()))
        elif name in WHOLE:
            columns.append(pa.array(series.to_numpy(dtype=np.int64)))
        elif name in DECIMALS:
            columns.append(pa.array(series.to_numpy(dtype=np.float64)))
        else:
            columns.append(pa.Array.from_pandas(series))
    meta = {_VERSION_KEY: str(SCHEMA_VERSION).encode()}
    # Made from arrays, not from_pandas: that would store the library's version in the file.
    arrow = pa.Table.from_arrays(columns, names=[str(c) for c in table.columns]).replace_schema_metadata(meta)
    sink = io.BytesIO()
    pq.write_table(arrow, sink, compression="zstd", row_group_size=1 << 20)
    return sink.getvalue()


def read_candidates(path: Path | str) -> pd.DataFrame:
    """Read a candidate table.

    Raises
    ------
    RunFolderError
        If it is damaged or of another version.
    """
    try:
        arrow = pq.read_table(path)
    except (pa.ArrowException, OSError) as error:
        raise RunFolderError(f"{path}: damaged or not a candidate table ({error}); scan again") from None
    found = (arrow.schema.metadata or {}).get(_VERSION_KEY, b"?").decode()
    if found != str(SCHEMA_VERSION):
        raise RunFolderError(
            f"{path}: table of version {found}; this program reads {SCHEMA_VERSION}; scan again"
        )
    frame: pd.DataFrame = arrow.to_pandas()
    return frame


def write_features(path: Path | str, layers: Mapping[str, geopandas.GeoDataFrame]) -> Path:
    """Write features as a GeoPackage, one layer for each name (``ledges``, ``troughs``, ``rises``).

    Empty layers are written too, so that a reader need not ask which exist. Every layer needs a CRS.
    """

    def kind(frame: geopandas.GeoDataFrame) -> str:
        kinds = set(frame.geom_type.dropna()) if len(frame) else set()
        return next(iter(kinds)) if len(kinds) == 1 else ("Unknown" if kinds else "LineString")

    return write_geopackage(
        Path(path), layers, {name: kind(frame) for name, frame in layers.items()},
        meaning=f"reefscan {{}}, schema version {SCHEMA_VERSION}",
    )  # fmt: skip
