from __future__ import annotations

from dataclasses import replace

import pytest
from tests.unit.settings.builders import UINT8, UINT16, Pair, about, catalogue, notes, setting, snapshot, ways, written

from rotorwright.settings.carry_over import CarryOverInputs, DecisionKind, Rule, carry_over
from rotorwright.settings.notes import NotesError, Prefers, Rename
from rotorwright.settings.values import Value

OLD = catalogue(setting("KIND", UINT8, 1), setting("CAP", UINT8, 100), setting("GAIN", UINT8, 5))
NEW = catalogue(
    setting("KIND", UINT8, 1), setting("CAP_A", UINT8, 100), setting("CAP_B", UINT16, 1000), setting("GAIN", UINT8, 6)
)
TWO = """
[[rename]]
old = "CAP"
new = "CAP_A"
when = { setting = "KIND", at_most = 1 }
why = "Kinds have a cap each."
[[convert]]
old = "CAP"
new = "CAP_B"
law = { kind = "linear", factor = "10" }
when = { setting = "KIND", at_least = 2 }
"""
PAIR = Pair(OLD, NEW, notes(TWO))


def test_the_entry_whose_condition_holds_speaks() -> None:
    low, high = PAIR.sheet(KIND=1, CAP=80), PAIR.sheet(KIND=2, CAP=80)
    assert written(about(low, "CAP")) == {"CAP_A": "80"}
    assert written(about(high, "CAP")) == {"CAP_B": "800"}
    assert about(low, "CAP").reason.endswith("Kinds have a cap each. The note holds because KIND is at most 1.")


def test_where_no_condition_holds_there_is_no_note() -> None:
    pair = replace(PAIR, notes=notes(TWO.replace("at_least = 2", "at_least = 3")))
    assert about(pair.sheet(KIND=2, CAP=80), "CAP").rule == Rule.UNKNOWN_NAME


def test_where_the_condition_cannot_be_told_the_line_is_held_and_names_it() -> None:
    inputs = PAIR.inputs(CAP=80)
    found = {name: value for name, value in inputs.ours.settings.items() if name != "KIND"}
    decision = about(carry_over(replace(inputs, ours=snapshot(found))), "CAP")
    assert decision.kind is DecisionKind.HELD
    assert "KIND was not found on the aircraft" in decision.reason
    assert {"CAP_A": "80"} in ways(decision).values()
    assert {"CAP_B": "800"} in ways(decision).values()


def test_a_single_doubtful_note_is_held_by_its_own_rule() -> None:
    inputs = replace(PAIR, notes=notes(TWO[: TWO.index("[[convert]]")])).inputs(CAP=80)
    found = {name: value for name, value in inputs.ours.settings.items() if name != "KIND"}
    decision = about(carry_over(replace(inputs, ours=snapshot(found))), "CAP")
    assert (decision.kind, decision.rule) == (DecisionKind.HELD, Rule.CONDITION_UNKNOWN)
    assert "it holds if KIND is at most 1" in decision.reason
    untouched = carry_over(replace(inputs, ours=snapshot({**found, "CAP": Value.of(UINT8, 100)})))
    assert about(untouched, "CAP").kind is DecisionKind.ADOPT


def test_a_doubtful_retirement_does_not_drop_a_value_of_ones_own() -> None:
    text = '[[retire]]\nold = "CAP"\nloses = "x"\nwhen = { setting = "GONE", is = 1 }\n'
    decision = about(replace(PAIR, notes=notes(text)).sheet(CAP=80), "CAP")
    assert (decision.kind, decision.rule) == (DecisionKind.HELD, Rule.CONDITION_UNKNOWN)
    assert "GONE was not found" in decision.reason


def test_advice_is_shown_and_decides_nothing() -> None:
    text = '[[default-changed]]\nname = "GAIN"\nadvice = "The loop is faster now."\nprefers = "keep"\n'
    decision = about(replace(PAIR, notes=notes(text)).sheet(GAIN=9), "GAIN")
    assert (decision.kind, decision.rule) == (DecisionKind.HELD, Rule.DEFAULT_CHANGED)
    advice = "The change notes advise: The loop is faster now. Whoever wrote them would keep yours."
    assert advice in decision.reason
    assert "Whoever" not in about(PAIR.sheet(GAIN=9), "GAIN").reason


def test_advice_for_other_aircraft_is_not_shown() -> None:
    text = '[[default-changed]]\nname = "GAIN"\nadvice = "Take it."\nwhen = { setting = "KIND", is = 9 }\n'
    assert "advise" not in about(replace(PAIR, notes=notes(text)).sheet(GAIN=9), "GAIN").reason


