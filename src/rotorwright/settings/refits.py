"""Refit entries of change notes: the law changed, and an equal effect has to be computed from both laws.

Here the entry is only read and carried: formulas stay text (docs/reference/formulas.md) and nothing is computed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from typing import TYPE_CHECKING

from rotorwright.settings.note_fields import choice_of, different_names, filled, positive
from rotorwright.settings.structured import likely

if TYPE_CHECKING:
    from rotorwright.settings.conditions import Condition
    from rotorwright.settings.structured import Table

FORMULA_NAME = re.compile(r"(?<![A-Za-z0-9_.])[A-Za-z_][A-Za-z0-9_.]*")
"""A name in a formula, of a setting or of a function."""

FILTER_KINDS = ("lag-euler", "lag-matched", "lag-bilinear", "lowpass", "notch", "butterworth")
_MOST_FILTERS = 8
_MOST_COPIES = 8
_HIGHEST_ORDER = 16


class RefitKind(StrEnum):
    """What has to stay equal."""

    STICK_CURVE = "stick-curve"
    FILTER_DELAY = "filter-delay"
    FILTER_ATTENUATION = "filter-attenuation"


class DelayMeasure(StrEnum):
    """Which delay has to stay equal."""

    GROUP = "group"
    PHASE = "phase"


@dataclass(frozen=True, slots=True, kw_only=True)
class FilterForm:
    """One filter of a chain, as a book describes it.

    Args:
        kind: one of `FILTER_KINDS`.
        cutoff: formula for the cutoff in Hz (of a notch its centre), in settings of its release; of the filter to be
            refitted just the name of the new setting.
        order: of a `butterworth`; else 0.
        q: quality of a `lowpass` or `notch`; nothing for the usual one.
        copies: how many of it follow each other.
        corrected: whether the cutoff of each copy of a lag is raised so that all together have the nominal one.
    """

    kind: str
    cutoff: str
    order: int = 0
    q: Fraction | None = None
    copies: int = 1
    corrected: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Refit:
    """The law behind some settings changed; the new settings are those whose effect is closest to the old one.

    Args:
        old: names of the old release whose values have the effect.
        new: names of the new release that are to be found.
        kind: what has to stay equal.
        old_law: for a stick curve: formula in deg/s of `stick` and the old names.
        new_law: for a stick curve: formula in deg/s of `stick` and the new names.
        centre_weight: for a stick curve: how much more the middle of the stick counts, 1 for not at all.
        old_filters: for filters: the chain of the old release.
        new_filters: for filters: the chain of the new release; exactly one has one of `new` as its cutoff.
        old_loop: for filters: formula for the loop rate in Hz, in settings of the old release.
        new_loop: for filters: formula for the loop rate in Hz, in settings of the new release.
        at_hz: for filters: the frequency where the delay is compared.
        band_hz: for `filter-attenuation`: the band whose attenuation is kept.
        delay: for `filter-delay`: which delay.
        why: in words, for a person.
        when: under which condition the entry holds; nothing for always.
        place: of the entry in the file.
    """

    old: tuple[str, ...]
    new: tuple[str, ...]
    kind: RefitKind
    old_law: str = ""
    new_law: str = ""
    centre_weight: Fraction = Fraction(1)
    old_filters: tuple[FilterForm, ...] = ()
    new_filters: tuple[FilterForm, ...] = ()
    old_loop: str = ""
    new_loop: str = ""
    at_hz: Fraction | None = None
    band_hz: tuple[Fraction, Fraction] | None = None
    delay: DelayMeasure = DelayMeasure.GROUP
    why: str = ""
    when: Condition | None = None
    place: str = field(default="", compare=False)

    def reversed(self) -> Refit | str:
        """Return the note of the way back, or why there is none."""
        if self.when is not None:
            return "its condition speaks of settings as they were found in the old release"
        if self.kind is not RefitKind.STICK_CURVE:
            return "the old release offers other filters, and the note does not say which of them are to be found"
        return Refit(
            old=self.new,
            new=self.old,
            kind=self.kind,
            old_law=self.new_law,
            new_law=self.old_law,
            centre_weight=self.centre_weight,
            why=self.why,
            place=self.place,
        )


_COMMON = ("old", "new", "kind", "why", "when")
_STICK = ("old_law", "new_law", "centre_weight")
_FILTERS = ("old_filters", "new_filters", "old_loop", "new_loop", "at_hz")


def read_refit(entry: Table, when: Condition | None) -> Refit:
    """Return the refit that a table describes.

    Raises:
        DataFaultError: a key is missing, or not of this kind of refit.
    """
    kind = choice_of(entry, "kind", RefitKind, "refit")
    if kind is RefitKind.STICK_CURVE:
        entry.only(*_COMMON, *_STICK)
        return _stick_curve(entry, when)
    entry.only(*_COMMON, *_FILTERS, "delay" if kind is RefitKind.FILTER_DELAY else "band_hz")
    return _filters(entry, kind, when)


def _stick_curve(entry: Table, when: Condition | None) -> Refit:
    old, new = different_names(entry, "old", least=1), different_names(entry, "new", least=1)
    old_law, new_law = filled(entry, "old_law"), filled(entry, "new_law")
    for key, law, names in (("old_law", old_law, old), ("new_law", new_law, new)):
        unused = set(names) - set(FORMULA_NAME.findall(law))
        if unused:
            entry.fault(key, f"the formula does not use {', '.join(sorted(unused))}")
    return Refit(
        old=old,
        new=new,
        kind=RefitKind.STICK_CURVE,
        old_law=old_law,
        new_law=new_law,
        centre_weight=positive(entry, "centre_weight") if "centre_weight" in entry else Fraction(1),
        why=entry.text("why", ""),
        when=when,
        place=entry.where,
    )


def _filters(entry: Table, kind: RefitKind, when: Condition | None) -> Refit:
    old, new = different_names(entry, "old", least=1), different_names(entry, "new", least=1)
    new_filters = _chain(entry, "new_filters")
    if sum(each.cutoff in new for each in new_filters) != 1:
        words = "exactly one filter has the name of a new setting for its cutoff: the one that is to be found"
        entry.fault("new_filters", words)
    return Refit(
        old=old,
        new=new,
        kind=kind,
        old_filters=_chain(entry, "old_filters"),
        new_filters=new_filters,
        old_loop=filled(entry, "old_loop"),
        new_loop=filled(entry, "new_loop"),
        at_hz=positive(entry, "at_hz"),
        band_hz=_band(entry) if kind is RefitKind.FILTER_ATTENUATION else None,
        delay=_delay(entry),
        why=entry.text("why", ""),
        when=when,
        place=entry.where,
    )


def _delay(entry: Table) -> DelayMeasure:
    text = entry.text("delay", "group")
    if text not in set(DelayMeasure):
        entry.fault("delay", f"{text!r} is no delay; known are {', '.join(DelayMeasure)}")
    return DelayMeasure(text)


def _band(entry: Table) -> tuple[Fraction, Fraction]:
    band = entry.table("band_hz").only("low", "high")
    low, high = positive(band, "low"), positive(band, "high")
    if low >= high:
        band.fault("low", "the band begins below its end")
    return low, high


def _chain(entry: Table, key: str) -> tuple[FilterForm, ...]:
    filters = tuple(_filter(each) for each in entry.tables(key))
    if not 1 <= len(filters) <= _MOST_FILTERS:
        entry.fault(key, f"a chain has 1 to {_MOST_FILTERS} filters")
    return filters


def _filter(table: Table) -> FilterForm:
    table.only("kind", "cutoff", "order", "q", "copies", "corrected")
    kind = table.text("kind")
    if kind not in FILTER_KINDS:
        meant = likely(kind, FILTER_KINDS)
        table.fault("kind", f"{kind!r} is no filter; known are {', '.join(FILTER_KINDS)}", meant=meant)
    return FilterForm(
        kind=kind,
        cutoff=filled(table, "cutoff"),
        order=_count(table, "order", _HIGHEST_ORDER) if kind == "butterworth" else _none(table, "order", kind),
        q=positive(table, "q") if "q" in table else None,
        copies=_count(table, "copies", _MOST_COPIES) if "copies" in table else 1,
        corrected=table.flag("corrected", default=False),
    )


def _count(table: Table, key: str, most: int) -> int:
    number = table.whole(key)
    if not 1 <= number <= most:
        table.fault(key, f"a number from 1 to {most} is expected")
    return number


def _none(table: Table, key: str, kind: str) -> int:
    if key in table:
        table.fault(key, f"a {kind} has no {key}; say it with copies, or take a butterworth")
    return 0
