"""Any settings go out through the demo firmware's text console and come back to the bit, or are refused in words."""

from __future__ import annotations

from hypothesis import example, given, settings
from hypothesis import strategies as st
from tests.unit.links.simulated_wire import Reply, SimulatedWire
from tests.unit.twin_application.console_desk import ON_OFF, Desk

from rotorwright.links.console.errors import ConsoleSettingRefusedError
from rotorwright.links.console.link import ConsoleLink
from rotorwright.settings.catalogue import Catalogue, Setting
from rotorwright.settings.dialects.changing import ValueNotPrintableError
from rotorwright.settings.dialects.shipped import thornbill_console
from rotorwright.settings.values import SettingType, Value
from rotorwright.twin.clock import VirtualClock

NAMES = st.from_regex(r"[A-Za-zÄж_][A-Za-z0-9_.:/=ж]{0,11}", fullmatch=True)
NUMBER_TYPES = st.sampled_from([each for each in SettingType if not each.is_text])
TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=40)


TYPED = [
    b"good day\r\n",
    b"let PACE be ",
    b"nan(0x7fc00000)\n",
    b"with LAMP\n",
    b"without ",
    b"tell all\r",
    b"show picture 999999999999999999999\n",
    b"let picture 1 be \n",
    b'let COUNT be "\n',
    b"forget all\n",
    b"keep it\n",
    b"--",
]


def numbers(type_: SettingType) -> st.SearchStrategy[Value]:
    return st.integers(0, (1 << 8 * type_.size_bytes) - 1).map(lambda bits: Value(type_, bits))


@st.composite
def changes(draw: st.DrawFn) -> tuple[Catalogue, dict[str, Value]]:
    """Return a catalogue without ranges, and a new value for each of its settings."""
    known: dict[str, Setting] = {}
    wanted: dict[str, Value] = {}
    for name in draw(st.lists(NAMES, min_size=1, max_size=8, unique=True)):
        kind = draw(NUMBER_TYPES)
        if kind.is_whole and draw(st.booleans()):
            known[name] = Setting(name, kind, default=Value.of(kind, 0), choices=ON_OFF)
            wanted[name] = Value.of(kind, draw(st.integers(0, 1)))
        else:
            known[name] = Setting(name, kind, default=Value.of(kind, 0), unit=draw(st.sampled_from(["", "m/s", "%"])))
            wanted[name] = draw(numbers(kind))
    return Catalogue(known), wanted


class Typed:
    """The application at the far end of a wire, everything at once."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk

    def take(self, data: bytes, reply: Reply) -> None:
        self._desk.app.receive(data, 0.0)
        if said := self._desk.heard():
            reply(0.0, said.encode())


def link_to(catalogue: Catalogue) -> tuple[ConsoleLink, Desk]:
    desk, clock = Desk(catalogue, greeted=False), VirtualClock()
    wire = SimulatedWire(Typed(desk), clock)
    return ConsoleLink(wire, clock, thornbill_console(), catalogue_for=lambda _: catalogue), desk


@settings(max_examples=60, deadline=None)
@given(changes())
def test_numbers_of_every_type_come_back_to_the_bit(drawn: tuple[Catalogue, dict[str, Value]]) -> None:
    catalogue, wanted = drawn
    link, desk = link_to(catalogue)
    for name, value in wanted.items():
        assert link.write_setting(name, value) == value
    assert link.read_settings() == wanted
    assert {name: desk.app.settings[name] for name in desk.app.settings} == wanted, "and the aircraft holds them"


@settings(max_examples=60, deadline=None)
@given(changes())
def test_what_the_firmware_holds_is_read_to_the_bit(drawn: tuple[Catalogue, dict[str, Value]]) -> None:
    catalogue, held = drawn
    link, desk = link_to(catalogue)
    for name, value in held.items():
        desk.app.settings.change(name, value)
    assert link.read_settings() == held


@settings(max_examples=150, deadline=None)
@given(TEXTS)
@example("")
@example('"a -- b"')
@example("a -- b")
@example('x" -- y"')
@example("-- b")
@example("perch> ")
@example("cannot: be")
@example("x" * 3000)
@example("\x00\x1b[2J\x85\u2028")
def test_a_text_comes_back_as_it_is_or_is_refused_and_nothing_changes(text: str) -> None:
    catalogue = Catalogue({"NOTE": Setting("NOTE", SettingType.TEXT, default=Value.of_text("before"))})
    link, desk = link_to(catalogue)
    wanted = Value.of_text(text)
    refusal: ValueNotPrintableError | ConsoleSettingRefusedError | None = None
    try:
        said = link.write_setting("NOTE", wanted)
    except (ValueNotPrintableError, ConsoleSettingRefusedError) as error:
        refusal, said = error, link.read_setting("NOTE")
    held = Value.of_text("before") if refusal else wanted
    assert said == desk.app.settings["NOTE"] == link.read_settings()["NOTE"] == held
    if refusal:
        assert all((refusal.what, refusal.why, refusal.state, refusal.todo))
        hurts = any(sign in text for sign in ("\n", "\r", "--")) or text != text.strip(" \t") or len(text) > 500
        assert hurts, "an ordinary text is taken"


@settings(max_examples=150, deadline=None)
@given(st.lists(st.one_of(st.binary(max_size=30), st.sampled_from(TYPED)), max_size=12))
def test_whatever_is_typed_the_console_goes_on_and_answers_the_next_line(typed: list[bytes]) -> None:
    desk = Desk(greeted=False)
    desk.heard()
    for data in typed:
        desk.type(data)
    if desk.app.wants is None:
        desk.type(b"\r\n")
        desk.type(b"good day\r\n")
        assert len(desk.say("tell all")) > 4
