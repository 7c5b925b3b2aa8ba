"""Several measured streams at once, and motors turned for a moment.

A motor turns only as long as the aircraft was told in the last command, and that is a fraction of a second: if this
side falls silent, it stops by itself.

Source: message definitions common.xml (HIGHRES_IMU, ATTITUDE, RC_CHANNELS, RAW_RPM, HEARTBEAT, MAV_CMD_ACTUATOR_TEST).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.links.errors import StreamNotOfferedError
from rotorwright.links.mavlink.errors import CommandRefusedError
from rotorwright.links.mavlink.spec import (
    ARMED_FLAG,
    FIRST_MOTOR_FUNCTION,
    MOTOR_HOLD_MOST,
    RECEIVER_CHANNEL_FIELDS,
    UNKNOWN_UINT16,
    CommandId,
    MessageId,
)
from rotorwright.links.readings import (
    AnswerReading,
    ChannelsReading,
    HeldReading,
    MotionReading,
    Reading,
    RotorReading,
    Stream,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Mapping

    from rotorwright.links.mavlink.channel import Channel
    from rotorwright.links.mavlink.codec import Fields, Frame
    from rotorwright.links.mavlink.commands import CommandClient
    from rotorwright.links.mavlink.telemetry import TelemetryClient

MESSAGE_OF = {
    Stream.MOTION: MessageId.HIGHRES_IMU,
    Stream.ATTITUDE: MessageId.ATTITUDE,
    Stream.CHANNELS: MessageId.RC_CHANNELS,
    Stream.ROTORS: MessageId.RAW_RPM,
    Stream.ANSWER: MessageId.HEARTBEAT,
}
_STREAM_OF: dict[int, Stream] = {message: stream for stream, message in MESSAGE_OF.items()}
_WITHOUT_TIME = frozenset({Stream.ROTORS, Stream.ANSWER})
"""Streams whose messages carry no time; they get that of the message before, and none is taken before the first."""


class StreamWatcher:
    """Watches one aircraft."""

    def __init__(self, channel: Channel, commands: CommandClient, telemetry: TelemetryClient) -> None:
        self._channel = channel
        self._commands = commands
        self._telemetry = telemetry
        self._at_s: float | None = None
        """The aircraft's clock as last told: two of the messages carry no time of their own."""

    def watch(self, rates_hz: Mapping[Stream, float]) -> Generator[Reading]:
        """Yield readings as they come until the caller has enough.

        Raises:
            StreamNotOfferedError: the aircraft does not offer one of the streams at this rate.
            NoAnswerError: everything stops and does not come again.
        """
        wanted = {MESSAGE_OF[stream]: rate_hz for stream, rate_hz in rates_hz.items()}
        try:
            yield from self._telemetry.watch_messages(wanted, lambda frame: self._reading(frame, rates_hz))
        except CommandRefusedError as refusal:
            words = " and ".join(str(stream) for stream in rates_hz)
            raise StreamNotOfferedError.of(words, because=refusal.what) from refusal

    def push_motor(self, output: int, value: float, *, for_s: float) -> None:
        """Tell the aircraft to drive the motor on `output` (1 is the first) at `value` (0 to 1), and do not wait.

        It stops after `for_s`, which is cut to the longest that is allowed, unless it is told again. 0 stops it.
        """
        held_s = min(for_s, MOTOR_HOLD_MOST.value)
        self._channel.send(
            MessageId.COMMAND_LONG,
            {
                "command": CommandId.ACTUATOR_TEST,
                "param1": float(value),
                "param2": float(held_s),
                "param5": float(FIRST_MOTOR_FUNCTION + output - 1),
            },
        )

    def require_motor_test(self, output: int) -> None:
        """Ask the aircraft whether it lets a motor be driven, by a command to stand still.

        Raises:
            CommandRefusedError: it does not.
        """
        function = float(FIRST_MOTOR_FUNCTION + output - 1)
        words = f"drive motor output {output} on the bench"
        self._commands.run(CommandId.ACTUATOR_TEST, 0.0, 0.0, 0.0, 0.0, function, words=words)

    def _reading(self, frame: Frame, rates_hz: Mapping[Stream, float]) -> Reading | None:
        stream = _STREAM_OF.get(frame.message_id)
        if stream is None or stream not in rates_hz or (self._at_s is None and stream in _WITHOUT_TIME):
            return None
        reading = _READ[stream](frame.fields, self._at_s or 0.0)
        self._at_s = reading.at_s
        return reading


def _motion(fields: Fields, _at_s: float) -> Reading:
    return MotionReading(
        fields.integer("time_usec") / 1e6,
        (fields.number("xacc"), fields.number("yacc"), fields.number("zacc")),
        (fields.number("xgyro"), fields.number("ygyro"), fields.number("zgyro")),
    )


def _held(fields: Fields, _at_s: float) -> Reading:
    angles = (fields.number("roll"), fields.number("pitch"), fields.number("yaw"))
    return HeldReading(fields.integer("time_boot_ms") / 1e3, angles)


def _channels(fields: Fields, _at_s: float) -> Reading:
    raw = [fields.integer(f"chan{number}_raw") for number in range(1, RECEIVER_CHANNEL_FIELDS + 1)]
    pulses = tuple(None if one == UNKNOWN_UINT16 else float(one) for one in raw)
    # chancount is 0 when no channels come in (common.xml); the fields then hold what the aircraft makes of that.
    return ChannelsReading(fields.integer("time_boot_ms") / 1e3, pulses, is_signal=fields.integer("chancount") > 0)


def _rotor(fields: Fields, at_s: float) -> Reading:
    return RotorReading(at_s, fields.integer("index") + 1, fields.number("frequency") / 60.0)


def _answer(fields: Fields, at_s: float) -> Reading:
    is_armed = bool(fields.integer("base_mode") & ARMED_FLAG)
    return AnswerReading(at_s, is_armed=is_armed, mode_bits=fields.integer("custom_mode"))


_READ: dict[Stream, Callable[[Fields, float], Reading]] = {
    Stream.MOTION: _motion,
    Stream.ATTITUDE: _held,
    Stream.CHANNELS: _channels,
    Stream.ROTORS: _rotor,
    Stream.ANSWER: _answer,
}
