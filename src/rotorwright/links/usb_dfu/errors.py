"""What can go wrong between us and a bootloader on USB."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.errors import NOTHING_SENT, Blame, LinkError, ProtocolError

if TYPE_CHECKING:
    from collections.abc import Sequence

_BOOTLOADER_STAYS = "The ROM bootloader cannot be overwritten: the board can always be brought back through it."
_AS_BEFORE = f"What was written before is there. {_BOOTLOADER_STAYS}"
_UNCHANGED = "Nothing was erased or written. The board stays in its bootloader."


class UsbLibraryMissingError(LinkError):
    """This computer has no usable USB library."""

    id = "dfu.no-usb-library"
    retry_helps = False

    @classmethod
    def here(cls) -> UsbLibraryMissingError:
        """Return the error."""
        return cls(
            "USB devices cannot be looked for on this computer.",
            why="The library that talks to USB (libusb) does not load here.",
            todo="Install Rotorwright anew with its dependencies, or use the board's serial port.",
        )


class DfuDeviceMissingError(LinkError):
    """No bootloader is on USB."""

    id = "dfu.no-device"

    @classmethod
    def wanted(cls, wanted: str) -> DfuDeviceMissingError:
        """Return the error; `wanted` says which was looked for, "" for any."""
        return cls(
            f"No bootloader is on USB{f' ({wanted})' if wanted else ''}.",
            why="The board is not in its bootloader, the cable carries only power, or the driver for it is missing.",
            todo="Unplug the board, hold its boot button, plug it in, let go, then try again; if nothing comes, take "
            "another cable.",
            wanted=wanted,
        )


class DfuDevicesSeveralError(LinkError):
    """More than one bootloader is on USB, and nobody said which is meant."""

    id = "dfu.several-devices"
    blame = Blame.PERSON
    retry_helps = False

    @classmethod
    def among(cls, names: Sequence[str]) -> DfuDevicesSeveralError:
        """Return the error for devices called `names`."""
        return cls(
            f"{len(names)} bootloaders are on USB: {'; '.join(names)}.",
            why="Which of them is the aircraft of this job cannot be seen from here, and it is never guessed.",
            todo="Unplug the others, or name one by its bus and address or by its serial number.",
            devices="; ".join(names),
        )


class DfuForbiddenError(LinkError):
    """This user may not open the USB device."""

    id = "dfu.forbidden"
    retry_helps = False

    @classmethod
    def named(cls, name: str, *, detail: str) -> DfuForbiddenError:
        """Return the error for the device `name`."""
        return cls(
            f"This user may not open the USB device {name}.",
            why=f"The system refuses it: {detail}.",
            todo="On Linux a udev rule for the device gives the right; unplug the board and plug it in again after "
            "the rule is there. On other systems close the program that holds it.",
            device=name,
        )


class DfuUnusableError(LinkError):
    """The USB device is there, but this computer's driver does not let us talk to it."""

    id = "dfu.unusable"
    retry_helps = False

    @classmethod
    def named(cls, name: str, *, detail: str) -> DfuUnusableError:
        """Return the error for the device `name`."""
        return cls(
            f"The USB device {name} cannot be talked to.",
            why=f"Its driver is missing or is another program's. The system said: {detail}.",
            todo="On Windows give the bootloader the driver WinUSB; elsewhere unplug the board and plug it in again.",
            device=name,
        )


class DfuGoneError(LinkError):
    """The USB device went away while it was in use."""

    id = "dfu.gone"

    @classmethod
    def named(cls, name: str, *, detail: str = "") -> DfuGoneError:
        """Return the error for the device `name`."""
        return cls(
            f"The bootloader {name} went away while it was in use.",
            why="The cable came out, the board lost its power, or it started anew."
            + (f" The system said: {detail}." if detail else ""),
            state="What was sent before is there; whether the last block arrived is not known. Saved settings are on "
            f"this computer. {_BOOTLOADER_STAYS}",
            todo="Hold the boot button, plug the board in, then go on: what is right already is not written again.",
            device=name,
        )


