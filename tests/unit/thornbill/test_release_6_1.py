"""What Thornbill 6.1 changed, and the way from 5.2 to 6.1 at once."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

import pytest

from rotorwright.firmware.mcu import microcontroller
from rotorwright.hangar.books import read_book
from rotorwright.settings.carry_over import CarryOverInputs, DecisionKind, Rule, carry_over
from rotorwright.settings.identity import Identity
from rotorwright.settings.notes import Convert, Join, Refit, Relabel, Rename, Retire, Split, check_notes, parse_notes
from rotorwright.settings.snapshot import Snapshot
from rotorwright.settings.values import Value
from rotorwright.twin.boot import boot_from_flash
from rotorwright.twin.thornbill.book import write_book
from rotorwright.twin.thornbill.images import build_image
from rotorwright.twin.thornbill.release import catalogue, change_notes_text, customised_settings

if TYPE_CHECKING:
    from pathlib import Path

    from rotorwright.settings.notes import ChangeNotes
    from rotorwright.settings.sheet import CarryOverSheet

FIRST, BETWEEN, LAST = (catalogue(release) for release in ("5.2", "6.0", "6.1"))


def notes() -> ChangeNotes:
    return parse_notes(change_notes_text("6.0", "6.1"), source="notes/6.0-to-6.1.toml")


def taken_over(release: str, found: dict[str, Value], to: str, by: ChangeNotes) -> CarryOverSheet:
    identity = Identity("0123456789abcdef01234567", "Thornbill", f"{release}.0", "Corvane C405")
    return carry_over(
        CarryOverInputs(
            ours=Snapshot(identity, found, "2026-05-01T12:00:00Z"),
            old_defaults=catalogue(release).defaults,
            new_defaults=catalogue(to).defaults,
            old_catalogue=catalogue(release),
            new_catalogue=catalogue(to),
            notes=by,
            to_release=f"{to}.0",
        )
    )


def test_the_notes_fit_both_catalogues() -> None:
    assert [problem for problem in check_notes(notes(), BETWEEN, LAST) if problem.severity == "error"] == []


def test_there_is_something_of_every_kind() -> None:
    counts = Counter(type(note) for note in notes().entries)
    least = {Rename: 12, Convert: 3, Relabel: 2, Split: 1, Join: 1, Retire: 3, Refit: 9}
    assert {kind: count for kind, count in counts.items() if count < least[kind]} == {}
    assert len(notes().advice) == 4


def test_some_settings_have_their_third_name() -> None:
    first = parse_notes(change_notes_text("5.2", "6.0"), source="5.2-to-6.0")
    renamed = {note.new for note in first.entries if isinstance(note, Rename)}
    assert [note.old for note in notes().entries if isinstance(note, Rename) and note.old in renamed]


def test_eight_settings_are_new_and_eight_defaults() -> None:
    successors = {note.new for note in notes().entries if isinstance(note, Rename | Convert | Relabel | Join)}
    successors |= {part.new for note in notes().entries if isinstance(note, Split) for part in note.into}
    successors |= {name for note in notes().entries if isinstance(note, Refit) for name in note.new}
    assert len([name for name in LAST.names if name not in BETWEEN and name not in successors]) == 8
    same = [name for name in BETWEEN.names if name in LAST and name not in successors]
    assert len([name for name in same if BETWEEN[name].default != LAST[name].default]) == 8


@pytest.mark.parametrize("board", ["C405", "H7"])
def test_an_image_of_6_1_starts(board: str) -> None:
    part = {"C405": "STM32F405xG", "H7": "STM32H743xI"}[board]
    image = build_image("6.1", board)
    flash = bytearray(b"\xff" * 0x10_0000)
    for segment in image.segments:
        start = segment.address - 0x0800_0000
        flash[start : start + len(segment.data)] = segment.data
    build = boot_from_flash(bytes(flash), mcu=microcontroller(part))
    assert build is not None
    assert build.release == "6.1.0"


def test_the_book_composes_the_notes_from_5_2_to_6_1_and_they_fit_both_catalogues(tmp_path: Path) -> None:
    book = read_book(write_book(tmp_path / "thornbill"))
    composed = book.notes("5.2", "6.1")
    assert composed is not None
    assert (composed.from_release, composed.to_release) == ("5.2", "6.1")
    assert [problem for problem in check_notes(composed, FIRST, LAST) if problem.severity == "error"] == []
    assert book.notes("5.2", "6.1") is composed
    assert book.notes("6.1", "5.2") is None
    assert book.notes("5.2", "7.0") is None


def test_by_way_of_6_0_or_at_once_the_demo_aircraft_ends_with_the_same_settings(tmp_path: Path) -> None:
    """Compared is what no line of either way holds for a person."""
    book = read_book(write_book(tmp_path / "thornbill"))
    first, second, composed = (book.notes(*step) for step in (("5.2", "6.0"), ("6.0", "6.1"), ("5.2", "6.1")))
    assert first
    assert second
    assert composed
    found = FIRST.defaults | customised_settings()
    to_6_0 = taken_over("5.2", found, "6.0", first)
    between = BETWEEN.defaults | {write.name: write.value for each in to_6_0.decisions for write in each.writes}
    to_6_1 = taken_over("6.0", between, "6.1", second)
    at_once = taken_over("5.2", found, "6.1", composed)
    held = {name for each in (*to_6_1.held, *at_once.held) for name in each.new_names}
    held |= {name for each in at_once.decisions if to_6_0_holds(to_6_0, each.found) for name in each.new_names}
    by_two = LAST.defaults | {write.name: write.value for each in to_6_1.decisions for write in each.writes}
    by_one = LAST.defaults | {write.name: write.value for each in at_once.decisions for write in each.writes}
    assert {name: by_one[name] for name in LAST.names if name not in held} == {
        name: by_two[name] for name in LAST.names if name not in held
    }
    assert len([name for name in LAST.names if by_one[name] != LAST.defaults[name]]) >= 30


def to_6_0_holds(sheet: CarryOverSheet, names: tuple[str, ...]) -> bool:
    return any(
        set(each.found) & set(names)
        for each in sheet.decisions
        if each.kind is DecisionKind.HELD or each.rule == Rule.ALREADY_DEFAULT
    )


def test_the_cap_of_the_motors_goes_where_the_signal_says() -> None:
    for signal, name in ((1, "MOTOR_CAP_PULSE"), (4, "MOTOR_CAP_DIGI")):
        found = BETWEEN.defaults | {
            "MOTOR_SIGNAL": Value.of(BETWEEN["MOTOR_SIGNAL"].type, signal),
            "MOTOR_CAP": Value.of(BETWEEN["MOTOR_CAP"].type, 80),
        }
        (decision,) = (each for each in taken_over("6.0", found, "6.1", notes()).decisions if "MOTOR_CAP" in each.found)
        assert [(write.name, write.value.text) for write in decision.writes] == [(name, "80")]


def test_a_stick_curve_of_ones_own_waits_for_its_refit() -> None:
    found = BETWEEN.defaults | {"STICK1_ROLL_MID": Value.of(BETWEEN["STICK1_ROLL_MID"].type, 140)}
    sheet = taken_over("6.0", found, "6.1", notes())
    (decision,) = sheet.held
    assert decision.rule == Rule.REFIT_WANTED
    assert decision.new_names == ("STICK1_ROLL_TOP", "STICK1_ROLL_SAG", "STICK1_ROLL_BOW")
