"""Files of closed ground as people have them: what is read, what is repaired, what is refused and how it is said."""

from __future__ import annotations

import json

import geopandas
import numpy as np
import pytest
import shapely

from reefscan.base.errors import InputError, MissingInputError, NoCrsError, RecipeError, UnreadableError
from reefscan.base.recipe import Around, Recipe, dump_recipe, load_recipe
from reefscan.io.around import read_around
from reefscan.io.out.surroundings import SURROUNDINGS, read_surroundings, write_surroundings
from reefscan.surroundings.shapes import Box

GRID = Box(-22.52, 45.0, -22.49, 45.02)
BOX = GRID.grown(50_000)
HERE = shapely.box(-22.51, 45.005, -22.50, 45.01)
AT = (-22.505, 45.007)


def saved(path, geometries, crs="EPSG:4326", **columns):
    frame = geopandas.GeoDataFrame(columns, geometry=list(geometries), crs=crs)
    frame.to_file(path)
    return str(path)


def known(*paths, **more):
    return read_around(Around(closed=paths, **more), BOX)


@pytest.mark.parametrize("ending", ["geojson", "gpkg", "shp", "kml", "fgb"])
def test_every_usual_form_closes_the_same_ground(tmp_path, ending):
    if ending == "kml":
        ring = " ".join(f"{x},{y},0" for x, y in HERE.exterior.coords)
        path = tmp_path / "a.kml"
        path.write_text(
            '<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><name>North</name><Polygon>'
            f"<outerBoundaryIs><LinearRing><coordinates>{ring}</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark></Document></kml>"
        )
    else:
        path = saved(tmp_path / f"a.{ending}", [HERE], name=["North"])
    told = known(str(path))
    assert told.why_closed(*AT) == "lies in closed ground (North)"
    assert told.why_closed(-22.495, 45.007) == ""
    assert "beyond" in told.why_closed(0.0, 0.0)


def test_another_system_heights_parts_and_holes(tmp_path):
    hole = HERE.difference(shapely.Point(AT).buffer(0.001))
    multi = shapely.MultiPolygon([hole, shapely.box(-22.498, 45.011, -22.497, 45.012)])
    frame = geopandas.GeoDataFrame({"NAME": ["X"]}, geometry=[shapely.force_3d(multi, 4.0)], crs=4326).to_crs(
        32627
    )
    frame.to_file(tmp_path / "a.gpkg")
    told = known(str(tmp_path / "a.gpkg"))
    assert (
        told.why_closed(*AT) == ""
        and told.why_closed(-22.5085, 45.0055)
        and told.why_closed(-22.4975, 45.0115)
    )


def test_curves_come_as_lines(tmp_path):
    path = tmp_path / "curved.gml"
    path.write_text(
        '<?xml version="1.0"?><wfs:FeatureCollection xmlns:wfs="http://www.opengis.net/wfs" xmlns:gml="http://www.opengis.net/gml" xmlns:a="urn:a">'
        '<gml:featureMember><a:t><a:name>round</a:name><a:g><gml:Polygon srsName="urn:ogc:def:crs:OGC:1.3:CRS84"><gml:exterior><gml:Ring><gml:curveMember><gml:Curve>'
        "<gml:segments><gml:Arc><gml:posList>-22.51 45.005 -22.50 45.005 -22.51 45.005</gml:posList></gml:Arc></gml:segments></gml:Curve></gml:curveMember></gml:Ring></gml:exterior>"
        "</gml:Polygon></a:g></a:t></gml:featureMember></wfs:FeatureCollection>"
    )
    told = known(str(path))
    # the round has its ends for a diameter
    assert told.why_closed(-22.505, 45.005 + 0.0045) and not told.why_closed(-22.505, 45.005 + 0.0055)


def test_all_layers_of_a_file_count(tmp_path):
    path = tmp_path / "a.gpkg"
    frame = geopandas.GeoDataFrame(geometry=[HERE], crs=4326)
    frame.iloc[:0].to_file(path, layer="first")
    frame.to_file(path, layer="reserves")
    told = known(str(path))
    assert told.of("closed").kind == ("reserves",) and told.why_closed(*AT)


def test_lines_and_points_close_ground_only_with_a_margin(tmp_path):
    path = saved(tmp_path / "a.geojson", [HERE, shapely.Point(-22.495, 45.015)], name=["N", "P"])
    with pytest.raises(InputError, match="--closed-buffer"):
        known(path)
    told = known(path, closed_buffer_m=100.0)
    assert told.why_closed(-22.495, 45.0158).endswith("(P)") and not told.why_closed(-22.495, 45.0162)
    own = saved(tmp_path / "b.geojson", [HERE, shapely.Point(-22.495, 45.015)], Buffer_M=["0", "300"])
    assert known(own).why_closed(-22.495, 45.017)


def test_a_crossed_ring_is_repaired_and_said(tmp_path):
    bow = shapely.Polygon([(-22.51, 45.005), (-22.50, 45.01), (-22.50, 45.005), (-22.51, 45.01)])
    told = known(saved(tmp_path / "a.geojson", [bow]))
    assert told.why_closed(-22.509, 45.0075) and told.why_closed(-22.501, 45.0075)
    assert any("cross themselves" in note for note in told.notes)


def test_dates_are_judged_by_the_day_and_an_odd_one_closes(tmp_path):
    areas = [
        HERE,
        shapely.box(-22.498, 45.011, -22.497, 45.012),
        shapely.box(-22.498, 45.013, -22.497, 45.014),
    ]
    path = saved(tmp_path / "a.geojson", areas, name=["spring", "winter", "odd"],
                 **{"from": ["2026-04-01", "--1001", "soon"], "to": ["2026-06-30", "--0331", None]})  # fmt: skip
    assert len(known(path).of("closed")) == 3
    assert any("no --date" in note for note in known(path).notes)
    may = known(path, date="2026-05-01")
    assert may.of("closed").name == ("spring", "odd")
    assert any("not in force on 2026-05-01" in note for note in may.notes)
    assert any("'soon' is not a day" in note for note in may.notes)


