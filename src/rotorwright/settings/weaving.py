"""Values made of several others: joins, and whatever composed notes weave together."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.settings.laws import SAME, BitField, Chain, Conversion, convert, convert_exact
from rotorwright.settings.note_entries import Converted, Join, Joined, JoinHow, Source, TakenBits
from rotorwright.settings.values import Value

if TYPE_CHECKING:
    from collections.abc import Callable
    from fractions import Fraction
    from typing import TypeAlias

    from rotorwright.settings.laws import Law
    from rotorwright.settings.values import SettingType

    Look: TypeAlias = Callable[[str], Value | None]

_NEGATIVE_ZERO_BITS = 0x80000000


def woven_value(source: Source, look: Look, target: SettingType) -> Conversion:
    """Return what comes into a setting of type `target` from `source`, whose settings `look` finds; all must be there.

    Every step lands in the setting of the release between, just as on the way by that release.
    """
    if isinstance(source, Converted):
        inner = _between(source.source, look)
        return _after(inner, convert(inner.value, source.law, target)) if inner.value is not None else inner
    if isinstance(source, Joined):
        inners = [_between(each, look) for each in source.sources]
        lost = next((each for each in inners if each.value is None), None)
        values = [each.value for each in inners if each.value is not None]
        return lost or _after(*inners, joined(source, values, target))
    value = look(source)
    assert value is not None, f"{source} is neither found nor has it a default"
    return convert(value, SAME, target)


def names_in(source: Source) -> tuple[str, ...]:
    """Return the settings that a value is made of, each once, in order."""
    match source:
        case Converted():
            return names_in(source.source)
        case Joined():
            return tuple(dict.fromkeys(name for each in source.sources for name in names_in(each)))
        case _:
            return (source,)


def goes_through_bits(source: Source) -> bool:
    """Return whether only some bits of a found value come into this one."""
    match source:
        case Converted():
            return _picks_bits(source.law) or goes_through_bits(source.source)
        case Joined():
            return any(goes_through_bits(each) for each in source.sources)
        case _:
            return False


def left_over_words(taken: TakenBits, look: Look, base: Look) -> str:
    """Return in words which customised bits of a value find no place, or nothing."""
    ours = _between(taken.value, look).value
    known_base = all(base(name) is not None for name in names_in(taken.value))
    before = _between(taken.value, base).value if known_base else None
    return "" if ours is None else lost_bits((ours.bits ^ (0 if before is None else before.bits)) & ~taken.mask)


def lost_bits(lost: int) -> str:
    """Return in words which bits went nowhere, or nothing."""
    bits = [str(bit) for bit in range(lost.bit_length()) if lost >> bit & 1]
    return f"bit{'s' if len(bits) > 1 else ''} {', '.join(bits)} of it went nowhere" if bits else ""


def join_values(note: Join, values: list[Value], type_: SettingType) -> Conversion:
    """Return what several values become together; the values are in the order of the note."""
    return joined(as_joined(note), values, type_)


def as_joined(note: Join, sources: tuple[Source, ...] | None = None, type_: SettingType | None = None) -> Joined:
    """Return the join that a note asks for, of the settings that it names or of other sources."""
    widths = note.widths_known() if note.how is JoinHow.BITS else ()
    return Joined(sources or note.old, note.old, note.new, note.how, note.bits, widths, type_)


def joined(note: Joined, values: list[Value], type_: SettingType) -> Conversion:
    """Return what several values become together; the values are in the order of the join."""
    if note.how is JoinHow.BITS:
        return _join_bits(note, values, type_)
    if note.how is JoinHow.EQUAL:
        return _join_equal(note, values, type_)
    numbers = [value.decimal for value in values]
    finite = [number for number in numbers if number is not None]
    if len(finite) < len(numbers):
        return Conversion(words="one of them is no number that can be added", problem="no-number")
    return convert_exact(sum(finite[1:], finite[0]), type_)


def _between(source: Source, look: Look) -> Conversion:
    """Return what stands in the setting of the release between, or why nothing does."""
    if isinstance(source, str):
        return Conversion(look(source))
    assert source.type is not None, "only the outermost step has no setting between"
    came = woven_value(source, look, source.type)
    if came.value is not None:
        return came
    problem = "no-number" if came.problem == "join-differs" else came.problem
    return Conversion(words=f"in the release between, {came.words}", problem=problem)


def _after(*steps: Conversion) -> Conversion:
    """Return the last step with what was said on the way to it."""
    last = steps[-1]
    words = "; ".join(dict.fromkeys(each.words for each in steps if each.words))
    return Conversion(last.value, words, last.problem, last.below, last.above)


def _picks_bits(law: Law) -> bool:
    return isinstance(law, BitField) or (isinstance(law, Chain) and any(_picks_bits(each) for each in law.laws))


def _join_equal(note: Joined, values: list[Value], type_: SettingType) -> Conversion:
    together = {_what_it_says(value) for value in values}
    if len(together) == 1:
        return convert(values[0], SAME, type_)
    shown = " and ".join(f"{name} is {value.shown}" for name, value in zip(note.names, values, strict=True))
    return Conversion(words=f"they have to be equal, but {shown}", problem="join-differs")


def _what_it_says(value: Value) -> Fraction | Value:
    """Return the number, whatever its type; what is no number, or a zero with a sign, says only itself."""
    number = value.decimal
    has_sign = value.type.is_float and value.bits == _NEGATIVE_ZERO_BITS
    return value if number is None or has_sign else number


def _join_bits(note: Joined, values: list[Value], type_: SettingType) -> Conversion:
    if not type_.is_whole:
        kind = "float" if type_.is_float else "text"
        return Conversion(words=f"a {kind} has no bits", problem="no-number")
    word, width_of_all = 0, 8 * type_.size_bytes
    for name, value, bit, width in zip(note.names, values, note.bits, note.widths, strict=True):
        room = width_of_all - bit if width is None else min(width, width_of_all - bit)
        number = value.number
        if not value.type.is_whole or number < 0 or number >= 1 << max(room, 0):
            words = f"{name} is {value.shown}, which has no place in {max(room, 0)} bits of {note.new}"
            return Conversion(words=words, problem="not-exact")
        word |= int(number) << bit
    return Conversion(Value(type_, word))
