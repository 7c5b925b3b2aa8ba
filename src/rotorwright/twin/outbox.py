"""What waits to be sent: a short queue of messages, and words for the pilot."""

from __future__ import annotations

from collections import deque
from itertools import count
from typing import TYPE_CHECKING

from pymavlink.dialects.v20 import common

from rotorwright.twin.mavlink_codec import packet

if TYPE_CHECKING:
    from rotorwright.twin.mavlink_codec import Packet

MOST_WAITING = 128
"""A full queue takes no more, as a full transmit buffer does; whoever needs the answer asks again."""

INFO = common.MAV_SEVERITY_INFO
WARNING = common.MAV_SEVERITY_WARNING
_TEXT_BYTES = 50  # STATUSTEXT; longer words go in numbered pieces that share an id


class Outbox:
    """The queue, first in, first out."""

    def __init__(self) -> None:
        self._waiting: deque[Packet] = deque()
        self._text_ids = count(1)

    def __len__(self) -> int:
        return len(self._waiting)

    def send(self, message: Packet) -> None:
        """Put a message at the end."""
        if len(self._waiting) < MOST_WAITING:
            self._waiting.append(message)

    def take(self) -> Packet | None:
        """Return the message that waited longest, if there is one."""
        return self._waiting.popleft() if self._waiting else None

    def say(self, words: str, severity: int = WARNING) -> None:
        """Send words for the pilot as status text."""
        text = words.encode("ascii", errors="replace")
        pieces = [text[at : at + _TEXT_BYTES] for at in range(0, len(text), _TEXT_BYTES)]
        text_id = next(self._text_ids) & 0xFFFF if len(pieces) > 1 else 0
        for number, piece in enumerate(pieces):
            self.send(packet(common.MAVLink_statustext_message(severity, piece, text_id, number)))
