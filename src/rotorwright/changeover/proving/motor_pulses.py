"""Motors turned one at a time for about a second, behind their gate, while somebody holds on.

The aircraft is told again and again, each time for a fraction of a second; if the person lets go, if this program or
the line falls silent, nothing is told any more and the motor stops by itself.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.bench.motors import MotorSetup, Place, Pulse, judge_motors
from rotorwright.bench.verdicts import CheckResult, not_shown
from rotorwright.changeover.gates import Gate
from rotorwright.changeover.person import SeenQuestion
from rotorwright.changeover.proving import craft
from rotorwright.changeover.proving.watching import watching
from rotorwright.changeover.workshop import AFTER_RESTART_S, Workshop
from rotorwright.links.readings import Stream

if TYPE_CHECKING:
    from rotorwright.changeover.proving.recorder import Recorder
    from rotorwright.changeover.proving.watching import Watch
    from rotorwright.links.application import ApplicationLink

MOST_MOTION_HZ = 500.0
ROTORS_HZ = 20.0
MOTION_BYTES = 80.0  # HIGHRES_IMU with its frame; MAVLink serialization page
LINE_SHARE = 0.7  # of the line for the motion; the rest is for everything else. Own choice.
LOW_COMMAND = 0.08
"""Just enough for a rotor to turn: about 100 turns a second without a propeller. Made up, of the size that motors of
five-inch aircraft need."""

PULSE_S = 1.0
BEFORE_S = 0.6
AFTER_S = 1.0
TELL_EVERY_S = 0.1
HOLD_S = 0.3


def measure_motors(shop: Workshop) -> CheckResult:
    """Turn each motor for about a second and see which one it is and how it turns.

    Raises:
        NotConfirmedError: a gate is not confirmed; no motor turned.
    """
    setup = craft.motors(craft.roles_now(shop))
    if setup is None:
        return _not_shown("roles-unknown", "No release book says which output drives which motor in this firmware.")
    shop.confirmed.discard(Gate.PROPELLERS_OFF)  # asked for anew: hands have been on the aircraft since
    shop.require_confirmed(Gate.PROPELLERS_OFF)
    shop.require_confirmed(Gate.MOTORS_MAY_TURN)
    recorder, pulses, said = _turned(shop, setup, asks=False)
    if not pulses:
        return _not_shown("not-held", "Nobody held on to what lets a motor turn, so none did.")
    result = judge_motors(recorder.motion_record(), pulses, setup, rotors=recorder.rotor_record(), said=said)
    if not any(finding.kind == PLACE_NOT_SEEN for finding in result.findings):
        return result
    shop.person.tell("The sensors cannot tell which motor turned. Each one turns once more: look which one it is.")
    recorder, pulses, said = _turned(shop, setup, asks=True)
    return judge_motors(recorder.motion_record(), pulses, setup, rotors=recorder.rotor_record(), said=said)


PLACE_NOT_SEEN = "place-not-shown"


def _turned(shop: Workshop, setup: MotorSetup, *, asks: bool) -> tuple[Recorder, list[Pulse], dict[int, Place]]:
    outputs, said = sorted(setup.output_of.values()), {}
    pulses: list[Pulse] = []
    rates = {Stream.MOTION: _motion_hz(shop), Stream.ROTORS: ROTORS_HZ}
    with shop.application(timeout_s=AFTER_RESTART_S) as link:
        for output in outputs:
            link.require_motor_test(output)
        with shop.person.holding() as is_held, watching(link, shop.clock, rates) as watch:
            for output in outputs if is_held else ():
                pulses.append(_pulse(shop, link, watch, output))
                if asks and (place := _seen(shop, output)) is not None:
                    said[output] = place
    return watch.recorder, pulses, said


def _pulse(shop: Workshop, link: ApplicationLink, watch: Watch, output: int) -> Pulse:
    shop.person.tell(f"Motor output {output} turns for a second.")
    watch.for_s(BEFORE_S)
    start_s, told_s = watch.recorder.last_s, -1.0
    is_held = True

    def tell() -> None:
        nonlocal told_s, is_held
        now = shop.clock.now_s()
        if is_held and now - told_s >= TELL_EVERY_S:
            is_held = shop.person.is_holding()
            link.push_motor(output, LOW_COMMAND if is_held else 0.0, for_s=HOLD_S if is_held else 0.0)
            told_s = now

    try:
        watch.for_s(PULSE_S, tell)
    finally:
        link.push_motor(output, 0.0, for_s=0.0)
    end_s = watch.recorder.last_s
    watch.for_s(AFTER_S)
    return Pulse(output, start_s, end_s)


def _seen(shop: Workshop, output: int) -> Place | None:
    question = SeenQuestion(
        f"Which motor turned at output {output}, seen from behind the aircraft?",
        tuple(str(place) for place in Place),
        "motor-place",
        (("output", str(output)),),
    )
    said = shop.person.answer(question)
    return Place(said) if said in {str(place) for place in Place} else None


def _motion_hz(shop: Workshop) -> float:
    """Return how often the line can carry the motion; a port on USB takes whatever rate is set for it."""
    return min(MOST_MOTION_HZ, LINE_SHARE * shop.application_line.baud / 10 / MOTION_BYTES)


def _not_shown(kind: str, words: str) -> CheckResult:
    todo = "Check the order and direction of the motors by hand as the maker says, propellers off."
    return not_shown("motors", kind, words, todo)
