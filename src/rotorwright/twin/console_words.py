"""What the demo firmware's text console understands, and what it answers. Its words are an invention of ours.

An answer is a run of lines; the console itself puts the prompt after it. A line that refuses begins with `cannot:`, or
with `unknown:` where the console does not know the word or the setting.
"""

from __future__ import annotations

import math
import random
import re
from typing import TYPE_CHECKING, Final

from rotorwright.settings.values import Value, ValueNotInTypeError
from rotorwright.twin.display_chip import CHARACTER_BYTES, CHARACTERS
from rotorwright.twin.telemetry import ANGLE_NOISE_RAD, BATTERY_NOISE_V

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from rotorwright.settings.catalogue import Catalogue, Setting
    from rotorwright.twin.boot import ApplicationBuild
    from rotorwright.twin.display_chip import DisplayChip
    from rotorwright.twin.settings_in_force import SettingsInForce
    from rotorwright.twin.world import World

GREETING: Final = "good day"
_BLANKS: Final = " \t"
_ON_OFF: Final = {0: "Off", 1: "On"}
_USED_BYTES: Final = 54  # of the 64 of a character (Maxim 19-0576)
_NUMBER = re.compile(r"[0-9]{1,3}\Z", re.ASCII)
_DIGITS = re.compile(r"[0-9a-fA-F]{108}\Z")
# What stands between quotation marks, where one may begin, or the sign of a comment.
_COMMENT = re.compile(r'(?<![^ \t=:,(])".*?(?<!\\)"|[ \t]--')


