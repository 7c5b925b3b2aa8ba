"""Intel HEX against other programs: printed records, GNU objcopy, srec_cat, and the libraries bincopy and intelhex.

Sources: tests/outside/data/hex_records.csv (each row confirmed with bincopy 20.1.1, intelhex 2.3.0 and hexrec 0.5.1)
and tests/outside/data/images (its README names the writers). Both libraries accept a file without its end record, and
we do not, so that is checked in the unit tests only.
"""

from __future__ import annotations

import csv
import hashlib
import io
import random
import time
from pathlib import Path
from typing import TYPE_CHECKING

import bincopy
import intelhex
import pytest
from elftools.elf.elffile import ELFFile

from rotorwright.firmware.image import Image
from rotorwright.firmware.intel_hex import (
    HexChecksumError,
    HexLengthError,
    HexLineError,
    HexRecordTypeError,
    read_intel_hex,
    write_intel_hex,
)
from rotorwright.twin.thornbill.images import build_image

if TYPE_CHECKING:
    from collections.abc import Callable

DATA = Path(__file__).parent / "data"
IMAGES = DATA / "images"
START = 0x0800_0000
END = b":00000001FF\n"
ONE_BYTE = b":01000000AA55\n"

TABLE = csv.DictReader(io.StringIO((DATA / "hex_records.csv").read_text(encoding="ascii")))
RECORDS = [row for row in TABLE if row["format"] == "ihex"]
VALID = [row for row in RECORDS if row["verdict"] == "valid"]
BAD = {row["verdict"]: row for row in RECORDS if row["verdict"] != "valid"}
NAMES = ["f103", "f405", "f745", "g474", "h743"]


def of_type(*kinds: str) -> list[dict[str, str]]:
    return [row for row in VALID if row["type"] in kinds]


def read(*lines: bytes) -> Image:
    return read_intel_hex(b"".join(lines), name="x.hex")


def test_the_table_has_every_record_type_and_every_kind_of_damage() -> None:
    assert {row["type"] for row in VALID} == {"00", "01", "02", "03", "04", "05"}
    assert set(BAD) == {"bad_checksum", "bad_length", "truncated", "unknown_type"}


@pytest.mark.parametrize("row", of_type("00"), ids=lambda row: row["record"])
def test_printed_data_records_give_their_address_and_data(row: dict[str, str]) -> None:
    image = read(row["record"].encode(), b"\n", END)
    assert image.start == int(row["address"], 16)
    assert image.segments[0].data == bytes.fromhex(row["record"][9:-2])
    assert image.size_bytes == int(row["data_length"])


@pytest.mark.parametrize("row", of_type("00"), ids=lambda row: row["record"])
def test_we_write_printed_data_records_just_so(row: dict[str, str]) -> None:
    image = read(row["record"].encode(), b"\n", END)
    assert write_intel_hex(image).splitlines()[0].decode() == row["record"]


@pytest.mark.parametrize(("row", "shift"), [(row, 4 if row["type"] == "02" else 16) for row in of_type("02", "04")])
def test_printed_base_records_move_what_follows(row: dict[str, str], shift: int) -> None:
    image = read(row["record"].encode(), b"\n", ONE_BYTE, END)
    assert image.start == int(row["record"][9:13], 16) << shift


@pytest.mark.parametrize("row", of_type("03", "05"), ids=lambda row: row["record"])
def test_printed_start_records_give_the_entry(row: dict[str, str]) -> None:
    image = read(ONE_BYTE, row["record"].encode(), b"\n", END)
    high, low = int(row["record"][9:13], 16), int(row["record"][13:17], 16)
    assert image.entry == ((high << 4) + low if row["type"] == "03" else high << 16 | low)


@pytest.mark.parametrize(
    ("verdict", "error"),
    [
        ("bad_checksum", HexChecksumError),
        ("bad_length", HexLengthError),
        ("truncated", HexLengthError),
        ("unknown_type", HexRecordTypeError),
    ],
)
def test_printed_bad_records_are_refused_as_what_they_are(verdict: str, error: type[HexLineError]) -> None:
    with pytest.raises(error) as caught:
        read(ONE_BYTE, BAD[verdict]["record"].encode(), b"\n", END)
    assert caught.value.line == 2


def binary(name: str) -> bytes:
    return (IMAGES / f"{name}.bin").read_bytes()


def elf_image(name: str) -> Image:
    """Return what pyelftools finds in the ELF file, by physical address (ELF gABI: where .data is loaded from)."""
    with (IMAGES / f"{name}.elf").open("rb") as file:
        elf = ELFFile(file)
        loads = [part for part in elf.iter_segments() if part["p_type"] == "PT_LOAD" and part["p_filesz"]]
        return Image.of([(part["p_paddr"], part.data()) for part in loads], entry=elf["e_entry"])


