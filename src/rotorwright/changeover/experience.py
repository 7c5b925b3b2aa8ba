"""What the hangar learned from other aircraft: the defaults that they showed, and what belongs to their board."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.changeover.events import EventKind
from rotorwright.hangar.as_found import as_found_snapshots
from rotorwright.hangar.defaults_library import DefaultsLibrary
from rotorwright.settings.board_inference import InferredSetting, defaults_elsewhere, infer_board_settings

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.hangar.defaults_library import CapturedDefaults
    from rotorwright.hangar.store import Hangar
    from rotorwright.settings.identity import Identity
    from rotorwright.settings.snapshot import Snapshot
    from rotorwright.settings.values import Value


class HangarExperience:
    """The experience of one hangar."""

    def __init__(self, hangar: Hangar) -> None:
        self._hangar = hangar
        self._library = DefaultsLibrary(hangar)

    def find(self, family: str, release: str, board: str, *, read_by: str) -> CapturedDefaults | None:
        """Return what fresh aircraft of this release and board hold (see DefaultsLibrary.find)."""
        return self._library.find(family, release, board, read_by=read_by)

    def add(self, snapshot: Snapshot, *, catalogue: bytes | None, read_by: str) -> CapturedDefaults:
        """Keep the defaults of one more aircraft (see DefaultsLibrary.add)."""
        return self._library.add(snapshot, catalogue=catalogue, read_by=read_by)

    def board_settings(
        self, identity: Identity, family_defaults: Mapping[str, Value], *, read_by: str
    ) -> tuple[InferredSetting, ...]:
        """Return what belongs to the board of this aircraft by the evidence of all that came through.

        Only what the board's own captured defaults confirm is returned: what is merely equal on every aircraft may be
        the habit of one owner.

        Args:
            identity: of the aircraft, as received.
            family_defaults: defaults of its release whatever the board, as far as known; else those of other boards.
            read_by: `mavlink` or `console`.

        Raises:
            StorageError: the hangar cannot be read.
        """
        family, release, board = identity.family, identity.release, identity.board
        found = as_found_snapshots(self._hangar, family, release, saved_kind=EventKind.SNAPSHOT_SAVED).snapshots
        captured = self._captured(family, release, read_by)
        elsewhere = family_defaults or defaults_elsewhere(board, captured)
        inferred = infer_board_settings(board, found, family_defaults=elsewhere, board_defaults=captured.get(board))
        return tuple(each for each in inferred if each.confirmed)

    def _captured(self, family: str, release: str, read_by: str) -> dict[str, Mapping[str, Value]]:
        rows = self._library.entries()
        boards = {row.board for row in rows if (row.family, row.release, row.read_by) == (family, release, read_by)}
        found = {board: self._library.find(family, release, board, read_by=read_by) for board in sorted(boards)}
        return {board: each.settings for board, each in found.items() if each is not None}
