"""The process is killed while it writes: nothing that it acknowledged is lost, and the next one goes on."""

from __future__ import annotations

import hashlib
import subprocess
import sys
from pathlib import Path

import pytest

from rotorwright.hangar.errors import ChangeoverBusyError
from rotorwright.hangar.store import Hangar

ONE = "0f" * 12

APPENDING = """
import sys
from pathlib import Path
from rotorwright.hangar.store import Hangar
hangar = Hangar.open(Path(sys.argv[1]))
while True:
    event = hangar.append("c0001", "noted", {"filler": "x" * 500}, "2026-11-24T12:00:00Z")
    print(event.sequence, event.sha256, flush=True)
"""

KEEPING = """
import sys
from pathlib import Path
from rotorwright.hangar.store import Hangar
hangar = Hangar.open(Path(sys.argv[1]))
number = int(sys.argv[2])
while True:
    number += 1
    kept = hangar.keep("c0001", f"file-{number}", bytes([number % 256]) * 50_000)
    print(number, kept.sha256, flush=True)
"""

LOCKING = """
import sys
from pathlib import Path
from rotorwright.hangar.store import Hangar
hangar = Hangar.open(Path(sys.argv[1]))
with hangar.lock("c0001"):
    print("locked", flush=True)
    sys.stdin.read()
"""


def killed_after(code: str, lines: int, *arguments: str) -> list[str]:
    """Run `code`, kill it after so many lines of output, and return every whole line that it had printed by then."""
    with subprocess.Popen([sys.executable, "-c", code, *arguments], stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        printed = [process.stdout.readline() for _ in range(lines)]
        process.kill()
        printed += process.stdout.readlines()
    assert process.returncode != 0, "it was killed, it did not end"
    return [line for line in printed if line.endswith("\n")]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    with Hangar.open(tmp_path) as hangar:
        hangar.new_changeover(ONE, "2026-11-24T12:00:00Z")
    return tmp_path


def test_no_acknowledged_event_is_lost_and_the_chain_goes_on(folder: Path) -> None:
    acknowledged: dict[int, str] = {}
    for lines in (1, 7, 30, 100, 3):
        for line in killed_after(APPENDING, lines, str(folder)):
            sequence, sha256 = line.split()
            acknowledged[int(sequence)] = sha256
        with Hangar.open(folder) as hangar:
            found = {event.sequence: event.sha256 for event in hangar.events("c0001")}
            assert acknowledged.items() <= found.items()
            after = hangar.append("c0001", "resumed", {}, "2026-11-24T12:00:01Z", expected_sequence=len(found) + 1)
            acknowledged[after.sequence] = after.sha256
    assert len(acknowledged) >= 146


def test_a_kept_file_is_there_whole_or_not_at_all(folder: Path) -> None:
    number = 0
    for lines in (1, 5, 20):
        kept = killed_after(KEEPING, lines, str(folder), str(number))
        number = int(kept[-1].split()[0])
        with Hangar.open(folder) as hangar:
            for line in kept:
                name, sha256 = line.split()
                content = (hangar.folder_of("c0001") / f"file-{name}").read_bytes()
                assert hashlib.sha256(content).hexdigest() == sha256
            for path in hangar.folder_of("c0001").glob("file-*"):
                assert path.stat().st_size == 50_000
            number += 1  # the file that was perhaps being kept at the kill is kept again
            hangar.keep("c0001", f"file-{number}", bytes([number % 256]) * 50_000)


def test_the_lock_is_held_against_another_process_and_freed_by_its_death(folder: Path) -> None:
    with (
        Hangar.open(folder) as hangar,
        subprocess.Popen(
            [sys.executable, "-c", LOCKING, str(folder)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        ) as process,
    ):
        assert process.stdout is not None
        assert process.stdout.readline() == "locked\n"
        with pytest.raises(ChangeoverBusyError) as caught, hangar.lock("c0001"):
            pytest.fail("two held the lock")
        assert caught.value.facts["process"] == process.pid
        process.kill()
        process.wait()
        with hangar.lock("c0001"):
            pass
