"""Refits joined to the carry-over sheet: held lines whose law changed get the settings with the closest effect.

What is equal, or as good as equal, is decided as a refit; else the line stays held and the closest settings are one of
its options. Lines that nobody had customised are not touched: their new defaults stand.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rotorwright.changeover.refit_laws import Knowns, RefitLimits, WorkedOut, impossible, stick_curves, work_out
from rotorwright.errors import SettingsError
from rotorwright.settings.conditions import holds
from rotorwright.settings.decisions import REFIT, Decision, DecisionKind, Option, Rule, Write
from rotorwright.settings.identity import release_line
from rotorwright.settings.refits import Refit, RefitKind
from rotorwright.settings.successors.description import number_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.feel.stick_curves import Curve
    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.note_entries import ChangeNotes
    from rotorwright.settings.sheet import CarryOverSheet
    from rotorwright.settings.values import Value

__all__ = ["RefitCurves", "RefitLimits", "curves_of", "refit_sheet"]

_CURVE_POINTS = 101


def refit_sheet(
    sheet: CarryOverSheet,
    *,
    notes: ChangeNotes | None,
    old_catalogue: Catalogue | None = None,
    new_catalogue: Catalogue | None = None,
    limits: RefitLimits | None = None,
) -> CarryOverSheet:
    """Return the sheet with its refits worked out. Nothing else is changed, and doing it twice changes nothing more.

    A law that asks for a setting which is not decided yet has to wait; call again after it is decided.

    Args:
        sheet: as the carry-over made it, decided or not.
        notes: the notes that it was made with.
        old_catalogue: for units and old defaults.
        new_catalogue: for ranges and steps; without it nothing can be refitted.
        limits: how far from equal a refit may be without asking.
    """
    entries = [each for each in notes.entries if isinstance(each, Refit)] if notes is not None else []
    if not entries or not any(map(_is_wanted, sheet.decisions)):
        return sheet
    look = _Look(sheet, old_catalogue, new_catalogue, tuple(entries), limits or RefitLimits())
    return replace(
        sheet, decisions=tuple(_refitted(look, each) if _is_wanted(each) else each for each in sheet.decisions)
    )


@dataclass(frozen=True, slots=True)
class RefitCurves:
    """The curves of one line, to be drawn: points of stick position in percent and rate of turn in deg/s.

    Args:
        names: of the old settings.
        old: as it was.
        refit: with the closest settings; the same as `default` where there are none.
        default: with the new defaults.
    """

    names: tuple[str, ...]
    old: tuple[tuple[float, float], ...]
    refit: tuple[tuple[float, float], ...]
    default: tuple[tuple[float, float], ...]


def curves_of(
    sheet: CarryOverSheet,
    decision: Decision,
    *,
    notes: ChangeNotes | None,
    old_catalogue: Catalogue | None = None,
    new_catalogue: Catalogue | None = None,
) -> RefitCurves | None:
    """Return the stick curves before and after a refit; nothing if the line is about none, or they cannot be drawn.

    The refit is the one that `refit_sheet` decided or offers, whatever a person chose instead.
    """
    entries = tuple(each for each in notes.entries if isinstance(each, Refit)) if notes is not None else ()
    look = _Look(sheet, old_catalogue, new_catalogue, entries, RefitLimits())
    note = look.note(decision) if decision.rule in {Rule.REFIT_WANTED, Rule.NOTE_REFIT} else None
    if note is None or note.kind is not RefitKind.STICK_CURVE:
        return None
    try:
        return _curves(look, note, decision)
    except SettingsError:
        return None  # the line itself says why


def _curves(look: _Look, note: Refit, decision: Decision) -> RefitCurves:
    defaults = {name: value for name, value in zip(decision.new_names, decision.theirs, strict=True) if value}
    offered = next((each.writes for each in decision.options if each.key == REFIT), decision.writes)
    refitted = {**defaults, **{each.name: each.value for each in offered}}
    old, new = stick_curves(note, look.knowns(decision), refitted)
    _, default = stick_curves(note, look.knowns(decision), defaults)
    return RefitCurves(decision.found, _points(old), _points(new), _points(default))


def _points(curve: Curve) -> tuple[tuple[float, float], ...]:
    sticks = [place / (_CURVE_POINTS - 1) for place in range(_CURVE_POINTS)]
    rates = curve.rates_dps(sticks).tolist()
    return tuple((100 * stick, rate) for stick, rate in zip(sticks, rates, strict=True))


def _is_wanted(decision: Decision) -> bool:
    return decision.is_undecided and decision.rule == Rule.REFIT_WANTED


def _refitted(look: _Look, decision: Decision) -> Decision:
    note = look.note(decision)
    if note is None:
        return decision
    try:
        found = work_out(note, look.knowns(decision), look.limits)
    except SettingsError as error:
        return _still_held(look, note, decision, error)
    return _decided(look, note, decision, found) if found.is_close else _offered(look, note, decision, found)


def _decided(look: _Look, note: Refit, decision: Decision, found: WorkedOut) -> Decision:
    reason = f"{look.opening(decision)} With {look.shown(found)}: {found.words}.{_why(note)}"
    return replace(
        decision,
        kind=DecisionKind.REFIT,
        rule=str(Rule.NOTE_REFIT),
        reason=reason,
        writes=_writes(decision, found),
        options=(),
    )


def _offered(look: _Look, note: Refit, decision: Decision, found: WorkedOut) -> Decision:
    told = f"The closest that can be set is {look.shown(found)}: {found.words}."
    reason = f"{look.opening(decision)} {told} That is too far from equal to be taken without you. Please decide."
    option = Option(REFIT, f"Take the closest: {look.shown(found)}; {found.words}", _writes(decision, found))
    return replace(decision, reason=f"{reason}{_why(note)}", options=(option, *_others(decision)))


def _still_held(look: _Look, note: Refit, decision: Decision, error: SettingsError) -> Decision:
    why = error if error.id == "carry-over.refit-impossible" else impossible(error.what.splitlines()[0].rstrip(".:"))
    reason = f"{look.opening(decision)} {why.what} Please decide.{_why(note)}"
    return replace(decision, reason=reason, options=_others(decision))


def _others(decision: Decision) -> tuple[Option, ...]:
    return tuple(each for each in decision.options if each.key != REFIT)


def _writes(decision: Decision, found: WorkedOut) -> tuple[Write, ...]:
    theirs = dict(zip(decision.new_names, decision.theirs, strict=True))
    return tuple(Write(name, value) for name, value in sorted(found.values.items()) if value != theirs.get(name))


def _listed(parts: list[str]) -> str:
    return " and ".join(filter(None, (", ".join(parts[:-1]), parts[-1])))


def _why(note: Refit) -> str:
    why = note.why.strip().rstrip(".")
    return f" {why}." if why else ""


@dataclass(frozen=True, slots=True)
class _Look:
    """Look-ups over the sheet and what is known beside it."""

    sheet: CarryOverSheet
    old_catalogue: Catalogue | None
    new_catalogue: Catalogue | None
    entries: tuple[Refit, ...]
    limits: RefitLimits

    def note(self, decision: Decision) -> Refit | None:
        """Return the entry that asks for the refit of this line."""
        found = self._found()
        for each in self.entries:
            is_about = set(decision.found) == set(each.old) & found.keys() and decision.new_names == each.new
            if is_about and (each.when is None or holds(each.when, found.get) is True):
                return each
        return None

    def knowns(self, decision: Decision) -> Knowns:
        """Return what the laws may ask for; a new setting that another line has not decided on is not known."""
        defaults = self.old_catalogue.defaults if self.old_catalogue else {}
        old = _numbers({**defaults, **self._found()})
        return Knowns(old, _numbers(self._as_left(decision)), self.new_catalogue)

    def opening(self, decision: Decision) -> str:
        """Return what was set, and that the law is another one."""
        parts = [
            f"{name} {self._shown_old(name, ours)} ({self._base_words(name, ours, base)})"
            for name, ours, base in zip(decision.found, decision.ours, decision.base, strict=True)
        ]
        release = f"{self.sheet.family} {release_line(self.sheet.to_release)}".strip()
        works = f"{release if self.sheet.to_release else 'The new release'} works by another law."
        return f"You had set {_listed(parts)}. {works}"

    def shown(self, found: WorkedOut) -> str:
        """Return the new values in words."""
        settings = self.new_catalogue
        assert settings is not None, "nothing is worked out without a catalogue"
        return _listed([f"{name} {settings[name].show(value)}" for name, value in sorted(found.values.items())])

    def _base_words(self, name: str, ours: Value, base: Value | None) -> str:
        if base is None:
            return "old default not known"
        return "its default" if base == ours else f"default {self._shown_old(name, base)}"

    def _shown_old(self, name: str, value: Value) -> str:
        setting = self.old_catalogue.get(name) if self.old_catalogue else None
        return setting.show(value) if setting is not None and setting.type is value.type else value.text

    def _found(self) -> dict[str, Value]:
        return {name: value for each in self.sheet.decisions for name, value in zip(each.found, each.ours, strict=True)}

    def _as_left(self, asking: Decision) -> dict[str, Value]:
        known = {each.name: each.default for each in self.sheet.arrivals}
        for each in self.sheet.decisions:
            known |= zip(each.new_names, each.theirs, strict=True)
            known |= {write.name: write.value for write in each.writes_in_force}
        for each in self.sheet.undecided:
            known |= dict.fromkeys(each.new_names if each.found != asking.found else ())
        return {name: value for name, value in known.items() if value is not None}


def _numbers(values: Mapping[str, Value]) -> dict[str, float]:
    """Return the finite numbers; a text from a console counts as the number that it spells."""
    found = {name: number_of(value.text) for name, value in values.items()}
    return {name: number for name, number in found.items() if number is not None}
