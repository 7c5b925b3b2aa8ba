"""Memories besides the flash that outlive the power: the settings and the display characters."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

from rotorwright.twin.faults import CutMoment, FaultPlan, MemoryKind, OperationCount, PowerCutError

if TYPE_CHECKING:
    import mmap


class KeptMemory:
    """Bytes that can be written in any portion, each write one counted operation.

    Args:
        kind: which memory it is, for the fault plan.
        memory: the bytes, changed in place.
    """

    def __init__(self, kind: MemoryKind, memory: bytearray | mmap.mmap) -> None:
        self._kind = kind
        self._memory = memoryview(memory)
        self._count = OperationCount(kind)
        self._seed = 0

    @property
    def operations(self) -> int:
        """How many writes were done (or cut) since the plan was armed."""
        return self._count.count

    @property
    def cut_happened(self) -> bool:
        """Whether the power cut of the plan came here."""
        return self._count.cut_happened

    def close(self) -> None:
        """Let go of the buffer."""
        self._memory.release()

    def arm(self, plan: FaultPlan) -> None:
        """Take `plan` as what shall go wrong from here, and count operations from zero again."""
        self._count.arm(plan)
        self._seed = plan.seed

    def read(self) -> bytes:
        """Return all of the memory."""
        return bytes(self._memory)

    def write(self, offset: int, data: bytes) -> None:
        """Store `data` at byte `offset`.

        Raises:
            PowerCutError: the plan cut the power here.
        """
        moment = self._count.next_operation()
        if moment is CutMoment.TORN:
            self._tear(offset, data)
        elif moment is not CutMoment.BEFORE:
            self._memory[offset : offset + len(data)] = data
        if moment is not None:
            raise PowerCutError(f"{moment} {self._kind} operation {self.operations}")

    def _tear(self, offset: int, data: bytes) -> None:
        """Store the first half and spoil the byte after it."""
        half = len(data) // 2
        self._memory[offset : offset + half] = data[:half]
        if half < len(data):
            self._memory[offset + half] = random.Random(f"{self._seed} {offset}").randrange(256)
