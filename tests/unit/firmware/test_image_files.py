"""Reading firmware files of any format: what is refused, in which words, and what is said about what is taken."""

from __future__ import annotations

import gzip
import hashlib
import io
import struct
import zipfile
import zlib

import pytest

from rotorwright.errors import ImageError
from rotorwright.firmware.chunks import NoDataError
from rotorwright.firmware.dfu_file import write_dfu, write_dfuse
from rotorwright.firmware.file_errors import (
    BaseImpossibleError,
    BaseNeededError,
    FileCutShortError,
    FileDamagedError,
    FileFormError,
    FileOverlapError,
    FileTooLargeError,
    FormatUnknownError,
    GapTooLargeError,
    SeveralImagesError,
)
from rotorwright.firmware.files import read_image_file
from rotorwright.firmware.image import Image
from rotorwright.firmware.intel_hex import write_intel_hex
from rotorwright.firmware.read_image import FileFormat, ReadImage
from rotorwright.firmware.s_record import (
    SRecordAfterEndError,
    SRecordCountError,
    SRecordCutShortError,
    SRecordOverlapError,
    SRecordTypeError,
)
from rotorwright.firmware.uf2 import write_uf2
from rotorwright.firmware.written import write_raw
from rotorwright.twin.thornbill.images import build_image

F4, H7, RP2350 = 0x5775_5A57, 0x6DB6_6082, 0xE48B_FF59
TWO = Image.of([(0x0800_0000, bytes(range(100))), (0x0800_4000, b"far")])
DEMO = build_image("6.0", "C405", size_bytes=4096)


def read(data: bytes, base: int | None = None) -> ReadImage:
    return read_image_file(data, name="it.bin", base=base)


def refusal(data: bytes, base: int | None = None) -> ImageError:
    with pytest.raises(ImageError) as caught:
        read(data, base)
    assert all((caught.value.what, caught.value.why, caught.value.todo))
    return caught.value


# --- S-records ------------------------------------------------------------------------------------------------------


def srec(kind: int, address: int, data: bytes = b"") -> bytes:
    width = {0: 2, 1: 2, 2: 3, 3: 4, 5: 2, 6: 3, 7: 4, 8: 3, 9: 2, 4: 2}[kind]
    raw = bytes([width + len(data) + 1]) + address.to_bytes(width) + data
    return f"S{kind}".encode() + (raw + bytes([0xFF - sum(raw) & 0xFF])).hex().upper().encode() + b"\n"


def test_all_ten_types_of_s_records_are_known_and_four_is_refused() -> None:
    for data, end in ((1, 9), (2, 8), (3, 7)):
        text = srec(0, 0, b"a name") + srec(data, 0x1000, b"abc") + srec(5, 1) + srec(6, 1) + srec(end, 0x1001)
        found = read(text)
        assert (found.image, found.image.entry) == (Image.of([(0x1000, b"abc")]), 0x1001)
        assert found.notes == ("The header record says: a name.",)
    assert isinstance(refusal(srec(1, 0, b"a") + srec(4, 0) + srec(9, 0)), SRecordTypeError)


def test_an_end_record_with_zero_gives_no_start_address() -> None:
    assert read(srec(1, 0, b"a") + srec(9, 0)).image.entry is None


@pytest.mark.parametrize(
    ("text", "error", "line"),
    [
        (srec(3, 0, b"a") + srec(3, 1, b"b"), SRecordCutShortError, 2),
        (srec(3, 0, b"a") + srec(5, 1) + srec(3, 1, b"b"), SRecordCutShortError, 3),
        (srec(3, 0, b"a") + srec(5, 2) + srec(7, 0), SRecordCountError, 2),
        (srec(3, 0, b"ab") + srec(3, 1, b"b") + srec(7, 0), SRecordOverlapError, 2),
        (srec(3, 0, b"ab") + srec(7, 0) + srec(3, 9, b"b"), SRecordAfterEndError, 3),
        (srec(3, 0, b"ab") + srec(1, 9, b"b") + srec(7, 0), SRecordTypeError, 2),
        (srec(3, 0, b"ab") + srec(9, 0), SRecordTypeError, 2),
        (srec(3, 0, b"ab") + srec(0, 0, b"late") + srec(7, 0), SRecordTypeError, 2),
        (srec(0, 0x800, b"data?") + srec(3, 0, b"ab") + srec(7, 0), SRecordTypeError, 1),
    ],
)
def test_s_records_that_contradict_each_other_are_refused_at_their_line(
    text: bytes, error: type[ImageError], line: int
) -> None:
    found = refusal(text)
    assert type(found) is error
    assert found.facts["line"] == line
    assert {"file", "expected", "found"} <= set(found.facts)


