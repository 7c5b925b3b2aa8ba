"""Our microcontroller table and vector-table check against tables and images from outside.

Sources: the CSV files in tests/outside/data, whose rows name theirs (device headers of the maker, modm-devices 0.13.1,
stm32flash 0.7, pyocd 0.46.0, reference manuals); images built with zig cc and GCC (tests/outside/data/images).
"""

from __future__ import annotations

import csv
import zlib
from pathlib import Path

import pytest
from fastcrc import crc32

from rotorwright.firmware.boot_probe import BootOutcome, probe_boot
from rotorwright.firmware.descriptor import Descriptor, descriptor_crc, find_descriptor, pack_descriptor
from rotorwright.firmware.image import Image
from rotorwright.firmware.mcu import Microcontroller, Sector, microcontroller, microcontrollers
from rotorwright.firmware.vector_table import read_vector_table
from rotorwright.twin.thornbill.images import build_image

DATA = Path(__file__).parent / "data"
START = 0x0800_0000
STACKS = {"sram", "ccm", "dtcm", "itcm"}  # kinds of memory in mcu_memory.csv where a stack may live


def rows(table: str, part: str) -> list[dict[str, str]]:
    with (DATA / table).open(newline="") as file:
        return [row for row in csv.DictReader(file) if ours(row["part"]) == part]


def ours(part: str) -> str:
    """Return our name for a part of the tables: `stm32f405rg` is `STM32F405xG`, the package letter left open."""
    return part[:9].upper() + "x" + part[10:11].upper()


PARTS = pytest.mark.parametrize(
    "mcu", [mcu for mcu in microcontrollers() if not mcu.has_external_flash], ids=lambda mcu: mcu.name
)
# The tables leave the flash of these out; the rows of their package brothers say that it is the same.
SAME_FLASH_AS = {"STM32F767xI": "STM32F765xI", "STM32G473xE": "STM32G474xE"}


def sectors_of(table: list[dict[str, str]]) -> list[tuple[int, int, int, int]]:
    return [
        (
            int(row["bank"]),
            int(row["first_sector"]) + i,
            int(row["start"], 16) + i * int(row["sector_bytes"]),
            int(row["sector_bytes"]),
        )
        for row in table
        for i in range(int(row["count"]))
    ]


def as_rows(sectors: tuple[Sector, ...]) -> list[tuple[int, int, int, int]]:
    return [(one.bank, one.number, one.address, one.size_bytes) for one in sectors]


def test_every_part_of_the_tables_is_in_ours() -> None:
    with (DATA / "mcu_ids.csv").open(newline="") as file:
        theirs = {ours(row["part"]) for row in csv.DictReader(file)}
    assert theirs == {mcu.name for mcu in microcontrollers() if not mcu.has_external_flash}


@PARTS
def test_sectors_are_those_of_the_table(mcu: Microcontroller) -> None:
    expected = sectors_of([row for row in rows("mcu_flash_sectors.csv", mcu.name) if "(" not in row["part"]])
    assert expected
    assert as_rows(mcu.sectors) == expected


@PARTS
def test_other_layouts_are_those_of_the_table(mcu: Microcontroller) -> None:
    table = rows("mcu_flash_sectors.csv", SAME_FLASH_AS.get(mcu.name, mcu.name))
    names = dict.fromkeys(row["part"].partition(" (")[2][:-1] for row in table if "(" in row["part"])
    assert [other.name for other in mcu.other_layouts] == list(names)
    for other in mcu.other_layouts:
        assert as_rows(other.sectors) == sectors_of([row for row in table if other.name in row["part"]])


@PARTS
def test_memories_are_those_of_the_table(mcu: Microcontroller) -> None:
    table = rows("mcu_memory.csv", mcu.name)
    expected = {(int(row["start"], 16), int(row["size_bytes"])) for row in table if row["kind"] in STACKS}
    assert expected
    assert {(one.address, one.size_bytes) for one in mcu.ram} == expected
    flash = [(int(row["start"], 16), int(row["size_bytes"])) for row in table if row["kind"] == "flash"]
    assert sum(size for _, size in flash) == mcu.flash_size_bytes
    assert all(mcu.sector_at(start) and mcu.sector_at(start + size - 1) for start, size in flash)


@PARTS
def test_ids_and_their_addresses_are_those_of_the_table(mcu: Microcontroller) -> None:
    (row,) = rows("mcu_ids.csv", mcu.name)
    assert mcu.boot_id == int(row["bootloader_pid"], 16)
    assert mcu.unique_id_address == int(row["uid_base"], 16)
    assert mcu.flash_size_address == int(row["flash_size_reg"], 16)
    assert mcu.core.lower() == row["core"]
    assert mcu.clock_page == int(row["rcc_base"], 16) & ~0xFFF
    name, number = row["uf2_family"].split()
    assert (name, int(number, 16)) in {(one.name, one.id) for one in mcu.uf2_families}
    loader = [one for one in rows("mcu_memory.csv", mcu.name) if one["kind"] == "bootrom"]
    expected = [(int(one["start"], 16), int(one["size_bytes"])) for one in loader]
    assert expected == ([(mcu.loader.rom.address, mcu.loader.rom.size_bytes)] if mcu.loader.rom else [])


