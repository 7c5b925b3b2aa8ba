"""The boot probe on small programs made here, so that each of its rules is seen to matter."""

from __future__ import annotations

import struct
import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rotorwright.firmware import boot_probe
from rotorwright.firmware.boot_probe import BootOutcome, BootProbe, probe_boot
from rotorwright.firmware.image import Image
from rotorwright.firmware.mcu import microcontrollers

START = 0x0800_0000
CODE = START + 0x40
H7_CLOCK = 0x5802_4400
F4_CLOCK = 0x4002_3830
G4_CLOCK = 0x4002_1000
POWER = 0x4000_7000  # a peripheral that is no clock controller

# Thumb encodings of DDI 0403 (A7.7). r0 holds an address, r1 what was read or is written.
READ = 0x6801  # ldr r1, [r0]
WRITE = 0x6001  # str r1, [r0]
FOR_EVER = 0xE7FE  # b .
UNDEFINED = 0xDE00
SUPERVISOR_CALL = 0xDF00
BREAKPOINT = 0xBE00
OUT_OF_THUMB = 0x4700  # bx r0: to an even address


@pytest.fixture(autouse=True)
def _afresh() -> None:
    boot_probe._started.cache_clear()


def address(value: int) -> list[int]:
    """Return code that puts `value` into r0: movw r0, low half; movt r0, high half."""
    return [*_half(0xF240, value & 0xFFFF), *_half(0xF2C0, value >> 16)]


def _half(first: int, half: int) -> list[int]:
    return [first | half >> 12 | (half >> 11 & 1) << 10, (half >> 8 & 7) << 12 | half & 0xFF]


def program(*code: int, stack: int = 0x2001_0000, reset: int = CODE | 1) -> Image:
    vectors = struct.pack("<16I", stack, reset, *[0] * 14)
    return Image.of([(START, vectors + struct.pack(f"<{len(code)}H", *code))])


def started(*code: int) -> BootProbe:
    return probe_boot(program(*code))


@pytest.mark.parametrize(
    ("register", "group"),
    [(G4_CLOCK, "F0, F1, F3, L4, G0 or G4"), (F4_CLOCK, "F2, F4 or F7"), (H7_CLOCK, "H7")],
)
@pytest.mark.parametrize("act", [READ, WRITE])
def test_the_clock_controller_that_is_touched_names_the_group(register: int, group: str, act: int) -> None:
    probe = started(*address(register), act, FOR_EVER)
    assert (probe.outcome, probe.group) == (BootOutcome.CLOCK_SEEN, group)


def test_the_first_one_counts() -> None:
    both = started(*address(F4_CLOCK), READ, *address(H7_CLOCK), READ, FOR_EVER)
    assert both.group == "F2, F4 or F7"
    assert started(*address(H7_CLOCK), READ, *address(F4_CLOCK), READ, FOR_EVER).group == "H7"


def test_a_loop_that_waits_for_a_ready_bit_comes_to_an_end() -> None:
    shift_bit_17_to_sign, back_while_plus = 0x0389, 0xD5FC
    probe = started(*address(POWER), READ, shift_bit_17_to_sign, back_while_plus, *address(H7_CLOCK), READ, FOR_EVER)
    assert probe.group == "H7"


def test_a_loop_that_waits_for_a_bit_to_go_away_comes_to_an_end() -> None:
    set_bits, shift_bit_17_to_sign, back_while_minus = 0x43C9, 0x0389, 0xD4FC  # mvns r1, r1
    wait = (set_bits, WRITE, READ, shift_bit_17_to_sign, back_while_minus)
    assert started(*address(POWER), *wait, *address(H7_CLOCK), READ, FOR_EVER).group == "H7"


def test_a_loop_that_waits_for_its_switch_to_be_echoed_comes_to_an_end() -> None:
    """Write 3 into bits 0 to 2, wait for 3 in bits 3 to 5."""
    write_3 = (0x2103, WRITE)
    lift, lower, compare, back_if_other = 0x0689, 0x0F49, 0x2903, 0xD1FA  # lsls #26, lsrs #29, cmp #3, bne
    wait = (*write_3, READ, lift, lower, compare, back_if_other)
    assert started(*address(POWER), *wait, *address(H7_CLOCK), READ, FOR_EVER).group == "H7"


def test_what_was_written_is_read_back_twice_byte_by_byte_too() -> None:
    registers = boot_probe._Registers()
    registers.write(POWER, 4, 0x1122_3344)
    registers.write(POWER + 1, 1, 0xAB)
    assert registers.read(POWER, 4) == 0x1122_AB44
    assert registers.read(POWER, 1) == 0x44
    assert registers.read(POWER, 4) == 0xFFFF_FFFF
    assert registers.read(POWER, 4) == 0
    registers.write(POWER, 4, 5)
    assert registers.read(POWER, 4) == 5