class ConsoleWords:
    """Carries out one line at a time.

    Args:
        build: the firmware that runs.
        catalogue: what it knows to set.
        unique_id: 12 bytes, in the order as read.
        settings: the settings in force.
        display: the display chip.
        world: what is measured.
        seed: of the sensors' noise.
        restart: called with "reboot" or "bootloader".
    """

    def __init__(
        self,
        *,
        build: ApplicationBuild,
        catalogue: Catalogue,
        unique_id: bytes,
        settings: SettingsInForce,
        display: DisplayChip,
        world: World,
        seed: int,
        restart: Callable[[str], None],
    ) -> None:
        self._build = build
        self._catalogue = catalogue
        self._unique_id = unique_id
        self._settings = settings
        self._display = display
        self._world = world
        self._noise = random.Random(seed)
        self._restart = restart
        self._orders: dict[str, Callable[[float], Iterable[str]]] = {
            GREETING: lambda _: [f"-- good day, this is {self.title}"],
            "who are you": lambda _: self._who(),
            "tell all": lambda _: self._tell_all(),
            "keep it": lambda _: self._keep(),
            "forget all": lambda _: self._forget(),
            "wake anew": lambda _: self._leave("reboot", "-- waking anew"),
            "wait for image": lambda _: self._leave("bootloader", "-- waiting for an image"),
            "how full": lambda _: self._battery(),
            "how held": self._attitude,
        }
        self._with_rest: dict[str, Callable[[str], Iterable[str]]] = {
            "tell": self._tell_one,
            "with": lambda name: self._switch(name, on=True),
            "without": lambda name: self._switch(name, on=False),
            "let": self._let,
            "show picture": self._show_picture,
        }

    @property
    def title(self) -> str:
        """Firmware, release and board."""
        return f"{self._build.family} {self._build.release} on {self._build.board}"

    def answer(self, line: str, now_s: float) -> Iterable[str]:
        """Do what a line asks for and return the lines of the answer; what it does happens when they are taken."""
        content = _without_comment(line).strip(_BLANKS)
        if not content:
            return ()
        order = self._orders.get(content)
        if order is not None:
            return order(now_s)
        for word, act in self._with_rest.items():
            if content.startswith((word + " ", word + "\t")):
                return act(content[len(word) :].strip(_BLANKS))
        return (f"unknown: {content}",)

    def _who(self) -> Iterator[str]:
        yield f"I am {self._build.family} {self._build.release}"
        yield f"my board is {self._build.board}"
        yield f"my build is {self._build.build}".rstrip()
        yield f"my number is {self._unique_id.hex()}"

    def _tell_all(self) -> Iterator[str]:
        yield f"-- {self.title}"
        for group, names in _by_group(self._catalogue, self._settings):
            if group:
                yield f"~~ {group} ~~"
            for name in names:
                yield self._listed(name)
        yield f"-- {len(self._settings)} settings"

    def _tell_one(self, name: str) -> Iterable[str]:
        return (self._listed(name),) if self._knows(name) else (f"unknown: {name}",)

    def _let(self, rest: str) -> Iterable[str]:
        name, _, after = rest.replace("\t", " ").partition(" ")
        after = rest[len(name) :].strip(_BLANKS)
        if name == "picture" and not after.startswith("be"):
            return self._set_picture(after)
        if after != "be" and not after.startswith(("be ", "be\t")):
            return (f"unknown: let {rest}",)
        return self._set(name, after[2:].strip(_BLANKS))

    def _set(self, name: str, text: str) -> Iterable[str]:
        if not self._knows(name):
            return (f"unknown: {name}",)
        setting = self._catalogue[name]
        if _is_flag(setting):
            return (f"cannot: say with {name} or without {name}",)
        try:
            value = Value.parse(setting.type, text)
        except ValueNotInTypeError:
            return (f"cannot: {name} takes a {setting.type}",)
        return self._change(name, value)

    def _switch(self, name: str, *, on: bool) -> Iterable[str]:
        if not self._knows(name):
            return (f"unknown: {name}",)
        if not _is_flag(self._catalogue[name]):
            return (f"cannot: {name} is not on or off, it takes a value",)
        return self._change(name, Value.of(self._catalogue[name].type, int(on)))

    def _change(self, name: str, value: Value) -> Iterable[str]:
        refusal = self._settings.change(name, value)
        return (f"cannot: {refusal}",) if refusal else (self._listed(name),)

    def _knows(self, name: str) -> bool:
        return self._settings.number(name) is not None

    def _listed(self, name: str) -> str:
        setting, value = self._catalogue[name], self._settings[name]
        if _is_flag(setting) and value.number in _ON_OFF:
            return f"with {name}" if value.number else f"without {name}"
        line = f"let {name} be {value.text}".rstrip(_BLANKS)
        return f"{line}  -- {setting.unit}" if setting.unit else line

    def _keep(self) -> Iterable[str]:
        return ("-- kept",) if self._settings.save() else ("cannot: the settings do not fit into their memory",)

    def _forget(self) -> Iterable[str]:
        self._settings.reset()
        return ("-- all forgotten, the defaults are in force",)

    def _leave(self, wants: str, words: str) -> Iterable[str]:
        self._restart(wants)
        return (words,)

    def _battery(self) -> Iterable[str]:
        volts = max(0.0, self._noise.gauss(self._world.battery_volts, BATTERY_NOISE_V))
        return (f"battery {volts:.3f} V",)

    def _attitude(self, now_s: float) -> Iterable[str]:
        motion = self._world.motion(now_s)
        roll, pitch = (
            math.degrees(self._noise.gauss(angle, ANGLE_NOISE_RAD)) for angle in (motion.roll_rad, motion.pitch_rad)
        )
        return (f"roll {roll:.2f} deg, pitch {pitch:.2f} deg",)

    def _show_picture(self, text: str) -> Iterable[str]:
        number = _picture_number(text)
        if number is None:
            return (f"cannot: there is no picture {text}",)
        stored = self._display.read(number * CHARACTER_BYTES, _USED_BYTES)
        return (f"picture {number} is {stored.hex()}",)

    def _set_picture(self, rest: str) -> Iterable[str]:
        words = rest.replace("\t", " ").split(" ")
        words = [word for word in words if word]
        if len(words) != 3 or words[1] != "be":
            return (f"unknown: let picture {rest}",)
        number = _picture_number(words[0])
        if number is None:
            return (f"cannot: there is no picture {words[0]}",)
        if not _DIGITS.match(words[2]):
            return ("cannot: a picture has 108 hexadecimal digits",)
        start = number * CHARACTER_BYTES
        unused = self._display.read(start + _USED_BYTES, CHARACTER_BYTES - _USED_BYTES)
        self._display.write(start, bytes.fromhex(words[2]) + unused)
        return (f"-- picture {number} taken",)  # taken, not kept: the chip does not tell whether it was


def _is_flag(setting: Setting) -> bool:
    return setting.type.is_whole and {each.number: each.label for each in setting.choices} == _ON_OFF


def _by_group(catalogue: Catalogue, settings: SettingsInForce) -> Iterator[tuple[str, list[str]]]:
    """Yield the groups in the order of their first name, each with its names in the order of the alphabet."""
    groups: dict[str, list[str]] = {}
    for name in sorted(settings):
        groups.setdefault(catalogue[name].group, []).append(name)
    yield from groups.items()


def _picture_number(text: str) -> int | None:
    return int(text) if _NUMBER.match(text) and int(text) < CHARACTERS else None


def _without_comment(line: str) -> str:
    """Return what stands before a comment; a sign of comments between quotation marks starts none."""
    for found in _COMMENT.finditer(line):
        if found[0][0] != '"':
            return line[: found.start()]
    return "" if line.lstrip(_BLANKS).startswith("--") else line
