"""Stage write: the old image kept, the new one written, read back and started."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.changeover.choosing import judge, read_image
from rotorwright.changeover.errors import WrongReleaseError
from rotorwright.changeover.events import EventKind
from rotorwright.changeover.gates import Gate, GateShutError
from rotorwright.changeover.kept import kept_facts
from rotorwright.changeover.receive import keep_content, prove_copy
from rotorwright.changeover.sheets import current_sheet
from rotorwright.changeover.state import ChosenImage, identity_facts
from rotorwright.changeover.workshop import AFTER_RESTART_S, UNIQUE_ID_BYTES, Workshop, require_same_id
from rotorwright.errors import LinkError, ProtocolError
from rotorwright.firmware.fit import EvidenceVerdict, FitVerdict
from rotorwright.firmware.mcu import Microcontroller, Sector, microcontroller
from rotorwright.links.rom_uart.flash_writer import WriteReport, read_region, write_sectors
from rotorwright.settings.identity import release_line

if TYPE_CHECKING:
    from collections.abc import Callable

    from rotorwright.firmware.image import Image
    from rotorwright.links.rom_uart.client import RomUartLoader


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
    with shop.loader() as loader:
        require_planned_board(shop, loader, part)
        parts = [_read_sector(shop, loader, sectors, number) for number in range(len(sectors))]
    file = keep_content(shop, "old-image", "bin", b"".join(parts))
    shop.note(EventKind.OLD_IMAGE_SAVED, file=kept_facts(file), sectors=[sector.number for sector in sectors])


def _read_sector(shop: Workshop, loader: RomUartLoader, sectors: tuple[Sector, ...], index: int) -> bytes:
    before = sum(sector.size_bytes for sector in sectors[:index])
    total = sum(sector.size_bytes for sector in sectors)
    sector = sectors[index]
    return read_region(
        loader,
        sector.address,
        sector.size_bytes,
        twice=True,  # the protocol has no checksum over what is read, and this copy is the way back
        progress=lambda done, _: shop.progress("keeping the old image", before + done, total),
    )


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


def require_planned_board(shop: Workshop, loader: RomUartLoader, part: Microcontroller) -> None:
    """Let only the received aircraft, with the chip of the plan, be written.

    Raises:
        WrongAircraftError: the unique id differs.
        ImageBoardMismatchError: the chip id differs.
    """
    chip_id = require_chip_and_id(shop, loader, part)
    fit, _ = judge(shop, read_image(shop), chip_id=chip_id)
    passed = sum(one.verdict is EvidenceVerdict.PASSED for one in fit.evidence)
    sure = "" if fit.verdict is FitVerdict.FITS else "; a person vouched for it"
    shop.pass_measured(Gate.IMAGE_FITS, f"{passed} tests passed, none failed, chip {chip_id:#05x}{sure}")


def require_chip_and_id(shop: Workshop, loader: RomUartLoader, part: Microcontroller) -> int:
    """Let only the received aircraft be written; return its chip id.

    Raises:
        WrongAircraftError: the unique id differs.
    """
    received = shop.state.received
    assert received is not None
    info, chip_id = loader.info(), loader.chip_id()
    unique_id = loader.read(part.unique_id_address, UNIQUE_ID_BYTES).hex()
    require_same_id(received.unique_id, unique_id)
    shop.note(EventKind.BOOTLOADER_ANSWERED, chip_id=f"{chip_id:#05x}", version=str(info.version), unique_id=unique_id)
    shop.pass_measured(Gate.SAME_AIRCRAFT, f"unique id {unique_id}")
    return chip_id


def write_image(shop: Workshop) -> None:
    """Write the sectors that differ and read all of them back."""
    pass_gates_before_write(shop)
    part, _ = planned_sectors(shop)
    with shop.loader() as loader:
        require_planned_board(shop, loader, part)
        report = write_planned(shop, loader, read_image(shop), "writing the image")
    shop.note(
        EventKind.IMAGE_VERIFIED,
        bytes=report.bytes_verified,
        sectors_written=len(shop.state.erased_sectors),
        sectors_written_now=len(report.written),
    )


def write_planned(shop: Workshop, loader: RomUartLoader, image: Image, words: str) -> WriteReport:
    """Write `image` into the sectors of the plan, each erase committed to the journal before it is sent."""
    part, sectors = planned_sectors(shop)
    return write_sectors(
        loader,
        image,
        sectors,
        mcu=part,
        before_erase=_allow_erase(shop),
        progress=lambda done, total: shop.progress(words, done, total),
    )


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
    identity = start_application(shop, image, expected_release=image.release)
    shop.note(EventKind.APPLICATION_ANSWERED, **identity)


def start_application(shop: Workshop, image: ChosenImage, *, expected_release: str) -> dict[str, str]:
    """Start what is in flash and return who answers.

    Raises:
        WrongReleaseError: the release that answers is not `expected_release`.
    """
    shop.note(EventKind.APPLICATION_WANTED, release=expected_release)
    part = microcontroller(image.microcontroller)
    try:
        with shop.loader_if_it_answers() as loader:
            if loader is not None:
                loader.go(part.flash_start)
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
