"""What can go wrong between us and the drive of a UF2 bootloader."""

from __future__ import annotations

from rotorwright.errors import NOTHING_SENT, ImageError, LinkError, ProtocolError
from rotorwright.firmware.uf2 import family_words

_BOOTLOADER_STAYS = "The bootloader is not touched by this: the drive can be brought back with the button."
_AGAIN = "Unplug the board, hold its boot button, plug it in, let go; when the drive is there, write again."


class DriveMissingError(LinkError):
    """The drive of the bootloader is not there."""

    id = "drive.missing"

    @classmethod
    def at(cls, folder: str) -> DriveMissingError:
        """Return the error for the drive at `folder`."""
        return cls(
            f"There is no drive of a UF2 bootloader at {folder}.",
            why="The board is not in its bootloader, the cable came out, or the drive is mounted elsewhere. "
            "Such a drive has a file INFO_UF2.TXT.",
            todo="Unplug the board, hold its boot button, plug it in, let go; `rotorwright ports` shows the drive.",
            folder=folder,
        )


class OtherDriveError(ProtocolError):
    """Another board's drive stands where the drive of ours stood."""

    id = "drive.other-board"

    @classmethod
    def at(cls, folder: str, *, expected: str, found: str) -> OtherDriveError:
        """Return the error for the drive at `folder`, with both board ids."""
        return cls(
            f"The drive at {folder} belongs to the board {found!r}; expected is {expected!r}.",
            why="Another board was plugged in meanwhile, or several are.",
            todo="Leave only the board of this job plugged in, then try again.",
            folder=folder,
            expected=expected,
            found=found,
        )


class WrongFamilyError(ImageError):
    """The image is for another family of microcontrollers than the drive takes."""

    id = "drive.wrong-family"

    @classmethod
    def of(cls, found: int, *, expected: frozenset[int], said_by: str) -> WrongFamilyError:
        """Return the error for an image of family `found`; `said_by` is who says what is expected."""
        wanted = ", ".join(family_words(family) for family in sorted(expected))
        return cls(
            f"The image is for the family {family_words(found)}; {said_by} says {wanted}.",
            why="The image was built for another microcontroller.",
            state=NOTHING_SENT,
            todo="Take the UF2 file that its publisher names for this board.",
            found=found,
            expected=wanted,
        )


class DriveFullError(LinkError):
    """The drive has not enough room for the image."""

    id = "drive.full"
    retry_helps = False

    @classmethod
    def at(cls, folder: str, *, needed: int, free: int | None) -> DriveFullError:
        """Return the error for the drive at `folder`; `free` None: it said so only while it was written."""
        room = "it ran full in the course of writing" if free is None else f"{free} bytes are free"
        return cls(
            f"The drive at {folder} has not enough room: {needed} bytes are needed, {room}.",
            why="Files were copied onto it before, or the image is too large for this board.",
            state=NOTHING_SENT if free is not None else f"The image is not complete. {_BOOTLOADER_STAYS}",
            todo=_AGAIN + " If it says the same again, the image is not for this board.",
            folder=folder,
            needed=needed,
            free=free,
        )


class DriveReadOnlyError(LinkError):
    """The drive takes no files."""

    id = "drive.read-only"
    retry_helps = False

    @classmethod
    def at(cls, folder: str, *, detail: str) -> DriveReadOnlyError:
        """Return the error for the drive at `folder`; `detail` is what the system said."""
        return cls(
            f"Nothing may be written to the drive at {folder}.",
            why=f"It is mounted read-only or belongs to another user. The system said: {detail}.",
            todo="Eject it in the file manager, unplug the board, hold its boot button, plug it in again, and let the "
            "file manager open it as you; then write again.",
            folder=folder,
        )


class DriveWriteError(LinkError):
    """The drive is there and gave an error while it was written."""

    id = "drive.write-failed"

    @classmethod
    def at(cls, folder: str, *, done: int, total: int, detail: str) -> DriveWriteError:
        """Return the error after `done` of `total` bytes; `detail` is what the system said."""
        return cls(
            f"The drive at {folder} gave an error after {done} of {total} bytes.",
            why=f"The cable or the socket is bad, or the bootloader refused a block. The system said: {detail}.",
            state=f"The image is not complete, so the board will not start it. {_BOOTLOADER_STAYS}",
            todo=f"Take another cable. {_AGAIN}",
            folder=folder,
            done=done,
            total=total,
        )


class DriveVanishedEarlyError(LinkError):
    """The drive went away before it had the whole image."""

    id = "drive.vanished-early"

    @classmethod
    def at(cls, folder: str, *, done: int, total: int, detail: str) -> DriveVanishedEarlyError:
        """Return the error after `done` of `total` bytes; `detail` is what the system said, if anything."""
        said = f" The system said: {detail}." if detail else ""
        return cls(
            f"The drive at {folder} went away after {done} of {total} bytes.",
            why=f"The cable came out, the board lost its power, or the bootloader started anew.{said}",
            state=f"The image is not complete, so the board will not start it. {_BOOTLOADER_STAYS}",
            todo=_AGAIN,
            folder=folder,
            done=done,
            total=total,
        )


class DriveStayedError(ProtocolError):
    """The drive has the whole file and did not go away, so the bootloader did not take it."""

    id = "drive.stayed"

    @classmethod
    def at(cls, folder: str, *, waited_s: float) -> DriveStayedError:
        """Return the error after `waited_s` seconds of waiting."""
        return cls(
            f"The drive at {folder} has the whole file, and is still there after {waited_s:g} s.",
            why="A bootloader that has every block starts the application and its drive goes away. This one "
            "passed over blocks: they are for another family, or outside its flash.",
            state=f"Whether blocks were written is not known; the board is in its bootloader. {_BOOTLOADER_STAYS}",
            todo=f"See that the image is the one for this board. {_AGAIN}",
            folder=folder,
            waited_s=waited_s,
        )


class DriveCameBackError(ProtocolError):
    """The drive went away with the whole image and came back: the application does not start."""

    id = "drive.came-back"

    @classmethod
    def at(cls, folder: str, *, after_s: float) -> DriveCameBackError:
        """Return the error for a drive that came back after `after_s` seconds."""
        return cls(
            f"The drive took the whole image, went away, and came back at {folder} after {after_s:.1f} s.",
            why="The bootloader does not start the image: it is not for this board, it was damaged on its way, or the "
            "button is still held.",
            state=f"The image is in the flash, whole or not; the board is in its bootloader. {_BOOTLOADER_STAYS}",
            todo="Let go of the button and plug the board in again. If the drive comes back, take the image that its "
            "publisher names for this board and write that.",
            folder=folder,
            after_s=after_s,
        )
