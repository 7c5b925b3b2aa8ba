"""What is known of the old and the new release, and from where: the aircraft, the release book, the library.

Without knowledge of one of them the job takes another order: the aircraft is asked, by a reset to its defaults before
the write and after it, and the settings are decided when both answers are there.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from rotorwright.changeover.events import EventKind
from rotorwright.changeover.kept import kept_facts
from rotorwright.changeover.receive import as_found, catalogue_from, keep_content, keep_snapshot, snapshot_from
from rotorwright.errors import StorageError
from rotorwright.settings.identity import Identity, release_line
from rotorwright.settings.snapshot import Snapshot

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.changeover.state import ChosenImage
    from rotorwright.changeover.workshop import CapturedDefaults, Workshop
    from rotorwright.settings.board_inference import InferredSetting
    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.values import Value


def old_catalogue(shop: Workshop) -> Catalogue | None:
    """Return what the settings of the old release mean: the aircraft's own catalogue, else the book's."""
    received, image = shop.state.received, shop.state.image
    assert received is not None
    board = image.board if image else received.board
    own = catalogue_from(shop, shop.state.old_catalogue)
    return own or shop.book().catalogue(release_line(received.release), board)


def old_defaults(shop: Workshop) -> Mapping[str, Value]:
    """Return the defaults of the old release as far as they are known: read from an aircraft, else catalogued."""
    read = snapshot_from(shop, shop.state.old_defaults)
    if read is not None:
        varying = shop.state.old_defaults_varying
        return {name: value for name, value in read.settings.items() if name not in varying}
    catalogue = old_catalogue(shop)
    return catalogue.defaults if catalogue else {}


def are_old_defaults_known(shop: Workshop) -> bool:
    """Answer whether every setting found has a known default, measured ones left out."""
    if shop.state.old_defaults is not None:
        return True
    catalogue = old_catalogue(shop)
    if catalogue is None:
        return False
    defaults = catalogue.defaults
    return all(name in defaults or catalogue.is_volatile(name) for name in as_found(shop).settings)


def expected_catalogue(shop: Workshop, image: ChosenImage) -> Catalogue | None:
    """Return what is known of the new release's settings on this board before it is written."""
    book = shop.book().catalogue(release_line(image.release), image.board)
    return book or catalogue_from(shop, shop.state.expected_catalogue)


def expected_defaults(shop: Workshop, image: ChosenImage) -> Mapping[str, Value] | None:
    """Return the defaults that the new release should have on this board; None where nobody knows."""
    captured = snapshot_from(shop, shop.state.expected_defaults)
    if captured is not None:
        return captured.settings
    catalogue = shop.book().catalogue(release_line(image.release), image.board)
    return catalogue.defaults if catalogue else None


def look_up_library(shop: Workshop, image: ChosenImage, *, named: str) -> None:
    """Take from the library of captured defaults what nothing else knows, and note that it came from there.

    `named` is what the image itself calls its board: the new release may have another name for it than the old one.
    """
    received = shop.state.received
    assert received is not None
    if not are_old_defaults_known(shop):
        found = _captured(shop, received.family, received.release, received.board)
        if found is not None:
            told = _told(shop, received, found)
            note_old_defaults(shop, told, source="library", varying=found.varying)
    if expected_defaults(shop, image) is None:
        names = dict.fromkeys((image.board, named or image.board))
        found = next(filter(None, (_captured(shop, received.family, image.release, name) for name in names)), None)
        if found is not None:
            of_new = replace(received, release=image.release, board=image.board, build="")
            _note_expected(shop, found, _told(shop, of_new, found))


def are_settings_known(shop: Workshop, image: ChosenImage) -> bool:
    """Answer whether the settings can be decided before the write: the defaults of both releases are known."""
    return are_old_defaults_known(shop) and expected_defaults(shop, image) is not None


def note_old_defaults(shop: Workshop, snapshot: Snapshot, *, source: str, varying: tuple[str, ...] = ()) -> None:
    """Keep the defaults of the old release and note where they came from."""
    file = keep_snapshot(shop, "old-defaults", snapshot)
    shop.note(
        EventKind.OLD_DEFAULTS_KNOWN,
        file=kept_facts(file),
        settings=len(snapshot.settings),
        source=source,
        varying=list(varying),
    )


def _told(shop: Workshop, identity: Identity, found: CapturedDefaults) -> Snapshot:
    return Snapshot(identity=identity, settings=found.settings, taken_at=shop.now())


def _note_expected(shop: Workshop, found: CapturedDefaults, told: Snapshot) -> None:
    file = keep_snapshot(shop, "expected-defaults", told)
    data = found.catalogue_data
    catalogue = keep_content(shop, "expected-catalogue", "json", data) if data else None
    shop.note(
        EventKind.NEW_DEFAULTS_EXPECTED,
        file=kept_facts(file),
        catalogue=kept_facts(catalogue) if catalogue else None,
        settings=len(told.settings),
        source="library",
    )


def _captured(shop: Workshop, family: str, release: str, board: str) -> CapturedDefaults | None:
    if shop.experience is None or not release:
        return None
    try:
        return shop.experience.find(family, release, board, read_by=shop.read_by)
    except StorageError as error:
        # The library only spares work; damaged, it must not stop a job that can do without.
        shop.person.tell(f"The library of captured defaults cannot be used: {error.what} The aircraft is asked.")
        return None


def board_settings(shop: Workshop) -> tuple[InferredSetting, ...]:
    """Return what belongs to the board of the received aircraft by the evidence of all that came through the hangar."""
    received = shop.state.received
    assert received is not None
    if shop.experience is None:
        return ()
    catalogue = old_catalogue(shop)
    defaults = catalogue.defaults if catalogue else {}
    try:
        found = tuple(shop.experience.board_settings(received, defaults, read_by=shop.read_by))
    except StorageError as error:
        shop.person.tell(f"Nothing is inferred about the board: {error.what}")
        return ()
    for each in found:
        shop.person.tell(f"{each.name} belongs to the board: {each.evidence}")
    return found
