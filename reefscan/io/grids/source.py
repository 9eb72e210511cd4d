"""Sheets that can be read: the `GridSource` that the rest of the package sees."""

from __future__ import annotations

import dataclasses
import hashlib
import math
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import BLOCK, NODATA_MM, GridBlock, Sheet, Window
from reefscan.io.georef import transformer
from reefscan.io.grids import inputs, provenance
from reefscan.io.grids.lattice import METRES_PER_DEGREE, Zone
from reefscan.io.grids.layer import Layer
from reefscan.io.grids.piece import Piece
from reefscan.io.grids.rawgrid import RawGrid, laid

BORDER_CELLS = 2.0
"""How far past a zone's core a sheet still owns what it finds."""


@dataclass(frozen=True, repr=False)
class SheetSource:
    """Everything known on one sheet: a `reefscan.base.model.GridSource`.

    Parameters
    ----------
    sheet : Sheet
        The lattice.
    pieces : tuple of Piece
        Best first: the first known cell wins.
    extent : Window
        Outside it every cell is unknown.
    zone : Zone or None
        On a catalogue sheet the core whose candidates belong here; None where all do.
    better : tuple of SheetSource
        Sheets whose coverage goes before this one's.
    area : box or None
        West, south, east, north in degrees (east may exceed 180) that was asked for.
    outline : bytes
        WKB of the area in degrees, empty for none.
    notes : tuple of str
        What was assumed, repaired, skipped or looks wrong.
    order : str
        The rule by which overlapping coverage was put in order.
    seams : set of pairs of str
        Files that disagree where they meet: the cells on both sides of their border are unknown, so that
        the step between them is not taken for structure.
    """

    sheet: Sheet
    pieces: tuple[Piece, ...]
    extent: Window
    zone: Zone | None = None
    better: tuple[SheetSource, ...] = ()
    area: tuple[float, float, float, float] | None = None
    outline: bytes = b""
    notes: tuple[str, ...] = ()
    order: str = ""
    seams: frozenset[tuple[str, str]] = frozenset()

    def __repr__(self) -> str:
        """What it is, on a line for each thing; the fields have the rest."""
        high, wide = self.extent.height, self.extent.width
        lines = [
            f"SheetSource {self.name}: {high:,} x {wide:,} cells of {self.sheet.cell_m:g} m",
            f"{self.sheet.crs if len(self.sheet.crs) < 20 else 'a CRS of its own'}, {len(self.layers)} layers"
            + (", with uncertainty" if self.has_uncertainty else "")
            + (f", heights from {self.vertical}" if self.vertical else ""),
            *(note if len(note) <= 110 else f"{note[:107]}..." for note in self.notes[:5]),
        ]
        if len(self.notes) > 5:
            lines.append(f"... and {len(self.notes) - 5} more in .notes")
        return "\n  ".join(lines)

    @property
    def layers(self) -> list[Layer]:
        """All layers, best first."""
        return [layer for piece in self.pieces for layer in piece.grid.layers]

    @property
    def files(self) -> tuple[str, ...]:
        """Names of the files, best first."""
        return tuple(dict.fromkeys(layer.name for layer in self.layers))

    @property
    def name(self) -> str:
        """The file's name, or how many there are."""
        names = self.files
        return names[0] if len(names) == 1 else f"{names[0]} and {len(names) - 1} more"

    @property
    def has_uncertainty(self) -> bool:
        """True if any file has an uncertainty band."""
        return any(piece.has_uncertainty for piece in self.pieces)

    @property
    def vertical(self) -> str:
        """Vertical datum as the files name it, empty if they do not."""
        return ", ".join(dict.fromkeys(layer.vertical for layer in self.layers if layer.vertical))

    @property
    def between_m(self) -> float:
        """Distance between the tracks of the soundings that files of ours were made of, metres; 0 where none says it."""
        return max((layer.between_m for layer in self.layers), default=0.0)

    def read(self, window: Window) -> GridBlock:
        """Read any window; same bits for any cut."""
        part = window.intersect(self.extent)
        if part == window and len(self.pieces) == 1 and not self.seams:
            piece = self.pieces[0]
            if window.intersect(piece.extent) == window:
                elev, sigma = piece.read(window)
                return GridBlock(window, elev, sigma)
        parts = ((piece.extent.intersect(part), piece.read) for piece in self.pieces)
        elev, sigma = laid(window, parts, sigma=self.has_uncertainty)
        if self.seams:
            border = self._borders(window)
            elev[border] = NODATA_MM
            if sigma is not None:
                sigma[border] = 0
        return GridBlock(window, elev, sigma)

    def first_look(self, window: Window) -> NDArray[np.int32] | None:
        """Read the elevations of a window, with the bits of `read`, without their uncertainty.

        A tile reads its core and a narrow rim so, and its wide surroundings and the uncertainty only where it has
        something to measure: then the core comes from GDAL's cache, at 3 ns a cell. Cells that are sampled would
        be sampled twice: None.
        """
        if any(piece.warped for piece in self.pieces):
            return None
        return self._bare.read(window).elev_mm

    def spikes_in(self, window: Window) -> int:
        """Bad cells of warped grids under the window; where several grids cover it, those of each."""
        return sum(piece.spikes_in(window) for piece in self.pieces if piece.warped)

    @cached_property
    def _bare(self) -> SheetSource:
        """The same cells without their uncertainty."""
        if not self.has_uncertainty:
            return self
        pieces = []
        for piece in self.pieces:
            layers = tuple(replace(layer, sigma_band=0, surveys=()) for layer in piece.grid.layers)
            pieces.append(replace(piece, grid=RawGrid(piece.grid.lattice, layers)))
        return replace(self, pieces=tuple(pieces))

    def depth_range(self, window: Window) -> tuple[float, float] | None:
        """Outer bounds of depth in the window; None only where no cell can be.

        Overviews and stored statistics are averages or lies, so nothing narrower than "anything" is
        promised where there are cells.
        """
        part = window.intersect(self.extent)
        if part.empty or all(piece.empty(part) for piece in self.pieces):
            return None
        return (-math.inf, math.inf)

    @cached_property
    def singles(self) -> list[Piece]:
        """Each layer as a piece of its own, best first."""
        return provenance.singles_of(self.pieces)

    def _borders(self, window: Window) -> NDArray[np.bool_]:
        """Cells beside a border between two files that disagree."""
        wide = window.grow(1)
        owner = np.full((wide.height, wide.width), -1, dtype=np.int32)
        files: list[str] = []
        for single in self.singles:
            here = wide.intersect(single.extent)
            if here.empty:
                continue
            view = owner[here.slices_in(wide)]
            if (view >= 0).all():
                continue
            files.append(single.grid.layers[0].file)
            view[(view < 0) & (single.read(here)[0] != NODATA_MM)] = len(files) - 1
        border = np.zeros(owner.shape, dtype=bool)
        n = len(files)
        if n < 2:
            return border[1:-1, 1:-1]
        quarrel = np.array([[(a, b) in self.seams or (b, a) in self.seams for a in files] for b in files])
        for axis in (0, 1):
            ends = [slice(None), slice(None)]
            ends[axis] = slice(0, -1)
            one = tuple(ends)
            ends[axis] = slice(1, None)
            two = tuple(ends)
            a, b = owner[one], owner[two]
            met = (a >= 0) & (b >= 0) & quarrel[a, b]  # -1 indexes the last row, and is masked out
            border[one] |= met
            border[two] |= met
        return border[1:-1, 1:-1]

    # -- who owns a place -------------------------------------------------------------------------

    def lonlat(
        self, rows: NDArray[Any], cols: NDArray[Any]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Longitude and latitude (degrees, WGS 84) of cell centres."""
        x = np.asarray(self.sheet.x_of(np.asarray(cols, dtype=np.float64)))
        y = np.asarray(self.sheet.y_of(np.asarray(rows, dtype=np.float64)))
        lon, lat = transformer(self.sheet.crs, "EPSG:4326").transform(x, y)
        return np.asarray(lon), np.asarray(lat)

    def owns(self, rows: NDArray[Any], cols: NDArray[Any]) -> NDArray[np.bool_]:
        """Tell which cells' candidates are this sheet's own.

        A cell is not, if it lies outside the area asked for, outside the zone's core, or where a better
        sheet knows the seabed. Sheets overlap by a margin, so that each sees its surroundings; asked
        here, no candidate is doubled and none is lost.

        Parameters
        ----------
        rows, cols : ndarray of int, shape (n,)
            Cells of the sheet.

        Returns
        -------
        ndarray of bool, shape (n,)
        """
        rows, cols = np.asarray(rows), np.asarray(cols)
        own = np.ones(rows.shape, dtype=bool)
        if not rows.size or (
            self.zone is None and self.area is None and not self.better and not self.outline
        ):
            return own
        lon, lat = self.lonlat(rows, cols)
        if self.area is not None:
            west, south, east, north = self.area
            own &= (lat >= south) & (lat <= north) & ((lon - west) % 360.0 <= east - west)
        if self.outline:
            import shapely

            shape = shapely.from_wkb(self.outline)
            hit = shapely.intersects_xy(shape, lon, lat)
            for turn in (-360.0, 360.0):  # an area drawn across the antimeridian may run past 180
                hit |= shapely.intersects_xy(shape, lon + turn, lat)
            own &= hit
        if self.zone is not None:
            own &= self._in_core(lon, lat)
        for sheet in self.better:
            left = np.flatnonzero(own)
            if not left.size:
                break
            own[left[sheet.knows(lon[left], lat[left])]] = False
        return own

    def _in_core(self, lon: NDArray[np.float64], lat: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Tell which places lie in the zone's core, or up to `BORDER_CELLS` past it.

        The two lattices put the top of one rock on cells a little apart: cut sharply, each zone could leave it
        to the other. What both then find is reported once, by the caller (`reefscan.pipeline.borders`).
        """
        assert self.zone is not None
        z = self.zone
        slack_lat = BORDER_CELLS * self.sheet.cell_m / METRES_PER_DEGREE
        slack_lon = slack_lat / np.maximum(np.cos(np.radians(lat)), 0.02)
        inside = (lat >= z.south - slack_lat) & (lat < z.north + slack_lat)
        wide = z.east - z.west
        if wide >= 360.0:
            return np.asarray(inside)
        return np.asarray(inside & ((lon - z.west + slack_lon) % 360.0 < wide + 2.0 * slack_lon))

    def knows(self, lon: NDArray[np.float64], lat: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Tell which places (degrees) have a known cell."""
        x, y = transformer("EPSG:4326", self.sheet.crs).transform(lon, lat)
        known = np.zeros(np.shape(lon), dtype=bool)
        col = np.asarray(self.sheet.col_of(np.asarray(x)))
        row = np.asarray(self.sheet.row_of(np.asarray(y)))
        e = self.extent
        near = np.isfinite(row) & np.isfinite(col)
        near &= (row > e.row - 1) & (row < e.row_end) & (col > e.col - 1) & (col < e.col_end)
        index = np.flatnonzero(near)
        if not index.size:
            return known
        r, c = np.rint(row[index]).astype(np.int64), np.rint(col[index]).astype(np.int64)
        block = np.stack([r // BLOCK, c // BLOCK], axis=1)
        for key in np.unique(block, axis=0):
            member = np.flatnonzero((block == key).all(axis=1))
            rr, cc = r[member], c[member]
            window = Window(
                int(rr.min()),
                int(cc.min()),
                int(rr.max() - rr.min()) + 1,
                int(cc.max() - cc.min()) + 1,
            )
            elev = self.read(window).elev_mm
            known[index[member]] = elev[rr - window.row, cc - window.col] != NODATA_MM
        return known

    def source_at(self, rows: NDArray[Any], cols: NDArray[Any]) -> list[str]:
        """Name of the file each cell comes from, with the survey where the file tells it; empty where unknown."""
        return provenance.names_at(self.pieces, self.singles, np.asarray(rows), np.asarray(cols))

    def filled_at(self, rows: NDArray[Any], cols: NDArray[Any]) -> NDArray[np.bool_]:
        """Tell which cells were filled in between soundings, as their file's attribute table says."""
        return provenance.filled_at(self.pieces, self.singles, np.asarray(rows), np.asarray(cols))

    def seam_names(self) -> list[tuple[str, str]]:
        """Names of the files of `seams`."""
        name = {layer.file: layer.name for layer in self.layers}
        return [(name.get(a, a), name.get(b, b)) for a, b in sorted(self.seams)]

    def fingerprint(self) -> dict[str, object]:
        """What identifies the input; JSON-ready. Equal fingerprints read equal cells."""
        return {
            "sheet": self.lattice_key(),
            "files": inputs.described(self.layers, self.behind),
            "order": self.order,
            "area": list(self.area) if self.area else None,
            "outline": hashlib.sha256(self.outline).hexdigest()[:16] if self.outline else None,
            "seams": sorted(list(pair) for pair in self.seam_names()),
            "notes": list(self.notes),
        }

    def fingerprint_of(self, window: Window) -> str:
        """What identifies the cells of a window: the files that may have some there, no others."""
        return self._touched.fingerprint(window)

    def changed(self) -> list[str]:
        """Names of files that are no longer what they were when they were opened."""
        return inputs.changed(self.layers, self.behind)

    def lattice_key(self) -> dict[str, object]:
        """What tells this lattice from that of every other source of a run; JSON-ready."""
        facts: dict[str, object] = dataclasses.asdict(self.sheet)
        if self.zone is not None:  # a grid that lies on a zone's lattice by itself is a sheet of its own
            facts["zone"] = self.zone.crs
        return facts

    @cached_property
    def behind(self) -> tuple[tuple[inputs.Member, ...], ...]:
        """Files behind each of `layers` that is a virtual mosaic, as they were when first asked."""
        return tuple(inputs.members(layer) for layer in self.layers)

    def __getstate__(self) -> dict[str, object]:
        """What travels to workers: not what was worked out on the way."""
        return {field.name: getattr(self, field.name) for field in fields(self)}

    @cached_property
    def _touched(self) -> inputs.Touched:
        return inputs.Touched(
            self.pieces, self.behind, self.seams, None if self.area is None else self.extent
        )
