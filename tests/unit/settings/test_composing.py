"""What two change notes say at once, entry by entry."""

from __future__ import annotations

from fractions import Fraction

import pytest
from tests.unit.settings.builders import (
    FLOAT,
    NOTES_HEAD,
    UINT8,
    UINT16,
    UINT32,
    about,
    catalogue,
    setting,
    snapshot,
    written,
)

from rotorwright.settings.carry_over import CarryOverInputs, DecisionKind, Rule, carry_over
from rotorwright.settings.composing import NotesDoNotMeetError, compose_notes
from rotorwright.settings.conditions import Comparison, Not, Sign
from rotorwright.settings.laws import BitField, Chain, Labels, Linear, Reciprocal
from rotorwright.settings.note_checks import check_composing
from rotorwright.settings.note_entries import Note, Uncomposed, Woven
from rotorwright.settings.notes import (
    ChangeNotes,
    Convert,
    Join,
    JoinHow,
    Refit,
    Relabel,
    Rename,
    Retire,
    Split,
    SplitPart,
    parse_notes,
)
from rotorwright.settings.values import Value

TEN, SIXTIETH = Linear(Fraction(10)), Linear(Fraction(1, 60))


def first(*entries: Note) -> ChangeNotes:
    return ChangeNotes("Thornbill", "5.2", "6.0", entries)


def second(*entries: Note) -> ChangeNotes:
    return ChangeNotes("Thornbill", "6.0", "6.1", entries)


def composed(one: Note | None, other: Note | None) -> tuple[Note, ...]:
    notes = first(*([one] if one else [])), second(*([other] if other else []))
    return compose_notes(*notes).entries


def test_the_releases_at_both_ends_are_named() -> None:
    notes = compose_notes(first(), second())
    assert (notes.family, notes.from_release, notes.to_release) == ("Thornbill", "5.2", "6.1")


@pytest.mark.parametrize("other", [ChangeNotes("Thornbill", "5.2", "6.1"), ChangeNotes("Goldcrest", "6.0", "6.1")])
def test_notes_that_do_not_meet_are_refused(other: ChangeNotes) -> None:
    with pytest.raises(NotesDoNotMeetError):
        compose_notes(first(), other)


@pytest.mark.parametrize(
    ("one", "other", "both"),
    [
        (Rename(old="A", new="B"), None, Rename(old="A", new="B")),
        (None, Rename(old="A", new="B"), Rename(old="A", new="B")),
        (Rename(old="A", new="B"), Rename(old="B", new="C"), Rename(old="A", new="C")),
        (Rename(old="A", new="B"), Convert(old="B", new="C", law=TEN), Convert(old="A", new="C", law=TEN)),
        (Convert(old="A", new="B", law=TEN), Rename(old="B", new="C"), Convert(old="A", new="C", law=TEN)),
        (
            Convert(old="A", new="B", law=TEN),
            Convert(old="B", new="C", law=Reciprocal(Fraction(1))),
            Convert(old="A", new="C", law=Chain((TEN, Reciprocal(Fraction(1))), (None,))),
        ),
        (
            Relabel(old="A", new="A", labels=Labels({0: 1, 1: 2, 2: 3})),
            Relabel(old="A", new="B", labels=Labels({1: 5, 2: 5})),
            Relabel(old="A", new="B", labels=Labels({0: 5, 1: 5})),
        ),
        (Rename(old="A", new="B"), Retire(old="B", loses="it"), Retire(old="A", loses="it")),
        (Retire(old="A", loses="it"), None, Retire(old="A", loses="it")),
        (
            Rename(old="A", new="B"),
            Split(old="B", into=(SplitPart("C", TEN), SplitPart("D", SIXTIETH))),
            Split(old="A", into=(SplitPart("C", TEN), SplitPart("D", SIXTIETH))),
        ),
        (
            Split(old="A", into=(SplitPart("B", BitField((0, 1))), SplitPart("C", BitField((2,))))),
            Rename(old="B", new="D"),
            Split(old="A", into=(SplitPart("D", BitField((0, 1))), SplitPart("C", BitField((2,))))),
        ),
        (
            Rename(old="A", new="B"),
            Join(old=("B", "C"), new="D", how=JoinHow.SUM),
            Join(old=("A", "C"), new="D", how=JoinHow.SUM),
        ),
        (
            Join(old=("A", "B"), new="C", how=JoinHow.BITS, bits=(0, 3), widths=(3, 5)),
            Rename(old="C", new="D"),
            Join(old=("A", "B"), new="D", how=JoinHow.BITS, bits=(0, 3), widths=(3, 5)),
        ),
    ],
)
def test_two_entries_become_one(one: Note | None, other: Note | None, both: Note) -> None:
    assert composed(one, other) == (both,)


