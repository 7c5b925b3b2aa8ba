"""Lines out of the bytes that somebody types at a console."""

from __future__ import annotations

from typing import Final

LONGEST_LINE_BYTES: Final = 2048
"""What the console's buffer holds; the rest of a longer line is dropped, and the line is refused."""


class LineReader:
    """Cuts bytes into lines that end with CR, LF or both. What has no end yet waits, up to a limit."""

    def __init__(self) -> None:
        self._waiting = bytearray()
        self._after_cr = False
        self._is_too_long = False

    def feed(self, data: bytes) -> list[bytes | None]:
        """Return the lines that are whole now, without their ends; None stands for one that was too long."""
        lines: list[bytes | None] = []
        for byte in data:
            if byte == 0x0A and self._after_cr:
                self._after_cr = False
                continue
            self._after_cr = byte == 0x0D
            if byte in {0x0A, 0x0D}:
                lines.append(None if self._is_too_long else bytes(self._waiting))
                self._waiting.clear()
                self._is_too_long = False
            elif len(self._waiting) < LONGEST_LINE_BYTES:
                self._waiting.append(byte)
            else:
                self._is_too_long = True
        return lines