def test_a_file_whose_closures_are_all_open_that_day_is_no_error(tmp_path):
    path = saved(tmp_path / "a.geojson", [HERE], to=["2025-01-01"])
    told = known(path, date="2026-05-01")
    assert told.knows_closed and not told.why_closed(*AT)


def test_a_file_that_lies_elsewhere_says_how_far_and_whether_its_axes_are_swapped(tmp_path):
    east = shapely.transform(HERE, lambda xy: xy + (3.0, 0))
    with pytest.raises(InputError, match=r"nothing in it lies near the grid; the nearest is 1\d\d km"):
        known(saved(tmp_path / "east.geojson", [east]))
    swapped = shapely.transform(HERE, lambda xy: xy[:, ::-1])
    with pytest.raises(InputError, match="axes swapped"):
        known(saved(tmp_path / "swapped.geojson", [swapped]))
    metres = shapely.transform(HERE, lambda xy: xy * 100_000)
    with pytest.raises(InputError, match=r"latitudes reach 4\.501e"):
        known(saved(tmp_path / "metres.geojson", [metres]))


def test_no_system_no_shape_no_file(tmp_path):
    saved(tmp_path / "bare.shp", [HERE], a=[1])
    (tmp_path / "bare.prj").unlink()
    with pytest.raises(NoCrsError, match="no coordinate system"):
        known(str(tmp_path / "bare.shp"))
    (tmp_path / "empty.geojson").write_text('{"type": "FeatureCollection", "features": []}')
    with pytest.raises(InputError, match="holds no shape; --closed"):
        known(str(tmp_path / "empty.geojson"))
    with pytest.raises(MissingInputError, match="--closed wants"):
        known(str(tmp_path / "gone.gpkg"))
    (tmp_path / "noise.gpkg").write_bytes(b"\x00" * 300)
    with pytest.raises(UnreadableError, match="--closed wants"):
        known(str(tmp_path / "noise.gpkg"))


def test_a_file_that_asks_an_address_for_its_system_is_refused_unasked(tmp_path):
    path = tmp_path / "linked.geojson"
    saved(path, [HERE])
    linked = json.loads(path.read_text()) | {
        "crs": {"type": "link", "properties": {"href": "http://127.0.0.1:9/crs"}}
    }
    path.write_text(json.dumps(linked))
    with pytest.raises(UnreadableError, match="by an address"):
        known(str(path))


def test_a_hostile_name_stays_text(tmp_path):
    told = known(saved(tmp_path / "a.geojson", [HERE], name=["<script>x</script>\n=HYPERLINK(1)"]))
    assert told.why_closed(*AT) == "lies in closed ground (‹script›x‹/script› =HYPERLINK(1))"


def test_the_run_keeps_the_shapes_and_is_not_read_without_them(tmp_path):
    told = known(saved(tmp_path / "a.geojson", [HERE, HERE], name=["N", None]))
    info = {
        "around": {
            "given": {"closed": ["a.geojson"]},
            "box": [BOX.west, BOX.south, BOX.east, BOX.north],
            "digest": told.digest(),
        }
    }
    write_surroundings(tmp_path / SURROUNDINGS, told)
    first = (tmp_path / SURROUNDINGS).read_bytes()
    back = read_surroundings(tmp_path, info)
    assert (
        back is not None and back.digest() == told.digest() and back.why_closed(*AT) == told.why_closed(*AT)
    )
    write_surroundings(tmp_path / SURROUNDINGS, told)
    assert (tmp_path / SURROUNDINGS).read_bytes() == first
    assert read_surroundings(tmp_path, {}) is None
    other = known(saved(tmp_path / "b.geojson", [HERE]))
    write_surroundings(tmp_path / SURROUNDINGS, other)
    with pytest.raises(OSError, match="scan again"):
        read_surroundings(tmp_path, info)
    (tmp_path / SURROUNDINGS).unlink()
    with pytest.raises(OSError, match="says what is closed"):
        read_surroundings(tmp_path, info)


def test_the_recipe_carries_the_files_and_refuses_two_roles(tmp_path):
    recipe = Recipe.default().with_around(closed=["a.gpkg"], date="2026-05-01").with_around(closed=["b.gpkg"])
    assert recipe.around.closed == ("a.gpkg", "b.gpkg")
    assert load_recipe(dump_recipe(recipe)) == recipe
    for wrong in ({"date": "1 May"}, {"closed_buffer_m": -1.0}, {"closed_buffer_m": np.nan}):
        with pytest.raises(RecipeError):
            Recipe.default().with_around(**wrong)


def test_a_hundred_thousand_areas_against_as_many_places_take_seconds():
    import time

    from reefscan.surroundings.closed import first_inside
    from reefscan.surroundings.shapes import Shapes

    rng = np.random.default_rng(1)
    x, y = rng.uniform(-23, -22, 100_000), rng.uniform(44.6, 45.4, 100_000)
    areas = shapely.buffer(shapely.points(x, y), 0.0005, quad_segs=4)
    words = ("",) * len(areas)
    started = time.perf_counter()
    told = first_inside(
        Shapes(areas, words, words, words),
        rng.uniform(-23, -22, 100_000),
        rng.uniform(44.6, 45.4, 100_000),
        BOX,
    )
    assert (told >= 0).any() and time.perf_counter() - started < 20
