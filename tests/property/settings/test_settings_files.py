"""Files of the settings room: exact round trips, and nothing but our own errors whatever the bytes."""

from __future__ import annotations

import json
from fractions import Fraction
from typing import TYPE_CHECKING

import pytest
import rfc8785
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from tests.property.settings.worlds import TYPES, World, any_setting, finite_values, values, worlds
from tests.unit.settings.builders import NOTES_HEAD, snapshot

from rotorwright.errors import RotorwrightError
from rotorwright.settings.carry_over import carry_over
from rotorwright.settings.catalogue import Catalogue, Setting, parse_catalogue, print_catalogue
from rotorwright.settings.classes import parse_classes
from rotorwright.settings.identity import Identity
from rotorwright.settings.laws import Linear, Reciprocal, convert, parse_rational
from rotorwright.settings.notes import parse_notes
from rotorwright.settings.sheet import parse_sheet, print_sheet
from rotorwright.settings.snapshot import Snapshot, compare_snapshots, parse_snapshot, print_snapshot
from rotorwright.settings.structured import Json, canonical_json
from rotorwright.settings.values import SettingType, Value, ValueNotInTypeError, nearest_float32

if TYPE_CHECKING:
    from collections.abc import Callable

slow_is_fine = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])

FLOAT = SettingType.FLOAT
TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
NAMES = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=12)
ANY_VALUE = TYPES.flatmap(values)
KEYS = st.sampled_from(["found", "kind", "name", "settings", "sha256", "type", "value", "words", "zeta", "Alpha"])
JSONS: st.SearchStrategy[Json] = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53) + 1, 2**53 - 1)
    | st.text(st.characters(exclude_categories=["Cs"])),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(KEYS, inner, max_size=4),
    max_leaves=20,
)


@st.composite
def snapshots(draw: st.DrawFn) -> Snapshot:
    """Any snapshot, with odd names and texts."""
    identity = Identity(f"{draw(st.integers(0, 2**96 - 1)):024x}", draw(TEXTS), draw(TEXTS), draw(TEXTS), draw(TEXTS))
    taken_at = draw(st.sampled_from(["2026-05-01T12:00:00Z", "2026-05-01T12:00:00.123456+00:00"]))
    return Snapshot(identity, draw(st.dictionaries(NAMES, ANY_VALUE, max_size=8)), taken_at)


@slow_is_fine
@given(snapshots())
def test_a_snapshot_goes_through_its_file_and_back_bit_for_bit(taken: Snapshot) -> None:
    data = print_snapshot(taken)
    found = parse_snapshot(data, source="x.json")
    assert found == taken
    assert compare_snapshots(taken, found) == ()
    assert print_snapshot(found) == data
    assert found.sha256 == taken.sha256


@slow_is_fine
@given(st.dictionaries(NAMES, ANY_VALUE, max_size=6), st.dictionaries(NAMES, ANY_VALUE, max_size=6))
def test_comparing_names_exactly_what_differs_and_turns_round(one: dict[str, Value], two: dict[str, Value]) -> None:
    there = compare_snapshots(snapshot(one), snapshot(two))
    back = compare_snapshots(snapshot(two), snapshot(one))
    assert [(each.name, each.after, each.before) for each in there] == [
        (each.name, each.before, each.after) for each in back
    ]
    assert {each.name for each in there} == {name for name in one | two if one.get(name) != two.get(name)}


@slow_is_fine
@given(st.lists(st.sampled_from("ABCDEFGH"), unique=True).flatmap(lambda names: st.tuples(*map(any_setting, names))))
def test_a_catalogue_goes_through_its_document_and_back(found: tuple[Setting, ...]) -> None:
    made = Catalogue({each.name: each for each in found})
    data = print_catalogue(made)
    assert parse_catalogue(data) == made
    assert print_catalogue(parse_catalogue(data)) == data


@given(JSONS)
def test_our_canonical_json_is_that_of_the_rfc_8785_package(data: Json) -> None:
    assert canonical_json(data) == rfc8785.dumps(data)


@given(ANY_VALUE)
def test_the_text_of_a_value_reads_back_to_the_same_bits(value: Value) -> None:
    assert Value.parse(value.type, value.text) == value
    assert Value.from_bytes(value.type, value.to_bytes()) == value


@given(finite_values(FLOAT))
def test_the_text_of_a_float_is_the_shortest_that_reads_back(value: Value) -> None:
    digits = sum(letter.isdigit() for letter in f"{value.text}".split("e", maxsplit=1)[0].strip("0.-"))
    shorter = f"{value.number:.{max(digits - 2, 0)}e}" if digits > 1 else None
    if shorter is not None:
        try:
            assert Value.parse(FLOAT, shorter) != value
        except ValueNotInTypeError:
            return


@given(st.fractions(), st.integers(-140, 100))
def test_no_float_is_nearer_than_the_nearest(number: Fraction, exponent: int) -> None:
    exact = number * Fraction(2) ** exponent
    try:
        found = nearest_float32(exact)
    except ValueNotInTypeError:
        assert abs(exact) > Fraction(Value(FLOAT, 0x7F7FFFFF).number)
        return
    distance = abs(Fraction(found.number) - exact)
    for step in (-1, 1):
        magnitude = (found.bits & 0x7FFFFFFF) + step
        if 0 <= magnitude < 0x7F800000:
            other = Value(FLOAT, found.bits & 0x80000000 | magnitude)
            there = abs(Fraction(other.number) - exact)
            assert distance < there or (distance == there and found.bits % 2 == 0)


