"""Tiles: unions of blocks on lines that never move."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reefscan.base.errors import InputError
from reefscan.base.model import BLOCK, Window
from reefscan.batch.tiles import block_cover, check_tile, outside_band, plan_tiles

extents = st.builds(
    Window,
    st.integers(-5000, 5000),
    st.integers(-5000, 5000),
    st.integers(1, 4000),
    st.integers(1, 4000),
)
sides = st.sampled_from([512, 1024, 1536, 2048])


@given(extents, sides)
def test_tiles_cover_every_block_of_the_extent_exactly_once(extent: Window, side: int) -> None:
    blocks = [
        (row, col)
        for tile in plan_tiles(extent, side)
        for row in range(tile.row, tile.row_end, BLOCK)
        for col in range(tile.col, tile.col_end, BLOCK)
    ]
    first = extent.row // BLOCK * BLOCK, extent.col // BLOCK * BLOCK
    wanted = [
        (row, col)
        for row in range(first[0], extent.row_end, BLOCK)
        for col in range(first[1], extent.col_end, BLOCK)
    ]
    assert sorted(blocks) == wanted


@given(extents, sides)
def test_a_tile_is_whole_blocks_inside_one_square_of_the_absolute_lattice(extent: Window, side: int) -> None:
    for tile in plan_tiles(extent, side):
        assert not any(edge % BLOCK for edge in (tile.row, tile.col, tile.height, tile.width))
        assert tile.row // side == (tile.row_end - 1) // side
        assert tile.col // side == (tile.col_end - 1) // side


@given(extents, sides, st.integers(0, 3000))
def test_a_wider_extent_leaves_inner_tiles_as_they_were(extent: Window, side: int, more: int) -> None:
    wider = Window(extent.row, extent.col, extent.height + more, extent.width + more)
    inner = [tile for tile in plan_tiles(extent, side) if tile.height == tile.width == side]
    assert set(inner) <= set(plan_tiles(wider, side))


def test_the_cover_of_a_small_grid_by_hand() -> None:
    assert block_cover(Window(511, -1, 2, 1)) == Window(0, -512, 1024, 512)
    assert plan_tiles(Window(511, -1, 2, 1), 512) == [Window(0, -512, 512, 512), Window(512, -512, 512, 512)]
    assert plan_tiles(Window(3, 3, 0, 8)) == []


def test_a_side_between_whole_blocks_is_rounded_up() -> None:
    assert [check_tile(side) for side in (512, 513, 1024, 2000)] == [512, 1024, 1024, 2048]


@pytest.mark.parametrize("side", [7, 0, -512, 511, 10**9])
def test_a_side_that_is_no_tile_is_refused_in_one_line_that_says_what_to_do(side: int) -> None:
    with pytest.raises(InputError, match=rf"--tile {side}: .*512.*--tile 1024") as caught:
        check_tile(side)
    assert "\n" not in str(caught.value)


def test_the_cheap_look_skips_land_deep_and_empty_tiles_and_nothing_else() -> None:
    bounds = {0: (-9.0, 0.5), 1: (41.0, 90.0), 2: None, 3: (39.9, 90.0), 4: (-5.0, 1.0), 5: (-99.0, 99.0)}
    skip = outside_band(lambda core: bounds[core.col], 1.0, 40.0)
    assert [col for col in bounds if skip(Window(0, col, 512, 512))] == [0, 1, 2]
