"""What the bench checks have to know of an aircraft, taken from its settings by their roles.

What a role means in numbers is on the page docs/reference/roles.md.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from rotorwright.bench.arming import ArmingSetup
from rotorwright.bench.motors import MotorSetup, Place, role_of
from rotorwright.bench.mountings import rotation_of_code
from rotorwright.bench.receiver import ReceiverSetup, Stick
from rotorwright.bench.switches import Switching
from rotorwright.changeover.bringing import read_snapshot
from rotorwright.changeover.sheets import known_catalogue
from rotorwright.settings.identity import release_line
from rotorwright.settings.roles import RoleValues, role_values

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.bench.records import FloatArray
    from rotorwright.changeover.workshop import Workshop
    from rotorwright.settings.values import Value

SLOTS = 16
"""Functions on switches that a book may name, from `mode.1` on."""

REVERSED_BITS = {Stick.ROLL: 0, Stick.PITCH: 1, Stick.THRUST: 2, Stick.YAW: 3}
MOTORS_OFF = 0
"""The number of the failsafe action that stops the motors."""

SPIN_BITS = {Place.FRONT_RIGHT: 0, Place.REAR_RIGHT: 1, Place.REAR_LEFT: 2, Place.FRONT_LEFT: 3}
_CLOCKWISE_WHEN_INWARDS = {
    # Seen from above, front rotors that turn inwards: their front edges go towards the nose, so right is -1, left +1.
    Place.FRONT_RIGHT: -1,
    Place.REAR_RIGHT: +1,
    Place.REAR_LEFT: -1,
    Place.FRONT_LEFT: +1,
}


def roles_now(shop: Workshop) -> RoleValues:
    """Return what the aircraft holds now, by role, as it says itself."""
    return _roles(shop, read_snapshot(shop).settings)


def _roles(shop: Workshop, values: Mapping[str, Value]) -> RoleValues:
    book, line = shop.book(), release_line(shop.state.expected_release)
    newest = book.releases[-1].name if book.releases else line
    notes = book.notes(line, newest) if newest != line and book.release(line) is not None else None
    return role_values(book.classes, values, catalogue=known_catalogue(shop), to_newest=notes)


def mounting(roles: RoleValues) -> tuple[FloatArray | None, tuple[float, float, float] | None]:
    """Return how the sensor sits on the board, and roll, pitch and yaw of the board in degrees; None if not known."""
    code = roles.whole("sensor.mounting")
    chip = None if code is None else rotation_of_code(code)
    angles = [roles.number(f"sensor.board.{axis}", "deg") for axis in ("roll", "pitch", "yaw")]
    roll, pitch, yaw = angles
    board = None if roll is None or pitch is None or yaw is None else (roll, pitch, yaw)
    return chip, board


def receiver(roles: RoleValues) -> ReceiverSetup | None:
    """Return what the settings say of the receiver; None where they do not say which stick is on which channel."""
    channels = {stick: roles.whole(f"receiver.channel.{stick}") for stick in Stick}
    known = {stick: channel for stick, channel in channels.items() if channel is not None}
    if len(known) < len(Stick):
        return None
    bits, action = roles.whole("receiver.reversed") or 0, roles.whole("failsafe.action")
    return ReceiverSetup(
        channel_of=known,
        is_reversed={stick: bool(bits >> REVERSED_BITS[stick] & 1) for stick in Stick},
        low_us=1000.0,
        middle_us=1500.0,
        high_us=2000.0,
        dead_us=roles.number("receiver.dead", "us") or 0.0,
        wait_s=roles.number("failsafe.wait", "s"),
        action=roles.label("failsafe.action"),
        action_stops_motors=None if action is None else action == MOTORS_OFF,
        arming_channel=roles.whole("arming.switch.channel") or 0,
        arming_lowest_us=roles.number("arming.switch.lowest", "us") or 0.0,
        arming_highest_us=roles.number("arming.switch.highest", "us") or 0.0,
        reversed_bit_of=REVERSED_BITS,
        landing_s=roles.number("failsafe.landing.longest", "s"),
    )


def motors(roles: RoleValues) -> MotorSetup | None:
    """Return which output is to drive which motor and how it is to turn; None where the settings do not say."""
    outputs = {place: roles.whole(role_of(place)) for place in Place}
    known = {place: output for place, output in outputs.items() if output is not None}
    usual = roles.whole("motor.spin.usual")
    if len(known) < len(Place) or usual is None:
        return None
    against = roles.whole("motor.spin.against") or 0
    outwards = -1 if usual else +1
    directions = {
        place: turn * outwards * (-1 if against >> SPIN_BITS[place] & 1 else 1)
        for place, turn in _CLOCKWISE_WHEN_INWARDS.items()
    }
    return MotorSetup(output_of=known, direction_of=directions, magnets=roles.whole("motor.magnets") or 0)


def _ends_with_motors_off(roles: RoleValues) -> bool | None:
    """Answer whether the failsafe ends with the motors off, at once or after a landing that has a limit."""
    action = roles.whole("failsafe.action")
    if action is None:
        return None
    return True if action == MOTORS_OFF or roles.number("failsafe.landing.longest", "s") else None


def switches(roles: RoleValues) -> tuple[Switching, ...]:
    """Return every function that a switch turns on, by the slots that the book names."""
    named = _functions(roles)
    found = (_slot(roles, slot, function) for slot, function in named.items())
    return tuple(one for one in found if one is not None)


def _functions(roles: RoleValues) -> dict[str, str]:
    """Return the function of each slot in use; where two slots have the same one, their numbers tell them apart."""
    slots = [f"mode.{number}" for number in range(1, SLOTS + 1)]
    used = {slot: roles.whole(f"{slot}.function") for slot in slots}
    labels = {slot: roles.label(f"{slot}.function") or f"function {task}" for slot, task in used.items() if task}
    times = Counter(labels.values())
    return {
        slot: label if times[label] == 1 else f"{label} (slot {slot.removeprefix('mode.')})"
        for slot, label in labels.items()
    }


def _slot(roles: RoleValues, slot: str, function: str) -> Switching | None:
    channel = roles.whole(f"{slot}.channel")
    low, high = roles.number(f"{slot}.lowest", "us"), roles.number(f"{slot}.highest", "us")
    if not channel or low is None or high is None:
        return None
    return Switching(function, channel, low, high)


def mode_bits(shop: Workshop, roles: RoleValues) -> dict[str, int]:
    """Return by function the bit with which the aircraft tells that it is on."""
    classes = shop.book().classes
    told = classes.told if classes is not None else {}
    return {function: told[slot] for slot, function in _functions(roles).items() if slot in told}


def arming(roles: RoleValues, *, channels: int, rest_us: Mapping[int, float]) -> ArmingSetup | None:
    """Return what arms the motors; None where the settings do not say."""
    channel = roles.whole("arming.switch.channel")
    low, high = roles.number("arming.switch.lowest", "us"), roles.number("arming.switch.highest", "us")
    thrust = roles.whole("receiver.channel.thrust")
    if channel is None or low is None or high is None or thrust is None:
        return None
    return ArmingSetup(
        arming=Switching("arming", channel, low, high),
        functions=switches(roles),
        channels=channels,
        rest_us=rest_us,
        failsafe_action=roles.label("failsafe.action"),
        failsafe_stops_motors=_ends_with_motors_off(roles),
        arms_by_stick=bool(roles.whole("arming.stick")),
        thrust_channel=thrust,
        thrust_low_us=roles.number("receiver.stick.low", "us") or 1050.0,
        asks_thrust_low=roles.flag("arming.needs.thrust.low"),
        start_output_percent=roles.number("motor.idle", "%"),
        stick_channels=tuple(
            channel for stick in Stick if (channel := roles.whole(f"receiver.channel.{stick}")) is not None
        ),
    )
