"""Commands: each gets one answer with its result. Of those that move a motor, only the one for the bench is obeyed.

Source: MAVLink guide, page "command protocol"; MAV_CMD and MAV_RESULT of common.xml.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pymavlink.dialects.v20 import common

from rotorwright.twin.mavlink_codec import fields, packet
from rotorwright.twin.telemetry import SHORTEST_INTERVAL_S

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from rotorwright.twin.mavlink_codec import Incoming, Packet
    from rotorwright.twin.outbox import Outbox
    from rotorwright.twin.settings_in_force import SettingsInForce
    from rotorwright.twin.telemetry import Telemetry

NO_MOTORS = "Refused: only the bench drives a motor here"
_MOTOR_COMMANDS = (
    common.MAV_CMD_COMPONENT_ARM_DISARM,
    common.MAV_CMD_DO_MOTOR_TEST,
    common.MAV_CMD_ACTUATOR_TEST,
    common.MAV_CMD_CONFIGURE_ACTUATOR,
    common.MAV_CMD_DO_SET_ACTUATOR,
    common.MAV_CMD_DO_SET_SERVO,
    common.MAV_CMD_DO_REPEAT_SERVO,
    common.MAV_CMD_NAV_TAKEOFF,
    common.MAV_CMD_NAV_VTOL_TAKEOFF,
    common.MAV_CMD_MISSION_START,
)
FIRST_MOTOR = common.ACTUATOR_OUTPUT_FUNCTION_MOTOR1
MOTORS = 8
LONGEST_TEST_S = 3.0  # MAV_CMD_ACTUATOR_TEST, timeout: 0 to 3 (common.xml)
_NO_INTERVAL = -1
_DEFAULT_INTERVAL = 0


@dataclass(frozen=True, slots=True)
class Command:
    """A command with those of its parameters that are used here; a NaN means that the sender leaves it open."""

    number: int
    param1: float
    param2: float
    now_s: float
    param5: float = 0.0


class CommandService:
    """Answers COMMAND_LONG and COMMAND_INT.

    Args:
        outbox: where answers go.
        settings: what is loaded, saved and reset.
        telemetry: what is sent at intervals.
        message: gives a message that can be asked for, or nothing.
        restart: called with "reboot" or "bootloader"; the answer is in the outbox by then or soon.
        drive_motor: called with output, value, seconds and the moment; returns in words why not, or nothing.
    """

    def __init__(
        self,
        outbox: Outbox,
        settings: SettingsInForce,
        telemetry: Telemetry,
        *,
        message: Callable[[int, float], Packet | None],
        restart: Callable[[str], None],
        drive_motor: Callable[[int, float, float, float], str | None] = lambda *_: NO_MOTORS,
    ) -> None:
        self._outbox = outbox
        self._settings = settings
        self._telemetry = telemetry
        self._message = message
        self._restart = restart
        self._drive_motor = drive_motor
        self._acts: Mapping[int, Callable[[Command], int]] = {
            common.MAV_CMD_REQUEST_MESSAGE: self._request_message,
            common.MAV_CMD_SET_MESSAGE_INTERVAL: self._set_interval,
            common.MAV_CMD_GET_MESSAGE_INTERVAL: self._get_interval,
            common.MAV_CMD_PREFLIGHT_STORAGE: self._storage,
            common.MAV_CMD_PREFLIGHT_REBOOT_SHUTDOWN: self._reboot,
            **dict.fromkeys(_MOTOR_COMMANDS, self._refuse_motors),
            common.MAV_CMD_COMPONENT_ARM_DISARM: self._arm_or_disarm,
            common.MAV_CMD_ACTUATOR_TEST: self._test_actuator,
        }
        self._after_answer: list[Packet] = []

    def on_command(self, incoming: Incoming, now_s: float) -> None:
        """Do what COMMAND_LONG or COMMAND_INT asks for, and answer it; what it asked to be sent follows the answer."""
        message = fields(incoming)
        # COMMAND_INT has a place of the globe there, which no motor is.
        fifth = float(getattr(message, "param5", 0.0))
        command = Command(int(message.command), float(message.param1), float(message.param2), now_s, fifth)
        act = self._acts.get(command.number)
        result = act(command) if act else common.MAV_RESULT_UNSUPPORTED
        self._outbox.send(_answer(command, result, incoming))
        for each in self._after_answer:
            self._outbox.send(each)
        self._after_answer.clear()

    def _request_message(self, command: Command) -> int:
        wanted = _whole(command.param1)
        found = self._interval_message(command) if wanted == common.MAVLINK_MSG_ID_MESSAGE_INTERVAL else None
        found = found or self._message(wanted, command.now_s)
        if found is None:
            return int(common.MAV_RESULT_DENIED)
        self._after_answer.append(found)
        return int(common.MAV_RESULT_ACCEPTED)

    def _interval_message(self, command: Command) -> Packet:
        return _interval_packet(self._telemetry, _whole(command.param2))

    def _get_interval(self, command: Command) -> int:
        self._after_answer.append(_interval_packet(self._telemetry, _whole(command.param1)))
        return int(common.MAV_RESULT_ACCEPTED)

    def _set_interval(self, command: Command) -> int:
        wanted, interval_us = _whole(command.param1), command.param2
        if not self._telemetry.knows(wanted):
            return int(common.MAV_RESULT_DENIED)
        if interval_us == _DEFAULT_INTERVAL:
            self._telemetry.set_default_interval(wanted, command.now_s)
        elif interval_us == _NO_INTERVAL:
            self._telemetry.set_interval(wanted, None, command.now_s)
        elif interval_us >= SHORTEST_INTERVAL_S * 1e6:
            self._telemetry.set_interval(wanted, interval_us / 1e6, command.now_s)
        else:  # too quick, negative or not a number
            return int(common.MAV_RESULT_DENIED)
        return int(common.MAV_RESULT_ACCEPTED)

    def _storage(self, command: Command) -> int:
        if command.param1 == common.PARAM_READ_PERSISTENT:
            done = self._settings.load()
        elif command.param1 == common.PARAM_WRITE_PERSISTENT:
            done = self._settings.save()
        elif command.param1 == common.PARAM_RESET_FACTORY_DEFAULT:
            self._settings.reset()
            done = True
        else:
            return int(common.MAV_RESULT_DENIED)
        return int(common.MAV_RESULT_ACCEPTED if done else common.MAV_RESULT_FAILED)

    def _reboot(self, command: Command) -> int:
        if command.param1 not in {1, 3}:  # 1: restart, 3: restart and stay in the bootloader; no other is built
            return int(common.MAV_RESULT_DENIED)
        self._restart("bootloader" if command.param1 == 3 else "reboot")
        return int(common.MAV_RESULT_ACCEPTED)

    def _arm_or_disarm(self, command: Command) -> int:
        if command.param1 == 0:  # disarm: it is
            return int(common.MAV_RESULT_ACCEPTED)
        return self._refuse_motors(command)

    def _test_actuator(self, command: Command) -> int:
        """Drive one motor for `param2` seconds; an open value (NaN) lets it go."""
        output = _whole(command.param5) - FIRST_MOTOR + 1
        value = 0.0 if math.isnan(command.param1) else command.param1
        if not 1 <= output <= MOTORS or not 0.0 <= command.param2 <= LONGEST_TEST_S:
            return int(common.MAV_RESULT_DENIED)
        refusal = self._drive_motor(output, value, command.param2, command.now_s)
        if refusal is None:
            return int(common.MAV_RESULT_ACCEPTED)
        self._outbox.say(refusal)
        return int(common.MAV_RESULT_DENIED)

    def _refuse_motors(self, _command: Command) -> int:
        self._outbox.say(NO_MOTORS)
        return int(common.MAV_RESULT_DENIED)


def _whole(number: float) -> int:
    """Return a parameter that is a whole number; -1, which is no message, if it is none."""
    return int(number) if number == number and abs(number) < 1 << 24 else -1  # noqa: PLR0124 - a NaN is not itself


def _interval_packet(telemetry: Telemetry, message_id: int) -> Packet:
    interval_s = telemetry.interval_s(message_id)
    unsent_us = -1 if telemetry.knows(message_id) else 0  # MESSAGE_INTERVAL: -1 is not sent, 0 is not known
    interval_us = unsent_us if interval_s is None else round(interval_s * 1e6)
    return packet(common.MAVLink_message_interval_message(max(0, message_id) & 0xFFFF, interval_us))


def _answer(command: Command, result: int, incoming: Incoming) -> Packet:
    return packet(
        common.MAVLink_command_ack_message(
            command=command.number,
            result=result,
            progress=0,
            result_param2=0,
            target_system=incoming.system,
            target_component=incoming.component,
        )
    )
