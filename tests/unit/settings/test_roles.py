"""Roles: the values of an aircraft by what they are for, in the units that a check wants."""

from __future__ import annotations

import pytest

from rotorwright.hangar.books import read_book
from rotorwright.settings.classes import ClassesError, SettingClasses, parse_classes
from rotorwright.settings.note_entries import ChangeNotes, Rename
from rotorwright.settings.roles import RoleValues, role_values
from rotorwright.settings.values import SettingType, Value
from rotorwright.twin.thornbill.book import write_book
from rotorwright.twin.thornbill.release import catalogue


@pytest.fixture(scope="module")
def roles(tmp_path_factory: pytest.TempPathFactory) -> RoleValues:
    book = read_book(write_book(tmp_path_factory.mktemp("roles") / "book"))
    known = catalogue("6.0", "C405")
    return role_values(book.classes, known.defaults, catalogue=known, to_newest=book.notes("6.0", "6.1"))


def test_a_role_gives_the_number_in_the_unit_that_is_asked_for(roles: RoleValues) -> None:
    assert roles.number("failsafe.wait", "s") == pytest.approx(0.3)
    assert roles.number("failsafe.wait", "ms") == 300.0
    assert roles.number("battery.cell.warning", "V") == pytest.approx(3.5)


def test_a_unit_of_another_kind_gives_nothing(roles: RoleValues) -> None:
    assert roles.number("failsafe.wait", "V") is None


def test_a_role_tells_its_label_and_its_whole_number(roles: RoleValues) -> None:
    assert roles.label("failsafe.action") == "Land"
    assert roles.whole("arming.switch.channel") == 5


def test_an_unknown_role_gives_nothing(roles: RoleValues) -> None:
    assert roles.name("no.such") is None
    assert roles.number("no.such") is None
    assert roles.label("no.such") is None
    assert roles.value_for("no.such", 1.0) is None


def test_a_wanted_number_becomes_the_value_of_the_setting_in_its_own_unit(roles: RoleValues) -> None:
    wait = roles.value_for("failsafe.wait", 0.45, "s")
    assert wait is not None
    assert (wait.type, wait.number) == (SettingType.UINT16, 450)
    yaw = roles.value_for("sensor.board.yaw", -90.0, "deg")
    assert yaw == Value.parse(SettingType.FLOAT, "-90")


def test_notes_lead_from_the_newest_name_to_the_one_that_runs() -> None:
    classes = SettingClasses(roles={"a.role": "NEW", "same": "BOTH", "gone": "LATER"})
    notes = ChangeNotes("F", "1", "2", (Rename(old="OLD", new="NEW"),))
    held = {name: Value.parse(SettingType.UINT8, "7") for name in ("OLD", "BOTH")}
    found = role_values(classes, held, to_newest=notes)
    assert dict(found.names) == {"a.role": "OLD", "same": "BOTH"}
    assert found.whole("a.role") == 7


def test_a_renamed_setting_is_never_taken_by_its_new_name_in_the_old_release() -> None:
    classes = SettingClasses(roles={"a.role": "NEW"})
    notes = ChangeNotes("F", "1", "2", (Rename(old="OLD", new="NEW"),))
    held = {"NEW": Value.parse(SettingType.UINT8, "7")}
    assert not role_values(classes, held, to_newest=notes).names


def test_without_a_book_no_role_is_known() -> None:
    assert not role_values(None, {"A": Value.parse(SettingType.UINT8, "1")}).names


def test_the_bits_that_tell_what_is_on_are_read() -> None:
    assert parse_classes('[told]\n"mode.1" = 3\n', "a test").told == {"mode.1": 3}


@pytest.mark.parametrize("bit", ["-1", "32", '"one"'])
def test_a_bit_that_the_field_does_not_have_is_refused(bit: str) -> None:
    with pytest.raises(ClassesError):
        parse_classes(f'[told]\n"mode.1" = {bit}\n', "a test")


def test_a_role_that_is_one_bit_is_told_by_that_bit(roles: RoleValues) -> None:
    assert roles.flag("arming.needs.thrust.low") is True
    assert roles.flag("arming.switch.channel") is None


def test_a_bit_of_a_role_that_is_not_named_is_refused() -> None:
    with pytest.raises(ClassesError):
        parse_classes('[role_bits]\n"a.role" = 3\n', "a test")
