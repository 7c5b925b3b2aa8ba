"""Read and write Intel HEX files.

Source: Intel, Hexadecimal Object File Format Specification, revision A, January 1988. A record is a line: a colon, then
in hexadecimal the number of data bytes, a 16-bit address, the type, the data, and a checksum that makes the sum of all
bytes a multiple of 256.

Where programs differ about what a file means, it is refused rather than guessed: data that runs past the end of a
64 KiB segment (some wrap round, some go on), two start addresses, the same address given twice, data after the end
record, and above all a file without its end record, which is what a download cut short looks like.
"""

from __future__ import annotations

from binascii import unhexlify
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING, Final, TypeVar

from rotorwright.errors import NOTHING_SENT, ImageError
from rotorwright.firmware.image import ADDRESS_SPACE_END, Image, ImageEmptyError
from rotorwright.firmware.intel_hex_quick import read_quickly

if TYPE_CHECKING:
    from rotorwright.errors import Fact

_COLON: Final = ord(":")
_DATA, _END, _SEGMENT_BASE, _SEGMENT_START, _LINEAR_BASE, _LINEAR_START = range(6)
_FRAME_BYTES: Final = 5  # count, address (2), type, checksum: what a record has beside its data
_SEGMENT_BYTES: Final = 0x1_0000
_LARGEST_FILE_BYTES: Final = 1 << 24  # some 6 MiB of data; the largest flash in our table is 2 MiB
_HEX_DIGITS: Final = frozenset(b"0123456789abcdefABCDEF")
_TAKE_AGAIN: Final = (
    "Take the file again from where it is published and compare its length and digest with those given there."
)
_ASK_BUILDER: Final = "Ask whoever built the file for one in plain order; do not write this one."


class HexLineError(ImageError):
    """A line of an Intel HEX file cannot be used. `facts` has the file, the line (from 1), `expected` and `found`."""

    id = "image.hex-line"

    @property
    def line(self) -> int:
        """Number of the line, the first being 1."""
        return int(self.facts["line"] or 0)


class HexNoColonError(HexLineError):
    """A line does not begin with a colon."""

    id = "image.hex-no-colon"


class HexCharacterError(HexLineError):
    """A line has a character that is no hexadecimal digit."""

    id = "image.hex-bad-character"


class HexLengthError(HexLineError):
    """A record has an odd number of digits, or more or fewer bytes than it announces."""

    id = "image.hex-bad-length"


class HexChecksumError(HexLineError):
    """The checksum of a record is wrong."""

    id = "image.hex-checksum"


class HexRecordTypeError(HexLineError):
    """A record has a type that the format does not define."""

    id = "image.hex-record-type"


class HexRecordFormError(HexLineError):
    """A record of another type than data has the wrong number of data bytes."""

    id = "image.hex-record-form"


class HexAddressError(HexLineError):
    """The data of a record runs past the end of its segment or of the 32-bit address space."""

    id = "image.hex-address"


class HexStartConflictError(HexLineError):
    """Two records give two different start addresses."""

    id = "image.hex-two-starts"


class HexOverlapError(HexLineError):
    """Two records give data for the same address."""

    id = "image.hex-overlap"


class HexAfterEndError(HexLineError):
    """Something follows the end record."""

    id = "image.hex-after-end"


class HexCutShortError(HexLineError):
    """The file has no end record. `line` is the last one there is."""

    id = "image.cut-short"


class HexTooLargeError(ImageError):
    """The file is larger than any that a microcontroller of our table could take."""

    id = "image.hex-too-large"


def read_intel_hex(data: bytes, *, name: str) -> Image:
    """Return the image in an Intel HEX file; `name` stands in the messages.

    Records may come in any order. Lower-case digits, LF, CR or CRLF line ends, blank lines and blanks at the end of a
    line are all right. A start address record becomes `Image.entry`.

    Raises:
        HexLineError: a line is damaged, contradicts another, or the end record is missing. Nothing is ever repaired.
        HexTooLargeError: the file has more than 16 MiB.
        ImageEmptyError: the file is sound but has no data.
    """
    if len(data) > _LARGEST_FILE_BYTES:
        raise _too_large(name, len(data))
    return read_quickly(data) or read_intel_hex_by_lines(data, name=name)


