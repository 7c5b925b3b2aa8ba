"""An aircraft that speaks MAVLink through pymavlink alone, over a line with a baud rate and with faults.

It shares no code with the links: framing, checksums and parsing are pymavlink's. It is not the twin either.
"""

from __future__ import annotations

import random
import struct
import zlib
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from pymavlink.dialects.v20 import common
from tests.unit.links.simulated_wire import Reply, SimulatedWire

from rotorwright.settings.values import SettingType, Value
from rotorwright.twin.clock import VirtualClock

SYSTEM, COMPONENT = 7, 1
UNIQUE_ID = bytes(range(0x10, 0x1C))
TYPES = {
    SettingType.UINT8: 1,
    SettingType.INT8: 2,
    SettingType.UINT16: 3,
    SettingType.INT16: 4,
    SettingType.UINT32: 5,
    SettingType.INT32: 6,
    SettingType.FLOAT: 9,
}
HEARTBEATS = 120


@dataclass
class Faults:
    """Shares of frames, in both directions, that something happens to, and answers that are not as they should be."""

    loss: float = 0.0
    doubled: float = 0.0
    damage: float = 0.0
    rubbish: float = 0.0
    late: float = 0.0
    latency_s: float = 0.0  # of every answer
    seed: int = 1
    silent: bool = False
    never_answers_index: set[int] = field(default_factory=set)
    results: dict[int, list[int]] = field(default_factory=dict)  # of commands, one after the other; then accepted
    count_changes_at: int | None = None  # after so many values sent, the list is one shorter, once
    lose_session_at: set[int] = field(default_factory=set)  # numbers of file requests
    ftp_refuses: dict[int, int] = field(default_factory=dict)  # opcode: reason
    forgets_writes: bool = False
    swallow_acks: int = 0