@pytest.mark.parametrize(
    ("code", "is_fault"), [(UNDEFINED, True), (OUT_OF_THUMB, True), (SUPERVISOR_CALL, False), (BREAKPOINT, False)]
)
def test_a_fault_after_the_clock_leaves_the_group_open_and_a_call_or_a_breakpoint_is_none(
    code: int, *, is_fault: bool
) -> None:
    probe = started(*address(F4_CLOCK), READ, code, FOR_EVER)
    assert probe.outcome is (BootOutcome.FAULT if is_fault else BootOutcome.CLOCK_SEEN)
    assert (probe.group is None) == is_fault


def test_unused_flash_is_erased_and_no_slide_of_no_operations(monkeypatch: pytest.MonkeyPatch) -> None:
    past_the_end = 0xE0FE  # b to 0x200 bytes on, behind the image
    far = Image.of([*program(past_the_end).segments, (START + 0x400, bytes(2) + struct.pack("<8H", *touch_h7()))])
    assert probe_boot(far).outcome is BootOutcome.FAULT
    boot_probe._started.cache_clear()
    monkeypatch.setattr(boot_probe, "_ERASED", b"\0")
    assert probe_boot(far).group == "H7"


def touch_h7() -> list[int]:
    code = [*address(H7_CLOCK), READ, FOR_EVER]
    return code + [FOR_EVER] * (8 - len(code))


@pytest.mark.parametrize(
    ("where", "speaks"),
    [(0xE000_EF50, True), (0xE000_EF84, True), (0x4002_3890, True), (0xE000_ED88, False), (0x4002_388C, False)],
)
def test_registers_that_only_the_f7_of_its_group_has_are_noticed(where: int, *, speaks: bool) -> None:
    assert started(*address(F4_CLOCK), READ, *address(where), READ, FOR_EVER).speaks_for_f7 is speaks


def test_memory_outside_the_part_is_there_and_bounded() -> None:
    loop = (WRITE, 0xF500, 0x3080, 0xE7FB)  # str; add r0, r0, #0x10000; back
    once = started(*address(0xC000_0000), WRITE, *address(H7_CLOCK), READ, FOR_EVER)
    assert once.group == "H7"
    assert started(*address(0xC000_0000), *loop).outcome is BootOutcome.FAULT


@pytest.mark.parametrize("where", [START, 0x6000_0000, 0x9000_0000])
def test_writing_where_nothing_can_be_written_is_a_fault(where: int) -> None:
    assert started(*address(where), WRITE, FOR_EVER).outcome is BootOutcome.FAULT


def test_an_image_that_touches_nothing_ends_at_the_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(boot_probe, "MOST_BLOCKS", 1000)
    probe = started(FOR_EVER)
    assert (probe.outcome, probe.group) == (BootOutcome.NOTHING_SEEN, None)


@pytest.mark.parametrize(
    ("image", "words"),
    [
        (program(FOR_EVER, stack=0x9000_0000), "0x90000000, where no part has RAM"),
        (program(FOR_EVER, stack=0x2000_0000), "0x20000000, where no part has RAM"),
        (program(FOR_EVER, reset=CODE), "0x08000040 does not point to code"),
        (program(FOR_EVER, reset=0x0810_0001), "0x08100001 does not point to code"),
        (Image.of([(0x1000_0000, bytes(64))]), "does not lie in the flash"),
        (Image.of([(START, bytes(7))]), "does not lie in the flash"),
        (Image.of([(START, bytes(64)), (START + 0x20_0000, b"a")]), "does not lie in the flash"),
    ],
)
def test_what_cannot_be_started_is_said(image: Image, words: str) -> None:
    probe = probe_boot(image)
    assert (probe.outcome, probe.group) == (BootOutcome.NOT_STARTED, None)
    assert words in probe.words


def test_without_the_emulator_the_probe_says_so_and_what_brings_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(boot_probe, "find_spec", lambda _name: None)
    probe = probe_boot(program(FOR_EVER))
    assert (probe.outcome, probe.group) == (BootOutcome.NOT_INSTALLED, None)
    assert "pip install rotorwright[probe]" in probe.words


def test_nothing_loads_the_emulator_before_it_is_asked_for() -> None:
    code = "import sys, rotorwright.changeover.choosing, rotorwright.firmware.fit; print('unicorn' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


def test_every_clock_page_of_the_table_belongs_to_a_group_that_names_its_family() -> None:
    for mcu in microcontrollers():
        if mcu.clock_page is not None:
            assert mcu.family in boot_probe.CLOCK_GROUPS[mcu.clock_page]


@settings(deadline=None, max_examples=60)
@given(code=st.binary(min_size=2, max_size=200))
def test_any_code_ends_with_an_answer_and_the_same_each_time(code: bytes) -> None:
    image = Image.of([(START, struct.pack("<16I", 0x2001_0000, CODE | 1, *[0] * 14) + code)])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(boot_probe, "MOST_BLOCKS", 20_000)
        first = probe_boot(image)
        boot_probe._started.cache_clear()
        assert probe_boot(image) == first
    boot_probe._started.cache_clear()
