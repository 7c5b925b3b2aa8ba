"""Two flights compared, axis by axis: same, better, worse, or cannot tell.

What is compared, and from what difference on it matters. `least`: the whole confidence interval has to lie beyond it
for a change. `tolerated`: the whole interval has to lie within it for the same. All of it is common practice without a
source, from what pilots notice and what propellers and their mounting do from one battery to the next.

| quantity | least | tolerated | worse is |
|---|---|---|---|
| noise in a band, and at the rotors' lines | 10 % | 25 % | more |
| filter delay | 0.15 ms | 0.5 ms | more |
| overshoot of the step response | 5 points | 15 points | more |
| t50 of the step response | 7 % | 20 % | more |
| tracking error relative to what was wanted | 10 % | 25 % | more |
| time with a motor at its limit | 0.5 points | 2 points | more |

An axis is the same only where at least half of its quantities of noise are shown to be the same, and t50 too: without
moves of the stick nobody can tell. Noise is compared at equal throttle, in steps of 0.05, and the tracking error is
that which the mean sticks of both flights would see, so that another way of flying is not called a change of the
aircraft. Frames on the ground, below 0.05 of throttle, do not count.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from rotorwright.signals import step_response, survey
from rotorwright.signals.bands import USABLE_SHARE, usable_bands
from rotorwright.signals.changes import (
    AxisComparison,
    Change,
    ComparisonFigure,
    Family,
    FlightComparison,
    Points,
    Quantity,
)
from rotorwright.signals.delay import delay_from_spectra
from rotorwright.signals.harmonics import HARMONICS
from rotorwright.signals.stretches import usable_part
from rotorwright.signals.tracking import error_for_sticks
from rotorwright.signals.uncertainty import (
    Difference,
    Estimate,
    difference,
    group_sums,
    groups_of,
    jackknife,
    matched,
    stratify,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from numpy.typing import NDArray

    from rotorwright.signals.bands import Band
    from rotorwright.signals.flight import Flight, FloatArray
    from rotorwright.signals.stretches import Usable
    from rotorwright.signals.survey import DelayFrames, MotorFrames, NoiseFrames, ResponseFrames, SignalFrames

    Progress: TypeAlias = Callable[[str, int, int], None]
    _Sums: TypeAlias = tuple[FloatArray, FloatArray]

AXES = ("roll", "pitch", "yaw")
LEAST_S = 10.0  # of usable flight
LEAST_RATE_HZ = 100.0  # the lowest band of noise needs it
MOST_RATE_HZ = 40_000.0  # beyond any gyro; time stamps in another unit
MOST_RAD_S = 40.0  # gyros end at 2000 deg/s = 34.9 rad/s (data sheets); beyond it the unit is another
MOST_PINNED = 0.05
MOST_STILL = 0.5
MOST_LOST = 0.5
EVENED_SHARE = 0.1  # of the rate: straight lines between rows take 3 % off there (arithmetic: sinc squared)
FLYING_LOAD = 0.05
LOAD_STEP = 0.05
LOAD_STRATA = 21
TRACKING_STEP_HZ = 1.5
TRACKING_HZ = 30.0
NOISE_FRAMES_OF_GROUP = 6
NOISE_FRAMES = 40  # about 5 s
RESPONSE_FRAMES_OF_GROUP = 2
HARMLESS_DEG_S = 0.05  # rms: below it no loop and no motor notices; half of what a resting gyro shows
OTHER_UNIT = (40.0, 80.0)  # all noise this many times larger: degrees against radians, 57.3
PIECES = 100
_HARDLY_MOVED = "the stick of this axis hardly moved"
FIGURE_POINTS = 300


@dataclass(frozen=True, slots=True)
class Rule:
    """From what difference on a quantity matters; see the table above."""

    unit: str
    is_ratio: bool
    least: float
    tolerated: float
    family: Family
    is_key: bool = False


NOISE = Rule("deg/s", is_ratio=True, least=0.10, tolerated=0.25, family=Family.NOISE, is_key=True)
DELAY = Rule("ms", is_ratio=False, least=0.15, tolerated=0.5, family=Family.RESPONSE)
OVERSHOOT = Rule("of the step", is_ratio=False, least=0.05, tolerated=0.15, family=Family.RESPONSE)
T50 = Rule("ms", is_ratio=True, least=0.07, tolerated=0.20, family=Family.RESPONSE, is_key=True)
TRACKING = Rule("of the wanted rate", is_ratio=True, least=0.10, tolerated=0.25, family=Family.RESPONSE)
SATURATION = Rule("of the time", is_ratio=False, least=0.005, tolerated=0.02, family=Family.RESPONSE, is_key=True)


def _quiet(_doing: str, _done: int, _of: int) -> None:
    return


@dataclass(frozen=True, slots=True, eq=False)
class _Flown:
    """One flight after its survey."""

    name: str
    usable: Usable
    noise: NoiseFrames
    response: ResponseFrames | None
    delay: DelayFrames | None
    motors: MotorFrames | None


def compare_flights(before: Flight, after: Flight, *, progress: Progress = _quiet) -> FlightComparison:
    """Return what changed between two flights, per axis, with 99 % confidence intervals; never an error.

    What cannot be had is said: too short, gaps, jumps, NaN, constant or saturated columns, rates too low, columns that
    were not recorded. The arrays are read a block at a time and not copied, unless their time stamps are uneven.

    Args:
        before: the flight before the change.
        after: the flight after it.
        progress: called with what is done, how many pieces are done, of how many.
    """
    pair = (usable_part(before), usable_part(after))
    names = ("the flight before", "the flight after")
    said = [f"{name}: {words}" for name, one in zip(names, pair, strict=True) for words in one.said]
    problems = [f"{name}: {why}" for name, one in zip(names, pair, strict=True) if (why := _problem(one))]
    if problems:
        return _nothing_told("; ".join(problems), tuple(said))
    top_hz = min(one.rate_hz * (EVENED_SHARE if one.is_evened else USABLE_SHARE) for one in pair)
    if not 0.8 < pair[0].rate_hz / pair[1].rate_hz < 1.25:
        said.append(f"recorded at different rates: {pair[0].rate_hz:.0f} and {pair[1].rate_hz:.0f} Hz")
    with np.errstate(invalid="ignore", over="ignore", divide="ignore"):
        flown = [
            _surveyed(name, one, top_hz, _share_of(progress, name, k))
            for k, (name, one) in enumerate(zip(names, pair, strict=True))
        ]
        return _compared(flown[0], flown[1], top_hz, tuple(said))


def _share_of(progress: Progress, name: str, k: int) -> Callable[[float], None]:
    def step(part: float) -> None:
        progress(f"reading {name}", round((k + part) * PIECES), 2 * PIECES)

    return step


def _problem(usable: Usable) -> str:
    if usable.problem:
        return usable.problem
    if not LEAST_RATE_HZ <= usable.rate_hz <= MOST_RATE_HZ:
        return (
            f"it was recorded at {usable.rate_hz:.3g} rows per second, and {LEAST_RATE_HZ:.0f} to {MOST_RATE_HZ:.0f} "
            "are needed; look whether its time stamps are in seconds"
        )
    if usable.lasts_s < LEAST_S:
        return f"only {usable.lasts_s:.1f} s of it can be used, and {LEAST_S:.0f} s are needed"
    return ""


def _surveyed(name: str, usable: Usable, top_hz: float, step: Callable[[float], None]) -> _Flown:
    noise = survey.noise_frames(usable, usable_bands(top_hz), top_hz=top_hz, step=step)
    return _Flown(
        name,
        usable,
        noise,
        survey.response_frames(usable),
        survey.delay_frames(usable),
        survey.motor_frames(usable),
    )


def _nothing_told(why: str, said: tuple[str, ...]) -> FlightComparison:
    parts = [AxisComparison(one, Change.CANNOT_TELL, f"Cannot tell: {why}.") for one in (*AXES, "motors")]
    return FlightComparison(tuple(parts[:3]), parts[3], said=said)


def _compared(before: _Flown, after: _Flown, top_hz: float, said: tuple[str, ...]) -> FlightComparison:
    strata, more = _load_strata(before, after)
    if _is_other_unit(before, after):
        why = "all rates of one flight are about 57 times those of the other: one is in degrees, one in radians"
        return _nothing_told(why, said)
    axes = tuple(_axis(axis, before, after, strata, top_hz) for axis in range(3))
    if _are_one(before, after):
        more = (*more, "both are one and the same recording, so nothing is shown about any change")
    motors = _part("motors", [_saturation(before, after)], {Family.RESPONSE})
    return FlightComparison(axes, motors, tuple(_figures(before, after)), (*said, *more, *_lost(before), *_lost(after)))


def _axis(axis: int, before: _Flown, after: _Flown, strata: _LoadStrata, top_hz: float) -> AxisComparison:
    for flown in (before, after):
        why = _axis_problem(axis, flown)
        if why:
            return AxisComparison(AXES[axis], Change.CANNOT_TELL, f"Cannot tell about {AXES[axis]}: {why}.")
    quantities = [
        *_noise(axis, before, after, strata, usable_bands(top_hz)),
        *_lines(axis, before, after, strata),
        _delay(axis, before, after),
        *_steps(axis, before, after),
        _tracking(axis, before, after),
    ]
    return _part(AXES[axis], quantities, {Family.NOISE, Family.RESPONSE})


def _axis_problem(axis: int, flown: _Flown) -> str:
    rate = flown.noise.rate
    if flown.noise.largest_rad_s[axis] > MOST_RAD_S:
        return f"{flown.name} has rates beyond {MOST_RAD_S:.0f} rad/s; look whether they are in degrees"
    signals = [("rate", rate)] + ([("raw rate", flown.noise.raw)] if flown.noise.raw is not None else [])
    for name, signal in signals:
        if signal.is_still[axis].mean() > MOST_STILL:
            return f"the {name} of {flown.name} stands still"
        if signal.is_pinned[axis].mean() > MOST_PINNED:
            return f"the {name} of {flown.name} stands at the end of its sensor's range"
    if rate.is_lost[axis].mean() > MOST_LOST:
        return f"most of the rate of {flown.name} is not numbers"
    return ""


# --- noise -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class _LoadStrata:
    before: NDArray[np.int64]
    after: NDArray[np.int64]


def _load_strata(before: _Flown, after: _Flown) -> tuple[_LoadStrata, tuple[str, ...]]:
    loads = (before.noise.load, after.noise.load)
    both = [_is_load(one) for one in loads]
    if all(both):
        return _LoadStrata(*(_load_bins(one) for one in loads)), ()
    plain = _LoadStrata(*(np.zeros(len(one), np.int64) for one in loads))
    return plain, ("no throttle from 0 to 1 in both flights, so noise could not be compared at equal throttle",)


def _is_load(load: FloatArray) -> bool:
    known = load[np.isfinite(load)]
    return len(known) > len(load) / 2 and bool(known.min() >= -0.01) and bool(known.max() <= 1.01)


def _is_flying(load: FloatArray) -> NDArray[np.bool_]:
    """Return which frames are in flight: all, where no throttle tells."""
    return np.asarray(load >= FLYING_LOAD) if _is_load(load) else np.ones(len(load), bool)


def _load_bins(load: FloatArray) -> NDArray[np.int64]:
    bins = np.full(len(load), -1, np.int64)
    flying = load >= FLYING_LOAD
    bins[flying] = np.minimum(load[flying] / LOAD_STEP, LOAD_STRATA - 1).astype(np.int64)
    return bins


def _noise(axis: int, before: _Flown, after: _Flown, strata: _LoadStrata, bands: tuple[Band, ...]) -> list[Quantity]:
    if not bands:
        return [_missing("noise", NOISE, "the recordings hold too low frequencies only")]
    found = []
    for where, first, second in (
        ("after", before.noise.rate, after.noise.rate),
        ("before", before.noise.raw, after.noise.raw),
    ):
        if first is None or second is None:
            found.append(_missing(f"noise {where} the filters", NOISE, _not_recorded("raw rate", first, second)))
            continue
        for k, band in enumerate(bands):
            name = f"noise {where} the filters, {band.words}"
            found.append(_powers(name, first.bands[axis, :, k], second.bands[axis, :, k], strata))
    return found


def _lines(axis: int, before: _Flown, after: _Flown, strata: _LoadStrata) -> list[Quantity]:
    has_raw = before.noise.raw is not None and after.noise.raw is not None
    first, second = (_signal(one, is_raw=has_raw).lines for one in (before, after))
    if first is None or second is None:
        why = _not_recorded("speed of the rotors", first, second)
        return [_missing("vibration at the rotors' frequency", NOISE, why)]
    found = []
    for k, harmonic in enumerate(HARMONICS):
        lines = first[axis, :, k], second[axis, :, k]
        if not all(np.isfinite(one).any() for one in lines):
            continue
        name = "vibration at the rotors' frequency" + (f" times {harmonic}" if harmonic > 1 else "")
        found.append(_powers(name, *lines, strata))
    return found or [_missing("vibration at the rotors' frequency", NOISE, "it is above what the recordings hold")]


def _signal(flown: _Flown, *, is_raw: bool) -> SignalFrames:
    return flown.noise.raw if is_raw and flown.noise.raw is not None else flown.noise.rate


def _powers(name: str, first: FloatArray, second: FloatArray, strata: _LoadStrata) -> Quantity:
    sides = [
        stratify(
            np.log(np.where(power > 0, power, np.nan)),
            bins,
            count=LOAD_STRATA,
            least_frames=NOISE_FRAMES_OF_GROUP,
        )
        for power, bins in ((first, strata.before), (second, strata.after))
    ]
    if sides[0] is None or sides[1] is None:
        return _unknown(name, NOISE, "too few frames in flight")
    found = matched(sides[0], sides[1], least_frames=NOISE_FRAMES)
    if found is None:
        return _unknown(name, NOISE, "the flights hardly share any throttle")
    halves = Difference(found.before / 2, found.after / 2, found.low / 2, found.high / 2)
    return _judged(name, NOISE, halves, scale=float(np.degrees(1)), harmless=HARMLESS_DEG_S)


# --- response --------------------------------------------------------------------------------------------------------


def _delay(axis: int, before: _Flown, after: _Flown) -> Quantity:
    name = "filter delay"
    if before.delay is None or after.delay is None:
        return _missing(name, DELAY, _not_recorded("raw rate", before.delay, after.delay))
    first, second = (_delay_estimate(axis, one) for one in (before.delay, after.delay))
    if not np.isfinite([first.value, second.value, first.error, second.error]).all():
        return _unknown(name, DELAY, "the filtered rate hardly follows the raw one")
    return _judged(name, DELAY, difference(first, second))


def _delay_estimate(axis: int, frames: DelayFrames) -> Estimate:
    """In ms; NaN where it cannot be told."""
    parts = [one[axis] for one in (frames.cross, frames.raw_power, frames.rate_power)]
    used = np.isfinite(parts[1]).all(axis=1) & np.isfinite(parts[2]).all(axis=1) & _is_flying(frames.load)
    groups = groups_of(int(used.sum()))
    if not len(groups):
        return Estimate(np.nan, np.nan, 1)
    sums = [group_sums(one[used], groups) for one in parts]
    whole = [one.sum(axis=0) for one in sums]
    left = delay_from_spectra(frames.at_hz, *(one - part for one, part in zip(whole, sums, strict=True)))
    return jackknife(float(delay_from_spectra(frames.at_hz, *whole)) * 1e3, left * 1e3)


def _steps(axis: int, before: _Flown, after: _Flown) -> list[Quantity]:
    names = {"t50 of the step response": T50, "overshoot of the step response": OVERSHOOT}
    if before.response is None or after.response is None:
        why = _not_recorded("wanted rate", before.response, after.response)
        return [_missing(name, rule, why) for name, rule in names.items()]
    sides = [_step_estimates(axis, one) for one in (before.response, after.response)]
    if sides[0] is None or sides[1] is None:
        return [_missing(name, rule, _HARDLY_MOVED) for name, rule in names.items()]
    found = []
    for k, (name, rule) in enumerate(names.items()):
        pair = [one[k] for one in sides if one is not None]
        if np.isfinite([(one.value, one.error) for one in pair]).all():
            found.append(_judged(name, rule, difference(*pair)))
        else:
            found.append(_unknown(name, rule, "the rate does not follow the wanted one"))
    return found


def _step_estimates(axis: int, frames: ResponseFrames) -> tuple[Estimate, Estimate] | None:
    """The logarithm of t50 in ms, and the overshoot."""
    sums = _response_sums(axis, frames)
    if sums is None:
        return None
    power, cross = (one.sum(axis=0) for one in sums)
    whole = _figures_of(power, cross, frames)
    left = np.array([_figures_of(power - p, cross - c, frames) for p, c in zip(*sums, strict=True)])
    return jackknife(whole[0], left[:, 0]), jackknife(whole[1], left[:, 1])


def _response_sums(axis: int, frames: ResponseFrames) -> _Sums | None:
    """Sums of |W|^2 and conj(W) R by group over the frames in which the stick moved; nothing where it hardly did."""
    used = _moved(axis, frames)
    groups = groups_of(int(used.sum()), least_frames=RESPONSE_FRAMES_OF_GROUP)
    if not len(groups):
        return None
    return group_sums(frames.wanted_power[axis][used], groups), group_sums(frames.cross[axis][used], groups)


def _figures_of(power: FloatArray, cross: FloatArray, frames: ResponseFrames) -> tuple[float, float]:
    figures = step_response.step_figures(_curve(power, cross, frames))
    return float(np.log(figures.t50_s * 1e3)), figures.overshoot


def _curve(power: FloatArray, cross: FloatArray, frames: ResponseFrames) -> step_response.StepResponse:
    size = frames.frame // 2 + 1
    whole = [np.concatenate((one, np.zeros(size - len(one), one.dtype))) for one in (power, cross)]
    return step_response.response_from_spectra(whole[0], whole[1], frame=frames.frame, rate_hz=frames.rate_hz)


def _moved(axis: int, frames: ResponseFrames) -> NDArray[np.bool_]:
    is_number = np.isfinite(frames.error[axis]) & _is_flying(frames.load)
    return np.asarray(is_number & (frames.wanted[axis] >= step_response.LEAST_WANTED_RAD_S))


def _tracking(axis: int, before: _Flown, after: _Flown) -> Quantity:
    name = "tracking error for the same sticks"
    if before.response is None or after.response is None:
        return _missing(name, TRACKING, _not_recorded("wanted rate", before.response, after.response))
    pair = [(one, _response_sums(axis, one)) for one in (before.response, after.response)]
    if any(sums is None for _, sums in pair):
        return _missing(name, TRACKING, _HARDLY_MOVED)
    sides = [_merged(frames, sums) for frames, sums in pair if sums is not None]
    size = min(power.shape[1] for power, _ in sides)
    sides = [(power[:, :size], cross[:, :size]) for power, cross in sides]
    sticks = sum(power.sum(axis=0) / power.sum() for power, _ in sides)
    estimates = [_tracking_estimate(power, cross, np.asarray(sticks)) for power, cross in sides]
    return _judged(name, TRACKING, difference(*estimates))


def _merged(frames: ResponseFrames, sums: _Sums) -> _Sums:
    """Sums over steps of frequency wide enough to be steady, up to where pilots end."""
    width = round(TRACKING_STEP_HZ * frames.frame / frames.rate_hz)
    count = int(TRACKING_HZ / TRACKING_STEP_HZ)
    power, cross = (one[:, : width * count].reshape(len(one), count, width).sum(axis=2) for one in sums)
    return power, cross


def _tracking_estimate(power: FloatArray, cross: FloatArray, sticks: FloatArray) -> Estimate:
    """The logarithm of the relative error."""
    all_power, all_cross = power.sum(axis=0), cross.sum(axis=0)
    left = [error_for_sticks(all_power - p, all_cross - c, sticks) for p, c in zip(power, cross, strict=True)]
    return jackknife(float(np.log(error_for_sticks(all_power, all_cross, sticks))), np.log(left))


def _saturation(before: _Flown, after: _Flown) -> Quantity:
    name = "time with a motor at its limit"
    first, second = before.motors, after.motors
    if first is None or second is None:
        return _missing(name, SATURATION, _not_recorded("motor outputs", first, second))
    has_load = _is_load(first.load) and _is_load(second.load)
    sides = [
        stratify(
            one.share,
            _load_bins(one.load) if has_load else np.zeros(len(one.load), np.int64),
            count=LOAD_STRATA,
            least_frames=NOISE_FRAMES_OF_GROUP,
        )
        for one in (first, second)
    ]
    if sides[0] is None or sides[1] is None:
        return _unknown(name, SATURATION, "too few frames in flight")
    found = matched(sides[0], sides[1], least_frames=NOISE_FRAMES)
    if found is None:
        return _unknown(name, SATURATION, "the flights hardly share any throttle")
    return _judged(name, SATURATION, found)


# --- judging ---------------------------------------------------------------------------------------------------------


def _judged(name: str, rule: Rule, found: Difference, *, scale: float = 1.0, harmless: float = 0.0) -> Quantity:
    """Return the quantity with its verdict; ratios come as differences of logarithms."""
    before, after = (float(np.exp(one)) * scale if rule.is_ratio else one for one in (found.before, found.after))
    least, tolerated = (np.log1p(one) if rule.is_ratio else one for one in (rule.least, rule.tolerated))
    spread = [float(np.expm1(one)) if rule.is_ratio else one for one in (found.value, found.low, found.high)]
    change = _change(found, least=float(least), tolerated=float(tolerated))
    if max(before, after) < harmless:
        change = Change.SAME
    why = "" if change is not Change.CANNOT_TELL else f"not sure enough, {_spread_words(spread[1], spread[2], rule)}"
    return Quantity(
        name,
        rule.family,
        rule.unit,
        before,
        after,
        rule.is_ratio,
        spread[0],
        spread[1],
        spread[2],
        change,
        is_key=rule.is_key,
        why=why,
    )


def _change(found: Difference, *, least: float, tolerated: float) -> Change:
    if found.low > least:
        return Change.WORSE
    if found.high < -least:
        return Change.BETTER
    return Change.SAME if max(-found.low, found.high) <= tolerated else Change.CANNOT_TELL


def _spread_words(low: float, high: float, rule: Rule) -> str:
    if rule.is_ratio:
        return f"between {low:+.0%} and {high:+.0%}"
    return f"between {low:+.2g} and {high:+.2g} {rule.unit}"


def _missing(name: str, rule: Rule, why: str) -> Quantity:
    return replace(_unknown(name, rule, why), is_missing=True)


def _unknown(name: str, rule: Rule, why: str) -> Quantity:
    unit, no = rule.unit, float("nan")
    kind = (rule.family, unit, no, no, rule.is_ratio, no, no, no)
    return Quantity(name, *kind, Change.CANNOT_TELL, is_key=rule.is_key, why=why)


def _not_recorded(what: str, first: object | None, second: object | None) -> str:
    if first is None and second is None:
        return f"no {what} was recorded"
    return f"no {what} was recorded in the flight {'before' if first is None else 'after'}"


def _part(axis: str, quantities: list[Quantity], needed: set[Family]) -> AxisComparison:
    """Return the verdict. Any change decides; the same needs half of the key quantities of each family to be so."""
    worse = [one for one in quantities if one.change is Change.WORSE]
    better = [one for one in quantities if one.change is Change.BETTER]
    unsure = [one for one in quantities if one.change is Change.CANNOT_TELL]
    if worse or better:
        change = Change.WORSE if worse else Change.BETTER
        return AxisComparison(axis, change, _changed_words(axis, worse, better), tuple(quantities))
    unshown = [family for family in sorted(needed) if not _is_same(family, quantities)]
    if unshown:
        whys = dict.fromkeys(one.words for one in unsure if one.family in unshown and one.is_key)
        words = f"Cannot tell about {'the motors' if axis == 'motors' else axis}: {_listed(whys)}."
        return AxisComparison(axis, Change.CANNOT_TELL, words, tuple(quantities))
    words = f"{_are(axis)} the same: no difference that matters in {_listed(_short_names(quantities), 7)}"
    if unsure:
        words += f"; not told: {_listed(dict.fromkeys(one.name for one in unsure))}"
    return AxisComparison(axis, Change.SAME, f"{words}.", tuple(quantities))


def _is_same(family: Family, quantities: list[Quantity]) -> bool:
    there = [one for one in quantities if one.family is family and one.is_key and not one.is_missing]
    return bool(there) and 2 * sum(one.change is Change.SAME for one in there) >= len(there)


def _changed_words(axis: str, worse: list[Quantity], better: list[Quantity]) -> str:
    words = f"{_are(axis)} {'worse' if worse else 'better'}: {_listed(one.words for one in worse or better)}"
    if worse and better:
        words += f"; better is {_listed(one.words for one in better)}"
    return f"{words}."


def _are(axis: str) -> str:
    return "The motors are" if axis == "motors" else f"{axis.capitalize()} is"


def _short_names(quantities: list[Quantity]) -> dict[str, None]:
    names = (one.name for one in quantities if one.change is Change.SAME)
    return dict.fromkeys(re.split(r",| times| of the step response", one)[0] for one in names)


def _listed(words: Iterable[str], most: int = 4) -> str:
    every = list(words)
    more = f" and {len(every) - most} more" if len(every) > most else ""
    return ", ".join(every[:most]) + more


def _lost(flown: _Flown) -> list[str]:
    """Return what was left out of a flight's frames, in words."""
    rate = flown.noise.rate
    said = []
    for words, flags in (("at the end of the sensor's range", rate.is_pinned), ("standing still", rate.is_still)):
        share = float(flags.any(axis=0).mean())
        if share > 0:
            said.append(f"{flown.name}: {share:.1%} of the frames left out, {words}")
    numbers = rate.is_lost.any(axis=0) & ~rate.is_pinned.any(axis=0) & ~rate.is_still.any(axis=0)
    if numbers.any():
        said.append(f"{flown.name}: {float(numbers.mean()):.1%} of the frames left out, not numbers")
    return said