@pytest.mark.parametrize("name", NAMES)
def test_what_gnu_objcopy_wrote_reads_as_its_binary_and_as_the_elf_file(name: str) -> None:
    image = read_intel_hex((IMAGES / f"{name}.gnu.hex").read_bytes(), name=name)
    assert image.segments == ((START, binary(name)),)
    # The ELF may have its sections apart; the bytes and their places are the same.
    assert image.read(START, image.size_bytes) == elf_image(name).read(START, image.size_bytes)
    assert image.entry == elf_image(name).entry


@pytest.mark.parametrize("name", ["f103", "f405", "g474"])  # in the others it starts a new line with a new ELF section
def test_we_write_byte_for_byte_what_gnu_objcopy_writes(name: str) -> None:
    theirs = (IMAGES / f"{name}.gnu.hex").read_bytes()
    image = Image.of([(START, binary(name))], entry=elf_image(name).entry)
    assert write_intel_hex(image).replace(b"\n", b"\r\n") == theirs


def test_what_srec_cat_wrote_reads_as_the_binary_and_is_what_we_write_with_32_bytes_in_a_line() -> None:
    theirs = (IMAGES / "f405.srecord.hex").read_bytes()
    image = read_intel_hex(theirs, name="f405")
    assert image == Image.of([(START, binary("f405"))])
    assert write_intel_hex(image, record_bytes=32) == theirs


def test_the_binary_is_the_one_that_the_table_of_outside_checks_names() -> None:
    assert hashlib.sha256(binary("f405")).hexdigest().startswith("251eabe9")
    assert len(binary("f405")) == 180


def image_with_gaps(seed: int, highest: int = 0xFFFF_0000) -> Image:
    chance = random.Random(seed)
    starts = sorted(chance.sample(range(0, highest, 0x400), 12))
    return Image.of([(start + chance.randrange(16), chance.randbytes(chance.randint(1, 900))) for start in starts])


OURS = [build_image("6.0", "C405", size_bytes=70_000), *(image_with_gaps(seed) for seed in range(6))]


@pytest.mark.parametrize("image", OURS, ids=lambda image: image.sha256[:8])
@pytest.mark.parametrize("record_bytes", [16, 32, 255])
def test_bincopy_and_intelhex_read_ours_as_we_meant_it(image: Image, record_bytes: int) -> None:
    text = write_intel_hex(image, record_bytes=record_bytes).decode()
    theirs = bincopy.BinFile()
    theirs.add_ihex(text)
    assert [(one.address, bytes(one.data)) for one in theirs.segments] == list(image.segments)
    assert theirs.execution_start_address == image.entry
    other = intelhex.IntelHex(io.StringIO(text))
    assert [(low, high) for low, high in other.segments()] == [(one.address, one.end) for one in image.segments]
    assert all(other.tobinstr(start=one.address, size=len(one.data)) == one.data for one in image.segments)
    assert (other.start_addr or {}).get("EIP") == image.entry


@pytest.mark.parametrize("image", OURS, ids=lambda image: image.sha256[:8])
def test_we_read_what_bincopy_and_intelhex_write(image: Image) -> None:
    theirs = bincopy.BinFile()
    other = intelhex.IntelHex()
    for one in image.segments:
        theirs.add_binary(one.data, one.address)
        other.puts(one.address, one.data)
    if image.entry is not None:
        theirs.execution_start_address = image.entry
        other.start_addr = {"EIP": image.entry}
    text = io.StringIO()
    other.write_hex_file(text)
    for written in (theirs.as_ihex(), theirs.as_ihex(number_of_data_bytes=16), text.getvalue()):
        assert read_intel_hex(written.encode(), name="theirs.hex") == image


@pytest.mark.parametrize("seed", range(6))
def test_we_read_segmented_addresses_as_bincopy_writes_them(seed: int) -> None:
    image = image_with_gaps(seed, highest=0xF_0000)
    theirs = bincopy.BinFile()
    for one in image.segments:
        theirs.add_binary(one.data, one.address)
    text = theirs.as_ihex(address_length_bits=24)
    assert ":02000002" in text
    assert read_intel_hex(text.encode(), name="theirs.hex") == image


def quickest_s(act: Callable[[], object], *, runs: int = 3) -> float:
    times = []
    for _ in range(runs):
        before = time.process_time()
        act()
        times.append(time.process_time() - before)
    return min(times)


def test_reading_is_quicker_than_in_either_library() -> None:
    text = write_intel_hex(Image.of([(START, random.Random(1).randbytes(100 * 1024))]))
    ours = quickest_s(lambda: read_intel_hex(text, name="x.hex"))
    assert ours < quickest_s(lambda: bincopy.BinFile().add_ihex(text.decode()))
    assert ours < quickest_s(lambda: intelhex.IntelHex(io.StringIO(text.decode())), runs=1)
