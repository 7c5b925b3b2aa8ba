"""A bench for whole commands: a virtual aircraft in a process of its own, behind a pseudo-terminal, with its papers."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from rotorwright.cli.border import run_guarded
from rotorwright.cli.main import app

if TYPE_CHECKING:
    from pathlib import Path

    import pytest

    from rotorwright.twin.process import TwinProcess

ANSWERS = """
accept_plan = true
confirm = ["propellers-off"]
hands = true
retries = 2
sign = "tester"

[held]
TURN_YAW_PUSH = "keep-mine"
SIEVE_GYRO1_CUT = "keep-mine"
SIEVE_TRACK_Q = "keep-mine"
LOSS_HOLD = "keep-mine"
SIEVE_TRACK_HIGH = "nearest-below"
SIEVE_DAMP_PITCH = "take-new-default"
SLOT3_TASK = "take-new-default"
LIGHT_BRIGHT = "nearest-below"
"""


@dataclass
class Bench:
    """A twin, its book and images, a hangar, and what a command printed."""

    folder: Path
    twin: TwinProcess
    capture: pytest.CaptureFixture[str]

    @property
    def port(self) -> str:
        return str(self.twin.port)

    @property
    def book(self) -> str:
        return str(self.folder / "book")

    @property
    def hangar(self) -> list[str]:
        return ["--hangar", str(self.folder / "hangar")]

    @property
    def rates(self) -> list[str]:
        return ["--baud", "921600", "--loader-baud", "921600"]

    def answers(self, text: str = ANSWERS) -> list[str]:
        (self.folder / "answers.toml").write_text(text, encoding="utf-8")
        return ["--answers", str(self.folder / "answers.toml")]

    def run(self, *arguments: str) -> tuple[int, str, str]:
        code = run_guarded(app, list(arguments))
        said = self.capture.readouterr()
        assert "Traceback" not in said.out + said.err
        return code, said.out, said.err

    def json(self, *arguments: str) -> Any:
        code, out, err = self.run(*arguments, "--json")
        assert code in {0, 1}, err
        return json.loads(out)

    def changeover(self, answers: str = ANSWERS) -> tuple[int, str, str]:
        image = str(self.folder / "images" / "thornbill-6.0-corvane-c405.hex")
        job = ["changeover", "--port", self.port, "--image", image, "--book", self.book, "--airframe", "Sandmartin 5"]
        return self.run(*job, *self.hangar, *self.rates, *self.answers(answers))
