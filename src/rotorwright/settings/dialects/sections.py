"""Finding the lines that open a section: by their brackets, by what is indented after them, by keys that come again."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

from rotorwright.settings.dialects.dialect import SectionForm
from rotorwright.settings.dialects.form import Form, escaped, words_of
from rotorwright.settings.dialects.printed import is_name, key_of, shape_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rotorwright.settings.dialects.printed import Printed

_HEAD = 4  # so many lines after an opener are compared, so that the time stays linear
_MOST_WORDS = 3
_MOST_INDENTED = 20  # each line is held against each of them


def find_sections(lines: Sequence[Printed]) -> tuple[SectionForm, ...]:
    """Return the forms of the lines that open sections. Repeated keys are looked at where nothing else shows any."""
    bracketed = _bracketed(lines)
    shown = (*bracketed, *_indented(lines, bracketed))
    return shown or _repeating(lines, level=1)


def numbered_sections(lines: Sequence[Printed], sections: Sequence[SectionForm]) -> list[Printed]:
    """Return the lines that are no section lines, each with the number of the section it is in."""
    kept, number, closings = [], 0, {section.close for section in sections if section.close}
    source = 0
    for line in lines:
        if line.source != source or line.content in closings or _opens(line, sections):
            number, source = number + 1, line.source
            if line.content in closings or _opens(line, sections):
                continue
        kept.append(replace(line, section=number))
    return kept


def _opens(line: Printed, sections: Sequence[SectionForm]) -> bool:
    return any(section.form.match(line.content, 0, len(line.content)) is not None for section in sections)


def _bracketed(lines: Sequence[Printed]) -> tuple[SectionForm, ...]:
    found: dict[str, SectionForm] = {}
    for line in lines:
        text = line.content
        if text[0] == "[" and text[-1] == "]" and len(text) > 2:
            found.setdefault("bracket", SectionForm("bracket", Form("[{section}]")))
        elif text[0] == "<" and text[-1] == ">" and len(text) > 2:
            found.setdefault("angle", SectionForm("angle", Form("<{section}>")))
        elif text[-1] == "{" and len(text) > 1:
            found.setdefault("brace", SectionForm("brace", Form("{section}{~}{{"), close="}"))
    return tuple(found.values())


def _indented(lines: Sequence[Printed], known: Sequence[SectionForm]) -> tuple[SectionForm, ...]:
    deeper: defaultdict[str, list[bool]] = defaultdict(list)
    for line, after in pairwise(lines):
        if not _opens(line, known):
            form = _opener_form(line)
            if form:
                deeper[form].append(after.indent > line.indent and after.source == line.source)
    forms = [form for form, facts in deeper.items() if all(facts)][:_MOST_INDENTED]
    return tuple(SectionForm(f"indented {n}", Form(form), 1) for n, form in enumerate(forms, 1))


def _opener_form(line: Printed) -> str:
    if line.content.endswith(":") and is_name(line.content[:-1]):
        return "{section}:"
    words = line.words
    if shape_of(line.content).joint == " " and len(words) > 1 and is_name(words[0]):
        return f"{escaped(words[0])} {{section}}"
    return ""


@dataclass(frozen=True, slots=True)
class _Candidate:
    word: str
    places: tuple[int, ...]


def _repeating(lines: Sequence[Printed], *, level: int) -> tuple[SectionForm, ...]:
    """Find the first word whose lines are followed by the same keys again and again, then look inside its sections."""
    if level > 3:
        return ()
    keys = [key_of(line.content) for line in lines]
    chosen = next((each for each in _candidates(lines) if _comes_again(each, keys)), None)
    if chosen is None:
        return ()
    form = Form(f"{escaped(chosen.word)} {{section}}")
    section = SectionForm(chosen.word, form, level, _close(chosen, lines))
    inside = _repeating(lines[chosen.places[0] + 1 : chosen.places[1]], level=level + 1)
    return (section, *inside)


def _candidates(lines: Sequence[Printed]) -> list[_Candidate]:
    places: defaultdict[str, list[int]] = defaultdict(list)
    for index, line in enumerate(lines):
        words = line.words
        if 2 <= len(words) <= _MOST_WORDS and shape_of(line.content).joint == " " and is_name(words[0]):
            places[words[0]].append(index)
    return [_Candidate(word, tuple(found)) for word, found in places.items() if len(found) > 1]


def _comes_again(candidate: _Candidate, keys: Sequence[str]) -> bool:
    heads = [keys[place + 1 : place + 1 + _HEAD] for place in candidate.places]
    gaps = [after - before for before, after in pairwise(candidate.places)]
    if min(gaps) < 3 or any(key.split()[:1] == [candidate.word] for head in heads for key in head[:2]):
        return False  # two keys at least are in each section
    same = sum(_share_keys(one, two) for one, two in pairwise(heads))
    return same > 0 and same * 3 >= len(gaps) * 2


def _share_keys(one: Sequence[str], two: Sequence[str]) -> bool:
    shared = len(set(one) & set(two))
    return shared > 0 and 2 * shared >= min(len(set(one)), len(set(two)))


def _close(candidate: _Candidate, lines: Sequence[Printed]) -> str:
    before = Counter(lines[place - 1].content for place in candidate.places[1:])
    text, count = before.most_common(1)[0]
    is_everywhere = count == len(candidate.places) - 1 and len(words_of(text)) == 1
    return text if is_everywhere and sum(line.content == text for line in lines) >= count else ""
