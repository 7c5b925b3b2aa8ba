"""Working a console dialect out from printed texts alone, for a person to look over and confirm."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rotorwright.settings.dialects.dialect import Dialect, Session
from rotorwright.settings.dialects.families import find_families, prose_lines
from rotorwright.settings.dialects.form import Form, escaped, words_of
from rotorwright.settings.dialects.inline import end_of_content
from rotorwright.settings.dialects.listing import LineKind, Listing, parse_listing
from rotorwright.settings.dialects.marks import (
    find_comments,
    find_headings,
    find_inline_comments,
    find_prompt,
    find_quotes,
)
from rotorwright.settings.dialects.printed import Printed, printed_lines
from rotorwright.settings.dialects.sections import find_sections, numbered_sections

if TYPE_CHECKING:
    from collections.abc import Sequence

_MOST_EXAMPLES = 3
_MOST_SENTENCES = 20


@dataclass(frozen=True, slots=True)
class LearntFamily:
    """A family of lines with what a person needs to confirm it: how many lines, and some with their settings."""

    id: str
    form: str
    count: int
    examples: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Learnt:
    """What was learnt, and how the texts read with it."""

    dialect: Dialect
    listings: tuple[Listing, ...]

    @property
    def families(self) -> tuple[LearntFamily, ...]:
        """The families, those of sections first, each with examples."""
        forms = [(each.id, each.form.text, LineKind.SECTION) for each in self.dialect.sections]
        forms += [(each.id, each.form.text, LineKind.SETTING) for each in self.dialect.lines]
        counts, examples = self._gathered()
        return tuple(
            LearntFamily(id_, form, counts.get((kind, id_), 0), tuple(examples.get((kind, id_), ())))
            for id_, form, kind in forms
        )

    @property
    def unplaced_count(self) -> int:
        """How many lines could not be placed."""
        return sum(len(listing.unplaced) for listing in self.listings)

    def _gathered(self) -> tuple[dict[tuple[LineKind, str], int], dict[tuple[LineKind, str], list[tuple[str, str]]]]:
        counts: dict[tuple[LineKind, str], int] = {}
        examples: dict[tuple[LineKind, str], list[tuple[str, str]]] = {}
        for line in (line for listing in self.listings for line in listing.lines):
            key = (line.kind, line.family)
            counts[key] = counts.get(key, 0) + 1
            if line.family and len(shown := examples.setdefault(key, [])) < _MOST_EXAMPLES:
                said = "; ".join(f"{each.name} = {', '.join(each.values) or '(is there)'}" for each in line.settings)
                shown.append((line.text.strip(), said))
        return counts, examples


def learn(texts: Sequence[bytes], *, name: str) -> Learnt:
    """Return the dialect that `texts` seem to be printed in, called `name`, and how they read with it.

    Any bytes may be given; the time is linear. What a console does (how to enter, set, save) cannot be seen in a
    listing and is left open.
    """
    lines = printed_lines(texts)
    prompt = find_prompt(lines)
    lines = [line for line in lines if not (prompt and line.content.startswith(prompt.rstrip()))]
    headings = find_headings(lines)
    lines = _without_headings(lines, headings)
    comments = find_comments(lines)
    lines = [line for line in lines if not (comments and line.content.startswith(comments))]
    quotes = find_quotes(lines)
    inline = find_inline_comments(lines, comments)
    lines = [_cut(line, inline, quotes) for line in lines]
    sections = find_sections(lines)
    lines = numbered_sections(lines, sections)
    sentences = prose_lines(lines)[:_MOST_SENTENCES]
    dialect = Dialect(
        name=name,
        comments=comments,
        inline_comments=inline,
        quotes=quotes,
        headings=tuple(Form(text) for text in (*headings, *(" ".join(map(escaped, words_of(s))) for s in sentences))),
        sections=sections,
        lines=find_families(lines),
        session=Session(prompt=prompt),
    )
    listings = tuple(parse_listing(dialect, data) for data in texts)
    used = {line.family for listing in listings for line in listing.lines if line.kind is LineKind.SETTING}
    return Learnt(replace(dialect, lines=tuple(each for each in dialect.lines if each.id in used)), listings)


def _without_headings(lines: Sequence[Printed], headings: Sequence[str]) -> list[Printed]:
    forms = [Form(text) for text in headings]
    return [line for line in lines if all(form.match(line.content, 0, len(line.content)) is None for form in forms)]


def _cut(line: Printed, signs: tuple[str, ...], quotes: tuple[str, ...]) -> Printed:
    return line.with_content(line.content[: end_of_content(line.content, 0, signs=signs, quotes=quotes)])
