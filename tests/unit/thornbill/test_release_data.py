"""The data of the demo's firmware family, counted from the data themselves.

The least numbers asserted here are those that the demo was asked to have: enough to meet every kind of change.
"""

from __future__ import annotations

import re
from collections import Counter

import pytest

from rotorwright.settings.catalogue import parse_catalogue, print_catalogue
from rotorwright.settings.classes import parse_classes
from rotorwright.settings.laws import BitField, Linear, Reciprocal
from rotorwright.settings.notes import (
    ChangeNotes,
    Convert,
    Join,
    JoinHow,
    Relabel,
    Rename,
    Retire,
    Split,
    check_notes,
    new_names,
    old_names,
    parse_notes,
)
from rotorwright.settings.values import SCHEMA_TYPES, SettingType
from rotorwright.twin.thornbill.release import (
    BOARD_KEYS,
    RELEASES,
    DemoReleaseError,
    catalogue,
    change_notes_text,
    characters,
    classes_text,
)

OLD, NEW = catalogue("5.2", "C405"), catalogue("6.0", "C405")


def notes() -> ChangeNotes:
    return parse_notes(change_notes_text(), source="notes/5.2-to-6.0.toml")


def default_number(release: str, name: str) -> float:
    default = catalogue(release, "C405")[name].default
    assert default is not None
    return default.number


def range_of(release: str, name: str) -> tuple[float, float]:
    setting = catalogue(release, "C405")[name]
    assert setting.minimum is not None
    assert setting.maximum is not None
    return setting.minimum.number, setting.maximum.number


SAME_NAME = [name for name in OLD.names if name in NEW and not any(name in old_names(note) for note in notes().entries)]


def test_both_releases_know_as_many_settings_as_a_real_flight_controller() -> None:
    assert len(OLD) >= 425
    assert len(NEW) >= 460


@pytest.mark.parametrize("release", RELEASES)
def test_names_fit_a_parameter_message(release: str) -> None:
    for name in catalogue(release).names:  # 16 characters at most: MAVLink common.xml, PARAM_VALUE.param_id
        assert re.fullmatch(r"[A-Z][A-Z0-9_]{1,15}", name), name


@pytest.mark.parametrize("release", RELEASES)
def test_every_type_of_the_schema_is_used(release: str) -> None:
    assert {setting.type for setting in catalogue(release).settings.values()} == set(SCHEMA_TYPES)


@pytest.mark.parametrize("release", RELEASES)
def test_every_setting_says_what_it_is_and_where_it_belongs(release: str) -> None:
    for setting in catalogue(release).settings.values():
        assert 10 <= len(setting.short) <= 130, setting.name
        assert setting.group, setting.name
        assert setting.category, setting.name


@pytest.mark.parametrize("release", RELEASES)
def test_no_two_settings_of_a_release_have_the_same_description(release: str) -> None:
    texts = Counter(setting.short for setting in catalogue(release).settings.values())
    assert [text for text, count in texts.items() if count > 1] == []


@pytest.mark.parametrize("board", BOARD_KEYS)
@pytest.mark.parametrize("release", RELEASES)
def test_every_default_is_in_its_range_and_among_its_choices(release: str, board: str) -> None:
    for setting in catalogue(release, board).settings.values():
        assert setting.default is not None
        assert setting.minimum is not None
        assert setting.maximum is not None
        assert setting.minimum.number <= setting.default.number <= setting.maximum.number, setting.name
        if setting.choices:
            assert setting.label(setting.default.number), setting.name
        if setting.bits:
            assert not setting.default.bits & ~setting.known_bits, setting.name


@pytest.mark.parametrize("release", RELEASES)
def test_labels_of_one_setting_are_all_different(release: str) -> None:
    for setting in catalogue(release).settings.values():
        for labels in (setting.choices, setting.bits):
            assert len({each.label for each in labels}) == len(labels), setting.name


@pytest.mark.parametrize("release", RELEASES)
def test_the_display_has_sixty_to_ninety_settings_of_elements(release: str) -> None:
    places = [name for name in catalogue(release).names if re.fullmatch(r"SHOW_[A-Z]+_(ON|ROW|COL)", name)]
    assert 60 <= len(places) <= 95
    assert len(places) % 3 == 0


@pytest.mark.parametrize("release", RELEASES)
def test_a_few_values_are_measured_by_the_aircraft_itself(release: str) -> None:
    assert 5 <= sum(setting.volatile for setting in catalogue(release).settings.values()) <= 20


@pytest.mark.parametrize("release", RELEASES)
def test_the_board_has_defaults_of_its_own(release: str) -> None:
    own = {
        name
        for name in catalogue(release).names
        if catalogue(release)[name].default != catalogue(release, "H7")[name].default
    }
    assert len(own) >= 20
    assert {"MOUNT_CHIP", "PIN_MOTOR1", "SUPPLY_AMP_GAIN"} <= own


@pytest.mark.parametrize("release", RELEASES)
def test_a_catalogue_goes_through_its_json_unchanged(release: str) -> None:
    printed = print_catalogue(catalogue(release))
    assert parse_catalogue(printed).settings == catalogue(release).settings


