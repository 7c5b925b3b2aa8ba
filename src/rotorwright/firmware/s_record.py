"""Read Motorola S-record files.

Source: Motorola, M68000 Family Programmer's Reference Manual, appendix C (S-record output format). A record is a line:
the letter S, a digit for the type, then in hexadecimal the number of bytes that follow, an address of 2, 3 or 4 bytes,
the data, and a checksum that makes the sum of all bytes from the count on 255 modulo 256.

Types: 0 header, 1, 2, 3 data with addresses of 16, 24, 32 bits, 5 and 6 the number of data records so far (16 and 24
bits), 7, 8, 9 end with a start address of 32, 24, 16 bits. 4 is reserved.

The checksum does not cover the digit of the type, so the types have to bear each other out: all data records of a file
are of one type, its end record is of the one that belongs to it (S9, S8, S7 to S1, S2, S3), and a header comes first
and has the address 0. Files that mix types on purpose exist, and are refused.

A file must end in an end record, or in a count record that is right: some writers leave the end record out when there
is no start address, and a right count shows as well that nothing is missing.
"""

from __future__ import annotations

from binascii import unhexlify
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING, Final, TypeVar

from rotorwright.errors import NOTHING_SENT, ImageError
from rotorwright.firmware.chunks import no_data
from rotorwright.firmware.file_errors import ASK_BUILDER, LARGEST_IMAGE_BYTES, TAKE_AGAIN, too_large
from rotorwright.firmware.image import ADDRESS_SPACE_END, Image
from rotorwright.firmware.read_image import FileFormat, ReadImage

if TYPE_CHECKING:
    from rotorwright.errors import Fact

_ADDRESS_BYTES: Final = {0: 2, 1: 2, 2: 3, 3: 4, 5: 2, 6: 3, 7: 4, 8: 3, 9: 2}
_HEX_DIGITS: Final = frozenset(b"0123456789abcdefABCDEF")
_LONGEST_TEXT: Final = 60


class SRecordLineError(ImageError):
    """A line of an S-record file cannot be used. `facts` has the file, the line (from 1), `expected` and `found`."""

    id = "image.srec-line"


class SRecordCharacterError(SRecordLineError):
    """A line does not begin with S and a digit, or has a character that is no hexadecimal digit."""

    id = "image.srec-bad-character"


class SRecordLengthError(SRecordLineError):
    """A record has an odd number of digits, or more or fewer bytes than it announces."""

    id = "image.srec-bad-length"


class SRecordChecksumError(SRecordLineError):
    """The checksum of a record is wrong."""

    id = "image.srec-checksum"


class SRecordTypeError(SRecordLineError):
    """A record has the reserved type 4, or a type that does not go with those of the other records."""

    id = "image.srec-record-type"


class SRecordCountError(SRecordLineError):
    """A count record names another number of data records than there are before it."""

    id = "image.srec-count"


class SRecordAddressError(SRecordLineError):
    """The data of a record runs past the 32-bit address space."""

    id = "image.srec-address"


class SRecordOverlapError(SRecordLineError):
    """Two records give data for the same address."""

    id = "image.srec-overlap"


class SRecordAfterEndError(SRecordLineError):
    """Something follows the end record."""

    id = "image.srec-after-end"


class SRecordCutShortError(SRecordLineError):
    """The file ends without an end record and without a count."""

    id = "image.srec-cut-short"


def read_s_record(data: bytes, *, name: str) -> ReadImage:
    """Return the image in an S-record file; `name` stands in the messages.

    The start address of the end record becomes `Image.entry`; 0 is what writers put where there is none (common
    practice, no source).

    Raises:
        SRecordLineError: a line is damaged or contradicts another, or the end is missing. Nothing is ever repaired.
        FileTooLargeError: the file has more than 16 MiB.
        NoDataError: the file is sound but has no data.
    """
    if len(data) > LARGEST_IMAGE_BYTES:
        raise too_large(name, len(data))
    reader = _Reader(name)
    for number, line in enumerate(data.splitlines(), 1):
        reader.take(number, line.rstrip(b" \t"))
    return reader.result()


