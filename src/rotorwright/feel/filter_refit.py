"""Refit of one cutoff so that a chain of filters feels as it did, at another loop rate or with another kind of filter.

One of two things can be asked to stay equal: the delay at one frequency (what the pilot and the control loop feel), or
the attenuation in a band (what the motors are spared). Whatever else changed is reported, with both numbers.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from rotorwright.feel.filters import Chain, Filter, FilterError, crossing, half_power_hz, log_spaced

if TYPE_CHECKING:
    from collections.abc import Callable

_SCAN_POINTS = 160
_BAND_POINTS = 41
_FLOOR_DB = -120.0  # below this a vibration is gone; the centre of a notch, at minus infinity, counts as this


class DelayKind(StrEnum):
    """Which delay is meant: of a slow change around the frequency (group) or of a steady vibration at it (phase)."""

    GROUP = "group"
    PHASE = "phase"


@dataclass(frozen=True, slots=True)
class CutoffOffer:
    """What the new release offers: a kind of filter, and the cutoffs that may be set.

    Args:
        filter: the new filter; its cutoff is what is looked for, so the one given here does not count.
        minimum_hz: the lowest cutoff that may be set.
        maximum_hz: the highest one; cutoffs beyond what the loop rate allows are left out by themselves.
        step_hz: the step of the setting, counted from the minimum; any number in range where nothing is given.
        beside: filters of the new chain that are set already.
        with_it: filters that get the same cutoff, such as the other pairs of poles of a Butterworth filter.
    """

    filter: Filter
    minimum_hz: float
    maximum_hz: float
    step_hz: float | None = None
    beside: tuple[Filter, ...] = ()
    with_it: tuple[Filter, ...] = ()

    def __post_init__(self) -> None:
        if not 0 < self.minimum_hz <= self.maximum_hz < math.inf:
            raise _offer_error(
                f"The cutoff has the range {self.minimum_hz:g} to {self.maximum_hz:g} Hz, which is none."
            )
        if self.step_hz is not None and not 0 < self.step_hz < math.inf:
            raise _offer_error(f"The cutoff has the step {self.step_hz:g} Hz; a step is larger than zero.")

    def chain(self, cutoff_hz: float, loop_hz: float) -> Chain:
        """Return the new chain with this cutoff."""
        moved = (each.at(cutoff_hz) for each in (self.filter, *self.with_it))
        return Chain((*self.beside, *moved), loop_hz)

    def range_hz(self, loop_hz: float) -> tuple[float, float]:
        """Return the lowest and highest cutoff that may be set and that the loop rate allows.

        Raises:
            FilterError: there is none.
        """
        raised = max(each.at(1.0).section_cutoff_hz for each in (self.filter, *self.with_it))
        most = min(self.maximum_hz, 0.499 * loop_hz / raised)
        if self.step_hz is not None:
            most = self.minimum_hz + math.floor((most - self.minimum_hz) / self.step_hz + 1e-9) * self.step_hz
        if most < self.minimum_hz:
            raise _offer_error(f"No cutoff from {self.minimum_hz:g} Hz up can run in a loop of {loop_hz:g} Hz.")
        return self.minimum_hz, most

    def neighbours_hz(self, cutoff_hz: float, loop_hz: float) -> tuple[float, ...]:
        """Return the settable cutoffs just below and above `cutoff_hz`; one only where there are no steps."""
        low, high = self.range_hz(loop_hz)
        if self.step_hz is None:
            # Seven digits are what a 32-bit float holds, and they read better.
            return (min(max(float(f"{cutoff_hz:.7g}"), low), high),)
        steps = (cutoff_hz - low) / self.step_hz
        # Rounded to a millionth, because a step of a tenth has no exact binary form.
        on_step = (round(low + whole * self.step_hz, 6) for whole in (math.floor(steps), math.ceil(steps)))
        return tuple(sorted({min(max(each, low), high) for each in on_step}))


@dataclass(frozen=True, slots=True)
class Change:
    """One measure of both chains. `is_kept` says whether the difference is within the tolerance for it."""

    measure: str
    unit: str
    before: float
    after: float
    is_kept: bool

    @property
    def words(self) -> str:
        """The change as a person reads it."""
        kept = "kept" if self.is_kept else "not kept"
        return f"{self.measure}: {self.before:.4g} {self.unit} before, {self.after:.4g} {self.unit} after ({kept})"


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How large a difference still counts as kept; our choice, no source: below what repeats from flight to flight."""

    gain_db: float = 0.5
    phase_deg: float = 2.0
    delay_s: float = 0.05e-3
    cutoff_share: float = 0.02


