"""The same image through every format: files by independent programs read by us, files by us read by them.

Sources: tests/outside/data/images (its README names the writers), the libraries bincopy, intelhex, hexrec and
pyelftools, and GNU objcopy where it is installed. No reader of UF2 or DfuSe is among them: there, what we write is
compared byte for byte with what other writers wrote.
"""

from __future__ import annotations

import csv
import gzip
import io
import random
import shutil
import subprocess
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

import bincopy
import hexrec  # type: ignore[import-untyped]
import intelhex
import pytest

from rotorwright.firmware.dfu_file import write_dfu, write_dfuse
from rotorwright.firmware.files import read_image_file
from rotorwright.firmware.image import Image
from rotorwright.firmware.intel_hex import write_intel_hex
from rotorwright.firmware.read_image import FileFormat
from rotorwright.firmware.s_record import (
    SRecordChecksumError,
    SRecordLengthError,
    SRecordLineError,
    read_s_record,
)
from rotorwright.firmware.uf2 import uf2_families, write_uf2
from rotorwright.firmware.written import write_raw

if TYPE_CHECKING:
    from collections.abc import Callable

DATA = Path(__file__).parent / "data"
IMAGES = DATA / "images"
START = 0x0800_0000
F4 = 0x5775_5A57
BINARY = (IMAGES / "f405.bin").read_bytes()
IMAGE = Image.of([(START, BINARY)], entry=0x0800_0041)
GAPS = Image.of([(START, random.Random(3).randbytes(700)), (START + 0x1_0010, b"far"), (START + 0x2000, b"near" * 9)])

THEIR_FILES = {
    ("Intel HEX", "GNU objcopy"): "f405.gnu.hex",
    ("Intel HEX", "srec_cat"): "f405.srecord.hex",
    ("S-record", "GNU objcopy"): "f405.gnu.s19",
    ("S-record", "srec_cat"): "f405.srecord.s19",
    ("UF2", "uf2utils"): "f405.uf2utils.uf2",
    ("UF2", "adafruit-uf2"): "f405.adafruit.uf2",
    ("DfuSe", "dfuse-pack"): "f405.dfusepack.dfu",
    ("DfuSe", "fwupd"): "f405.fwupd.dfu",
    ("DFU with suffix", "dfu-suffix"): "f405.suffixed.dfu",
    ("ELF", "zig cc"): "f405.elf",
    ("raw binary", "GNU objcopy"): "f405.bin",
}


def read(name: str) -> Image:
    return read_image_file((IMAGES / name).read_bytes(), name=name).image


@pytest.mark.parametrize(
    ("key", "file"), THEIR_FILES.items(), ids=lambda value: value if isinstance(value, str) else ""
)
def test_the_same_image_reads_as_equal_whoever_wrote_it_in_whatever_format(key: tuple[str, str], file: str) -> None:
    found = read_image_file((IMAGES / file).read_bytes(), name="no-name-helps")
    assert found.format == key[0]
    if file == "f405.adafruit.uf2":  # it fills the page up: the bytes under the image count
        assert found.image.start == START
        assert found.image.read(START, 256, 0) == BINARY + bytes(76)
    else:
        assert found.image == IMAGE
        assert found.image.sha256 == IMAGE.sha256


@pytest.mark.parametrize("name", ["f103", "f405", "f745", "g474", "h743"])
def test_the_five_compiled_images_are_equal_as_elf_hex_and_raw_and_raw_says_where_it_belongs(name: str) -> None:
    raw = read_image_file((IMAGES / f"{name}.bin").read_bytes(), name=name)
    assert raw.image == read(f"{name}.elf") == read(f"{name}.gnu.hex")
    assert read(f"{name}.elf").entry == read(f"{name}.gnu.hex").entry
    assert "deduced" in raw.notes[0]
    assert "0x08000000" in raw.notes[0]


def test_another_compilers_image_is_placed_by_its_vector_table_too() -> None:
    assert read("f405.gcc.bin").start == START


def test_both_sizes_in_the_dfuse_prefix_are_read() -> None:
    whole, without_suffix = ((IMAGES / f"f405.{who}.dfu").read_bytes() for who in ("dfusepack", "fwupd"))
    assert int.from_bytes(whole[6:10], "little") == len(whole)
    assert int.from_bytes(without_suffix[6:10], "little") == len(without_suffix) - 16


