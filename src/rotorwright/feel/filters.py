"""Filters as sampled at the loop rate: first-order lags, second-order low passes, notches, and chains of them.

All frequencies are in Hz, delays in s, gains as factors unless the name says dB. Designs and their sources:

| kind | coefficients | source |
|---|---|---|
| lag, backward Euler | k = dt/(RC + dt), RC = 1/(2 pi fc) | arithmetic: the difference equation of an RC low pass |
| lag, matched pole | k = 1 - exp(-2 pi fc dt) | arithmetic: the step response of an RC low pass at the samples |
| lag, bilinear | tan(pi fc dt) prewarped | textbook bilinear transform; equals a digital Butterworth of order 1 |
| low pass | alpha = sin(w0)/(2 Q) | Audio EQ cookbook (RBJ), LPF |
| notch | alpha = sin(w0)/(2 Q) | Audio EQ cookbook (RBJ), notch |

A lag made with k is not at -3.01 dB at its nominal cutoff (backward Euler: -3.18 dB for 100 Hz at 8 kHz), so a refit
has to say which kind it assumes.
"""

from __future__ import annotations

import cmath
import itertools
import math
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TYPE_CHECKING

from rotorwright.errors import SettingsError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

BUTTERWORTH_Q = math.sqrt(0.5)
MAX_COPIES = 8


class FilterError(SettingsError):
    """A filter cannot be made as asked: its cutoff, quality or number of copies is none."""

    id = "settings.filter"


class FilterKind(StrEnum):
    """The kinds of filters, by how their coefficients are made."""

    LAG_EULER = "lag-euler"
    LAG_MATCHED = "lag-matched"
    LAG_BILINEAR = "lag-bilinear"
    LOWPASS = "lowpass"
    NOTCH = "notch"

    @property
    def is_lag(self) -> bool:
        """Whether this is a first-order lag."""
        return self in {FilterKind.LAG_EULER, FilterKind.LAG_MATCHED, FilterKind.LAG_BILINEAR}


@dataclass(frozen=True, slots=True)
class Section:
    """One difference equation: y[n] = sum of b[k] x[n-k] - sum of a[k] y[n-k], with a[0] = 1."""

    b: tuple[float, ...]
    a: tuple[float, ...]

    def response(self, delay_operator: complex) -> complex:
        """Return the complex gain where one sample of delay is `delay_operator` = exp(-i w dt)."""
        return _polynomial(self.b, delay_operator) / _polynomial(self.a, delay_operator)

    def delay_samples(self, delay_operator: complex) -> float:
        """Return the group delay in samples."""
        return _delay(self.b, delay_operator) - _delay(self.a, delay_operator)


@dataclass(frozen=True, slots=True)
class Filter:
    """One filter setting.

    Args:
        kind: how its coefficients are made.
        cutoff_hz: nominal cutoff; for a notch its centre.
        q: quality of a low pass or notch; for a low pass 0.7071 is Butterworth, for a notch centre over bandwidth.
        copies: how many of it follow each other.
        corrected: whether the cutoff of each copy of a lag is raised so that all together have the nominal one.
    """

    kind: FilterKind
    cutoff_hz: float
    q: float = BUTTERWORTH_Q
    copies: int = 1
    corrected: bool = False

    def __post_init__(self) -> None:
        if not (math.isfinite(self.cutoff_hz) and self.cutoff_hz > 0):
            raise _filter_error(f"A {self.kind} filter cannot have its cutoff at {self.cutoff_hz:g} Hz.")
        if not (math.isfinite(self.q) and self.q > 0):
            raise _filter_error(f"A {self.kind} filter cannot have a quality of {self.q:g}.")
        if not 1 <= self.copies <= MAX_COPIES:
            raise _filter_error(f"A filter comes 1 to {MAX_COPIES} times, not {self.copies} times.")
        if self.corrected and not self.kind.is_lag:
            raise _filter_error(f"The cutoff correction is for first-order lags, not for a {self.kind}.")

    @property
    def section_cutoff_hz(self) -> float:
        """The cutoff that each copy is made with."""
        return self.cutoff_hz * (cascade_correction(self.copies) if self.corrected else 1.0)

    def at(self, cutoff_hz: float) -> Filter:
        """Return the same filter with another cutoff."""
        return replace(self, cutoff_hz=cutoff_hz)

    def sections(self, loop_hz: float) -> tuple[Section, ...]:
        """Return its difference equations as run at `loop_hz`.

        Raises:
            FilterError: the cutoff of a section is not below half the loop rate.
        """
        if not 0 < self.section_cutoff_hz < loop_hz / 2:
            raise _filter_error(
                f"A {self.kind} filter at {self.section_cutoff_hz:g} Hz cannot run in a loop of {loop_hz:g} Hz, "
                f"whose half is {loop_hz / 2:g} Hz."
            )
        return (_DESIGNS[self.kind](self.section_cutoff_hz / loop_hz, self.q),) * self.copies


