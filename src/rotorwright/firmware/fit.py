"""Does this image fit this board? A list of evidence, one line for each test, and a verdict made from it.

Nothing here is a matter of degree: one failed test and the image does not fit. Without something that names the board
(a descriptor in the image, or its digest in the release book) nobody can be sure, however sound the image looks,
because images for two boards with the same microcontroller cannot be told apart by their form. The same holds for the
boot probe: at most it says that the image was built for this group of microcontrollers.

A fact of our table that is from memory only never makes an image fail; the most it does is to leave a test unsure.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from rotorwright.firmware.boot_probe import CLOCK_GROUPS
from rotorwright.firmware.descriptor import descriptor_crc_ok, find_descriptor, find_descriptors
from rotorwright.firmware.mcu import (
    ImageOutsideFlashError,
    microcontrollers_by_boot_id,
    microcontrollers_by_uf2_family,
    sectors_for,
)
from rotorwright.firmware.uf2 import family_words
from rotorwright.firmware.vector_table import read_vector_table

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rotorwright.firmware.board import Board
    from rotorwright.firmware.boot_probe import BootProbe
    from rotorwright.firmware.descriptor import Descriptor
    from rotorwright.firmware.image import Image
    from rotorwright.firmware.mcu import Microcontroller
    from rotorwright.firmware.vector_table import VectorTable


class FitTest(StrEnum):
    """The tests, each of which gives at most one line of evidence. The ids are stable."""

    CHIP = "chip"
    BOARD_NAME = "board-name"
    EXTENTS = "extents"
    FLASH_SIZE = "flash-size"
    RESERVED_SECTORS = "reserved-sectors"
    RAM = "ram"
    VECTOR_TABLE = "vector-table"
    BOOT_PROBE = "boot-probe"
    UF2_FAMILY = "uf2-family"
    DESCRIPTOR = "descriptor"
    DESCRIPTOR_CRC = "descriptor-crc"
    DESCRIPTOR_FAMILY = "descriptor-family"
    DESCRIPTOR_RELEASE = "descriptor-release"
    DESCRIPTOR_BOARD = "descriptor-board"
    DESCRIPTOR_MICROCONTROLLER = "descriptor-microcontroller"
    DIGEST = "digest"
    GENERIC_BUILD = "generic-build"


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
    flash_kib: int | None = None,
    boot: BootProbe | None = None,
    uf2_families: frozenset[int] = frozenset(),
) -> Fit:
    """Return whether `image` fits `board`.

    `mcu` is what our table has under the name that the board gives. `chip_id` is what the ROM bootloader answered,
    `reported_board` what the aircraft calls its board, `release` (a line, "6.0", or a whole number, "6.0.0") and
    `family` what is wanted; None where that was not asked or does not matter.
    `flash_kib` is what stands at the part's `flash_size_address`, `boot` what an emulated start of the image showed.
    `uf2_families` are the families that the file says it is for, if it was a UF2 file; none: no evidence from that.
    """
    descriptor = find_descriptor(image)
    wanted = release or (descriptor.release if descriptor else None)
    table = read_vector_table(image, mcu)
    return Fit(
        (
            _chip(board, mcu, chip_id),
            _board_name(board, reported_board),
            _extents(image, board, mcu),
            *_flash_size(image, mcu, flash_kib),
            _reserved_sectors(image, board, mcu),
            _ram(table, mcu),
            _vector_table(table, mcu),
            _boot_probe(boot, mcu),
            *(_uf2_family(family_id, mcu) for family_id in sorted(uf2_families)),
            *_descriptor(image, descriptor, board=board, release=release, family=family),
            _digest(image, board, wanted),
            *_generic_build(image, board, wanted),
        )
    )


def _chip(board: Board, mcu: Microcontroller, chip_id: int | None) -> Evidence:
    if mcu.name != board.mcu:
        return _failed(FitTest.CHIP, f"{board.name} carries an {board.mcu}, and the facts used are of an {mcu.name}.")
    if chip_id is None and mcu.loader.boot_id is None:
        return _unsure(FitTest.CHIP, f"The bootloader of the {mcu.name} has no id that could be asked for.")
    if chip_id is None:
        return _unsure(FitTest.CHIP, "The bootloader has not been asked yet which microcontroller this is.")
    answer = f"The bootloader answers {chip_id:#05x}"
    same_id = [part.name for part in microcontrollers_by_boot_id(chip_id)]
    if chip_id == mcu.loader.boot_id:
        alike = " and ".join(name for name in same_id if name != mcu.name)
        words = f"{answer}, as the {mcu.name} of {board.name} does"
        return _passed(FitTest.CHIP, f"{words} ({alike} too)." if alike else f"{words}.")
    others = " or ".join(same_id) or "a part that is not known here"
    own = "has no such id" if mcu.loader.boot_id is None else f"answers {mcu.loader.boot_id:#05x}"
    return _failed(FitTest.CHIP, f"{answer}, which is {others}; {board.name} has an {mcu.name}, which {own}.")


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
    if board.is_named_by_person:
        return _unsure(FitTest.BOARD_NAME, f"{words} A person says that it is one.")
    return _failed(FitTest.BOARD_NAME, words)


def _extents(image: Image, board: Board, mcu: Microcontroller) -> Evidence:
    try:
        sectors = sectors_for(image, mcu)
    except ImageOutsideFlashError as error:
        return _failed(FitTest.EXTENTS, error.what)
    words = f"{image.size_bytes} bytes from {image.start:#010x} on lie in the flash of the {mcu.name}"
    if mcu.has_external_flash:
        return _external_extents(image, board, mcu)
    return _passed(FitTest.EXTENTS, f"{words}, in {len(sectors)} of its {len(mcu.sectors)} sectors.")


def _external_extents(image: Image, board: Board, mcu: Microcontroller) -> Evidence:
    """The part does not know how large the flash chip beside it is; the release book may say it of the board."""
    words = f"{image.size_bytes} bytes from {image.start:#010x} on lie where the {mcu.name} reaches its flash chip"
    if board.flash_size_bytes is None:
        return _unsure(FitTest.EXTENTS, f"{words}; nobody says how large the chip on {board.name} is.")
    size = f"the chip on {board.name} has {board.flash_size_bytes // 1024} KiB"
    if image.end > mcu.flash_start + board.flash_size_bytes:
        return _failed(FitTest.EXTENTS, f"The image ends at {image.end:#010x}; {size}.")
    return _passed(FitTest.EXTENTS, f"{words}; {size}.")


def _flash_size(image: Image, mcu: Microcontroller, flash_kib: int | None) -> Iterator[Evidence]:
    """Parts that differ in nothing but the size of their flash answer the same id; this tells them apart."""
    if flash_kib is None:
        return
    words = f"The microcontroller says that it has {flash_kib} KiB of flash"
    if flash_kib * 1024 == mcu.flash_size_bytes:
        yield _passed(FitTest.FLASH_SIZE, f"{words}, as the {mcu.name} has.")
        return
    words = f"{words}; the {mcu.name} has {mcu.flash_size_bytes // 1024} KiB"
    if image.size_bytes > flash_kib * 1024:
        yield _failed(FitTest.FLASH_SIZE, f"{words}, and the image has {image.size_bytes} bytes.")
    else:
        yield _unsure(FitTest.FLASH_SIZE, f"{words}, so it is another part than the board should have.")


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


def _ram(table: VectorTable, mcu: Microcontroller) -> Evidence:
    top = table.stack_top
    if top is None:
        return _unsure(FitTest.RAM, "Without a vector table nobody can say which RAM the image needs.")
    region = next((one for one in mcu.ram if one.address < top <= one.end), None)
    if region is None:
        words = f"The image needs RAM below {top:#010x}, and the {mcu.name} has none there."
        return _against(FitTest.RAM, words, is_confirmed=mcu.vectors_are_confirmed)
    words = f"The image needs RAM below {top:#010x}; the {mcu.name} has {region.name} there"
    return _passed(FitTest.RAM, f"{words}, {region.address:#010x} to {region.end - 1:#010x}.")


def _vector_table(table: VectorTable, mcu: Microcontroller) -> Evidence:
    if table.problems:
        return _against(FitTest.VECTOR_TABLE, " ".join(table.problems), is_confirmed=mcu.vectors_are_confirmed)
    words = f"The stack starts at {table.stack_top:#010x} in RAM, the code at {table.reset:#010x} in the image."
    return _passed(FitTest.VECTOR_TABLE, words)


def _boot_probe(boot: BootProbe | None, mcu: Microcontroller) -> Evidence:
    if boot is None:
        return _unsure(FitTest.BOOT_PROBE, "The image was not started in the emulator.")
    if boot.group is None:
        return _unsure(FitTest.BOOT_PROBE, boot.words)
    if mcu.clock_page is None:
        return _unsure(FitTest.BOOT_PROBE, f"{boot.words} Of the {mcu.name} the probe knows nothing.")
    words = f"{boot.words} So it was built for the group {boot.group}"
    if boot.clock_page != mcu.clock_page:
        return _failed(FitTest.BOOT_PROBE, f"{words}; the {mcu.name} is of the group {CLOCK_GROUPS[mcu.clock_page]}.")
    if boot.speaks_for_f7 and mcu.family == "F4":
        return _unsure(FitTest.BOOT_PROBE, f"{words}, but it also uses what only the F7 of this group has.")
    return _passed(FitTest.BOOT_PROBE, f"{words}, as the {mcu.name} is; the probe cannot tell these apart.")


def _uf2_family(family_id: int, mcu: Microcontroller) -> Evidence:
    """A family names a kind of microcontroller, never a board: at most it speaks against."""
    words = f"The UF2 file says that it is for the family {family_words(family_id)}"
    if any(one.id == family_id for one in mcu.uf2_families):
        return _passed(FitTest.UF2_FAMILY, f"{words}, which the {mcu.name} belongs to.")
    if not mcu.uf2_families:
        return _unsure(FitTest.UF2_FAMILY, f"{words}; no family of the {mcu.name} is known here.")
    if not microcontrollers_by_uf2_family(family_id):
        return _unsure(FitTest.UF2_FAMILY, f"{words}, of which no microcontroller is known here.")
    own = " or ".join(family_words(one.id) for one in mcu.uf2_families)
    return _failed(FitTest.UF2_FAMILY, f"{words}; the {mcu.name} takes files for {own}.")


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
    yield _descriptor_board(descriptor.board, board, is_listed_generic=image.sha256 in board.generic_sha256.values())
    yield _same(FitTest.DESCRIPTOR_MICROCONTROLLER, "microcontroller", descriptor.mcu, board.mcu)


def _descriptor_board(named: str, board: Board, *, is_listed_generic: bool) -> Evidence:
    if named in board.names:
        return _passed(FitTest.DESCRIPTOR_BOARD, f"It says that it is for {named}, a name of {board.name}.")
    if is_listed_generic:
        words = (
            f"It says that it is for {named}; the release book lists it as a generic build for {board.name} as well."
        )
        return _passed(FitTest.DESCRIPTOR_BOARD, words)
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
    listed = {name for name, digest in _listed(board) if digest == image.sha256}
    if not listed:
        return _unlisted(image, board, release)
    names = ", ".join(sorted(listed))
    words = f"It is, bit for bit, the image that the release book lists for {names} on {board.name}"
    if release is None or any(_is_release(name, release) for name in listed):
        return _passed(FitTest.DIGEST, f"{words}.")
    return _failed(FitTest.DIGEST, f"{words}; {release} is needed.")


def _listed(board: Board) -> tuple[tuple[str, str], ...]:
    return (*board.image_sha256.items(), *board.generic_sha256.items())


def _unlisted(image: Image, board: Board, release: str | None) -> Evidence:
    digest = f"{image.sha256[:16]}…"
    if board.is_only_reported:
        return _unsure(FitTest.DIGEST, f"There is no release book that could list this image ({digest}).")
    if release is not None and any(_is_release(name, release) for name, _ in _listed(board)):
        words = f"The release book lists another image for {release} on {board.name}; this one ({digest}) is not in it."
        return _unsure(FitTest.DIGEST, words)
    return _unsure(FitTest.DIGEST, f"The release book does not list this image ({digest}) for {board.name}.")


def _generic_build(image: Image, board: Board, release: str | None) -> Iterator[Evidence]:
    """Words only: an image for this board alone fits as well, but the generic one is what the family keeps up."""
    generic = {
        name: digest for name, digest in board.generic_sha256.items() if release is None or _is_release(name, release)
    }
    if image.sha256 in generic.values():
        yield _passed(FitTest.GENERIC_BUILD, "It is the generic build, which becomes this board by its definition.")
    elif generic:
        digests = " or ".join(f"{digest[:16]}… for {name}" for name, digest in sorted(generic.items()))
        words = f"It is not the generic build, which the release book has too and which is preferred: {digests}."
        yield _unsure(FitTest.GENERIC_BUILD, words)


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


def _against(test: FitTest, words: str, *, is_confirmed: bool) -> Evidence:
    """Return evidence against; only unsure where it rests on a fact from memory."""
    if is_confirmed:
        return _failed(test, words)
    return _unsure(test, f"{words} But where this part keeps these things is known here from memory only.")
