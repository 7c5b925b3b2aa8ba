"""Write hangar-form-0002.db beside this file: what form 0001 has, and one entry of the library of captured defaults."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

from tests.unit.hangar.data.make_form_0001 import UNIQUE_ID, fill

from rotorwright.hangar.defaults_library import DefaultsLibrary
from rotorwright.hangar.store import Hangar
from rotorwright.settings.identity import Identity
from rotorwright.settings.snapshot import Snapshot
from rotorwright.settings.values import SettingType, Value


def main() -> None:
    """Refuse to write over a file that is there."""
    target = Path(__file__).with_name("hangar-form-0002.db")
    if target.exists():
        raise SystemExit(f"{target} is there already; old forms are kept as they are")
    with tempfile.TemporaryDirectory() as folder:
        with Hangar.open(Path(folder)) as hangar:
            fill(hangar)
            DefaultsLibrary(hangar).add(fresh(), catalogue=None, read_by="mavlink")
        shutil.copyfile(Path(folder) / "hangar.db", target)


def fresh() -> Snapshot:
    """Return what was captured."""
    identity = Identity(UNIQUE_ID, "Thornbill", "5.2.0", "Corvane One", "cafe01")
    settings = {"RATE_ROLL": Value.of(SettingType.FLOAT, 0.15), "PIN_LED": Value.of(SettingType.UINT8, 3)}
    return Snapshot(identity, settings, "2026-11-01T09:30:00Z")


if __name__ == "__main__":
    main()