def test_an_unknown_release_or_board_is_refused_with_the_known_ones_named() -> None:
    with pytest.raises(DemoReleaseError) as caught:
        catalogue("5.3", "C405")
    assert "5.2, 6.0" in caught.value.why
    with pytest.raises(DemoReleaseError) as caught:
        catalogue("5.2", "C406")
    assert "C405, H7" in caught.value.why
    with pytest.raises(DemoReleaseError):
        characters("5.3")


def test_the_notes_fit_both_catalogues() -> None:
    assert check_notes(notes(), OLD, NEW) == ()


def test_every_old_name_is_in_the_new_release_or_has_a_note() -> None:
    noted = {name for note in notes().entries for name in old_names(note)}
    assert [name for name in OLD.names if name not in NEW and name not in noted] == []


def test_every_name_in_the_notes_exists() -> None:
    for note in notes().entries:
        assert all(name in OLD for name in old_names(note)), note
        assert all(name in NEW for name in new_names(note)), note


def test_no_name_has_two_notes() -> None:
    entries = notes().entries
    assert max(Counter(name for note in entries for name in old_names(note)).values()) == 1
    assert max(Counter(name for note in entries for name in new_names(note)).values()) == 1


def test_every_note_says_why_in_a_sentence() -> None:
    for note in notes().entries:
        assert len(note.why) >= 30, note
        assert note.why.endswith("."), note


def test_there_is_enough_of_every_kind_of_change() -> None:
    entries = notes().entries
    counts = Counter(type(note) for note in entries)
    assert counts[Rename] >= 25
    assert counts[Convert] >= 8
    assert counts[Relabel] >= 6
    assert counts[Split] >= 2
    assert counts[Join] >= 3
    assert counts[Split] + counts[Join] >= 5
    assert counts[Retire] >= 12


def test_splits_and_joins_come_in_every_form() -> None:
    entries = notes().entries
    assert {note.how for note in entries if isinstance(note, Join)} == set(JoinHow)
    forms = {isinstance(part.law, BitField) for note in entries if isinstance(note, Split) for part in note.into}
    assert forms == {True, False}


def test_some_conversions_keep_the_name_and_some_do_not() -> None:
    kept = Counter(note.old == note.new for note in notes().entries if isinstance(note, Convert))
    assert kept[True] >= 3
    assert kept[False] >= 3


def test_at_least_forty_settings_are_new_in_6_0() -> None:
    successors = {name for note in notes().entries for name in new_names(note)}
    arrivals = [name for name in NEW.names if name not in OLD and name not in successors]
    assert len(arrivals) >= 40


def test_at_least_thirty_defaults_are_new_under_the_same_name_and_meaning() -> None:
    changed = [name for name in SAME_NAME if default_number("5.2", name) != default_number("6.0", name)]
    assert len(changed) >= 30


def test_some_conversions_bring_a_new_default_too_and_some_do_not() -> None:
    converted = [note for note in notes().entries if isinstance(note, Convert)]
    changed = [
        note
        for note in converted
        if (old := OLD[note.old].default) is not None
        and old.decimal is not None
        and isinstance(note.law, Linear | Reciprocal)
        and (exact := note.law.exact(old.decimal)) is not None
        and float(exact) != pytest.approx(default_number("6.0", note.new), rel=1e-6)
    ]
    assert 3 <= len(changed) < len(converted)


def test_at_least_three_ranges_are_narrower_and_nothing_else_about_them_says_so() -> None:
    narrower = []
    for name in SAME_NAME:
        (low, high), (new_low, new_high) = range_of("5.2", name), range_of("6.0", name)
        if new_low > low or new_high < high:
            narrower.append(name)
    assert len(narrower) >= 3


def test_a_few_settings_have_another_type_under_the_same_name() -> None:
    types = {(OLD[name].type, NEW[name].type) for name in SAME_NAME if OLD[name].type is not NEW[name].type}
    assert len(types) >= 3
    assert (SettingType.UINT8, SettingType.UINT16) in types
    assert (SettingType.INT16, SettingType.FLOAT) in types


def test_settings_without_a_note_keep_unit_and_labels() -> None:
    for name in SAME_NAME:
        assert OLD[name].unit == NEW[name].unit, name
        old_labels = {each.number: each.label for each in OLD[name].choices}
        assert old_labels == {each.number: each.label for each in NEW[name].choices}, name
        assert OLD[name].bits == NEW[name].bits, name


def test_the_classes_name_settings_that_exist() -> None:
    classes = parse_classes(classes_text(), source="classes.toml")
    for release in RELEASES:
        names = catalogue(release).names
        assert sum(classes.is_board(name) for name in names) >= 15
        assert sum(classes.is_calibration(name) for name in names) >= 15
        assert not [name for name in names if classes.is_board(name) and classes.is_calibration(name)]
    for pattern in (*classes.board, *classes.calibration):
        only = parse_classes(f"[classes]\nboard = ['{pattern}']", source="one pattern")
        assert any(only.is_board(name) for name in NEW.names), pattern


def test_every_role_names_a_setting_of_the_newest_release() -> None:
    classes = parse_classes(classes_text(), source="classes.toml")
    assert len(classes.roles) >= 30
    newest = catalogue("6.1", "C405")
    assert [name for name in classes.roles.values() if name not in newest] == []