def test_we_write_byte_for_byte_what_other_writers_wrote() -> None:
    assert write_dfuse(IMAGE, target_name="ST...", device_version=0x2200) == (IMAGES / "f405.fwupd.dfu").read_bytes()
    assert write_uf2(IMAGE, family=F4, whole_pages=False).data == (IMAGES / "f405.uf2utils.uf2").read_bytes()
    suffixed = write_dfu(BINARY, vendor=0x0483, product=0xDF11, device_version=0x0200)
    assert suffixed == (IMAGES / "f405.suffixed.dfu").read_bytes()
    assert write_raw(IMAGE).data == BINARY


def test_the_families_are_the_published_ones() -> None:
    rows = csv.DictReader(io.StringIO((DATA / "uf2_families.csv").read_text(encoding="utf-8")))
    assert dict(uf2_families()) == {int(row["id"], 16): row["short_name"] for row in rows}


# --- the table of formats and tools ---------------------------------------------------------------------------------


def segments_of(image: Image) -> list[tuple[int, bytes]]:
    return [(one.address, one.data) for one in image.segments]


def by_bincopy(image: Image) -> Any:
    file = bincopy.BinFile()
    for one in image.segments:
        file.add_binary(one.data, one.address)
    return file


def bincopy_reads(how: str) -> Callable[[bytes], list[tuple[int, bytes]]]:
    def reader(data: bytes) -> list[tuple[int, bytes]]:
        file = bincopy.BinFile()
        getattr(file, how)(data.decode())
        return [(one.address, bytes(one.data)) for one in file.segments]

    return reader


def intelhex_reads(data: bytes) -> list[tuple[int, bytes]]:
    file = intelhex.IntelHex(io.StringIO(data.decode()))
    return [(low, bytes(file.tobinstr(start=low, size=high - low))) for low, high in file.segments()]


def intelhex_writes(image: Image) -> bytes:
    file = intelhex.IntelHex()
    for one in image.segments:
        file.puts(one.address, one.data)
    text = io.StringIO()
    file.write_hex_file(text)
    return text.getvalue().encode()


def hexrec_reads(kind: Any) -> Callable[[bytes], list[tuple[int, bytes]]]:
    return lambda data: [(at, bytes(part)) for at, part in kind.parse(io.BytesIO(data)).memory.to_blocks()]


def hexrec_writes(kind: Any) -> Callable[[Image], bytes]:
    def writer(image: Image) -> bytes:
        stream = io.BytesIO()
        kind.from_blocks(segments_of(image)).serialize(stream)
        return stream.getvalue()

    return writer


def objcopy(data: bytes, folder: Path, source: str, target: str) -> bytes:
    program = shutil.which("objcopy")
    assert program is not None
    before, after = folder / "before", folder / "after"
    before.write_bytes(data)
    subprocess.run([program, "-I", source, "-O", target, str(before), str(after)], check=True)
    return after.read_bytes()


THEY_READ: dict[tuple[str, str], Callable[[bytes], list[tuple[int, bytes]]]] = {
    ("Intel HEX", "bincopy"): bincopy_reads("add_ihex"),
    ("Intel HEX", "intelhex"): intelhex_reads,
    ("Intel HEX", "hexrec"): hexrec_reads(hexrec.IhexFile),
}
THEY_WRITE: dict[tuple[str, str], Callable[[Image], bytes]] = {
    ("Intel HEX", "bincopy"): lambda image: by_bincopy(image).as_ihex().encode(),
    ("Intel HEX", "intelhex"): intelhex_writes,
    ("Intel HEX", "hexrec"): hexrec_writes(hexrec.IhexFile),
    ("S-record", "bincopy"): lambda image: by_bincopy(image).as_srec().encode(),
    ("S-record", "bincopy, 24 bits"): lambda image: by_bincopy(image).as_srec(address_length_bits=24).encode(),
    ("S-record", "hexrec"): hexrec_writes(hexrec.SrecFile),
}
WE_WRITE: dict[FileFormat, Callable[[Image], bytes]] = {
    FileFormat.INTEL_HEX: write_intel_hex,
    FileFormat.UF2: lambda image: write_uf2(image, family=F4, whole_pages=False).data,
    FileFormat.DFUSE: write_dfuse,
}


def low(image: Image) -> Image:
    """Return the image moved into 24 bits of address."""
    return Image.of([(one.address & 0xFF_FFFF, one.data) for one in image.segments])


