"""The bench checks, measured: what the hands are asked for, what is watched, and what the pure rooms make of it.

Each function returns how its check ended and changes no setting. Whoever calls it notes the result.
"""

from __future__ import annotations

from functools import partial
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from rotorwright.bench.arming import judge_arming, switch_moves_seen
from rotorwright.bench.arming_picture import truth_picture_svg
from rotorwright.bench.failsafe import judge_failsafe
from rotorwright.bench.orientation import USUAL_POSES, held_so_far, judge_orientation
from rotorwright.bench.power import judge_power
from rotorwright.bench.receiver import STICK_ORDER, StickWindow, judge_receiver, stick_done
from rotorwright.bench.verdicts import CheckResult, not_shown
from rotorwright.changeover.gates import Gate, NotConfirmedError
from rotorwright.changeover.person import PoseRequest, SeenQuestion, StickRequest, SwitchRequest, TransmitterRequest
from rotorwright.changeover.proving import craft
from rotorwright.changeover.proving.motor_pulses import measure_motors
from rotorwright.changeover.proving.watching import watching
from rotorwright.changeover.receive import keep_content
from rotorwright.changeover.workshop import AFTER_RESTART_S, Workshop
from rotorwright.links.readings import Stream

if TYPE_CHECKING:
    from collections.abc import Callable

    from rotorwright.changeover.proving.recorder import Recorder
    from rotorwright.changeover.proving.watching import Watch
    from rotorwright.errors import ProtocolError
    from rotorwright.settings.roles import RoleValues

MOTION_HZ = 100.0
ATTITUDE_HZ = 25.0
CHANNELS_HZ = 100.0
ANSWER_HZ = 20.0
BATTERY_READINGS = 10
BATTERY_PAUSE_S = 0.1
REST_S = 1.0
SWITCH_MOVES = 2  # away from rest and back
AFTER_MOVE_S = 1.0
LOST_PATIENCE_S = 20.0
AFTER_LOSS_S = 2.0
FLICKER_S = 0.25  # common practice, no source
STILL_S = 1.0  # a live receiver's channels flicker by a step or two; common practice, no source


def measure_power(shop: Workshop) -> CheckResult:
    """Measure the main battery, and ask what a meter shows."""
    roles = craft.roles_now(shop)
    volts, amperes = [], []
    with shop.application(timeout_s=AFTER_RESTART_S) as link:
        for _ in range(BATTERY_READINGS):
            reading = link.read_battery()
            volts.append(reading.volts)
            amperes.append(getattr(reading, "amperes", None))
            shop.clock.sleep_s(BATTERY_PAUSE_S)
    known = [one for one in amperes if one is not None]
    return judge_power(
        volts=np.array(volts),
        amperes=np.array(known) if known else None,
        cells_set=roles.whole("battery.cells"),
        full_v=roles.number("battery.cell.full", "V"),
        warn_v=roles.number("battery.cell.warning", "V"),
        land_v=roles.number("battery.cell.land", "V"),
        meter_v=_meter(shop),
        scale=roles.number("battery.voltage.scale"),
    )


def _meter(shop: Workshop) -> float | None:
    question = SeenQuestion(
        "What does a meter or charger show at the battery lead, in volts? (empty: no meter at hand)", (), "meter-volts"
    )
    said = shop.person.answer(question)
    try:
        return float(said.replace(",", ".")) if said else None
    except ValueError:
        shop.person.tell(f"{said!r} is no number of volts; it is taken for no meter.")
        return None


def measure_orientation(shop: Workshop) -> CheckResult:
    """Watch the motion while the aircraft is tipped; each pose is asked for as soon as the last one is seen."""
    shop.require_confirmed(Gate.PROPELLERS_OFF)
    chip, board = craft.mounting(craft.roles_now(shop))
    with (
        shop.application(timeout_s=AFTER_RESTART_S) as link,
        watching(link, shop.clock, {Stream.MOTION: MOTION_HZ, Stream.ATTITUDE: ATTITUDE_HZ}) as watch,
    ):
        for number, pose in enumerate(USUAL_POSES, start=1):
            if not (shop.person.watched(PoseRequest(pose)) and watch.until(partial(_are_held, count=number))):
                break
    return judge_orientation(watch.recorder.motion_record(), USUAL_POSES, chip=chip, board_deg=board)


