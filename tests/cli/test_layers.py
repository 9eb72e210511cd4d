"""``reefscan layers`` from the outside: files, lists and refusals."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import rasterio
from numpy.testing import assert_allclose
from rasterio.transform import Affine

from reefscan.cli import run


@pytest.fixture
def plane(tmp_path: Path) -> Path:
    """An even slope of 1 in 10 towards the east, 1 m cells."""
    path = tmp_path / "plane.tif"
    elev = np.repeat((-5.0 - 0.1 * np.arange(70.0, dtype=np.float32))[None], 60, axis=0)
    with rasterio.open(
        path, "w", driver="GTiff", width=70, height=60, count=1, dtype="float32", nodata=-9999.0,
        crs="EPSG:32633", transform=Affine(1, 0, 500_000, 0, -1, 5_000_000),
    ) as dataset:  # fmt: skip
        dataset.write(elev, 1)
    return path


def test_the_named_layers_are_written_with_unit_and_reference(
    plane: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "layers"
    code = run(
        ["layers", str(plane), "--only", "slope_deg,bpi_fine_m", "--out", str(out), "--positive", "up"]
    )
    assert code == 0
    assert sorted(p.name for p in out.iterdir()) == ["bpi_fine_m.tif", "slope_deg.tif"]
    assert capsys.readouterr().out.split() == [str(out / "slope_deg.tif"), str(out / "bpi_fine_m.tif")]
    with rasterio.open(out / "slope_deg.tif") as dataset:
        assert_allclose(dataset.read(1)[1:-1, 1:-1], np.degrees(np.arctan(0.1)), atol=1e-5)
        assert dataset.units == ("degree",)
        assert "Horn 1981" in dataset.tags()["REFERENCE"]
        assert json.loads(dataset.tags()["RECIPE_FIND"])["bpi_fine_outer_m"] == 50.0


def test_files_of_an_earlier_call_are_kept_unless_told_otherwise(
    plane: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    call = ["layers", str(plane), "--only", "vrm", "--out", str(tmp_path / "out"), "--positive", "up"]
    assert run(call) == 0
    assert run(call) == 1
    assert "--replace" in capsys.readouterr().err
    assert run([*call, "--replace"]) == 0


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["layers", "nosuch.tif"], "nosuch.tif"),
        (["layers", "nosuch.tif", "--only", "slop_deg"], "did you mean slope_deg"),
        (["layers"], "no grid was named"),
    ],
)
def test_a_wrong_call_is_one_line_and_leaves_nothing(
    arguments: list[str], said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    assert run(arguments) == 1
    talk = capsys.readouterr().err
    assert said in talk and talk.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_the_list_names_every_layer_with_its_source(capsys: pytest.CaptureFixture[str]) -> None:
    from reefscan.layers.terrain import LAYERS

    assert run(["layers", "--list"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in lines] == [*LAYERS, "fetch_m"]
    assert all(LAYERS[line.split()[0]].reference in line for line in lines[:-1])


def test_a_layer_that_needs_more_ground_than_the_grid_has_is_told_and_only_that(
    plane: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # 70 x 60 m: a ring of 50 m radius is 100 m across, a ledge takes 8 + 2 x 8 m, a relief disc 2 x 25 m
    out = tmp_path / "layers"
    assert run(["layers", str(plane), "--out", str(out), "--positive", "up"]) == 0
    told = [line for line in capsys.readouterr().err.splitlines() if ", and this grid is " in line]
    assert len(told) == 2
    assert (
        "bpi_fine_m: stands on 100 m of ground (bpi_fine_outer_m = 50), and this grid is 70 x 60 m" in told[0]
    )
    assert "set bpi_fine_outer_m under 30, and its inner radius under that, in" in told[0]
    assert "bpi_broad_m: stands on 500 m of ground (bpi_broad_outer_m = 250)" in told[1]
    with rasterio.open(out / "bpi_broad_m.tif") as dataset:
        assert np.isnan(dataset.read(1)).all()


def test_what_is_told_to_set_is_enough(
    plane: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    recipe = tmp_path / "small.toml"
    recipe.write_text("[find]\nbpi_fine_outer_m = 29.0\n")
    out = tmp_path / "layers"
    call = ["layers", str(plane), "--only", "bpi_fine_m,ledge_m", "--positive", "up", "--recipe", str(recipe)]
    assert run([*call, "--out", str(out)]) == 0
    assert "of ground" not in capsys.readouterr().err
    with rasterio.open(out / "bpi_fine_m.tif") as dataset:
        assert_allclose(dataset.read(1)[30, 30:40], 0.0, atol=1e-3)  # a plane has none


def test_an_address_stays_an_address(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """As a path it would lose a slash, and be looked for on this disk."""
    assert run(["layers", "http://127.0.0.1:9/a.tif", "--out", str(tmp_path / "l")]) == 1
    assert "http://127.0.0.1:9/a.tif" in capsys.readouterr().err


def test_a_radius_of_more_cells_than_memory_holds_is_refused_before_anything_is_written(
    plane: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    recipe = tmp_path / "wide.toml"
    recipe.write_text("[find]\nbpi_broad_outer_m = 9000\n", encoding="utf-8")
    call = ["layers", str(plane), "--recipe", str(recipe), "--out", str(tmp_path / "out"), "--positive", "up"]
    assert run([*call, "--only", "bpi_broad_m"]) == 1
    assert "find.bpi_broad_outer_m = 9000 m makes each place depend on" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()
    assert run([*call, "--only", "slope_deg"]) == 0  # which looks at its neighbours only
