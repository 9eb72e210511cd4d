"""A rescore equals a fresh scan of the same grid, byte for byte, without the grid."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from reefscan.base.arraysource import ArraySource
from reefscan.base.errors import NeedsScanError
from reefscan.base.recipe import Recipe, load_recipe
from reefscan.pipeline.engineoptions import EngineOptions
from reefscan.pipeline.rescore import rescore_run
from reefscan.pipeline.scan import scan_sources


def test_a_rescore_equals_a_fresh_scan_byte_for_byte(tmp_path, rng):
    rough = gaussian_filter(rng.normal(size=(300, 320)), 4)
    elev = -10.0 + 2.0 * rough / rough.std() + np.linspace(-3, 3, 320)
    source = ArraySource.from_metres(elev, cell_m=2.0)
    scan_sources([source], Recipe.default(), out=tmp_path / "scan", options=EngineOptions(workers=1))
    other = load_recipe(
        '[rank]\nspacing_m = 30\ntop = 40\n[score]\ns44_order = "2"\n[score.terms.floor]\nweight = 4\n[score.terms.refuge]\nweight = 0'
    ).with_depth(6, 12)
    fresh = scan_sources([source], other, out=tmp_path / "fresh", options=EngineOptions(workers=1))
    rescore_run(tmp_path / "scan", other, out=tmp_path / "again")
    assert len(fresh.sites) > 5
    again = rescore_run(tmp_path / "scan", other)
    assert again.info["limits"] == fresh.info["limits"] and "order 2;" in fresh.info["limits"][0]
    assert f"{len(again.sites)} sites" in repr(again) and again.sites.crs.to_epsg() == 4326
    for name in ("candidates.geojson", "candidates.parquet", "recipe.toml"):
        assert (tmp_path / "fresh" / name).read_bytes() == (tmp_path / "again" / name).read_bytes(), name
    assert (tmp_path / "scan" / "candidates.geojson").read_bytes() != (
        tmp_path / "again" / "candidates.geojson"
    ).read_bytes()


@pytest.mark.parametrize("band", [(0.5, 15.0), (4.0, 45.0)])
def test_a_depth_beyond_what_was_searched_asks_for_a_new_scan(tmp_path, rng, band):
    rough = gaussian_filter(rng.normal(size=(160, 160)), 4)
    source = ArraySource.from_metres(-10.0 + 2.0 * rough / rough.std(), cell_m=2.0)
    recipe = Recipe.default()
    scan_sources([source], recipe, out=tmp_path / "scan", options=EngineOptions(workers=1))
    depth = recipe.score.terms["depth"].model_copy(
        update={"a": band[0], "b": band[0], "c": band[1], "d": band[1]}
    )
    terms = {**recipe.score.terms, "depth": depth}
    wider = recipe.model_copy(update={"score": recipe.score.model_copy(update={"terms": terms})})
    with pytest.raises(NeedsScanError, match="scan again"):
        rescore_run(tmp_path / "scan", wider, out=tmp_path / "again")
    assert not (tmp_path / "again").exists()