def test_there_and_back_again_is_nothing() -> None:
    assert composed(Rename(old="A", new="B"), Rename(old="B", new="A")) == ()


def test_a_name_that_is_new_in_between_has_no_source() -> None:
    assert composed(Rename(old="B", new="A"), Rename(old="B", new="C")) == (Rename(old="B", new="A"),)


def test_names_that_changed_places_are_followed() -> None:
    swap = (Rename(old="A", new="B"), Rename(old="B", new="A"))
    notes = compose_notes(first(*swap), second(Convert(old="A", new="A", law=TEN)))
    assert set(notes.entries) == {Rename(old="A", new="B"), Convert(old="B", new="A", law=TEN)}


def test_reasons_and_places_of_both_are_kept() -> None:
    one = Rename(old="A", new="B", why="First.", place="rename entry 1")
    other = Rename(old="B", new="C", why="Then.", place="rename entry 9")
    (entry,) = composed(one, other)
    assert (entry.why, entry.place) == ("First. Then.", "rename entry 1 and then rename entry 9")


OLD = catalogue(setting("MASK", UINT16, 3), setting("KIND", UINT8, 1), setting("CAP", UINT8, 50))
BETWEEN = catalogue(
    setting("LOW", UINT8, 3), setting("HIGH", UINT8), setting("SORT", UINT8, 1), setting("CAP", UINT8, 50)
)
NEW = catalogue(
    setting("ALL", UINT16, 3), setting("SORT", UINT8, 1), setting("CAP_A", UINT8, 50), setting("CAP_B", UINT8, 50)
)
PARTED = Split(old="MASK", into=(SplitPart("LOW", BitField((0, 1, 2))), SplitPart("HIGH", BitField((3, 4)))))
JOINED = Join(old=("LOW", "HIGH"), new="ALL", how=JoinHow.BITS, bits=(2, 0), widths=(3, 2))
SORT = Rename(old="KIND", new="SORT")


def sheet_of(notes: ChangeNotes, **mine: int) -> dict[str, str]:
    found = OLD.defaults | {name: Value.of(OLD[name].type, number) for name, number in mine.items()}
    return {name: value.text for name, value in _carried(notes, found).items()}


def _carried(notes: ChangeNotes, found: dict[str, Value]) -> dict[str, Value]:
    sheet = carry_over(_inputs(notes, found))
    assert sheet.held == (), sheet.held
    return {write.name: write.value for write in sheet.writes}


def _inputs(notes: ChangeNotes, found: dict[str, Value]) -> CarryOverInputs:
    return CarryOverInputs(snapshot(found), OLD.defaults, NEW.defaults, OLD, NEW, notes, to_release="6.1.0")


def test_what_was_split_and_joined_again_is_woven_through_the_settings_between() -> None:
    notes = compose_notes(first(PARTED, SORT), second(JOINED), [(OLD, BETWEEN, NEW)])
    (entry,) = (each for each in notes.entries if isinstance(each, Woven))
    assert (entry.old, [part.new for part in entry.into]) == (("MASK",), ["ALL"])
    decision = about(carry_over(_inputs(notes, OLD.defaults | {"MASK": Value.of(UINT16, 0b10_101)})), "MASK")
    # by hand: LOW is 0b101 and goes to bits 2 to 4, HIGH is 0b10 and goes to bits 0 and 1
    assert decision.rule == Rule.DEFAULT_CHANGED  # 0b011 was woven to 0b01100, and the new default is 3
    assert decision.options[0].writes[0].value == Value.of(UINT16, 0b101_10)


def test_a_bit_that_no_part_takes_is_held_in_woven_notes_too() -> None:
    notes = compose_notes(first(PARTED, SORT), second(JOINED), [(OLD, BETWEEN, NEW)])
    decision = about(carry_over(_inputs(notes, OLD.defaults | {"MASK": Value.of(UINT16, 0b100_011)})), "MASK")
    assert decision.kind is DecisionKind.HELD
    assert "Bit 5 of it went nowhere" in decision.reason


def test_without_catalogues_what_was_woven_is_held_and_says_why() -> None:
    notes = compose_notes(first(PARTED), second(JOINED))
    (entry,) = notes.entries
    assert isinstance(entry, Uncomposed)
    assert "has no known type" in entry.because
    decision = about(carry_over(_inputs(notes, OLD.defaults | {"MASK": Value.of(UINT16, 1)})), "MASK")
    assert (decision.kind, decision.rule) == (DecisionKind.HELD, Rule.NOTES_NOT_COMPOSED)
    assert [each.id for each in check_composing(notes)] == ["cannot-compose"]


