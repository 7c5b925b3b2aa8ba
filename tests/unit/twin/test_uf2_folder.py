"""The folder that behaves like a UF2 drive, written to by files of independent writers and by hand."""

from __future__ import annotations

import struct
from pathlib import Path

import pytest

from rotorwright.firmware.mcu import microcontroller
from rotorwright.twin.faults import FaultPlan
from rotorwright.twin.flash import FlashMemory, erased_flash
from rotorwright.twin.uf2_folder import DriveState, Uf2Folder

IMAGES = Path(__file__).resolve().parents[2] / "outside" / "data" / "images"
PART = microcontroller("STM32F405xG")
FAMILY = 0x57755A57
START = PART.flash_start


class Bench:
    def __init__(self, folder: Path) -> None:
        self.folder = folder / "drive"
        self.flash = FlashMemory(PART, erased_flash(PART))
        self.board = Uf2Folder(self.folder, self.flash, family=FAMILY)
        self.board.plug_in()

    def look(self) -> DriveState:
        """Let the board look at its folder; return what it does then."""
        self.board.poll()
        return self.board.state


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def block(number: int, total: int, *, address: int = START, payload: bytes = b"\x11" * 256, **more: int) -> bytes:
    """Return one block, made here by hand after the table "File format" of the UF2 specification."""
    flags, family = more.get("flags", 0x2000), more.get("family", FAMILY)
    size = more.get("size", len(payload))
    head = struct.pack("<8I", 0x0A324655, 0x9E5D5157, flags, address + 256 * number, size, number, total, family)
    return head + payload.ljust(476, b"\0") + struct.pack("<I", 0x0AB16F30)


@pytest.mark.parametrize("writer", ["adafruit", "uf2utils"])
def test_a_file_of_an_independent_writer_ends_in_flash(bench: Bench, writer: str) -> None:
    (bench.folder / "NEW.UF2").write_bytes((IMAGES / f"f405.{writer}.uf2").read_bytes())
    assert bench.look() is DriveState.STARTED
    expected = (IMAGES / "f405.bin").read_bytes()
    assert bench.flash.read(START, len(expected)) == expected
    assert not bench.folder.exists()


def test_the_info_file_has_the_lines_of_the_specification(bench: Bench) -> None:
    lines = (bench.folder / "INFO_UF2.TXT").read_bytes().decode().split("\r\n")
    assert lines[0].startswith("UF2 Bootloader v")
    assert lines[1].startswith("Model: ")
    assert lines[2].startswith("Board-ID: ")


def test_blocks_may_come_in_any_order_in_pieces_twice_and_in_several_files(bench: Bench) -> None:
    blocks = [block(number, 4, payload=bytes([number + 1]) * 256) for number in range(4)]
    file = bench.folder / "a.uf2"
    file.write_bytes(blocks[2] + blocks[0][:100])
    assert bench.look() is DriveState.TAKING
    file.write_bytes(blocks[2] + blocks[0] + blocks[2])
    bench.board.poll()
    (bench.folder / "b.uf2").write_bytes(blocks[3] + blocks[1])
    assert bench.look() is DriveState.STARTED
    assert bench.flash.read(START, 1024) == b"".join(bytes([number + 1]) * 256 for number in range(4))


@pytest.mark.parametrize(
    "raw",
    [
        b"\0" * 512,
        b"x" * 1024,
        block(0, 1)[:-4] + b"\0\0\0\0",
        block(0, 1, flags=0x2001),
        block(0, 1, flags=0x3000),
        block(0, 1, flags=0),
        block(0, 1, family=0x53B80F00),
    ],
    ids=["zeros", "other file", "last mark", "not for main flash", "contained file", "no family", "other family"],
)
def test_what_is_not_for_this_flash_is_passed_over_and_what_is_comes_in_beside_it(bench: Bench, raw: bytes) -> None:
    (bench.folder / "a.uf2").write_bytes(raw)
    assert (bench.look(), bench.flash.operations) == (DriveState.WAITING, 0)
    (bench.folder / "b.uf2").write_bytes(block(0, 1))
    assert bench.look() is DriveState.STARTED


@pytest.mark.parametrize(
    ("bad", "why"),
    [
        (block(0, 2, address=0x2000_0000), "not in flash"),
        (block(0, 2, address=START + 2), "not in flash"),
        (block(0, 2, size=477), "not sound"),
        (block(2, 2), "not sound"),
        (block(1, 2, payload=b"\x22" * 256) + block(1, 2), "other content"),
    ],
)
def test_a_bad_block_spoils_the_session_until_it_is_plugged_in_anew(bench: Bench, bad: bytes, why: str) -> None:
    (bench.folder / "a.uf2").write_bytes(bad)
    bench.board.poll()
    assert why in bench.board.spoilt_by[0]
    (bench.folder / "b.uf2").write_bytes(block(0, 2) + block(1, 2))
    assert bench.look() is DriveState.TAKING
    bench.board.plug_in()
    (bench.folder / "b.uf2").write_bytes(block(0, 2) + block(1, 2))
    assert bench.look() is DriveState.STARTED


def test_the_flash_outside_the_touched_sectors_is_left_alone(bench: Bench) -> None:
    (bench.folder / "a.uf2").write_bytes(block(0, 1, address=PART.sectors[3].address))
    bench.board.poll()
    assert bench.flash.touched_sectors == {3}


def test_a_protected_sector_is_taken_and_stays_as_it_was(bench: Bench) -> None:
    bench.board.arm(FaultPlan(protected_sectors=(0,)))
    (bench.folder / "a.uf2").write_bytes(block(0, 1))
    assert bench.look() is DriveState.STARTED
    assert bench.flash.read(START, 256) == b"\xff" * 256


def test_an_application_that_starts_is_started_without_the_button(bench: Bench) -> None:
    bench.board.plug_in(button=False)
    assert bench.board.state is DriveState.STARTED
    assert not bench.folder.exists()
    bench.board.poll()
    assert not bench.folder.exists()
