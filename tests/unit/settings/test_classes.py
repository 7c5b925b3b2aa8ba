from __future__ import annotations

import pytest

from rotorwright.settings.classes import ClassesError, SettingClasses, parse_classes

TEXT = """
[classes]
board = ["PIN_*", "PORT_?_USE"]
calibration = ["*_CAL"]
feel = ["STICK*"]

[roles]
"sensor.orientation" = "BOARD_TURN"
"""


def test_patterns_stand_for_whole_names_with_case() -> None:
    classes = parse_classes(TEXT, "classes.toml")
    assert [classes.is_board(name) for name in ("PIN_A", "PORT_1_USE", "PORT_12_USE", "pin_a", "MY_PIN_A")] == [
        True,
        True,
        False,
        False,
        False,
    ]
    assert classes.is_calibration("GYRO_CAL")
    assert not classes.is_calibration("GYRO_CAL_X")
    assert classes.is_feel("STICK1_TOP")
    assert not classes.is_feel("MY_STICK")
    assert classes.roles == {"sensor.orientation": "BOARD_TURN"}


def test_no_patterns_match_nothing() -> None:
    assert not SettingClasses().is_board("")
    assert not SettingClasses().is_feel("")
    assert not parse_classes("", "classes.toml").is_calibration("ANY")


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("[clases]", "perhaps 'classes'"),
        ("[classes]\nbord = []", "perhaps 'board'"),
        ("[classes]\nboard = 'PIN_*'", "a list is expected"),
        ("[classes]\nboard = ['']", "empty"),
        ("[roles]\n'Sensor Turn' = 'A'", "lower-case"),
        ("[roles]\n'sensor.turn' = 1", "a text is expected"),
        ("roles = 5", "a table is expected"),
        ("[classes", "not TOML"),
    ],
)
def test_a_bad_file_is_refused_and_the_place_is_named(text: str, named: str) -> None:
    with pytest.raises(ClassesError) as caught:
        parse_classes(text, "classes.toml")
    assert named in caught.value.what
    assert "classes.toml" in caught.value.what
    assert caught.value.todo
