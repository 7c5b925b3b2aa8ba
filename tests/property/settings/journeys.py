"""Generated aircraft that go through two releases, with change notes for each step.

A journey is three catalogues, two change notes and the values found at the start. Each step takes the settings of a
release one after another and tells what becomes of them; defaults mostly go the way of the notes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING

from hypothesis import strategies as st
from tests.property.settings.worlds import found_values, settings_of_type
from tests.unit.settings.builders import IDENTITY, NOON, snapshot

from rotorwright.settings.carry_over import CarryOverInputs
from rotorwright.settings.cases import join_values
from rotorwright.settings.catalogue import Catalogue, Setting
from rotorwright.settings.conditions import All, Any, Comparison, Condition, Not, Sign
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
    Relabel,
    Rename,
    Retire,
    Split,
    SplitPart,
)
from rotorwright.settings.snapshot import Snapshot
from rotorwright.settings.values import SettingType, Value

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

_TYPES = (SettingType.UINT8, SettingType.INT16, SettingType.UINT32, SettingType.INT32, SettingType.FLOAT)
_WHOLE = tuple(each for each in _TYPES if each.is_whole)


@dataclass
class Journey:
    """Three releases, two change notes, and what the aircraft holds at the start."""

    catalogues: list[Catalogue]
    notes: list[ChangeNotes]
    found: dict[str, Value]

    def inputs(self, start: int, end: int, found: Mapping[str, Value], notes: ChangeNotes) -> CarryOverInputs:
        """Return the inputs of the carry-over from one of the releases to another."""
        identity = replace(IDENTITY, release=("5.2.0", "6.0.0", "6.1.0")[start])
        return CarryOverInputs(
            ours=Snapshot(identity, dict(found), NOON) if start else snapshot(dict(found)),
            old_defaults=self.catalogues[start].defaults,
            new_defaults=self.catalogues[end].defaults,
            old_catalogue=self.catalogues[start],
            new_catalogue=self.catalogues[end],
            notes=notes,
            to_release=("5.2.0", "6.0.0", "6.1.0")[end],
        )


@dataclass
class _Step:
    """One step in the making."""

    draw: st.DrawFn
    old: dict[str, Setting]
    left: list[str]
    tag: str
    new: dict[str, Setting]
    notes: list[Note]

    def take(self) -> Setting:
        """Return a setting that nothing was told of yet."""
        return self.old[self.left.pop()]

    def name(self, old: str) -> str:
        """Return a name for a successor: the same, one that has become free, or a new one."""
        free = [name for name in self.old if name not in self.new and name not in self.left and name != old]
        ways = [st.just(f"{old}{self.tag}"), st.just(f"{old}{self.tag}")]
        if old not in self.new:
            ways.append(st.just(old))
        if free:
            ways.append(st.sampled_from(sorted(free)))
        return self.draw(st.one_of(ways))

    def add(self, name: str, type_: SettingType, came: Value | None) -> None:
        """Add a successor whose default mostly is what the old default becomes."""
        if came is None or not math.isfinite(came.number) or self.draw(st.integers(0, 9)) == 0:
            self.new[name] = self.draw(settings_of_type(name, type_))
        else:
            self.new[name] = Setting(name, type_, short="s", default=came)

    def type(self, *, whole: bool = False) -> SettingType:
        """Return a type for a successor."""
        return self.draw(st.sampled_from(_WHOLE if whole else _TYPES))


def _default(setting: Setting) -> Value:
    assert setting.default is not None
    return setting.default


def _keep(step: _Step) -> None:
    setting = step.take()
    if setting.name in step.new:
        return
    changed = step.draw(settings_of_type(setting.name, setting.type))
    step.new[setting.name] = step.draw(st.sampled_from([setting, setting, setting, changed]))


def _retire(step: _Step) -> None:
    old = step.take()
    step.notes.append(Retire(old=old.name, loses="x"))


_FACTORS = st.sampled_from([Fraction(10), Fraction(1, 10), Fraction(60), Fraction(1, 60), Fraction(-1), Fraction(3, 7)])
_LAWS: st.SearchStrategy[Law] = (
    st.builds(Linear, _FACTORS, st.sampled_from([Fraction(0), Fraction(0), Fraction(5)]))
    | st.builds(Reciprocal, st.sampled_from([Fraction(1), Fraction(1000), Fraction(10**6)]))
    | st.just(PowerOfTwo())
    | st.just(LogOfTwo())
    | st.permutations([str(n) for n in range(8)]).map(
        lambda news: Table(dict(zip(map(str, range(8)), news, strict=True)))
    )
)
_LABELS = st.dictionaries(st.integers(0, 7), st.integers(0, 7), min_size=4).map(Labels)


def _move(step: _Step) -> None:
    old = step.take()
    new = step.name(old.name)
    ways = [_LAWS.map(lambda law: Convert(old=old.name, new=new, law=law))]
    ways_too = _LABELS.map(lambda labels: Relabel(old=old.name, new=new, labels=labels))
    note: Note = step.draw(ways[0] | ways_too)
    if new != old.name and step.draw(st.booleans()):
        note = Rename(old=old.name, new=new)
    law = note.law if isinstance(note, Convert) else note.labels if isinstance(note, Relabel) else SAME
    type_ = step.draw(st.just(old.type) | st.sampled_from(_TYPES))
    step.add(new, type_, convert(_default(old), law, type_).value)
    step.notes.append(note)


def _split(step: _Step) -> None:
    old = step.take()
    laws: list[Law] = [SAME, Linear(Fraction(10))]
    if old.type.is_whole and step.draw(st.booleans()):
        laws = [BitField((0, 1, 2)), BitField((3, 4))]
    into = tuple(SplitPart(f"{old.name}{step.tag}{place}", law) for place, law in enumerate(laws))
    for part in into:
        type_ = step.type(whole=isinstance(part.law, BitField))
        step.add(part.new, type_, convert(_default(old), part.law, type_).value)
    step.notes.append(Split(old=old.name, into=into))


def _join(step: _Step) -> None:
    if len(step.left) < 2:
        return
    olds = (step.take(), step.take())
    how = step.draw(st.sampled_from(JoinHow))
    bits, widths = ((0, 3), (3, 5)) if how is JoinHow.BITS else ((), ())
    new = f"{olds[0].name}{step.tag}J"
    note = Join(old=tuple(each.name for each in olds), new=new, how=how, bits=bits, widths=widths)
    type_ = step.type(whole=how is JoinHow.BITS)
    step.add(new, type_, join_values(note, [_default(each) for each in olds], type_).value)
    step.notes.append(note)


def _arrive(step: _Step) -> None:
    name = f"NEW{step.tag}{len(step.new)}"
    step.new[name] = step.draw(settings_of_type(name, step.type()))


def _condition(step: _Step) -> Condition:
    names = st.sampled_from(sorted(step.old))
    numbers = st.integers(0, 8).map(str)
    comparison = st.builds(
        lambda name, sign, number: Comparison(name, sign, (number,)),
        names,
        st.sampled_from([Sign.IS, Sign.IS_NOT, Sign.AT_LEAST, Sign.AT_MOST]),
        numbers,
    )
    several = st.lists(comparison, min_size=1, max_size=2).map(tuple)
    return step.draw(comparison | comparison.map(Not) | several.map(All) | several.map(Any))


def _conditional(step: _Step) -> None:
    """Tell two ways for one setting, one of which holds; sometimes only one way, so that perhaps none holds."""
    when = _condition(step)
    old = step.take()
    one, other = f"{old.name}{step.tag}P", f"{old.name}{step.tag}Q"
    step.notes.append(Rename(old=old.name, new=one, when=when))
    step.add(one, old.type, old.default)
    if step.draw(st.booleans()):
        law = Linear(Fraction(10))
        step.notes.append(Convert(old=old.name, new=other, law=law, when=Not(when)))
        type_ = step.type()
        step.add(other, type_, convert(_default(old), law, type_).value)
    elif old.name not in step.new:
        step.new[old.name] = old


_TALES: tuple[Callable[[_Step], None], ...] = (_keep, _keep, _move, _move, _move, _split, _join, _retire, _conditional)


def _next(draw: st.DrawFn, old: dict[str, Setting], tag: str) -> tuple[dict[str, Setting], list[Note]]:
    step = _Step(draw, old, draw(st.permutations(sorted(old))), tag, {}, [])
    while step.left:
        draw(st.sampled_from(_TALES))(step)
    if draw(st.booleans()):
        _arrive(step)
    return step.new, step.notes


@st.composite
def _first_settings(draw: st.DrawFn, name: str) -> Setting:
    type_ = draw(st.sampled_from(_TYPES))
    plain = st.integers(0, 9).map(lambda number: Setting(name, type_, short="s", default=Value.of(type_, number)))
    return draw(plain | plain | settings_of_type(name, type_))


def _found(setting: Setting) -> st.SearchStrategy[Value]:
    small = st.integers(0, 70).map(lambda number: Value.of(setting.type, number))
    return small | small | found_values(setting)


@st.composite
def journeys(draw: st.DrawFn) -> Journey:
    """Return a journey of one to five settings through three releases."""
    names = [f"S{number}" for number in range(draw(st.integers(1, 5)))]
    start = {name: draw(_first_settings(name)) for name in names}
    middle, first = _next(draw, start, "b")
    end, second = _next(draw, middle, "c")
    found = {name: draw(_found(setting)) for name, setting in start.items()}
    notes = [
        ChangeNotes(IDENTITY.family, "5.2", "6.0", tuple(first)),
        ChangeNotes(IDENTITY.family, "6.0", "6.1", tuple(second)),
    ]
    return Journey([Catalogue(start), Catalogue(middle), Catalogue(end)], notes, found)
