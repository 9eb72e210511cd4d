"""Outlines of the ground to scan: what holds ground is used, and what holds none is said to."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import shapely

from reefscan import cli
from reefscan.base.errors import InputError, UnreadableError
from reefscan.io.areas import outline_of, read_area
from reefscan.io.grids.rasters import asked_for, open_grids

from .seabed import cells, write

BOW = [[(174.0, -41.0), (174.2, -40.8), (174.2, -41.0), (174.0, -40.8), (174.0, -41.0)]]
OPEN = [[(174.0, -41.0), (174.2, -41.0), (174.2, -40.8)]]
METRES = [[(5e5, 5e6), (5.1e5, 5e6), (5.1e5, 5.1e6), (5e5, 5e6)]]


def outline(path: Path, rings: object, kind: str = "Polygon") -> Path:
    shape = {"type": "Feature", "properties": {}, "geometry": {"type": kind, "coordinates": rings}}
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [shape]}), encoding="utf-8")
    return path


def test_an_outline_that_crosses_itself_is_the_ground_of_its_two_halves(tmp_path: Path) -> None:
    """The bow of 0.2 by 0.2 degrees has two triangles of 0.2 by 0.1; its signed area is nil."""
    for area in (read_area(outline(tmp_path / "a.geojson", BOW)), shapely.Polygon(BOW[0])):
        assert outline_of(area).area == pytest.approx(0.02)
        assert asked_for(None, area).box is not None


@pytest.mark.parametrize("rings", [[[(174.0, -41.0), (174.2, -40.8), (174.0, -41.0), (174.0, -41.0)]]])
def test_an_outline_without_ground_is_refused(rings: list[list[tuple[float, float]]]) -> None:
    with pytest.raises(InputError, match="holds no ground"):
        outline_of(shapely.Polygon(rings[0]))


def test_an_outline_in_metres_that_says_it_is_in_degrees_is_refused_by_its_numbers(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="not a longitude and latitude"):
        outline_of(read_area(outline(tmp_path / "a.geojson", METRES)))


@pytest.mark.parametrize("corner", [(2e300, -41.0), (174.2, 1e9), (-1e400, -41.0)])
def test_a_corner_that_is_no_place_is_one_line(tmp_path: Path, corner: tuple[float, float]) -> None:
    """The library's own error was an internal one (case 100230 of the attack on outlines)."""
    rings = [[BOW[0][0], BOW[0][2], corner, BOW[0][0]]]
    with pytest.raises(InputError, match=r"not a longitude and latitude|not a vector file"):
        read_area(outline(tmp_path / "a.geojson", rings))
    with pytest.raises(InputError, match="not a longitude and latitude"):
        outline_of(shapely.Polygon(rings[0]))


def test_a_ring_that_is_not_closed_is_one_line_and_no_warning(tmp_path: Path) -> None:
    with pytest.raises(UnreadableError, match=r"a\.geojson: not a vector file"):
        read_area(outline(tmp_path / "a.geojson", OPEN))


def test_a_table_without_shapes_has_no_polygon(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("lon,lat\n3,45\n", encoding="utf-8")
    with pytest.raises(InputError, match="has no polygon"):
        read_area(tmp_path / "a.csv")


def test_an_area_beside_the_files_is_told_with_both_places(tmp_path: Path) -> None:
    path = write(tmp_path / "a.tif", cells())
    with pytest.raises(
        InputError, match=r"\(3\.0000, 45\.0000, 3\.1000, 45\.1000\) meets no file; the files cover 17"
    ):
        open_grids(path, bbox=(3.0, 45.0, 3.1, 45.1))


def test_a_grid_that_is_to_go_first_and_is_not_there_is_refused(tmp_path: Path) -> None:
    path = write(tmp_path / "a.tif", cells())
    with pytest.raises(InputError, match=r"--prefer lidar: none of the grids is called so; there are a\.tif"):
        open_grids(path, prefer="lidar")
    assert open_grids(path, prefer="a.*")


def test_an_empty_name_is_not_taken_for_this_folder(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(["scan", ""]) == 2
    assert "one value is empty" in capsys.readouterr().err
    with pytest.raises(InputError, match="name is empty"):
        open_grids("")


def test_a_shift_of_the_datum_beyond_all_depths_is_a_slip_of_the_unit(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is the unit right"):
        open_grids(write(tmp_path / "a.tif", cells()), datum_shift_m=5e6)
