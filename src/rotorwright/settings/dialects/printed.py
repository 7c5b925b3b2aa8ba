"""Lines of printed texts as the learner sees them: without endings, blanks around them and comments behind them."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rotorwright.settings.dialects.form import BLANKS, words_of
from rotorwright.settings.dialects.listing import split_lines

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

_UNPRINTABLE = re.compile("[\x00-\x08\x0b-\x1f\x7f\ud800-\udfff]")
_WORD = re.compile(r"[A-Za-z][A-Za-z']*[,.;:!?]?\Z")
_PAIR = re.compile(r"[A-Za-z_][\w.-]*=\S*\Z")
_LETTERED = re.compile(r"[A-Z][0-9]+(\.[0-9]+)?\Z")  # a command word of G-code: letter and number (RS-274)
_LETTERED_VALUE = re.compile(r"[A-Z]([-+]?[0-9]*\.?[0-9]+)?\Z")
_JOINTS = "=:,;|"
_MOST_WORDS_BEFORE_JOINT = 3
_LONGEST_LEARNT = 2_000  # a longer line teaches nothing about lines that people read


@dataclass(frozen=True, slots=True)
class Printed:
    """One line: which text it is in, its words, how far it is indented, which section of the text it is in."""

    source: int
    content: str
    indent: int
    section: int = 0

    @property
    def words(self) -> list[str]:
        """The words between blanks."""
        return words_of(self.content)

    def with_content(self, content: str) -> Printed:
        """Return the same line with less in it."""
        return replace(self, content=content)


@dataclass(frozen=True, slots=True)
class Shape:
    """How a line is built.

    Args:
        joint: the sign between name and value: one of `=:,;|`, or a blank, or empty for a line of pairs.
        before: the words before the joint; all words where the joint is a blank.
        rest: what comes after the joint.
        pairs: the joint inside pairs, where the line is a list of them (empty where a number follows a letter).
    """

    joint: str
    before: tuple[str, ...]
    rest: str = ""
    pairs: str | None = None


def printed_lines(texts: Sequence[bytes]) -> list[Printed]:
    """Return the lines that can teach something: not blank, no control signs, no broken bytes, not endless."""
    return [line for number, data in enumerate(texts) for line in _lines_of(number, data)]


def shape_of(content: str) -> Shape:
    """Return how a line with this content is built."""
    words = words_of(content)
    lead = _words_before_pairs(words)
    if lead is not None:
        joint = "=" if "=" in words[-1] else ""
        return Shape("", tuple(words[:lead]), " ".join(words[lead:]), joint)
    place = min((each for each in (_joint_place(content, sign) for sign in _JOINTS) if each > 0), default=0)
    before = words_of(content[:place])
    most = _MOST_WORDS_BEFORE_JOINT if content[place] in "=:" else 1
    if place and 1 <= len(before) <= most and is_name(before[0]):
        return Shape(content[place], tuple(before), content[place + 1 :].strip(BLANKS))
    return Shape(" ", tuple(words))


def key_of(content: str) -> str:
    """Return what is likely the name in a line, as far as that can be told from the line alone."""
    shape = shape_of(content)
    if shape.joint == " ":
        return " ".join(shape.before[: 2 if len(shape.before) > 2 else 1])
    return " ".join(shape.before)


def is_name(word: str) -> bool:
    """Answer whether a word could name a setting."""
    return any(sign.isalnum() for sign in word) and word[-1] not in ".,;!?" and word[0] not in "\"'([{<"


def is_prose(words: Sequence[str]) -> bool:
    """Answer whether the words read like a sentence rather than a setting."""
    if not all(_WORD.match(word) for word in words):
        return len(words) > 2 and words[-1][-1] in ".!?" and _WORD.match(words[0]) is not None
    small = sum(word[0].islower() for word in words)
    ends = words[-1][-1] in ".!?"
    return len(words) >= 6 or (len(words) >= 3 and ends) or (len(words) >= 4 and words[0][0].isupper() and small >= 2)


def _lines_of(number: int, data: bytes) -> Iterator[Printed]:
    for text, _ in split_lines(data):
        content = text.strip(BLANKS)
        if content and len(content) <= _LONGEST_LEARNT and not _UNPRINTABLE.search(content):
            lead = text[: len(text) - len(text.lstrip(BLANKS))]
            yield Printed(number, content, len(lead.expandtabs(8)))


def _words_before_pairs(words: list[str]) -> int | None:
    if len(words) > 1 and _LETTERED.match(words[0]) and all(_LETTERED_VALUE.match(each) for each in words[1:]):
        return 1
    lead = next((index for index, word in enumerate(words) if _PAIR.match(word)), len(words))
    pairs = len(words) - lead
    return lead if 0 < lead <= 3 and pairs >= 2 and all(_PAIR.match(word) for word in words[lead:]) else None


def _joint_place(content: str, sign: str) -> int:
    if sign != ":":
        return content.find(sign)
    place = content.find(": ")
    return place if place >= 0 else (len(content) - 1 if content.endswith(":") and content[-2:-1].isalnum() else -1)
