"""Which columns of a text are x, y and z."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from reefscan.io.pointtext import counts_rows, read_points

X, Y = np.meshgrid(500_000.0 + np.arange(60), 4_000_000.0 + np.arange(5))
Z = -10.0 - 0.01 * np.arange(X.size)


def written(folder: Path, rows: list[str], heading: str = "") -> str:
    path = folder / "a.xyz"
    path.write_text(heading + "\n".join(rows) + "\n")
    return str(path)


def rows(first: int) -> list[str]:
    return [
        f"{n} {x:.1f} {y:.1f} {z:.2f}"
        for n, (x, y, z) in enumerate(zip(X.flat, Y.flat, Z, strict=True), first)
    ]


@pytest.mark.parametrize("first", [0, 1, 4001])
@pytest.mark.parametrize("heading", ["", "nr ost nord tiefe_ueber_null\n"])
def test_a_first_column_that_counts_the_rows_is_no_place(tmp_path, first, heading):
    points = read_points(written(tmp_path, rows(first), heading), "a.xyz")
    assert_array_equal(np.c_[points.x, points.y], np.c_[X.ravel(), Y.ravel()])
    np.testing.assert_allclose(points.z, Z, atol=0.005)
    assert "column 2 is taken for x, 3 for y, 4 for z" in points.note


def test_whole_metres_along_a_row_of_cells_are_places_and_no_count(tmp_path):
    """More lines than are looked at first go up by one, before the next row of cells begins."""
    text = [f"{x:.0f} {y:.0f} {z:.2f} 0.1" for x, y, z in zip(X.flat, Y.flat, Z, strict=True)]
    points = read_points(written(tmp_path, text), "a.xyz")
    assert_array_equal(np.c_[points.x, points.y], np.c_[X.ravel(), Y.ravel()])
    assert points.note == ""


def test_a_count_with_a_gap_is_read_as_it_stands(tmp_path):
    text = rows(1)
    del text[200]
    points = read_points(written(tmp_path, text), "a.xyz")
    assert points.x[0] == 1.0 and points.note == ""


@pytest.mark.parametrize(
    ("heading", "note"),
    [("N,X,Y,Z\n", False), ("id,easting,northing,depth\n", False), ("N,right,up,Z\n", True)],
)
def test_names_go_before_places_and_a_column_called_n_that_counts_is_no_northing(tmp_path, heading, note):
    points = read_points(written(tmp_path, [row.replace(" ", ",") for row in rows(1)], heading), "a.xyz")
    assert_array_equal(np.c_[points.x, points.y], np.c_[X.ravel(), Y.ravel()])
    assert bool(points.note) == note


def test_counting_takes_four_columns_four_rows_and_whole_numbers_one_apart():
    def table(*first: str, width: int = 4) -> list[list[str]]:
        return [[cell, *["5.5"] * (width - 1)] for cell in first]

    assert counts_rows(table("7", "8", "9", "10"))
    assert not counts_rows(table("7", "8", "9"))
    assert not counts_rows(table("7", "8", "9", "10", width=3))
    assert not counts_rows(table("7", "8", "9", "11"))
    assert not counts_rows(table("7.0", "8.0", "9.0", "10.0"))
    assert not counts_rows([])
