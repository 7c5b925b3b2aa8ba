"""A serial port of this computer, or a pseudo-terminal that stands for one, through pyserial.

Every foreign exception is turned into one of ours here, at one border; nothing above ever sees a `SerialException`.
"""

from __future__ import annotations

import contextlib
import errno
import os
import platform
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

from rotorwright.links.errors import (
    ParityNotKeptError,
    PortBusyError,
    PortForbiddenError,
    PortMissingError,
    PortStalledError,
    PortUnusableError,
    PortVanishedError,
)
from rotorwright.links.limits import Limit
from rotorwright.links.wire import LineSettings, Parity

if sys.platform != "win32":
    import grp
    import select
    import termios

if TYPE_CHECKING:
    from collections.abc import Iterator

    import serial

    from rotorwright.errors import LinkError

SLICE = Limit("longest single wait inside the driver", 0.02, "s", "own choice: a deadline is overrun by this at most")
SEND = Limit("longest time in which the port takes what is sent", 5.0, "s", "own choice: 4 kB at 9,600 baud")

# Linux gives character devices of these major numbers to the slave ends of pseudo-terminals
# (Linux kernel documentation, admin-guide/devices.txt, "136-143 char Unix98 PTY slaves").
_LINUX_PTY_MAJORS = range(136, 144)

_MISSING = {errno.ENOENT, errno.ENXIO, errno.ENODEV, errno.EIO}
_BUSY = {errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK}
_FORBIDDEN = {errno.EACCES, errno.EPERM}


class SerialPort:
    """A port of this computer under the name that a person types: a device, or a link that leads to one."""

    def __init__(self, name: str) -> None:
        self._name = name

    @property
    def name(self) -> str:
        """Name of the port, as a person types it."""
        return self._name

    def is_present(self) -> bool:
        """Answer whether the port is there now. A link that leads nowhere is not."""
        if sys.platform == "win32":
            from serial.tools import list_ports  # noqa: PLC0415 - only this system needs the list to know

            return any(port.device.upper() == self._name.upper() for port in list_ports.comports())
        return Path(self._name).exists()

    def open(self, line: LineSettings) -> SerialWire:
        """Open the port for this program alone.

        Raises:
            PortMissingError: it is not there.
            PortBusyError: another program holds it.
            PortForbiddenError: this user may not open it.
            PortUnusableError: it is no serial port, or does not know the baud rate.
            ParityNotKeptError: even parity was asked for, and a hardware port left it out.
        """
        opened = self._open(line, parity=line.parity)
        wire = SerialWire(opened, self._name) if sys.platform == "win32" else PosixSerialWire(opened, self._name)
        if line.parity is Parity.EVEN and not _keeps_even_parity(opened) and not is_pseudo_terminal(self._name):
            wire.close()
            raise ParityNotKeptError.named(self._name)
        return wire

    def _open(self, line: LineSettings, *, parity: Parity) -> serial.Serial:
        import serial  # noqa: PLC0415 - off the start-up path

        try:
            opened = serial.Serial(
                self._name,
                baudrate=line.baud,
                parity=serial.PARITY_EVEN if parity is Parity.EVEN else serial.PARITY_NONE,
                timeout=SLICE.value,
                write_timeout=SEND.value,
                exclusive=None if sys.platform == "win32" else True,
            )
        except _foreign() as error:
            if parity is Parity.EVEN and _errno(error) == errno.EINVAL:
                # A pseudo-terminal has no parity. The kernel drops the request in silence, and newer C libraries make
                # an error of that (seen with glibc 2.36). There, and only there, go on without: nothing at the other
                # end could check it.
                if is_pseudo_terminal(self._name):
                    return self._open(line, parity=Parity.NONE)
                raise ParityNotKeptError.named(self._name) from error
            raise _opening_failed(self._name, error) from error
        _ask_for_low_latency(opened)
        return opened


class SerialWire:
    """An open serial port, through the library alone."""

    def __init__(self, opened: serial.Serial, name: str) -> None:
        self._serial = opened
        self._name = name

    @property
    def name(self) -> str:
        """Name of the port, for messages."""
        return self._name

    def send(self, data: bytes) -> None:
        """Send all of `data`.

        Raises:
            PortVanishedError: the port has gone.
            PortStalledError: the port takes no more bytes.
        """
        with self._border():
            self._serial.write(data)

    def receive(self, limit: int, timeout_s: float) -> bytes:
        """Return what has arrived, 1 to `limit` bytes, as soon as there is any; nothing at all after `timeout_s`.

        Raises:
            PortVanishedError: the port has gone.
        """
        self._require_open()
        deadline = time.monotonic() + timeout_s
        with self._border():
            if timeout_s <= 0:
                waiting = min(self._serial.in_waiting, limit)
                return bytes(self._serial.read(waiting)) if waiting else b""
            # The timeout of the driver stays as it is: to change it sets up the whole port anew.
            while not (first := self._serial.read(1)):
                if time.monotonic() >= deadline:
                    return b""
            more = min(self._serial.in_waiting, limit - 1)
            return bytes(first + self._serial.read(more)) if more else bytes(first)

    def discard_input(self) -> None:
        """Throw away what has arrived and was not read.

        Raises:
            PortVanishedError: the port has gone.
        """
        with self._border():
            self._serial.reset_input_buffer()

    def close(self) -> None:
        """Give the port back; harmless when already closed or gone."""
        with contextlib.suppress(*_foreign()):
            self._serial.close()

    def _require_open(self) -> None:
        if not self._serial.is_open:
            raise PortVanishedError.named(self._name, detail="the port was closed")

    @contextlib.contextmanager
    def _border(self) -> Iterator[None]:
        try:
            yield
        except _foreign() as error:
            raise self._lost(error) from error

    def _lost(self, error: Exception) -> LinkError:
        import serial  # noqa: PLC0415 - off the start-up path

        if isinstance(error, serial.SerialTimeoutException):
            return PortStalledError.named(self._name, timeout_s=SEND.value)
        return PortVanishedError.named(self._name, detail=str(error))


