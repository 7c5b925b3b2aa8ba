"""Several measured streams at once, and motors turned for a moment.

A motor turns only as long as the aircraft was told in the last command, and that is a fraction of a second: if this
side falls silent, it stops by itself.

Source: message definitions common.xml (HIGHRES_IMU, ATTITUDE, RC_CHANNELS, RAW_RPM, HEARTBEAT, MAV_CMD_ACTUATOR_TEST).
"""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING

from rotorwright.errors import LinkError
from rotorwright.links.errors import StreamNotOfferedError
from rotorwright.links.mavlink.errors import CommandRefusedError
from rotorwright.links.mavlink.spec import (
    ARMED_FLAG,
    FIRST_MOTOR_FUNCTION,
    MOTOR_HOLD_MOST,
    RECEIVER_CHANNEL_FIELDS,
    STREAM_SILENCE,
    TRIES,
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

_DEFAULT_RATE = 0.0  # second parameter of SET_MESSAGE_INTERVAL: 0 asks for the default rate (common.xml)


class StreamWatcher:
    """Watches one aircraft."""

    def __init__(self, channel: Channel, commands: CommandClient) -> None:
        self._channel = channel
        self._commands = commands
        self._at_s: float | None = None
        """The aircraft's clock as last told: two of the messages carry no time of their own."""

    def watch(self, rates_hz: Mapping[Stream, float]) -> Generator[Reading]:
        """Yield readings as they come until the caller has enough.

        Raises:
            StreamNotOfferedError: the aircraft does not offer one of the streams at this rate.
            NoAnswerError: everything stops and does not come again.
        """
        for stream, rate_hz in rates_hz.items():
            self._set_interval(stream, rate_hz)
        patience_s = max(STREAM_SILENCE.value, 4 / max(rates_hz.values()))
        try:
            while True:
                yield self._next(rates_hz, patience_s)
        finally:
            for stream in rates_hz:
                self._back_to_default(stream)

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

    def _set_interval(self, stream: Stream, rate_hz: float) -> None:
        words = f"send {stream} {rate_hz:g} times a second"
        try:
            self._commands.run(CommandId.SET_MESSAGE_INTERVAL, float(MESSAGE_OF[stream]), 1e6 / rate_hz, words=words)
        except CommandRefusedError as refusal:
            raise StreamNotOfferedError.of(str(stream), because=refusal.what) from refusal

    def _back_to_default(self, stream: Stream) -> None:
        # One message and no wait: the line is no longer needed for this, and may be gone.
        with contextlib.suppress(LinkError):
            self._channel.send(
                MessageId.COMMAND_LONG,
                {
                    "command": CommandId.SET_MESSAGE_INTERVAL,
                    "param1": float(MESSAGE_OF[stream]),
                    "param2": _DEFAULT_RATE,
                },
            )

    def _next(self, rates_hz: Mapping[Stream, float], patience_s: float) -> Reading:
        def take(frame: Frame) -> Reading | None:
            return self._reading(frame, rates_hz)

        clock = self._channel.clock
        started = clock.now_s()
        for _ in range(TRIES.count):
            found = self._channel.wait_for(take, clock.now_s() + patience_s)
            if found is not None:
                return found
            for stream, rate_hz in rates_hz.items():
                self._set_interval(stream, rate_hz)
        words = " and ".join(str(stream) for stream in rates_hz)
        raise self._channel.no_answer(f"the stream of {words}", tries=TRIES.count, since=started)

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
