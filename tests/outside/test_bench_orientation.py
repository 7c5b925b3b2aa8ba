"""Rotation from pairs of directions, and the list of mountings, against sources that we did not write."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from ahrs.filters import TRIAD
from scipy.spatial.transform import Rotation

from rotorwright.bench.mountings import RIGHT_ANGLES, mounting_codes, rotation_of_code
from rotorwright.bench.orientation_fits import fit_directions

DATA = Path(__file__).parent / "data"


def examples() -> dict[str, Any]:
    found: dict[str, Any] = json.loads((DATA / "attitude_examples.json").read_text(encoding="utf-8"))
    return found


def orientations() -> list[dict[str, str]]:
    """MAV_SENSOR_ORIENTATION of MAVLink common.xml, matrices computed with two independent libraries."""
    with (DATA / "sensor_orientations.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def matrix(row: dict[str, str]) -> list[list[float]]:
    return [[float(row[f"r{i}{j}"]) for j in (1, 2, 3)] for i in (1, 2, 3)]


def test_the_first_pair_trusted_wholly_gives_the_published_rotation() -> None:
    """Source: C. D. Hall, Spacecraft Attitude Dynamics and Control, chapter 4, worked example of two directions."""
    example = examples()["triad_example"]
    fit = fit_directions(np.array(example["inertial"]), np.array(example["body"]), np.array([1e9, 1.0]))
    assert fit.rotation == pytest.approx(np.array(example["R_bi_triad"]), abs=example["tolerance"])


def test_equal_weights_give_what_scipy_gives_for_the_published_directions() -> None:
    """Source: the same directions through scipy 1.17 align_vectors, as written down and as asked now."""
    example, written = examples()["triad_example"], examples()["wahba_equal_weights"]
    known, measured = np.array(example["inertial"]), np.array(example["body"])
    fit = fit_directions(known, measured)
    asked, distance = Rotation.align_vectors(measured, known)
    assert fit.rotation == pytest.approx(np.array(written["R_bi"]), abs=written["tolerance"])
    assert fit.rotation == pytest.approx(asked.as_matrix(), abs=1e-9)
    assert fit.residual_rad * np.sqrt(2.0) == pytest.approx(distance, rel=1e-6)
    assert distance == pytest.approx(written["rssd"], rel=1e-5)


def test_two_directions_give_what_the_ahrs_package_gives() -> None:
    """Source: ahrs 0.4, TRIAD, on the published directions."""
    example = examples()["triad_example"]
    (first, second), (known_first, known_second) = np.array(example["body"]), np.array(example["inertial"])
    triad = TRIAD(v1=known_first, v2=known_second).estimate(first, second)
    ours = fit_directions(np.array(example["inertial"]), np.array(example["body"]), np.array([1e9, 1.0])).rotation
    assert ours == pytest.approx(triad, abs=1e-6)


@pytest.mark.parametrize("seed", range(20))
def test_many_noisy_directions_give_what_scipy_gives(seed: int) -> None:
    """Source: scipy align_vectors (Kabsch), random weights and noise."""
    rng = np.random.default_rng(seed)
    known = rng.normal(size=(7, 3))
    known /= np.linalg.norm(known, axis=1, keepdims=True)
    measured = Rotation.random(random_state=seed).apply(known) + rng.normal(0.0, 0.1, (7, 3))
    weights = rng.uniform(0.5, 2.0, 7)
    asked, _ = Rotation.align_vectors(measured, known, weights=weights)
    assert fit_directions(known, measured, weights).rotation == pytest.approx(asked.as_matrix(), abs=1e-9)


def test_mirrored_directions_are_known_as_such() -> None:
    known = np.eye(3)
    mirrored = fit_directions(known, known * [1.0, -1.0, 1.0])
    assert mirrored.is_mirrored
    assert mirrored.free_residual_rad == pytest.approx(0.0, abs=1e-9)
    assert not fit_directions(known, known).is_mirrored


@pytest.mark.parametrize("row", orientations(), ids=lambda row: str(row["name"]))
def test_each_mounting_code_is_the_rotation_of_the_open_list(row: dict[str, str]) -> None:
    assert rotation_of_code(int(row["code"])) == pytest.approx(np.array(matrix(row)), abs=1e-8)
    assert mounting_codes()[int(row["code"])].name == row["name"]


def test_the_list_is_whole_and_covers_each_right_angle_mounting() -> None:
    rows = orientations()
    assert [int(row["code"]) for row in rows] == list(mounting_codes())
    listed = np.array([matrix(row) for row in rows])
    for mounting in RIGHT_ANGLES:
        assert (abs(listed - mounting).max(axis=(1, 2)) < 1e-8).any()