def _is_other_unit(before: _Flown, after: _Flown) -> bool:
    first, second = (np.sqrt(one.noise.rate.density.sum(axis=1)) for one in (before, after))
    ratio = np.maximum(first, second) / np.minimum(first, second)
    return bool(np.all((ratio > OTHER_UNIT[0]) & (ratio < OTHER_UNIT[1])))


def _are_one(before: _Flown, after: _Flown) -> bool:
    return np.array_equal(before.noise.rate.density, after.noise.rate.density, equal_nan=True)


# --- figures ---------------------------------------------------------------------------------------------------------


def _figures(before: _Flown, after: _Flown) -> list[ComparisonFigure]:
    found = []
    for k, axis in enumerate(AXES):
        curves = tuple((one.name, _spectrum_points(one.noise, k)) for one in (before, after))
        found.append(ComparisonFigure(f"noise of {axis}", "frequency", "Hz", "rate", "deg/s per root Hz", curves))
    for k, axis in enumerate(AXES):
        steps = tuple(
            (one.name, _step_points(one.response, k))
            for one in (before, after)
            if one.response is not None and _moved(k, one.response).any()
        )
        if steps:
            found.append(ComparisonFigure(f"step response of {axis}", "time", "s", "rate", "of the step", steps))
    return found


def _spectrum_points(noise: NoiseFrames, axis: int) -> Points:
    step = max(1, -(-len(noise.at_hz) // FIGURE_POINTS))
    amplitude = np.degrees(np.sqrt(noise.rate.density[axis]))
    return tuple(zip(noise.at_hz[1::step].tolist(), amplitude[1::step].tolist(), strict=True))


def _step_points(frames: ResponseFrames, axis: int) -> Points:
    used = _moved(axis, frames)
    curve = _curve(frames.wanted_power[axis][used].sum(axis=0), frames.cross[axis][used].sum(axis=0), frames)
    if not np.isfinite(curve.height).all():
        return ()
    step = max(1, -(-len(curve.at_s) // FIGURE_POINTS))
    return tuple(zip(curve.at_s[::step].tolist(), curve.height[::step].tolist(), strict=True))
