"""A desk for commands that need no aircraft: a book, an aircraft's snapshot, a printed listing, and a command line."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pytest

from rotorwright.cli.border import run_guarded
from rotorwright.cli.main import app
from rotorwright.hangar.books import read_book
from rotorwright.settings.dialects.shipped import thornbill_sample
from rotorwright.settings.identity import Identity
from rotorwright.settings.snapshot import Snapshot, parse_snapshot, print_snapshot
from rotorwright.settings.values import Value
from rotorwright.twin.thornbill.book import write_book

if TYPE_CHECKING:
    from pathlib import Path

UNIQUE_ID = "0123456789abcdef01234567"
NOON = "2026-05-01T12:00:00Z"
CUSTOMISED = {"LOSS_HOLD": 600, "LIGHT_BRIGHT": 95, "SIEVE_DAMP_PITCH": 110, "SIEVE_DAMP_ROLL": 95, "SLOT3_TASK": 6}


@dataclass
class Desk:
    """A folder with papers, and what a command printed."""

    folder: Path
    capture: pytest.CaptureFixture[str]

    def path(self, name: str) -> str:
        return str(self.folder / name)

    def write(self, name: str, text: str) -> str:
        (self.folder / name).write_text(text, encoding="utf-8", newline="")
        return self.path(name)

    def snapshot(self, name: str = "found.json") -> Snapshot:
        return parse_snapshot((self.folder / name).read_bytes(), source=name)

    def run(self, *arguments: str) -> tuple[int, str, str]:
        code = run_guarded(app, list(arguments))
        said = self.capture.readouterr()
        assert "Traceback" not in said.out + said.err
        assert "defect in Rotorwright" not in said.err
        return code, said.out, said.err

    def json(self, *arguments: str) -> Any:
        code, out, err = self.run(*arguments, "--json")
        assert code in {0, 1}, err
        return json.loads(out)

    def refused(self, code: int, *arguments: str) -> str:
        """Run a command that has to fail in words with `code`, and return the words."""
        found, _, err = self.run(*arguments)
        assert found == code, err
        if code != 2:
            for answer in ("Stopped:", "Why", "Aircraft", "Next"):
                assert answer in err
        return " ".join(err.split())


@pytest.fixture(scope="session")
def papers(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("papers")
    write_book(folder / "book")
    (folder / "listing.txt").write_bytes(thornbill_sample())
    catalogue = read_book(folder / "book").catalogue("5.2", "Corvane C405")
    assert catalogue is not None
    settings = dict(catalogue.defaults)
    settings |= {name: Value.of(settings[name].type, number) for name, number in CUSTOMISED.items()}
    identity = Identity(UNIQUE_ID, "Thornbill", "5.2.0", "Corvane One")
    (folder / "found.json").write_bytes(print_snapshot(Snapshot(identity, settings, NOON)))
    (folder / "old.json").write_bytes(print_snapshot(Snapshot(identity, catalogue.defaults, NOON)))
    return folder