def test_a_right_count_at_the_end_stands_for_the_end_record() -> None:
    assert read(srec(3, 0x0800_0000, b"a") + srec(5, 1)).image.size_bytes == 1


# --- UF2 ------------------------------------------------------------------------------------------------------------


def block(
    number: int, total: int, address: int, payload: bytes, *, flags: int = 0x2000, family: int = F4, tail: bytes = b""
) -> bytes:
    head = struct.pack("<8I", 0x0A324655, 0x9E5D5157, flags, address, len(payload), number, total, family)
    body = (payload + tail).ljust(476, b"\0")
    return head + body[:476] + struct.pack("<I", 0x0AB16F30)


def test_blocks_for_other_memories_and_contained_files_are_skipped_with_a_word() -> None:
    data = block(0, 3, 0x1000, b"code") + block(1, 3, 0, b"file", flags=0x1000) + block(2, 3, 0, b"no", flags=0x2001)
    found = read(data)
    assert found.image == Image.of([(0x1000, b"code")])
    assert any("of contained files are skipped: 1" in note for note in found.notes)
    assert any("not for the main flash are skipped: 1" in note for note in found.notes)


def test_several_families_are_listed_and_none_is_chosen() -> None:
    error = refusal(block(0, 1, 0x0800_0000, b"four") + block(0, 1, 0x0800_0000, b"seven", family=H7))
    assert isinstance(error, SeveralImagesError)
    assert "STM32F4 (0x57755a57), STM32H7 (0x6db66082)" in error.what


def test_the_leading_filler_block_of_one_chip_is_skipped_with_a_word() -> None:
    filler = block(0, 2, 0x10FF_FF00, b"\xef" * 256, family=0xE48B_FF57)
    found = read(filler + block(0, 1, 0x1000_0000, b"code", family=RP2350))
    assert found.image == Image.of([(0x1000_0000, b"code")])
    assert any("leading filler" in note for note in found.notes)