def _are_held(so_far: Recorder, *, count: int) -> bool:
    return held_so_far(so_far.motion_record(), USUAL_POSES) >= count


def measure_receiver(shop: Workshop) -> CheckResult:
    """Watch the receiver channels while one stick after another is moved."""
    setup = craft.receiver(craft.roles_now(shop))
    if setup is None:
        return _unknown("receiver", "which stick belongs to which receiver channel")
    windows = []
    with (
        shop.application(timeout_s=AFTER_RESTART_S) as link,
        watching(link, shop.clock, {Stream.CHANNELS: CHANNELS_HZ}) as watch,
    ):
        watch.for_s(REST_S)
        for stick in STICK_ORDER:
            start_s = watch.recorder.last_s
            if not shop.person.watched(StickRequest(stick)):
                break
            watch.until(partial(_is_stick_done, since_s=start_s))
            windows.append(StickWindow(stick, start_s, watch.recorder.last_s))
    return judge_receiver(watch.recorder.channel_record(), windows, setup)


def _is_stick_done(so_far: Recorder, *, since_s: float) -> bool:
    return stick_done(so_far.channel_record(), since_s)


def measure_arming(shop: Workshop) -> CheckResult:
    """Work out from the settings what arms the motors, then watch what the aircraft says while the switches move.

    What the settings say wrong is found also where motors may not turn; then no switch is asked for.
    """
    shop.require_confirmed(Gate.PROPELLERS_OFF)
    roles = craft.roles_now(shop)
    with (
        shop.application(timeout_s=AFTER_RESTART_S) as link,
        watching(link, shop.clock, {Stream.CHANNELS: CHANNELS_HZ, Stream.ANSWER: ANSWER_HZ}) as watch,
    ):
        watch.for_s(REST_S)
        setup = craft.arming(roles, channels=_channels(watch.recorder), rest_us=_rest(watch.recorder))
        if setup is None:
            return _unknown("arming", "what arms the motors")
        moves = _switches(roles, setup.arming.channel, setup.channels) if _may_turn(shop) else []
        for function, channel in moves:
            if not shop.person.watched(SwitchRequest(function, channel)):
                break
            _wait_for_moves(watch, channel)
    keep_content(shop, "arming-positions", "svg", truth_picture_svg(setup).encode())
    return judge_arming(
        setup,
        channels=watch.recorder.channel_record(),
        answers=watch.recorder.answer_record(),
        mode_bit_of=craft.mode_bits(shop, roles),
    )


def _may_turn(shop: Workshop) -> bool:
    try:
        shop.require_confirmed(Gate.MOTORS_MAY_TURN)
    except NotConfirmedError:
        return False
    return True


def _wait_for_moves(watch: Watch, channel: int) -> None:
    before = switch_moves_seen(watch.recorder.channel_record(), channel)
    watch.until(lambda so_far: switch_moves_seen(so_far.channel_record(), channel) >= before + SWITCH_MOVES)
    watch.for_s(AFTER_MOVE_S)


def _switches(roles: RoleValues, arming_channel: int, channels: int) -> list[tuple[str, int]]:
    """Return each switch once, that of arming first; a channel that is not there cannot be moved."""
    found = {arming_channel: "arming"}
    for one in craft.switches(roles):
        found.setdefault(one.channel, one.function)
    return [(function, channel) for channel, function in found.items() if 0 < channel <= channels]


def _channels(recorder: Recorder) -> int:
    return max((sum(pulse is not None for pulse in one.pulses_us) for one in recorder.channels), default=0)


def _rest(recorder: Recorder) -> dict[int, float]:
    pulses = recorder.channel_record().pulses_us
    return {
        channel: float(np.nanmedian(pulses[:, channel - 1]))
        for channel in range(1, pulses.shape[1] + 1)
        if np.isfinite(pulses[:, channel - 1]).any()
    }


