"""Generated pairs of releases with change notes and an aircraft in between.

A world is made of stories. Each story has names of its own and tells what became of one setting or a few; together they
make two catalogues, change notes and the values found on the aircraft. Nothing keeps the values found inside the ranges
of the old catalogue: an aircraft may hold anything that its types can hold.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise
from typing import TYPE_CHECKING

from hypothesis import strategies as st
from tests.unit.settings.builders import snapshot

from rotorwright.settings.carry_over import CarryOverInputs
from rotorwright.settings.cases import join_values
from rotorwright.settings.catalogue import Catalogue, Choice, Setting
from rotorwright.settings.classes import SettingClasses
from rotorwright.settings.conditions import Comparison, Not, Sign
from rotorwright.settings.laws import (
    SAME,
    BitField,
    Labels,
    Law,
    Linear,
    LogOfTwo,
    PowerOfTwo,
    Reciprocal,
    Table,
    convert,
)
from rotorwright.settings.notes import (
    ChangeNotes,
    Convert,
    Join,
    JoinHow,
    Note,
    Refit,
    RefitKind,
    Relabel,
    Rename,
    Retire,
    Split,
    SplitPart,
)
from rotorwright.settings.values import SettingType, Value

if TYPE_CHECKING:
    from collections.abc import Callable

TYPES = st.sampled_from(SettingType)
WHOLE_TYPES = st.sampled_from([each for each in SettingType if each.is_whole])
CLASSES = SettingClasses(board=("PIN_*",), calibration=("CAL_*",))
LABELS = ("off", "slow", "fast", "odd", "Slow", "other")

ODD_TEXTS = ("", "0", "12", "-1", "on", " ", "a\0b", "two\nlines", "\u202ex", "e\u0301", "nan(0x7fc00000)")
ODD_FLOATS = (0x00000000, 0x80000000, 0x00000001, 0x7F800000, 0xFF800000, 0x7FC00000, 0x7F800001, 0x7F7FFFFF)


@dataclass
class World:
    """What the stories have told so far."""

    old: dict[str, Setting] = field(default_factory=dict)
    new: dict[str, Setting] = field(default_factory=dict)
    notes: list[Note] = field(default_factory=list)
    found: dict[str, Value] = field(default_factory=dict)

    def inputs(self, *, same_aircraft: bool = True, classes: SettingClasses | None = CLASSES) -> CarryOverInputs:
        """Return the inputs of the carry-over of this world."""
        old, new = Catalogue(self.old), Catalogue(self.new)
        return CarryOverInputs(
            ours=snapshot(self.found),
            old_defaults=old.defaults,
            new_defaults=new.defaults,
            old_catalogue=old,
            new_catalogue=new,
            notes=ChangeNotes("Thornbill", "5.2", "6.0", tuple(self.notes)),
            classes=classes,
            same_aircraft=same_aircraft,
            to_release="6.0.0",
        )


@st.composite
def values(draw: st.DrawFn, type_: SettingType) -> Value:
    """Any value of a type, the odd floats and texts often, small numbers often."""
    if type_.is_text:
        texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
        return Value.of_text(draw(st.sampled_from(ODD_TEXTS) | texts))
    if type_.is_float:
        bits = st.integers(0, 2**32 - 1) | st.sampled_from(ODD_FLOATS)
        decimals = st.integers(-2000, 2000).map(lambda number: Value.of(type_, number / 100))
        return draw(bits.map(lambda word: Value(type_, word)) | decimals)
    width = 8 * type_.size_bytes
    return Value(type_, draw(st.integers(0, 20) | st.integers(0, 2**width - 1)))


@st.composite
def finite_values(draw: st.DrawFn, type_: SettingType) -> Value:
    """A value that a catalogue can state."""
    if type_.is_float:
        return Value.of(type_, draw(st.floats(width=32, allow_nan=False, allow_infinity=False)))
    return draw(values(type_))


@st.composite
def settings_of_type(draw: st.DrawFn, name: str, type_: SettingType) -> Setting:
    """A setting with or without range, choices or bits."""
    default = draw(finite_values(type_))
    unit = draw(st.sampled_from(["", "ms", "Hz"]))
    shape = draw(st.sampled_from(["free", "free", "range", "choices", "bits"]))
    low = high = None
    choices: tuple[Choice, ...] = ()
    bits: tuple[Choice, ...] = ()
    if type_.is_text:
        return Setting(name, type_, short="s", unit=unit, default=default)
    if shape == "range":
        low, high = sorted((draw(finite_values(type_)), draw(finite_values(type_))), key=lambda each: each.number)
    elif shape == "choices":
        labels = draw(st.lists(st.sampled_from(LABELS), min_size=1, max_size=5))
        choices = tuple(Choice(number, label) for number, label in enumerate(labels))
    elif shape == "bits" and not type_.is_float:
        labels = draw(st.lists(st.sampled_from(LABELS), min_size=1, max_size=6))
        bits = tuple(Choice(number, label) for number, label in enumerate(labels))
    return Setting(
        name, type_, short="s", unit=unit, default=default, minimum=low, maximum=high, choices=choices, bits=bits
    )


@st.composite
def any_setting(draw: st.DrawFn, name: str, types: st.SearchStrategy[SettingType] = TYPES) -> Setting:
    """A setting of any of some types."""
    return draw(settings_of_type(name, draw(types)))


@st.composite
def found_values(draw: st.DrawFn, setting: Setting) -> Value:
    """What an aircraft holds in a setting: its default, something allowed, or anything."""
    assert setting.default is not None
    likely = st.just(setting.default)
    if setting.choices or setting.bits:
        numbers = [each.number for each in setting.choices] or list(range(setting.known_bits + 1))
        likely |= st.sampled_from(numbers).map(lambda number: Value.of(setting.type, number))
    elif setting.type.is_text:
        likely |= st.sampled_from(ODD_TEXTS).map(Value.of_text)
    else:
        likely |= st.integers(0, 20).map(lambda number: Value.of(setting.type, number))
    return draw(likely | likely | values(setting.type))


@st.composite
def successors(draw: st.DrawFn, name: str, type_: SettingType, came: Value | None) -> Setting:
    """A setting of the new release whose default is often what the old default becomes."""
    made = draw(settings_of_type(name, type_))
    if came is None or draw(st.integers(0, 3)) == 0:
        return made
    plain = Setting(name, type_, short="s", default=came)
    return draw(st.just(plain) | st.just(replace(made, default=came)))


def _became(law: Law, old: Setting, type_: SettingType) -> Value | None:
    assert old.default is not None
    found = convert(old.default, law, type_).value
    return found if found is not None and (found.type.is_text or math.isfinite(found.number)) else None


@st.composite
def later_forms(draw: st.DrawFn, old: Setting) -> Setting:
    """The same setting in a later release: unchanged, or with another default, other labels, a range, a type."""
    assert old.default is not None
    ways = [
        st.just(old),
        finite_values(old.type).map(lambda value: replace(old, default=value)),
        settings_of_type(old.name, old.type),
        any_setting(old.name),
    ]
    if old.choices:
        ways.append(_turned(old.choices).map(lambda turned: replace(old, choices=turned)))
    if old.bits:
        ways.append(_turned(old.bits).map(lambda turned: replace(old, bits=turned)))
    return draw(st.one_of(ways))


def _turned(labelled: tuple[Choice, ...]) -> st.SearchStrategy[tuple[Choice, ...]]:
    numbers = [each.number for each in labelled]
    return st.permutations([each.label for each in labelled]).map(lambda labels: tuple(map(Choice, numbers, labels)))


def _tell(draw: st.DrawFn, world: World, old: list[Setting], new: list[Setting], note: Note | None) -> None:
    for each in old:
        world.old[each.name] = each
        if draw(st.integers(0, 9)) > 0:
            world.found[each.name] = draw(found_values(each))
    for each in new:
        world.new[each.name] = each
    if note is not None:
        world.notes.append(note)


def _name(draw: st.DrawFn, number: int, suffix: str = "") -> str:
    return f"{draw(st.sampled_from(['SET'] * 8 + ['PIN', 'CAL']))}_{number:02d}{suffix}"


def _same(draw: st.DrawFn, world: World, number: int) -> None:
    name = _name(draw, number)
    old = draw(any_setting(name))
    if draw(st.integers(0, 9)) == 0:
        old = replace(old, volatile=True)
    _tell(draw, world, [old], [draw(later_forms(old))], None)


def _gone(draw: st.DrawFn, world: World, number: int) -> None:
    name = _name(draw, number)
    old = draw(any_setting(name))
    note = draw(st.none() | st.just(Retire(old=name, loses="x")) | st.just(Rename(old=name, new=name + "_NOWHERE")))
    _tell(draw, world, [old], [], note)


def _arrived(draw: st.DrawFn, world: World, number: int) -> None:
    name = _name(draw, number)
    _tell(draw, world, [], [draw(any_setting(name))], None)


def _moved(draw: st.DrawFn, world: World, number: int) -> None:
    name, successor = _name(draw, number), _name(draw, number, draw(st.sampled_from(["", "_B"])))
    old = draw(any_setting(name))
    type_ = draw(st.just(old.type) | TYPES)
    factors = st.fractions(-1000, 1000, max_denominator=60).filter(bool) | st.sampled_from([Fraction(1), Fraction(10)])
    laws: list[st.SearchStrategy[Law]] = [
        st.builds(Linear, factors, st.just(Fraction(0)) | factors),
        st.builds(Reciprocal, factors),
        st.sampled_from([PowerOfTwo(), LogOfTwo(), Table({"0": "1", "1": "0.5", "2": "7"})]),
    ]
    law = draw(st.one_of(laws))
    labels = Labels(draw(st.dictionaries(st.integers(0, 5), st.integers(0, 5), min_size=1)))
    ways: list[tuple[Note, Law]] = [
        (Convert(old=name, new=successor, law=law), law),
        (Relabel(old=name, new=successor, labels=labels), labels),
    ]
    if name != successor:
        ways.append((Rename(old=name, new=successor), SAME))
    note, by = draw(st.sampled_from(ways))
    _tell(draw, world, [old], [draw(successors(successor, type_, _became(by, old, type_)))], note)


def _split(draw: st.DrawFn, world: World, number: int) -> None:
    name = _name(draw, number)
    old = draw(any_setting(name, WHOLE_TYPES))
    into: list[SplitPart] = []
    new: list[Setting] = []
    for part in range(draw(st.integers(2, 3))):
        successor, type_ = f"{name}_{part}", draw(WHOLE_TYPES)
        bits = st.lists(st.integers(0, 8 * old.type.size_bytes - 1), min_size=1, max_size=4, unique=True)
        law = draw(bits.map(lambda found: BitField(tuple(found))) | st.just(SAME) | st.just(Linear(Fraction(10))))
        into.append(SplitPart(successor, law))
        new.append(draw(successors(successor, type_, _became(law, old, type_))))
    _tell(draw, world, [old], new, Split(old=name, into=tuple(into)))


def _join(draw: st.DrawFn, world: World, number: int) -> None:
    names = [_name(draw, number, f"_{part}") for part in range(draw(st.integers(2, 3)))]
    old = [draw(any_setting(name, WHOLE_TYPES)) for name in names]
    if draw(st.booleans()):
        old = [replace(old[0], name=name) for name in names]
    successor, type_ = _name(draw, number, "_J"), draw(WHOLE_TYPES)
    how = draw(st.sampled_from(JoinHow))
    bits = tuple(8 * place for place in range(len(names))) if how is JoinHow.BITS else ()
    note = Join(old=tuple(names), new=successor, how=how, bits=bits)
    came = join_values(note, [each.default for each in old if each.default is not None], type_).value
    _tell(draw, world, old, [draw(successors(successor, type_, came))], note)


def _conditional(draw: st.DrawFn, world: World, number: int) -> None:
    """A setting with one successor under a condition, and sometimes another one under the opposite condition."""
    name = _name(draw, number)
    old = draw(any_setting(name))
    asked = draw(st.sampled_from([*world.old, name, "NOT_THERE"]))
    when = Comparison(
        asked, draw(st.sampled_from([Sign.IS, Sign.AT_LEAST, Sign.IS_NOT])), (str(draw(st.integers(0, 3))),)
    )
    new = [replace(old, name=f"{name}_P")]
    world.notes.append(Rename(old=name, new=f"{name}_P", when=when))
    if draw(st.booleans()):
        new.append(draw(any_setting(f"{name}_Q")))
        world.notes.append(Convert(old=name, new=f"{name}_Q", law=Linear(Fraction(10)), when=Not(when)))
    _tell(draw, world, [old], new, draw(st.none() | st.just(Retire(old=name, loses="x", when=Not(when)))))


def _refitted(draw: st.DrawFn, world: World, number: int) -> None:
    names = [_name(draw, number, f"_{part}") for part in range(2)]
    news = [f"{names[0]}_R", draw(st.sampled_from([names[1], f"{names[1]}_R"]))]
    note = Refit(old=tuple(names), new=tuple(news), kind=RefitKind.STICK_CURVE, old_law="x", new_law="y")
    _tell(draw, world, [draw(any_setting(name)) for name in names], [draw(any_setting(name)) for name in news], note)


def _contradiction(draw: st.DrawFn, world: World, number: int) -> None:
    one, two, three = (_name(draw, number, suffix) for suffix in ("_X", "_Y", "_Z"))
    old = [draw(settings_of_type(name, SettingType.UINT8)) for name in (one, two)]
    new = [draw(settings_of_type(name, SettingType.UINT8)) for name in (two, three)]
    notes = draw(
        st.sampled_from(
            [
                [Rename(old=one, new=two)],
                [Rename(old=one, new=three), Rename(old=two, new=three)],
                [Rename(old=one, new=two), Rename(old=one, new=three)],
            ]
        )
    )
    _tell(draw, world, old, new, None)
    world.notes += notes


STORIES: tuple[Callable[[st.DrawFn, World, int], None], ...] = (
    _same,
    _same,
    _gone,
    _arrived,
    _moved,
    _moved,
    _split,
    _join,
    _contradiction,
    _conditional,
    _refitted,
)


@st.composite
def worlds(draw: st.DrawFn) -> World:
    """Return a world of up to eight stories."""
    world = World()
    for number in range(draw(st.integers(0, 8))):
        draw(st.sampled_from(STORIES))(draw, world, number)
    return world


@st.composite
def lossless_worlds(draw: st.DrawFn) -> World:
    """Return a world whose notes lose nothing and whose defaults say the same on both sides."""
    world = World()
    for number in range(draw(st.integers(1, 6))):
        draw(st.sampled_from(LOSSLESS))(draw, world, number)
    return world


def _free(name: str, value: Value) -> Setting:
    return Setting(name, value.type, default=value)


def _lossless_rename(draw: st.DrawFn, world: World, number: int) -> None:
    name = f"REN_{number}"
    type_ = draw(TYPES)
    default = draw(finite_values(type_))
    _put(
        world, [(name, default, draw(values(type_)))], [_free(f"{name}_B", default)], Rename(old=name, new=f"{name}_B")
    )


def _lossless_scale(draw: st.DrawFn, world: World, number: int) -> None:
    """From a 16-bit number to a float of another unit, or to a wider number; both come back exactly."""
    name = f"CON_{number}"
    default, ours = (Value.of(SettingType.INT16, draw(st.integers(-32768, 32767))) for _ in range(2))
    is_float = draw(st.booleans())
    divisors = st.sampled_from([1, 2, 7, 10, 60, 100, 1000])
    factor = Fraction(1, draw(divisors)) if is_float else Fraction(draw(st.integers(1, 1000)))
    offset = Fraction(0) if is_float else Fraction(draw(st.integers(-1000, 1000)))
    type_ = SettingType.FLOAT if is_float else draw(st.sampled_from([SettingType.INT32, SettingType.INT64]))
    law = Linear(factor, offset)
    _put(world, [(name, default, ours)], [_free(name, _by(law, default, type_))], Convert(old=name, new=name, law=law))


def _lossless_relabel(draw: st.DrawFn, world: World, number: int) -> None:
    name = f"LAB_{number}"
    count = draw(st.integers(1, 8))
    labels = Labels(dict(enumerate(draw(st.permutations(range(count))))))
    default, ours = (Value.of(SettingType.UINT8, draw(st.integers(0, count - 1))) for _ in range(2))
    new = _free(name, _by(labels, default, SettingType.UINT8))
    _put(world, [(name, default, ours)], [new], Relabel(old=name, new=name, labels=labels))


def _lossless_doublings(draw: st.DrawFn, world: World, number: int) -> None:
    """From a count of doublings to the number itself, or back."""
    name = f"POW_{number}"
    counts = st.integers(0, 15)
    default, ours = (Value.of(SettingType.UINT8, draw(counts)) for _ in range(2))
    power = Value.of(SettingType.UINT16, 2**default.bits)
    if draw(st.booleans()):
        _put(world, [(name, default, ours)], [_free(name, power)], Convert(old=name, new=name, law=PowerOfTwo()))
    else:
        found = Value.of(SettingType.UINT16, 2**ours.bits)
        _put(world, [(name, power, found)], [_free(name, default)], Convert(old=name, new=name, law=LogOfTwo()))


def _lossless_table(draw: st.DrawFn, world: World, number: int) -> None:
    name = f"TAB_{number}"
    news = draw(st.permutations([str(Fraction(each, 4)) for each in range(6)]))
    law = Table({str(old): new for old, new in enumerate(news)})
    default, ours = (Value.of(SettingType.UINT8, draw(st.integers(0, 5))) for _ in range(2))
    became = Value.of(SettingType.FLOAT, float(Fraction(news[default.bits])))
    _put(world, [(name, default, ours)], [_free(name, became)], Convert(old=name, new=name, law=law))


def _lossless_split(draw: st.DrawFn, world: World, number: int) -> None:
    name = f"SPL_{number}"
    type_ = draw(st.sampled_from([SettingType.UINT16, SettingType.UINT64]))
    width = 8 * type_.size_bytes
    default, ours = (Value(type_, draw(st.integers(0, 2**width - 1))) for _ in range(2))
    cuts = sorted(draw(st.sets(st.integers(1, width - 1), min_size=1, max_size=4)))
    edges = [0, *cuts, width]
    fields = [BitField(tuple(range(low, high))) for low, high in pairwise(edges)]
    into = tuple(SplitPart(f"{name}_{place}", each) for place, each in enumerate(fields))
    new = [_free(part.new, _by(part.law, default, type_)) for part in into]
    _put(world, [(name, default, ours)], new, Split(old=name, into=into))


def _lossless_join(draw: st.DrawFn, world: World, number: int) -> None:
    name = f"JOI_{number}"
    widths = tuple(draw(st.lists(st.integers(1, 8), min_size=2, max_size=4)))
    lowest = tuple(sum(widths[:place]) for place in range(len(widths)))
    names = tuple(f"{name}_{place}" for place in range(len(widths)))
    fitting = [st.integers(0, 2**width - 1).map(lambda number: Value.of(SettingType.UINT8, number)) for width in widths]
    old = [(each, draw(value), draw(value)) for each, value in zip(names, fitting, strict=True)]
    word = sum(default.bits << bit for (_, default, _), bit in zip(old, lowest, strict=True))
    note = Join(old=names, new=name, how=JoinHow.BITS, bits=lowest, widths=widths)
    _put(world, old, [_free(name, Value(SettingType.UINT32, word))], note)


def _lossless_copy(draw: st.DrawFn, world: World, number: int) -> None:
    name = f"COP_{number}"
    type_ = draw(TYPES)
    default, ours = draw(finite_values(type_)), draw(values(type_))
    into = (SplitPart(f"{name}_A", SAME), SplitPart(f"{name}_B", SAME))
    _put(world, [(name, default, ours)], [_free(part.new, default) for part in into], Split(old=name, into=into))


def _put(world: World, old: list[tuple[str, Value, Value]], new: list[Setting], note: Note) -> None:
    for name, default, ours in old:
        world.old[name] = _free(name, default)
        world.found[name] = ours
    world.new |= {each.name: each for each in new}
    world.notes.append(note)


def _by(law: Law, value: Value, type_: SettingType) -> Value:
    """Return what the law makes of an old default, worked out apart from the code under test."""
    if isinstance(law, Labels):
        return Value.of(type_, law.numbers[int(value.number)])
    if isinstance(law, BitField):
        return Value(type_, sum((value.bits >> bit & 1) << place for place, bit in enumerate(law.bits)))
    assert isinstance(law, Linear)
    return Value.of(type_, float(law.factor * int(value.number) + law.offset))


LOSSLESS: tuple[Callable[[st.DrawFn, World, int], None], ...] = (
    _lossless_rename,
    _lossless_scale,
    _lossless_relabel,
    _lossless_doublings,
    _lossless_table,
    _lossless_split,
    _lossless_join,
    _lossless_copy,
)
