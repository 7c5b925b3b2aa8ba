"""Stage plan, where nobody knows the old defaults: the aircraft itself tells them, by a reset."""

from __future__ import annotations

from rotorwright.changeover.events import EventKind
from rotorwright.changeover.gates import Gate
from rotorwright.changeover.knowledge import are_old_defaults_known, note_old_defaults, old_catalogue
from rotorwright.changeover.reading import read_twice
from rotorwright.changeover.receive import prove_copy
from rotorwright.changeover.restore import remember_defaults, reset_and_restart
from rotorwright.changeover.workshop import AFTER_RESTART_S, Workshop
from rotorwright.settings.snapshot import Snapshot


def learn_old_defaults(shop: Workshop) -> None:
    """Reset the old release to its defaults, restart, and read them twice; the copy of its settings is proved first.

    Where a catalogue tells them, the aircraft is left alone.

    Raises:
        NotConfirmedError: the propellers are not confirmed off.
        SnapshotReadsDifferError: the two readings differ.
    """
    catalogue = old_catalogue(shop)
    if are_old_defaults_known(shop) and catalogue is not None:
        snapshot = prove_copy(shop)
        told = Snapshot(identity=snapshot.identity, settings=catalogue.defaults, taken_at=shop.now())
        note_old_defaults(shop, told, source="catalogue")
        return
    prove_copy(shop)
    shop.require_confirmed(Gate.PROPELLERS_OFF)
    shop.note(EventKind.OLD_DEFAULTS_WANTED)
    reset_and_restart(shop)
    with shop.application(timeout_s=AFTER_RESTART_S) as link:
        identity = link.read_identity()
        settings = read_twice(link, catalogue, shop.progress)
    read = Snapshot(identity=identity, settings=settings, taken_at=shop.now())
    note_old_defaults(shop, read, source="aircraft")
    remember_defaults(shop, read, catalogue=None)
