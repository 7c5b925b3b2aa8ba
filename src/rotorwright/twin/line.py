"""One direction of a serial line: how long bytes are under way, and what becomes of them there."""

from __future__ import annotations

import math
import random
from collections import deque
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rotorwright.twin.faults import FaultPlan

# Start and stop bit around eight data bits; the bootloader adds a parity bit (AN3155: 8 data bits, even parity).
BITS_PER_BYTE = 10
BITS_PER_BYTE_WITH_PARITY = 11


class Line:
    """Bytes on their way, in pieces that arrive one after the other.

    `byte_s` is the time of one byte in seconds; 0 for a line without limit. It holds for pieces put on from then on.
    """

    __slots__ = ("_free_s", "_pieces", "byte_s")

    def __init__(self) -> None:
        self.byte_s = 0.0
        self._free_s = 0.0
        self._pieces: deque[tuple[float, bytes, float]] = deque()  # end, bytes, time of one of these bytes

    @property
    def is_empty(self) -> bool:
        """Whether nothing is under way and nothing waits to be taken."""
        return not self._pieces

    @property
    def free_s(self) -> float:
        """When the last byte that was put on has left the line, or had."""
        return self._free_s

    @property
    def next_s(self) -> float | None:
        """When the next piece has arrived in whole; None if there is none."""
        return self._pieces[0][0] if self._pieces else None

    def put(self, data: bytes, earliest_s: float) -> None:
        """Put a piece on the line; it starts as soon as the line is free, and not before `earliest_s`."""
        start = max(earliest_s, self._free_s)
        self._free_s = start + len(data) * self.byte_s
        self._pieces.append((self._free_s, data, self.byte_s))

    def take_piece(self, now_s: float) -> bytes:
        """Return the next piece that has arrived in whole; nothing if there is none."""
        if self._pieces and self._pieces[0][0] <= now_s:
            return self._pieces.popleft()[1]
        return b""

    def take(self, now_s: float) -> bytes:
        """Return every byte that has arrived, also the first bytes of a piece that is still arriving."""
        arrived = []
        pieces = self._pieces
        while pieces and pieces[0][0] <= now_s:
            arrived.append(pieces.popleft()[1])
        if pieces:
            end, data, byte_s = pieces[0]
            here = len(data) - math.ceil((end - now_s) / byte_s) if byte_s else 0
            if here > 0:
                arrived.append(data[:here])
                pieces[0] = (end, data[here:], byte_s)
        return arrived[0] if len(arrived) == 1 else b"".join(arrived)

    def cut(self, now_s: float) -> None:
        """Stop sending: what has arrived by now can still be taken, the rest is gone."""
        arrived = self.take(now_s)
        self.clear(now_s)
        if arrived:
            self._pieces.append((now_s, arrived, 0.0))

    def clear(self, now_s: float) -> bytes:
        """Empty the line, which is then free at once, and return what was on it."""
        lost = b"".join(data for _, data, _ in self._pieces)
        self._pieces.clear()
        self._free_s = min(self._free_s, now_s)
        return lost


class Disturbance:
    """Loses, damages and doubles frames as a fault plan says, the same way each time for the same seed.

    Args:
        plan: the rates.
        direction: tells the random numbers of one direction from those of the other.
    """

    def __init__(self, plan: FaultPlan, direction: str) -> None:
        self._plan = plan
        self._dice = random.Random(f"{plan.seed} {direction}")
        self.lost = 0
        self.damaged = 0
        self.doubled = 0

    def pass_on(self, frame: bytes, *, may_double: bool) -> list[bytes]:
        """Return what arrives of one frame: nothing, the frame (perhaps with a flipped bit), or the frame twice."""
        if self._hits(self._plan.loss_rate):
            self.lost += 1
            return []
        if self._hits(self._plan.damage_rate):
            self.damaged += 1
            return [self._with_flipped_bit(frame)]
        if may_double and self._hits(self._plan.double_rate):
            self.doubled += 1
            return [frame, frame]
        return [frame]

    def _hits(self, rate: float) -> bool:
        return rate > 0 and self._dice.random() < rate

    def _with_flipped_bit(self, frame: bytes) -> bytes:
        place = self._dice.randrange(len(frame))
        flipped = frame[place] ^ (1 << self._dice.randrange(8))
        return frame[:place] + bytes([flipped]) + frame[place + 1 :]


# Source: MAVLink serialisation guide: first byte, and what surrounds the payload (header, checksum; a signature if
# bit 0 of the third byte of a version 2 frame is set).
_MAVLINK_1, _MAVLINK_2 = 0xFE, 0xFD
_FRAME_1_BYTES, _FRAME_2_BYTES, _SIGNATURE_BYTES = 8, 12, 13


def split_frames(data: bytes) -> list[bytes]:
    """Return `data` cut where its MAVLink frames begin and end; what is no whole frame stays together.

    The pieces joined give `data` again. Only lengths are looked at, so a frame inside rubbish may be missed.
    """
    pieces = []
    start = 0
    while start < len(data):
        end = start + _frame_bytes(data, start)
        pieces.append(data[start:end])
        start = end
    return pieces


def _frame_bytes(data: bytes, start: int) -> int:
    """Return the length of the frame that begins at `start`, or of what lies before the next one."""
    length = 0
    if data[start] == _MAVLINK_2 and start + 2 < len(data):
        length = _FRAME_2_BYTES + data[start + 1] + (_SIGNATURE_BYTES if data[start + 2] & 1 else 0)
    elif data[start] == _MAVLINK_1 and start + 1 < len(data):
        length = _FRAME_1_BYTES + data[start + 1]
    if 0 < length <= len(data) - start:
        return length
    following = [place for mark in b"\xfe\xfd" if (place := data.find(mark, start + 1)) > 0]
    return min(following, default=len(data)) - start