@dataclass(frozen=True, slots=True)
class FilterRefit:
    """The new cutoff, the new chain, and every measure before and after.

    Args:
        filter: the offered filter with its new cutoff.
        chain: the whole new chain.
        target: the measure that was asked to stay equal.
        changes: all measures, the target first.
        reached: whether some cutoff in range gives the target; if not, the nearest one was taken.
    """

    filter: Filter
    chain: Chain
    target: str
    changes: tuple[Change, ...]
    reached: bool

    @property
    def not_kept(self) -> tuple[Change, ...]:
        """What could not be kept."""
        return tuple(each for each in self.changes if not each.is_kept)


def refit_to_delay(
    old: Chain,
    offer: CutoffOffer,
    *,
    loop_hz: float,
    frequency_hz: float,
    kind: DelayKind = DelayKind.GROUP,
    tolerance: Tolerance | None = None,
) -> FilterRefit:
    """Return the cutoff with which the new chain delays `frequency_hz` as the old one did.

    The group delay of a filter has the same value at two cutoffs, one below the frequency and one above; the one above
    is taken, because a filter below it would take the signal away instead of delaying it.

    Raises:
        FilterError: a filter cannot run at its loop rate, or the frequency is not below half of a loop rate.
    """
    wanted = _delay(old, frequency_hz, kind)

    def too_late(cutoff_hz: float) -> float:
        return _delay(offer.chain(cutoff_hz, loop_hz), frequency_hz, kind) - wanted

    exact, reached = _highest_root(too_late, *offer.range_hz(loop_hz))
    cutoff = min(offer.neighbours_hz(exact, loop_hz), key=lambda each: abs(too_late(each)))
    chain = offer.chain(cutoff, loop_hz)
    names = {DelayKind.GROUP: "group delay", DelayKind.PHASE: "phase delay"}
    target = f"{names[kind]} at {frequency_hz:g} Hz"
    tolerance = tolerance or Tolerance()
    changes = _changes_at(old, chain, frequency_hz, tolerance)
    changes = [*(each for each in changes if each.measure == target), *(e for e in changes if e.measure != target)]
    return FilterRefit(offer.filter.at(cutoff), chain, target, (*changes, *_half_power(old, chain, tolerance)), reached)


def refit_to_attenuation(
    old: Chain,
    offer: CutoffOffer,
    *,
    loop_hz: float,
    band_hz: tuple[float, float],
    delay_at_hz: float,
    tolerance: Tolerance | None = None,
) -> FilterRefit:
    """Return the cutoff with which the new chain attenuates a band as the old one did.

    The largest difference in dB in the band is made smallest. Attenuation beyond 120 dB counts as 120 dB. The delay at
    `delay_at_hz` and the half-power frequency are reported beside it.

    Raises:
        FilterError: a filter cannot run at its loop rate, or a frequency is not below half of a loop rate.
    """
    frequencies = _band(band_hz)
    wanted = _gains_db(old, frequencies)

    def apart(cutoff_hz: float) -> float:
        gains = _gains_db(offer.chain(cutoff_hz, loop_hz), frequencies)
        return max(abs(new - was) for new, was in zip(gains, wanted, strict=True))

    exact = _lowest_point(apart, *offer.range_hz(loop_hz))
    cutoff = min(offer.neighbours_hz(exact, loop_hz), key=apart)
    chain = offer.chain(cutoff, loop_hz)
    tolerance = tolerance or Tolerance()
    changes = _band_changes(old, chain, frequencies, tolerance)
    rest = (*_changes_at(old, chain, delay_at_hz, tolerance), *_half_power(old, chain, tolerance))
    reached = all(each.is_kept for each in changes)
    return FilterRefit(offer.filter.at(cutoff), chain, changes[0].measure, (*changes, *rest), reached)


def _delay(chain: Chain, frequency_hz: float, kind: DelayKind) -> float:
    response = chain.response(frequency_hz)
    return response.group_delay_s if kind is DelayKind.GROUP else response.phase_delay_s


