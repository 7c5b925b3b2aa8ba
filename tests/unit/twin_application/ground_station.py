"""The other side of the application in tests: pymavlink's own codec, a small release, and time that only tests move."""

from __future__ import annotations

import struct
from typing import Any

from pymavlink.dialects.v20 import common

from rotorwright.settings.catalogue import Catalogue, Choice, Setting
from rotorwright.settings.values import SettingType, Value
from rotorwright.twin.application import Application, ReleaseData
from rotorwright.twin.boot import ApplicationBuild
from rotorwright.twin.display_chip import DISPLAY_MEMORY_BYTES
from rotorwright.twin.ftp_service import FtpMessage, Opcode
from rotorwright.twin.settings_memory import MemoryInRam
from rotorwright.twin.world import World

UNIQUE_ID = bytes.fromhex("3b002f000e51373034383230")
BUILD = ApplicationBuild("Thornbill", "5.2.0", "Corvane One", "STM32F405xG", "0123456789abcdef0123")
NEXT_BUILD = ApplicationBuild("Thornbill", "6.0.0", "Corvane C405", "STM32F405xG")
US = (255, 190)

F, U8, I8 = SettingType.FLOAT, SettingType.UINT8, SettingType.INT8
U16, I16, U32, I32 = SettingType.UINT16, SettingType.INT16, SettingType.UINT32, SettingType.INT32


def setting(
    name: str, type_: SettingType, default: float, low: float | None = None, high: float | None = None
) -> Setting:
    """Return a setting with default and range."""
    return Setting(
        name,
        type_,
        short=f"{name} in tests",
        default=Value.of(type_, default),
        minimum=None if low is None else Value.of(type_, low),
        maximum=None if high is None else Value.of(type_, high),
    )


CATALOGUE = Catalogue(
    {
        each.name: each
        for each in (
            setting("A_FLOAT", F, 0.15),
            setting("B_FLOAT_LIMITED", F, 1.5, 0.5, 10.0),
            setting("C_UINT8", U8, 200),
            setting("D_INT8", I8, -3),
            setting("E_UINT16", U16, 65535),
            setting("F_INT16", I16, -1000, -2000, 2000),
            setting("G_UINT32", U32, 305419896),
            setting("H_INT32", I32, 20000),
            setting("SIXTEEN_LETTERS_", I32, 42),
            Setting("Z_CHOICE", U8, default=Value.of(U8, 1), choices=(Choice(1, "one"), Choice(4, "four"))),
        )
    }
)
RELEASE_DATA = ReleaseData.of(CATALOGUE)
COUNT = len(CATALOGUE)


