"""What may be wrong with a firmware file, whatever its format; lines of text formats have their own families."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, TypeVar

from rotorwright.errors import NOTHING_SENT, ImageError

if TYPE_CHECKING:
    from rotorwright.errors import Fact

TAKE_AGAIN: Final = (
    "Take the file again from where it is published and compare its length and digest with those given there."
)
ASK_BUILDER: Final = "Ask whoever built the file for a sound one; do not write this one."
LARGEST_IMAGE_BYTES: Final = 1 << 24
"""Most bytes that an image, or the file around it, may have; the largest flash in our table is far smaller."""


class ImageFileError(ImageError):
    """A firmware file cannot be used. `facts` has the file, mostly the offset, and what was expected and found."""

    id = "image.file"


class FormatUnknownError(ImageFileError):
    """The content of a file is none of the image formats."""

    id = "image.file-format-unknown"


class BaseNeededError(ImageFileError):
    """A file has bytes without an address, and its vector table does not say where they belong."""

    id = "image.base-needed"


class BaseImpossibleError(ImageFileError):
    """The bytes of a raw file do not fit into the address space at the base that was given."""

    id = "image.base-impossible"


class FileTooLargeError(ImageFileError):
    """A file, or what it claims to hold, is larger than any image of a microcontroller."""

    id = "image.file-too-large"


class FileCutShortError(ImageFileError):
    """A file ends before everything that it announces."""

    id = "image.file-cut-short"


class FileDamagedError(ImageFileError):
    """A checksum over a file or over a part of it is wrong."""

    id = "image.file-damaged"


class FileFormError(ImageFileError):
    """A field of a file contradicts its format or another field."""

    id = "image.file-form"


class FileOverlapError(ImageFileError):
    """A file gives bytes for the same address twice."""

    id = "image.file-overlap"


class SeveralImagesError(ImageFileError):
    """A file holds several images, and which of them is meant cannot be known."""

    id = "image.several"


class GapTooLargeError(ImageError):
    """The ranges of an image lie so far apart that a raw file would be nearly nothing but filling."""

    id = "image.gap-too-large"


_E = TypeVar("_E", bound=ImageFileError)


def file_error(
    kind: type[_E],
    name: str,
    problem: str,
    *,
    why: str,
    todo: str = TAKE_AGAIN,
    offset: int | None = None,
    **facts: Fact,
) -> _E:
    """Return an error of `kind` about the file `name`; `offset` counts bytes from its start."""
    where = "" if offset is None else f", offset {offset:#x}"
    place: dict[str, Fact] = {} if offset is None else {"offset": offset}
    return kind(f"{name}{where}: {problem}", why=why, state=NOTHING_SENT, todo=todo, file=name, **place, **facts)


def too_large(name: str, size_bytes: int, what: str = "it has") -> FileTooLargeError:
    """Return the error for a file that has, or claims to hold, `size_bytes`."""
    return file_error(
        FileTooLargeError,
        name,
        f"{what} {size_bytes:,} bytes, and an image for a microcontroller has at most {LARGEST_IMAGE_BYTES:,}.",
        why="This is another kind of file, or a field of it is damaged.",
        todo="Choose the firmware image.",
        expected=LARGEST_IMAGE_BYTES,
        found=size_bytes,
    )


def cut_short(name: str, *, offset: int, expected: str, found: str) -> FileCutShortError:
    """Return the error for a file that ends at `offset` although `expected` was announced."""
    return file_error(
        FileCutShortError,
        name,
        f"the file ends here; expected is {expected}, found is {found}.",
        why="Its end is missing, as after a download that broke off; half an image must not be written.",
        offset=offset,
        expected=expected,
        found=found,
    )


def bad_form(name: str, problem: str, *, offset: int, expected: Fact, found: Fact) -> FileFormError:
    """Return the error for a field at `offset` that is not as the format, or another field, says."""
    return file_error(
        FileFormError,
        name,
        problem,
        why="The field is damaged, or whatever wrote the file does not keep to the format.",
        offset=offset,
        expected=expected,
        found=found,
    )


def damaged(name: str, problem: str, *, expected: str, found: str, offset: int | None = None) -> FileDamagedError:
    """Return the error for a wrong checksum, which stands at `offset`."""
    return file_error(
        FileDamagedError,
        name,
        problem,
        why="At least one byte of the file is not what was written.",
        offset=offset,
        expected=expected,
        found=found,
    )


def overlap(name: str, *, first_offset: int, offset: int, address: int) -> FileOverlapError:
    """Return the error for two places of a file that both give the byte at `address`."""
    return file_error(
        FileOverlapError,
        name,
        f"the data here is for {address:#010x} on, which the data at offset {first_offset:#x} gives too.",
        why="Two places of the file give data for the same address; which of them is meant cannot be known.",
        todo=ASK_BUILDER,
        offset=offset,
        expected="one place for each address",
        found=f"{address:#010x} twice",
        other_offset=first_offset,
    )