def read_intel_hex_by_lines(data: bytes, *, name: str) -> Image:
    """Do what `read_intel_hex` does, line by line: several times slower, and it knows what is wrong with which line."""
    reader = _Reader(name)
    reader.take_lines(data.splitlines())
    return reader.image()


def write_intel_hex(image: Image, *, record_bytes: int = 16) -> bytes:
    """Return `image` as an Intel HEX file: linear addresses, LF line ends, `record_bytes` (1 to 255) in a line."""
    if not 1 <= record_bytes <= 255:
        raise ValueError(f"a record holds 1 to 255 bytes, not {record_bytes}")
    lines: list[str] = []
    base = 0
    for segment in image.segments:
        address = segment.address
        while address < segment.end:
            if address >> 16 != base:
                base = address >> 16
                lines.append(_record(0, _LINEAR_BASE, base.to_bytes(2)))
            end = min(segment.end, (base + 1) << 16)
            page = segment.data[address - segment.address : end - segment.address]
            lines += [
                _record((address + i) & 0xFFFF, _DATA, page[i : i + record_bytes])
                for i in range(0, len(page), record_bytes)
            ]
            address = end
    if image.entry is not None:
        lines.append(_record(0, _LINEAR_START, image.entry.to_bytes(4)))
    lines.append(_record(0, _END, b""))
    return "".join(lines).encode("ascii")


def _record(address: int, kind: int, data: bytes) -> str:
    total = len(data) + (address >> 8) + (address & 0xFF) + kind + sum(data)
    return f":{len(data):02X}{address:04X}{kind:02X}{data.hex().upper()}{-total & 0xFF:02X}\n"


_E = TypeVar("_E", bound=HexLineError)