@dataclass(frozen=True, slots=True)
class Response:
    """What a chain does to a frequency.

    The phase is followed from zero at 0 Hz through the chain: it does not jump by full turns, but it does jump by half
    a turn at the centre of a notch, where the gain is zero.
    """

    frequency_hz: float
    gain: float
    phase_deg: float
    group_delay_s: float

    @property
    def gain_db(self) -> float:
        """The gain in dB; minus infinity at the centre of a notch."""
        return 20 * math.log10(self.gain) if self.gain > 0 else -math.inf

    @property
    def phase_delay_s(self) -> float:
        """How late a steady vibration of this frequency comes out."""
        return -self.phase_deg / 360 / self.frequency_hz


@dataclass(frozen=True, slots=True)
class Chain:
    """Filters one after another in a loop of `loop_hz`."""

    filters: tuple[Filter, ...]
    loop_hz: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.loop_hz) and self.loop_hz > 0):
            raise _filter_error(f"A loop cannot run at {self.loop_hz:g} Hz.")

    @property
    def sections(self) -> tuple[Section, ...]:
        """All difference equations, in order.

        Raises:
            FilterError: a cutoff is not below half the loop rate.
        """
        return tuple(section for each in self.filters for section in each.sections(self.loop_hz))

    def response(self, frequency_hz: float) -> Response:
        """Return gain, phase and group delay at a frequency between zero and half the loop rate.

        Raises:
            FilterError: a cutoff or the frequency is not below half the loop rate.
        """
        return self.responses([frequency_hz])[0]

    def responses(self, frequencies_hz: Iterable[float]) -> tuple[Response, ...]:
        """Return the responses at these frequencies."""
        sections = self.sections
        return tuple(_respond(sections, self.loop_hz, each) for each in frequencies_hz)

    def run(self, samples: Iterable[float]) -> list[float]:
        """Return what comes out for samples that go in, from rest."""
        return run_sections(self.sections, samples)


def _respond(sections: Sequence[Section], loop_hz: float, frequency_hz: float) -> Response:
    if not 0 < frequency_hz < loop_hz / 2:
        raise _filter_error(f"A loop of {loop_hz:g} Hz has no response at {frequency_hz:g} Hz.")
    late = cmath.exp(-2j * math.pi * frequency_hz / loop_hz)
    gain, phase, delay = 1.0, 0.0, 0.0
    for section in sections:
        factor = section.response(late)
        gain *= abs(factor)
        # Each section turns by less than half a turn either way, so the sum needs no unwrapping.
        phase += cmath.phase(factor)
        delay += section.delay_samples(late)
    return Response(frequency_hz, gain, math.degrees(phase), delay / loop_hz)


class RunningSection:
    """A section at work on one sample after another (direct form 2, transposed), from rest."""

    def __init__(self, section: Section) -> None:
        order = max(len(section.b), len(section.a))
        self._b = section.b + (0.0,) * (order - len(section.b))
        self._a = section.a + (0.0,) * (order - len(section.a))
        self._kept = [0.0] * order

    def step(self, sample: float) -> float:
        """Return the next sample that comes out."""
        kept, b, a = self._kept, self._b, self._a
        out = b[0] * sample + kept[0]
        for place in range(1, len(b)):
            kept[place - 1] = kept[place] + b[place] * sample - a[place] * out
        return out


def run_sections(sections: Sequence[Section], samples: Iterable[float]) -> list[float]:
    """Return what comes out of sections one after another, from rest."""
    running = [RunningSection(section) for section in sections]
    out = []
    for sample in samples:
        for each in running:
            sample = each.step(sample)  # noqa: PLW2901 - the sample goes through
        out.append(sample)
    return out


def cascade_correction(copies: int) -> float:
    """Return by how much the cutoff of each of `copies` equal first-order lags lies above that of all together.

    Source: arithmetic, 1/sqrt(2^(1/n) - 1), so that n lags together are at half power at the nominal cutoff.
    """
    return 1 / math.sqrt(2 ** (1 / copies) - 1)


