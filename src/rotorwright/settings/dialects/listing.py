"""Reading what a console prints, line by line. Nothing is lost: each line is placed, or kept as unplaced.

A line keeps its text and its ending as they came. Text is UTF-8; bytes that are none are kept one by one as Python's
surrogate escapes, so that any bytes at all come out again as they went in.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING

from rotorwright.settings.dialects.form import BLANKS, Part, SlotKind, Span
from rotorwright.settings.dialects.inline import end_of_content, quoted_end

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rotorwright.settings.dialects.dialect import Dialect, LineForm, SectionForm

ON, OFF = "on", "off"

_DEEPEST = 32  # sections inside sections; what opens more is kept as unplaced, so that damaged text costs no more

_FIRST_WORD = re.compile("[^ \t]+")
_ENDINGS = re.compile("\r\n|\n|\r")
_PAIR_BOUNDARY = re.compile("[A-Za-z_]+")
_GLUED_PAIR = re.compile("[A-Za-z_]+([-+.0-9]|\\Z)")


class LineKind(StrEnum):
    """What a line of a listing is."""

    BLANK = "blank"
    COMMENT = "comment"
    HEADING = "heading"
    PROMPT = "prompt"
    REFUSAL = "refusal"
    SECTION = "section"
    SETTING = "setting"
    UNPLACED = "unplaced"


@dataclass(frozen=True, slots=True)
class ListedSetting:
    """A setting as it stands in a listing.

    Args:
        section: names of the sections (and profiles) it is in, outermost first.
        key: its name there, words with one blank between.
        values: the exact texts of its values; `on` or `off` for a flag; none where its presence says all.
        spans: where each value stands in the text of its line.
        is_flag: whether a sign or word says on or off.
    """

    section: tuple[str, ...]
    key: str
    values: tuple[str, ...]
    spans: tuple[Span, ...] = field(compare=False)
    is_flag: bool = False

    @property
    def name(self) -> str:
        """The whole name: sections and key with ` / ` between."""
        return " / ".join((*self.section, self.key))


@dataclass(frozen=True, slots=True)
class Line:
    """One line: `text` and `ending` as they came, what it is, the family it belongs to, and the settings in it."""

    text: str
    ending: str
    kind: LineKind
    family: str = ""
    settings: tuple[ListedSetting, ...] = ()
    section: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Listing:
    """All lines of a printed text, in order."""

    lines: tuple[Line, ...]

    @property
    def settings(self) -> tuple[ListedSetting, ...]:
        """All settings, in the order of the lines."""
        return tuple(each for line in self.lines for each in line.settings)

    @property
    def unplaced(self) -> tuple[tuple[int, Line], ...]:
        """The lines that fit nothing in the dialect, with their numbers counted from 1."""
        return tuple((n, line) for n, line in enumerate(self.lines, 1) if line.kind is LineKind.UNPLACED)

    @property
    def counts(self) -> dict[LineKind, int]:
        """How many lines there are of each kind."""
        found = Counter(line.kind for line in self.lines)
        return {kind: found[kind] for kind in LineKind if found[kind]}

    @property
    def repeated(self) -> tuple[str, ...]:
        """Names that more than one setting has."""
        found = Counter(each.name for each in self.settings)
        return tuple(name for name, count in found.items() if count > 1)


def parse_listing(dialect: Dialect, data: bytes) -> Listing:
    """Return every line of `data` with its place in the dialect. Any bytes give a listing; the time is linear."""
    reader = _Reader(dialect)
    return Listing(tuple(reader.read(text, ending) for text, ending in split_lines(data)))


def print_listing(listing: Listing) -> bytes:
    """Return the bytes of `listing`: those it was read from, but for lines that were changed since."""
    text = "".join(line.text + line.ending for line in listing.lines)
    return text.encode("utf-8", "surrogateescape")


def split_lines(data: bytes) -> Iterator[tuple[str, str]]:
    """Yield the text and the ending of each line; the last one may have no ending."""
    text = data.decode("utf-8", "surrogateescape")
    start = 0
    for found in _ENDINGS.finditer(text):
        yield text[start : found.start()], found[0]
        start = found.end()
    if start < len(text):
        yield text[start:], ""


def read_setting_line(
    dialect: Dialect, text: str, section: tuple[str, ...]
) -> tuple[LineForm, tuple[ListedSetting, ...]] | None:
    """Return the family and the settings of one line inside `section`; nothing if it holds no setting."""
    start = len(text) - len(text.lstrip(BLANKS))
    end = end_of_content(text, start, signs=dialect.inline_comments, quotes=dialect.quotes)
    for family in dialect.lines_for(_first_word(text, start, end)):
        parts = family.form.match(text, start, end)
        if parts is not None and _are_pairs(family, text, parts, dialect.quotes):
            return family, tuple(_settings(family, text, parts, section, dialect.quotes))
    return None


def is_other_line(dialect: Dialect, text: str) -> bool:
    """Answer whether a line would be, or could be in some section, anything else than a setting."""
    start = len(text) - len(text.lstrip(BLANKS))
    end = end_of_content(text, start, signs=dialect.inline_comments, quotes=dialect.quotes)
    openers = dialect.sections_for(_first_word(text, start, end))
    return (
        _without_setting(dialect, text) is not None
        or any(each.form.match(text, start, end) is not None for each in openers)
        or any(each.close == text[start:end] for each in dialect.sections if each.close)
    )


class _Reader:
    """Reads line after line, and remembers which sections are open."""

    def __init__(self, dialect: Dialect) -> None:
        self._dialect = dialect
        self._open: list[tuple[SectionForm, str]] = []
        self._section: tuple[str, ...] = ()

    def read(self, text: str, ending: str) -> Line:
        kind = _without_setting(self._dialect, text)
        if kind is not None:
            return Line(text, ending, kind, section=self._section)
        opener = self._section_line(text)
        if opener is not None:
            return Line(text, ending, LineKind.SECTION, opener.id, section=self._section)
        found = read_setting_line(self._dialect, text, self._section)
        if found is None:
            return Line(text, ending, LineKind.UNPLACED, section=self._section)
        family, settings = found
        return Line(text, ending, LineKind.SETTING, family.id, settings, self._section)

    def _section_line(self, text: str) -> SectionForm | None:
        dialect = self._dialect
        start = len(text) - len(text.lstrip(BLANKS))
        end = end_of_content(text, start, signs=dialect.inline_comments, quotes=dialect.quotes)
        closed = self._close(text[start:end])
        if closed is not None:
            return closed
        for each in dialect.sections_for(_first_word(text, start, end)):
            parts = each.form.match(text, start, end)
            if parts is not None and len(self._open) < _DEEPEST:
                self._open_section(each, _section_name(each, text, parts))
                return each
        return None

    def _close(self, content: str) -> SectionForm | None:
        for index in range(len(self._open) - 1, -1, -1):
            section = self._open[index][0]
            if section.close and section.close == content:
                del self._open[index:]
                self._section = tuple(name for _, name in self._open)
                return section
            if section.close:
                return None
        return None

    def _open_section(self, section: SectionForm, name: str) -> None:
        if not section.close:
            while self._open and not self._open[-1][0].close and self._open[-1][0].level >= section.level:
                del self._open[-1]
        self._open.append((section, name))
        self._section = tuple(name for _, name in self._open)


def _without_setting(dialect: Dialect, text: str) -> LineKind | None:
    content = text.strip(BLANKS)
    if not content:
        return LineKind.BLANK
    if dialect.session.prompt and text.startswith((dialect.session.prompt, dialect.session.prompt.rstrip(BLANKS))):
        return LineKind.PROMPT
    if any(form.match(content, 0, len(content)) is not None for form in dialect.session.refusals):
        return LineKind.REFUSAL
    if any(form.match(content, 0, len(content)) is not None for form in dialect.headings):
        return LineKind.HEADING
    if dialect.comments and content.startswith(dialect.comments):
        return LineKind.COMMENT
    return None


def _section_name(section: SectionForm, text: str, parts: tuple[Part, ...]) -> str:
    word = section.form.first_word
    named = [text[part.start : part.end] for part in parts if part.kind is SlotKind.SECTION]
    return " ".join(([word] if word else []) + named) or section.id


def _first_word(text: str, start: int, end: int) -> str:
    found = _FIRST_WORD.match(text, start, end)
    return found[0] if found else ""


def _settings(
    family: LineForm, text: str, parts: tuple[Part, ...], section: tuple[str, ...], quotes: tuple[str, ...]
) -> Iterator[ListedSetting]:
    key = " ".join(([family.name] if family.name else []) + [text[p.start : p.end] for p in parts if p.kind in _KEYS])
    held = next((part for part in parts if part.kind in _HELD), None)
    if held is None:
        yield ListedSetting(section, key, (), ())
    elif held.kind is SlotKind.STATE:
        state = ON if text[held.start : held.end] == family.on else OFF
        yield ListedSetting(section, key, (state,), ((held.start, held.end),), is_flag=True)
    elif held.kind is SlotKind.PAIRS:
        for name, span in _pairs(text, held, family.joint, quotes):
            yield ListedSetting(section, f"{key} {name}" if key else name, (text[slice(*span)],), (span,))
    else:
        spans = tuple(_spans(text, held, family.between, quotes))
        yield ListedSetting(section, key, tuple(text[slice(*span)] for span in spans), spans)


_KEYS = frozenset({SlotKind.KEY, SlotKind.ROW})
_HELD = frozenset({SlotKind.VALUE, SlotKind.VALUES, SlotKind.PAIRS, SlotKind.STATE})


def _spans(text: str, part: Part, between: str, quotes: tuple[str, ...]) -> Iterator[Span]:
    if part.kind is SlotKind.VALUE:
        yield part.start, part.end
    elif not between:
        yield from _words(text, part.start, part.end, quotes)
    elif part.start < part.end:
        yield from _separated(text, part.start, part.end, between)


def split_values(text: str, between: str, quotes: tuple[str, ...]) -> tuple[str, ...]:
    """Return the single values in a text that `{values}` stands for, as they are read from a line."""
    part = Part(SlotKind.VALUES, 0, len(text))
    return tuple(text[slice(*span)] for span in _spans(text, part, between, quotes))


def _words(text: str, start: int, end: int, quotes: tuple[str, ...]) -> Iterator[Span]:
    place = start
    while place < end:
        if text[place] in BLANKS:
            place += 1
            continue
        stop = quoted_end(text, place, end, quotes)
        while stop < end and text[stop] not in BLANKS:
            stop += 1
        yield place, stop
        place = stop


def _separated(text: str, start: int, end: int, between: str) -> Iterator[Span]:
    place = start
    while True:
        stop = text.find(between, place, end)
        piece_end = end if stop < 0 else stop
        piece = text[place:piece_end]
        lead = len(piece) - len(piece.lstrip(BLANKS)) if piece.strip(BLANKS) else len(piece)
        yield place + lead, place + max(lead, len(piece.rstrip(BLANKS)))
        if stop < 0:
            return
        place = stop + len(between)


def _are_pairs(family: LineForm, text: str, parts: tuple[Part, ...], quotes: tuple[str, ...]) -> bool:
    """Answer whether everything that `{pairs}` would take is a name with its value, or a name alone after letters."""
    part = next((part for part in parts if part.kind is SlotKind.PAIRS), None)
    if part is None:
        return True
    words = [text[start:end] for start, end in _words(text, part.start, part.end, quotes)]
    if not words:
        return False
    if family.joint:
        return all(word.find(family.joint) > 0 for word in words)
    return all(_GLUED_PAIR.match(word) for word in words)


def _pairs(text: str, part: Part, joint: str, quotes: tuple[str, ...]) -> Iterator[tuple[str, Span]]:
    for start, end in _words(text, part.start, part.end, quotes):
        if joint:
            stop = text.find(joint, start, end)
            stop, after = (end, end) if stop < 0 else (stop, stop + len(joint))
        else:
            letters = _PAIR_BOUNDARY.match(text, start, end)
            stop = after = letters.end() if letters else end
        yield text[start:stop], (after, end)