def _gains_db(chain: Chain, frequencies: list[float]) -> list[float]:
    return [max(each.gain_db, _FLOOR_DB) for each in chain.responses(frequencies)]


def _band(band_hz: tuple[float, float]) -> list[float]:
    low, high = band_hz
    if not 0 < low <= high < math.inf:
        raise _offer_error(f"The band {low:g} to {high:g} Hz is none.")
    return log_spaced(low, high, _BAND_POINTS if high > low else 1)


def _highest_root(curve: Callable[[float], float], low: float, high: float) -> tuple[float, bool]:
    """Return the highest cutoff where `curve` is zero, or else the one where it is nearest to it.

    Only cutoffs from the one with the longest delay upwards count: with one below it the delay is short again because
    next to nothing passes any more.
    """
    points = log_spaced(low, high, _SCAN_POINTS if high > low else 1)
    values = [curve(point) for point in points]
    longest = max(range(len(points)), key=lambda place: values[place])
    for place in range(len(points) - 1, longest, -1):
        if values[place] == 0:
            return points[place], True
        if (values[place] > 0) != (values[place - 1] > 0):
            return crossing(curve, low=points[place - 1], high=points[place]), True
    best = min(range(longest, len(points)), key=lambda place: abs(values[place]))
    return points[best], values[best] == 0


def _lowest_point(curve: Callable[[float], float], low: float, high: float) -> float:
    """Return the cutoff where `curve` is lowest: a scan, then thirds around its best point."""
    points = log_spaced(low, high, _SCAN_POINTS if high > low else 1)
    best = min(range(len(points)), key=lambda place: curve(points[place]))
    low, high = points[max(best - 1, 0)], points[min(best + 1, len(points) - 1)]
    for _ in range(60):
        third = (high - low) / 3
        if curve(low + third) <= curve(high - third):
            high -= third
        else:
            low += third
    return (low + high) / 2


def _changes_at(old: Chain, new: Chain, frequency_hz: float, tolerance: Tolerance) -> list[Change]:
    before, after = old.response(frequency_hz), new.response(frequency_hz)
    at = f"at {frequency_hz:g} Hz"
    return [
        _change(
            f"group delay {at}", "ms", before.group_delay_s * 1e3, after.group_delay_s * 1e3, tolerance.delay_s * 1e3
        ),
        _change(
            f"phase delay {at}", "ms", before.phase_delay_s * 1e3, after.phase_delay_s * 1e3, tolerance.delay_s * 1e3
        ),
        _change(f"phase {at}", "deg", before.phase_deg, after.phase_deg, tolerance.phase_deg),
        _change(f"gain {at}", "dB", before.gain_db, after.gain_db, tolerance.gain_db),
    ]


def _band_changes(old: Chain, new: Chain, frequencies: list[float], tolerance: Tolerance) -> tuple[Change, ...]:
    """Return the gain where the two differ most, and at both ends of the band."""
    rows = list(zip(frequencies, _gains_db(old, frequencies), _gains_db(new, frequencies), strict=True))
    worst = max(rows, key=lambda row: abs(row[2] - row[1]))
    named = [(f"gain in the band, largest change (at {worst[0]:.4g} Hz)", worst)]
    named += [(f"gain at {row[0]:.4g} Hz", row) for row in {rows[0]: None, rows[-1]: None}]
    return tuple(_change(words, "dB", row[1], row[2], tolerance.gain_db) for words, row in named)


def _half_power(old: Chain, new: Chain, tolerance: Tolerance) -> tuple[Change, ...]:
    before, after = half_power_hz(old), half_power_hz(new)
    if before is None or after is None:
        return ()
    return (_change("half power (-3 dB)", "Hz", before, after, tolerance.cutoff_share * before),)


def _change(measure: str, unit: str, before: float, after: float, allowed: float) -> Change:
    return Change(measure, unit, before, after, abs(after - before) <= allowed or before == after)


def _offer_error(what: str) -> FilterError:
    return FilterError(
        what,
        why="A cutoff needs a range above zero, and a loop can only filter below half its own rate.",
        todo="Correct the range of the setting, the loop rate, or the band that was asked for.",
    )
