"""Laws of the virtual flash that hold for any operations in any order."""

from __future__ import annotations

from functools import reduce
from operator import xor

from hypothesis import given
from hypothesis import strategies as st

from rotorwright.firmware.mcu import microcontroller
from rotorwright.twin.faults import CutMoment, FaultPlan, PowerCut, PowerCutError
from rotorwright.twin.flash import EraseSector, FlashMemory, FlashOperation, ProgramBytes, size_for
from rotorwright.twin.rom_uart import xor_of

PART = microcontroller("STM32F405xG")
START = PART.flash_start
NEAR = 600  # operations stay close together, so that they meet

programs = st.builds(
    ProgramBytes, st.integers(START + 0x4000 - NEAR, START + 0x4000 + NEAR), st.binary(min_size=1, max_size=256)
)
erases = st.builds(EraseSector, st.sampled_from([0, 1]))
operations: st.SearchStrategy[FlashOperation] = st.one_of(programs, erases)


def only_clears(before: bytes, after: bytes) -> bool:
    return all(old & new == new for old, new in zip(before, after, strict=True) if old != new)


def part_of(flash: FlashMemory) -> bytes:
    return flash.read(START + 0x4000 - 2 * NEAR, 4 * NEAR)


@given(st.lists(operations, max_size=8), programs)
def test_programming_only_ever_clears_bits(history: list[FlashOperation], last: ProgramBytes) -> None:
    flash = FlashMemory(PART, bytearray(b"\xff") * size_for(PART))
    for operation in history:
        flash.perform(operation)
    before = part_of(flash)
    accepted = flash.perform(last)
    after = part_of(flash)
    assert only_clears(before, after)
    assert after == before or accepted
    if accepted:
        assert flash.read(last.address, len(last.data)) == last.data


@given(st.binary(min_size=4, max_size=256).map(lambda data: data[: len(data) // 4 * 4]), st.integers(1, 99))
def test_a_torn_program_command_lies_between_before_and_after(data: bytes, seed: int) -> None:
    flash = FlashMemory(PART, bytearray(b"\xff") * size_for(PART))
    flash.arm(FaultPlan(power_cut=PowerCut(1, CutMoment.TORN), seed=seed))
    try:
        flash.perform(ProgramBytes(START, data))
    except PowerCutError:
        torn = flash.read(START, len(data))
    assert only_clears(b"\xff" * len(data), torn)
    assert only_clears(torn, data)
    assert flash.read(START + len(data), 64) == b"\xff" * 64


@given(st.lists(operations, min_size=1, max_size=8), st.integers(1, 8), st.sampled_from(CutMoment))
def test_everything_done_before_the_cut_stays(history: list[FlashOperation], number: int, moment: CutMoment) -> None:
    cut = FlashMemory(PART, bytearray(b"\xff") * size_for(PART))
    cut.arm(FaultPlan(power_cut=PowerCut(number, moment)))
    whole = FlashMemory(PART, bytearray(b"\xff") * size_for(PART))
    for operation in history:
        before = whole.contents()
        whole.perform(operation)
        try:
            cut.perform(operation)
        except PowerCutError:
            expected = {CutMoment.BEFORE: before, CutMoment.AFTER: whole.contents()}.get(moment, cut.contents())
            assert cut.contents() == expected
            assert cut.operations == number
            return
    assert cut.contents() == whole.contents()


@given(st.binary(max_size=300))
def test_the_quick_exclusive_or_is_the_exclusive_or(data: bytes) -> None:
    assert xor_of(data) == reduce(xor, data, 0)