def test_extension_tags_are_told() -> None:
    def tag(number: int, value: bytes) -> bytes:
        size = 4 + len(value)
        return (bytes([size]) + number.to_bytes(3, "little") + value).ljust((size + 3) // 4 * 4, b"\0")

    tail = tag(0x9FC7BC, b"6.0.1") + tag(0x650D9D, b"a device") + tag(0x123456, b"\1\2") + bytes(4)
    notes = read(block(0, 1, 0x1000, b"code", flags=0xA000, tail=tail)).notes
    assert "A tag of the file says: version 6.0.1." in notes
    assert "A tag of the file says: device a device." in notes
    assert "A tag of the file says: tag 123456 0102." in notes


def test_a_right_md5_passes_and_a_wrong_one_is_refused() -> None:
    def with_md5(digest: bytes) -> bytes:
        field = struct.pack("<II", 0x1000, 4) + digest
        return block(0, 1, 0x1000, b"code", flags=0x6000, tail=bytes(476 - 24 - 4) + field)

    right = hashlib.md5(b"code").digest()
    assert read(with_md5(right)).image.size_bytes == 4
    assert isinstance(refusal(with_md5(right[::-1])), FileDamagedError)


@pytest.mark.parametrize(
    ("data", "error"),
    [
        (block(0, 2, 0, b"a"), FileCutShortError),
        (block(0, 2, 0, b"a") + block(1, 3, 1, b"b"), FileFormError),
        (block(0, 2, 0, b"ab") + block(1, 2, 1, b"b"), FileOverlapError),
        (block(0, 2, 0, b"a") + block(0, 2, 0, b"b") + block(1, 2, 9, b"b"), FileFormError),
        (block(2, 2, 0, b"a"), FileFormError),
        (block(0, 1, 0, bytes(477)), FileFormError),
        (block(0, 1, 0xFFFF_FFFF, b"ab"), FileFormError),
        (block(0, 1, 0, b"ab")[:-1], FileCutShortError),
        (block(0, 1, 0, b"ab", flags=1), NoDataError),
    ],
)
def test_blocks_that_cannot_be_are_refused(data: bytes, error: type[ImageError]) -> None:
    found = refusal(data)
    assert type(found) is error
    assert error is NoDataError or {"file", "offset", "expected", "found"} <= set(found.facts)


# --- DfuSe and the suffix -------------------------------------------------------------------------------------------


def dfuse(*targets: tuple[int, list[tuple[int, bytes]]], size_change: int = 0, extra: bytes = b"") -> bytes:
    body = b""
    for alternate, chunks in targets:
        elements = b"".join(struct.pack("<II", at, len(data)) + data for at, data in chunks)
        head = struct.pack("<6sBI255sII", b"Target", alternate, 1, b"memory", len(elements) + size_change, len(chunks))
        body += head + elements
    prefix = struct.pack("<5sBIB", b"DfuSe", 1, 11 + len(body + extra), len(targets))
    return write_with_suffix(prefix + body + extra)


def write_with_suffix(body: bytes) -> bytes:
    raw = body + struct.pack("<HHHH3sB", 0xFFFF, 0xDF11, 0x0483, 0x011A, b"UFD", 16)
    return raw + (zlib.crc32(raw) ^ 0xFFFF_FFFF).to_bytes(4, "little")


def test_all_targets_and_elements_of_a_dfuse_file_make_the_image_and_are_told() -> None:
    found = read(dfuse((0, [(0x0800_0000, b"code"), (0x0800_4000, b"more")]), (1, [(0x1FFF_C000, b"bits")])))
    assert found.image == Image.of([(0x0800_0000, b"code"), (0x0800_4000, b"more"), (0x1FFF_C000, b"bits")])
    assert "Target 'memory' for alternate setting 1: 1 elements, 4 bytes." in found.notes


@pytest.mark.parametrize(
    ("data", "error"),
    [
        (dfuse((0, [(0, b"abc")]), (1, [(2, b"d")])), FileOverlapError),
        (dfuse((0, [(0, b"abc")]), size_change=1), FileFormError),
        (dfuse((0, [(0, b"abc")]), size_change=-1), FileFormError),
        (dfuse((0, [(0, b"abc")]), extra=b"more"), FileFormError),
        (dfuse((0, [])), NoDataError),
        (dfuse(), NoDataError),
        (write_with_suffix(b"not what it says"), FileFormError),
        (write_dfuse(TWO)[:-20], FileCutShortError),
        (write_dfuse(TWO)[:-4] + b"oops", FileDamagedError),
        (write_dfu(b"", vendor=1, product=2), NoDataError),
    ],
)
def test_dfu_files_that_cannot_be_are_refused(data: bytes, error: type[ImageError]) -> None:
    assert type(refusal(data, 0x0800_0000)) is error


# --- raw ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("board", "part"), [("C405", "STM32F405xG"), ("H7", "STM32H743xI")])
def test_a_demo_image_as_raw_bytes_finds_its_base_by_its_vector_table(board: str, part: str) -> None:
    image = build_image("6.0", board)
    found = read(write_raw(image).data)
    assert (found.format, found.image) == (FileFormat.RAW, image)
    assert part in found.notes[0]


def test_raw_bytes_without_a_vector_table_ask_for_the_base() -> None:
    error = refusal(bytes(range(256)))
    assert isinstance(error, BaseNeededError)
    assert "base" in error.todo
    assert read(bytes(range(256)), 0x0800_0000).image == Image.of([(0x0800_0000, bytes(range(256)))])


def image_with_handlers_at(offset: int, *, base: int, code: bytes) -> bytes:
    vectors = [0x2002_0000, *[base + offset + 1] * 15]
    return struct.pack("<16I", *vectors).ljust(offset, b"\0") + code + bytes(0x8000)


def test_a_vector_table_that_makes_sense_at_several_bases_is_not_guessed_and_they_are_listed() -> None:
    error = refusal(image_with_handlers_at(0x5000, base=0x0800_0000, code=b"\0\xbf"))
    assert isinstance(error, BaseNeededError)
    assert "0x08000000" in error.why
    assert "0x08004000" in error.why


def test_among_several_bases_the_one_where_the_shared_handler_is_a_jump_to_itself_is_taken() -> None:
    for base in (0x0800_0000, 0x0800_4000):
        assert read(image_with_handlers_at(0x5000, base=base, code=b"\xfe\xe7")).image.start == base


def test_a_base_that_contradicts_the_vector_table_is_obeyed_and_told() -> None:
    found = read(write_raw(DEMO).data, 0x0801_0000)
    assert found.image.start == 0x0801_0000
    assert any("makes no sense there, but at 0x08000000" in note for note in found.notes)


def test_a_base_outside_of_the_address_space_is_refused() -> None:
    for base in (-1, 0xFFFF_FFFF):
        assert isinstance(refusal(write_raw(DEMO).data, base), BaseImpossibleError)


def test_a_base_for_a_file_with_addresses_is_not_used_and_that_is_said() -> None:
    found = read(write_intel_hex(TWO), 0x0800_8000)
    assert found.image == TWO
    assert any("not used" in note for note in found.notes)


def test_a_raw_file_of_ranges_far_apart_is_not_written() -> None:
    with pytest.raises(GapTooLargeError):
        write_raw(Image.of([(0, b"a"), (0x0800_0000, b"b")]))


# --- recognition and packs ------------------------------------------------------------------------------------------


def zipped(*files: tuple[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    pack = io.BytesIO()
    with zipfile.ZipFile(pack, "w", method) as archive:
        for name, data in files:
            archive.writestr(name, data)
    return pack.getvalue()


HEX = write_intel_hex(TWO)


@pytest.mark.parametrize("name", ["it.uf2", "it.zip", "it", "it.txt", "../../it.elf"])
def test_the_name_decides_nothing(name: str) -> None:
    assert read_image_file(HEX, name=name).format is FileFormat.INTEL_HEX


@pytest.mark.parametrize("base", [None, 0x0800_0000])
def test_text_for_people_is_no_image_even_if_a_base_is_given(base: int | None) -> None:
    for data in (
        b"Dear pilot, this is the change log.\n" * 9,
        b"<html><body>Not found</body></html>",
        b"x",
        b"1234abcd",
    ):
        assert isinstance(refusal(data, base), FormatUnknownError)
    assert isinstance(refusal(b"", base), NoDataError)


def test_a_pack_with_several_images_lists_them_and_chooses_none() -> None:
    error = refusal(zipped(("one.hex", HEX), ("two.bin", write_raw(DEMO).data), ("notes.txt", b"words " * 9)))
    assert isinstance(error, SeveralImagesError)
    assert "one.hex (" in error.what
    assert "two.bin (" in error.what
    assert "notes.txt" not in error.what


def test_what_a_pack_holds_beside_its_one_image_is_said() -> None:
    found = read(zipped(("read-me.txt", b"words " * 9), ("deep/fw", HEX)))
    assert found.image == TWO
    assert any("read-me.txt" in note for note in found.notes)
    assert any("deep/fw" in note for note in found.notes)


def test_a_packed_file_in_a_pack_is_read_and_one_more_pack_is_refused() -> None:
    once = gzip.compress(HEX)
    assert read(zipped(("a", once))).packing == ("zip", "gzip")
    assert isinstance(refusal(gzip.compress(zipped(("a", once)))), FileFormError)


def test_several_gzip_parts_are_one_file_and_rubbish_after_them_is_refused() -> None:
    assert read(gzip.compress(HEX[:40]) + gzip.compress(HEX[40:])).image == TWO
    assert isinstance(refusal(gzip.compress(HEX) + b"rubbish"), FileDamagedError)
    assert isinstance(refusal(gzip.compress(HEX)[:-3]), FileCutShortError)


@pytest.mark.parametrize("method", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_a_pack_by_a_method_whose_cost_is_not_bounded_is_refused(method: int) -> None:
    assert isinstance(refusal(zipped(("a", HEX), method=method)), FileFormError)


def test_a_pack_without_an_image_is_refused() -> None:
    assert isinstance(refusal(zipped(("a.txt", b"only words " * 3))), FileFormError)


def test_a_file_larger_than_any_image_is_refused() -> None:
    assert isinstance(refusal(bytes((1 << 24) + 1), 0), FileTooLargeError)


def test_an_error_inside_a_pack_names_the_file_inside() -> None:
    assert "it.bin: fw.hex, line 1" in refusal(zipped(("fw.hex", b":00" + HEX))).what


def test_a_file_whose_format_has_no_checksum_says_so() -> None:
    plain, packed = write_uf2(TWO, family=F4).data, gzip.compress(write_uf2(TWO, family=F4).data)
    assert not read(plain).is_protected
    assert "damaged" in read(plain).notes[-1]
    assert read(packed).is_protected
