"""The mounting numbers of Thornbill 6.0 against the open list of sensor orientations.

Source: tests/outside/data/sensor_orientations.csv, MAV_SENSOR_ORIENTATION of MAVLink common.xml, matrices computed with
two independent libraries (R = Rz(yaw) Ry(pitch) Rx(roll)).
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest

from rotorwright.settings.notes import Relabel, parse_notes
from rotorwright.twin.thornbill.release import catalogue, change_notes_text

TABLE = Path(__file__).parent / "data" / "sensor_orientations.csv"
MOUNTS = ("MOUNT_CHIP", "MOUNT_MAG")

TURNS_DEG = {
    "as the arrow": 0,
    "eighth turn right": 45,
    "quarter turn right": 90,
    "three eighths right": 135,
    "half turn": 180,
    "three eighths left": 225,
    "quarter turn left": 270,
    "eighth turn left": 315,
}


def outside_matrices() -> dict[int, list[float]]:
    with TABLE.open(encoding="utf-8", newline="") as file:
        return {
            int(row["code"]): [float(row[f"r{i}{j}"]) for i in (1, 2, 3) for j in (1, 2, 3)]
            for row in csv.DictReader(file)
        }


def matrix_in_words(label: str) -> list[float]:
    """Return the rotation that a label means: turned over along the nose if upside down, then turned right."""
    words = label.lower()
    side = -1 if words.startswith("upside down") else 1
    turn = math.radians(TURNS_DEG[words.removeprefix("upside down").removeprefix(", ") or "as the arrow"])
    return [math.cos(turn), -side * math.sin(turn), 0, math.sin(turn), side * math.cos(turn), 0, 0, 0, side]


@pytest.mark.parametrize("name", MOUNTS)
def test_every_number_of_6_0_turns_the_sensor_as_its_label_says(name: str) -> None:
    outside = outside_matrices()
    choices = catalogue("6.0")[name].choices
    assert len(choices) == 16
    for choice in choices:
        assert matrix_in_words(choice.label) == pytest.approx(outside[choice.number], abs=1e-8), choice


@pytest.mark.parametrize("name", MOUNTS)
def test_the_change_notes_lead_each_number_of_5_2_to_the_same_turn(name: str) -> None:
    notes = parse_notes(change_notes_text(), source="notes")
    note = next(each for each in notes.entries if isinstance(each, Relabel) and each.old == name)
    outside = outside_matrices()
    labels = {choice.number: choice.label for choice in catalogue("5.2")[name].choices}
    assert note.labels.numbers.keys() == labels.keys()
    for old, new in note.labels.numbers.items():
        assert matrix_in_words(labels[old]) == pytest.approx(outside[new], abs=1e-8)
