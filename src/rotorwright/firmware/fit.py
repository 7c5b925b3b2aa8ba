"""Does this image fit this board? A list of evidence, one line for each test, and a verdict made from it.

Nothing here is a matter of degree: one failed test and the image does not fit. Without something that names the board
(a descriptor in the image, or its digest in the release book) nobody can be sure, however sound the image looks,
because images for two boards with the same microcontroller cannot be told apart by their form.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from rotorwright.firmware.descriptor import descriptor_crc_ok, find_descriptor, find_descriptors
from rotorwright.firmware.mcu import ImageOutsideFlashError, microcontrollers_by_boot_id, sectors_for
from rotorwright.firmware.vector_table import read_vector_table

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rotorwright.firmware.board import Board
    from rotorwright.firmware.descriptor import Descriptor
    from rotorwright.firmware.image import Image
    from rotorwright.firmware.mcu import Microcontroller


class FitTest(StrEnum):
    """The tests, each of which gives at most one line of evidence. The ids are stable."""

    CHIP = "chip"
    BOARD_NAME = "board-name"
    EXTENTS = "extents"
    RESERVED_SECTORS = "reserved-sectors"
    VECTOR_TABLE = "vector-table"
    DESCRIPTOR = "descriptor"
    DESCRIPTOR_CRC = "descriptor-crc"
    DESCRIPTOR_FAMILY = "descriptor-family"
    DESCRIPTOR_RELEASE = "descriptor-release"
    DESCRIPTOR_BOARD = "descriptor-board"
    DESCRIPTOR_MICROCONTROLLER = "descriptor-microcontroller"
    DIGEST = "digest"


class EvidenceVerdict(StrEnum):
    """What one test says; `unsure` means that it could not be asked or says neither."""

    PASSED = "passed"
    FAILED = "failed"
    UNSURE = "unsure"


class FitVerdict(StrEnum):
    """What all tests together say."""

    FITS = "fits"
    DOES_NOT_FIT = "does_not_fit"
    CANNOT_BE_SURE = "cannot_be_sure"


@dataclass(frozen=True, slots=True)
class Evidence:
    """What one test found, in words for a person."""

    test: FitTest
    verdict: EvidenceVerdict
    words: str


@dataclass(frozen=True, slots=True)
class Fit:
    """The verdict and the evidence that it is made from."""

    evidence: tuple[Evidence, ...]

    @property
    def verdict(self) -> FitVerdict:
        """Any test failed: it does not fit. Neither descriptor nor digest passed: nobody can be sure. Else it fits."""
        if any(one.verdict is EvidenceVerdict.FAILED for one in self.evidence):
            return FitVerdict.DOES_NOT_FIT
        naming = {FitTest.DESCRIPTOR_BOARD, FitTest.DIGEST}
        named = any(one.test in naming and one.verdict is EvidenceVerdict.PASSED for one in self.evidence)
        return FitVerdict.FITS if named else FitVerdict.CANNOT_BE_SURE

    @property
    def failed(self) -> tuple[Evidence, ...]:
        """The lines that speak against."""
        return tuple(one for one in self.evidence if one.verdict is EvidenceVerdict.FAILED)


def judge_fit(
    image: Image,
    *,
    board: Board,
    mcu: Microcontroller,
    chip_id: int | None,
    reported_board: str | None,
    release: str | None = None,
    family: str | None = None,
) -> Fit:
    """Return whether `image` fits `board`.

    `mcu` is what our table has under the name that the board gives. `chip_id` is what the ROM bootloader answered,
    `reported_board` what the aircraft calls its board, `release` (a line, "6.0", or a whole number, "6.0.0") and
    `family` what is wanted; None where that was not asked or does not matter.
    """
    descriptor = find_descriptor(image)
    wanted = release or (descriptor.release if descriptor else None)
    return Fit(
        (
            _chip(board, mcu, chip_id),
            _board_name(board, reported_board),
            _extents(image, mcu),
            _reserved_sectors(image, board, mcu),
            _vector_table(image, mcu),
            *_descriptor(image, descriptor, board=board, release=release, family=family),
            _digest(image, board, wanted),
        )
    )


def _chip(board: Board, mcu: Microcontroller, chip_id: int | None) -> Evidence:
    if mcu.name != board.mcu:
        return _failed(FitTest.CHIP, f"{board.name} carries an {board.mcu}, and the facts used are of an {mcu.name}.")
    if chip_id is None:
        return _unsure(FitTest.CHIP, "The bootloader has not been asked yet which microcontroller this is.")
    answer = f"The bootloader answers {chip_id:#05x}"
    if chip_id == mcu.boot_id:
        return _passed(FitTest.CHIP, f"{answer}, as the {mcu.name} of {board.name} does.")
    others = " or ".join(part.name for part in microcontrollers_by_boot_id(chip_id)) or "a part that is not known here"
    return _failed(
        FitTest.CHIP, f"{answer}, which is {others}; {board.name} has an {mcu.name}, which answers {mcu.boot_id:#05x}."
    )


def _board_name(board: Board, reported: str | None) -> Evidence:
    if reported is None:
        return _unsure(FitTest.BOARD_NAME, "The aircraft has not said what its board is called.")
    if reported == board.name:
        return _passed(FitTest.BOARD_NAME, f"The aircraft says that its board is {reported}.")
    if reported in board.names:
        lines = ", ".join(line for line, name in board.aliases.items() if name == reported)
        words = f"The aircraft says that its board is {reported}, which is what {lines} calls {board.name}."
        return _passed(FitTest.BOARD_NAME, words)
    words = f"The aircraft says that its board is {reported}; no name of {board.name} is exactly that."
    return _failed(FitTest.BOARD_NAME, words)


def _extents(image: Image, mcu: Microcontroller) -> Evidence:
    try:
        sectors = sectors_for(image, mcu)
    except ImageOutsideFlashError as error:
        return _failed(FitTest.EXTENTS, error.what)
    words = f"{image.size_bytes} bytes from {image.start:#010x} on lie in the flash of the {mcu.name}"
    return _passed(FitTest.EXTENTS, f"{words}, in {len(sectors)} of its {len(mcu.sectors)} sectors.")


def _reserved_sectors(image: Image, board: Board, mcu: Microcontroller) -> Evidence:
    try:
        touched = {sector.number for sector in sectors_for(image, mcu)} & set(board.reserved_sectors)
    except ImageOutsideFlashError:
        return _unsure(FitTest.RESERVED_SECTORS, "This cannot be asked of an image that lies outside the flash.")
    if board.is_only_reported:
        words = "Without a release book nobody here knows which sectors the maker of the board keeps."
        return _unsure(FitTest.RESERVED_SECTORS, words)
    if touched:
        numbers = ", ".join(str(number) for number in sorted(touched))
        words = f"The image reaches into sector {numbers}, which belongs to the maker of {board.name}."
        return _failed(FitTest.RESERVED_SECTORS, words)
    return _passed(FitTest.RESERVED_SECTORS, f"No sector that the maker of {board.name} keeps is touched.")


def _vector_table(image: Image, mcu: Microcontroller) -> Evidence:
    table = read_vector_table(image, mcu)
    if table.problems:
        return _failed(FitTest.VECTOR_TABLE, " ".join(table.problems))
    words = f"The stack starts at {table.stack_top:#010x} in RAM, the code at {table.reset:#010x} in the image."
    return _passed(FitTest.VECTOR_TABLE, words)


def _descriptor(
    image: Image, descriptor: Descriptor | None, *, board: Board, release: str | None, family: str | None
) -> Iterator[Evidence]:
    if descriptor is None:
        yield _no_descriptor(image)
        return
    yield _passed(FitTest.DESCRIPTOR, f"The image carries a descriptor, at {descriptor.address:#010x}.")
    yield _crc(image, descriptor)
    yield _same(FitTest.DESCRIPTOR_FAMILY, "family", descriptor.family, family)
    yield _release(descriptor.release, release)
    yield _descriptor_board(descriptor.board, board)
    yield _same(FitTest.DESCRIPTOR_MICROCONTROLLER, "microcontroller", descriptor.mcu, board.mcu)


def _descriptor_board(named: str, board: Board) -> Evidence:
    if named in board.names:
        return _passed(FitTest.DESCRIPTOR_BOARD, f"It says that it is for {named}, a name of {board.name}.")
    words = f"It says that it is for {named}, which is no name of {board.name}."
    if not board.is_only_reported:
        return _failed(FitTest.DESCRIPTOR_BOARD, words)
    renamed = (
        f"It says that it is for {named}; the aircraft calls its board {board.name}. Boards are renamed now and then"
    )
    return _unsure(
        FitTest.DESCRIPTOR_BOARD, f"{renamed}, and without a release book nobody here knows whether this one was."
    )


def _no_descriptor(image: Image) -> Evidence:
    if found := len(find_descriptors(image)):
        words = f"The image carries {found} descriptors, and their checksums do not tell which of them is meant."
        return _failed(FitTest.DESCRIPTOR, words)
    return _unsure(FitTest.DESCRIPTOR, "The image carries no descriptor: it does not say which board it is for.")


def _crc(image: Image, descriptor: Descriptor) -> Evidence:
    if descriptor_crc_ok(image, descriptor):
        words = f"Its checksum over {descriptor.length} bytes is right."
        left_out = image.size_bytes - descriptor.length
        if left_out > 0:
            return _unsure(FitTest.DESCRIPTOR_CRC, f"{words} {left_out} more bytes of the image are not covered by it.")
        return _passed(FitTest.DESCRIPTOR_CRC, words)
    return _failed(
        FitTest.DESCRIPTOR_CRC, f"Its checksum over {descriptor.length} bytes is wrong: the image is damaged."
    )


def _same(test: FitTest, what: str, found: str, wanted: str | None) -> Evidence:
    if wanted is None:
        return _unsure(test, f"It says that its {what} is {found}; none was asked for.")
    if found == wanted:
        return _passed(test, f"It says that its {what} is {found}.")
    return _failed(test, f"It says that its {what} is {found}; {wanted} is needed.")


def _release(found: str, wanted: str | None) -> Evidence:
    meant = found if wanted is not None and _is_release(found, wanted) else wanted
    return _same(FitTest.DESCRIPTOR_RELEASE, "release", found, meant)


def _digest(image: Image, board: Board, release: str | None) -> Evidence:
    listed = {name for name, digest in board.image_sha256.items() if digest == image.sha256}
    if not listed:
        return _unlisted(image, board, release)
    names = ", ".join(sorted(listed))
    words = f"It is, bit for bit, the image that the release book lists for {names} on {board.name}"
    if release is None or any(_is_release(name, release) for name in listed):
        return _passed(FitTest.DIGEST, f"{words}.")
    return _failed(FitTest.DIGEST, f"{words}; {release} is needed.")


def _unlisted(image: Image, board: Board, release: str | None) -> Evidence:
    digest = f"{image.sha256[:16]}…"
    if board.is_only_reported:
        return _unsure(FitTest.DIGEST, f"There is no release book that could list this image ({digest}).")
    if release is not None and any(_is_release(name, release) for name in board.image_sha256):
        words = f"The release book lists another image for {release} on {board.name}; this one ({digest}) is not in it."
        return _unsure(FitTest.DIGEST, words)
    return _unsure(FitTest.DIGEST, f"The release book does not list this image ({digest}) for {board.name}.")


def _is_release(one: str, other: str) -> bool:
    """Answer whether the two are the same release, either of which may be given as a line ("6.0" for "6.0.0")."""
    return one == other or _line(one) == other or one == _line(other)


def _line(release: str) -> str:
    return ".".join(release.split(".")[:2])


def _passed(test: FitTest, words: str) -> Evidence:
    return Evidence(test, EvidenceVerdict.PASSED, words)


def _failed(test: FitTest, words: str) -> Evidence:
    return Evidence(test, EvidenceVerdict.FAILED, words)


def _unsure(test: FitTest, words: str) -> Evidence:
    return Evidence(test, EvidenceVerdict.UNSURE, words)
