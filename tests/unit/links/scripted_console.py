"""A text console for tests that is not the twin's: other words, and whatever a test puts in between."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from tests.unit.links.simulated_wire import Reply, SimulatedWire

from rotorwright.links.console.link import ConsoleLink
from rotorwright.settings.catalogue import Catalogue, Setting
from rotorwright.settings.dialects.dialect import Dialect
from rotorwright.settings.dialects.dialect_file import parse_dialect
from rotorwright.settings.values import SettingType
from rotorwright.twin.clock import VirtualClock

UNIQUE_ID = "00112233445566778899aabb"
DIALECT_TEXT = """
format = "rotorwright-console-dialect"
version = 1
name = "of these tests"
[text]
comments = ["#"]
[session]
enter = "knock"
ask_all = "list"
quiet_ms = 200
prompt = "$ "
ask_one = "look {key}"
set_one = "put {key} {value}"
save = "store"
reset = "blank"
restart = "again"
bootloader = "loader"
ask_who = "name"
who_answers = ["{family} {release} / {board} / {id}"]
ask_battery = "volts"
battery_answers = ["{volts} V{any}"]
ask_attitude = "angles"
attitude_answers = ["{roll} {pitch}"]
ask_character = "glyph {number}"
character_answers = ["glyph {number} {bytes}"]
set_character = "glyph {number} {bytes}"
refusals = ["no: {any}"]
[[section]]
id = "bay"
form = "[{section}]"
close = "[]"
[[line]]
id = "value"
form = "{key} = {value}"
"""
CATALOGUE = Catalogue(
    {
        "rate": Setting("rate", SettingType.UINT16),
        "Rate": Setting("Rate", SettingType.UINT16),
        "gain": Setting("gain", SettingType.FLOAT),
        "hours": Setting("hours", SettingType.UINT32, volatile=True),
    }
)


def dialect(**changes: str) -> Dialect:
    """Return the dialect of these tests with some lines of its text put in place of others, or left out if empty."""
    lines = []
    for line in DIALECT_TEXT.splitlines():
        key = line.partition(" = ")[0]
        if key not in changes:
            lines.append(line)
        elif changes[key]:
            lines.append(f"{key} = {changes[key]}")
    return parse_dialect("\n".join(lines), source="test")


class ScriptedConsole:
    """A console with a few settings. `spoil` may change each answer before it goes out, given the line asked."""

    def __init__(self) -> None:
        self.settings = {"rate": "100", "Rate": "7", "gain": "0.15"}
        self.bays = {"left": {"size": "1"}}
        self.bay = ""
        self.prompt = "$ "
        self.end = "\r\n"
        self.echo = False
        self.lines: list[str] = []
        self.spoil: Callable[[str, bytes], bytes] = lambda _line, answer: answer
        self.on_put: Callable[[str, str], str] = lambda _name, text: text
        self.delay_s = 0.01
        self._typed = b""

    def take(self, data: bytes, reply: Reply) -> None:
        """Take bytes, and answer each whole line."""
        *lines, self._typed = (self._typed + data).split(b"\n")
        for raw in lines:
            line = raw.decode("utf-8", "replace").strip(" \t\r")
            self.lines.append(line)
            said = [line] if self.echo else []
            said += self._answer(line)
            answer = "".join(each + self.end for each in said) + self.prompt
            if spoilt := self.spoil(line, answer.encode()):
                reply(self.delay_s, spoilt)

    def count(self, word: str) -> int:
        """Return how many lines began with `word`."""
        return sum(line.split(" ")[0] == word for line in self.lines)

    def _answer(self, line: str) -> list[str]:
        word, _, rest = line.partition(" ")
        if line.startswith("["):
            self.bay = line.strip("[]")
            return []
        held = self.bays[self.bay] if self.bay else self.settings
        answers: dict[str, Callable[[], list[str]]] = {
            "knock": list,
            "store": list,
            "blank": list,
            "list": self._list,
            "look": lambda: [f"{rest} = {held[rest]}"] if rest in held else ["no: such name"],
            "put": lambda: self._put(held, *rest.partition(" ")[::2]),
            "name": lambda: [f"Invented 1.0.0 / Plank / {UNIQUE_ID}"],
            "volts": lambda: ["11.5 V at rest"],
            "angles": lambda: ["-90.0 45"],
        }
        return answers.get(word, lambda: ["no: such word"])()

    def _list(self) -> list[str]:
        bays = [each for bay, inner in self.bays.items() for each in (f"[{bay}]", *_listed(inner), "[]")]
        return ["# all", *_listed(self.settings), *bays]

    def _put(self, held: dict[str, str], name: str, text: str) -> list[str]:
        kept = self.on_put(name, text)
        if kept.startswith("no:"):
            return [kept]
        held[name] = kept
        return []


def _listed(settings: dict[str, str]) -> list[str]:
    return [f"{name} = {text}" for name, text in settings.items()]


class Rig:
    """A console, a wire to it and a link on that wire."""

    def __init__(self, **changes: str) -> None:
        self.console = ScriptedConsole()
        self.clock = VirtualClock()
        self.wire = SimulatedWire(self.console, self.clock)
        self.dialect = dialect(**changes)
        self.link = ConsoleLink(self.wire, self.clock, self.dialect, catalogue_for=lambda _identity: CATALOGUE)

    def texts(self) -> dict[str, Any]:
        """Return the settings as the link reads them, as texts."""
        return {name: value.text for name, value in self.link.read_settings().items()}
