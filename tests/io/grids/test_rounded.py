"""A file whose depths come in whole steps is told by its values, and its reader is told."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from reefscan.io.grids import probe
from reefscan.io.grids.rasters import open_grids
from tests.io.seabed import cells, write


@pytest.mark.parametrize(
    ("step_m", "said"), [(1.0, "1 m (3.28 ft)"), (0.3048, "0.305 m (1 ft)"), (0.5, "0.5 m (1.64 ft)")]
)
def test_depths_in_whole_metres_feet_or_half_metres_are_said_to_be(
    tmp_path: Path, step_m: float, said: str
) -> None:
    write(tmp_path / "coarse.tif", np.round(cells() / step_m) * step_m)
    notes = [note for note in open_grids([tmp_path / "coarse.tif"])[0].notes if "whole steps" in note]
    assert len(notes) == 1
    assert f"whole steps of {said}:" in notes[0]


@pytest.mark.parametrize("step_m", [0.01, 0.1])
def test_fine_steps_and_none_are_not_spoken_of(tmp_path: Path, step_m: float) -> None:
    write(tmp_path / "fine.tif", np.round(cells() / step_m) * step_m)
    assert "whole steps" not in " ".join(open_grids([tmp_path / "fine.tif"])[0].notes)


def test_the_step_is_the_one_that_all_levels_share_and_a_few_levels_tell_none(rng) -> None:
    assert probe.rounding_step(3.0 * rng.integers(0, 9, 4000)) == pytest.approx(3.0)
    levels = np.array([0.0, 2.0, 4.0, 10.0, 14.0])  # gaps between them, but all even
    assert probe.rounding_step(rng.choice(levels, 4000)) == pytest.approx(2.0)
    assert probe.rounding_step(rng.choice([0.0, 2.0, 5.0, 9.0, 14.0], 4000)) == 0.0
    assert probe.rounding_step(rng.choice([0.0, 1.0, 2.0], 4000)) == 0.0
    assert probe.rounding_step(rng.normal(size=4000)) == 0.0
