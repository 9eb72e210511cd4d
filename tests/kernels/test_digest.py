"""The hash of cells: by the published steps, and changed by any change."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from reefscan.kernels.digest import LANES, digest

OFFSET, PRIME, MOD = 0xCBF29CE484222325, 0x100000001B3, 2**64


def fnv1a(numbers: list[int], state: int = OFFSET) -> int:
    """FNV-1a, a step a number, in whole numbers of any size."""
    for number in numbers:
        state = (state ^ number) * PRIME % MOD
    return state


def test_each_lane_takes_its_numbers_by_fnv_1a_steps() -> None:
    # test vectors of the FNV draft (IETF draft-eastlake-fnv), 64 bits: "", "a", "foobar"
    assert fnv1a([]) == 0xCBF29CE484222325
    assert fnv1a(list(b"a")) == 0xAF63DC4C8601EC8C
    assert fnv1a(list(b"foobar")) == 0x85944171F73967E8
    for n in (0, 1, 7, 8, 9, 100):
        cells = np.random.default_rng(n).integers(-(2**31), 2**31, n, dtype=np.int32)
        words = [int(cell) % 2**32 for cell in cells]
        assert [int(lane) for lane in digest(cells)] == [fnv1a([i, *words[i::LANES]]) for i in range(LANES)]


CELLS = np.random.default_rng(1).integers(-20_000, 0, 1001, dtype=np.int32)


@given(st.integers(0, 1000), st.integers(-(2**31), 2**31 - 1))
@settings(max_examples=200)
def test_one_other_cell_is_another_hash(place: int, value: int) -> None:
    changed = CELLS.copy()
    changed[place] = value
    assert (digest(changed) == digest(CELLS)).all() == (value == CELLS[place])


def test_two_cells_that_change_places_are_another_hash() -> None:
    for other in range(1, 40):
        changed = CELLS.copy()
        changed[[0, other]] = changed[[other, 0]]
        assert (digest(changed) != digest(CELLS)).any()
