"""How an extent is cut into tiles: unions of canonical blocks, on lines that never move.

Tile borders lie on whole multiples of the tile's side, counted on the sheet's absolute lattice and not from
the corner of the input. So one more file, or another area, changes no tile elsewhere, and what is
stored for it stays good.
"""

from __future__ import annotations

from collections.abc import Callable

from reefscan.base.errors import InputError
from reefscan.base.model import BLOCK, Window

DEFAULT_TILE = 2048
"""Side of a tile in cells where the user says nothing: halo small beside the core, memory small."""

MAX_TILE = 16384
"""Largest side of a tile; its cells alone fill 1 GB as int32, more than a worker may use."""


def check_tile(tile: int) -> int:
    """Return the side of a tile in cells, rounded **up** to a whole number of blocks.

    Parameters
    ----------
    tile : int
        As asked for (``--tile``).

    Raises
    ------
    InputError
        If it is below one block or above `MAX_TILE`.

    Examples
    --------
    >>> check_tile(2048), check_tile(600)
    (2048, 1024)
    """
    if not BLOCK <= tile <= MAX_TILE:
        raise InputError(
            f"--tile {tile}: a tile is a whole number of {BLOCK}-cell blocks, {BLOCK} to {MAX_TILE} cells "
            f"a side; leave it out ({DEFAULT_TILE}) or say for example --tile {BLOCK * 2}."
        )
    return -(-tile // BLOCK) * BLOCK


def block_cover(extent: Window) -> Window:
    """Return the smallest union of whole blocks that holds ``extent``.

    Examples
    --------
    >>> block_cover(Window(-1, 5, 2, 10))
    Window(row=-512, col=0, height=1024, width=512)
    """
    if extent.empty:
        return extent
    row, col = extent.row // BLOCK * BLOCK, extent.col // BLOCK * BLOCK
    row_end, col_end = -(-extent.row_end // BLOCK) * BLOCK, -(-extent.col_end // BLOCK) * BLOCK
    return Window(row, col, row_end - row, col_end - col)


def plan_tiles(extent: Window, tile: int = DEFAULT_TILE) -> list[Window]:
    """Cut ``extent`` into tiles, in reading order.

    Parameters
    ----------
    extent : Window
        The window that holds every known cell.
    tile : int
        Side of a tile in cells; see `check_tile`.

    Returns
    -------
    list of Window
        Unions of whole blocks that cover the extent once; a tile at the edge leaves out the blocks
        that hold no cell of the extent. Empty for an empty extent.

    Raises
    ------
    InputError
        See `check_tile`.
    """
    side = check_tile(tile)
    cover = block_cover(extent)
    if cover.empty:
        return []
    return [
        Window(row, col, side, side).intersect(cover)
        for row in range(cover.row // side * side, cover.row_end, side)
        for col in range(cover.col // side * side, cover.col_end, side)
    ]


def outside_band(
    depth_range: Callable[[Window], tuple[float, float] | None], shallow_m: float, deep_m: float
) -> Callable[[Window], bool]:
    """Make the cheap look: True for a tile that surely has no cell in the search band.

    Parameters
    ----------
    depth_range : callable
        `reefscan.base.model.GridSource.depth_range`: bounds that may be too wide, never too narrow.
    shallow_m, deep_m : float
        The search band, metres of depth, both ends inside it.
    """

    def skip(core: Window) -> bool:
        bounds = depth_range(core)
        return bounds is None or bounds[1] < shallow_m or bounds[0] > deep_m

    return skip
