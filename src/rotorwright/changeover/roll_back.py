"""The way back: the old image, the as-found settings and display characters, each read back."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.changeover.bringing import Bringing
from rotorwright.changeover.choosing import board_here, said_release
from rotorwright.changeover.entering import bootloader
from rotorwright.changeover.errors import (
    OldImageMissingError,
    OldImageOtherReleaseError,
    RollBackNotPossibleError,
)
from rotorwright.changeover.events import EventKind
from rotorwright.changeover.gates import Gate
from rotorwright.changeover.kept import kept_facts
from rotorwright.changeover.reading import is_volatile
from rotorwright.changeover.receive import as_found, catalogue_from, keep_snapshot
from rotorwright.changeover.restore import (
    bring_display,
    display_differences,
    require_battery,
    reset_and_restart,
)
from rotorwright.changeover.write import (
    is_taken,
    planned_sectors,
    require_chip_and_id,
    start_application,
    write_planned,
)
from rotorwright.firmware.descriptor import find_descriptor
from rotorwright.firmware.files import kept_suffix, read_image_file
from rotorwright.firmware.image import Image
from rotorwright.settings.identity import release_line

if TYPE_CHECKING:
    from rotorwright.changeover.workshop import Workshop
    from rotorwright.hangar.journal import JsonValue
    from rotorwright.settings.identity import Identity


def want_roll_back(shop: Workshop, *, because: str) -> None:
    """Note that the person wants the way back.

    Raises:
        RollBackNotPossibleError: nothing was changed yet, or the changeover is over.
    """
    state = shop.state
    if state.is_rolled_back:
        raise _nothing("It is rolled back already.", "The aircraft is as it was found.")
    if state.signed_by is not None:
        raise _nothing(
            "It is signed.",
            "Start a new changeover with the image of the old release; its snapshot is in the hangar.",
        )
    if not state.is_flash_touched and state.new_identity is None:
        raise _nothing("Nothing was changed on the aircraft.", "Restart the aircraft; it is as it was found.")
    if not state.is_rolling_back:
        shop.note(EventKind.ROLL_BACK_WANTED, by=shop.person.name, because=because)


def give_old_image(shop: Workshop, data: bytes, *, name: str, base: int | None = None) -> None:
    """Keep an image of the old release that a person gives for the way back.

    Raises:
        ImageError: it cannot be read.
        OldImageOtherReleaseError: it is not of the release and board that the aircraft was found with.
    """
    found = read_image_file(data, name=name, base=base)
    received = shop.state.received
    assert received is not None
    _require_old_release(shop, found.image, received, name)
    file = shop.journal.keep(f"old-image-given-{found.image.sha256[:12]}.{kept_suffix(found)}", data)
    shop.note(EventKind.OLD_IMAGE_GIVEN, file=kept_facts(file), base=base, image_sha256=found.image.sha256)


def _require_old_release(shop: Workshop, image: Image, received: Identity, name: str) -> None:
    board, descriptor = board_here(shop, image), find_descriptor(image)
    said = said_release(shop.book(), board, image)
    is_for_board = descriptor is None or descriptor.board in {received.board, *board.names}
    if said == release_line(received.release) and is_for_board:
        return
    what = "does not say which release it is" if said is None else f"is {said}"
    what += f" for {descriptor.board}" if descriptor else ""
    raise OldImageOtherReleaseError(
        f"{name} {what}; the aircraft was found with {received.release} on {received.board}.",
        why="The way back leads to the release that the aircraft was found with, and to no other.",
        todo=f"Take the image of {received.release} for {received.board} from its publisher.",
        expected=received.release,
        found=said or "",
    )


def old_image(shop: Workshop) -> Image:
    """Return what stood in the sectors of the plan before the write, or what a person gave for it.

    Raises:
        OldImageMissingError: neither is here.
    """
    kept, received = shop.state.old_image, shop.state.received
    assert received is not None
    if kept is None:
        raise OldImageMissingError.of(received.release, received.board, shop.journal.changeover_id)
    data = shop.journal.fetch(kept)
    if shop.state.is_old_image_given:
        return read_image_file(data, name=kept.name, base=shop.state.old_image_base).image
    _, sectors = planned_sectors(shop)
    chunks, at = [], 0
    for sector in sectors:
        chunks.append((sector.address, data[at : at + sector.size_bytes]))
        at += sector.size_bytes
    return Image.of(chunks)


def roll_back_image(shop: Workshop) -> None:
    """Write the old image back into the sectors of the plan and read them back, where the bootloader lets us."""
    image = old_image(shop)
    shop.require_confirmed(Gate.PROPELLERS_OFF)
    part, _ = planned_sectors(shop)
    with bootloader(shop) as boot:
        require_chip_and_id(shop, boot, part)
        written = write_planned(shop, boot, image, "writing the old image back")
    facts: dict[str, JsonValue] = {"sectors_written": len(written.sectors), "unproved": list(written.unproved)}
    if written.bytes_verified:
        shop.note(EventKind.OLD_IMAGE_VERIFIED, bytes=written.bytes_verified, **facts)
    else:
        shop.note(EventKind.OLD_IMAGE_WRITTEN, **facts)


def roll_back_start(shop: Workshop) -> None:
    """Start the old release and hear it answer."""
    image, received = shop.state.image, shop.state.received
    assert image is not None
    assert received is not None
    if not is_taken(shop, is_read_back=shop.state.is_old_image_verified):
        return  # the next step writes it again
    identity = start_application(shop, image, expected_release=received.release)
    shop.note(EventKind.OLD_APPLICATION_ANSWERED, **identity)


def roll_back_settings(shop: Workshop) -> None:
    """Bring every as-found setting back, measured ones left out, and read all of them back after a restart."""
    shop.require_confirmed(Gate.PROPELLERS_OFF)
    snapshot, catalogue = as_found(shop), catalogue_from(shop, shop.state.old_catalogue)
    constraints = shop.book().constraints(release_line(snapshot.identity.release)) or ()
    expected = {name: value for name, value in snapshot.settings.items() if not is_volatile(name, catalogue)}
    shop.note(EventKind.OLD_SETTINGS_WANTED, settings=len(expected))
    reset_and_restart(shop)
    found = Bringing(shop, expected, "bringing the as-found settings back", catalogue, constraints).run()
    file = keep_snapshot(shop, "rolled-back", found)
    shop.note(EventKind.OLD_SETTINGS_VERIFIED, file=kept_facts(file), verified=len(expected))


def roll_back_display(shop: Workshop) -> None:
    """Bring the as-found display characters back, if there were any and they differ now."""
    changed = 0
    if shop.state.old_display is not None:
        wanted = shop.journal.fetch(shop.state.old_display)
        if display_differences(shop, wanted):
            require_battery(shop)
            shop.note(EventKind.DISPLAY_WANTED)
            changed = bring_display(
                shop, wanted, lambda done, total: shop.progress("writing display characters", done, total)
            )
    shop.note(EventKind.OLD_DISPLAY_VERIFIED, changed=changed)


def roll_back_close(shop: Workshop) -> None:
    """Note that the aircraft is as it was found."""
    shop.note(EventKind.ROLLED_BACK, by=shop.person.name)


def _nothing(what: str, todo: str) -> RollBackNotPossibleError:
    return RollBackNotPossibleError(
        f"There is no way back to take: {what}",
        why="The way back is for a changeover that was begun and is not over.",
        state="Nothing was sent to the aircraft now.",
        todo=todo,
    )
