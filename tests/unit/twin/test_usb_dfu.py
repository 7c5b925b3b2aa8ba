"""The virtual bootloader on USB against the state table of the standard: DFU 1.1 (USB-IF, 2004), A.2.3 to A.2.11.

The rows below are typed from the standard's tables, not taken from the code: state, request, whether it is answered,
the state after it. "Long" is a download with data, "empty" one without.
"""

from __future__ import annotations

import pytest
from tests.unit.twin.bench import PART, START, UNIQUE_ID

from rotorwright.twin.flash import EraseSector, FlashMemory, ProgramBytes, erased_flash
from rotorwright.twin.memories import Memories
from rotorwright.twin.rom_uart import OptionBytes, Then
from rotorwright.twin.usb_dfu import DfuReaction, DfuRequest, DfuState, UsbDfu, memory_string

SET = b"\x21" + START.to_bytes(4, "little")
ERASE = b"\x41" + START.to_bytes(4, "little")
R, S = DfuRequest, DfuState


class Desk:
    def __init__(self, *, locked: bool = False) -> None:
        self.flash = FlashMemory(PART, erased_flash(PART))
        self.options = OptionBytes(read_out_protected=locked)
        self.dfu = UsbDfu(Memories(self.flash, UNIQUE_ID), self.flash, self.options)

    def ask(self, request: DfuRequest, value: int = 0, data: bytes = b"", length: int = 6) -> DfuReaction:
        return self.dfu.request(request, value, data, length)

    def status(self) -> bytes:
        return self.ask(R.GETSTATUS).data

    def bring_to(self, state: DfuState) -> None:
        match state:
            case S.DNLOAD_SYNC | S.DNLOAD_IDLE:
                self.ask(R.DNLOAD, 0, SET)
            case S.DNBUSY:
                self.ask(R.DNLOAD, 0, ERASE)
            case S.MANIFEST_SYNC | S.MANIFEST:
                self.bring_to(S.DNLOAD_IDLE)
                self.ask(R.DNLOAD, 2, b"")
            case S.UPLOAD_IDLE:
                self.ask(R.UPLOAD, 2, length=16)
            case S.ERROR:
                self.ask(R.CLRSTATUS)
        if state in {S.DNBUSY, S.DNLOAD_IDLE, S.MANIFEST}:
            self.status()
        if state is S.DNLOAD_IDLE:
            self.status()
        assert self.dfu.state is state


ROWS = [
    (S.IDLE, R.DETACH, "", False, S.ERROR),
    (S.IDLE, R.DNLOAD, "long", True, S.DNLOAD_SYNC),
    (S.IDLE, R.DNLOAD, "empty", False, S.ERROR),
    (S.IDLE, R.UPLOAD, "", True, S.UPLOAD_IDLE),
    (S.IDLE, R.GETSTATUS, "", True, S.IDLE),
    (S.IDLE, R.CLRSTATUS, "", False, S.ERROR),
    (S.IDLE, R.GETSTATE, "", True, S.IDLE),
    (S.IDLE, R.ABORT, "", True, S.IDLE),
    (S.DNLOAD_SYNC, R.DNLOAD, "long", False, S.ERROR),
    (S.DNLOAD_SYNC, R.UPLOAD, "", False, S.ERROR),
    (S.DNLOAD_SYNC, R.GETSTATUS, "", True, S.DNBUSY),
    (S.DNLOAD_SYNC, R.CLRSTATUS, "", False, S.ERROR),
    (S.DNLOAD_SYNC, R.GETSTATE, "", True, S.DNLOAD_SYNC),
    (S.DNLOAD_SYNC, R.ABORT, "", False, S.ERROR),
    *((S.DNBUSY, request, "long", False, S.ERROR) for request in DfuRequest),
    (S.DNLOAD_IDLE, R.DETACH, "", False, S.ERROR),
    (S.DNLOAD_IDLE, R.DNLOAD, "long", True, S.DNLOAD_SYNC),
    (S.DNLOAD_IDLE, R.DNLOAD, "empty", True, S.MANIFEST_SYNC),
    (S.DNLOAD_IDLE, R.UPLOAD, "", False, S.ERROR),
    (S.DNLOAD_IDLE, R.GETSTATUS, "", True, S.DNLOAD_IDLE),
    (S.DNLOAD_IDLE, R.CLRSTATUS, "", False, S.ERROR),
    (S.DNLOAD_IDLE, R.GETSTATE, "", True, S.DNLOAD_IDLE),
    (S.DNLOAD_IDLE, R.ABORT, "", True, S.IDLE),
    (S.MANIFEST_SYNC, R.GETSTATUS, "", True, S.MANIFEST),
    (S.MANIFEST_SYNC, R.GETSTATE, "", True, S.MANIFEST_SYNC),
    (S.MANIFEST_SYNC, R.ABORT, "", False, S.ERROR),
    (S.MANIFEST_SYNC, R.DNLOAD, "long", False, S.ERROR),
    *((S.MANIFEST, request, "long", False, S.ERROR) for request in DfuRequest),
    (S.UPLOAD_IDLE, R.DETACH, "", False, S.ERROR),
    (S.UPLOAD_IDLE, R.DNLOAD, "long", False, S.ERROR),
    (S.UPLOAD_IDLE, R.UPLOAD, "", True, S.UPLOAD_IDLE),
    (S.UPLOAD_IDLE, R.GETSTATUS, "", True, S.UPLOAD_IDLE),
    (S.UPLOAD_IDLE, R.CLRSTATUS, "", False, S.ERROR),
    (S.UPLOAD_IDLE, R.GETSTATE, "", True, S.UPLOAD_IDLE),
    (S.UPLOAD_IDLE, R.ABORT, "", True, S.IDLE),
    (S.ERROR, R.DETACH, "", False, S.ERROR),
    (S.ERROR, R.DNLOAD, "long", False, S.ERROR),
    (S.ERROR, R.UPLOAD, "", False, S.ERROR),
    (S.ERROR, R.GETSTATUS, "", True, S.ERROR),
    (S.ERROR, R.CLRSTATUS, "", True, S.IDLE),
    (S.ERROR, R.GETSTATE, "", True, S.ERROR),
    (S.ERROR, R.ABORT, "", False, S.ERROR),
]


