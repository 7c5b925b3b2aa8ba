"""What can go wrong between us and the ROM bootloader."""

from __future__ import annotations

from rotorwright.errors import NOTHING_SENT, Blame, ImageError, LinkError, ProtocolError, WorkflowError

_FLASH_UNCHANGED = "Nothing was erased or written by this command. The board stays in its bootloader."
_BOOTLOADER_STAYS = "The ROM bootloader cannot be overwritten: the board can always be brought back through it."


class LoaderSilentError(LinkError):
    """The ROM bootloader does not answer."""

    id = "loader.silent"

    @classmethod
    def on(cls, port: str, *, heard: str, during: str = "") -> LoaderSilentError:
        """Return the error for `port`; `heard` says what came instead, `during` which command was under way."""
        return cls(
            f"The bootloader on {port} does not answer{f' to {during}' if during else ''}.",
            why="The board is not in its bootloader, has no power, the cable came loose, or transmit and receive are "
            f"swapped. Heard: {heard}.",
            state=f"What was written before is there. {_BOOTLOADER_STAYS}" if during else NOTHING_SENT,
            todo="Unplug the board, hold its boot button, plug it in, let go, then try again.",
            port=port,
            heard=heard,
            command=during or None,
        )


class WipeConsentError(WorkflowError):
    """Everything in the flash would be erased, and nobody said in so many words that it may."""

    id = "loader.wipe-consent"
    blame = Blame.PERSON

    @classmethod
    def of(cls, *, wanted: str, typed: str) -> WipeConsentError:
        """Return the error for words other than those wanted."""
        return cls(
            f"The words typed are '{typed}'; '{wanted}' was asked for.",
            why="Taking the lock off erases firmware, settings and the maker's own data for good, so it is done on "
            "exact words only.",
            state=_FLASH_UNCHANGED,
            todo=f"To do it, give the command again and type: {wanted}. Where nobody can type: --consent '{wanted}'. "
            "Else leave the board as it is.",
            wanted=wanted,
        )


class WipeUnfinishedError(LoaderSilentError):
    """The command that takes the lock off was sent, and its end was not heard of."""

    id = "loader.wipe-unfinished"

    @classmethod
    def during(cls, port: str, *, heard: str) -> WipeUnfinishedError:
        """Return the error for `port`; `heard` says what came instead."""
        return cls(
            f"The bootloader on {port} did not report the end of taking the lock off.",
            why=f"The power or the line was cut, or the flash did not do it. Heard: {heard}.",
            state="Not known: the flash is still whole and locked, or erased in part or as a whole. Take it for lost. "
            f"{_BOOTLOADER_STAYS}",
            todo="Unplug the board, hold its boot button, plug it in, let go; then the same command again, which says "
            "how it stands and finishes it.",
            port=port,
            heard=heard,
        )


class ReadoutProtectedError(ProtocolError):
    """The microcontroller's read-out protection is on, so the bootloader refuses to read and write."""

    id = "loader.readout-protected"

    @classmethod
    def at(cls, command: str) -> ReadoutProtectedError:
        """Return the error for the refused `command`."""
        return cls(
            f"The microcontroller is read-out protected: its bootloader refuses to {command}.",
            why="Some makers lock their boards. The lock can only be taken off together with everything in the flash, "
            "settings, firmware and the maker's own data alike.",
            state=_FLASH_UNCHANGED,
            todo="Ask its maker for the way to update it, and restart it without the button. If the loss is accepted "
            "and an image for this board is at hand: rotorwright unprotect --port PORT.",
            command=command,
        )


class CommandRefusedError(ProtocolError):
    """The bootloader refused a command, an address, a sector or a block, again and again."""

    id = "loader.refused"

    @classmethod
    def at(cls, command: str, part: str, *, shown: str, tries: int) -> CommandRefusedError:
        """Return the error for `part` ("address", "data", ...) of `command`, with its value as `shown`."""
        return cls(
            f"The bootloader refused the {part} of the command to {command} ({shown}), {tries} times.",
            why="The microcontroller has no such address or sector, or the line damages bytes every time.",
            state=f"What was written before is there. {_BOOTLOADER_STAYS}",
            todo="Check that the board is the one of the plan; try a shorter cable, on the UART a lower baud rate.",
            command=command,
            part=part,
            value=shown,
        )


class CommandMissingError(ProtocolError):
    """This bootloader does not know a command that is needed."""

    id = "loader.command-missing"

    @classmethod
    def of(cls, command: str, *, version: str) -> CommandMissingError:
        """Return the error for `command`, which a bootloader of `version` does not list."""
        return cls(
            f"This bootloader (protocol {version}) does not know the command to {command}.",
            why="Older or cut-down bootloaders know fewer commands.",
            state=_FLASH_UNCHANGED,
            todo="Check that the board is the one of the plan, and connect it by its own USB socket if it has one.",
            command=command,
            version=version,
        )