def test_advice_prefers_keeping_or_the_new_one() -> None:
    text = '[[default-changed]]\nname = "GAIN"\nadvice = "x"\nprefers = "new"\n'
    assert notes(text).advice_on("GAIN")[0].prefers is Prefers.NEW
    with pytest.raises(NotesError, match="no preference"):
        notes(text.replace('"new"', '"both"'))


MOVE = '[[move]]\nold = "BEND{n}_RATE"\nnew = "PROFILE{n}_RATE"\nmap = { "1" = 0, "2" = 1 }\nwhy = "From zero."\n'


def test_a_move_speaks_for_each_numbered_copy() -> None:
    assert notes(MOVE).entries == (
        Rename(old="BEND1_RATE", new="PROFILE0_RATE", why="From zero."),
        Rename(old="BEND2_RATE", new="PROFILE1_RATE", why="From zero."),
    )
    assert {note.place for note in notes(MOVE).entries} == {"move entry 1"}


def test_copies_may_change_places() -> None:
    text = MOVE.replace("PROFILE", "BEND").replace('"1" = 0, "2" = 1', '"1" = 2, "2" = 1, "3" = 3')
    assert [(note.old, note.new) for note in notes(text).entries if isinstance(note, Rename)] == [
        ("BEND1_RATE", "BEND2_RATE"),
        ("BEND2_RATE", "BEND1_RATE"),
    ]
    old = catalogue(setting("BEND1_RATE", UINT8, 1), setting("BEND2_RATE", UINT8, 2))
    new = catalogue(setting("BEND1_RATE", UINT8, 2), setting("BEND2_RATE", UINT8, 1))
    sheet = Pair(old, new, notes(text)).sheet(BEND1_RATE=7, BEND2_RATE=8)
    assert {write.name: write.value.text for write in sheet.writes} == {"BEND1_RATE": "8", "BEND2_RATE": "7"}


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("BEND{n}_RATE", "BEND_RATE", "has no {n} in it"),
        ('"2" = 1', '"2" = 0', "two copies would come to the same place"),
        ('{ "1" = 0, "2" = 1 }', "{}", "maps no number"),
    ],
)
def test_a_move_that_cannot_be_used_is_refused(old: str, new: str, words: str) -> None:
    with pytest.raises(NotesError) as caught:
        notes(MOVE.replace(old, new))
    assert words in caught.value.what


TABLE = '[[convert]]\nold = "MODE"\nnew = "MODE"\nlaw = { kind = "table", pairs = { "slow" = 1, "fast" = "2" } }\n'


def test_a_table_leads_from_texts_to_numbers() -> None:
    inputs = CarryOverInputs(
        ours=snapshot({"MODE": Value.of_text("fast")}),
        old_defaults={"MODE": Value.of_text("slow")},
        new_defaults={"MODE": Value.of(UINT8, 1)},
        notes=notes(TABLE),
        to_release="6.0.0",
    )
    assert written(about(carry_over(inputs), "MODE")) == {"MODE": "2"}
    strange = replace(inputs, ours=snapshot({"MODE": Value.of_text("FAST")}))
    decision = about(carry_over(strange), "MODE")
    assert (decision.kind, decision.rule) == (DecisionKind.HELD, Rule.NO_LABEL)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('{ "slow" = 1, "fast" = "2" }', "{}", "1 to 1000 pairs"),
        ('"slow" = 1', '"slow" = 1.5', "in quotes"),
        ('"slow" = 1', '"1" = 1, "1.0" = 2', "is there twice"),
        ('"table"', '"tables"', "perhaps 'table' was meant"),
    ],
)
def test_a_table_that_cannot_be_used_is_refused(old: str, new: str, words: str) -> None:
    with pytest.raises(NotesError) as caught:
        notes(TABLE.replace(old, new))
    assert words in caught.value.what


@pytest.mark.parametrize("kind", ["power-of-two", "log-of-two"])
def test_powers_of_two_take_no_numbers(kind: str) -> None:
    text = f'[[convert]]\nold = "A"\nnew = "A"\nlaw = {{ kind = "{kind}" }}\n'
    assert len(notes(text).entries) == 1
    with pytest.raises(NotesError, match="no key 'factor'"):
        notes(text.replace(" }", ', factor = "2" }'))


def test_conditional_entries_and_advice_have_no_way_back_and_say_so() -> None:
    text = TWO + '[[default-changed]]\nname = "GAIN"\nadvice = "x"\n'
    back = notes(text).reversed()
    assert back.notes.entries == ()
    assert [each.name for each in back.cannot] == ["CAP", "CAP", "GAIN"]
    assert all("old" in each.words for each in back.cannot)
