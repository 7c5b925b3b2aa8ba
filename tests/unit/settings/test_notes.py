from __future__ import annotations

from fractions import Fraction

import pytest
from tests.unit.settings.builders import NOTES_HEAD, notes, notes_of

from rotorwright.settings.laws import SAME, BitField, Labels, Linear, Reciprocal
from rotorwright.settings.notes import (
    ChangeNotes,
    Convert,
    Join,
    JoinHow,
    Note,
    NotesError,
    NotesFormatError,
    NotesVersionError,
    Relabel,
    Rename,
    Retire,
    Split,
    SplitPart,
    parse_notes,
)

ALL_KINDS = """
[[rename]]
old = "A"
new = "B"
why = "clearer"

[[convert]]
old = "C"
new = "C"
law = { kind = "linear", factor = "1/60", offset = "-0.5" }

[[convert]]
old = "D"
new = "E"
law = { kind = "reciprocal", numerator = "1000000" }

[[relabel]]
old = "F"
new = "F"
map = { "0" = 2, "-1" = 0 }

[[split]]
old = "G"
[[split.into]]
new = "H"
bits = [3, 4]
[[split.into]]
new = "I"
bits = [0, 1, 2]

[[split]]
old = "J"
[[split.into]]
new = "K"
[[split.into]]
new = "L"
law = { kind = "linear", factor = "10" }

[[join]]
old = ["M", "N"]
new = "O"
how = "bits"
bits = [0, 3]
widths = [3, 2]

[[join]]
old = ["P", "Q"]
new = "R"
how = "equal"

[[join]]
old = ["S", "T"]
new = "U"
how = "sum"

[[retire]]
old = "V"
loses = "the old beeps"
"""


def test_every_kind_of_entry_is_read_with_exact_numbers() -> None:
    assert notes(ALL_KINDS) == ChangeNotes(
        "Thornbill",
        "5.2",
        "6.0",
        (
            Rename(old="A", new="B", why="clearer"),
            Convert(old="C", new="C", law=Linear(Fraction(1, 60), Fraction(-1, 2))),
            Convert(old="D", new="E", law=Reciprocal(Fraction(1_000_000))),
            Relabel(old="F", new="F", labels=Labels({-1: 0, 0: 2})),
            Split(old="G", into=(SplitPart("H", BitField((3, 4))), SplitPart("I", BitField((0, 1, 2))))),
            Split(old="J", into=(SplitPart("K", SAME), SplitPart("L", Linear(Fraction(10))))),
            Join(old=("M", "N"), new="O", how=JoinHow.BITS, bits=(0, 3), widths=(3, 2)),
            Join(old=("P", "Q"), new="R", how=JoinHow.EQUAL),
            Join(old=("S", "T"), new="U", how=JoinHow.SUM),
            Retire(old="V", loses="the old beeps"),
        ),
    )


def test_notes_without_entries_are_notes() -> None:
    assert notes("").entries == ()


RENAME = '[[rename]]\nold = "A"\nnew = "B"\n'
LAW = '[[convert]]\nold = "A"\nnew = "B"\nlaw = { kind = "linear", factor = "10" }\n'
MAP = '[[relabel]]\nold = "A"\nnew = "B"\nmap = { "0" = 1 }\n'
SPLIT = '[[split]]\nold = "A"\n[[split.into]]\nnew = "B"\nbits = [0]\n[[split.into]]\nnew = "C"\nbits = [1]\n'
JOIN = '[[join]]\nold = ["A", "B"]\nnew = "C"\nhow = "bits"\nbits = [0, 3]\nwidths = [3, 1]\n'

