"""The map's picture, put together from tiles, is the one that reading the grid anew gives."""

import numpy as np
import pytest

from reefscan.base.arraysource import ArraySource
from reefscan.base.model import NODATA_MM, Window
from reefscan.base.overview import Thinning, overview


@pytest.mark.parametrize(
    ("rows", "cols", "side"), [(700, 1300, 100), (513, 511, 170), (40, 9, 50), (97, 100, 7)]
)
def test_tiles_hand_over_the_cells_that_plain_slicing_picks(rows: int, cols: int, side: int) -> None:
    rng = np.random.default_rng(rows)
    z = -rng.uniform(1, 30, (rows, cols))
    z[rng.random(z.shape) < 0.1] = np.nan
    source = ArraySource.from_metres(z, cell_m=2.0, origin=(500_246.0, 91_336.0))
    thinning = Thinning.of(source.extent, side)
    assert max(thinning.blank().shape) <= side
    picture = thinning.blank()
    e = source.extent
    cuts = [e.col, *sorted(rng.integers(e.col, e.col_end, 3)), e.col_end + 40]
    for top, low in ((e.row - 30, e.row + rows // 3), (e.row + rows // 3, e.row_end + 300)):
        for left, right in zip(cuts, cuts[1:], strict=False):
            window = Window(top, int(left), low - top, int(right - left))
            thinning.put(picture, window, thinning.pick(source.read(window).elev_mm, window))
    half, step = thinning.step // 2, thinning.step
    padded = np.full(np.array(picture.shape) * step, NODATA_MM, np.int32)
    padded[:rows, :cols] = source.elev_mm
    np.testing.assert_array_equal(picture, padded[half::step, half::step])
    np.testing.assert_array_equal(overview(source, side)[0], picture)
