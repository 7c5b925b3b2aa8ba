"""A console dialect: what a firmware's text console prints and takes, as facts.

docs/reference/console-dialect.md describes the file; `dialect_file` reads and writes it.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Generic, TypeVar

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rotorwright.settings.dialects.form import Form

FormT = TypeVar("FormT", "LineForm", "SectionForm")


@dataclass(frozen=True, slots=True)
class LineForm:
    """A family of lines that hold settings.

    Args:
        id: name of the family, for people.
        form: what such a line looks like.
        name: words that come before the key in the name of each setting, e.g. what the rows of a table belong to.
        between: the sign between several values; empty for blanks.
        joint: the sign between name and value of a pair; empty where a number follows the letters at once.
        on: the sign or word of `{state}` for on.
        off: the same for off. One of the two may be empty.
        set_one: the line to send for setting one, where it differs from that of the session.
    """

    id: str
    form: Form
    name: str = ""
    between: str = ""
    joint: str = ""
    on: str = ""
    off: str = ""
    set_one: Form | None = None


@dataclass(frozen=True, slots=True)
class SectionForm:
    """Lines that open a section, or choose a profile, for the lines after them.

    A line opens its level and closes what was open at this level and below it. With `close`, such sections nest and
    last until the line that says `close`.
    """

    id: str
    form: Form
    level: int = 1
    close: str = ""


@dataclass(frozen=True, slots=True)
class Session:
    """How a person talks to the console. A text that is empty is not known (or not needed).

    Args:
        enter: what is sent to reach the console.
        ask_all: the line that asks for all settings.
        quiet_ms: after this much silence, in milliseconds, an answer is taken to be complete.
        line_end: what ends each line that is sent.
        prompt: what the console prints when it waits for a line.
        ask_one: the line that asks for one setting, with `{key}`; it is answered as in the listing.
        set_one: the line that sets one setting, with `{key}` and `{value}`.
        save: the line that makes changes outlast a restart.
        reset: the line that puts the defaults in force.
        restart: the line that restarts the controller.
        bootloader: the line that leads into the bootloader.
        ask_who: the line that asks who the aircraft is.
        who_answers: what the lines of the answer look like.
        ask_battery: the line that asks for the voltage of the main battery.
        battery_answers: what the lines of the answer look like.
        ask_attitude: the line that asks how the aircraft is held.
        attitude_answers: what the lines of the answer look like.
        ask_character: the line that asks for one display character, with `{number}`.
        character_answers: what the lines of the answer look like.
        set_character: the line that stores one display character, with `{number}` and `{bytes}`.
        refusals: what the console answers when it refuses.
    """

    enter: str = ""
    ask_all: str = ""
    quiet_ms: int = 500
    line_end: str = "\n"
    prompt: str = ""
    ask_one: Form | None = None
    set_one: Form | None = None
    save: str = ""
    reset: str = ""
    restart: str = ""
    bootloader: str = ""
    ask_who: str = ""
    who_answers: tuple[Form, ...] = ()
    ask_battery: str = ""
    battery_answers: tuple[Form, ...] = ()
    ask_attitude: str = ""
    attitude_answers: tuple[Form, ...] = ()
    ask_character: Form | None = None
    character_answers: tuple[Form, ...] = ()
    set_character: Form | None = None
    refusals: tuple[Form, ...] = ()


@dataclass(frozen=True, slots=True)
class Dialect:
    """A console dialect.

    Args:
        name: what it is the dialect of, for people.
        comments: signs that make a whole line a comment.
        inline_comments: signs that, after a blank, start a comment behind a setting.
        quotes: signs that may stand around a value; inside them no comment starts.
        headings: lines that only divide a listing.
        sections: lines that open a section; tried before `lines`.
        lines: lines that hold settings; the first that fits counts, those that start with a whole literal word first.
    """

    name: str
    comments: tuple[str, ...] = ()
    inline_comments: tuple[str, ...] = ()
    quotes: tuple[str, ...] = ()
    headings: tuple[Form, ...] = ()
    sections: tuple[SectionForm, ...] = ()
    lines: tuple[LineForm, ...] = ()
    session: Session = field(default_factory=Session)
    _lines: _ByFirstWord[LineForm] = field(init=False, repr=False, compare=False)
    _sections: _ByFirstWord[SectionForm] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_lines", _ByFirstWord(self.lines))
        object.__setattr__(self, "_sections", _ByFirstWord(self.sections))

    def lines_for(self, first_word: str) -> Iterator[LineForm]:
        """Yield the families that a line starting with `first_word` may belong to."""
        return self._lines.candidates(first_word)

    def sections_for(self, first_word: str) -> Iterator[SectionForm]:
        """Yield the section lines that a line starting with `first_word` may be."""
        return self._sections.candidates(first_word)


class _ByFirstWord(Generic[FormT]):
    """Families found by their first literal word, so that thousands of them cost no more than a few."""

    def __init__(self, forms: tuple[FormT, ...]) -> None:
        self._by_word: defaultdict[str, list[FormT]] = defaultdict(list)
        for each in forms:
            self._by_word[each.form.first_word].append(each)

    def candidates(self, first_word: str) -> Iterator[FormT]:
        if first_word:
            yield from self._by_word.get(first_word, ())
        yield from self._by_word.get("", ())