@pytest.mark.parametrize("mcu", microcontrollers(), ids=lambda mcu: mcu.name)
def test_uf2_families_are_those_of_the_public_list(mcu: Microcontroller) -> None:
    with (DATA / "uf2_families.csv").open(newline="") as file:
        listed = {row["short_name"]: int(row["id"], 16) for row in csv.DictReader(file)}
    assert mcu.uf2_families
    assert {one.name: one.id for one in mcu.uf2_families}.items() <= listed.items()


@pytest.mark.parametrize("name", ["RP2040", "RP2350"])
def test_parts_without_flash_inside_have_the_memories_of_two_packages(name: str) -> None:
    with (DATA / "mcu_memory_external_flash.csv").open(newline="") as file:
        table = [row for row in csv.DictReader(file) if row["part"] == name]
    mcu = microcontroller(name)
    (flash,) = (row for row in table if row["kind"] == "flash")
    assert (mcu.flash_start, mcu.flash_size_bytes) == (int(flash["start"], 16), int(flash["size_bytes"]))
    assert {sector.size_bytes for sector in mcu.sectors} == {int(flash["sector_bytes"])}
    for row in table:
        start, end = int(row["start"], 16), int(row["start"], 16) + int(row["size_bytes"])
        if row["kind"] == "sram":  # ours may only have more: what is from memory makes the check milder
            assert any(one.address <= start and end <= one.end for one in mcu.ram)


IMAGES = {
    "f405.bin": "STM32F405xG",
    "f405.gcc.bin": "STM32F405xG",
    "f745.bin": "STM32F745xG",
    "f103.bin": "STM32F103xB",
    "g474.bin": "STM32G474xE",
    "h743.bin": "STM32H743xI",
}


def image(name: str) -> Image:
    return Image.of([(START, (DATA / "images" / name).read_bytes())])


@pytest.mark.parametrize(("name", "part"), IMAGES.items())
def test_compiled_images_have_a_sound_table_on_their_microcontroller(name: str, part: str) -> None:
    table = read_vector_table(image(name), microcontroller(part))
    assert table.problems == ()
    if name == "f405.bin":  # readelf and the linker script: entry 0x08000041, stack at the end of RAM
        assert (table.reset, table.stack_top) == (0x0800_0041, 0x2002_0000)


@pytest.mark.parametrize(("name", "part"), [("h743.bin", "STM32F405xG"), ("f745.bin", "STM32F405xG")])
def test_compiled_images_for_more_ram_are_refused_on_a_part_with_less(name: str, part: str) -> None:
    assert "no RAM" in read_vector_table(image(name), microcontroller(part)).problems[0]


def test_the_checksum_of_a_descriptor_is_the_one_of_zip_files() -> None:
    with (DATA / "crc_check_values.csv").open(newline="") as file:
        check = next(row for row in csv.DictReader(file) if row["name"] == "CRC-32/ISO-HDLC")["check_123456789"]
    assert zlib.crc32(b"123456789") == int(check, 16)
    assert crc32.iso_hdlc(b"123456789") == int(check, 16)


@pytest.mark.parametrize("key", [("5.2", "C405"), ("6.0", "C405"), ("6.0", "H7")])
def test_fastcrc_finds_the_checksum_that_stands_in_the_demo_images(key: tuple[str, str]) -> None:
    whole = build_image(*key)
    found = find_descriptor(whole)
    assert found is not None
    data = bytearray(whole.read(found.start, found.length))
    field = found.address - found.start + 20  # docs/reference/image-descriptor.md: the CRC is at offset 20
    assert int.from_bytes(data[field : field + 4], "little") == found.crc32
    data[field : field + 4] = bytes(4)
    assert crc32.iso_hdlc(bytes(data)) == found.crc32


def test_a_range_that_begins_after_the_image_does_is_checksummed_alone() -> None:
    draft = Descriptor(START + 128, "Thornbill", "6.0.0", "Corvane C405", "STM32F405xG", START + 64, 300)
    body = bytes(range(128)) + pack_descriptor(draft) + bytes(range(200))
    assert descriptor_crc(Image.of([(START, body)]), draft) == crc32.iso_hdlc(body[64:364])


# Families by the clock controller that main.c in data/images touches, as build.sh gives it (RCC base of mcu_ids.csv).
GROUPS = {"f103": "F1", "f405": "F4", "f405.gcc": "F4", "f745": "F7", "g474": "G4", "h743": "H7"}


@pytest.mark.parametrize(("name", "family"), GROUPS.items())
def test_the_boot_probe_puts_each_compiled_image_into_its_group(name: str, family: str) -> None:
    probe = probe_boot(image(f"{name}.bin"))
    assert probe.outcome is BootOutcome.CLOCK_SEEN
    assert family in str(probe.group)
    (part,) = {mcu.clock_page for mcu in microcontrollers() if mcu.family == family}
    assert probe.clock_page == part
