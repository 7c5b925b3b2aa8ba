"""Refits composed with other notes: the formulas speak of the settings of other releases, by putting laws into them."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from rotorwright.settings.between import Between, NotComposableError, places, whys
from rotorwright.settings.laws import SAME, Linear, Reciprocal
from rotorwright.settings.note_entries import Convert, Note, Rename, new_names, old_names
from rotorwright.settings.refits import FORMULA_NAME, FilterForm, Refit, RefitKind

if TYPE_CHECKING:
    import re
    from collections.abc import Mapping, Sequence
    from fractions import Fraction

    from rotorwright.settings.laws import Law


def refit_after(firsts: Sequence[Note], refit: Refit, between: Between) -> Refit:
    """Return a refit of the second notes in settings of the old release.

    Raises:
        NotComposableError: its settings do not come by renaming or by a linear or reciprocal law.
    """
    texts = (refit.old_law, refit.old_loop, *(each.cutoff for each in refit.old_filters))
    wanted = {*refit.old, *(name for text in texts for name in FORMULA_NAME.findall(text))}
    back = {name: _before(name, between) for name in sorted(wanted) if not _is_same(name, between)}
    old = tuple(dict.fromkeys(name for each in refit.old for name in _old_of(each, between)))
    return replace(
        refit,
        old=old,
        old_law=_put(refit.old_law, back),
        old_loop=_put(refit.old_loop, back),
        old_filters=tuple(replace(each, cutoff=_put(each.cutoff, back)) for each in refit.old_filters),
        why=whys((*firsts, refit)),
        place=places((*firsts, refit)),
    )


def refit_before(refit: Refit, seconds: Sequence[Note], between: Between) -> Refit:
    """Return a refit of the first notes in settings of the new release.

    Raises:
        NotComposableError: its settings go on otherwise than by renaming or by a linear or reciprocal law.
    """
    texts = (refit.new_law, refit.new_loop, *(each.cutoff for each in refit.new_filters))
    wanted = {*refit.new, *(name for text in texts for name in FORMULA_NAME.findall(text))}
    speaking = {name: note for note in between.second.entries for name in old_names(note)}
    forth = {name: _after(name, speaking[name]) for name in sorted(wanted) if name in speaking}
    new = tuple(name for each in refit.new for name in (new_names(speaking[each]) if each in speaking else (each,)))
    return replace(
        refit,
        new=new,
        new_law=_put(refit.new_law, forth),
        new_loop=_put(refit.new_loop, forth),
        new_filters=tuple(_filter_after(each, forth, refit.new) for each in refit.new_filters),
        why=whys((refit, *seconds)),
        place=places((refit, *seconds)),
    )


def refit_twice(first: Refit, second: Refit) -> Refit:
    """Return the refit from the first law to the last.

    Raises:
        NotComposableError: they are not two stick curves of the same settings.
    """
    alike = first.kind is second.kind is RefitKind.STICK_CURVE and set(first.new) == set(second.old)
    if not alike or first.when is not None or second.when is not None:
        raise NotComposableError("two refits one after the other are not of the same stick curve")
    return replace(
        second, old=first.old, old_law=first.old_law, why=whys((first, second)), place=places((first, second))
    )


def _is_same(name: str, between: Between) -> bool:
    return name not in between.givers and name not in between.spoken_of


def _old_of(name: str, between: Between) -> tuple[str, ...]:
    givers = between.givers.get(name)
    return old_names(givers[0]) if givers else (name,)


def _before(name: str, between: Between) -> str:
    givers = between.givers.get(name, ())
    if len(givers) != 1 or givers[0].when is not None:
        raise NotComposableError(f"{name} does not come from one setting of the old release")
    note = givers[0]
    if not isinstance(note, Rename | Convert):
        raise NotComposableError(f"{name} comes otherwise than by a new name or unit")
    return _expression(note.old, SAME if isinstance(note, Rename) else note.law)


def _after(name: str, note: Note) -> str:
    if note.when is not None or not isinstance(note, Rename | Convert):
        raise NotComposableError(f"{name} goes on otherwise than by a new name or unit")
    law = SAME if isinstance(note, Rename) else note.law
    if not isinstance(law, Linear | Reciprocal):
        raise NotComposableError(f"the law of {name} cannot be put into a formula")
    return _expression(note.new, law.inverse())


def _filter_after(form: FilterForm, forth: Mapping[str, str], names: Sequence[str]) -> FilterForm:
    cutoff = _put(form.cutoff, forth)
    if form.cutoff in names and not FORMULA_NAME.fullmatch(cutoff):
        raise NotComposableError(f"the cutoff {form.cutoff} counts in another unit afterwards")
    return replace(form, cutoff=cutoff)


def _expression(name: str, law: Law) -> str:
    match law:
        case Linear() if law == SAME:
            return name
        case Linear():
            offset = f" + {_number(law.offset)}" if law.offset else ""
            return f"({_number(law.factor)} * {name}{offset})"
        case Reciprocal():
            return f"({_number(law.numerator)} / {name})"
        case _:
            raise NotComposableError(f"the law of {name} cannot be put into a formula")


def _number(number: Fraction) -> str:
    if number.denominator > 1:
        return f"({number.numerator} / {number.denominator})"
    return str(number.numerator) if number >= 0 else f"({number.numerator})"


def _put(text: str, names: Mapping[str, str]) -> str:
    def exchanged(match: re.Match[str]) -> str:
        return names.get(match[0], match[0])

    return FORMULA_NAME.sub(exchanged, text)