def with_zeros(image: Image) -> bytes:
    """Return the raw bytes as GNU objcopy makes them: it fills gaps with zeros."""
    return image.read(image.start, image.end - image.start, 0)


def test_table_of_formats_and_tools(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    rows: list[tuple[str, str, str, bool]] = []
    for (kind, tool), file in THEIR_FILES.items():
        padded = Image.of([(START, BINARY.ljust(256, b"\0"))])
        rows.append((kind, tool, "wrote, we read", read(file) == (padded if tool == "adafruit-uf2" else IMAGE)))
    for (kind, tool), they_write in THEY_WRITE.items():
        images = [low(IMAGE), low(GAPS)] if "24" in tool else [IMAGE, GAPS]
        same = all(read_image_file(they_write(image), name="x", base=image.start).image == image for image in images)
        rows.append((kind, tool, "wrote, we read", same))
    for (kind, tool), they_read in THEY_READ.items():
        same = all(they_read(write_intel_hex(image)) == segments_of(image) for image in (IMAGE, GAPS))
        rows.append((kind, tool, "read what we wrote", same))
    for kind, we_write in WE_WRITE.items():
        same = all(read_image_file(we_write(image), name="x").image == image for image in (IMAGE, GAPS))
        rows.append((kind, "ours", "read what we wrote", same))
    if shutil.which("objcopy"):
        ours = objcopy(write_intel_hex(GAPS), tmp_path, "ihex", "binary")
        rows.append(("Intel HEX", "GNU objcopy here", "read what we wrote", ours == with_zeros(GAPS)))
        theirs = objcopy(write_intel_hex(GAPS), tmp_path, "ihex", "srec")
        rows.append(("S-record", "GNU objcopy here", "wrote, we read", read_s_record(theirs, name="x").image == GAPS))
    lines = [f"  {kind:16} {tool:18} {how:20} {'same' if same else 'OTHER'}" for kind, tool, how, same in rows]
    with capsys.disabled():
        print("", *lines, sep="\n")  # noqa: T201 - the table is what this test shows
    assert len(rows) >= len(THEIR_FILES) + len(THEY_WRITE) + len(THEY_READ) + len(WE_WRITE)
    assert all(same for *_, same in rows)


@pytest.mark.parametrize("file", THEIR_FILES.values())
def test_packed_files_read_as_the_file_inside(file: str) -> None:
    inner = (IMAGES / file).read_bytes()
    pack = io.BytesIO()
    with zipfile.ZipFile(pack, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("read-me.txt", "What is new in this release: everything.")
        archive.writestr("folder/firmware", inner)
    bare = read_image_file(inner, name="bare")
    for packed, how in ((gzip.compress(inner), "gzip"), (pack.getvalue(), "zip")):
        found = read_image_file(packed, name="packed")
        assert (found.image, found.format, found.packing) == (bare.image, bare.format, (how,))


# --- S-records as printed -------------------------------------------------------------------------------------------

TABLE = csv.DictReader(io.StringIO((DATA / "hex_records.csv").read_text(encoding="ascii")))
RECORDS = [row for row in TABLE if row["format"] == "srec"]
ENDS = {"S1": b"S9030000FC\n", "S2": b"S804000000FB\n", "S3": b"S70500000000FA\n"}
ONE_BYTE = b"S104FF00AA52\n"


@pytest.mark.parametrize(
    "row",
    [row for row in RECORDS if row["verdict"] == "valid" and row["type"] in {"S1", "S2", "S3"}],
    ids=lambda row: row["record"][:12],
)
def test_printed_data_records_give_their_address_and_data(row: dict[str, str]) -> None:
    image = read_s_record(row["record"].encode() + b"\n" + ENDS[row["type"]], name="x").image
    assert image.start == int(row["address"], 16)
    assert image.size_bytes == int(row["data_length"])


@pytest.mark.parametrize("row", [row for row in RECORDS if row["verdict"] != "valid"], ids=lambda row: row["verdict"])
def test_printed_bad_records_are_refused_as_what_they_are(row: dict[str, str]) -> None:
    kinds = {"bad_checksum": SRecordChecksumError, "bad_length": SRecordLengthError, "truncated": SRecordLengthError}
    with pytest.raises(kinds.get(row["verdict"], SRecordLineError)) as caught:
        read_s_record(ONE_BYTE + row["record"].encode() + b"\n" + ENDS["S1"], name="x")
    assert caught.value.facts["line"] == 2
