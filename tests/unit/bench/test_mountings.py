"""Mountings as rotations: codes, angles, the 24 right-angle ones, and the way back to angles."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rotorwright.bench.mountings import (
    EIGHTH_TURNS,
    RIGHT_ANGLES,
    MountingCodeUnknownError,
    angle_between_deg,
    angles_of_rotation,
    name_of_rotation,
    nearest_of,
    rotation_of_angles,
    rotation_of_code,
)

ANGLE = st.floats(-360.0, 360.0)


def test_the_24_right_angle_mountings_are_all_different_and_proper() -> None:
    assert RIGHT_ANGLES.shape == (24, 3, 3)
    assert np.linalg.det(RIGHT_ANGLES) == pytest.approx(np.ones(24))
    assert len({tuple(one.ravel()) for one in RIGHT_ANGLES}) == 24
    assert set(np.unique(RIGHT_ANGLES)) == {-1.0, 0.0, 1.0}
    assert np.array_equal(RIGHT_ANGLES[0], np.eye(3))


def test_multiples_of_a_right_angle_are_exact() -> None:
    assert rotation_of_angles(0.0, 0.0, 90.0).tolist() == [[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]


@given(ANGLE, ANGLE, ANGLE)
def test_angles_of_a_rotation_say_that_very_rotation(roll: float, pitch: float, yaw: float) -> None:
    rotation = rotation_of_angles(roll, pitch, yaw)
    angles = angles_of_rotation(rotation)
    assert rotation_of_angles(*angles) == pytest.approx(rotation, abs=1e-4)
    assert all(-180.0 <= angle <= 180.0 for angle in angles)


def test_each_eighth_turn_is_said_by_angles_that_a_setting_can_hold() -> None:
    for rotation in EIGHTH_TURNS:
        said = [round(angle, 3) for angle in angles_of_rotation(rotation)]
        assert rotation_of_angles(*said) == pytest.approx(rotation, abs=1e-4)
    for rotation in RIGHT_ANGLES:
        assert np.mod(angles_of_rotation(rotation), 90.0) == pytest.approx(0.0, abs=1e-9)


@given(st.integers(0, 23), st.floats(-1.0, 1.0), st.floats(-1.0, 1.0), st.floats(-1.0, 1.0))
def test_the_nearest_mounting_to_a_slightly_turned_one_is_that_one(number: int, x: float, y: float, z: float) -> None:
    measured = RIGHT_ANGLES[number] @ rotation_of_angles(20.0 * x, 20.0 * y, 20.0 * z)
    nearest = nearest_of(measured, RIGHT_ANGLES)
    assert np.array_equal(nearest.rotation, RIGHT_ANGLES[number])
    assert nearest.away_deg == pytest.approx(angle_between_deg(measured, RIGHT_ANGLES[number]), abs=1e-6)
    assert nearest.margin_deg > 0.0


def test_an_unknown_code_is_refused_with_what_to_do_instead() -> None:
    with pytest.raises(MountingCodeUnknownError, match="999") as caught:
        rotation_of_code(999)
    assert "angles" in caught.value.todo


def test_a_mounting_is_said_by_the_angles_that_turn_it() -> None:
    assert name_of_rotation(np.eye(3)) == "no turn"
    assert name_of_rotation(rotation_of_angles(0.0, 0.0, -90.0)) == "yaw -90 degrees"
    assert name_of_rotation(rotation_of_angles(180.0, 0.0, 45.0)) == "roll 180, yaw 45 degrees"