_E = TypeVar("_E", bound=SRecordLineError)


@dataclass(slots=True)
class _Reader:
    name: str
    chunks: list[tuple[int, int, bytes]] = field(default_factory=list)  # address, line, data
    records: int = 0  # data records, also those without data
    entry: int | None = None
    width: int = 0  # type of the data records
    end_line: int = 0
    last_line: int = 0
    is_counted: bool = False  # the last record was a right count
    notes: list[str] = field(default_factory=list)

    def take(self, number: int, line: bytes) -> None:
        """Take one line in."""
        self.last_line = number
        if not line:
            return
        if self.end_line:
            raise self._after_end(number)
        kind, address, data = self._checked_record(number, line)
        self.is_counted = False
        if kind in {1, 2, 3}:
            self._check_type(number, kind, kind)
            self._take_data(number, address, data)
        elif kind in {5, 6}:
            self._take_count(number, address)
        elif kind == 0:
            self._take_header(number, address, data)
        else:
            self._check_type(number, kind, 10 - kind)
            self.end_line, self.entry = number, address or None

    def result(self) -> ReadImage:
        """Return the image, now that all lines are in."""
        if self.last_line and not self.end_line and not self.is_counted:
            raise self._error(
                SRecordCutShortError,
                self.last_line,
                "the file ends here without its end record.",
                why="Its end is missing, as after a download that broke off; half an image must not be written.",
                expected="a record S7, S8 or S9, or a count",
                found="the end of the file",
            )
        self.chunks.sort()
        for (address, line, data), (next_address, next_line, _) in pairwise(self.chunks):
            if next_address < address + len(data):
                raise self._overlap(min(line, next_line), max(line, next_line), next_address)
        if not self.chunks:
            raise no_data(self.name)
        image = Image.of(((address, data) for address, _, data in self.chunks), entry=self.entry)
        return ReadImage(image, FileFormat.S_RECORD, tuple(self.notes))

    def _take_data(self, number: int, address: int, data: bytes) -> None:
        self.records += 1
        if address + len(data) > ADDRESS_SPACE_END:
            raise self._error(
                SRecordAddressError,
                number,
                f"its {len(data)} bytes from {address:#010x} on go past the 32-bit address space.",
                why="Whatever wrote the file does not keep to the format.",
                todo=ASK_BUILDER,
                expected=f"an end of at most {ADDRESS_SPACE_END:#x}",
                found=f"{address + len(data):#x}",
            )
        if data:
            self.chunks.append((address, number, data))

    def _take_count(self, number: int, count: int) -> None:
        if count != self.records:
            raise self._error(
                SRecordCountError,
                number,
                f"it counts {count} data records, and {self.records} stand before it.",
                why="Lines were lost or added on the way.",
                expected=count,
                found=self.records,
            )
        self.is_counted = True

    def _check_type(self, number: int, kind: int, width: int) -> None:
        """Refuse a record that belongs to data records of another type than those before it."""
        self.width = self.width or width
        if width != self.width:
            raise self._bad_type(number, f"S{kind}", f"S{self.width} or S{10 - self.width}")

    def _take_header(self, number: int, address: int, data: bytes) -> None:
        if address or self.width:
            raise self._bad_type(number, "S0", f"S{self.width}" if self.width else "a header with the address 0")
        text = "".join(chr(byte) for byte in data.strip(b" \0") if 0x20 <= byte < 0x7F)[:_LONGEST_TEXT]
        if text:
            self.notes.append(f"The header record says: {text}.")

    def _checked_record(self, number: int, line: bytes) -> tuple[int, int, bytes]:
        """Return type, address and data of a line whose letters, digits, length and checksum are right."""
        for column, byte in enumerate(line, 1):
            allowed = (column == 1 and byte == ord("S")) or (column > 1 and byte in _HEX_DIGITS)
            if not allowed or (column == 2 and byte not in b"0123456789"):
                raise self._bad_character(number, column, byte)
        if len(line) < 4 or len(line) % 2:
            raise self._bad_length(number, f"{len(line)} characters", "an even number of at least 4")
        kind, raw = line[1] - ord("0"), unhexlify(line[2:])
        if raw[0] != len(raw) - 1:
            raise self._bad_length(number, f"{len(raw) - 1} bytes", f"{raw[0]}, as it announces")
        if sum(raw) & 0xFF != 0xFF:
            raise self._bad_checksum(number, raw)
        width = _ADDRESS_BYTES.get(kind)
        if width is None:
            raise self._bad_type(number, "S4", "S0 to S3, S5 to S9")
        if len(raw) < width + 2 or (kind >= 5 and len(raw) != width + 2):
            raise self._bad_length(number, f"{len(raw) - 1} bytes", f"{width + 1}, as a record S{kind} needs")
        return kind, int.from_bytes(raw[1 : 1 + width]), raw[1 + width : -1]

    def _bad_character(self, number: int, column: int, byte: int) -> SRecordCharacterError:
        shown = f"'{chr(byte)}'" if 0x20 <= byte < 0x7F else f"byte {byte:02X}"
        expected = "S" if column == 1 else "0-9" if column == 2 else "0-9, A-F"
        return self._error(
            SRecordCharacterError,
            number,
            f"character {column} is {shown}; expected is {expected}.",
            why="The line is damaged, or this is no S-record file.",
            expected=expected,
            found=shown,
            column=column,
        )

    def _bad_length(self, number: int, found: str, expected: str) -> SRecordLengthError:
        return self._error(
            SRecordLengthError,
            number,
            f"it has {found}; expected is {expected}.",
            why="Characters of the line were lost or added, or two lines ran together.",
            expected=expected,
            found=found,
        )

    def _bad_checksum(self, number: int, raw: bytes) -> SRecordChecksumError:
        needed = 0xFF - sum(raw[:-1]) & 0xFF
        return self._error(
            SRecordChecksumError,
            number,
            f"its checksum is {raw[-1]:02X}, and the bytes before it need {needed:02X}.",
            why="At least one byte of the line is not what was written.",
            expected=f"{needed:02X}",
            found=f"{raw[-1]:02X}",
        )

    def _bad_type(self, number: int, found: str, expected: str) -> SRecordTypeError:
        return self._error(
            SRecordTypeError,
            number,
            f"its type {found} does not belong here; expected is {expected}.",
            why="The checksum does not cover the type. The digit is damaged, or the file mixes types of records.",
            expected=expected,
            found=found,
        )

    def _overlap(self, first_line: int, line: int, address: int) -> SRecordOverlapError:
        return self._error(
            SRecordOverlapError,
            line,
            f"its data and that of line {first_line} both give the byte at {address:#010x}.",
            why="Two records give data for the same address; which of them is meant cannot be known.",
            todo=ASK_BUILDER,
            expected="one record for each address",
            found=f"{address:#010x} twice",
            other_line=first_line,
        )

    def _after_end(self, number: int) -> SRecordAfterEndError:
        return self._error(
            SRecordAfterEndError,
            number,
            f"there is something here, although line {self.end_line} is the end record.",
            why="Two files may have been put together, or a line was moved.",
            todo=ASK_BUILDER,
            expected="nothing",
            found="a line",
            other_line=self.end_line,
        )

    def _error(self, kind: type[_E], line: int, problem: str, *, why: str, todo: str = TAKE_AGAIN, **facts: Fact) -> _E:
        what = f"{self.name}, line {line}: {problem}"
        return kind(what, why=why, state=NOTHING_SENT, todo=todo, file=self.name, line=line, **facts)