class Station:
    """A ground station next to one application.

    Args:
        settings, display: memories to go on with; fresh ones if not given.
        release_data: what the application knows.
        build: which application.
        battery: whether the main battery is in.
    """

    def __init__(
        self,
        *,
        settings: MemoryInRam | None = None,
        display: MemoryInRam | None = None,
        release_data: ReleaseData = RELEASE_DATA,
        build: ApplicationBuild = BUILD,
        battery: bool = True,
    ) -> None:
        self.world = World(battery_plugged=battery)
        self.settings = settings or MemoryInRam()
        self.display = display or MemoryInRam(b"\x55" * DISPLAY_MEMORY_BYTES)
        self.codec = codec()
        self.now_s = 0.0
        self.sequence = 0
        self.app = Application(
            build=build,
            release_data=release_data,
            unique_id=UNIQUE_ID,
            settings_memory=self.settings,
            display_memory=self.display,
            world=self.world,
        )
        self.app.start(self.now_s)

    def restarted(self, **changes: Any) -> Station:
        """Return a station next to a new run of the application on the same memories."""
        return Station(settings=self.settings, display=self.display, **changes)

    def frames(self) -> list[bytes]:
        """Return every frame that the application has to give now."""
        found: list[bytes] = []
        while batch := self.app.transmit(self.now_s):
            found += batch
        return found

    def heard(self, kind: str | None = None) -> list[Any]:
        """Return the messages that the application has to give now; only those of one kind if it is named."""
        return self.parsed(b"".join(self.frames()), kind)

    def parsed(self, data: bytes, kind: str | None = None) -> list[Any]:
        """Return the messages in `data` as pymavlink reads them."""
        messages = self.codec.parse_buffer(data) or []
        return [each for each in messages if kind is None or each.get_type() == kind]

    def send(self, message: Any) -> None:
        """Send one message of pymavlink."""
        self.app.receive(message.pack(self.codec), self.now_s)
        self.codec.seq = (self.codec.seq + 1) % 256

    def ask(self, message: Any, kind: str | None = None) -> list[Any]:
        """Send a message and return what comes back."""
        self.heard()
        self.send(message)
        return self.heard(kind)

    def wait(self, seconds: float) -> list[bytes]:
        """Let time pass from event to event and return the frames of that time."""
        end = self.now_s + seconds
        found = self.frames()
        while (due := self.app.next_event_s()) is not None and due <= end:
            self.now_s = max(self.now_s, due)
            found += self.frames()
        self.now_s = end
        return found

    def command(self, number: int, *parameters: float) -> list[Any]:
        """Send COMMAND_LONG and return what comes back, status texts left out."""
        filled = (*parameters, *[0.0] * (7 - len(parameters)))
        answers = self.ask(common.MAVLink_command_long_message(1, 1, number, 0, *filled))
        return [each for each in answers if each.get_type() != "STATUSTEXT"]

    def result(self, number: int, *parameters: float) -> int:
        """Send COMMAND_LONG and return the result in its one answer."""
        (answer,) = [each for each in self.command(number, *parameters) if each.get_type() == "COMMAND_ACK"]
        assert answer.command == number
        assert (answer.target_system, answer.target_component) == US
        return int(answer.result)

    def requested(self, message_id: int) -> Any:
        """Ask for one message and return it."""
        answer, message = self.command(common.MAV_CMD_REQUEST_MESSAGE, message_id)
        assert answer.result == common.MAV_RESULT_ACCEPTED
        return message

    def texts(self) -> list[str]:
        """Return the status texts of now."""
        return [each.text for each in self.heard("STATUSTEXT")]

    def values(self) -> dict[str, bytes]:
        """Read the whole list; return the raw four bytes by name."""
        found = self.ask(common.MAVLink_param_request_list_message(1, 1), "PARAM_VALUE")
        return {each.param_id: raw_value(each) for each in found}

    def set_raw(self, name: str, raw: bytes, type_number: int) -> bytes:
        """Set a parameter from raw bytes; return the raw bytes of the answer."""
        (answer,) = self.ask(RawParamSet(name, raw, type_number), "PARAM_VALUE")
        assert answer.param_id == name
        return raw_value(answer)

    def file(self, opcode: int, *, same_number: bool = False, **fields: Any) -> FtpMessage:
        """Send a file request and return its one answer."""
        (answer,) = self.file_answers(opcode, same_number=same_number, **fields)
        return answer

    def file_answers(self, opcode: int, *, same_number: bool = False, **fields: Any) -> list[FtpMessage]:
        """Send a file request and return all answers, having checked that they are numbered on."""
        self.sequence += 0 if same_number else 1
        data = fields.get("data", b"")
        request = FtpMessage(self.sequence, opcode, **{"size": len(data), **fields})
        answers = [ftp_of(each) for each in self.ask(ftp_frame(request), "FILE_TRANSFER_PROTOCOL")]
        for number, answer in enumerate(answers, self.sequence + 1):
            assert (answer.sequence, answer.request_opcode) == (number, opcode)
        return answers

    def read_file(self, path: str) -> bytes:
        """Read a file in plain pieces."""
        opened = self.file(Opcode.OPEN_FILE_RO, data=path.encode())
        assert opened.opcode == Opcode.ACK
        (size,) = struct.unpack("<I", opened.data)
        content = b""
        while len(content) < size:
            content += self.file(
                Opcode.READ_FILE, session=opened.session, offset=len(content), size=min(239, size - len(content))
            ).data
        assert self.file(Opcode.TERMINATE_SESSION, session=opened.session).opcode == Opcode.ACK
        return content


class RawParamSet(common.MAVLink_param_set_message):  # type: ignore[misc]
    """PARAM_SET whose value is bytes, put over the float that pymavlink would make of them."""

    def __init__(self, name: str, raw: bytes, type_number: int) -> None:
        super().__init__(1, 1, name.encode(), 0.0, type_number)
        self.raw = raw.ljust(4, b"\0")

    def pack(self, mav: Any, force_mavlink1: bool = False) -> bytes:
        """Pack as pymavlink does, from bytes."""
        payload = self.raw + self.unpacker.pack(0.0, 1, 1, self._param_id_raw, self.param_type)[4:]
        return bytes(self._pack(mav, self.crc_extra, payload, force_mavlink1=force_mavlink1))


def codec() -> Any:
    """Return pymavlink's codec as a ground station uses it."""
    made = common.MAVLink(None, srcSystem=US[0], srcComponent=US[1])
    made.robust_parsing = True
    return made


def raw_value(param_value: Any) -> bytes:
    """Return `param_value` as it stood on the wire."""
    return bytes(param_value.get_msgbuf()[10:14])


def ftp_frame(message: FtpMessage) -> Any:
    """Return a file request as a message of pymavlink."""
    return common.MAVLink_file_transfer_protocol_message(0, 1, 1, list(message.to_bytes()))


def ftp_of(message: Any) -> FtpMessage:
    """Return the file message inside, its data cut to what counts."""
    found = FtpMessage.from_bytes(bytes(message.payload))
    return FtpMessage(
        found.sequence,
        found.opcode,
        found.session,
        found.size,
        found.request_opcode,
        found.burst_complete,
        found.offset,
        found.data[: found.size],
    )