@dataclass(slots=True)
class _Reader:
    """What is known between two lines. Each chunk keeps its line number, so that an overlap can name both lines."""

    name: str
    chunks: list[tuple[int, int, bytes]] = field(default_factory=list)  # address, line, data
    base: int = 0
    limit: int = _SEGMENT_BYTES  # first address that data may not reach: end of the segment, or of the address space
    entry: int | None = None
    entry_line: int = 0
    end_line: int = 0
    last_line: int = 0

    def take_lines(self, lines: list[bytes]) -> None:
        """Take all lines in. Sound data records, nearly all of a file, are taken here; the rest goes to `_take`."""
        append = self.chunks.append
        for number, line in enumerate(lines, 1):
            try:
                raw = unhexlify(line[1:])
            except ValueError:
                raw = b""
            count = len(raw) - _FRAME_BYTES
            if count > 0 and raw[0] == count and raw[3] == _DATA and line[0] == _COLON and not sum(raw) & 0xFF:
                address = self.base + (raw[1] << 8 | raw[2])
                if address + count <= self.limit and not self.end_line:
                    append((address, number, raw[4:-1]))
                    continue
            self._take(number, line.rstrip(b" \t"))
        self.last_line = len(lines)

    def image(self) -> Image:
        """Return the image, now that all lines are in."""
        if not self.end_line and self.last_line:
            raise self._cut_short()
        self.chunks.sort()
        for (address, line, data), (next_address, next_line, _) in pairwise(self.chunks):
            if next_address < address + len(data):
                raise self._overlap((line, address), (next_line, next_address))
        if not self.chunks:
            raise _no_data(self.name)
        return Image.of(((address, data) for address, _, data in self.chunks), entry=self.entry)

    def _take(self, number: int, line: bytes) -> None:
        if not line:
            return
        if self.end_line:
            raise self._after_end(number)
        raw = self._checked_record(number, line)
        kind = raw[3]
        if kind == _DATA:
            self._take_data(number, raw)
        elif kind == _END:
            self._check_form(number, raw, data_bytes=0)
            self.end_line = number
        elif kind in {_SEGMENT_BASE, _LINEAR_BASE}:
            self._take_base(number, raw)
        elif kind in {_SEGMENT_START, _LINEAR_START}:
            self._take_start(number, raw)
        else:
            raise self._unknown_type(number, kind)

    def _checked_record(self, number: int, line: bytes) -> bytes:
        """Return the bytes of a line whose colon, digits, length and checksum are right."""
        if line[0] != _COLON:
            raise self._no_colon(number, line[0])
        for column, byte in enumerate(line[1:], 2):
            if byte not in _HEX_DIGITS:
                raise self._bad_character(number, column, byte)
        if len(line) % 2 == 0:
            raise self._bad_length(number, f"it has {len(line) - 1} digits", "an even number of digits", len(line) - 1)
        raw = unhexlify(line[1:])
        count = len(raw) - _FRAME_BYTES
        if count < 0:
            raise self._bad_length(number, f"it has {len(raw)} bytes", f"at least {_FRAME_BYTES} bytes", len(raw))
        if raw[0] != count:
            raise self._bad_length(
                number, f"it has {count} data bytes", f"{raw[0]}, as its first byte announces", count
            )
        if sum(raw) & 0xFF:
            raise self._bad_checksum(number, raw)
        return raw

    def _take_data(self, number: int, raw: bytes) -> None:
        address = self.base + int.from_bytes(raw[1:3])
        data = raw[4:-1]
        if address + len(data) > self.limit:
            raise self._bad_address(number, address, len(data))
        if data:
            self.chunks.append((address, number, data))

    def _take_base(self, number: int, raw: bytes) -> None:
        self._check_form(number, raw, data_bytes=2)
        linear = raw[3] == _LINEAR_BASE
        self.base = int.from_bytes(raw[4:6]) << (16 if linear else 4)
        self.limit = ADDRESS_SPACE_END if linear else self.base + _SEGMENT_BYTES

    def _take_start(self, number: int, raw: bytes) -> None:
        self._check_form(number, raw, data_bytes=4)
        high, low = int.from_bytes(raw[4:6]), int.from_bytes(raw[6:8])
        entry = (high << 16 | low) if raw[3] == _LINEAR_START else (high << 4) + low
        if self.entry not in {None, entry}:
            raise self._two_starts(number, entry)
        self.entry, self.entry_line = entry, number

    def _check_form(self, number: int, raw: bytes, *, data_bytes: int) -> None:
        if raw[0] != data_bytes:
            raise self._error(
                HexRecordFormError,
                number,
                f"a record of type {raw[3]:02X} has {data_bytes} data bytes, and this one has {raw[0]}.",
                why="The checksum is right, so whatever wrote the file does not keep to the format.",
                todo=_ASK_BUILDER,
                expected=data_bytes,
                found=raw[0],
            )

    def _no_colon(self, number: int, byte: int) -> HexNoColonError:
        return self._error(
            HexNoColonError,
            number,
            f"it begins with {_shown(byte)} where a colon is expected.",
            why="Every record begins with a colon. The line is damaged, or this is no Intel HEX file.",
            expected=":",
            found=_shown(byte),
        )

    def _bad_character(self, number: int, column: int, byte: int) -> HexCharacterError:
        return self._error(
            HexCharacterError,
            number,
            f"character {column} is {_shown(byte)} where a hexadecimal digit is expected.",
            why="After the colon there are only the digits 0 to 9 and A to F. The line is damaged.",
            expected="0-9, A-F",
            found=_shown(byte),
            column=column,
        )

    def _bad_length(self, number: int, what: str, expected: str, found: int) -> HexLengthError:
        return self._error(
            HexLengthError,
            number,
            f"{what}; expected is {expected}.",
            why="Characters of the line were lost or added, or two lines ran together.",
            expected=expected,
            found=found,
        )

    def _bad_checksum(self, number: int, raw: bytes) -> HexChecksumError:
        needed = -sum(raw[:-1]) & 0xFF
        return self._error(
            HexChecksumError,
            number,
            f"its checksum is {raw[-1]:02X}, and the bytes before it need {needed:02X}.",
            why="At least one byte of the line is not what was written.",
            expected=f"{needed:02X}",
            found=f"{raw[-1]:02X}",
        )

    def _unknown_type(self, number: int, kind: int) -> HexRecordTypeError:
        return self._error(
            HexRecordTypeError,
            number,
            f"its type is {kind:02X}, and the format has only 00 to 05.",
            why="The checksum is right, so the file is of another format or a later one.",
            todo=_ASK_BUILDER,
            expected="00 to 05",
            found=f"{kind:02X}",
        )

    def _bad_address(self, number: int, address: int, length: int) -> HexAddressError:
        return self._error(
            HexAddressError,
            number,
            f"its {length} bytes from {address:#010x} on go past {self.limit - 1:#010x}, where they must end.",
            why="Some programs would go on after that address, others wrap round to the start of the segment.",
            todo=_ASK_BUILDER,
            expected=f"an end below {self.limit:#x}",
            found=f"{address + length:#x}",
        )

    def _two_starts(self, number: int, entry: int) -> HexStartConflictError:
        return self._error(
            HexStartConflictError,
            number,
            f"it gives the start address {entry:#010x}, and line {self.entry_line} gave {self.entry:#010x}.",
            why="A file has one start address at most; two files may have been put together.",
            todo=_ASK_BUILDER,
            expected=f"{self.entry:#010x}",
            found=f"{entry:#010x}",
            other_line=self.entry_line,
        )

    def _overlap(self, one: tuple[int, int], two: tuple[int, int]) -> HexOverlapError:
        (first_line, first_address), (line, address) = sorted((one, two))
        return self._error(
            HexOverlapError,
            line,
            f"its data from {address:#010x} on overlaps that of line {first_line}, from {first_address:#010x} on.",
            why="Two records give data for the same address; which of them is meant cannot be known.",
            todo=_ASK_BUILDER,
            expected="one record for each address",
            found=f"{max(address, first_address):#010x} twice",
            other_line=first_line,
        )

    def _after_end(self, number: int) -> HexAfterEndError:
        return self._error(
            HexAfterEndError,
            number,
            f"there is something here, although line {self.end_line} is the end record.",
            why="Two files may have been put together, or a line was moved.",
            todo=_ASK_BUILDER,
            expected="nothing",
            found="a line",
            other_line=self.end_line,
        )

    def _cut_short(self) -> HexCutShortError:
        return self._error(
            HexCutShortError,
            self.last_line,
            "the file ends here without its end record.",
            why="Its end is missing, as after a download that broke off; half an image must not be written.",
            expected=":00000001FF",
            found="the end of the file",
        )

    def _error(
        self, kind: type[_E], line: int, problem: str, *, why: str, todo: str = _TAKE_AGAIN, **facts: Fact
    ) -> _E:
        return kind(
            f"{self.name}, line {line}: {problem}",
            why=why,
            state=NOTHING_SENT,
            todo=todo,
            file=self.name,
            line=line,
            **facts,
        )


def _shown(byte: int) -> str:
    return f"'{chr(byte)}'" if 0x20 <= byte < 0x7F else f"byte {byte:02X}"


def _too_large(name: str, size_bytes: int) -> HexTooLargeError:
    return HexTooLargeError(
        f"{name} has {size_bytes / 2**20:.0f} MiB, and an Intel HEX file for a microcontroller has at most 16.",
        why="The largest flash that we know has 2 MiB, which makes a file of 6 MiB. This is another kind of file.",
        todo="Choose the firmware image.",
        file=name,
        size_bytes=size_bytes,
    )


def _no_data(name: str) -> ImageEmptyError:
    return ImageEmptyError(
        f"{name} holds no data.",
        why="The file is empty, or has nothing but its end record.",
        todo=_TAKE_AGAIN,
        file=name,
    )
