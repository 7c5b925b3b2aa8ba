"""Flash laws: stricter than the real part, and torn exactly where the plan says."""

from __future__ import annotations

import pytest
from tests.unit.twin.bench import PART, START

from rotorwright.firmware.mcu import microcontroller
from rotorwright.twin.faults import FaultPlan, PowerCutError
from rotorwright.twin.flash import EraseSector, FlashMemory, ProgramBytes, erased_flash, size_for

DATA = bytes(range(1, 129))


def fresh(faults: str = "") -> FlashMemory:
    flash = FlashMemory(PART, erased_flash(PART))
    flash.arm(FaultPlan.parse(faults))
    return flash


def test_what_is_programmed_can_be_read() -> None:
    flash = fresh()
    assert flash.perform(ProgramBytes(START + 8, DATA))
    assert flash.read(START + 8, len(DATA)) == DATA


def test_what_is_not_erased_cannot_be_programmed_even_with_the_same_bytes() -> None:
    flash = fresh()
    flash.perform(ProgramBytes(START, DATA))
    assert not flash.perform(ProgramBytes(START, DATA))
    assert flash.refusals[-1].reason == "not erased"
    assert flash.read(START, len(DATA)) == DATA


@pytest.mark.parametrize(("address", "data"), [(START + 2, DATA), (START, DATA[:3]), (START + 1, b"\0")])
def test_what_is_not_in_whole_words_cannot_be_programmed(address: int, data: bytes) -> None:
    flash = fresh()
    assert not flash.perform(ProgramBytes(address, data))
    assert flash.contents() == bytes(erased_flash(PART))


@pytest.mark.parametrize("address", [START - 128, PART.flash_end - 4, PART.flash_end])
def test_where_there_is_no_flash_nothing_can_be_programmed(address: int) -> None:
    flash = fresh()
    assert not flash.perform(ProgramBytes(address, DATA))
    assert flash.refusals[-1].reason == "no flash there"


def test_an_erase_touches_its_own_sector_only() -> None:
    flash = FlashMemory(PART, bytearray(size_for(PART)))
    flash.perform(EraseSector(4))
    content = flash.contents()
    assert content[0x1_0000:0x2_0000] == b"\xff" * 0x1_0000
    assert content.count(0xFF) == 0x1_0000
    assert flash.touched_sectors == {4}


def test_a_sector_that_does_not_exist_cannot_be_erased() -> None:
    flash = fresh()
    assert not flash.perform(EraseSector(12))
    assert flash.operations == 0


def test_refused_operations_are_not_counted() -> None:
    flash = fresh()
    flash.perform(ProgramBytes(START + 1, DATA))
    flash.perform(ProgramBytes(START, DATA))
    flash.perform(EraseSector(11))
    assert flash.operations == 2
    assert flash.touched_sectors == {0, 11}


def test_a_program_command_across_two_sectors_touches_both() -> None:
    flash = fresh()
    flash.perform(ProgramBytes(START + 0x4000 - 64, DATA))
    assert flash.touched_sectors == {0, 1}


def test_times_come_from_the_table() -> None:
    flash = fresh()
    assert flash.duration_s(EraseSector(0)) == PART.erase_typical_s[16_384]
    assert flash.duration_s(EraseSector(11)) == PART.erase_typical_s[131_072]
    assert flash.duration_s(ProgramBytes(START, DATA)) == pytest.approx(32 * PART.program_word_typical_s)


def test_a_write_protected_sector_accepts_everything_and_changes_nothing() -> None:
    flash = fresh("protected=1")
    assert flash.perform(ProgramBytes(START + 0x4000, DATA))
    assert flash.perform(EraseSector(1))
    assert flash.contents() == bytes(erased_flash(PART))
    assert (flash.operations, len(flash.refusals)) == (0, 2)


def test_the_cut_before_leaves_everything_as_it_was() -> None:
    flash = fresh("power-cut@2")
    flash.perform(ProgramBytes(START, DATA))
    before = flash.contents()
    with pytest.raises(PowerCutError):
        flash.perform(ProgramBytes(START + 256, DATA))
    assert flash.contents() == before
    assert flash.cut_happened


def test_the_cut_after_leaves_the_operation_done() -> None:
    flash = fresh("after@1")
    with pytest.raises(PowerCutError):
        flash.perform(ProgramBytes(START, DATA))
    assert flash.read(START, len(DATA)) == DATA


def test_a_torn_program_command_leaves_half_of_it_and_a_partly_programmed_word() -> None:
    flash = fresh("torn@1")
    with pytest.raises(PowerCutError):
        flash.perform(ProgramBytes(START, bytes(256)))
    content = flash.read(START, 256)
    assert content[:128] == bytes(128)
    assert content[128:132] not in {bytes(4), b"\xff" * 4}
    assert content[132:] == b"\xff" * 124


def test_a_torn_erase_leaves_half_of_the_sector_and_spoilt_bytes() -> None:
    flash = FlashMemory(PART, bytearray(size_for(PART)))
    flash.arm(FaultPlan.parse("torn@1"))
    with pytest.raises(PowerCutError):
        flash.perform(EraseSector(0))
    content = flash.read(START, 16_384)
    assert content[:8192] == b"\xff" * 8192
    assert 0 < len(content[8192:].strip(b"\0")) <= 8192
    assert content[8192:].count(0) > 8000


def test_the_same_seed_tears_the_same_way_and_another_seed_another() -> None:
    def torn(seed: int) -> bytes:
        flash = fresh(f"torn@1,seed={seed}")
        with pytest.raises(PowerCutError):
            flash.perform(ProgramBytes(START, bytes(256)))
        return flash.contents()

    assert torn(1) == torn(1)
    assert torn(1) != torn(2)


def test_the_cut_comes_once_and_arming_again_counts_from_zero() -> None:
    flash = fresh("power-cut@1")
    with pytest.raises(PowerCutError):
        flash.perform(EraseSector(0))
    assert flash.perform(EraseSector(0))
    flash.arm(FaultPlan.parse("power-cut@1"))
    assert (flash.operations, flash.cut_happened) == (0, False)
    with pytest.raises(PowerCutError):
        flash.perform(EraseSector(0))


def test_a_cut_for_another_memory_does_not_concern_the_flash() -> None:
    flash = fresh("torn@1/settings")
    assert flash.perform(EraseSector(0))
    assert not flash.cut_happened


def test_a_hole_between_two_banks_is_not_flash() -> None:
    part = microcontroller("STM32H743xG")
    flash = FlashMemory(part, erased_flash(part))
    assert flash.is_flash(0x0810_0000)
    assert not flash.is_flash(0x0808_0000)
    assert not flash.is_flash(0x0807_FFFC, 8)
    assert not flash.perform(ProgramBytes(0x0808_0000, DATA))


def test_a_buffer_of_another_size_is_refused() -> None:
    with pytest.raises(ValueError, match="needed"):
        FlashMemory(PART, bytearray(10))
