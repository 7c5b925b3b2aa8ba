"""One matrix of awkward values and all ways they go: each comes back bit for bit, or is refused in words.

For each way, a rule says which of the two it has to be, so that a way which refuses everything does not pass.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pymavlink.dialects.v20 import common
from tests.unit.links.fake_aircraft import FakeAircraft
from tests.unit.links.scripted_console import ScriptedConsole, dialect
from tests.unit.links.simulated_wire import SimulatedWire
from tests.unit.settings.builders import IDENTITY, snapshot

from rotorwright.errors import RotorwrightError
from rotorwright.links.console.link import ConsoleLink
from rotorwright.links.mavlink.errors import SettingNotSendableError
from rotorwright.links.mavlink.link import MavlinkLink
from rotorwright.links.mavlink.spec import TYPE_NUMBERS
from rotorwright.settings.carry_over import CarryOverInputs, DecisionKind, carry_over
from rotorwright.settings.catalogue import Catalogue, CatalogueError, Setting, parse_catalogue, print_catalogue
from rotorwright.settings.dialects.changing import ValueNotPrintableError, change_settings
from rotorwright.settings.dialects.listing import parse_listing, print_listing
from rotorwright.settings.dialects.typed import ListedTwiceError, listed_values, typed_settings
from rotorwright.settings.identity import Identity
from rotorwright.settings.sheet import parse_sheet, print_sheet
from rotorwright.settings.snapshot import (
    Snapshot,
    SnapshotDuplicateNameError,
    SnapshotEntryError,
    compare_snapshots,
    parse_snapshot,
    print_snapshot,
)
from rotorwright.settings.values import SCHEMA_TYPES, SettingType, Value, ValueNotInTypeError
from rotorwright.twin.settings_memory import MemoryInRam, StoredSettings, load_settings, save_settings

FLOAT, TEXT = SettingType.FLOAT, SettingType.TEXT
NAME = "rate"

# Bit patterns: IEEE 754-2019, table 3.5 (binary32) and 6.2 (NaN).
FLOATS = {
    "zero": 0x00000000,
    "negative zero": 0x80000000,
    "smallest denormal": 0x00000001,
    "largest denormal": 0x007FFFFF,
    "smallest normal": 0x00800000,
    "largest": 0x7F7FFFFF,
    "infinity": 0x7F800000,
    "negative infinity": 0xFF800000,
    "quiet NaN": 0x7FC00000,
    "NaN with a payload": 0xFFC12345,
    "signalling NaN": 0x7F800001,
    "0.1": 0x3DCCCCCD,
    "above all whole steps": 0x4B800001,
}
WHOLES = {
    type_: (type_.lowest, -1 if type_.is_signed else 1, 0, type_.highest) for type_ in SettingType if type_.is_whole
}
BEYOND_A_DOUBLE = ((SettingType.UINT64, 2**53 + 1), (SettingType.INT64, -(2**53) - 1), (SettingType.UINT32, 2**24 + 1))
TEXTS = {
    "empty": "",
    "a word": "Sandmartin",
    "a number": "007",
    "a blank": " ",
    "blanks at the ends": "  two words ",
    "NUL": "a\0b",
    "line ends": "a\r\nb\nc\rd\u2028e\u0085f",
    "tab and bell": "\ta\a",
    "right to left": "\u202eabc\u200f\u05d0",
    "combining": "\u0301e\u0301 \u00e9",
    "outside the basic plane": "\U0001f681\U0010ffff",
    "byte order mark": "\ufeffa",
    "quotes and slashes": "\"\\/\u007f'",
    "not normalised": "\u212b \u00c5 A\u030a",
    "like a NaN": "nan(0x7fc00000)",
    "long": "x" * 5000,
}

VALUES: dict[str, Value] = {
    **{f"Float {label}": Value(FLOAT, bits) for label, bits in FLOATS.items()},
    **{f"{type_} {number}": Value.of(type_, number) for type_, numbers in WHOLES.items() for number in numbers},
    **{f"{type_} {number}": Value.of(type_, number) for type_, number in BEYOND_A_DOUBLE},
    **{f"Text {label}": Value.of_text(text) for label, text in TEXTS.items()},
}


def is_finite(value: Value) -> bool:
    return value.type.is_text or value.decimal is not None


def through_snapshot(value: Value) -> Value:
    return parse_snapshot(print_snapshot(snapshot({NAME: value})), source="x").settings[NAME]


def through_sheet(value: Value, *, catalogue: Catalogue | None = None) -> Value:
    default = Value.of_text("other") if value.type.is_text else Value.of(value.type, 5)
    inputs = CarryOverInputs(
        snapshot({NAME: value}), {NAME: default}, {NAME: default}, catalogue, catalogue, to_release="6.0.0"
    )
    sheet = carry_over(inputs)
    assert [each.kind for each in sheet.decisions] == [DecisionKind.KEEP]
    found = parse_sheet(print_sheet(sheet), source="x")
    assert found == sheet
    (write,) = found.writes
    assert found.decisions[0].ours == (write.value,)
    return write.value


def through_sheet_with_catalogue(value: Value) -> Value:
    return through_sheet(value, catalogue=Catalogue({NAME: Setting(NAME, value.type)}))


def through_catalogue(value: Value) -> Value:
    made = Catalogue({NAME: Setting(NAME, value.type, default=value)})
    found = parse_catalogue(print_catalogue(made))
    assert found == made
    default = found[NAME].default
    assert default is not None
    return default


def through_mavlink(value: Value) -> Value:
    aircraft = FakeAircraft({NAME: Value(value.type if value.type in SCHEMA_TYPES else FLOAT, 0)})
    aircraft.limits[NAME] = (-math.inf, math.inf)
    link = MavlinkLink(aircraft.wire, aircraft.clock)
    written = link.write_setting(NAME, value)
    assert aircraft.settings[NAME] == written == link.read_setting(NAME)
    return link.read_settings()[NAME]


class CastingAircraft(FakeAircraft):
    """One that sends whole numbers as floats, which hold 24 bits."""

    def __init__(self, settings_held: dict[str, Value]) -> None:
        super().__init__(settings_held)
        self.capabilities = 131072 | 8192

    def _send_value(self, index: int) -> None:
        name, value = list(self.settings.items())[index]
        number = TYPE_NUMBERS[value.type]
        self._send(
            common.MAVLink_param_value_message(name.encode(), float(value.number), number, len(self.settings), index)
        )

    def _set(self, message: Any) -> None:
        self.settings[NAME] = Value.of(self.settings[NAME].type, message.param_value)
        self._send_value(0)


def through_mavlink_by_c_cast(value: Value) -> Value:
    aircraft = CastingAircraft({NAME: Value(value.type if value.type in SCHEMA_TYPES else FLOAT, 0)})
    return MavlinkLink(aircraft.wire, aircraft.clock).write_setting(NAME, value)


def is_held_by_a_float(value: Value) -> bool:
    """Whether a whole number has at most 24 bits between its first and its last 1 (IEEE 754-2019, table 3.5)."""
    magnitude = abs(int(value.number))
    return magnitude == 0 or (magnitude // (magnitude & -magnitude)).bit_length() <= 24


def through_twin_memory(value: Value) -> Value:
    memory = MemoryInRam()
    assert save_settings(memory, StoredSettings("5.2", "C405", {NAME: value}))
    found = load_settings(memory)
    assert found is not None
    return found.settings[NAME]


def through_listing(value: Value) -> Value:
    ways = dialect()
    listing = parse_listing(ways, f"{NAME} = 0\n".encode())
    changed = change_settings(ways, listing, {NAME: listed_values(value, ways.lines[0], ways)})
    again = parse_listing(ways, print_listing(changed))
    return typed_settings(again, Catalogue({NAME: Setting(NAME, value.type)}))[NAME]


def through_console(value: Value) -> Value:
    console = ScriptedConsole()
    console.settings, console.bays = {NAME: "0"}, {}
    catalogue = Catalogue({NAME: Setting(NAME, value.type)})
    clock = FakeAircraft({}).clock
    wire = SimulatedWire(console, clock)
    link = ConsoleLink(wire, clock, dialect(), catalogue_for=lambda _identity: catalogue)
    link.read_identity()
    written = link.write_setting(NAME, value)
    assert written == link.read_setting(NAME)
    return link.read_settings()[NAME]


def is_said_in_a_line(value: Value) -> bool:
    """Whether a plain line holds it: all numbers, and texts whose ends and signs a line does not eat."""
    return not value.type.is_text or value.text in {TEXTS[key] for key in ("a word", "a number", "like a NaN", "long")}


@dataclass(frozen=True)
class Way:
    """One way that a value may go, and which values it has to take."""

    go: Callable[[Value], Value]
    takes: Callable[[Value], bool]
    refuses_by: tuple[type[RotorwrightError], ...] = ()


def every(_value: Value) -> bool:
    return True


WAYS = {
    "snapshot": Way(through_snapshot, every),
    "sheet": Way(through_sheet, every),
    "sheet with catalogue": Way(through_sheet_with_catalogue, every),
    "catalogue": Way(through_catalogue, is_finite, (CatalogueError,)),
    "MAVLink": Way(through_mavlink, lambda value: value.type in SCHEMA_TYPES, (SettingNotSendableError,)),
    "memory of the twin": Way(through_twin_memory, every),
}
LINE_WAYS = {"listing": through_listing, "console": through_console}


def goes_or_is_refused(go: Callable[[Value], Value], value: Value) -> RotorwrightError | None:
    """Return the refusal, or nothing where the value came back bit for bit; anything else fails."""
    refusal: RotorwrightError | None = None
    found: Value | None = None
    try:
        found = go(value)
    except RotorwrightError as error:
        refusal = error
    if refusal is None:
        assert found == value, f"{value!r} became {found!r}"
        return None
    assert all((refusal.id, refusal.what, refusal.why, refusal.state, refusal.todo))
    str(refusal).encode()  # any terminal or file can show it
    return refusal


@pytest.mark.parametrize("label", VALUES)
@pytest.mark.parametrize("way", WAYS)
def test_each_value_comes_back_bit_for_bit_or_is_refused_by_name(way: str, label: str) -> None:
    value, ways = VALUES[label], WAYS[way]
    refusal = goes_or_is_refused(ways.go, value)
    if ways.takes(value):
        assert refusal is None
    else:
        assert isinstance(refusal, ways.refuses_by)


@pytest.mark.parametrize("label", [label for label, value in VALUES.items() if not value.type.is_float])
def test_a_whole_number_sent_as_a_float_is_refused_where_a_float_does_not_hold_it(label: str) -> None:
    value = VALUES[label]
    refusal = goes_or_is_refused(through_mavlink_by_c_cast, value)
    if value.type in SCHEMA_TYPES and is_held_by_a_float(value):
        assert refusal is None
    else:
        assert isinstance(refusal, SettingNotSendableError)


@pytest.mark.parametrize("label", VALUES)
@pytest.mark.parametrize("way", LINE_WAYS)
def test_each_value_goes_through_a_line_of_text_or_is_refused(way: str, label: str) -> None:
    refusal = goes_or_is_refused(LINE_WAYS[way], VALUES[label])
    if is_said_in_a_line(VALUES[label]):
        assert refusal is None


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.text(max_size=30), st.sampled_from([*LINE_WAYS.values(), through_snapshot, through_sheet, through_catalogue]))
def test_any_text_comes_back_or_is_refused(text: str, go: Callable[[Value], Value]) -> None:
    try:
        value = Value.of_text(text)
    except ValueNotInTypeError:
        assert any("\ud800" <= each <= "\udfff" for each in text)
        return
    refusal = goes_or_is_refused(go, value)
    assert refusal is None or isinstance(refusal, ValueNotPrintableError) or go in LINE_WAYS.values()


def test_no_two_of_the_values_are_taken_for_the_same() -> None:
    values = list(VALUES.values())
    for one in values:
        differing = [other for other in values if compare_snapshots(snapshot({NAME: one}), snapshot({NAME: other}))]
        assert len(differing) == sum(other != one for other in values)
    assert len({(value.type, value.text) for value in values}) == len({(value.type, value.bits) for value in values})


def test_a_text_with_half_a_character_is_refused_in_words() -> None:
    makers: tuple[Callable[[str], Value], ...] = (Value.of_text, partial(Value.parse, TEXT))
    for make in makers:
        with pytest.raises(ValueNotInTypeError) as caught:
            make("a\udc80b")
        str(caught.value).encode()


NAMES = [
    "A",
    "a",
    "Ä",
    "ä",
    "A\u0308",
    "with blank",
    "RATE",
    "rate",
    "Rate",
    "\u202ename",
    "\u0301",
    "x" * 300,
    "\U0001f681",
]


def test_names_that_differ_in_case_or_composition_stay_apart() -> None:
    held = {name: Value.of(SettingType.UINT16, number) for number, name in enumerate(NAMES, 1)}
    assert parse_snapshot(print_snapshot(snapshot(held)), source="x").settings == held
    defaults = {name: Value.of(SettingType.UINT16, 0) for name in NAMES}
    sheet = carry_over(CarryOverInputs(snapshot(held), defaults, defaults, to_release="6.0.0"))
    assert {each.name: each.value for each in parse_sheet(print_sheet(sheet), source="x").writes} == held


@pytest.mark.parametrize("name", ["", "x" * 17, "Ä", "with\0nul", "line\nend", "a\udc80"])
def test_a_name_that_no_parameter_message_holds_is_refused_before_anything_is_sent(name: str) -> None:
    aircraft = FakeAircraft({NAME: Value.of(FLOAT, 0)})
    link = MavlinkLink(aircraft.wire, aircraft.clock)
    asks: tuple[Callable[[], Value], ...] = (
        lambda: link.read_setting(name),
        lambda: link.write_setting(name, Value.of(FLOAT, 1)),
    )
    for ask in asks:
        with pytest.raises(SettingNotSendableError) as caught:
            ask()
        str(caught.value).encode()
    assert aircraft.settings == {NAME: Value.of(FLOAT, 0)}


def test_a_name_given_twice_is_refused_wherever_it_may_stand_twice() -> None:
    data = print_snapshot(snapshot({NAME: Value.of(FLOAT, 1)}))
    line = next(each for each in data.splitlines() if b'"name"' in each and NAME.encode() in each)
    with pytest.raises(SnapshotDuplicateNameError):
        parse_snapshot(data.replace(line, line + b",\n" + line), source="x")
    document = print_catalogue(Catalogue({NAME: Setting(NAME, FLOAT)}))
    entry = document.splitlines()[1]
    with pytest.raises(CatalogueError):
        parse_catalogue(document.replace(entry, entry + b",\n" + entry))
    listing = parse_listing(dialect(), f"{NAME} = 1\nRate = 2\n{NAME} = 1\n".encode())
    with pytest.raises(ListedTwiceError):
        typed_settings(listing, None)


@pytest.mark.parametrize("place", ["name", "family", "release", "board", "build"])
def test_half_a_character_in_a_name_or_identity_never_reaches_a_file(place: str) -> None:
    half = "a\udc80b"
    about = {"family": "Thornbill", "release": "5.2.0", "board": "Corvane One", "build": ""}
    name = half if place == "name" else NAME
    identity = Identity(IDENTITY.unique_id, **(about | ({} if place == "name" else {place: half})))
    with pytest.raises(SnapshotEntryError) as caught:
        Snapshot(identity, {name: Value.of(FLOAT, 1)}, "2026-05-01T12:00:00Z")
    str(caught.value).encode()