def butterworth(order: int, cutoff_hz: float) -> tuple[Filter, ...]:
    """Return the filters that make a Butterworth low pass of this order.

    Source: the poles of the analog Butterworth filter lie evenly on a half circle; a pair at the angle t from the real
    axis has Q = 1/(2 cos t). Bilinear sections with one prewarped cutoff make the digital filter of that name.
    """
    if not 1 <= order <= 2 * MAX_COPIES:
        raise _filter_error(f"A Butterworth filter has an order of 1 to {2 * MAX_COPIES}, not {order}.")
    first = (Filter(FilterKind.LAG_BILINEAR, cutoff_hz),) if order % 2 else ()
    angles = [math.pi * (2 * pair + 1 + order % 2) / (2 * order) for pair in range(order // 2)]
    return (*first, *(Filter(FilterKind.LOWPASS, cutoff_hz, q=1 / (2 * math.cos(angle))) for angle in angles))


def half_power_hz(chain: Chain) -> float | None:
    """Return the lowest frequency where the chain is at half power (-3.01 dB); nothing if it never is."""
    points = log_spaced(chain.loop_hz * 1e-5, chain.loop_hz * 0.4999, 400)
    for low, high in itertools.pairwise(chain.responses(points)):
        if high.gain < BUTTERWORTH_Q:
            return crossing(
                lambda at: chain.response(at).gain - BUTTERWORTH_Q, low=low.frequency_hz, high=high.frequency_hz
            )
    return None


def log_spaced(low: float, high: float, points: int) -> list[float]:
    """Return `points` numbers from `low` to `high`, each the same factor above the one before."""
    ratio = math.log(high / low) / max(points - 1, 1)
    inner = [low * math.exp(ratio * index) for index in range(1, points - 1)]
    return [low, *inner, high] if points > 1 else [low]


def crossing(curve: Callable[[float], float], *, low: float, high: float) -> float:
    """Return where `curve` goes through zero between `low` and `high`, by halving."""
    starts_above = curve(low) > 0
    for _ in range(60):
        middle = (low + high) / 2
        if (curve(middle) > 0) == starts_above:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _polynomial(coefficients: Sequence[float], late: complex) -> complex:
    result = 0j
    for coefficient in reversed(coefficients):
        result = result * late + coefficient
    return result


def _delay(coefficients: Sequence[float], late: complex) -> float:
    """Return the group delay of a polynomial in samples: Re(sum of k c[k] z^-k / sum of c[k] z^-k)."""
    if tuple(coefficients) == tuple(reversed(coefficients)):
        return (len(coefficients) - 1) / 2  # linear phase; also right at a zero on the circle, as a notch has
    weighted = [place * coefficient for place, coefficient in enumerate(coefficients)]
    return (_polynomial(weighted, late) / _polynomial(coefficients, late)).real


def _lag(k: float) -> Section:
    return Section((k,), (1.0, k - 1.0))


def _lag_euler(turns: float, _: float) -> Section:
    part = 2 * math.pi * turns  # dt/RC
    return _lag(part / (1 + part))


def _lag_matched(turns: float, _: float) -> Section:
    return _lag(-math.expm1(-2 * math.pi * turns))


def _lag_bilinear(turns: float, _: float) -> Section:
    warped = math.tan(math.pi * turns)
    b = warped / (1 + warped)
    return Section((b, b), (1.0, (warped - 1) / (warped + 1)))


def _lowpass(turns: float, q: float) -> Section:
    cosine, alpha = _cookbook(turns, q)
    # 1 - cos w0 as 2 sin^2(w0/2), which keeps its digits at low cutoffs.
    rest = 2 * math.sin(math.pi * turns) ** 2
    b = rest / 2 / (1 + alpha)
    return Section((b, 2 * b, b), (1.0, -2 * cosine / (1 + alpha), (1 - alpha) / (1 + alpha)))


def _notch(turns: float, q: float) -> Section:
    cosine, alpha = _cookbook(turns, q)
    b, middle = 1 / (1 + alpha), -2 * cosine / (1 + alpha)
    return Section((b, middle, b), (1.0, middle, (1 - alpha) / (1 + alpha)))


def _cookbook(turns: float, q: float) -> tuple[float, float]:
    angle = 2 * math.pi * turns
    return math.cos(angle), math.sin(angle) / (2 * q)


_DESIGNS: Mapping[FilterKind, Callable[[float, float], Section]] = {
    FilterKind.LAG_EULER: _lag_euler,
    FilterKind.LAG_MATCHED: _lag_matched,
    FilterKind.LAG_BILINEAR: _lag_bilinear,
    FilterKind.LOWPASS: _lowpass,
    FilterKind.NOTCH: _notch,
}


def _filter_error(what: str) -> FilterError:
    return FilterError(
        what,
        why="A filter needs a cutoff above zero and below half the rate at which it runs, and a quality above zero.",
        todo="Correct the filter setting, the loop rate, or what the release book says of them.",
    )