TYPOS = {
    "a mistyped key": (RENAME.replace("new", "nwe"), "rename entry 1", "'new'"),
    "a mistyped kind of entry": (RENAME.replace("rename", "renmae"), "renmae", "'rename'"),
    "a key that is not there": ('[[rename]]\nold = "A"\n', "key 'new'", "missing"),
    "a name that is a number": (RENAME.replace('"B"', "5"), "rename entry 1, key 'new'", "a text is expected"),
    "an empty name": (RENAME.replace('"B"', '" "'), "key 'new'", "empty"),
    "a rename to the same name": (RENAME.replace('"B"', '"A"'), "key 'new'", "nothing is renamed"),
    "an entry that is no list": (RENAME.replace("[[rename]]", "[rename]"), "key 'rename'", "a list is expected"),
    "a factor without quotes": (LAW.replace('"10"', "10"), "key 'factor'", "in quotes"),
    "a factor divided by zero": (LAW.replace('"10"', '"1/0"'), "key 'factor'", "'1/0'"),
    "a factor in words": (LAW.replace('"10"', '"ten"'), "key 'factor'", "'ten'"),
    "a factor of zero": (LAW.replace('"10"', '"0"'), "key 'factor'", "the same"),
    "a mistyped key of a law": (LAW.replace("factor", "factr"), "'factr'", "'factor'"),
    "an unknown law": (LAW.replace('"linear"', '"lineal"'), "'lineal'", "'linear'"),
    "a law in words": (LAW.replace('{ kind = "linear", factor = "10" }', '"x10"'), "key 'law'", "a table is expected"),
    "an old choice in words": (MAP.replace('"0"', '"off"'), "key 'off'", "old number"),
    "a new choice in words": (MAP.replace("= 1", '= "on"'), "key '0'", "whole number"),
    "a new choice too large": (MAP.replace("= 1", "= 99999999999"), "key '0'", "in no setting"),
    "an empty map": (MAP.replace('"0" = 1', ""), "key 'map'", "no number"),
    "an old choice twice": (MAP.replace('"0" = 1', '"0" = 1, "00" = 2'), "key '00'", "twice"),
    "a split into one": (SPLIT[: SPLIT.rindex("[[")], "split entry 1, key 'into'", "two parts"),
    "a split into two of one name": (SPLIT.replace('"C"', '"B"'), "key 'into'", "same name"),
    "a bit that does not exist": (SPLIT.replace("[1]", "[32]"), "into entry 2, key 'bits'", "bit 32"),
    "a bit below zero": (SPLIT.replace("[1]", "[-1]"), "key 'bits'", "bit -1"),
    "no bit at all": (SPLIT.replace("[1]", "[]"), "key 'bits'", "at least one"),
    "bits and a law": (SPLIT + 'law = { kind = "linear", factor = "1" }\n', "key 'bits'", "not both"),
    "a part by an unknown law": (
        SPLIT.replace("bits = [1]", 'law = { kind = "reciprocl", numerator = "1" }'),
        "key 'kind'",
        "'reciprocal' was meant",
    ),
    "a join of one": (JOIN.replace('["A", "B"]', '["A"]'), "join entry 1, key 'old'", "two or more"),
    "a join of a text": (JOIN.replace('["A", "B"]', '"A"'), "key 'old'", "a list is expected"),
    "a join of numbers": (JOIN.replace('["A", "B"]', "[1, 2]"), "key 'old'", "a list of texts"),
    "an unknown way to join": (JOIN.replace('"bits"', '"bit"'), "key 'how'", "'bits'"),
    "too few bits": (JOIN.replace("[0, 3]", "[0]"), "key 'bits'", "each of the 2"),
    "widths that overlap": (JOIN.replace("[3, 1]", "[4, 1]"), "key 'widths'", "share a bit"),
    "widths beyond the word": (JOIN.replace("[3, 1]", "[3, 30]"), "key 'widths'", "bit 32"),
    "bits for a sum": (JOIN.replace('"bits"\n', '"sum"\n'), "key 'bits'", "no bits"),
    "a loss that is not said": ('[[retire]]\nold = "A"\n', "key 'loses'", "missing"),
    "a reason that is a list": (RENAME + "why = []\n", "key 'why'", "a text is expected"),
}


@pytest.mark.parametrize(("text", "place", "words"), TYPOS.values(), ids=TYPOS)
def test_a_typo_is_refused_and_its_entry_and_key_are_named(text: str, place: str, words: str) -> None:
    with pytest.raises(NotesError) as caught:
        notes(text)
    assert "notes.toml" in caught.value.what
    assert place in caught.value.what
    assert words in caught.value.what
    assert all((caught.value.why, caught.value.state, caught.value.todo))


