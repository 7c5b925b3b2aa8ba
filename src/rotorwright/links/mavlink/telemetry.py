"""What the aircraft measures: battery, attitude, receiver channels."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

from rotorwright.errors import LinkError
from rotorwright.links.mavlink.errors import TelemetryMissingError
from rotorwright.links.mavlink.spec import STREAM_SILENCE, TRIES, UNKNOWN_UINT16, CommandId, MessageId

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Iterator, Mapping

    from rotorwright.links.mavlink.channel import Channel
    from rotorwright.links.mavlink.codec import Fields, Frame
    from rotorwright.links.mavlink.commands import CommandClient

_T = TypeVar("_T")

_DEFAULT_RATE = 0.0  # second parameter of SET_MESSAGE_INTERVAL: 0 asks for the default rate (common.xml)
_UNKNOWN_UINT8 = 0xFF
_UNKNOWN_CURRENT = -1
_UNKNOWN_REMAINING = -1


@dataclass(frozen=True, slots=True)
class Battery:
    """The main battery as the aircraft measures it; None where it does not know.

    `volts` is the whole battery, `cell_volts` each cell if they are measured apart.
    """

    volts: float
    cell_volts: tuple[float, ...]
    amperes: float | None
    remaining_percent: int | None


@dataclass(frozen=True, slots=True)
class Attitude:
    """How the aircraft thinks it is held: angles in radians, rates in radians per second (common.xml, ATTITUDE)."""

    roll_rad: float
    pitch_rad: float
    yaw_rad: float
    roll_rate_rad_s: float
    pitch_rate_rad_s: float
    yaw_rate_rad_s: float
    time_boot_ms: int


@dataclass(frozen=True, slots=True)
class ReceiverChannels:
    """Receiver channels in microseconds of pulse width, first channel first; None where a channel is not used."""

    channels_us: tuple[int | None, ...]
    signal_percent: int | None


class TelemetryClient:
    """Asks one aircraft for what it measures."""

    def __init__(self, channel: Channel, commands: CommandClient) -> None:
        self._channel = channel
        self._commands = commands

    def read_battery(self) -> Battery:
        """Return the battery as measured now.

        Raises:
            TelemetryMissingError: the aircraft does not measure it.
        """
        return self._commands.request_message(MessageId.BATTERY_STATUS, lambda frame: battery_from(frame.fields))

    def read_attitude(self) -> Attitude:
        """Return the attitude as estimated now."""
        return self._commands.request_message(MessageId.ATTITUDE, lambda frame: _attitude(frame.fields))

    def read_channels(self) -> ReceiverChannels:
        """Return the receiver channels as heard now."""
        return self._commands.request_message(MessageId.RC_CHANNELS, lambda frame: _channels(frame.fields))

    def set_interval(self, message_id: MessageId, *, rate_hz: float) -> None:
        """Let the aircraft send a message by itself, `rate_hz` times a second.

        Raises:
            CommandRefusedError: it does not offer the message, or not at this rate.
        """
        words = f"send {message_id.name} {rate_hz:g} times a second"
        self._commands.run(CommandId.SET_MESSAGE_INTERVAL, float(message_id), 1e6 / rate_hz, words=words)

    def watch_attitude(self, *, rate_hz: float) -> Iterator[Attitude]:
        """Yield attitudes as they come, `rate_hz` times a second, until the caller has enough.

        Raises:
            NoAnswerError: the stream stops and does not come again.
        """
        return self._watch(MessageId.ATTITUDE, lambda frame: _attitude(frame.fields), rate_hz)

    def watch_channels(self, *, rate_hz: float) -> Iterator[ReceiverChannels]:
        """Yield receiver channels as they come, `rate_hz` times a second, until the caller has enough.

        Raises:
            NoAnswerError: the stream stops and does not come again.
        """
        return self._watch(MessageId.RC_CHANNELS, lambda frame: _channels(frame.fields), rate_hz)

    def _watch(self, message_id: MessageId, read: Callable[[Frame], _T], rate_hz: float) -> Generator[_T]:
        return self.watch_messages(
            {message_id: rate_hz}, lambda frame: read(frame) if frame.message_id == message_id else None
        )

    def watch_messages(self, rates_hz: Mapping[MessageId, float], read: Callable[[Frame], _T | None]) -> Generator[_T]:
        """Yield what `read` makes of frames as they come, each message about so many times a second.

        Raises:
            CommandRefusedError: the aircraft does not offer one of them, or not at this rate.
            NoAnswerError: everything stops and does not come again.
        """
        self._set_intervals(rates_hz)
        patience_s = max(STREAM_SILENCE.value, 4 / max(rates_hz.values()))
        try:
            while True:
                yield self._next(rates_hz, read, patience_s)
        finally:
            for message_id in rates_hz:
                self._back_to_default(message_id)

    def _set_intervals(self, rates_hz: Mapping[MessageId, float]) -> None:
        for message_id, rate_hz in rates_hz.items():
            self.set_interval(message_id, rate_hz=rate_hz)

    def _back_to_default(self, message_id: MessageId) -> None:
        # One message and no wait: the line is no longer needed for this, and may be gone.
        with contextlib.suppress(LinkError):
            self._channel.send(
                MessageId.COMMAND_LONG,
                {"command": CommandId.SET_MESSAGE_INTERVAL, "param1": float(message_id), "param2": _DEFAULT_RATE},
            )

    def _next(self, rates_hz: Mapping[MessageId, float], read: Callable[[Frame], _T | None], patience_s: float) -> _T:
        clock = self._channel.clock
        started = clock.now_s()
        for _ in range(TRIES.count):
            found = self._channel.wait_for(read, clock.now_s() + patience_s)
            if found is not None:
                return found
            self._set_intervals(rates_hz)
        words = " and ".join(message_id.name for message_id in rates_hz)
        raise self._channel.no_answer(f"the stream of {words}", tries=TRIES.count, since=started)


def battery_from(fields: Fields) -> Battery:
    """Return the battery that BATTERY_STATUS tells (common.xml: millivolts, centiamperes, percent).

    An aircraft that measures only the whole battery puts it into the first cell; one cell too high for a field of 16
    bits goes on in the next.

    Raises:
        TelemetryMissingError: no voltage is known.
    """
    cells = [one for one in fields.integers("voltages") if one != UNKNOWN_UINT16]
    cells += [one for one in fields.integers("voltages_ext") if one not in {0, UNKNOWN_UINT16}]
    if not cells:
        raise TelemetryMissingError.of("battery voltage")
    current, remaining = fields.integer("current_battery"), fields.integer("battery_remaining")
    return Battery(
        volts=sum(cells) / 1000,
        cell_volts=tuple(one / 1000 for one in cells) if len(cells) > 1 else (),
        amperes=None if current == _UNKNOWN_CURRENT else current / 100,
        remaining_percent=None if remaining == _UNKNOWN_REMAINING else remaining,
    )


def _attitude(fields: Fields) -> Attitude:
    return Attitude(
        roll_rad=fields.number("roll"),
        pitch_rad=fields.number("pitch"),
        yaw_rad=fields.number("yaw"),
        roll_rate_rad_s=fields.number("rollspeed"),
        pitch_rate_rad_s=fields.number("pitchspeed"),
        yaw_rate_rad_s=fields.number("yawspeed"),
        time_boot_ms=fields.integer("time_boot_ms"),
    )


def _channels(fields: Fields) -> ReceiverChannels:
    raw = [fields.integer(f"chan{number}_raw") for number in range(1, 19)][: fields.integer("chancount")]
    signal = fields.integer("rssi")
    return ReceiverChannels(
        channels_us=tuple(None if one == UNKNOWN_UINT16 else one for one in raw),
        signal_percent=None if signal == _UNKNOWN_UINT8 else round(signal * 100 / 254),
    )