class FakeAircraft:
    """Settings, files, commands and telemetry of one aircraft."""

    def __init__(self, settings: dict[str, Value], *, faults: Faults | None = None, baud: int = 115_200) -> None:
        self.settings = dict(settings)
        self.saved: dict[str, Value] | None = None
        self.faults = faults if faults is not None else Faults()
        self.files: dict[str, bytes] = {}
        self.limits: dict[str, tuple[float, float]] = {}
        self.capabilities = 16 | 32 | 8192
        self.release = (5, 2, 0)
        self.basic: dict[str, str] | None = {
            "vendor_name": "Thornbill",
            "model_name": "Corvane One",
            "software_version": "5.2.0",
            "hardware_version": "STM32F405xG",
            "serial_number": UNIQUE_ID.hex(),
        }
        self.metadata_uri: str | None = None
        self.metadata_crc = 0
        self.voltages = [4100] * 4
        self.commands: list[tuple[int, tuple[float, ...]]] = []
        self.received: list[str] = []
        self.confirmations: list[int] = []
        self.restarted: float | None = None
        self.values_sent = 0
        self.clock = VirtualClock()
        self.wire = SimulatedWire(self, self.clock)
        self._noise = random.Random(self.faults.seed)
        self._byte_s = 10 / baud
        self._free_s = 0.0
        self._codec = common.MAVLink(None, srcSystem=SYSTEM, srcComponent=COMPONENT)
        self._parser = common.MAVLink(None)
        self._parser.robust_parsing = True
        self._sessions: dict[int, str] = {}
        self._file_requests = 0
        self._last_file_answer: tuple[bytes, list[bytes]] = (b"", [])
        for second in range(HEARTBEATS):
            self.wire.reply(0.2 + second, self._heartbeat)

    def take(self, data: bytes, _reply: Reply) -> None:
        for message in self._parser.parse_buffer(data) or []:
            is_ours = getattr(message, "target_system", SYSTEM) in {0, SYSTEM}
            if message.get_type() == "BAD_DATA" or self.faults.silent or self.restarted is not None or not is_ours:
                continue
            if self._noise.random() >= self.faults.loss:
                self.received.append(message.get_type())
                self._handle(message)

    def say(self, text: str, *, number: int = 0, part: int = 0) -> None:
        self._send(common.MAVLink_statustext_message(6, text.encode(), number, part))

    def _handle(self, message: Any) -> None:
        match message.get_type():
            case "PARAM_REQUEST_LIST":
                for index in range(len(self.settings)):
                    self._send_value(index)
            case "PARAM_REQUEST_READ":
                self._read(message)
            case "PARAM_SET":
                self._set(message)
            case "COMMAND_LONG":
                self._command(message)
            case "FILE_TRANSFER_PROTOCOL":
                self._file_request(bytes(message.payload))
            case _:
                pass

    def _read(self, message: Any) -> None:
        names = list(self.settings)
        name = message.param_id
        if message.param_index >= 0:
            if message.param_index < len(names) and message.param_index not in self.faults.never_answers_index:
                self._send_value(message.param_index)
        elif name in names:
            self._send_value(names.index(name))
        else:
            self._send(common.MAVLink_param_error_message(255, 25, name.encode(), -1, 1))

    def _set(self, message: Any) -> None:
        raw = bytes(message.get_msgbuf())[10:14]
        name = message.param_id
        if name not in self.settings:
            self._send(common.MAVLink_param_error_message(255, 25, name.encode(), -1, 1))
            return
        type_ = self.settings[name].type
        value = Value.from_bytes(type_, raw)
        low, high = self.limits.get(name, (type_.lowest, type_.highest))
        if TYPES[type_] == message.param_type and (value.number != value.number or low <= value.number <= high):
            self.settings[name] = value
        elif name in self.limits:
            self.say(f"{name} goes from {low:g} to {high:g}")
        self._send_value(list(self.settings).index(name))

    def _send_value(self, index: int) -> None:
        if self.values_sent == self.faults.count_changes_at:
            self.settings.popitem()
        self.values_sent += 1
        if index >= len(self.settings):
            return
        name, value = list(self.settings.items())[index]
        head = struct.pack("<4sHH", value.to_bytes().ljust(4, b"\0"), len(self.settings), index)
        payload = head + struct.pack("<16sB", name.encode(), TYPES[value.type])
        empty = common.MAVLink_param_value_message(name.encode(), 0.0, TYPES[value.type], len(self.settings), index)
        self._send(lambda: empty._pack(self._codec, empty.crc_extra, payload))

    def _command(self, message: Any) -> None:
        parameters = tuple(getattr(message, f"param{number}") for number in range(1, 8))
        self.commands.append((message.command, parameters))
        self.confirmations.append(message.confirmation)
        results = self.faults.results.get(message.command, [])
        result = results.pop(0) if results else self._carry_out(message.command, parameters)
        if self.faults.swallow_acks > 0:
            self.faults.swallow_acks -= 1
            return
        self._send(common.MAVLink_command_ack_message(message.command, result, 0, 0, 255, 25))
        while result == common.MAV_RESULT_IN_PROGRESS and results:
            result = results.pop(0)
            self._send(common.MAVLink_command_ack_message(message.command, result, 0, 0, 255, 25))

    def _carry_out(self, command: int, parameters: tuple[float, ...]) -> int:
        if command == common.MAV_CMD_PREFLIGHT_STORAGE and parameters[0] == 1:
            self.saved = dict(self.settings)
        if command == common.MAV_CMD_PREFLIGHT_REBOOT_SHUTDOWN:
            self.restarted = parameters[0]
        if command == common.MAV_CMD_REQUEST_MESSAGE:
            return self._send_requested(int(parameters[0]))
        if command == common.MAV_CMD_SET_MESSAGE_INTERVAL and parameters[1] > 0:
            for step in range(1, 11):
                self.wire.reply(step * parameters[1] / 1e6, partial(self._frame, _attitude(0.01 * step)))
        return int(common.MAV_RESULT_ACCEPTED)

    def _send_requested(self, message_id: int) -> int:
        match message_id:
            case 148:
                self._send(self._version())
            case 147:
                volts = self.voltages + [65535] * (10 - len(self.voltages))
                self._send(common.MAVLink_battery_status_message(0, 0, 0, 32767, volts, 45, 0, 0, 80))
            case 30:
                self._send(_attitude(0.25))
            case 65:
                channels = [1500, 1501, 988, 2012, *[65535] * 14]
                self._send(common.MAVLink_rc_channels_message(5, 6, *channels, 127))
            case 396 if self.basic is not None:
                text = [self.basic[key].encode() for key in self.basic]
                payload = struct.pack("<QII32s32s24s24s32s", 0, 1, 0, *text)
                self._send(lambda: self._own(396, 50, payload))
            case 397 if self.metadata_uri is not None:
                payload = struct.pack("<II100s", 1, self.metadata_crc, self.metadata_uri.encode())
                self._send(lambda: self._own(397, 182, payload))
            case _:
                return int(common.MAV_RESULT_UNSUPPORTED)
        return int(common.MAV_RESULT_ACCEPTED)

    def _version(self) -> Any:
        major, minor, patch = self.release
        return common.MAVLink_autopilot_version_message(
            self.capabilities,
            major << 24 | minor << 16 | patch << 8 | 255,
            0,
            0,
            0,
            list(b"\x0a\x1b\x2c\x3d\x4e\x5f\x60\x71"),
            [0] * 8,
            [0] * 8,
            0,
            0,
            0,
            list(UNIQUE_ID.ljust(18, b"\0")),
        )

    def _own(self, message_id: int, crc_extra: int, payload: bytes) -> bytes:
        """Return a frame of a message that pymavlink lacks; header and checksum are pymavlink's."""
        kind = common.MAVLink_message(message_id, "own")
        frame: bytes = kind._pack(self._codec, crc_extra, payload)
        return frame

    def _file_request(self, payload: bytes) -> None:
        if payload == self._last_file_answer[0]:
            for answer in self._last_file_answer[1]:
                self._send_file_message(answer)
            return
        number, self._file_requests = self._file_requests, self._file_requests + 1
        if number in self.faults.lose_session_at:
            self._sessions.clear()
        answers = list(_FileServer(self, payload).answers())
        self._last_file_answer = (payload, answers)
        for answer in answers:
            self._send_file_message(answer)

    def _send_file_message(self, payload: bytes) -> None:
        filled = payload.ljust(251, b"\0")
        self._send(common.MAVLink_file_transfer_protocol_message(0, 255, 25, list(filled)))

    @property
    def sessions(self) -> dict[int, str]:
        return self._sessions

    def _heartbeat(self) -> bytes:
        if self.faults.silent or self.restarted is not None or self._noise.random() < self.faults.loss:
            return b""
        return self._frame(common.MAVLink_heartbeat_message(2, 0, 81, 0, 3, 3))

    def _frame(self, message: Any) -> bytes:
        frame: bytes = message.pack(self._codec)
        self._codec.seq = (self._codec.seq + 1) % 256
        return frame

    def _send(self, message: Any) -> None:
        """Put a message (or a function that packs one) on the line, at the line's own pace, faults applied."""

        def arrive() -> bytes:
            frame: bytes = message() if callable(message) else message.pack(self._codec)
            self._codec.seq = (self._codec.seq + 1) % 256
            return self._disturbed(frame)

        length = 37 if callable(message) else len(message.pack(common.MAVLink(None)))
        self._free_s = max(self._free_s, self.clock.now_s()) + length * self._byte_s
        delay_s = self._free_s - self.clock.now_s() + self.faults.latency_s
        if self._noise.random() < self.faults.late:
            delay_s += 0.8
        self.wire.reply(delay_s, arrive)

    def _disturbed(self, frame: bytes) -> bytes:
        noise, faults = self._noise, self.faults
        before = noise.randbytes(noise.randrange(1, 20)) if noise.random() < faults.rubbish else b""
        if noise.random() < faults.loss:
            return before
        if noise.random() < faults.damage:
            place = noise.randrange(len(frame))
            frame = frame[:place] + bytes((frame[place] ^ 1 << noise.randrange(8),)) + frame[place + 1 :]
        return before + frame * (2 if noise.random() < faults.doubled else 1)


