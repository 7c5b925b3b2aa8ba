"""Write hangar-form-0001.db beside this file: an aircraft seen twice, two changeovers, three events."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

from rotorwright.hangar.journal import JsonValue
from rotorwright.hangar.store import Hangar

UNIQUE_ID = "0f1e2d3c4b5a69788796a5b4"


def main() -> None:
    """Refuse to write over a file that is there."""
    target = Path(__file__).with_name("hangar-form-0001.db")
    if target.exists():
        raise SystemExit(f"{target} is there already; old forms are kept as they are")
    with tempfile.TemporaryDirectory() as folder:
        with Hangar.open(Path(folder)) as hangar:
            fill(hangar)
        shutil.copyfile(Path(folder) / "hangar.db", target)


def fill(hangar: Hangar) -> None:
    """Put the rows in."""
    for release, board, day in (("5.2.0", "Corvane One", "01"), ("6.0.0", "Corvane C405", "02")):
        hangar.remember_aircraft(
            unique_id=UNIQUE_ID,
            family="Thornbill",
            release=release,
            board=board,
            at=f"2026-11-{day}T09:00:00Z",
            airframe="Sandmartin 5",
        )
    first = hangar.new_changeover(UNIQUE_ID, "2026-11-01T09:00:01Z")
    hangar.new_changeover(UNIQUE_ID, "2026-11-02T09:00:01Z")
    facts: list[dict[str, JsonValue]] = [{"port": "/dev/example"}, {"settings": 423, "ratio": 0.25}, {"text": "über"}]
    for number, each in enumerate(facts, start=1):
        hangar.append(first, f"kind-{number}", each, f"2026-11-01T09:00:0{number}Z")


if __name__ == "__main__":
    main()