CONDITION = Comparison("SORT", Sign.AT_LEAST, ("2",))
CAPS = (Rename(old="CAP", new="CAP_A", when=Not(CONDITION)), Rename(old="CAP", new="CAP_B", when=CONDITION))


def test_a_condition_on_a_renamed_setting_asks_for_its_old_name() -> None:
    notes = compose_notes(first(SORT), second(*CAPS), [(OLD, BETWEEN, NEW)])
    assert sheet_of(notes, CAP=80) == {"CAP_A": "80"}
    assert sheet_of(notes, CAP=80, KIND=2) == {"CAP_B": "80", "SORT": "2"}


def test_a_condition_on_a_setting_whose_default_changed_is_not_composed() -> None:
    between = catalogue(*(setting(n, UINT8, 9 if n == "SORT" else 3) for n in ("LOW", "HIGH", "SORT", "CAP")))
    notes = compose_notes(first(SORT), second(*CAPS), [(OLD, between, NEW)])
    (entry,) = (each for each in notes.entries if isinstance(each, Uncomposed))
    assert entry.old == ("CAP",)
    assert set(entry.new) == {"CAP_A", "CAP_B", "CAP"}
    assert "may have another default" in entry.because
    decision = about(carry_over(_inputs(notes, OLD.defaults | {"CAP": Value.of(UINT8, 80)})), "CAP")
    assert (decision.kind, decision.rule) == (DecisionKind.HELD, Rule.NOTES_NOT_COMPOSED)


def test_conditions_of_both_notes_must_hold() -> None:
    one = Rename(old="A", new="B", when=Comparison("X", Sign.IS, ("1",)))
    notes = compose_notes(first(one), second(Rename(old="B", new="C"), Rename(old="A", new="D")))
    assert set(notes.entries) == {
        Rename(old="A", new="C", when=Comparison("X", Sign.IS, ("1",))),
        Rename(old="A", new="D", when=Not(Comparison("X", Sign.IS, ("1",)))),
    }


REFIT = """
[[refit]]
old = ["MID", "TOP"]
new = ["FULL", "SAG"]
kind = "stick-curve"
old_law = "MID * stick + (TOP - MID) * stick ^ 3"
new_law = "FULL * stick * (1 - SAG + SAG * stick ^ 2)"
"""


def the_refit() -> Refit:
    (entry,) = parse_notes(NOTES_HEAD + REFIT, source="notes.toml").entries
    assert isinstance(entry, Refit)
    return entry


def test_a_refit_speaks_of_the_units_and_names_before_it() -> None:
    before = (
        Convert(old="TOP_TENS", new="TOP", law=TEN),
        Convert(old="MID", new="MID", law=Reciprocal(Fraction(1, 3))),
    )
    (entry,) = compose_notes(first(*before), second(the_refit())).entries
    assert isinstance(entry, Refit)
    assert entry.old == ("MID", "TOP_TENS")
    law = "((1 / 3) / MID) * stick + ((10 * TOP_TENS) - ((1 / 3) / MID)) * stick ^ 3"
    assert entry.old_law == law


def test_a_refit_speaks_of_the_units_and_names_after_it() -> None:
    after = (Rename(old="SAG", new="DIP"), Convert(old="FULL", new="FULL", law=Linear(Fraction(10), Fraction(-5))))
    (entry,) = compose_notes(first(the_refit()), second(*after)).entries
    assert isinstance(entry, Refit)
    assert entry.new == ("FULL", "DIP")
    assert entry.new_law == "((1 / 10) * FULL + (1 / 2)) * stick * (1 - DIP + DIP * stick ^ 2)"


def test_two_refits_of_one_curve_go_from_the_first_law_to_the_last() -> None:
    there, back = the_refit(), the_refit().reversed()
    assert isinstance(back, Refit)
    (entry,) = compose_notes(first(there), second(back)).entries
    assert isinstance(entry, Refit)
    assert (entry.old, entry.new, entry.old_law) == (there.old, there.old, entry.new_law)


@pytest.mark.parametrize(
    "before",
    [
        Relabel(old="A", new="MID", labels=Labels({0: 1})),
        Split(old="A", into=(SplitPart("MID", TEN), SplitPart("B", TEN))),
    ],
)
def test_a_refit_of_what_cannot_be_put_into_a_formula_is_held(before: Note) -> None:
    (entry,) = compose_notes(first(before), second(the_refit())).entries
    assert isinstance(entry, Uncomposed)
    assert {"A", "TOP"} <= set(entry.old)


ADVICE = '[[default-changed]]\nname = "{name}"\nadvice = "x"\n'


