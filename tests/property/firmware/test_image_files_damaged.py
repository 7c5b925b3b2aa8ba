"""Damaged files of every format: our error or the right image, and no other exception.

Where a format has no checksum (UF2, ELF, raw), a damaged byte of the payload cannot be seen; then the law is only that
nothing but our errors is raised, and that the notes say that nothing protects the file. The reference page says so too.
"""

from __future__ import annotations

import gzip
import io
import tracemalloc
import zipfile
import zlib
from pathlib import Path
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rotorwright.errors import ImageError
from rotorwright.firmware.dfu_file import write_dfu, write_dfuse
from rotorwright.firmware.files import UNPROTECTED, read_image_file
from rotorwright.firmware.image import Image
from rotorwright.firmware.intel_hex import read_intel_hex_by_lines, write_intel_hex
from rotorwright.firmware.intel_hex_quick import read_quickly
from rotorwright.firmware.read_image import FileFormat, ReadImage
from rotorwright.firmware.uf2 import write_uf2
from rotorwright.firmware.written import write_raw

IMAGES = Path(__file__).parents[2] / "outside" / "data" / "images"
START = 0x0800_0000
BINARY = (IMAGES / "f405.bin").read_bytes()
RIGHT = Image.of([(START, BINARY)])


def zipped(*files: tuple[str, bytes], level: int = zipfile.ZIP_DEFLATED) -> bytes:
    pack = io.BytesIO()
    with zipfile.ZipFile(pack, "w", level) as archive:
        for name, data in files:
            archive.writestr(name, data)
    return pack.getvalue()


def of(name: str) -> bytes:
    return (IMAGES / name).read_bytes()


PROTECTED = {
    "Intel HEX": of("f405.gnu.hex"),
    "Intel HEX, 32 bytes": of("f405.srecord.hex"),
    "S-record": of("f405.gnu.s19"),
    "S-record with count": of("f405.srecord.s19"),
    "DfuSe": of("f405.fwupd.dfu"),
    "DfuSe, whole size": of("f405.dfusepack.dfu"),
    "DFU with suffix": of("f405.suffixed.dfu"),
    "gzip of raw": gzip.compress(BINARY, mtime=0),
    "gzip of HEX": gzip.compress(of("f405.gnu.hex"), mtime=0),
    "zip of ELF": zipped(("image", of("f405.elf"))),
    "zip, stored": zipped(("image", of("f405.gnu.s19")), level=zipfile.ZIP_STORED),
}
UNCHECKED = {"UF2": of("f405.uf2utils.uf2"), "ELF": of("f405.elf"), "raw": BINARY}
ALL = PROTECTED | UNCHECKED
names = pytest.mark.parametrize("name", PROTECTED)
every_name = pytest.mark.parametrize("name", ALL)


def outcome(data: bytes, base: int | None = None) -> ReadImage | ImageError:
    """Return what reading gives; any other exception than ours goes through and fails the test."""
    try:
        return read_image_file(data, name="damaged", base=base)
    except ImageError as error:
        return error


def is_right_or_refused(result: ReadImage | ImageError) -> bool:
    return isinstance(result, ImageError) or result.image == RIGHT


@every_name
def test_sound_files_are_read(name: str) -> None:
    result = outcome(ALL[name])
    assert isinstance(result, ReadImage)
    assert result.image == RIGHT
    assert (UNPROTECTED in result.notes) == (name in UNCHECKED)


@names
@pytest.mark.parametrize("base", [None, START], ids=["no base", "base given"])
def test_any_byte_of_a_file_with_a_checksum_damaged_is_refused_or_harmless(name: str, base: int | None) -> None:
    data, chance = PROTECTED[name], Random(7)
    for place, right in enumerate(data):
        wrongs = {right ^ (1 << bit) for bit in range(8)} | {0, 0xFF, chance.randrange(256)}
        for wrong in wrongs - {right}:
            result = outcome(data[:place] + bytes([wrong]) + data[place + 1 :], base)
            assert is_right_or_refused(result), (place, wrong)


