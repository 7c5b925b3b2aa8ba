"""The form of a line: literal words and named slots, like `let {key} be {value}`.

A form is matched from left to right and never goes back, so the time is linear in the line whatever a dialect says. It
is no regular expression and cannot become one:

- a blank stands for one or more blanks or tabs (or the end of the line, so that a value may be empty);
- `{~}` stands for any number of blanks, also none;
- `{{` and `}}` stand for the signs themselves;
- every other pair of braces is a slot (see `SlotKind`). A slot ends before the first place where the literal after it
  stands, or at the first blank if a blank comes after it; a slot at the end takes the rest of the line.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from itertools import pairwise
from typing import TypeAlias

from rotorwright.settings.structured import likely

BLANKS = " \t"


class SlotKind(StrEnum):
    """What a slot stands for."""

    KEY = "key"  # one word of the name of the setting
    ROW = "row"  # a whole number: which row of a table
    VALUE = "value"  # one value
    VALUES = "values"  # several values, with `between` between them
    PAIRS = "pairs"  # several names, each with its value, with `joint` between the two
    STATE = "state"  # the sign or word that says on or off
    SECTION = "section"  # name of a section or number of a profile
    ANY = "any"  # whatever stands there; it means nothing
    FAMILY = "family"  # the firmware family; this one and those below stand only in questions and answers
    RELEASE = "release"  # the release that runs
    BOARD = "board"  # name of the board in the words of the release
    BUILD = "build"  # git hash of the build
    ID = "id"  # unique id of the microcontroller: 24 hexadecimal digits
    VOLTS = "volts"  # voltage of the main battery
    ROLL = "roll"  # degrees, positive with the right side down
    PITCH = "pitch"  # degrees, positive with the nose up
    NUMBER = "number"  # number of a display character, from 0
    BYTES = "bytes"  # a display character: 108 hexadecimal digits, two for each of its 54 bytes


class FormFaultError(Exception):
    """A form that cannot be used. Turned into an error of ours where the dialect is read."""

    def __init__(self, words: str, *, meant: str = "") -> None:
        super().__init__(words)
        self.meant = meant


class Blank(StrEnum):
    """A place for blanks."""

    SOME = " "
    MAYBE = "~"


@dataclass(frozen=True, slots=True)
class Literal:
    """Text that stands in the line as it is."""

    text: str


Piece: TypeAlias = Literal | Blank | SlotKind
Span: TypeAlias = tuple[int, int]

LINE_SLOTS = tuple(SlotKind)[: tuple(SlotKind).index(SlotKind.FAMILY)]
"""The slots of listings; all others belong to questions and answers."""

_WORDS = frozenset({SlotKind.KEY, SlotKind.ROW})
_TO_THE_END = frozenset({SlotKind.VALUES, SlotKind.PAIRS})


@dataclass(frozen=True, slots=True)
class Part:
    """A slot found in a line: where it stands, as offsets into the text of the line."""

    kind: SlotKind
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Form:
    """A form that was read. `states` are the texts that the slot `{state}` may be, the longest first."""

    text: str
    states: tuple[str, ...] = ()
    pieces: tuple[Piece, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "states", tuple(sorted(self.states, key=len, reverse=True)))
        object.__setattr__(self, "pieces", _pieces(self.text))
        _check(self.pieces)

    @property
    def slots(self) -> tuple[SlotKind, ...]:
        """The slots from left to right."""
        return tuple(piece for piece in self.pieces if isinstance(piece, SlotKind))

    @property
    def first_word(self) -> str:
        """The literal word that every such line starts with; empty if there is no whole one."""
        if len(self.pieces) == 1 or (len(self.pieces) > 1 and self.pieces[1] is Blank.SOME):
            first = self.pieces[0]
            return first.text if isinstance(first, Literal) else ""
        return ""

    def match(self, text: str, start: int, end: int) -> tuple[Part, ...] | None:
        """Return the slots of `text` between `start` and `end`; nothing if the line has another form."""
        place, found = start, []
        for index, piece in enumerate(self.pieces):
            if isinstance(piece, SlotKind):
                stop = self._end_of_slot(index, text, place, end)
                if stop < 0:
                    return None
                found.append(Part(piece, place, stop))
                place = stop
            else:
                place = _skip(piece, text, place, end)
                if place < 0:
                    return None
        return tuple(found) if place == end else None

    def fill(self, *texts: str) -> str:
        """Return a line of this form with `texts` in its slots, from left to right; slots without a text stay empty."""
        rest = iter(texts)
        return "".join(_filled(piece, next(rest, "") if isinstance(piece, SlotKind) else "") for piece in self.pieces)

    def _end_of_slot(self, index: int, text: str, place: int, end: int) -> int:
        kind = self.pieces[index]
        if kind is SlotKind.STATE:
            known = (place + len(state) for state in self.states if text.startswith(state, place, end))
            return next(known, -1)
        stop = self._boundary(index, text, place, end)
        return stop if stop >= 0 and _is_allowed(kind, text[place:stop]) else -1

    def _boundary(self, index: int, text: str, place: int, end: int) -> int:
        after = self.pieces[index + 1 :]
        if not after:
            return end
        if after[0] is Blank.SOME:
            return _word_end(text, place, end)
        literal = next(piece for piece in after if isinstance(piece, Literal))
        if literal is after[-1]:
            stop = end - len(literal.text) if text.endswith(literal.text, place, end) else -1
        else:
            stop = text.find(literal.text, place + (self.pieces[index] in _WORDS), end)
        if after[0] is Blank.MAYBE and stop > place:
            return place + len(text[place:stop].rstrip(BLANKS))
        return stop


def words_of(text: str) -> list[str]:
    """Return the words between blanks and tabs; other signs that Unicode calls white space belong to words."""
    return [word for word in text.replace("\t", " ").split(" ") if word]


def escaped(text: str) -> str:
    """Return `text` so that it stands for itself inside a form."""
    return text.replace("{", "{{").replace("}", "}}")


def _skip(piece: Literal | Blank, text: str, place: int, end: int) -> int:
    if isinstance(piece, Literal):
        return place + len(piece.text) if text.startswith(piece.text, place, end) else -1
    after = place
    while after < end and text[after] in BLANKS:
        after += 1
    return after if after > place or after == end or piece is Blank.MAYBE else -1


def _word_end(text: str, place: int, end: int) -> int:
    found = (text.find(blank, place, end) for blank in BLANKS)
    return min((each for each in found if each >= 0), default=end)


def _is_allowed(kind: Piece, text: str) -> bool:
    if kind is SlotKind.ROW:
        return text.isascii() and text.isdecimal()
    if kind is SlotKind.KEY:
        return text != "" and " " not in text and "\t" not in text
    return kind is not SlotKind.SECTION or text != ""


def _filled(piece: Piece, text: str) -> str:
    if isinstance(piece, Literal):
        return piece.text
    return text if isinstance(piece, SlotKind) else piece.value.strip("~")


def _pieces(text: str) -> tuple[Piece, ...]:
    pieces: list[Piece] = []
    place = 0
    while place < len(text):
        piece, place = _next_piece(text, place)
        if isinstance(piece, Literal) and pieces and isinstance(pieces[-1], Literal):
            piece = Literal(pieces.pop().text + piece.text)  # type: ignore[union-attr]  # just checked
        pieces.append(piece)
    return tuple(pieces)


def _next_piece(text: str, place: int) -> tuple[Piece, int]:
    if text[place] in BLANKS:
        after = place + len(text[place:]) - len(text[place:].lstrip(BLANKS))
        return Blank.SOME, after
    if text.startswith(("{{", "}}"), place):
        return Literal(text[place]), place + 2
    if text[place] == "}":
        raise FormFaultError("it has a } without its {; write }} for the sign itself")
    if text[place] != "{":
        return Literal(text[place]), place + 1
    end = text.find("}", place)
    if end < 0:
        raise FormFaultError("it has a { without its }; write {{ for the sign itself")
    return _slot(text[place + 1 : end]), end + 1


def _slot(name: str) -> Piece:
    if name == "~":
        return Blank.MAYBE
    try:
        return SlotKind(name)
    except ValueError:
        meant = likely(name, SlotKind)
        hint = f"; perhaps {{{meant}}} was meant" if meant else f"; known are {', '.join(SlotKind)} and ~"
        raise FormFaultError(f"there is no slot {{{name}}}{hint}", meant=meant) from None


def _check(pieces: tuple[Piece, ...]) -> None:
    if not pieces:
        raise FormFaultError("it is empty")
    if isinstance(pieces[0], Blank) or isinstance(pieces[-1], Blank):
        raise FormFaultError("it starts or ends with a blank; blanks around a line are allowed anyway")
    for index, (piece, after) in enumerate(pairwise(pieces)):
        if isinstance(piece, SlotKind):
            _check_neighbour(piece, after, last=index + 2 == len(pieces))
        elif isinstance(piece, Blank) and isinstance(after, Blank):
            raise FormFaultError("it has two places for blanks next to each other")
    _check_counts(pieces)


def _check_neighbour(slot: SlotKind, after: Piece, *, last: bool) -> None:
    if slot is not SlotKind.STATE and isinstance(after, SlotKind):
        raise FormFaultError(f"nothing tells where {{{slot}}} ends and {{{after}}} starts")
    if slot in _TO_THE_END and not (last and isinstance(after, Literal)):
        raise FormFaultError(f"{{{slot}}} has to be the last slot, with at most a closing sign after it")


def _check_counts(pieces: tuple[Piece, ...]) -> None:
    for index, piece in enumerate(pieces):
        if isinstance(piece, SlotKind) and piece is not SlotKind.STATE:
            _check_end(piece, pieces[index + 1 : index + 3])
    slots = [piece for piece in pieces if isinstance(piece, SlotKind)]
    for kind in SlotKind:
        if kind not in {SlotKind.KEY, SlotKind.ANY} and slots.count(kind) > 1:
            raise FormFaultError(f"{{{kind}}} can be there only once")


def _check_end(slot: SlotKind, after: tuple[Piece, ...]) -> None:
    if after and after[0] is Blank.MAYBE and not (len(after) == 2 and isinstance(after[1], Literal)):
        raise FormFaultError(f"nothing tells where {{{slot}}} ends: a sign has to come after {{~}}")
