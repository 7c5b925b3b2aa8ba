"""Stage write: the old image kept, the new one written, read back and started."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.changeover.choosing import judge, read_image
from rotorwright.changeover.entering import bootloader, bootloader_if_it_answers
from rotorwright.changeover.errors import ImageNotTakenError, WrongReleaseError
from rotorwright.changeover.events import EventKind
from rotorwright.changeover.gates import Gate, GateShutError
from rotorwright.changeover.kept import kept_facts
from rotorwright.changeover.receive import keep_content, prove_copy
from rotorwright.changeover.sheets import current_sheet
from rotorwright.changeover.state import ChosenImage, identity_facts
from rotorwright.changeover.workshop import AFTER_RESTART_S, Workshop, require_same_id
from rotorwright.errors import LinkError, ProtocolError
from rotorwright.firmware.fit import EvidenceVerdict, FitVerdict
from rotorwright.firmware.mcu import Microcontroller, Sector, microcontroller
from rotorwright.links.rom_uart.spec import ERASED
from rotorwright.settings.identity import release_line

if TYPE_CHECKING:
    from collections.abc import Callable

    from rotorwright.changeover.bootloaders import Bootloader, Written
    from rotorwright.firmware.image import Image
    from rotorwright.hangar.journal import JsonValue


def planned_sectors(shop: Workshop) -> tuple[Microcontroller, tuple[Sector, ...]]:
    """Return the part and the sectors of the accepted plan; nothing outside them is ever touched."""
    image = shop.state.image
    assert image is not None
    part = microcontroller(image.microcontroller)
    return part, tuple(sector for sector in part.sectors if sector.number in image.sectors)


def save_old_image(shop: Workshop) -> None:
    """Go into the bootloader and keep what stands in the sectors of the plan: the way back.

    Raises:
        GateShutError: propellers not confirmed off, or something is undecided.
        WrongAircraftError: another board answers.
        ImageBoardMismatchError: the chip is not the one the image was built for.
    """
    pass_gates_before_write(shop)
    part, sectors = planned_sectors(shop)
    with bootloader(shop) as boot:
        require_planned_board(shop, boot, part)
        boot.require_sectors(sectors)
        data = boot.keep(sectors, lambda done, total: shop.progress("keeping the old image", done, total))
        if data is None or not data.strip(
            bytes((ERASED,))
        ):  # gives nothing out, or its lock was taken off and all is gone
            require_other_way_back(shop)
            return
    file = keep_content(shop, "old-image", "bin", data)
    shop.note(EventKind.OLD_IMAGE_SAVED, file=kept_facts(file), sectors=[sector.number for sector in sectors])


def require_other_way_back(shop: Workshop) -> None:
    """Let a person say that the old image is at hand, where the bootloader does not give it out.

    Raises:
        NotConfirmedError: it is not.
    """
    shop.require_confirmed(Gate.NO_OLD_IMAGE)
    shop.note(EventKind.OLD_IMAGE_UNREADABLE)


def pass_gates_before_write(shop: Workshop) -> None:
    """Pass every gate that stands before the first erase, in each run anew.

    Raises:
        GateShutError: one is shut.
    """
    prove_copy(shop)
    require_consent(shop)
    shop.require_confirmed(Gate.PROPELLERS_OFF)


def require_consent(shop: Workshop) -> None:
    """Let nothing be written without a person's word: to the whole plan, or, where it is learnt, to the write.

    Raises:
        GateShutError: something is undecided, or nothing was accepted.
    """
    state = shop.state
    if state.image is not None and not state.image.are_settings_known and state.is_write_accepted:
        return
    undecided = len(current_sheet(shop).undecided) if state.sheet else 0
    if undecided or not state.is_accepted:
        raise GateShutError(
            Gate.NOTHING_HELD,
            found=f"{undecided} settings are undecided or the plan was not accepted.",
            todo="Go on with `resume`; it asks for what is missing.",
        )


def require_planned_board(shop: Workshop, boot: Bootloader, part: Microcontroller) -> None:
    """Let only the received aircraft, with the chip of the plan, be written.

    Raises:
        WrongAircraftError: the unique id differs.
        NotConfirmedError: this bootloader tells no unique id, and no person says which board this is.
        ImageBoardMismatchError: the chip id differs, or the flash is too small.
    """
    chip_id = require_chip_and_id(shop, boot, part)
    fit, _ = judge(shop, read_image(shop), chip_id=chip_id, flash_kib=boot.flash_kib(part))
    passed = sum(one.verdict is EvidenceVerdict.PASSED for one in fit.evidence)
    chip = "which tells no chip id" if chip_id is None else f"chip {chip_id:#05x}"
    sure = "" if fit.verdict is FitVerdict.FITS else "; a person vouched for it"
    shop.pass_measured(Gate.IMAGE_FITS, f"{passed} tests passed, none failed, {boot.words}, {chip}{sure}")


def require_chip_and_id(shop: Workshop, boot: Bootloader, part: Microcontroller) -> int | None:
    """Let only the received aircraft be written; return its chip id, None where this bootloader tells none.

    Raises:
        WrongAircraftError: the unique id differs.
        NotConfirmedError: it tells no unique id, the board was not sent there by its application, and no person
            says that it is the one.
    """
    received = shop.state.received
    assert received is not None
    chip_id, unique_id = boot.chip_id(), boot.unique_id(part)
    if unique_id is not None:
        require_same_id(received.unique_id, unique_id)
    shop.note(
        EventKind.BOOTLOADER_ANSWERED,
        way=str(boot.way),
        bootloader=boot.words,
        chip_id=None if chip_id is None else f"{chip_id:#05x}",
        unique_id=unique_id,
    )
    if unique_id is not None:
        shop.pass_measured(Gate.SAME_AIRCRAFT, f"unique id {unique_id}")
    elif shop.was_sent_to_bootloader:
        words = f"unique id {received.unique_id}, asked just before it went into the bootloader, which tells none"
        shop.pass_measured(Gate.SAME_AIRCRAFT, words)
    else:
        shop.require_confirmed(Gate.SAME_BOARD_SEEN)
    return chip_id


def write_image(shop: Workshop) -> None:
    """Write the sectors that differ and read all of them back, where the bootloader gives anything out."""
    pass_gates_before_write(shop)
    part, _ = planned_sectors(shop)
    with bootloader(shop) as boot:
        require_planned_board(shop, boot, part)
        written = write_planned(shop, boot, read_image(shop), "writing the image")
    for words in written.unproved:
        shop.person.tell(f"Not proved: {words}")
    facts: dict[str, JsonValue] = {
        "sectors_written": len(shop.state.erased_sectors),
        "sectors_written_now": len(written.sectors),
        "unproved": list(written.unproved),
    }
    if written.bytes_verified:
        shop.note(
            EventKind.IMAGE_VERIFIED,
            bytes=written.bytes_verified,
            bytes_by_checksum=written.bytes_by_checksum,
            **facts,
        )
    else:
        shop.note(EventKind.IMAGE_WRITTEN, **facts)


def write_planned(shop: Workshop, boot: Bootloader, image: Image, words: str) -> Written:
    """Write `image` into the sectors of the plan, each erase committed to the journal before it is sent."""
    part, sectors = planned_sectors(shop)
    boot.require_sectors(sectors)
    written = boot.write(
        image,
        sectors,
        part=part,
        before_erase=_allow_erase(shop),
        progress=lambda done, total: shop.progress(words, done, total),
    )
    shop.has_written = True
    return written


def _allow_erase(shop: Workshop) -> Callable[[Sector], None]:
    def allow(sector: Sector) -> None:
        shop.note(EventKind.ERASE_ALLOWED, sector=sector.number, address=f"{sector.address:#010x}")

    return allow


def start(shop: Workshop) -> None:
    """Start the new release and hear it say who it is.

    Raises:
        WrongReleaseError: another release answers.
    """
    image = shop.state.image
    assert image is not None
    if not is_taken(shop, is_read_back=shop.state.is_image_verified):
        return  # the next step writes it again
    identity = start_application(shop, image, expected_release=image.release)
    shop.note(EventKind.APPLICATION_ANSWERED, **identity)


def is_taken(shop: Workshop, *, is_read_back: bool) -> bool:
    """Answer whether the board took what was written, as far as that can be seen before it answers.

    A bootloader that starts by itself what it got is there again only if it did not get the whole; an image that was
    read back needs no such look.

    Raises:
        ImageNotTakenError: it was written in this very run, so that writing it once more is for a person to say.
    """
    if is_read_back:
        return True
    with bootloader_if_it_answers(shop) as boot:
        if boot is None or not boot.starts_by_itself:
            return True
        shop.note(EventKind.IMAGE_NOT_TAKEN, bootloader=boot.words)
        if shop.has_written:
            raise ImageNotTakenError.by(boot.words)
        return False


def start_application(shop: Workshop, image: ChosenImage, *, expected_release: str) -> dict[str, str]:
    """Start what is in flash and return who answers.

    Raises:
        WrongReleaseError: the release that answers is not `expected_release`.
    """
    shop.note(EventKind.APPLICATION_WANTED, release=expected_release)
    part = microcontroller(image.microcontroller)
    try:
        with bootloader_if_it_answers(shop) as boot:
            if boot is not None:
                boot.start(part.vectors_address)
    except (LinkError, ProtocolError) as error:
        # The answer to `go` may be lost in the restart; what counts is who answers afterwards.
        shop.person.tell(f"The bootloader did not confirm the start ({error.what}).")
    with shop.application(timeout_s=AFTER_RESTART_S) as link:
        identity = link.read_identity()
    if expected_release and release_line(identity.release) != release_line(expected_release):
        raise WrongReleaseError(
            f"{identity.family} {identity.release} answers, {expected_release} was expected.",
            why="The board starts another image than the one that was written and read back.",
            todo="Go on with `resume` once more; if it stays so, use `roll-back`.",
            expected=expected_release,
            found=identity.release,
        )
    return {key: str(value) for key, value in identity_facts(identity).items()}
