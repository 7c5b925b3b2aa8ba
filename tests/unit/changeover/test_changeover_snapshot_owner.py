from __future__ import annotations

from dataclasses import replace

import pytest

from rotorwright.changeover.receive import require_own_snapshot
from rotorwright.errors import WrongAircraftError
from rotorwright.settings.identity import Identity
from rotorwright.settings.snapshot import Snapshot

OURS = Identity(
    unique_id="3a0027001351383438343933", family="Thornbill", release="5.2.0", board="Corvane One", build=""
)


def test_a_snapshot_of_another_aircraft_is_refused_with_both_ids() -> None:
    other = replace(OURS, unique_id="0" * 24)
    snapshot = Snapshot(identity=other, settings={}, taken_at="2026-01-01T00:00:00Z")
    with pytest.raises(WrongAircraftError) as caught:
        require_own_snapshot(OURS, snapshot, source="as-found.json")
    assert OURS.unique_id in caught.value.what
    assert other.unique_id in caught.value.what
    assert caught.value.exit_code == 9


def test_the_aircrafts_own_snapshot_passes_whatever_release_it_ran() -> None:
    later = replace(OURS, release="6.0.0", board="Corvane C405")
    require_own_snapshot(OURS, Snapshot(identity=later, settings={}, taken_at="2026-01-01T00:00:00Z"), source="x")