@names
def test_a_file_with_a_checksum_cut_anywhere_is_refused_or_whole(name: str) -> None:
    data = PROTECTED[name]
    for kept in range(len(data)):
        result = outcome(data[:kept])
        if name == "DFU with suffix" and kept < len(data) - 4:
            # Without its mark it cannot be told from raw bytes; then the notes say that nothing protects them.
            assert isinstance(result, ImageError) or UNPROTECTED in result.notes
        else:
            assert is_right_or_refused(result), kept


def test_cut_anywhere_a_uf2_or_elf_file_is_refused_or_whole() -> None:
    # An ELF file may lose what follows its load segments: only section headers are there, and no byte of the image.
    for name in ("UF2", "ELF"):
        for kept in range(len(ALL[name])):
            assert is_right_or_refused(outcome(ALL[name][:kept])), (name, kept)


def test_a_dfuse_file_with_a_damaged_mark_and_without_its_end_does_not_pass_for_raw_bytes() -> None:
    data = PROTECTED["DfuSe"][:-20]
    for place in range(6):
        assert isinstance(outcome(data[:place] + b"?" + data[place + 1 :], START), ImageError)


def test_a_file_of_many_blocks_that_lost_one_is_refused() -> None:
    image = Image.of([(START, Random(1).randbytes(5000))])
    data = write_uf2(image, family=None, whole_pages=False).data
    for lost in range(0, len(data), 512):
        assert isinstance(outcome(data[:lost] + data[lost + 512 :]), ImageError)


def test_the_order_and_the_repetition_of_blocks_do_not_matter() -> None:
    image = Image.of([(START, Random(1).randbytes(5000))])
    data = write_uf2(image, family=None, whole_pages=False).data
    blocks = [data[at : at + 512] for at in range(0, len(data), 512)]
    Random(2).shuffle(blocks)
    found = outcome(b"".join([*blocks, *blocks[:3]]))
    assert isinstance(found, ReadImage)
    assert found.image == image
    assert any("not in order" in note for note in found.notes)
    assert any("same content: 3" in note for note in found.notes)


@every_name
@settings(max_examples=150, deadline=None)
@given(
    damage=st.lists(st.tuples(st.integers(0, 2000), st.binary(max_size=6), st.integers(0, 8)), min_size=1, max_size=4)
)
def test_any_damage_raises_nothing_but_our_errors(name: str, damage: list[tuple[int, bytes, int]]) -> None:
    data = ALL[name]
    for place, put, dropped in damage:
        at = place % (len(data) + 1)
        data = data[:at] + put + data[at + dropped :]
    outcome(data)
    outcome(data, START)


@pytest.mark.parametrize("name", UNCHECKED)
def test_any_byte_of_a_file_without_a_checksum_damaged_raises_nothing_but_our_errors(name: str) -> None:
    for place, right in enumerate(UNCHECKED[name]):
        for wrong in {right ^ (1 << bit) for bit in range(8)} | {0, 0xFF}:
            outcome(UNCHECKED[name][:place] + bytes([wrong]) + UNCHECKED[name][place + 1 :])


@settings(max_examples=300, deadline=None)
@given(
    st.sampled_from(
        [b"", b"\x7fELF\x01\x01\x01", b"UF2\nWQ]\x9e", b"DfuSe\x01", b"PK\x03\x04", b"\x1f\x8b\x08", b":", b"S1"]
    ),
    st.binary(max_size=600),
)
def test_any_bytes_after_any_mark_raise_nothing_but_our_errors(mark: bytes, rest: bytes) -> None:
    outcome(mark + rest)
    outcome(rest + b"UFD\x10" + rest[:4])


# --- round trips ----------------------------------------------------------------------------------------------------


