"""What falls away to both sides is no joint of two surveys, however straight it runs: breakwaters are built so."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import reefscan
from reefscan.bothsides import CREST_M, OPPOSITE_DEG, no_joint


def face(x: float, facing: float, name: str, n: int = 10) -> pd.DataFrame:
    """Stations of a ledge every 20 m northward along ``x``."""
    return pd.DataFrame(
        {
            "kind": "ledge",
            "feature_id": name,
            "x": x,
            "y": 20.0 * np.arange(n),
            "facing": facing,
            "width_m": 6.0,
            "height_m": 3.0,
            "shore": 0.0,
        }
    )


def told(*faces: pd.DataFrame) -> np.ndarray:
    table = pd.concat(faces, ignore_index=True)
    return no_joint(table, np.ones(len(table), bool))


@pytest.mark.parametrize("apart", [8.0, CREST_M + 5.0])
def test_two_faces_that_fall_away_from_each_other_stand_up(apart):
    assert told(face(0.0, 270.0, "west"), face(apart, 90.0, "east")).all()


def test_neither_a_pit_nor_a_strip_nor_steps_one_way_stand_up():
    assert not told(face(0.0, 90.0, "west"), face(20.0, 270.0, "east")).any()
    assert not told(face(0.0, 270.0, "west"), face(CREST_M + 8.0, 90.0, "east")).any()
    assert not told(face(0.0, 270.0, "upper"), face(20.0, 270.0, "lower")).any()
    assert not told(face(0.0, 270.0, "west"), face(20.0, 90.0 + OPPOSITE_DEG + 5.0, "turned")).any()
    assert not told(face(0.0, 270.0, "alone")).any()


def test_a_wall_falls_away_to_both_sides_by_about_as_much():
    low = face(12.0, 90.0, "east").assign(height_m=1.2)
    assert not told(face(0.0, 270.0, "west"), low).any()


@pytest.mark.parametrize("breadth_m", [30.0, 50.0])
def test_a_strip_of_a_survey_that_lies_too_high_is_two_joints(rng, breadth_m):
    y, x = np.mgrid[:240, :240] * 2.0
    z = -9 + 0.4 * np.sin(x / 90) * np.cos(y / 70) + rng.normal(size=x.shape) * 0.04
    run = reefscan.scan_elevation(z + 1.8 * (np.abs(x - 240) < breadth_m / 2), cell_m=2.0)
    assert (run.candidates["seam_like"] == 1.0).sum() >= 6
    assert not [site for site in run.sites if site["length_m"] > 100]


def test_a_face_with_dry_ground_behind_it_is_no_joint():
    assert told(face(0.0, 270.0, "quay").assign(shore=0.8)).all()
    assert not told(face(0.0, 270.0, "wet").assign(shore=0.2)).any()


@pytest.mark.parametrize("degrees", [0.0, 25.0])
def test_a_straight_quay_is_listed_whichever_way_it_runs(rng, degrees):
    """Half a kilometre of it, 8 m of water before it and land behind."""
    y, x = np.mgrid[:260, :260] * 2.0 - 260
    a = np.radians(degrees)
    across = x * np.cos(a) + y * np.sin(a)
    water = -8 - 0.002 * across + 0.15 * np.sin(x / 37) * np.sin(y / 41)
    sites = reefscan.scan_elevation(
        np.where(across > 0, 2.5, water) + 0.05 * rng.standard_normal(x.shape), cell_m=2.0
    ).sites
    assert len([site for site in sites if site["length_m"] > 400]) >= 4


def test_a_feature_is_told_by_half_of_its_stations():
    assert told(face(0.0, 270.0, "west"), face(20.0, 90.0, "east", n=6))[:10].all()
    assert not told(face(0.0, 270.0, "west"), face(20.0, 90.0, "east", n=2))[:10].any()


def test_nothing_is_told_where_nothing_is_asked():
    table = pd.concat([face(0.0, 270.0, "west"), face(20.0, 90.0, "east")], ignore_index=True)
    assert not no_joint(table, np.zeros(len(table), bool)).any()


@pytest.mark.parametrize("degrees", [0.0, 33.0])
def test_a_straight_breakwater_leads_the_list_whichever_way_it_runs(rng, degrees):
    """Half a kilometre of it on cells of 5 m, with its crest under water."""
    cell_m, side = 5.0, 180
    y, x = np.mgrid[:side, :side] * cell_m - side * cell_m / 2
    a = np.radians(degrees)
    across, along = np.abs(x * np.cos(a) + y * np.sin(a)), np.abs(y * np.cos(a) - x * np.sin(a))
    wall = np.where(along < 280, -3 - np.maximum(0, across - 4) / 1.5, -99) + 0.1 * rng.standard_normal(
        x.shape
    )
    z = np.maximum(-9 + 0.05 * rng.standard_normal(x.shape), wall)
    sites = reefscan.scan_elevation(z, cell_m=cell_m).sites
    sides = [site for site in sites if site["length_m"] > 400]
    assert len(sides) >= 4
    assert min(site["score"] for site in sides) > 80
    assert not any("looks-like-seam" in site["flags"] for site in sites)
