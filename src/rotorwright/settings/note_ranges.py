"""Whether the values of an old setting find a place in the new one, for whoever writes change notes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.settings.laws import SAME, Labels, Law, Table, convert, parse_rational
from rotorwright.settings.note_entries import Convert, Join, JoinHow, NoteProblem, Relabel, Rename, Split
from rotorwright.settings.values import Value, ValueNotInTypeError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rotorwright.settings.catalogue import Catalogue, Setting
    from rotorwright.settings.note_entries import Note

_SAMPLES = 32  # beside both ends and the default; a law is monotonous between them, but for a reciprocal at zero


def check_ranges(note: Note, old: Catalogue, new: Catalogue) -> Iterator[NoteProblem]:
    """Yield what stands against the values of the old range in the new settings of an entry."""
    for name, after, law in _ways(note):
        before, successor = old.get(name), new.get(after)
        if before is None or successor is None:
            continue
        words = _clash(before, law, successor)
        if words:
            yield NoteProblem(note.place, name, words, "range-clash")
    if isinstance(note, Relabel) or (isinstance(note, Convert) and isinstance(note.law, Table)):
        yield from _check_targets(note, new.get(note.new))
    if isinstance(note, Join) and note.how is JoinHow.BITS and note.new in new:
        yield from _check_room(note, new[note.new])


def _ways(note: Note) -> Iterator[tuple[str, str, Law]]:
    match note:
        case Rename():
            yield note.old, note.new, SAME
        case Convert():
            yield note.old, note.new, note.law
        case Relabel():
            yield note.old, note.new, note.labels
        case Split():
            yield from ((note.old, part.new, part.law) for part in note.into)
        case _:
            return


def _clash(old: Setting, law: Law, new: Setting) -> str:
    candidates = _candidates(old, law)
    if not candidates or any(_fits(value, law, new) for value in candidates):
        return ""
    range_ = _range_words(new)
    return f"no value of {old.name} that was tried finds a place in {new.name}{range_}"


def _fits(value: Value, law: Law, new: Setting) -> bool:
    came = convert(value, law, new.type).value
    return came is not None and new.refusal(came) is None


def _candidates(old: Setting, law: Law) -> list[Value]:
    """Return values that the old setting allows: all choices, or both ends, the default and some in between."""
    if isinstance(law, Table | Labels):
        return [value for key in _keys(law) if (value := _parsed(old, key)) is not None and old.refusal(value) is None]
    if old.choices:
        return _allowed(old, [each.number for each in old.choices])
    if old.bits:
        return _allowed(old, [0, *(1 << each.number for each in old.bits), old.known_bits])
    default = [] if old.default is None else [old.default]
    low, high = old.minimum, old.maximum
    if low is None or high is None or old.type.is_text:
        return []  # anything may stand there
    step = (high.number - low.number) / (_SAMPLES + 1)
    between = [low.number + step * place for place in range(_SAMPLES + 2)]
    powers = [1 << place for place in range(_SAMPLES) if low.number <= 1 << place <= high.number]
    whole = between if old.type.is_float else [round(number) for number in between]
    return default + _allowed(old, [*whole, *powers])


def _keys(law: Table | Labels) -> list[str]:
    return list(law.pairs) if isinstance(law, Table) else [str(number) for number in law.numbers]


def _parsed(setting: Setting, text: str) -> Value | None:
    number = parse_rational(text)
    if setting.type.is_text:
        return Value.of_text(text)
    try:
        return None if number is None else Value.of(setting.type, float(number))
    except ValueNotInTypeError:
        return None


def _allowed(setting: Setting, numbers: list[float]) -> list[Value]:
    values = [_parsed(setting, repr(number) if isinstance(number, float) else str(number)) for number in numbers]
    return [value for value in values if value is not None and setting.refusal(value) is None]


def _range_words(setting: Setting) -> str:
    if setting.minimum is None or setting.maximum is None:
        return ""
    return f", which goes from {setting.show(setting.minimum)} to {setting.show(setting.maximum)}"


def _check_targets(note: Relabel | Convert, new: Setting | None) -> Iterator[NoteProblem]:
    law = note.labels if isinstance(note, Relabel) else note.law
    if new is None or not isinstance(law, Labels | Table):
        return
    texts = list(law.pairs.values()) if isinstance(law, Table) else [str(each) for each in law.numbers.values()]
    for text in dict.fromkeys(texts):
        if new.choices and not new.type.is_text and (number := parse_rational(text)) is not None:
            if new.label(float(number)) is None and isinstance(law, Table):
                words = f"{note.new} has no choice {text} in the new release"
                yield NoteProblem(note.place, note.new, words, "unknown-choice")
            continue
        value = _parsed(new, text)
        if value is None:
            words = f"{text} is no value of {note.new}, which holds a {new.type}"
            yield NoteProblem(note.place, note.new, words, "type-clash")
        elif (refusal := new.refusal(value)) is not None:
            yield NoteProblem(note.place, note.new, refusal, "range-clash")


def _check_room(note: Join, new: Setting) -> Iterator[NoteProblem]:
    if not new.type.is_whole:
        yield NoteProblem(note.place, note.new, f"{note.new} is a {new.type} and has no bits to join in", "type-clash")
        return
    for bit, width in zip(note.bits, note.widths_known(), strict=True):
        if bit + (width or 1) > 8 * new.type.size_bytes:
            words = f"bit {bit + (width or 1) - 1} is beyond {note.new}, a {new.type}"
            yield NoteProblem(note.place, note.new, words, "range-clash")
