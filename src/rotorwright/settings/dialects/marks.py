"""What the learner finds first: the prompt, signs of comments, dividing lines, quotation marks."""

from __future__ import annotations

import re
from collections import Counter
from typing import TYPE_CHECKING

from rotorwright.settings.dialects.form import escaped, words_of
from rotorwright.settings.dialects.printed import is_prose

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rotorwright.settings.dialects.printed import Printed

_USUAL_SIGNS = ("#", "//", ";")
_DOUBLE_SIGNS = ("--", "..", ">>", "::")
_RARER_SIGNS = (*_DOUBLE_SIGNS, "!", "%", "*", "'", "\\", "@", "(", "~", "rem ", "REM ")
_PROMPT = re.compile(r"[^\s<>]+>(?=\s|\Z)")
_FRAMED = re.compile(r"([^\w\s\[\](){}<>\"'$])\1+ .*\S \1+\Z")
_RULE = re.compile(r"([^\w\s])\1{2,}\Z")
_MOST_HEADINGS = 20  # each line is held against each of them
_QUOTED = {
    "'": re.compile(r"(?:\A|[\s=:,;|])'[^']*'(?=\Z|[\s,;)])"),
    '"': re.compile(r'(?:\A|[\s=:,;|])"[^"]*"(?=\Z|[\s,;)])'),
}


def find_prompt(lines: Sequence[Printed]) -> str:
    """Return what the console prints before it takes a line; empty if the texts show none."""
    found = Counter(match[0] for line in lines if (match := _PROMPT.match(line.content)))
    if not found:
        return ""
    prompt = found.most_common(1)[0][0]
    return prompt + " " if any(line.content.startswith(prompt + " ") for line in lines) else prompt


def find_headings(lines: Sequence[Printed]) -> tuple[str, ...]:
    """Return the forms of lines that only divide: a title between equal signs, or a row of one sign."""
    forms: dict[str, None] = {}
    for line in lines:
        if framed := _FRAMED.match(line.content):
            sign = framed[1]
            start = len(line.content) - len(line.content.lstrip(sign))
            end = len(line.content) - len(line.content.rstrip(sign))
            forms[f"{escaped(sign * start)}{{any}}{escaped(sign * end)}"] = None
        elif rule := _RULE.match(line.content):
            forms[f"{escaped(rule[1] * 3)}{{any}}"] = None
    return tuple(forms)[:_MOST_HEADINGS]


def find_comments(lines: Sequence[Printed]) -> tuple[str, ...]:
    """Return the signs that make a line a comment.

    The usual ones count wherever they start a line, unless every such line is built like a setting and there are no
    other lines; a rarer one only where most such lines read like words for people.
    """
    usual = [sign for sign in _USUAL_SIGNS if _is_usual_comment(sign, lines)]
    rest = [line for line in lines if not line.content.startswith(tuple(usual))]
    return (*usual, *(sign for sign in _RARER_SIGNS if _is_rarer_comment(sign, rest)))


def find_inline_comments(lines: Sequence[Printed], comments: Sequence[str]) -> tuple[str, ...]:
    """Return the signs that start a comment behind a setting: those of whole lines, and a pair of parentheses."""
    signs = (*_USUAL_SIGNS, *(sign for sign in comments if sign in _DOUBLE_SIGNS))
    found = [sign for sign in signs if _is_inline(sign, lines, known=sign in comments)]
    closed = [line.content for line in lines if line.content.endswith(")") and " (" in line.content]
    closed = [
        content for content in closed if not any(f" {sign}" in content or f"\t{sign}" in content for sign in found)
    ]
    if len(closed) >= max(2, len(lines) // 10):
        found.append("(")
    return tuple(found)


def find_quotes(lines: Sequence[Printed]) -> tuple[str, ...]:
    """Return the quotation marks that stand around values."""
    return tuple(quote for quote, form in _QUOTED.items() if any(form.search(line.content) for line in lines))


def _is_usual_comment(sign: str, lines: Sequence[Printed]) -> bool:
    signed = [line.content[len(sign) :] for line in lines if line.content.startswith(sign)]
    if len(signed) == len(lines):
        return any(not each or each[0].isspace() for each in signed)
    return bool(signed)


def _is_rarer_comment(sign: str, lines: Sequence[Printed]) -> bool:
    rests = [line.content[len(sign) :] for line in lines if line.content.startswith(sign)]
    if not rests or len(rests) == len(lines):
        return False
    if sign == "(":
        return all(rest.endswith(")") for rest in rests)
    if sign in _DOUBLE_SIGNS and all(not rest or rest[0].isspace() for rest in rests):
        return True
    wordy = sum(rest != rest.lstrip() and _is_wordy(rest) for rest in rests)
    spoken = sign.endswith(" ") and sum(_is_wordy(rest) for rest in rests)
    return 2 * max(wordy, int(spoken)) > len(rests)


def _is_wordy(text: str) -> bool:
    words = words_of(text)
    return bool(words) and (is_prose(words) or (len(words) > 1 and all(w.strip(",.;:!?()").isalpha() for w in words)))


def _is_inline(sign: str, lines: Sequence[Printed], *, known: bool) -> bool:
    """A sign that starts whole lines counts wherever it stands after a blank; another one has to be spaced, twice."""
    after = "" if known else " "
    found = sum(f" {sign}{after}" in line.content or f"\t{sign}{after}" in line.content for line in lines)
    return found >= (1 if known else 2)