@pytest.mark.parametrize(("state", "request_", "kind", "answered", "after"), ROWS)
def test_each_row_of_the_standards_table(
    state: DfuState, request_: DfuRequest, kind: str, answered: bool, after: DfuState
) -> None:
    desk = Desk()
    desk.bring_to(state)
    reaction = desk.ask(request_, 2, SET if kind == "long" else b"")
    assert reaction.stalled is not answered
    assert desk.dfu.state is after


def test_setting_an_address_asks_for_no_pause() -> None:
    desk = Desk()
    desk.bring_to(S.DNLOAD_SYNC)
    assert desk.status() == bytes((0, 0, 0, 0, S.DNBUSY, 0))
    assert desk.status()[4] == S.DNLOAD_IDLE


def test_an_erase_begins_at_the_status_and_asks_for_the_time_of_the_part() -> None:
    desk = Desk()
    assert desk.ask(R.DNLOAD, 0, ERASE).work == ()
    reaction = desk.ask(R.GETSTATUS)
    assert reaction.work == (EraseSector(0),)
    pause_ms = int.from_bytes(reaction.data[1:4], "little")
    assert pause_ms >= PART.erase_typical_s[PART.sectors[0].size_bytes] * 1000
    assert desk.dfu.work_done(accepted=True) is Then.GO_ON
    assert desk.status()[4] == S.DNLOAD_IDLE


def test_an_erase_moves_the_address_pointer() -> None:
    desk = Desk()
    desk.ask(R.DNLOAD, 0, b"\x41" + PART.sectors[5].address.to_bytes(4, "little"))
    desk.status()
    assert desk.dfu.pointer == PART.sectors[5].address


def test_blocks_are_counted_from_two_in_steps_of_a_transfer() -> None:
    desk = Desk()
    desk.bring_to(S.DNLOAD_IDLE)
    desk.ask(R.DNLOAD, 4, b"abcd")
    assert desk.ask(R.GETSTATUS).work == (ProgramBytes(START + 2 * 2048, b"abcd"),)


def test_flash_that_refuses_is_an_error_of_writing() -> None:
    desk = Desk()
    desk.bring_to(S.DNLOAD_IDLE)
    desk.ask(R.DNLOAD, 2, b"abcd")
    desk.status()
    desk.dfu.work_done(accepted=False)
    assert (desk.status()[0], desk.status()[4]) == (3, S.ERROR)


@pytest.mark.parametrize(
    "data",
    [b"\x21\x00", b"\x99\x00\x00\x00\x08", b"\x41\x00\x00\x00\x99", b"\x21\x00\x00\x00\x99", b"\x41\x00\x00\x08"],
)
def test_a_command_that_is_none_is_refused_at_the_status(data: bytes) -> None:
    desk = Desk()
    desk.ask(R.DNLOAD, 0, data)
    reaction = desk.ask(R.GETSTATUS)
    assert reaction.work == ()
    assert (reaction.data[0], reaction.data[4]) == (1, S.ERROR)


@pytest.mark.parametrize("data", [SET, ERASE, b"\x41"])
def test_a_locked_part_refuses_every_command_with_the_vendors_error(data: bytes) -> None:
    desk = Desk(locked=True)
    desk.ask(R.DNLOAD, 0, data)
    assert (desk.status()[0], desk.dfu.state) == (11, S.ERROR)


def test_a_locked_part_gives_nothing_back() -> None:
    desk = Desk(locked=True)
    assert desk.ask(R.UPLOAD, 2, length=16).stalled
    assert desk.status()[0] == 11


def test_taking_the_lock_off_wipes_everything() -> None:
    desk = Desk(locked=True)
    desk.ask(R.DNLOAD, 0, b"\x92")
    assert len(desk.ask(R.GETSTATUS).work) == len(PART.sectors)
    assert desk.options.read_out_protected
    assert desk.dfu.work_done(accepted=True) is Then.RESET
    assert not desk.options.read_out_protected


def test_blocks_out_of_order_are_refused() -> None:
    desk = Desk()
    desk.bring_to(S.UPLOAD_IDLE)
    assert desk.ask(R.UPLOAD, 7, length=16).stalled


def test_another_alternate_setting_never_touches_the_flash() -> None:
    desk = Desk()
    assert desk.dfu.select(1)
    assert not desk.dfu.select(9)
    desk.ask(R.DNLOAD, 0, ERASE)
    assert desk.ask(R.GETSTATUS).work == ()
    assert desk.dfu.state is S.ERROR


def test_the_memory_string_is_that_of_a_real_device_of_this_kind() -> None:
    # dfuse_layouts.csv, first row
    assert memory_string(PART) == "@Internal Flash  /0x08000000/04*016Kg,01*064Kg,07*128Kg"
