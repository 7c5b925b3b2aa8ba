"""What the job asks of a running application, whatever the wire and the words: a shape that every such link has.

Errors are those of the families: LinkError when bytes do not come through, ProtocolError when the aircraft refuses or
does not offer what was asked for, SettingsError when a value cannot be said exactly.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Iterator, Mapping

    from rotorwright.links.readings import Reading, Stream
    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.identity import Identity
    from rotorwright.settings.values import Value

    Progress = Callable[[int, int], None]
    """Takes how much is done and how much there is."""

DISPLAY_FILE = "/display/characters.bin"
"""What the memory of the display characters is called on every link."""


class BatteryReading(Protocol):
    """The main battery as the aircraft measures it."""

    @property
    def volts(self) -> float:
        """Voltage of the whole battery."""
        ...


class AttitudeReading(Protocol):
    """How the aircraft thinks it is held, axes front, right, down."""

    @property
    def roll_rad(self) -> float:
        """Roll in radians, positive with the right side down."""
        ...

    @property
    def pitch_rad(self) -> float:
        """Pitch in radians, positive with the nose up."""
        ...


class ApplicationLink(Protocol):
    """One aircraft whose application runs. Every method waits until it is heard."""

    def wait_heartbeat(self, timeout_s: float = ...) -> None:
        """Wait until the aircraft is heard.

        Raises:
            LinkError: it is not heard in time.
        """
        ...

    def read_identity(self) -> Identity:
        """Return who the aircraft says it is.

        Raises:
            ProtocolError: it does not say, or contradicts itself.
        """
        ...

    def read_settings(self, progress: Progress | None = None) -> dict[str, Value]:
        """Return every setting by name: complete and exact, or an error."""
        ...

    def write_setting(self, name: str, value: Value) -> Value:
        """Write one setting and return what the aircraft says it holds then, which may be another value.

        Raises:
            ProtocolError: it has no such setting, or refuses the value in words.
            SettingsError: the value has no exact form on this link; nothing was sent.
        """
        ...

    def save_settings(self) -> None:
        """Let the aircraft save its settings, so that they outlive a restart.

        Raises:
            ProtocolError: it refuses.
        """
        ...

    def reset_settings(self) -> None:
        """Let the aircraft take the defaults of its release.

        Raises:
            ProtocolError: it refuses.
        """
        ...

    def reboot(self) -> None:
        """Restart the aircraft; returns when it is about to, not when it is back."""
        ...

    def reboot_to_bootloader(self) -> None:
        """Restart the aircraft into its bootloader; returns when it is about to."""
        ...

    def read_catalogue(self) -> Catalogue:
        """Return the aircraft's own catalogue of its settings.

        Raises:
            ProtocolError: it offers none.
        """
        ...

    def read_file(self, path: str, progress: Progress | None = None) -> bytes:
        """Return a file of the aircraft; `DISPLAY_FILE` is the one that is asked for.

        Raises:
            ProtocolError: it has no such file.
        """
        ...

    def write_file(self, path: str, data: bytes, progress: Progress | None = None) -> None:
        """Write a file of the aircraft; read it back to know that it was kept.

        Raises:
            ProtocolError: it has no such file, or refuses.
        """
        ...

    def read_battery(self) -> BatteryReading:
        """Return the main battery as measured now.

        Raises:
            ProtocolError: the aircraft does not tell.
        """
        ...

    def watch_attitude(self, *, rate_hz: float) -> Iterator[AttitudeReading]:
        """Yield attitudes as they come, about `rate_hz` times a second, until the caller has enough.

        Raises:
            ProtocolError: the aircraft does not tell.
        """
        ...

    def watch(self, rates_hz: Mapping[Stream, float]) -> Generator[Reading]:
        """Yield readings of several streams as they come, each about so many times a second, until it is enough.

        Raises:
            StreamNotOfferedError: one of them cannot be had on this link.
        """
        ...

    def require_motor_test(self, output: int) -> None:
        """Ask whether the motor on `output` (1 is the first) may be driven, by an order to stand still.

        Raises:
            ProtocolError: it may not.
        """
        ...

    def push_motor(self, output: int, value: float, *, for_s: float) -> None:
        """Drive one motor at `value` (0 to 1) and do not wait; it stops by itself after a fraction of a second."""
        ...
