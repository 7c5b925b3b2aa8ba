"""The firmware that runs on the virtual board when its flash holds a valid image.

It has no line and no clock: bytes and moments enter, frames come out. Whoever owns the line asks for frames whenever it
can take more, so what waits here stays small: answers in a short queue, lists and bursts not even as frames.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Final

from pymavlink.dialects.v20 import common

from rotorwright.twin.command_service import CommandService
from rotorwright.twin.display_chip import DisplayChip
from rotorwright.twin.flight_software import FlightSoftware
from rotorwright.twin.ftp_service import File, FixedFile, FtpService
from rotorwright.twin.identity_messages import IdentityMessages
from rotorwright.twin.mavlink_codec import COMPONENT_ID, SYSTEM_ID, FrameReader, FrameWriter
from rotorwright.twin.metadata_service import GENERAL_PATH, file_crc, metadata_files
from rotorwright.twin.outbox import INFO, Outbox
from rotorwright.twin.parameter_service import ParameterService
from rotorwright.twin.settings_in_force import SettingsInForce
from rotorwright.twin.telemetry import Telemetry

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.twin.boot import ApplicationBuild
    from rotorwright.twin.display_chip import DisplayMemory
    from rotorwright.twin.mavlink_codec import Incoming, Packet
    from rotorwright.twin.settings_memory import SettingsMemory
    from rotorwright.twin.world import World

BATCH_BYTES: Final = 96
"""About so much is handed over at once: 8 ms at 115,200 baud, so that an answer never waits long behind a list."""

DISPLAY_PATH = "/display/characters.bin"

# Where target system and component stand in the payload (wire order of common.xml); kinds not listed are not heard.
TARGET_OFFSETS = {
    common.MAVLINK_MSG_ID_PARAM_REQUEST_READ: 2,
    common.MAVLINK_MSG_ID_PARAM_REQUEST_LIST: 0,
    common.MAVLINK_MSG_ID_PARAM_SET: 4,
    common.MAVLINK_MSG_ID_COMMAND_INT: 30,
    common.MAVLINK_MSG_ID_COMMAND_LONG: 30,
    common.MAVLINK_MSG_ID_FILE_TRANSFER_PROTOCOL: 1,
}


class Wants(StrEnum):
    """What the application asks the hardware to do."""

    REBOOT = "reboot"
    BOOTLOADER = "bootloader"


@dataclass(frozen=True, slots=True)
class ReleaseData:
    """What a release knows on a board: its settings, and the metadata files by path."""

    catalogue: Catalogue
    metadata: Mapping[str, bytes]

    @classmethod
    def of(cls, catalogue: Catalogue) -> ReleaseData:
        """Return the data with files made from the catalogue; that takes a while, so keep it."""
        return cls(catalogue, metadata_files(catalogue))


class Application:
    """One run of the firmware, from reset until the power goes or it restarts.

    Args:
        build: what it says of itself.
        release_data: what it knows.
        unique_id: 12 bytes of the microcontroller, in the order as read.
        settings_memory: where settings last.
        display_memory: where the display chip keeps its characters.
        world: what the sensors measure, and whether the battery feeds the display chip.
        seed: of the sensors' noise.
    """

    def __init__(
        self,
        *,
        build: ApplicationBuild,
        release_data: ReleaseData,
        unique_id: bytes,
        settings_memory: SettingsMemory,
        display_memory: DisplayMemory,
        world: World,
        seed: int = 1,
    ) -> None:
        self._build = build
        self._wants: Wants | None = None
        self._now_s = 0.0
        self._reader = FrameReader()
        self._writer = FrameWriter()
        self._outbox = Outbox()
        self._identity = IdentityMessages(build, unique_id, file_crc(release_data.metadata[GENERAL_PATH]))
        self.settings = SettingsInForce(
            release_data.catalogue, settings_memory, release=build.release, board=build.board
        )
        self._software = FlightSoftware(self.settings, world, release=build.release)
        self._telemetry = Telemetry(world, seed=seed, software=self._software)
        self._parameters = ParameterService(self.settings, self._outbox.say)
        files: dict[str, File] = {path: FixedFile(content) for path, content in release_data.metadata.items()}
        files[DISPLAY_PATH] = DisplayChip(display_memory, lambda: world.battery_plugged)
        self._ftp = FtpService(files)
        self._commands = CommandService(
            self._outbox,
            self.settings,
            self._telemetry,
            message=self._message,
            restart=self._restart,
            drive_motor=self._software.drive_motor,
        )
        self._handlers: Mapping[int, Callable[[Incoming], None]] = {
            common.MAVLINK_MSG_ID_PARAM_REQUEST_READ: self._parameters.on_request_read,
            common.MAVLINK_MSG_ID_PARAM_REQUEST_LIST: lambda _: self._parameters.on_request_list(),
            common.MAVLINK_MSG_ID_PARAM_SET: self._parameters.on_set,
            common.MAVLINK_MSG_ID_COMMAND_INT: lambda incoming: self._commands.on_command(incoming, self._now_s),
            common.MAVLINK_MSG_ID_COMMAND_LONG: lambda incoming: self._commands.on_command(incoming, self._now_s),
            common.MAVLINK_MSG_ID_FILE_TRANSFER_PROTOCOL: self._on_file_request,
        }

    @property
    def wants(self) -> Wants | None:
        """What it asks for; do it when everything that `transmit` gives has left the line."""
        return self._wants

    def start(self, now_s: float) -> None:
        """Run from reset, and say so."""
        self._now_s = now_s
        self._telemetry.start(now_s)
        self._outbox.say(f"{self._build.family} {self._build.release} on {self._build.board}", INFO)
        if self.settings.start_words:
            self._outbox.say(self.settings.start_words)

    def receive(self, data: bytes, now_s: float) -> None:
        """Take bytes that have arrived: whole frames, pieces of them, or noise."""
        self._now_s = now_s
        self._handle(self._reader.feed(data, now_s))

    def transmit(self, now_s: float) -> list[bytes]:
        """Return the next few whole frames, about `BATCH_BYTES` in all; call it whenever the line can take more."""
        self._now_s = now_s
        self._handle(self._reader.look_again(now_s))
        self._tell(now_s)
        frames: list[bytes] = []
        room = BATCH_BYTES
        while room > 0 and (packet := self._next_packet()) is not None:
            frames.append(self._writer.frame(packet))
            room -= len(frames[-1])
        return frames

    def next_event_s(self) -> float | None:
        """Return when `transmit` has something to give though nothing arrives; the past if it has something now."""
        if self._outbox or self._parameters.has_more or self._ftp.has_more:
            return self._now_s
        if self._wants:
            return None
        dues = (self._telemetry.next_event_s, self._reader.next_event_s)
        return min((due for due in dues if due is not None), default=None)

    def _tell(self, now_s: float) -> None:
        if self._wants is None:
            for packet in self._telemetry.due(now_s):
                self._outbox.send(packet)

    def _next_packet(self) -> Packet | None:
        """Return what goes next: answers and what is due, then settings, then a burst of a file."""
        return self._outbox.take() or self._parameters.next_packet() or self._ftp.next_packet()

    def _handle(self, arrived: list[Incoming]) -> None:
        for incoming in arrived:
            handler = self._handlers.get(incoming.message_id)
            if handler is not None and self._wants is None and _is_for_us(incoming):
                handler(incoming)

    def _on_file_request(self, incoming: Incoming) -> None:
        answer = self._ftp.on_request(incoming)
        if answer is not None:
            self._outbox.send(answer)

    def _message(self, message_id: int, now_s: float) -> Packet | None:
        """Return a message that can be asked for, or nothing."""
        found = self._identity.message(message_id, self._telemetry.time_boot_ms(now_s))
        return found or self._telemetry.message(message_id, now_s)

    def _restart(self, wants: str) -> None:
        """Restart as soon as what waits now has left; lists and bursts are not waited for."""
        self._wants = Wants(wants)
        self._parameters.stop()
        self._ftp.stop()


def _is_for_us(incoming: Incoming) -> bool:
    """Answer whether the target is this aircraft; 0 is everyone."""
    at = TARGET_OFFSETS[incoming.message_id]
    return incoming.payload[at] in {0, SYSTEM_ID} and incoming.payload[at + 1] in {0, COMPONENT_ID}