@st.composite
def images(draw: st.DrawFn) -> Image:
    address = draw(st.sampled_from([0, 0x0800_0000, 0x1000_00F3, 0xFFFE_0000]))
    chunks = []
    for _ in range(draw(st.integers(1, 5))):
        address += draw(st.integers(0, 9000))
        data = draw(st.binary(min_size=1, max_size=700))
        chunks.append((address, data))
        address += len(data)
    return Image.of(chunks)


@settings(deadline=None)
@given(images())
def test_what_is_written_in_any_format_reads_back_the_same_and_is_recognised(image: Image) -> None:
    written = {
        FileFormat.INTEL_HEX: write_intel_hex(image),
        FileFormat.UF2: write_uf2(image, family=0x5775_5A57, whole_pages=False).data,
        FileFormat.DFUSE: write_dfuse(image, target_name="flash"),
    }
    for kind, data in written.items():
        for packed in (data, gzip.compress(data), zipped(("a", data))):
            found = read_image_file(packed, name="x")
            assert (found.format, found.image) == (kind, image)


@settings(deadline=None)
@given(images())
def test_raw_and_whole_pages_keep_every_byte_and_fill_the_rest_with_erased_flash(image: Image) -> None:
    raw, notes = write_raw(image)
    assert raw == image.read(image.start, image.end - image.start)
    assert any("filled" in note for note in notes) == (len(raw) > image.size_bytes)
    pages = read_image_file(write_uf2(image, family=None).data, name="x").image
    assert pages.read(pages.start, pages.end - pages.start) == image.read(pages.start, pages.end - pages.start)
    assert all(one.address % 256 == len(one.data) % 256 == 0 for one in pages.segments)


def test_a_suffixed_file_reads_back_at_the_base_that_was_given() -> None:
    data = write_dfu(bytes(range(200)), vendor=0xFFFF, product=0xFFFF)
    found = read_image_file(data, name="x", base=0x0800_4000)
    assert (found.format, found.image) == (FileFormat.DFU, Image.of([(0x0800_4000, bytes(range(200)))]))


# --- the quick way through a HEX file -------------------------------------------------------------------------------

BIG = write_intel_hex(Image.of([(START, Random(5).randbytes(3000)), (START + 0x2_0000, b"x" * 77)], entry=0x0800_0041))


@settings(max_examples=400, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.integers(0, len(BIG)),
            st.sampled_from(
                [
                    b"",
                    b":",
                    b"\n",
                    b"\r\n",
                    b" ",
                    b"0",
                    b"F",
                    b":00000001FF\n",
                    b":020000040801F1\n",
                    b":020000021000EC\n",
                    b":0400000508000045AA\n",
                    b":0100000001FE\n",
                ]
            ),
            st.integers(0, 3),
        ),
        max_size=3,
    ),
    st.booleans(),
)
def test_what_the_quick_way_takes_the_reader_by_lines_takes_with_the_same_result(
    damage: list[tuple[int, bytes, int]], whole_lines: bool
) -> None:
    data = BIG
    for at, put, dropped in damage:
        place = data.find(b"\n", at) + 1 if whole_lines else at
        data = data[:place] + put + data[place + (0 if whole_lines else dropped) :]
    quick = read_quickly(data)
    if quick is not None:
        by_lines = read_intel_hex_by_lines(data, name="x")
        assert (quick, quick.entry) == (by_lines, by_lines.entry)


@pytest.mark.parametrize("data", [BIG, BIG.replace(b"\n", b"\r\n"), BIG.lower()], ids=["LF", "CRLF", "small letters"])
def test_plain_sound_files_take_the_quick_way(data: bytes) -> None:
    assert read_quickly(data) is not None


def hex_record(kind: int, address: int, data: bytes) -> bytes:
    raw = bytes([len(data)]) + address.to_bytes(2) + bytes([kind]) + data
    return b":" + (raw + bytes([-sum(raw) & 0xFF])).hex().upper().encode() + b"\n"


