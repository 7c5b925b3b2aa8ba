"""A port for the virtual aircraft: a pseudo-terminal, which any program opens like a serial port.

The server holds the controlling end only. So the system tells it when the last client has closed the port (reading
fails with EIO, polling shows a hang-up), and nothing old waits for the next one. The price is a look at the port every
few milliseconds while nobody has it open.
"""

from __future__ import annotations

import contextlib
import os
import select
import sys
from typing import TYPE_CHECKING, Final

from rotorwright.twin.errors import TwinPlatformError

if sys.platform != "win32":
    import termios
    import tty

if TYPE_CHECKING:
    from pathlib import Path

_READ_BYTES: Final = 65_536
CLOSED_LOOK_S: Final = 0.005


def require_pseudo_terminals() -> None:
    """Check that this system has pseudo-terminals.

    Raises:
        TwinPlatformError: it has none.
    """
    if sys.platform == "win32":
        raise TwinPlatformError(
            "The virtual aircraft cannot have a port on this system.",
            why="It stands behind a pseudo-terminal, and this operating system has none for serial programs.",
            todo="Use Linux or macOS, or a Linux environment inside this system.",
            platform=sys.platform,
        )


class PseudoTerminal:
    """One pseudo-terminal, raw, from plugging to pulling.

    Args:
        links: symbolic links that lead to it while it is there; an old link is replaced, anything else is left alone.
    """

    def __init__(self, links: tuple[Path, ...]) -> None:
        self._control, client = os.openpty()
        tty.setraw(client)
        self.device = os.ttyname(client)
        os.set_blocking(self._control, False)
        os.close(client)
        self._poll = select.poll()
        self._poll.register(self._control, select.POLLIN)
        self.is_open = False
        self._links = links
        for link in links:
            _put_link(link, self.device)

    def fileno(self) -> int:
        """Return the file descriptor to wait for."""
        return self._control

    @property
    def baud(self) -> int | None:
        """Rate that the client has set; None if it is none of the usual ones."""
        return _RATES.get(termios.tcgetattr(self._control)[5])

    def look(self) -> bool:
        """Look whether a client has the port open now, and return it."""
        was_open = self.is_open
        self.is_open = not any(event & select.POLLHUP for _, event in self._poll.poll(0))
        if was_open and not self.is_open:
            self._forget()
        return self.is_open

    def read(self) -> bytes:
        """Return what the client has sent; nothing if it has closed the port."""
        try:
            return os.read(self._control, _READ_BYTES)
        except BlockingIOError:
            return b""
        except OSError:  # EIO: the last client closed it
            self.look()
            return b""

    def write(self, data: bytes) -> int:
        """Send to the client, and return how many bytes the system took; all of them while nobody has the port open.

        What a client leaves unread until the system's buffer is full is lost on a serial port; whoever does not want
        that sends the rest later.
        """
        if not (self.is_open or self.look()):
            return len(data)
        try:
            return os.write(self._control, data)
        except BlockingIOError:
            return 0
        except OSError:  # just closed
            return len(data)

    def close(self) -> None:
        """Take the port away, as a pulled cable does."""
        for link in self._links:
            _remove_link(link, self.device)
        os.close(self._control)

    def _forget(self) -> None:
        """Drop what the client that has gone did not read."""
        with contextlib.suppress(OSError, termios.error):
            client = os.open(self.device, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
            try:
                termios.tcflush(client, termios.TCIFLUSH)
            finally:
                os.close(client)


def _put_link(link: Path, device: str) -> None:
    link.parent.mkdir(parents=True, exist_ok=True)
    fresh = link.with_name(f".{link.name}.{os.getpid()}")
    fresh.unlink(missing_ok=True)
    fresh.symlink_to(device)
    fresh.replace(link)


def _remove_link(link: Path, device: str) -> None:
    with contextlib.suppress(OSError):
        if link.is_symlink() and os.readlink(link) == device:  # noqa: PTH115 - the text, not a path made of it
            link.unlink()


def _rates() -> dict[int, int]:
    names = [name for name in dir(termios) if name.startswith("B") and name[1:].isdigit()]
    return {getattr(termios, name): int(name[1:]) for name in names if name != "B0"}


_RATES: Final = _rates() if sys.platform != "win32" else {}