def _attitude(angle: float) -> Any:
    return common.MAVLink_attitude_message(1234, angle, -angle, 2 * angle, 0.5, 0.25, -0.5)


class _FileServer:
    """One request about files, answered."""

    def __init__(self, aircraft: FakeAircraft, payload: bytes) -> None:
        self.aircraft = aircraft
        self.number: int
        self.session: int
        self.opcode: int
        self.size: int
        self.offset: int
        self.number, self.session, self.opcode, self.size, _, _, self.offset = struct.unpack_from("<HBBBBBxI", payload)
        self.data = payload[12 : 12 + self.size]

    def answers(self) -> list[bytes]:
        reason = self.aircraft.faults.ftp_refuses.get(self.opcode)
        if reason is not None:
            return [self._nak(reason)]
        act: dict[int, Callable[[], list[bytes]]] = {
            1: self._end,
            2: self._reset,
            4: self._open,
            5: self._read,
            6: self._create,
            7: self._write,
            11: self._open,
            12: self._truncate,
            14: self._crc,
            15: self._burst,
        }
        return act[self.opcode]() if self.opcode in act else [self._nak(7)]

    def _path(self) -> str:
        return self.data.decode()

    def _open(self) -> list[bytes]:
        if self._path() not in self.aircraft.files:
            return [self._nak(10)]
        taken = self.aircraft.sessions
        free = next((number for number in range(2) if number not in taken), None)
        if free is None:
            return [self._nak(5)]
        self.aircraft.sessions[free] = self._path()
        return [self._ack(struct.pack("<I", len(self.aircraft.files[self._path()])), session=free)]

    def _create(self) -> list[bytes]:
        self.aircraft.files[self._path()] = b""
        return self._open()

    def _end(self) -> list[bytes]:
        return [self._ack() if self.aircraft.sessions.pop(self.session, None) is not None else self._nak(4)]

    def _reset(self) -> list[bytes]:
        self.aircraft.sessions.clear()
        return [self._ack()]

    def _read(self) -> list[bytes]:
        content = self._content()
        if content is None:
            return [self._nak(4)]
        piece = content[self.offset : self.offset + self.size]
        return [self._ack(piece) if piece else self._nak(6)]

    def _burst(self) -> list[bytes]:
        content = self._content()
        if content is None:
            return [self._nak(4)]
        offsets = range(self.offset, len(content), 239)
        parts = [
            self._ack(content[at : at + 239], step=step, offset=at, last=at + 239 >= len(content))
            for step, at in enumerate(offsets)
        ]
        return parts or [self._nak(6)]

    def _write(self) -> list[bytes]:
        path = self.aircraft.sessions.get(self.session)
        if path is None:
            return [self._nak(4)]
        if not self.aircraft.faults.forgets_writes:
            content = self.aircraft.files[path].ljust(self.offset, b"\0")
            self.aircraft.files[path] = content[: self.offset] + self.data + content[self.offset + self.size :]
        return [self._ack(struct.pack("<I", self.size))]

    def _truncate(self) -> list[bytes]:
        self.aircraft.files[self._path()] = self.aircraft.files[self._path()][: self.offset]
        return [self._ack()]

    def _crc(self) -> list[bytes]:
        if self._path() not in self.aircraft.files:
            return [self._nak(10)]
        crc = zlib.crc32(self.aircraft.files[self._path()], 0xFFFFFFFF) ^ 0xFFFFFFFF
        return [self._ack(struct.pack("<I", crc))]

    def _content(self) -> bytes | None:
        path = self.aircraft.sessions.get(self.session)
        return None if path is None else self.aircraft.files[path]

    def _ack(
        self,
        data: bytes = b"",
        *,
        session: int | None = None,
        step: int = 0,
        offset: int | None = None,
        last: bool = True,
    ) -> bytes:
        number = (self.number + 1 + step) % 65536
        place = self.offset if offset is None else offset
        which = self.session if session is None else session
        return struct.pack("<HBBBBBxI", number, which, 128, len(data), self.opcode, last, place) + data

    def _nak(self, reason: int) -> bytes:
        head = struct.pack("<HBBBBBxI", (self.number + 1) % 65536, self.session, 129, 1, self.opcode, 0, 0)
        return head + bytes((reason,))