ODD = {
    "two start addresses": hex_record(5, 0, b"\0\0\0\1") + BIG,
    "data past its segment": hex_record(2, 0, b"\x10\0") + hex_record(0, 0xFFFF, b"ab") + BIG,
    "data past all addresses": hex_record(4, 0, b"\xff\xff") + hex_record(0, 0xFFFF, b"ab") + BIG,
    "a base of three bytes": hex_record(4, 0, b"\0\0\0") + BIG,
    "an unknown type": hex_record(6, 0, b"") + BIG,
    "colons inside of a line": BIG.replace(b"F", b"F" + b":" * 12, 1),
    "returns inside of a line": BIG.replace(b"F", b"F" + b"\r" * 12, 1),
    "a wrong checksum": BIG[:30] + (b"0" if BIG[30:31] != b"0" else b"1") + BIG[31:],
    "no end record": BIG.replace(b":00000001FF\n", b""),
    "two end records": BIG + b":00000001FF\n",
    "no last newline": BIG[:-1],
    "a blank line": BIG.replace(b"\n", b"\n\n", 1),
    "an overlap": hex_record(4, 0, b"\x08\0") + hex_record(0, 8, b"twice") + BIG,
}


@pytest.mark.parametrize("name", ODD)
def test_anything_odd_is_left_to_the_reader_by_lines(name: str) -> None:
    assert read_quickly(ODD[name]) is None


# --- hostile headers ------------------------------------------------------------------------------------------------

FOUR_GIB = (0xFFFF_FFFF).to_bytes(4, "little")


def patched(data: bytes, at: int, value: bytes) -> bytes:
    return data[:at] + value + data[at + len(value) :]


def with_new_crc(data: bytes) -> bytes:
    return data[:-4] + (zlib.crc32(data[:-4]) ^ 0xFFFF_FFFF).to_bytes(4, "little")


def aliasing_elf() -> bytes:
    """Return a small ELF file whose 1000 load segments all claim the same bytes of it."""
    elf, count = of("f405.elf"), 1000
    header = patched(patched(elf[:52], 28, (52).to_bytes(4, "little")), 44, count.to_bytes(2, "little"))
    load = b"".join(
        (1).to_bytes(4, "little") + bytes(8) + (START + index * 0x1_0000).to_bytes(4, "little")
        + (30_000).to_bytes(4, "little") + bytes(12) for index in range(count)
    )  # fmt: skip
    return header + load


HOSTILE = {
    "UF2 of 4 G blocks": patched(of("f405.uf2utils.uf2"), 24, FOUR_GIB),
    "UF2 block with 4 GiB": patched(of("f405.uf2utils.uf2"), 16, FOUR_GIB),
    "DfuSe element of 4 GiB": with_new_crc(patched(of("f405.fwupd.dfu"), 11 + 274 + 4, FOUR_GIB)),
    "DfuSe of 4 G elements": with_new_crc(patched(of("f405.fwupd.dfu"), 11 + 270, FOUR_GIB)),
    "DfuSe file of 4 GiB": with_new_crc(patched(of("f405.fwupd.dfu"), 6, FOUR_GIB)),
    "ELF segment of 4 GiB": patched(of("f405.elf"), 52 + 16, FOUR_GIB),
    "ELF of a thousand segments in the same place": aliasing_elf(),
    "zip that claims 4 GiB": patched(zipped(("a", b":")), 22, FOUR_GIB),
    "gzip that claims 4 GiB": gzip.compress(b"x" * 40)[:-4] + FOUR_GIB,
    "gzip bomb": gzip.compress(bytes(200 << 20), 9),
    "gzip bomb in a zip": zipped(("a", gzip.compress(bytes(100 << 20), 9))),
    "zip bomb": zipped(("a", bytes(100 << 20))),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_header_is_refused_at_the_cost_of_no_memory(name: str) -> None:
    read_image_file(of("f405.elf"), name="warm")  # what is imported at the first use does not count
    tracemalloc.start()
    try:
        with pytest.raises(ImageError):
            read_image_file(HOSTILE[name], name=name)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < 3 * len(HOSTILE[name]) + (1 << 20)