def advised(text: str, old: str, new: str) -> ChangeNotes:
    head = NOTES_HEAD.replace("5.2", "x").replace("6.0", new).replace("x", old)
    return parse_notes(head + text, source="notes.toml")


def test_advice_goes_along_with_its_setting_and_goes_with_it() -> None:
    one = advised(ADVICE.format(name="A") + ADVICE.format(name="B"), "5.2", "6.0")
    other = advised(
        '[[retire]]\nold = "A"\nloses = "x"\n[[rename]]\nold = "B"\nnew = "C"\n' + ADVICE.format(name="D"), "6.0", "6.1"
    )
    assert [each.name for each in compose_notes(one, other).advice] == ["C", "D"]


def test_a_value_that_the_setting_between_rounds_ends_as_it_would_by_two_steps() -> None:
    """16,777,217 is no 32-bit float."""
    old, between, new = (catalogue(setting("A", type_, 1)) for type_ in (UINT32, FLOAT, UINT32))
    entries = first(Convert(old="A", new="A", law=Linear())), second(Convert(old="A", new="A", law=Linear()))
    notes = compose_notes(*entries, [(old, between, new)])
    inputs = CarryOverInputs(
        snapshot({"A": Value.of(UINT32, 16_777_217)}), old.defaults, new.defaults, old, new, notes, to_release="6.1.0"
    )
    assert written(about(carry_over(inputs), "A")) == {"A": "16777216"}


def rounded_by_float(first_notes: ChangeNotes, second_notes: ChangeNotes, *between: str, new: str) -> str:
    """Return the reason for what becomes of 16,777,217, which no 32-bit float holds, by way of floats."""
    old, after = catalogue(setting("A", UINT32, 1)), catalogue(setting(new, UINT32, 1))
    middle = catalogue(*(setting(name, FLOAT, 1) for name in between))
    notes = compose_notes(first_notes, second_notes, [(old, middle, after)])
    found = snapshot({"A": Value.of(UINT32, 16_777_217)})
    sheet = carry_over(CarryOverInputs(found, old.defaults, after.defaults, old, after, notes, to_release="6.1.0"))
    assert written(about(sheet, "A")) == {new: "16777216"}
    return about(sheet, "A").reason


def test_another_type_under_the_same_name_counts_too() -> None:
    assert "nearest 32-bit float" in rounded_by_float(first(), second(Rename(old="A", new="C")), "A", new="C")


def test_what_is_rounded_inside_woven_notes_is_said() -> None:
    copies = Split(old="A", into=(SplitPart("B", Linear()), SplitPart("C", Linear())))
    join = Join(old=("B", "C"), new="D", how=JoinHow.EQUAL)
    assert "nearest 32-bit float" in rounded_by_float(first(copies), second(join), "B", "C", new="D")


@pytest.mark.parametrize(
    ("firsts", "seconds", "old", "because"),
    [
        (
            (Rename(old="A", new="X"), Rename(old="B", new="X")),
            (Rename(old="X", new="Y"),),
            ("A", "B"),
            "two entries give X its value",
        ),
        (
            (Rename(old="N", new="M"),),
            (Join(old=("A", "N"), new="Y", how=JoinHow.SUM),),
            ("A",),
            "N is new in the release between",
        ),
        (
            (Split(old="A", into=(SplitPart("B", TEN), SplitPart("C", TEN))),),
            (Rename(old="B", new="D", when=Comparison("Q", Sign.IS, ("1",))),),
            ("A",),
            "one of several parts",
        ),
        (
            (Join(old=("A", "B"), new="C", how=JoinHow.SUM, when=Comparison("Q", Sign.IS, ("1",))),),
            (Rename(old="C", new="D"),),
            ("A", "B"),
            "a condition and a join",
        ),
        (
            (Rename(old="A", new="MID", when=Comparison("Q", Sign.IS, ("1",))),),
            (the_refit(),),
            ("A", "TOP"),
            "a condition and a refit",
        ),
        (
            (the_refit(),),
            (Split(old="SAG", into=(SplitPart("P", TEN), SplitPart("R", TEN))),),
            ("MID", "TOP"),
            "otherwise than by a new name or unit",
        ),
    ],
)
def test_what_cannot_be_said_as_one_is_named_with_all_that_it_speaks_of(
    firsts: tuple[Note, ...], seconds: tuple[Note, ...], old: tuple[str, ...], because: str
) -> None:
    notes = compose_notes(first(*firsts), second(*seconds))
    (entry,) = (each for each in notes.entries if isinstance(each, Uncomposed))
    assert (entry.old, because in entry.because) == (old, True), entry
