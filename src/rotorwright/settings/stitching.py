"""Stitching entries of two change notes into one that takes every value the same way."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rotorwright.settings.between import Between, NotComposableError, places, whys
from rotorwright.settings.laws import SAME, BitField, Chain, Labels, Law
from rotorwright.settings.note_entries import (
    Convert,
    Converted,
    Join,
    Joined,
    Note,
    Relabel,
    Rename,
    Retire,
    Source,
    Split,
    SplitPart,
    TakenBits,
    Woven,
    WovenPart,
    laws_of,
    old_names,
)
from rotorwright.settings.weaving import as_joined, names_in

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from rotorwright.settings.conditions import Condition
    from rotorwright.settings.values import SettingType


@dataclass(frozen=True, slots=True)
class _Line:
    """One old setting and the laws that it goes through, with the type of the setting after each."""

    old: str
    laws: tuple[Law, ...]
    types: tuple[SettingType | None, ...]

    @property
    def law(self) -> Law:
        """The laws as one."""
        if len(self.laws) < 2:
            return self.laws[0] if self.laws else SAME
        return Chain(self.laws, self.types[:-1])


def stitch(
    firsts: Sequence[Note], seconds: Sequence[Note], between: Between, when: Condition | None = None
) -> tuple[Note, ...]:
    """Return the entries that say what `firsts` and then `seconds` say; none where nothing changed in the end.

    Raises:
        NotComposableError: there is no such entry; the words say why.
    """
    sources = _sources(firsts, between)
    seconds = [note for note in seconds if _has_source(note, sources, between)]
    firsts_and_seconds = (*firsts, *seconds)
    outputs = _outputs(seconds, sources, between)
    old = _old_names(firsts, seconds, sources)
    why, place = whys(firsts_and_seconds), places(firsts_and_seconds)
    if not outputs:
        lost = " ".join(dict.fromkeys(each.loses for each in firsts_and_seconds if isinstance(each, Retire)))
        return tuple(Retire(old=name, loses=lost or "see the notes", why=why, when=when, place=place) for name in old)
    return _entry(old, outputs, _taken(firsts, seconds, sources, between), _About(why, when, place), between)


@dataclass(frozen=True, slots=True)
class _About:
    why: str
    when: Condition | None
    place: str


def _sources(firsts: Sequence[Note], between: Between) -> dict[str, Source]:
    """Return where each setting of the release between comes from."""
    sources: dict[str, Source] = {}
    for note in firsts:
        for name, source in _given(note):
            if name in sources:
                raise NotComposableError(f"two entries give {name} its value in the release between")
            sources[name] = source if isinstance(source, str) else replace(source, type=between.type(name))
    return sources


def _given(note: Note) -> tuple[tuple[str, Source], ...]:
    if isinstance(note, Join):
        return ((note.new, as_joined(note)),)
    if isinstance(note, Woven):
        return tuple((part.new, part.value) for part in note.into)
    if isinstance(note, Rename | Convert | Relabel | Split):
        return tuple((new, Converted(note.old, law)) for new, law in laws_of(note))
    return ()


def _has_source(note: Note, sources: Mapping[str, Source], between: Between) -> bool:
    missing = [name for name in old_names(note) if name not in sources and not between.comes_unchanged(name)]
    if missing and len(missing) < len(old_names(note)):
        raise NotComposableError(f"{' and '.join(missing)} is new in the release between")
    return not missing


def _outputs(seconds: Sequence[Note], sources: Mapping[str, Source], between: Between) -> list[tuple[str, Source]]:
    outputs: list[tuple[str, Source]] = []
    for note in seconds:
        outputs += [(name, _traced(source, sources, between)) for name, source in _given(note)]
    spoken_of = {name for note in seconds for name in old_names(note)}
    outputs += [(name, _last(source)) for name, source in sources.items() if name not in spoken_of]
    if len({name for name, _ in outputs}) < len(outputs):
        raise NotComposableError("two entries give one new setting its value")
    return outputs


def _traced(source: Source, sources: Mapping[str, Source], between: Between) -> Source:
    """Return a source in settings of the old release instead of the one between."""
    match source:
        case Converted():
            return replace(source, source=_traced(source.source, sources, between))
        case Joined():
            return replace(source, sources=tuple(_traced(each, sources, between) for each in source.sources))
        case _:
            return sources.get(source) or _unchanged(source, between)


def _unchanged(name: str, between: Between) -> Source:
    type_ = between.type(name)
    return name if type_ is None or type_ is between.old_type(name) else Converted(name, SAME, type_)


def _last(source: Source) -> Source:
    return source if isinstance(source, str) else replace(source, type=None)


def _old_names(firsts: Sequence[Note], seconds: Sequence[Note], sources: Mapping[str, Source]) -> tuple[str, ...]:
    names = [name for note in firsts for name in old_names(note)]
    names += [name for note in seconds for name in old_names(note) if name not in sources]
    return tuple(dict.fromkeys(names))


def _taken(
    firsts: Sequence[Note], seconds: Sequence[Note], sources: Mapping[str, Source], between: Between
) -> tuple[TakenBits, ...]:
    taken: list[TakenBits] = []
    for place, note in enumerate((*firsts, *seconds)):
        is_first = place < len(firsts)
        if isinstance(note, Split) and (fields := [p.law for p in note.into if isinstance(p.law, BitField)]):
            if len(fields) == len(note.into):
                source = note.old if is_first else _traced(note.old, sources, between)
                taken.append(TakenBits(source, _mask(fields)))
        elif isinstance(note, Woven):
            taken += (
                note.taken
                if is_first
                else [TakenBits(_traced(each.value, sources, between), each.mask) for each in note.taken]
            )
    return tuple(taken)


def _mask(fields: Sequence[BitField]) -> int:
    mask = 0
    for each in fields:
        mask |= each.mask
    return mask


def _entry(
    old: tuple[str, ...],
    outputs: Sequence[tuple[str, Source]],
    taken: tuple[TakenBits, ...],
    about: _About,
    between: Between,
) -> tuple[Note, ...]:
    lines = [_line(source, between, new) for new, source in outputs]
    if len(old) == 1 and all(line is not None for line in lines):
        named = [(name, line) for (name, _), line in zip(outputs, lines, strict=True) if line is not None]
        plain = _plain_split(old[0], named, taken, about) if taken else _plain(old[0], named, about)
        if plain is not None:
            return plain
    join = _plain_join(old, outputs, taken, about, between)
    return join or (_woven(old, outputs, taken, about),)


def _line(source: Source, between: Between, new: str = "") -> _Line | None:
    """Return a source as laws in a row, without steps that change nothing; nothing if several settings are in it.

    `new` is the setting of the new release, for the last step.
    """
    if isinstance(source, Joined):
        return None
    if isinstance(source, str):
        return _Line(source, (), ())
    inner = _line(source.source, between)
    if inner is None:
        return None
    before = _type_before(source.source, between)
    after = between.new_type(new) if new else source.type
    if source.law == SAME and (before is after or (before if new else after) is None):
        return inner
    return _Line(inner.old, (*inner.laws, source.law), (*inner.types, source.type))


def _type_before(source: Source, between: Between) -> SettingType | None:
    return between.old_type(source) if isinstance(source, str) else source.type


def _plain(old: str, named: Sequence[tuple[str, _Line]], about: _About) -> tuple[Note, ...]:
    if len(named) > 1:
        into = tuple(SplitPart(name, line.law) for name, line in named)
        return (Split(old=old, into=into, why=about.why, when=about.when, place=about.place),)
    (new, line) = named[0]
    law = _one_relabelling(line)
    if law == SAME:
        same = old == new and about.when is None
        return () if same else (_rename(old, new, about),)
    if isinstance(law, Labels):
        return (Relabel(old=old, new=new, labels=law, why=about.why, when=about.when, place=about.place),)
    return (Convert(old=old, new=new, law=law, why=about.why, when=about.when, place=about.place),)


def _rename(old: str, new: str, about: _About) -> Note:
    if old == new:
        return Convert(old=old, new=new, law=SAME, why=about.why, when=about.when, place=about.place)
    return Rename(old=old, new=new, why=about.why, when=about.when, place=about.place)


def _one_relabelling(line: _Line) -> Law:
    """Return the laws of a line as one; several relabellings become one relabelling."""
    if len(line.laws) < 2 or not all(isinstance(each, Labels) for each in line.laws):
        return line.law
    maps = [each.numbers for each in line.laws if isinstance(each, Labels)]
    numbers = dict(maps[0])
    for each in maps[1:]:
        numbers = {old: each[new] for old, new in numbers.items() if new in each}
    return Labels(numbers)


def _plain_split(
    old: str, named: Sequence[tuple[str, _Line]], taken: tuple[TakenBits, ...], about: _About
) -> tuple[Note, ...] | None:
    """Return a split by bits, if each part is just some bits of the old setting and no part is lost."""
    fields = [line.law for _, line in named if isinstance(line.law, BitField)]
    if len(fields) < len(named) or taken != (TakenBits(old, _mask(fields)),):
        return None
    into = tuple(SplitPart(name, line.law) for name, line in named)
    return (Split(old=old, into=into, why=about.why, when=about.when, place=about.place),)


def _plain_join(
    old: tuple[str, ...],
    outputs: Sequence[tuple[str, Source]],
    taken: tuple[TakenBits, ...],
    about: _About,
    between: Between,
) -> tuple[Note, ...] | None:
    """Return a join, if the old settings are joined just as they are and the result is taken as it is."""
    if len(outputs) > 1 or taken:
        return None
    (new, source) = outputs[0]
    if isinstance(source, Converted) and source.law == SAME and _is_exact(source.source):
        source = source.source
    if not isinstance(source, Joined):
        return None
    lines = [_line(each, between) for each in source.sources]
    names = tuple(line.old for line in lines if line is not None and not line.laws)
    if len(names) < len(lines) or len(set(names)) < len(names) or set(names) != set(old):
        return None
    widths = tuple(width for width in source.widths if width is not None)
    return (
        Join(
            old=names,
            new=new,
            how=source.how,
            bits=source.bits,
            widths=widths if len(widths) == len(names) else (),
            why=about.why,
            when=about.when,
            place=about.place,
        ),
    )


def _is_exact(source: Source) -> bool:
    """Whether the setting between holds a joined value as it is, or not at all."""
    return isinstance(source, Joined) and (source.type is None or source.type.is_whole)


def _woven(
    old: tuple[str, ...], outputs: Sequence[tuple[str, Source]], taken: tuple[TakenBits, ...], about: _About
) -> Woven:
    into = tuple(WovenPart(name, source) for name, source in outputs)
    for source in (*(each for _, each in outputs), *(each.value for each in taken if each.value not in old)):
        _refuse_unknown_types(source, is_last=any(source is each for _, each in outputs))
    return Woven(old=old, into=into, taken=taken, why=about.why, when=about.when, place=about.place)


def _refuse_unknown_types(source: Source, *, is_last: bool) -> None:
    if isinstance(source, str):
        return
    if source.type is None and not is_last:
        names = " and ".join(names_in(source))
        raise NotComposableError(f"what {names} becomes in the release between has no known type")
    for each in (source.source,) if isinstance(source, Converted) else source.sources:
        _refuse_unknown_types(each, is_last=False)
