"""Motors: which one answers which output, which way it turns, whether it stops, how evenly it runs.

The propellers are off: there is no thrust to feel. What is felt is the push of the rotor on the body while it spins up
and down (direction), and the shaking of its imbalance (place, speed, bearing). How it is derived:
docs/explanation/how-motors-are-proved.md.
A board that is mounted otherwise than its settings say turns every place with it: the orientation check comes first.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np

from rotorwright.bench.rotor_place import Bearing, Lag, lag_of, nearest_place
from rotorwright.bench.rotor_record import trouble_of_record, trouble_of_rest, trouble_of_rotors
from rotorwright.bench.rotor_seen import ROUGH_M_S2, PulseSeen, look_at_pulse
from rotorwright.bench.rotor_spectrum import likely_magnets
from rotorwright.bench.verdicts import CheckResult, Curve, Figure, Finding, Grid, Measured, judged, missing, thinned

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from rotorwright.bench.records import MotionRecord, RotorRecord

CHECK = "motors"

# Limits: value, unit. Common practice, no source.
WORST_IMBALANCE_KG_M = 5e-6  # kg m: more than that is a bent bell or a loose magnet
UNEVEN_IMBALANCE_KG_M = 2.5e-6  # kg m, if it is also ...
UNEVEN_IMBALANCE = 5.0  # ... that many times the middle of the others
USUAL_MASS_KG = 0.5  # kg, where the craft's mass is not known
UNLIKE_PUSH = (0.55, 1.5)  # a motor's push over the middle of the others: beyond it, two motors may have answered
UNLIKE_SIGMAS = 4.0  # standard deviations that it must be off as well
ROUGH_TIMES = 3.5  # a rough motor shakes that many times as much between the harmonics as the middle of the others


class Place(StrEnum):
    """Places of the four motors."""

    FRONT_RIGHT = "front-right"
    REAR_RIGHT = "rear-right"
    REAR_LEFT = "rear-left"
    FRONT_LEFT = "front-left"


PLACES = tuple(Place)
_SQUARE_DEG = {
    Place.FRONT_RIGHT: 45.0,
    Place.REAR_RIGHT: 135.0,
    Place.REAR_LEFT: -135.0,
    Place.FRONT_LEFT: -45.0,
}
_FAR = (Place.FRONT_RIGHT, Place.REAR_LEFT), (Place.REAR_RIGHT, Place.FRONT_LEFT)
_TURNS = {1: "clockwise", -1: "counter-clockwise", 0: "not shown"}
_SAFE = "Propellers off, hands and face clear of the motors, battery off before you touch anything. "


@dataclass(frozen=True, slots=True)
class MotorSetup:
    """What the settings and the craft's layout say.

    Args:
        output_of: output of each place, 1 for the first.
        direction_of: +1 for a rotor turning clockwise seen from above, -1 counter-clockwise.
        magnets: magnets of a rotor, as the settings say; 0 if they do not.
        arm_m: where each motor sits, (forward, right) of the centre of gravity in metres; None: a square cross.
        mass_kg: of the craft as it lies there; None: not known.
        gyro_lag_s: how long the told gyro lags behind the told accelerometer at rotor frequency; None: measured.
    """

    output_of: Mapping[Place, int]
    direction_of: Mapping[Place, int]
    magnets: int
    arm_m: Mapping[Place, tuple[float, float]] | None = None
    mass_kg: float | None = None
    gyro_lag_s: float | None = None


@dataclass(frozen=True, slots=True)
class Pulse:
    """One command: output (1 for the first), start and end on the clock of the motion record."""

    output: int
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class _Known:
    """What all pulses on one output together say: place felt, place said, direction; None or 0 where not shown."""

    output: int
    felt: Place | None
    said: Place | None
    direction: int
    bearing_deg: float
    sigma_deg: float

    @property
    def place(self) -> Place | None:
        return self.felt or self.said


def role_of(place: Place) -> str:
    """Return the role of the setting that says which output serves a place."""
    return f"motor.output.{place.value.replace('-', '.')}"


def judge_motors(
    motion: MotionRecord,
    pulses: Sequence[Pulse],
    setup: MotorSetup,
    *,
    rotors: RotorRecord | None = None,
    said: Mapping[int, Place] | None = None,
    as_found: MotorSetup | None = None,
) -> CheckResult:
    """Judge the motors from short pulses at a low command, one output after another, propellers off.

    Args:
        motion: record from at least 0.3 s before the first to 0.8 s after the last pulse, 250 Hz or more.
        pulses: what was commanded, 0.6 to 3 s each, with a second of rest between.
        setup: settings and layout to be proved.
        rotors: speeds that the motor controllers tell, if they do; their sign is not used.
        said: which motor a person saw turn, by commanded output.
        as_found: settings before the changeover, for the table.
    """
    said = said or {}
    wrong, lacking = _judge_setup(setup)
    trouble = trouble_of_record(motion)
    ordered = sorted(pulses, key=lambda one: one.start_s)
    if not trouble and ordered:
        trouble = trouble_of_rest(motion, ordered[0].start_s)
    if trouble:
        lacking.append(missing("record-unusable", *trouble))
    if not ordered:
        lacking.append(missing("no-pulse", "No motor was commanded.", "Run the pulses, one output after another."))
    if lacking or not ordered:
        return judged(CHECK, sentence="", findings=[*wrong, *lacking])
    return _judge_pulses(motion, ordered, setup, rotors=rotors, said=said, as_found=as_found, findings=wrong)


def _judge_pulses(
    motion: MotionRecord,
    pulses: Sequence[Pulse],
    setup: MotorSetup,
    *,
    rotors: RotorRecord | None,
    said: Mapping[int, Place],
    as_found: MotorSetup | None,
    findings: list[Finding],
) -> CheckResult:
    trouble = trouble_of_rotors(rotors) if rotors is not None else ""
    if trouble:
        words = f"The told rotor speeds were not used: {trouble}."
        findings.append(missing("speeds-unusable", words, "Check the speed telemetry, or judge without it."))
    seen = _look(motion, pulses, None if trouble else rotors)
    seen, dangers = _before_a_runaway(seen)
    findings += dangers
    known = _known(seen, setup, said)
    findings += _judge_coverage(seen, setup)
    findings += _judge_answers(seen, said)
    findings += _judge_order(known, setup, said, seen)
    findings += _judge_directions(known, seen, setup)
    findings += _judge_pushes(seen)
    findings += _judge_evenness(seen, setup)
    findings += _judge_magnets(seen, setup)
    return judged(
        CHECK,
        sentence="Every output turns the motor it should, the right way round, and every motor stops again.",
        measured=_measured(seen, known, setup),
        findings=findings,
        figures=_figures(seen),
        grids=(_grid(known, seen, setup, as_found),),
    )


def _danger(kind: str, words: str, advice: str, settings: Mapping[str, str] | None = None) -> Finding:
    return Finding(kind, words, _SAFE + advice, is_dangerous=True, settings=settings or {})


def _words(place: Place | None) -> str:
    return place.value.replace("-", " ") if place else "not shown"


# What the settings say


def _judge_setup(setup: MotorSetup) -> tuple[list[Finding], list[Finding]]:
    """Return what the settings say that cannot be, and what they leave out."""
    absent = [_words(place) for place in PLACES if place not in setup.output_of]
    vague = [_words(place) for place in PLACES if setup.direction_of.get(place) not in {1, -1}]
    lacking = []
    if absent:
        lacking.append(missing("no-output", f"No output is set for: {', '.join(absent)}.", "Set one for each motor."))
    if vague:
        words = f"It is not said which way these motors should turn: {', '.join(vague)}."
        lacking.append(missing("no-direction", words, "Give the layout of the craft."))
    if setup.arm_m is not None and not _is_layout_sound(setup.arm_m):
        words = "The layout does not say where the motors sit: four places, in metres, each in its own quarter."
        lacking.append(missing("no-layout", words, "Give the layout in metres from the centre of gravity, or none."))
    return ([] if lacking else _judge_sense(setup)), lacking


def _judge_sense(setup: MotorSetup) -> list[Finding]:
    wrong = []
    if len(set(setup.output_of.values())) < len(PLACES):
        advice = "Give every motor its own output before anything else."
        wrong.append(_danger("outputs-shared", "The settings let two motors share one output.", advice))
    turns = setup.direction_of
    if any(turns[one] != turns[other] for one, other in _FAR) or sum(turns[place] for place in PLACES) != 0:
        words = (
            "The layout does not let motors across from each other turn alike and neighbours turn against each other."
        )
        wrong.append(
            _danger("layout-impossible", words, "Correct the directions of the layout: it could not hold its nose.")
        )
    return wrong


def _is_layout_sound(arm_m: Mapping[Place, tuple[float, float]]) -> bool:
    return all(
        place in arm_m
        and len(arm_m[place]) == 2
        and all(0.01 <= abs(part) <= 2.0 for part in arm_m[place])
        and abs(_bearing_deg(arm_m[place]) - _SQUARE_DEG[place]) < 45.0
        for place in PLACES
    )


def _bearing_deg(place_m: tuple[float, float]) -> float:
    return float(np.degrees(np.arctan2(place_m[1], place_m[0])))


def _place_of(setup: MotorSetup, output: int) -> Place | None:
    return next((place for place in PLACES if setup.output_of[place] == output), None)


# What was seen


def _look(motion: MotionRecord, pulses: Sequence[Pulse], rotors: RotorRecord | None) -> list[PulseSeen]:
    nexts = [*(one.start_s for one in pulses[1:]), float("inf")]
    return [
        look_at_pulse(motion, rotors, output=one.output, start_s=one.start_s, end_s=one.end_s, next_s=next_s)
        for one, next_s in zip(pulses, nexts, strict=True)
    ]


def _before_a_runaway(seen: Sequence[PulseSeen]) -> tuple[list[PulseSeen], list[Finding]]:
    """Return the pulses up to the first after which a motor ran on (the later ones are spoilt), and that danger."""
    for place, one in enumerate(seen):
        running = one.told_after
        is_running = bool(running) if running is not None else bool(one.still_shaking)
        if one.trouble or not (is_running or one.told_before):
            continue
        outputs = ", ".join(str(output) for output in (running or one.told_before or (one.output,)))
        words = f"The motor on output {outputs} turns although nothing commands it (pulse on output {one.output})."
        advice = (
            "Take the battery off now and keep away until all motors stand. Look for a wrong lowest value of the "
            "output, a motor controller set to another signal, or a damaged one. Do not fly, put no propellers on."
        )
        return list(seen[: place + 1]), [_danger("does-not-stop", words, advice)]
    return list(seen), []


def _places_deg(setup: MotorSetup) -> list[float]:
    return [_bearing_deg(setup.arm_m[place]) if setup.arm_m else _SQUARE_DEG[place] for place in PLACES]


def _known(seen: Sequence[PulseSeen], setup: MotorSetup, said: Mapping[int, Place]) -> list[_Known]:
    places_deg = _places_deg(setup)
    usable = [one for one in seen if _is_placeable(one)]
    bearings = [one.bearing for one in usable if one.bearing is not None]
    told = None
    if setup.gyro_lag_s is not None and usable:
        hz = float(np.median([one.line.hz for one in usable]))
        told = Lag(360.0 * hz * setup.gyro_lag_s, 5.0, is_measured=True)
    lag = lag_of(bearings, places_deg, told=told)
    outputs = sorted({one.output for one in seen})
    return [
        _known_of(output, [one for one in seen if one.output == output], lag, places_deg, said) for output in outputs
    ]


def _is_placeable(one: PulseSeen) -> bool:
    return not (one.trouble or one.is_circle_contrary or one.line.second_hz or len(one.told_turning) > 1)


def _known_of(
    output: int, seen: Sequence[PulseSeen], lag: Lag, places_deg: Sequence[float], said: Mapping[int, Place]
) -> _Known:
    bearings: list[Bearing] = [one.bearing for one in seen if one.bearing is not None and _is_placeable(one)]
    found = [nearest_place(bearing, lag, places_deg) for bearing in bearings]
    shown = {place for place, _, _ in found if place is not None}
    turns = {one.direction for one in seen if not one.trouble and not one.is_circle_contrary} - {0}
    best = min(found, key=lambda one: one[2], default=(None, float("nan"), float("nan")))
    return _Known(
        output,
        PLACES[shown.pop()] if len(shown) == 1 else None,
        said.get(output),
        turns.pop() if len(turns) == 1 else 0,
        best[1],
        best[2],
    )


# What is wrong


def _judge_coverage(seen: Sequence[PulseSeen], setup: MotorSetup) -> list[Finding]:
    findings = []
    outputs = {one.output for one in seen}
    for place in PLACES:
        if setup.output_of[place] not in outputs:
            words = f"Output {setup.output_of[place]} ({_words(place)}) was not judged: no usable pulse on it."
            findings.append(missing("not-commanded", words, "Run the pulse on that output again."))
    for one in seen:
        if one.trouble:
            words = f"The pulse on output {one.output} cannot be judged: {one.trouble}."
            findings.append(missing("pulse-unusable", words, "Run it again, with a second of rest before and after."))
        elif one.told_after is None and one.still_shaking is None:
            words = f"It was not seen whether the motor on output {one.output} stops: the record ends too early."
            findings.append(missing("stop-not-seen", words, "Record a second of rest after every pulse."))
        if one.is_rate_doubtful:
            words = f"The pulse on output {one.output} turned the body more than a rotor can; are the rates rad/s?"
            findings.append(missing("rates-doubtful", words, "Check the unit of the gyro's rates, and record again."))
        if _place_of(setup, one.output) is None:
            words = f"Output {one.output} was commanded, but no motor is set on it."
            findings.append(missing("output-unknown", words, "Command only outputs that have a motor."))
    return findings


def _judge_answers(seen: Sequence[PulseSeen], said: Mapping[int, Place]) -> list[Finding]:
    usable = [one for one in seen if not one.trouble]
    if usable and not any(one.is_moved or one.told_turning or one.output in said for one in usable):
        words = "No motor answered any output."
        advice = "Is the main battery on? Are the motor controllers powered, and is their signal the one that is set?"
        return [missing("nothing-answered", words, advice)]
    return [finding for one in usable for finding in _judge_answer(one, is_said=one.output in said)]


def _judge_answer(one: PulseSeen, *, is_said: bool) -> Iterable[Finding]:
    turning = one.told_turning
    others = tuple(output for output in turning if output != one.output)
    named = " and ".join(str(output) for output in others)
    if one.output in turning and others:
        words = f"Output {one.output} was commanded, and output {named} turned as well."
        yield _danger("two-answered", words, "Look for two outputs on one wire, or one output set twice.")
    elif others:
        words = f"Output {one.output} was commanded, but output {named} turned."
        yield _danger("answered-elsewhere", words, "Correct which output goes to which connector before anything else.")
    elif not turning and not one.is_moved:
        yield _silent(one, is_said=is_said)
    elif one.output in one.told.during and not turning and not one.told_before:
        words = f"The motor controller of output {one.output} tells that it stands, but the body felt a motor turn."
        yield missing("speed-not-told", words, "Check the speed telemetry of that output.")
    if one.line.second_hz:
        words = (
            f"While output {one.output} was commanded, two things shook the body, at {one.line.hz:.0f} and "
            f"{one.line.second_hz:.0f} turns per second."
        )
        yield missing(
            "second-line", words, "Watch whether two motors turn; keep fans and pumps away, and run it again."
        )


def _silent(one: PulseSeen, *, is_said: bool) -> Finding:
    if is_said:
        words = f"A motor was seen turning on output {one.output}, but neither gyro nor accelerometer felt it."
        return missing("not-felt", words, "Lay the craft on soft foam, hands off, and run that pulse again.")
    words = f"No motor answered output {one.output}."
    advice = (
        "Check its wires and connector, whether that output is enabled, and the motor controller. It must not fly: "
        "with one motor dead a craft turns over."
    )
    return _danger("no-answer", words, advice)


def _judge_order(
    known: Sequence[_Known], setup: MotorSetup, said: Mapping[int, Place], seen: Sequence[PulseSeen]
) -> list[Finding]:
    findings = list(_judge_said(known))
    judged_outputs = {one.output for one in seen if not one.trouble and (one.is_moved or one.told_turning)}
    wrong = []
    for one in known:
        expected = _place_of(setup, one.output)
        if one.place is None and expected and one.output in judged_outputs | set(said):
            findings.append(_place_not_shown(one, expected))
        elif one.place is not None and expected is not None and one.place is not expected:
            wrong.append(one)
    findings += _judge_twice(known)
    if wrong:
        findings += [_order_wrong(wrong, known, setup)]
    return findings


def _judge_said(known: Sequence[_Known]) -> Iterable[Finding]:
    for one in known:
        if one.felt and one.said and one.felt is not one.said:
            words = (
                f"On output {one.output} the {_words(one.said)} motor was seen turning, but it was felt at the "
                f"{_words(one.felt)} ({one.bearing_deg:.0f} ± {one.sigma_deg:.0f} degrees from the nose)."
            )
            advice = (
                "Run that pulse again and look twice. If it stays, do the orientation check: the board may be turned."
            )
            yield _danger("place-contradicted", words, advice)


def _judge_twice(known: Sequence[_Known]) -> Iterable[Finding]:
    for place in PLACES:
        outputs = [one.output for one in known if one.place is place]
        if len(outputs) > 1:
            named = " and ".join(str(output) for output in outputs)
            words = f"The {_words(place)} motor turned on outputs {named}."
            yield _danger("one-motor-twice", words, "Look for two outputs wired together; run the pulses again.")


def _place_not_shown(one: _Known, expected: Place) -> Finding:
    words = (
        f"It was not shown that output {one.output} turns the {_words(expected)} motor: it shakes the body too little."
    )
    advice = "Watch that pulse and say which motor turns, or lay the craft on softer foam and run it again."
    return missing("place-not-shown", words, advice)


def _order_wrong(wrong: Sequence[_Known], known: Sequence[_Known], setup: MotorSetup) -> Finding:
    pairs = "; ".join(
        f"output {one.output} turns the {_words(one.place)} motor instead of the "
        f"{_words(_place_of(setup, one.output))} one"
        for one in wrong
    )
    found = {one.place: one.output for one in known if one.place is not None}
    is_whole = len(found) == len(PLACES) and len(set(found.values())) == len(PLACES)
    if not is_whole:
        advice = "Do not fly. Run the pulses again until all four places are shown, then set the order."
        return _danger("order-wrong", f"Motors are in the wrong order: {pairs}.", advice)
    settings = {role_of(place): str(found[place]) for place in PLACES if found[place] != setup.output_of[place]}
    listed = ", ".join(f"{_words(place)}: output {found[place]}" for place in PLACES)
    advice = (
        f"Do not fly. Set the outputs as they were found ({listed}), then run this check again. If all four are off "
        "the same way, do the orientation check first: the board may be turned."
    )
    return _danger("order-wrong", f"Motors are in the wrong order: {pairs}.", advice, settings)


def _judge_directions(known: Sequence[_Known], seen: Sequence[PulseSeen], setup: MotorSetup) -> list[Finding]:
    findings: list[Finding] = []
    wrong = []
    for one in known:
        mine = [pulse for pulse in seen if pulse.output == one.output and not pulse.trouble]
        if not mine or not any(pulse.is_moved or pulse.told_turning for pulse in mine):
            continue
        place = one.place or _place_of(setup, one.output)
        if one.direction == 0:
            findings.append(_direction_not_shown(one.output, any(pulse.is_circle_contrary for pulse in mine)))
        elif place is not None and one.direction != setup.direction_of[place]:
            wrong.append((one, place))
    if wrong:
        findings.append(_directions_wrong(wrong, is_all=len(wrong) == len(PLACES)))
    return findings


def _judge_pushes(seen: Sequence[PulseSeen]) -> Iterable[Finding]:
    """Doubt a pulse that pushes the body unlike the others: two motors at once add, or take away from each other."""
    pushes = [(one, one.reaction) for one in seen if not one.trouble and one.reaction is not None and one.is_moved]
    for one, reaction in pushes:
        others = [each for other, each in pushes if other.output != one.output]
        if len(others) < 2:
            continue
        usual = float(np.median([abs(each.step_rad_s) for each in others]))
        sigma = float(np.hypot(reaction.sigma_rad_s, np.median([each.sigma_rad_s for each in others])))
        ratio = abs(reaction.step_rad_s) / max(usual, 1e-12)
        is_unlike = not UNLIKE_PUSH[0] < ratio < UNLIKE_PUSH[1]
        if is_unlike and abs(abs(reaction.step_rad_s) - usual) > UNLIKE_SIGMAS * sigma:
            words = f"The pulse on output {one.output} pushed the body {ratio:.1f} times as much as the others did."
            yield missing(
                "push-unlike", words, "Watch whether two motors turn, or a motor of another kind; run it again."
            )


def _direction_not_shown(output: int, is_contrary: bool) -> Finding:  # noqa: FBT001
    if is_contrary:
        words = f"On output {output} the push on the body and the circle of its shaking say different directions."
        advice = (
            "Do the orientation check: an axis of the gyro or the accelerometer may be mirrored. Then run it again."
        )
        return missing("direction-contradicted", words, advice)
    words = (
        f"It was not shown which way the motor on output {output} turns: the body was hardly pushed, or was touched."
    )
    return missing("direction-not-shown", words, "Lay the craft on soft foam, hands off, and run that pulse again.")


def _directions_wrong(wrong: Sequence[tuple[_Known, Place]], *, is_all: bool) -> Finding:
    pairs = "; ".join(
        f"the {_words(place)} motor (output {one.output}"
        f"{'' if one.place else ', or another one that it turns instead'}) turns {_TURNS[one.direction]}"
        for one, place in wrong
    )
    advice = (
        "Do not fly. Swap any two of the three wires of that motor, or turn its direction round in the motor "
        "controller, then run this check again."
    )
    if is_all:
        advice += (
            " All four are the other way round: if the craft is meant to turn so, set the layout's directions instead; "
            "if not, look at the order of the motors first."
        )
    return _danger("direction-wrong", f"Seen from above, the wrong way round: {pairs}.", advice)


def _imbalance_kg_m(one: PulseSeen, setup: MotorSetup) -> float:
    turn = 2.0 * np.pi * max(one.line.hz, 1.0)
    return float((setup.mass_kg or USUAL_MASS_KG) * one.line.amplitude_m_s2 / turn**2)


def _judge_evenness(seen: Sequence[PulseSeen], setup: MotorSetup) -> Iterable[Finding]:
    turning = [one for one in seen if not one.trouble and (one.is_moved or one.told_turning)]
    clear = [one for one in turning if one.line.is_clear and not one.line.second_hz]
    for one in turning:
        if one in clear:
            yield from _judge_imbalance(one, [other for other in clear if other.output != one.output], setup)
        yield from _judge_roughness(one, [other for other in turning if other.output != one.output])


def _judge_imbalance(one: PulseSeen, others: Sequence[PulseSeen], setup: MotorSetup) -> Iterable[Finding]:
    own = _imbalance_kg_m(one, setup)
    usual = float(np.median([_imbalance_kg_m(other, setup) for other in others])) if len(others) > 1 else float("nan")
    is_uneven = own > UNEVEN_IMBALANCE_KG_M and own > UNEVEN_IMBALANCE * usual
    if own > WORST_IMBALANCE_KG_M or is_uneven:
        against = f", {own / usual:.1f} times the others" if usual > 0 else ""
        words = f"The motor on output {one.output} is out of balance: about {own * 1e6:.1f} mg m{against}."
        advice = (
            _SAFE + "Look for a bent bell or shaft, a loose magnet, dirt or a loose screw; replace the motor otherwise."
        )
        yield Finding("out-of-balance", words, advice)


def _judge_roughness(one: PulseSeen, others: Sequence[PulseSeen]) -> Iterable[Finding]:
    told = [other.roughness_m_s2 for other in others if np.isfinite(other.roughness_m_s2)]
    if len(told) < 2 or not np.isfinite(one.roughness_m_s2):
        return
    usual = float(np.median(told))
    if one.roughness_m_s2 > max(ROUGH_M_S2, ROUGH_TIMES * usual):
        words = (
            f"The motor on output {one.output} runs rough: {one.roughness_m_s2:.2f} m/s² between its harmonics, the "
            f"others {usual:.2f}."
        )
        advice = (
            _SAFE
            + "Turn the bell by hand and feel for grating; see that the motor is screwed tight; replace a worn bearing."
        )
        yield Finding("bearing-rough", words, advice)


def _judge_magnets(seen: Sequence[PulseSeen], setup: MotorSetup) -> Iterable[Finding]:
    told = [(one.told.during[one.output], one.line.hz) for one in seen if one.output in one.told_turning]
    both = [
        (one.told.during[one.output], one.line.hz)
        for one in seen
        if one.output in one.told_turning and one.line.is_clear and not one.line.second_hz and setup.magnets > 0
    ]
    if not told or setup.magnets <= 0:
        return
    if len(both) < 2:
        words = "It was not shown whether the told rotor speeds are right: the motors shake the body too little."
        yield missing("speeds-not-shown", words, "Compare the number of magnets set with those of the motor by eye.")
        return
    likely = likely_magnets(setup.magnets, *zip(*both, strict=True))
    if likely == setup.magnets:
        return
    words = f"The told speeds ({both[0][0]:.0f} turns per second) are not those felt ({both[0][1]:.0f})."
    if likely is None:
        yield missing("speeds-disagree", words, "Count the magnets of a rotor and set them; then run the pulses again.")
        return
    advice = f"Set {likely} magnets instead of {setup.magnets}, after counting those of one rotor."
    yield Finding("magnets-differ", words, advice, settings={"motor.magnets": str(likely)})


# What is shown


def _measured(seen: Sequence[PulseSeen], known: Sequence[_Known], setup: MotorSetup) -> Iterable[Measured]:
    for one in seen:
        if one.trouble:
            continue
        name = f"output {one.output}"
        if one.line.is_clear:
            own = _imbalance_kg_m(one, setup)
            yield Measured(f"{name}: turns per second, felt", one.line.hz, "Hz")
            yield Measured(
                f"{name}: imbalance",
                own * 1e6,
                "mg m",
                f"below {WORST_IMBALANCE_KG_M * 1e6:g}",
                own <= WORST_IMBALANCE_KG_M,
            )
        if one.output in one.told.during:
            yield Measured(f"{name}: turns per second, told", one.told.during[one.output], "Hz")
        if one.reaction is not None:
            step = one.reaction.step_rad_s
            yield Measured(f"{name}: push on the body, clockwise rotor positive", step, "rad/s")
            yield Measured(f"{name}: push over its uncertainty", one.reaction.significance, "")
        if np.isfinite(one.roughness_m_s2):
            yield Measured(f"{name}: roughness between the harmonics", one.roughness_m_s2, "m/s²")
    for each in known:
        if np.isfinite(each.bearing_deg):
            yield Measured(f"output {each.output}: bearing from the nose", each.bearing_deg, "degrees")
            yield Measured(f"output {each.output}: uncertainty of the bearing", each.sigma_deg, "degrees")


def _grid(known: Sequence[_Known], seen: Sequence[PulseSeen], setup: MotorSetup, as_found: MotorSetup | None) -> Grid:
    speeds = {one.output: f"{one.line.hz:.0f} Hz" for one in seen if one.line.is_clear and not one.trouble}
    rows = [("output", "place set", "place felt", "place seen", "should turn", "turns", "speed", "as found")]
    for one in known:
        expected = _place_of(setup, one.output)
        target = one.place or expected
        before = (
            next((place for place, output in as_found.output_of.items() if output == one.output), None)
            if as_found
            else None
        )
        rows.append(
            (
                str(one.output),
                _words(expected) if expected else "none",
                _words(one.felt),
                _words(one.said) if one.said else "not said",
                _TURNS[setup.direction_of[target]] if target else "",
                _TURNS[one.direction],
                speeds.get(one.output, "not shown"),
                _words(before) if before else "not known",
            )
        )
    return Grid("Motors by output", tuple(rows))


def _figures(seen: Sequence[PulseSeen]) -> Iterable[Figure]:
    usable = [one for one in seen if not one.trouble]
    if not usable:
        return
    yaw = tuple(Curve(f"output {one.output}", thinned(one.yaw, most=200)) for one in usable[:4])
    yield Figure("Yaw rate around each pulse", "time since the start", "s", "yaw rate", "rad/s", yaw)
    lines = tuple(Curve(f"output {one.output}", thinned(one.lines)) for one in usable[:4])
    yield Figure("Shaking while each motor turns", "frequency", "Hz", "acceleration", "m/s²", lines)