@pytest.mark.parametrize(
    ("text", "error"),
    [
        ("format = ", NotesFormatError),
        ("", NotesFormatError),
        ('format = "other"\nversion = 1', NotesFormatError),
        (NOTES_HEAD.replace("version = 1", "version = 2"), NotesVersionError),
        (NOTES_HEAD.replace("version = 1", "version = 0"), NotesError),
        (NOTES_HEAD.replace("version = 1", 'version = "1"'), NotesError),
        (NOTES_HEAD.replace("version = 1", ""), NotesError),
        (NOTES_HEAD.replace("version = 1", "version = true"), NotesError),
        (NOTES_HEAD.replace('to = "6.0"', ""), NotesError),
        (NOTES_HEAD.replace('family = "Thornbill"', 'famly = "Thornbill"'), NotesError),
        (NOTES_HEAD.replace('to = "6.0"', "to = 6.0"), NotesError),
    ],
)
def test_a_file_that_is_not_for_this_tool_says_so(text: str, error: type[NotesError]) -> None:
    with pytest.raises(error) as caught:
        parse_notes(text, source="notes.toml")
    assert type(caught.value) is error
    assert caught.value.todo


REVERSIBLE: dict[str, tuple[Note, Note]] = {
    "rename": (Rename(old="A", new="B"), Rename(old="B", new="A")),
    "linear": (
        Convert(old="A", new="B", law=Linear(Fraction(10), Fraction(5))),
        Convert(old="B", new="A", law=Linear(Fraction(1, 10), Fraction(-1, 2))),
    ),
    "reciprocal": (
        Convert(old="A", new="B", law=Reciprocal(Fraction(6))),
        Convert(old="B", new="A", law=Reciprocal(Fraction(6))),
    ),
    "relabel": (
        Relabel(old="A", new="B", labels=Labels({0: 2, 1: 0})),
        Relabel(old="B", new="A", labels=Labels({2: 0, 0: 1})),
    ),
    "bits": (
        Split(old="A", into=(SplitPart("B", BitField((3, 4))), SplitPart("C", BitField((0, 1, 2))))),
        Join(old=("B", "C"), new="A", how=JoinHow.BITS, bits=(3, 0), widths=(2, 3)),
    ),
    "equal": (
        Split(old="A", into=(SplitPart("B", SAME), SplitPart("C", SAME))),
        Join(old=("B", "C"), new="A", how=JoinHow.EQUAL),
    ),
}


@pytest.mark.parametrize(("note", "back"), REVERSIBLE.values(), ids=REVERSIBLE)
def test_lossless_notes_have_a_way_back_and_the_way_back_of_that_is_the_way_there(note: Note, back: Note) -> None:
    there = notes_of(note)
    assert there.reversed().notes == ChangeNotes("Thornbill", "6.0", "5.2", (back,))
    assert there.reversed().notes.reversed().notes == there
    assert there.reversed().cannot == ()


IRREVERSIBLE: dict[str, tuple[Note, str]] = {
    "two choices became one": (Relabel(old="A", new="B", labels=Labels({0: 2, 1: 2})), "became one"),
    "a sum": (Join(old=("A", "B"), new="C", how=JoinHow.SUM), "sum"),
    "bits of unknown width": (Join(old=("A", "B"), new="C", how=JoinHow.BITS, bits=(0, 3)), "widths"),
    "scaled parts": (Split(old="A", into=(SplitPart("B", SAME), SplitPart("C", Linear(Fraction(2))))), "scale"),
    "scattered bits": (
        Split(old="A", into=(SplitPart("B", BitField((0, 2))), SplitPart("C", BitField((1,))))),
        "one piece",
    ),
    "shared bits": (
        Split(old="A", into=(SplitPart("B", BitField((0, 1))), SplitPart("C", BitField((1,))))),
        "one piece",
    ),
    "retired": (Retire(old="A", loses="x"), "gone"),
}


@pytest.mark.parametrize(("note", "words"), IRREVERSIBLE.values(), ids=IRREVERSIBLE)
def test_notes_that_lose_something_have_no_way_back_and_say_why(note: Note, words: str) -> None:
    back = notes_of(Rename(old="X", new="Y"), note).reversed()
    assert back.notes.entries == (Rename(old="Y", new="X"),)
    (problem,) = back.cannot
    assert problem.name == "A"
    assert words in problem.words


def test_widths_that_are_not_given_reach_up_to_the_next_setting() -> None:
    assert Join(old=("A", "B", "C"), new="D", how=JoinHow.BITS, bits=(4, 0, 6)).widths_known() == (2, 4, None)
