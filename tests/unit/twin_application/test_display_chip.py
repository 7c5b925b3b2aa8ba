"""The display chip: whole characters, and silence when the battery is missing."""

from __future__ import annotations

import itertools

from hypothesis import given
from hypothesis import strategies as st

from rotorwright.twin.display_chip import CHARACTER_BYTES, DISPLAY_MEMORY_BYTES, DisplayChip
from rotorwright.twin.settings_memory import MemoryInRam

OLD = bytes(index % 251 for index in range(DISPLAY_MEMORY_BYTES))
NEW = bytes((index * 7 + 1) % 253 for index in range(DISPLAY_MEMORY_BYTES))


class CountingMemory(MemoryInRam):
    """A memory that remembers what was written where."""

    def __init__(self) -> None:
        super().__init__(OLD)
        self.writes: list[tuple[int, int]] = []

    def write(self, offset: int, data: bytes) -> None:
        self.writes.append((offset, len(data)))
        super().write(offset, data)


@given(st.lists(st.integers(1, DISPLAY_MEMORY_BYTES - 1), max_size=200, unique=True), st.randoms())
def test_every_character_is_stored_once_and_whole_however_it_came(cuts: list[int], order: object) -> None:
    memory = CountingMemory()
    chip = DisplayChip(memory, lambda: True)
    edges = [0, *sorted(cuts), DISPLAY_MEMORY_BYTES]
    pieces = list(itertools.pairwise(edges))
    order.shuffle(pieces)  # type: ignore[attr-defined]
    for start, end in pieces:
        chip.write(start, NEW[start:end])
    assert chip.content == NEW
    assert sorted(memory.writes) == [(offset, CHARACTER_BYTES) for offset in range(0, DISPLAY_MEMORY_BYTES, 64)]


def test_without_the_battery_writes_are_accepted_and_forgotten() -> None:
    memory = CountingMemory()
    chip = DisplayChip(memory, lambda: False)
    chip.write(0, NEW)
    assert chip.content == OLD
    assert memory.writes == []


def test_only_what_is_stored_while_the_battery_is_in_stays() -> None:
    is_powered = [True]
    chip = DisplayChip(CountingMemory(), lambda: is_powered[0])
    chip.write(0, NEW[:64])
    is_powered[0] = False
    chip.write(64, NEW[64:128])
    is_powered[0] = True
    chip.write(128, NEW[128:192])
    assert chip.content[:192] == NEW[:64] + OLD[64:128] + NEW[128:192]


def test_part_of_a_character_is_not_stored_and_forgotten_at_the_end() -> None:
    chip = DisplayChip(CountingMemory(), lambda: True)
    chip.write(0, NEW[:63])
    assert chip.content == OLD
    chip.close()
    chip.write(63, NEW[63:64])
    assert chip.content == OLD


def test_a_memory_of_the_wrong_size_reads_as_one_of_the_right_size() -> None:
    assert len(DisplayChip(MemoryInRam(b""), lambda: True).content) == DISPLAY_MEMORY_BYTES
    assert len(DisplayChip(MemoryInRam(bytes(20_000)), lambda: True).content) == DISPLAY_MEMORY_BYTES