class DfuSilentError(LinkError):
    """The bootloader takes requests and does not answer them."""

    id = "dfu.silent"

    @classmethod
    def during(cls, act: str, *, device: str, tries: int) -> DfuSilentError:
        """Return the error for `act`, tried `tries` times."""
        return cls(
            f"The bootloader {device} did not answer while it should {act}, {tries} times.",
            why="The cable or a hub loses transfers, or the bootloader hangs.",
            state=_AS_BEFORE,
            todo="Plug the board straight into the computer with a short cable, its boot button held, then go on.",
            device=device,
            act=act,
            tries=tries,
        )


class DfuStuckError(ProtocolError):
    """The bootloader stays in a state from which nothing can be asked of it."""

    id = "dfu.stuck"
    retry_helps = True

    @classmethod
    def at(cls, state: int, *, device: str) -> DfuStuckError:
        """Return the error for the number of the state."""
        return cls(
            f"The bootloader {device} stays in state {state} and cannot be brought back to idle.",
            why="A transfer before this one was broken off, or the bootloader does not keep to the standard.",
            state=_AS_BEFORE,
            todo="Unplug the board, hold its boot button, plug it in, let go, then go on.",
            device=device,
            device_state=state,
        )


class DfuRefusedError(ProtocolError):
    """The bootloader refused to do something, again and again."""

    id = "dfu.refused"

    @classmethod
    def to(cls, act: str, *, status: int, words: str, tries: int) -> DfuRefusedError:
        """Return the error for `act`; `words` is what the device said."""
        return cls(
            f"The bootloader refused to {act}, {tries} times: {words}.",
            why="The microcontroller has no such address or sector, or the sector is protected.",
            state=_AS_BEFORE,
            todo="Check that the board is the one of the plan; restart it without the button to leave it as it is.",
            act=act,
            status=status,
            tries=tries,
        )


class AnswerUnreadableError(ProtocolError):
    """An answer of the bootloader has not the shape that the standard gives it."""

    id = "dfu.answer-unreadable"
    retry_helps = True

    @classmethod
    def of(cls, what: str, data: bytes, *, wanted: int) -> AnswerUnreadableError:
        """Return the error for an answer with another length than `wanted` bytes."""
        return cls(
            f"The bootloader's {what} has {len(data)} bytes where {wanted} are due: {data[:16].hex(' ')}.",
            why="The cable or a hub cut it short, or the device does not keep to the standard.",
            state=_AS_BEFORE,
            todo="Plug the board straight into the computer with a short cable, then try again.",
            found=len(data),
            expected=wanted,
        )


class MemoryStringError(ProtocolError):
    """The bootloader describes its memory in words that cannot be read."""

    id = "dfu.memory-string"

    @classmethod
    def of(cls, text: str, *, problem: str) -> MemoryStringError:
        """Return the error for the string `text`."""
        return cls(
            f"The bootloader describes its memory as {text[:120]!r}, which cannot be read: {problem}.",
            why="Which addresses are flash and how large its sectors are is known only from this description.",
            state=_UNCHANGED,
            todo="Use the board's serial port and its UART bootloader instead.",
            text=text[:120],
        )


class DfuNoFlashError(ProtocolError):
    """No alternate setting of the device is flash that can be erased and written."""

    id = "dfu.no-flash"

    @classmethod
    def on(cls, device: str, *, found: str) -> DfuNoFlashError:
        """Return the error; `found` lists what the device offers."""
        return cls(
            f"The USB device {device} offers no flash to write.",
            why=f"It offers: {found or 'nothing'}. It lacks the memory extension, or is another kind of device.",
            state=NOTHING_SENT,
            todo="Check that it is the board of the job; use the board's serial port and its UART bootloader instead.",
            device=device,
            found=found,
        )


class SectorNotInLayoutError(ProtocolError):
    """A sector of the plan is no sector of the device."""

    id = "dfu.sector-not-in-layout"

    @classmethod
    def of(cls, number: int, address: int, size_bytes: int, *, layout: str) -> SectorNotInLayoutError:
        """Return the error for a sector; `layout` is what the device has there."""
        return cls(
            f"The plan has sector {number} ({size_bytes} bytes at {address:#010x}); the device has {layout} there.",
            why="The board is not the one of the plan: its flash is laid out in another way.",
            state=_UNCHANGED,
            todo="Check which board this is and make a new plan for it.",
            sector=number,
            address=address,
            size_bytes=size_bytes,
        )
