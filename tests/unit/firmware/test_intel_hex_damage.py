"""Every way to damage a small file that we could think of, walked through whole: an error of ours, or no harm done."""

from __future__ import annotations

import pytest

from rotorwright.errors import ImageError
from rotorwright.firmware.image import Image
from rotorwright.firmware.intel_hex import HexCutShortError, HexLineError, read_intel_hex, write_intel_hex
from rotorwright.twin.thornbill.images import build_image

IMAGE = Image.of([(0x0800_0000, bytes(range(0x60, 0xC0))), (0x0801_0000, b"the second range")], entry=0x0800_0041)
TEXT = write_intel_hex(IMAGE)
LINES = TEXT.splitlines(keepends=True)
DAMAGE = bytes(range(256))
DEMO_TEXT = write_intel_hex(build_image("6.0", "C405", size_bytes=4096))


def outcome(data: bytes) -> Image | ImageError:
    try:
        return read_intel_hex(data, name="damaged.hex")
    except ImageError as error:
        return error


def is_same(result: Image | ImageError) -> bool:
    """Also with the start address, which equality of images leaves out."""
    return isinstance(result, Image) and result == IMAGE and result.entry == IMAGE.entry


@pytest.mark.parametrize("text", [TEXT, DEMO_TEXT, DEMO_TEXT.replace(b"\n", b"\r\n")], ids=["small", "demo", "CRLF"])
def test_a_file_cut_after_any_line_is_called_cut_short_at_that_line(text: bytes) -> None:
    lines = text.splitlines(keepends=True)
    for kept in range(1, len(lines)):
        error = outcome(b"".join(lines[:kept]))
        assert isinstance(error, HexCutShortError)
        assert error.line == kept


def test_a_file_cut_at_any_byte_is_refused_unless_only_the_last_newline_is_gone() -> None:
    for kept in range(len(TEXT) - 1):
        assert isinstance(outcome(TEXT[:kept]), ImageError)
    assert is_same(outcome(TEXT[:-1]))


def test_any_byte_changed_to_any_other_is_refused_on_its_line_or_provably_harmless() -> None:
    line_of = [number for number, line in enumerate(LINES, 1) for _ in line]
    refused = harmless = 0
    for place, right in enumerate(TEXT):
        for wrong in DAMAGE:
            if wrong == right:
                continue
            result = outcome(TEXT[:place] + bytes([wrong]) + TEXT[place + 1 :])
            if isinstance(result, Image):
                assert is_same(result)
                assert is_harmless(right, wrong)
                harmless += 1
            else:
                assert isinstance(result, HexLineError)
                assert result.line in {line_of[place], line_of[place] + 1}  # a changed newline is seen a line later
                refused += 1
    letters = sum(chr(byte).isalpha() for byte in TEXT)
    assert harmless == letters + len(LINES) + 2  # each letter small, each LF to CR, the last LF also to blank or tab
    assert refused == len(TEXT) * 255 - harmless


def is_harmless(right: int, wrong: int) -> bool:
    return chr(right).lower() == chr(wrong) or (right == ord("\n") and wrong in b"\r \t")


def test_any_line_lost_is_refused_or_leaves_its_bytes_out() -> None:
    """A whole lost line cannot be seen by the format: that is what the descriptor's CRC and the digest are for."""
    for lost in range(len(LINES) - 1):
        result = outcome(b"".join(LINES[:lost] + LINES[lost + 1 :]))
        assert isinstance(result, ImageError) or not is_same(result)


def test_any_data_line_doubled_is_refused_with_both_lines() -> None:
    for number, line in enumerate(LINES, 1):
        if line[7:9] != b"00":
            continue
        error = outcome(b"".join([*LINES[:number], line, *LINES[number:]]))
        assert isinstance(error, HexLineError)
        assert (error.line, error.facts.get("other_line")) == (number + 1, number)


def test_any_two_neighbouring_bytes_swapped_are_refused_or_mean_the_same() -> None:
    for place in range(len(TEXT) - 1):
        swapped = TEXT[:place] + TEXT[place + 1 : place + 2] + TEXT[place : place + 1] + TEXT[place + 2 :]
        result = outcome(swapped)
        assert isinstance(result, ImageError) or is_same(result), place


def test_any_byte_lost_or_added_is_refused_or_harmless() -> None:
    for place in range(len(TEXT)):
        for bad in (
            TEXT[:place] + TEXT[place + 1 :],
            *(TEXT[:place] + bytes([x]) + TEXT[place:] for x in b"0:G\n \xff"),
        ):
            result = outcome(bad)
            assert isinstance(result, ImageError) or is_same(result), (place, bad[place])
