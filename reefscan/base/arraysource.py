"""Elevations already in memory as a `reefscan.base.model.GridSource`."""

from __future__ import annotations

import dataclasses
import hashlib
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reefscan.base.errors import InputError
from reefscan.base.model import NODATA_MM, GridBlock, Sheet, Window, to_mm


@dataclass(frozen=True)
class ArraySource:
    """One array of elevations on a metric sheet.

    Parameters
    ----------
    sheet : Sheet
    extent : Window
        Window that the arrays cover.
    elev_mm : ndarray of int32
    sigma_mm : ndarray of int32 or None
    name : str
    """

    sheet: Sheet
    extent: Window
    elev_mm: NDArray[np.int32]
    sigma_mm: NDArray[np.int32] | None = None
    name: str = "array"
    notes: tuple[str, ...] = ()

    @classmethod
    def from_metres(
        cls,
        elev: NDArray[np.floating],
        *,
        cell_m: float,
        sigma: NDArray[np.floating] | None = None,
        crs: str = "EPSG:32631",
        origin: tuple[float, float] = (500_000.0, 0.0),
        name: str = "array",
    ) -> ArraySource:
        """Wrap an array of metres.

        Parameters
        ----------
        elev : ndarray, shape (rows, cols)
            Metres, positive up, rows north to south, NaN unknown. Not modified.
        cell_m : float
            Side of a cell, metres.
        sigma : ndarray, optional
            One-sigma uncertainty of the elevation, metres; NaN unknown.
        crs : str
            Projected CRS in metres.
        origin : tuple of float
            Easting and northing of the north-west corner (outer edge of the first cell).
        name : str
            Written beside each candidate.

        Raises
        ------
        InputError
            If the array is not two-dimensional or empty, or the cell is not a positive length.
        """
        elev = np.asarray(elev)
        if elev.ndim != 2 or elev.size == 0:
            raise InputError(f"{name}: wants a two-dimensional array of elevations; found shape {elev.shape}")
        if not 0 < cell_m < 1e6:
            raise InputError(f"{name}: cell {cell_m} m; wants the side of a cell in metres, above 0")
        if sigma is not None and np.shape(sigma) != elev.shape:
            raise InputError(f"{name}: uncertainty has shape {np.shape(sigma)}, elevation {elev.shape}")
        sheet = Sheet(crs, cell_m, origin[0] % cell_m, origin[1] % cell_m)
        col = round((origin[0] - sheet.x_phase_m) / cell_m)
        row = round((sheet.y_phase_m - origin[1]) / cell_m)
        window = Window(row, col, *elev.shape)
        sigma_mm: NDArray[np.int32] | None = None
        if sigma is not None:
            scaled = np.nan_to_num(np.asarray(sigma, dtype=np.float64) * 1000.0, nan=0.0, posinf=0.0)
            sigma_mm = np.clip(np.rint(scaled), 0, 10_000_000).astype(np.int32)
        return cls(sheet, window, to_mm(elev), sigma_mm, name)

    @property
    def has_uncertainty(self) -> bool:
        """True if the array came with an uncertainty."""
        return self.sigma_mm is not None

    @property
    def files(self) -> tuple[str, ...]:
        """Name of the array alone."""
        return (self.name,)

    @property
    def between_m(self) -> float:
        """0: an array says nothing of tracks."""
        return 0.0

    def read(self, window: Window) -> GridBlock:
        """Read any window; outside the array cells are unknown."""
        elev = np.full((window.height, window.width), NODATA_MM, np.int32)
        sigma = None if self.sigma_mm is None else np.zeros_like(elev)
        part = window.intersect(self.extent)
        if not part.empty:
            elev[part.slices_in(window)] = self.elev_mm[part.slices_in(self.extent)]
            if sigma is not None and self.sigma_mm is not None:
                sigma[part.slices_in(window)] = self.sigma_mm[part.slices_in(self.extent)]
        return GridBlock(window, elev, sigma)

    def first_look(self, window: Window) -> NDArray[np.int32]:
        """Read the elevations of a window alone."""
        return self.read(window).elev_mm

    def spikes_in(self, window: Window) -> int:
        """0: cells come as they are."""
        return 0

    def fingerprint(self) -> dict[str, object]:
        """Hash of the cells."""
        digest = hashlib.blake2b(np.ascontiguousarray(self.elev_mm).view(np.uint8).data, digest_size=16)
        if self.sigma_mm is not None:
            digest.update(np.ascontiguousarray(self.sigma_mm).view(np.uint8).data)
        return {"array": self.name, "shape": list(self.elev_mm.shape), "hash": digest.hexdigest()}

    def fingerprint_of(self, window: Window) -> str:
        """Hash of the cells in the window."""
        block = self.read(window)
        digest = hashlib.blake2b(block.elev_mm.view(np.uint8).data, digest_size=16)
        if block.sigma_mm is not None:
            digest.update(block.sigma_mm.view(np.uint8).data)
        return digest.hexdigest()

    def lattice_key(self) -> dict[str, object]:
        """CRS, cell and phase of the sheet."""
        return dataclasses.asdict(self.sheet)

    def depth_range(self, window: Window) -> tuple[float, float] | None:
        """Exact bounds of depth in the window."""
        part = window.intersect(self.extent)
        if part.empty:
            return None
        cells = self.elev_mm[part.slices_in(self.extent)]
        cells = cells[cells != NODATA_MM]
        if not cells.size:
            return None
        return (-float(cells.max()) / 1000.0, -float(cells.min()) / 1000.0)

    def changed(self) -> list[str]:
        """Nothing: an array is its own copy."""
        return []

    def owns(self, rows: NDArray[Any], cols: NDArray[Any]) -> NDArray[np.bool_]:
        """All cells."""
        return np.ones(np.shape(rows), dtype=bool)

    def source_at(self, rows: NDArray[Any], cols: NDArray[Any]) -> list[str]:
        """Name of the array, for every cell."""
        return [self.name] * len(rows)

    def filled_at(self, rows: NDArray[Any], cols: NDArray[Any]) -> NDArray[np.bool_]:
        """No cell: an array states nothing of the kind."""
        return np.zeros(np.shape(rows), dtype=bool)
