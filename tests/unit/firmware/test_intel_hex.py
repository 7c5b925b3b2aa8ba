from __future__ import annotations

import pytest

from rotorwright.errors import ImageError
from rotorwright.firmware.image import Image, ImageEmptyError, Segment
from rotorwright.firmware.intel_hex import (
    HexAddressError,
    HexAfterEndError,
    HexCharacterError,
    HexChecksumError,
    HexCutShortError,
    HexLengthError,
    HexLineError,
    HexNoColonError,
    HexOverlapError,
    HexRecordFormError,
    HexRecordTypeError,
    HexStartConflictError,
    HexTooLargeError,
    read_intel_hex,
    write_intel_hex,
)


def record(kind: int, address: int = 0, data: bytes = b"") -> bytes:
    raw = bytes([len(data)]) + address.to_bytes(2) + bytes([kind]) + data
    return b":" + (raw + bytes([-sum(raw) & 0xFF])).hex().upper().encode() + b"\n"


END = record(1)


def read(*lines: bytes) -> Image:
    return read_intel_hex(b"".join(lines), name="small.hex")


def refusal(*lines: bytes) -> HexLineError:
    with pytest.raises(HexLineError) as caught:
        read(*lines)
    return caught.value


def test_addresses_without_a_base_are_sixteen_bits() -> None:
    assert read(record(0, 0x0100, b"abc"), END).segments == (Segment(0x100, b"abc"),)


def test_a_linear_base_gives_the_upper_half_of_the_address() -> None:
    assert read(record(4, data=b"\x08\x00"), record(0, 0x10, b"abc"), END).start == 0x0800_0010


def test_a_segment_base_counts_sixteen_bytes_each() -> None:
    assert read(record(2, data=b"\x12\x00"), record(0, 0x10, b"abc"), END).start == 0x1_2010


def test_a_base_holds_until_the_next_one_of_either_kind() -> None:
    image = read(
        record(4, data=b"\x08\x00"),
        record(0, 0, b"a"),
        record(2, data=b"\x10\x00"),
        record(0, 0, b"b"),
        record(4, data=b"\x00\x00"),
        record(0, 0, b"c"),
        END,
    )
    assert [(one.address, one.data) for one in image.segments] == [(0, b"c"), (0x1_0000, b"b"), (0x0800_0000, b"a")]


def test_a_linear_start_address_becomes_the_entry() -> None:
    assert read(record(0, 0, b"a"), record(5, data=b"\x08\x00\x00\x41"), END).entry == 0x0800_0041


def test_a_segmented_start_address_becomes_the_entry() -> None:
    assert read(record(3, data=b"\x12\x34\x00\x05"), record(0, 0, b"a"), END).entry == 0x1_2345


def test_the_same_start_address_twice_is_no_contradiction() -> None:
    start = record(5, data=b"\x08\x00\x00\x41")
    assert read(record(0, 0, b"a"), start, start, END).entry == 0x0800_0041


def test_records_may_come_in_any_order() -> None:
    assert read(record(0, 4, b"cd"), record(0, 0, b"ab"), record(0, 2, b"xx"), END).segments == (Segment(0, b"abxxcd"),)


def test_a_record_without_data_adds_nothing() -> None:
    assert read(record(0, 0x20), record(0, 0, b"ab"), END).segments == (Segment(0, b"ab"),)


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text.lower(),
        lambda text: text.replace(b"\n", b"\r\n"),
        lambda text: text.replace(b"\n", b"\r"),
        lambda text: text + b"\r\n\n  \n\t\n",
        lambda text: text.replace(b"\n", b" \t\n"),
        lambda text: text.replace(b"\n", b"\n\n"),
        lambda text: text.rstrip(b"\n"),
    ],
    ids=[
        "lower case",
        "CRLF",
        "CR",
        "blank lines behind",
        "blanks at line ends",
        "blank lines between",
        "no last newline",
    ],
)
def test_what_does_not_change_the_meaning_is_accepted(change: object) -> None:
    text = record(4, data=b"\x08\x00") + record(0, 0, bytes(range(0xA0, 0xB0))) + END
    assert callable(change)
    assert read(change(text)) == read(text)


@pytest.mark.parametrize(
    ("bad", "kind", "words"),
    [
        (b"0300000061626310\n", HexNoColonError, "begins with '0' where a colon"),
        (b"\xef\xbb\xbf:00000001FF\n", HexNoColonError, "byte EF"),
        (b" :00000001FF\n", HexNoColonError, "' '"),
        (b":0300000061626G10\n", HexCharacterError, "character 15 is 'G'"),
        (b":03000000 616263D7\n", HexCharacterError, "character 10 is ' '"),
        (b":0300000061\xff63D7\n", HexCharacterError, "byte FF"),
        (b":03000000616263D\n", HexLengthError, "15 digits"),
        (b":\n", HexLengthError, "0 bytes"),
        (b":00000001\n", HexLengthError, "4 bytes"),
        (b":02000000616263D7\n", HexLengthError, "3 data bytes; expected is 2"),
        (b":04000000616263D7\n", HexLengthError, "3 data bytes; expected is 4"),
        (b":02000000616263D8\n", HexLengthError, "3 data bytes; expected is 2"),  # the checksum agrees with the count
        (b":03000000616263D8\n", HexChecksumError, "checksum is D8, and the bytes before it need D7"),
        (record(6), HexRecordTypeError, "type is 06"),
        (record(0xFF, data=b"a"), HexRecordTypeError, "type is FF"),
        (record(1, data=b"a"), HexRecordFormError, "type 01 has 0 data bytes, and this one has 1"),
        (record(2, data=b"a"), HexRecordFormError, "type 02 has 2 data bytes"),
        (record(3, data=b"ab"), HexRecordFormError, "type 03 has 4 data bytes"),
        (record(4, data=b"abc"), HexRecordFormError, "type 04 has 2 data bytes"),
        (record(5, data=b"abcde"), HexRecordFormError, "type 05 has 4 data bytes"),
    ],
    ids=str,
)
def test_a_damaged_line_is_refused_with_its_number_and_what_is_wrong(
    bad: bytes, kind: type[HexLineError], words: str
) -> None:
    error = refusal(record(4, data=b"\x08\x00"), b"\n", bad, END)
    assert type(error) is kind
    assert error.line == 3
    assert error.what.startswith("small.hex, line 3: ")
    assert words in error.what
    assert {"expected", "found", "file"} <= error.facts.keys()