if sys.platform != "win32":

    class PosixSerialWire(SerialWire):
        """An open serial port where it is a file descriptor: the same, with fewer calls to the system.

        What counts is the time from the last byte of an answer to the first byte of the next message: the bootloader
        is asked five thousand times for one image.
        """

        def __init__(self, opened: serial.Serial, name: str) -> None:
            super().__init__(opened, name)
            self._fd = opened.fileno()  # pyserial opens it non-blocking
            self._readable = select.poll()
            self._readable.register(self._fd, select.POLLIN)
            self._writable = select.poll()
            self._writable.register(self._fd, select.POLLOUT)

        def send(self, data: bytes) -> None:
            """Send all of `data`.

            Raises:
                PortVanishedError: the port has gone.
                PortStalledError: the port takes no more bytes.
            """
            self._require_open()
            rest = data
            while rest:
                try:
                    rest = rest[os.write(self._fd, rest) :]
                except BlockingIOError:
                    if not self._writable.poll(SEND.value * 1000):
                        raise PortStalledError.named(self._name, timeout_s=SEND.value) from None
                except OSError as error:
                    raise self._lost(error) from error

        def receive(self, limit: int, timeout_s: float) -> bytes:
            """Return what has arrived, 1 to `limit` bytes, as soon as there is any; nothing at all after `timeout_s`.

            Raises:
                PortVanishedError: the port has gone.
            """
            self._require_open()
            try:
                if not self._readable.poll(max(0.0, timeout_s) * 1000):
                    return b""
                data = os.read(self._fd, limit)
            except BlockingIOError:  # somebody threw it away meanwhile
                return b""
            except OSError as error:
                raise self._lost(error) from error
            if not data:  # a port that is readable and empty has been disconnected
                raise PortVanishedError.named(self._name)
            return data


def is_pseudo_terminal(name: str) -> bool:
    """Answer whether the port `name` is the end of a pseudo-terminal: a twin, not a board."""
    if sys.platform == "win32":
        return False
    try:
        device = Path(name).stat().st_rdev
    except OSError:
        return False
    if platform.system() == "Linux":
        return os.major(device) in _LINUX_PTY_MAJORS
    return Path(name).resolve().name.startswith(("ttys", "pts"))


def _keeps_even_parity(opened: serial.Serial) -> bool:
    if sys.platform == "win32":
        return True  # this system refuses at opening what it cannot keep
    flags: int = termios.tcgetattr(opened.fileno())[2]
    return bool(flags & termios.PARENB) and not flags & termios.PARODD


def _ask_for_low_latency(opened: serial.Serial) -> None:
    """Ask the adapter to hand on each byte at once; some hold bytes back for 16 ms, and not all can be asked."""
    if sys.platform == "linux":
        with contextlib.suppress(OSError, ValueError, NotImplementedError):
            opened.set_low_latency_mode(True)


def _opening_failed(name: str, error: Exception) -> LinkError:
    number = _errno(error)
    if number in _MISSING:
        return PortMissingError.named(name, detail=_short(error))
    if number in _BUSY:
        return PortBusyError.named(name, detail=_short(error))
    if number in _FORBIDDEN:
        return PortForbiddenError.named(name, group=_group(name), detail=_short(error))
    return PortUnusableError.named(name, detail=_short(error))


def _errno(error: Exception) -> int | None:
    """Return the system's error number; on Windows the library hides it in its text."""
    number = getattr(error, "errno", None)
    if number is None and error.args and isinstance(error.args[0], int):
        number = error.args[0]  # termios.error is no OSError
    if number is None and "FileNotFoundError" in str(error):
        return errno.ENOENT
    if number is None and "PermissionError" in str(error):
        return errno.EBUSY  # Windows says "access denied" of a port that another program has open
    return number


def _short(error: Exception) -> str:
    number = _errno(error)
    return os.strerror(number) if number else str(error)


def _group(name: str) -> str:
    if sys.platform == "win32":
        return ""
    try:
        return grp.getgrgid(Path(name).stat().st_gid).gr_name
    except (OSError, KeyError):
        return ""


def _foreign() -> tuple[type[Exception], ...]:
    """Return what the library and the system raise. SerialException is an OSError; termios.error is not."""
    return (OSError, ValueError) if sys.platform == "win32" else (OSError, ValueError, termios.error)