class UnalignedAddressError(ProtocolError):
    """A block was to be written to an address that is not on a word."""

    id = "loader.unaligned-address"

    @classmethod
    def at(cls, address: int) -> UnalignedAddressError:
        """Return the error for `address`."""
        return cls(
            f"A block cannot be written at {address:#010x}.",
            why="The bootloader writes whole 32-bit words, and this address is not on one. This is a mistake of ours.",
            state=_FLASH_UNCHANGED,
            todo="Report it with this text.",
            address=address,
        )


class BlockTornError(ProtocolError):
    """A block was written in part: its sector has to be erased before it can be written again."""

    id = "loader.block-torn"
    retry_helps = True

    @classmethod
    def at(cls, address: int) -> BlockTornError:
        """Return the error for the block at `address`."""
        return cls(
            f"The block at {address:#010x} holds neither what was sent nor erased bytes.",
            why="The power or the line was cut in the middle of a write, or flash was written that was not erased.",
            state=f"The sector of this block is written in part. {_BOOTLOADER_STAYS}",
            todo="Write the sector again; it is erased first.",
            address=address,
        )


class SectorNotWrittenError(ProtocolError):
    """A sector does not hold what was written into it, however often it was erased and written."""

    id = "flash.sector-not-written"

    @classmethod
    def of(cls, number: int, address: int, *, tries: int) -> SectorNotWrittenError:
        """Return the error for sector `number`, whose first wrong byte is at `address`."""
        return cls(
            f"Sector {number} reads back wrong from {address:#010x} on, after {tries} tries.",
            why="The sector is write-protected, the flash is worn out, or the line damages bytes.",
            state=f"The image is not complete, so the board will not start it. {_BOOTLOADER_STAYS}",
            todo="Go on with `resume`, over the UART with a shorter cable or a lower baud rate. If the same sector "
            "fails again, it is most likely write-protected: ask the maker why, then: rotorwright unprotect "
            "--port PORT --sectors-only, which erases nothing.",
            sector=number,
            address=address,
            tries=tries,
        )


class ReadingsDifferError(ProtocolError):
    """A block of flash reads differently every time."""

    id = "flash.readings-differ"
    retry_helps = True

    @classmethod
    def at(cls, address: int, *, tries: int) -> ReadingsDifferError:
        """Return the error for the block at `address`."""
        return cls(
            f"The block at {address:#010x} was read {tries} times, and no two readings in a row were equal.",
            why="The line damages bytes on their way.",
            state="Nothing was erased or written by this.",
            todo="Use a shorter cable or another socket; on the UART another adapter or a lower baud rate; then try "
            "again.",
            address=address,
            tries=tries,
        )


class ImageDiffersError(ProtocolError):
    """The last read-back of the whole image found other bytes than were written."""

    id = "flash.image-differs"
    retry_helps = True

    @classmethod
    def at(cls, address: int, *, sector: int) -> ImageDiffersError:
        """Return the error for the first wrong byte."""
        return cls(
            f"The flash differs from the image from {address:#010x} on (sector {sector}), "
            "though every sector was verified when it was written.",
            why="Flash that does not keep its content, or a board whose memory is not laid out as the plan says.",
            state=f"The image is not as planned; do not start it. {_BOOTLOADER_STAYS}",
            todo="Write again; only what differs is written. If it differs again, the board needs its maker.",
            address=address,
            sector=sector,
        )


class ImageOutsidePlanError(ImageError):
    """The image has bytes outside the sectors that may be touched."""

    id = "flash.outside-plan"

    @classmethod
    def at(cls, address: int) -> ImageOutsidePlanError:
        """Return the error for the first such byte."""
        return cls(
            f"The image has bytes at {address:#010x}, which is in no sector of the plan.",
            why="Only the sectors of the plan are ever erased or written; the others may hold what must survive.",
            state=_FLASH_UNCHANGED,
            todo="Make a new plan with this image, or take the image that the plan was made for.",
            address=address,
        )


class WriteCancelledError(WorkflowError):
    """The person stopped the write."""

    id = "flash.cancelled"
    retry_helps = True

    @classmethod
    def after(cls, done_bytes: int, total_bytes: int) -> WriteCancelledError:
        """Return the error with how far the work had come."""
        return cls(
            f"The write was stopped after {done_bytes} of {total_bytes} bytes of work.",
            why="You stopped it.",
            state=f"The image is not complete, so the board will not start it. {_BOOTLOADER_STAYS}",
            todo="Write again to go on; sectors that are right already are not written again.",
            done_bytes=done_bytes,
            total_bytes=total_bytes,
        )