def measure_failsafe(shop: Workshop) -> CheckResult:
    """Watch what becomes of channels and motors while the transmitter is off, and when it is on again."""
    shop.require_confirmed(Gate.PROPELLERS_OFF)
    shop.require_confirmed(Gate.MOTORS_MAY_TURN)
    setup = craft.receiver(craft.roles_now(shop))
    if setup is None:
        return _unknown("failsafe", "what is to happen without a signal")
    with (
        shop.application(timeout_s=AFTER_RESTART_S) as link,
        watching(link, shop.clock, {Stream.CHANNELS: CHANNELS_HZ, Stream.ANSWER: ANSWER_HZ}) as watch,
    ):
        watch.for_s(REST_S)
        asked_s = watch.recorder.last_s
        if not shop.person.watched(TransmitterRequest(is_on=False, armed=True)):
            return _not_done("failsafe", "The transmitter was not switched off.")
        was_armed = watch.until(_is_armed)
        watch.until(partial(_is_lost, since_s=watch.recorder.last_s), patience_s=LOST_PATIENCE_S)
        off_at_s = last_live_s(watch.recorder, since_s=asked_s)
        watch.for_s((setup.wait_s or 0.0) + AFTER_LOSS_S)
        if was_armed and setup.landing_s is not None and not setup.stops_motors:
            watch.until(_is_disarmed, patience_s=setup.landing_s + AFTER_LOSS_S)
        on_again_s = watch.recorder.last_s if shop.person.watched(TransmitterRequest(is_on=True)) else None
        watch.until(_is_there, patience_s=LOST_PATIENCE_S)
        watch.for_s(AFTER_LOSS_S)
    return judge_failsafe(
        watch.recorder.channel_record(),
        watch.recorder.answer_record(),
        off_at_s=off_at_s,
        on_again_s=on_again_s,
        setup=setup,
        was_armed=was_armed,
    )


def _is_armed(recorder: Recorder) -> bool:
    return bool(recorder.answers) and recorder.answers[-1].is_armed


def _is_disarmed(recorder: Recorder) -> bool:
    return bool(recorder.answers) and not recorder.answers[-1].is_armed


def _is_there(recorder: Recorder) -> bool:
    return bool(recorder.channels) and recorder.channels[-1].is_signal


def last_live_s(recorder: Recorder, *, since_s: float) -> float:
    """Return when the channels last came from a live transmitter: its pulses flicker, held ones and presets do not.

    A jump by itself, as to a preset, is no sign of life. Where nothing flickers, the last moment with a signal.
    """
    latest = [one for one in recorder.channels if one.at_s >= since_s]
    changes = [new.at_s for old, new in pairwise(latest) if new.pulses_us != old.pulses_us and new.is_signal]
    live = [new for old, new in pairwise(changes) if new - old <= FLICKER_S]
    with_signal = [one.at_s for one in latest if one.is_signal]
    return live[-1] if live else (with_signal[-1] if with_signal else since_s)


def _is_lost(recorder: Recorder, *, since_s: float) -> bool:
    """Answer whether the signal is gone: the aircraft says so, or the channels have stood still for a second."""
    latest = [one for one in recorder.channels if one.at_s >= since_s]
    if not latest or not latest[-1].is_signal:
        return bool(latest)
    last = [one.pulses_us for one in latest if one.at_s >= latest[-1].at_s - STILL_S]
    return latest[-1].at_s - since_s >= STILL_S and len(set(last)) == 1


def _unknown(check: str, what: str) -> CheckResult:
    todo = "Open the job with a release book, or check it by hand as the maker says."
    return not_shown(check, "roles-unknown", f"No release book says {what} in this firmware.", todo)


def _not_done(check: str, what: str) -> CheckResult:
    return not_shown(check, "not-done", what, "Do it when it is asked for.")


def not_offered(check: str, refusal: ProtocolError) -> CheckResult:
    """Return the result of a check whose measurement the aircraft or its link does not offer."""
    return not_shown(check, "not-offered", f"{refusal.what} {refusal.why}", refusal.todo)


def not_wanted(check: str) -> CheckResult:
    """Return the result of a check that would let motors turn, where the person does not want that now."""
    words = "It was not confirmed that motors may turn, so none did."
    return not_shown(check, "gate-not-confirmed", words, f"When they may: rotorwright prove --only {check}")


MEASURES: dict[str, Callable[[Workshop], CheckResult]] = {
    "power": measure_power,
    "orientation": measure_orientation,
    "receiver": measure_receiver,
    "arming": measure_arming,
    "failsafe": measure_failsafe,
    "motors": measure_motors,
}
"""By the names of `BENCH_CHECKS`."""
