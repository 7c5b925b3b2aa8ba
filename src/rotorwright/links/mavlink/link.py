"""Everything that is asked of a running application, in one place."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.links.mavlink import identity as identities
from rotorwright.links.mavlink import metadata
from rotorwright.links.mavlink.channel import Channel, StatusText, Traffic
from rotorwright.links.mavlink.commands import CommandClient
from rotorwright.links.mavlink.errors import EncodingUnknownError
from rotorwright.links.mavlink.ftp import FileClient
from rotorwright.links.mavlink.parameters import Encoding, ParameterClient, ReadStatistics
from rotorwright.links.mavlink.spec import HEARTBEAT, Capability, CommandId, MessageId, Reboot, Storage
from rotorwright.links.mavlink.telemetry import Attitude, Battery, ReceiverChannels, TelemetryClient
from rotorwright.links.mavlink.watching import StreamWatcher

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Iterator, Mapping

    from rotorwright.links.readings import Reading, Stream
    from rotorwright.links.wire import Clock, Wire
    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.identity import Identity
    from rotorwright.settings.values import Value

    Progress = Callable[[int, int], None]
    """Takes how much is done and how much there is."""


class MavlinkLink:
    """One aircraft whose application runs.

    Every method waits for the first heartbeat by itself, and any may raise the LinkError of the wire when the port
    vanishes, HeartbeatMissingError when no application speaks, and NoAnswerError when it stops answering.
    """

    def __init__(self, wire: Wire, clock: Clock) -> None:
        self._channel = Channel(wire, clock)
        self._commands = CommandClient(self._channel)
        self._files = FileClient(self._channel)
        self._parameters = ParameterClient(self._channel, self._read_encoding)
        self._telemetry = TelemetryClient(self._channel, self._commands)
        self._watcher = StreamWatcher(self._channel, self._commands, self._telemetry)
        self._encoding: Encoding | None = None

    @property
    def status_texts(self) -> tuple[StatusText, ...]:
        """What the aircraft said in words lately, oldest first."""
        return self._channel.status_texts

    @property
    def traffic(self) -> Traffic:
        """What went over the wire since it was opened."""
        return self._channel.traffic

    @property
    def last_read(self) -> ReadStatistics | None:
        """How the last reading of all settings went; None before the first."""
        return self._parameters.last_read

    def wait_heartbeat(self, timeout_s: float = HEARTBEAT.value) -> None:
        """Wait until the aircraft is heard.

        Raises:
            HeartbeatMissingError: it is not heard in time.
        """
        self._channel.wait_heartbeat(timeout_s)

    def read_identity(self) -> Identity:
        """Return who the aircraft says it is. Whether that is the right one is for the caller to judge.

        Raises:
            IdentityUnusableError: it has no unique id, or contradicts itself.
            CommandRefusedError: it does not say.
        """
        version = identities.read_version(self._commands)
        self._encoding = _encoding_from(version.capabilities)
        return identities.identity_from(version, identities.read_basic_information(self._commands))

    def read_settings(self, progress: Progress | None = None) -> dict[str, Value]:
        """Return every setting by name, sorted: complete and exact, or an error (see ParameterClient.read_all)."""
        return self._parameters.read_all(progress)

    def read_setting(self, name: str) -> Value:
        """Return one setting (see ParameterClient.read_one)."""
        return self._parameters.read_one(name)

    def write_setting(self, name: str, value: Value) -> Value:
        """Write one setting and return what the aircraft says back (see ParameterClient.write)."""
        return self._parameters.write(name, value)

    def save_settings(self) -> None:
        """Let the aircraft save its settings, so that they outlive a restart.

        Raises:
            CommandRefusedError: it refuses.
        """
        self._commands.run(CommandId.PREFLIGHT_STORAGE, Storage.SAVE, words="save its settings")

    def load_settings(self) -> None:
        """Let the aircraft forget changes that were not saved.

        Raises:
            CommandRefusedError: it refuses.
        """
        self._commands.run(CommandId.PREFLIGHT_STORAGE, Storage.LOAD, words="load its saved settings")

    def reset_settings(self) -> None:
        """Let the aircraft take the defaults of its release; what it had is gone from its memory in use.

        Raises:
            CommandRefusedError: it refuses.
        """
        self._commands.run(CommandId.PREFLIGHT_STORAGE, Storage.RESET, words="reset its settings to defaults")

    def reboot(self) -> None:
        """Restart the aircraft; returns when it is about to, not when it is back.

        Raises:
            CommandRefusedError: it refuses.
        """
        self._commands.run_reboot(CommandId.PREFLIGHT_REBOOT_SHUTDOWN, Reboot.REBOOT, words="restart")

    def reboot_to_bootloader(self) -> None:
        """Restart the aircraft into its bootloader; returns when it is about to.

        Raises:
            CommandRefusedError: it refuses.
        """
        words = "restart into its bootloader"
        self._commands.run_reboot(CommandId.PREFLIGHT_REBOOT_SHUTDOWN, Reboot.STAY_IN_BOOTLOADER, words=words)

    def read_file(self, path: str, progress: Progress | None = None) -> bytes:
        """Return a file of the aircraft (see FileClient.read)."""
        return self._files.read(path, progress)

    def write_file(self, path: str, data: bytes, progress: Progress | None = None, *, verify: bool = False) -> None:
        """Write a file of the aircraft; read it back to know that it was kept (see FileClient.write)."""
        self._files.write(path, data, progress, verify=verify)

    def file_crc(self, path: str) -> int | None:
        """Return the checksum that the aircraft computes over a file; None if it cannot."""
        return self._files.crc(path)

    def read_catalogue(self) -> Catalogue:
        """Return the aircraft's own catalogue of its settings.

        Raises:
            MetadataUnusableError: it offers none, or a broken one.
        """
        return metadata.read_catalogue(self._commands, self._files)

    def read_parameter_file(self) -> bytes:
        """Return the text that the catalogue is made from, to be kept as it came.

        Raises:
            MetadataUnusableError: the aircraft offers none.
        """
        return metadata.read_parameter_file(self._commands, self._files)

    def read_battery(self) -> Battery:
        """Return the main battery as measured now.

        Raises:
            TelemetryMissingError: the aircraft does not measure it.
        """
        return self._telemetry.read_battery()

    def read_attitude(self) -> Attitude:
        """Return the attitude as estimated now."""
        return self._telemetry.read_attitude()

    def read_channels(self) -> ReceiverChannels:
        """Return the receiver channels as heard now."""
        return self._telemetry.read_channels()

    def watch_attitude(self, *, rate_hz: float) -> Iterator[Attitude]:
        """Yield attitudes as they come (see TelemetryClient.watch_attitude)."""
        return self._telemetry.watch_attitude(rate_hz=rate_hz)

    def watch_channels(self, *, rate_hz: float) -> Iterator[ReceiverChannels]:
        """Yield receiver channels as they come (see TelemetryClient.watch_channels)."""
        return self._telemetry.watch_channels(rate_hz=rate_hz)

    def watch(self, rates_hz: Mapping[Stream, float]) -> Generator[Reading]:
        """Yield readings of several streams as they come (see StreamWatcher.watch)."""
        return self._watcher.watch(rates_hz)

    def require_motor_test(self, output: int) -> None:
        """Ask whether a motor may be driven on the bench (see StreamWatcher.require_motor_test)."""
        self._watcher.require_motor_test(output)

    def push_motor(self, output: int, value: float, *, for_s: float) -> None:
        """Drive one motor for a fraction of a second (see StreamWatcher.push_motor)."""
        self._watcher.push_motor(output, value, for_s=for_s)

    def set_message_interval(self, message_id: MessageId, *, rate_hz: float) -> None:
        """Let the aircraft send a message by itself (see TelemetryClient.set_interval)."""
        self._telemetry.set_interval(message_id, rate_hz=rate_hz)

    def _read_encoding(self) -> Encoding:
        if self._encoding is None:
            self._encoding = _encoding_from(identities.read_version(self._commands).capabilities)
        return self._encoding


def _encoding_from(capabilities: int) -> Encoding:
    """Return how the aircraft sends whole numbers, as its capabilities say; it must say exactly one way."""
    bytewise = bool(capabilities & Capability.PARAM_ENCODE_BYTEWISE)
    cast = bool(capabilities & Capability.PARAM_ENCODE_C_CAST)
    if bytewise == cast:
        raise EncodingUnknownError.with_capabilities(capabilities)
    return Encoding.BYTEWISE if bytewise else Encoding.C_CAST