LAWS = st.builds(
    Linear, st.fractions(-1000, 1000, max_denominator=1000).filter(bool), st.fractions(max_denominator=1000)
) | st.builds(Reciprocal, st.fractions(-1000, 1000, max_denominator=1000).filter(bool))


@given(ANY_VALUE, LAWS, TYPES)
def test_a_conversion_without_words_is_exact_and_any_other_says_what_is_not(
    value: Value, law: Linear | Reciprocal, target: SettingType
) -> None:
    found = convert(value, law, target)
    assert (found.value is None) == bool(found.problem)
    if found.value is None:
        assert found.words
        return
    assert found.value.type is target
    assert found.below is found.above is None
    if not found.words and value.decimal is not None:
        assert Fraction(found.value.number) == law.exact(value.decimal)


def _is_refused_in_our_words(parse: Callable[[], object]) -> None:
    """Anything that `parse` raises but an error of ours goes through here and fails the test."""
    refused: RotorwrightError | None = None
    try:
        parse()
    except RotorwrightError as error:
        refused = error
    assert refused is None or all((refused.id, refused.what, refused.why, refused.state, refused.todo))


PARSERS: tuple[Callable[[bytes], object], ...] = (
    lambda data: parse_snapshot(data, source="x"),
    lambda data: parse_sheet(data, source="x"),
    parse_catalogue,
)


@slow_is_fine
@given(st.binary(max_size=200), st.sampled_from(PARSERS))
@example(b"\xef\xbb\xbf{}", PARSERS[0])
def test_random_bytes_give_our_error_or_a_result(data: bytes, parse: Callable[[bytes], object]) -> None:
    _is_refused_in_our_words(lambda: parse(data))


@st.composite
def nearly_right(draw: st.DrawFn) -> tuple[bytes, Callable[[bytes], object]]:
    """A document of ours with one place exchanged for any other JSON."""
    world = draw(worlds())
    parse = draw(st.sampled_from(PARSERS))
    made = {
        PARSERS[0]: lambda: print_snapshot(snapshot(world.found)),
        PARSERS[1]: lambda: print_sheet(carry_over(world.inputs())),
        PARSERS[2]: lambda: print_catalogue(Catalogue(world.old)),
    }[parse]()
    document = json.loads(made)
    _exchange(draw, document)
    return json.dumps(document).encode(), parse


def _exchange(draw: st.DrawFn, place: dict[str, object] | list[object]) -> None:
    keys: list[object] = list(place) if isinstance(place, dict) else list(range(len(place)))
    if not keys:
        return
    key = draw(st.sampled_from(keys))
    inner = place[key]  # type: ignore[call-overload, index]
    if isinstance(inner, dict | list) and draw(st.integers(0, 3)) > 0:
        _exchange(draw, inner)
        return
    place[key] = draw(JSONS | st.floats(allow_nan=False, allow_infinity=False) | st.just("\ud800"))  # type: ignore[call-overload, index]


@slow_is_fine
@given(nearly_right())
def test_a_document_with_one_place_exchanged_gives_our_error_or_a_result(
    made: tuple[bytes, Callable[[bytes], object]],
) -> None:
    data, parse = made
    _is_refused_in_our_words(lambda: parse(data))


NOTES_TEXT = (
    NOTES_HEAD
    + """
[[convert]]
old = "A"
new = "B"
law = { kind = "linear", factor = "1/60" }
[[relabel]]
old = "C"
new = "C"
map = { "0" = 2 }
[[split]]
old = "D"
[[split.into]]
new = "E"
bits = [0, 1]
[[split.into]]
new = "F"
[[join]]
old = ["G", "H"]
new = "I"
how = "bits"
bits = [0, 3]
widths = [3, 1]
"""
)


@slow_is_fine
@given(st.integers(0, len(NOTES_TEXT)), st.integers(0, 6), st.text('"[]{}=#\\n0159abe.,-/ ', max_size=4))
def test_notes_with_any_stretch_of_text_exchanged_give_our_error_or_a_result(start: int, length: int, put: str) -> None:
    text = NOTES_TEXT[:start] + put + NOTES_TEXT[start + length :]
    _is_refused_in_our_words(lambda: parse_notes(text, source="notes.toml"))


@slow_is_fine
@given(st.text(max_size=80))
def test_random_text_as_notes_or_classes_gives_our_error_or_a_result(text: str) -> None:
    _is_refused_in_our_words(lambda: parse_notes(text, source="notes.toml"))
    _is_refused_in_our_words(lambda: parse_notes(NOTES_HEAD + text, source="notes.toml"))
    _is_refused_in_our_words(lambda: parse_classes(text, "classes.toml"))


@given(st.text("0123456789/.-+e _", max_size=12))
def test_an_exact_number_is_read_exactly_or_not_at_all(text: str) -> None:
    found = parse_rational(text)
    assert found is None or found == Fraction(text)


@slow_is_fine
@given(worlds())
def test_a_snapshot_of_another_world_is_no_sheet_and_the_other_way_round(world: World) -> None:
    for data, parse in (
        (print_snapshot(snapshot(world.found)), PARSERS[1]),
        (print_sheet(carry_over(world.inputs())), PARSERS[0]),
    ):
        with pytest.raises(RotorwrightError) as caught:
            parse(data)
        assert caught.value.id.endswith(".wrong-format")