def test_a_file_without_its_end_record_is_called_cut_short() -> None:
    error = refusal(record(4, data=b"\x08\x00"), record(0, 0, b"abc"))
    assert isinstance(error, HexCutShortError)
    assert (error.id, error.line) == ("image.cut-short", 2)


@pytest.mark.parametrize("after", [record(0, 0, b"abc"), END, b"rubbish\n", b"\x1a"])
def test_anything_after_the_end_record_is_refused(after: bytes) -> None:
    error = refusal(record(0, 8, b"abc"), END, b"\n", after)
    assert isinstance(error, HexAfterEndError)
    assert (error.line, error.facts["other_line"]) == (4, 2)


@pytest.mark.parametrize("text", [b"", END, b"\n" + END, record(4, data=b"\x08\x00") + record(0, 5) + END])
def test_a_sound_file_without_data_is_refused(text: bytes) -> None:
    with pytest.raises(ImageEmptyError, match=r"small\.hex holds no data"):
        read(text)


@pytest.mark.parametrize("data", [b"abcd", b"xxxx"], ids=["same bytes", "other bytes"])
def test_two_records_for_one_address_are_refused_with_both_lines(data: bytes) -> None:
    error = refusal(record(0, 0x10, b"abcd"), record(0, 0x30, b"more"), record(0, 0x13, data), END)
    assert isinstance(error, HexOverlapError)
    assert (error.line, error.facts["other_line"]) == (3, 1)
    assert "line 1" in error.what


def test_an_overlap_names_the_later_line_whichever_lies_lower() -> None:
    error = refusal(record(0, 0x13, b"abcd"), record(0, 0x10, b"abcd"), END)
    assert (error.line, error.facts["other_line"]) == (2, 1)


def test_an_overlap_through_two_kinds_of_base_is_seen() -> None:
    lines = [record(4, data=b"\x00\x01"), record(0, 0, b"a"), record(2, data=b"\x10\x00"), record(0, 0, b"a"), END]
    assert isinstance(refusal(*lines), HexOverlapError)


def test_two_start_addresses_are_refused() -> None:
    lines = [record(5, data=b"\x08\x00\x00\x41"), record(0, 0, b"a"), record(5, data=b"\x08\x00\x00\x43"), END]
    error = refusal(*lines)
    assert isinstance(error, HexStartConflictError)
    assert (error.line, error.facts["other_line"]) == (3, 1)


@pytest.mark.parametrize(
    "lines",
    [
        [record(0, 0xFFFE, b"abc")],
        [record(2, data=b"\x12\x00"), record(0, 0xFFFE, b"abc")],
        [record(4, data=b"\xff\xff"), record(0, 0xFFFE, b"abc")],
    ],
    ids=["no base", "segment base", "end of all addresses"],
)
def test_data_past_the_end_of_its_segment_is_refused_because_programs_differ(lines: list[bytes]) -> None:
    error = refusal(*lines, END)
    assert isinstance(error, HexAddressError)
    assert error.line == len(lines)


def test_data_may_run_past_64_kib_of_linear_addresses() -> None:
    image = read(record(4, data=b"\x08\x00"), record(0, 0xFFFE, b"abc"), END)
    assert image.segments == (Segment(0x0800_FFFE, b"abc"),)


def test_a_file_far_too_large_is_refused_unread() -> None:
    with pytest.raises(HexTooLargeError):
        read(b"\n" * ((1 << 24) + 1))


def test_a_file_of_the_largest_size_is_still_read() -> None:
    with pytest.raises(HexCutShortError):
        read(b"\n" * (1 << 20))


def test_each_error_belongs_to_the_image_family_and_answers_what_to_do() -> None:
    error = refusal(b"rubbish")
    assert isinstance(error, ImageError)
    assert all((error.what, error.why, error.state, error.todo))
    assert error.exit_code == 5


def test_a_written_file_has_bases_sixteen_bytes_in_a_line_start_and_end() -> None:
    image = Image.of([(0x0800_FFF8, bytes(range(24)))], entry=0x0800_0041)
    assert write_intel_hex(image).splitlines() == [
        b":020000040800F2",
        b":08FFF8000001020304050607E5",
        b":020000040801F1",
        b":1000000008090A0B0C0D0E0F1011121314151617F8",
        b":0400000508000041AE",
        b":00000001FF",
    ]


def test_the_record_size_can_be_chosen() -> None:
    image = Image.of([(0x10, bytes(40))])
    assert len(write_intel_hex(image, record_bytes=32).splitlines()) == 3
    for size in (1, 255):
        assert read_intel_hex(write_intel_hex(image, record_bytes=size), name="x") == image
    for size in (0, 256):
        with pytest.raises(ValueError, match="1 to 255"):
            write_intel_hex(image, record_bytes=size)


def test_low_addresses_need_no_base_record() -> None:
    assert write_intel_hex(Image.of([(0, b"a")])).splitlines()[0].startswith(b":01000000")
