"""`prove` and `hover` from the command line: what is refused, and what is shown."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from rotorwright.bench import hover
from rotorwright.bench.verdicts import Finding, Grid, Measured, judged
from rotorwright.changeover.errors import UnknownCheckError
from rotorwright.changeover.proving.checks import require_known
from rotorwright.cli import prove
from rotorwright.cli.border import run_guarded
from rotorwright.cli.console import out, told_aside
from rotorwright.cli.main import app

if TYPE_CHECKING:
    from pathlib import Path


def test_an_unknown_check_is_refused_with_the_names_that_there_are(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run_guarded(app, ["prove", "--only", "wings", "--hangar", str(tmp_path)]) == 2
    said = capsys.readouterr()
    assert "power, orientation, receiver, arming, failsafe, motors" in " ".join((said.out + said.err).split())


def test_without_a_job_card_there_is_nothing_to_prove(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run_guarded(app, ["prove", "--hangar", str(tmp_path)]) == 7
    said = capsys.readouterr()
    assert "Traceback" not in said.out + said.err


def test_one_recording_alone_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run_guarded(app, ["prove", "--before", "a.csv", "--hangar", str(tmp_path)]) == 2
    assert "belong together" in capsys.readouterr().err


def test_a_check_left_out_of_a_job_has_to_be_one() -> None:
    with pytest.raises(UnknownCheckError):
        require_known(("wings",))
    assert require_known(("motors", "motors")) == ("motors",)


def test_the_protocol_of_the_first_hover_begins_with_cautions(capsys: pytest.CaptureFixture[str]) -> None:
    assert run_guarded(app, ["hover"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert said.index("Local rules") < said.index("The flight")
    assert all(" ".join(step.stops.split()) in said for step in hover.STEPS)


def test_the_protocol_is_told_as_json_too(capsys: pytest.CaptureFixture[str]) -> None:
    assert run_guarded(app, ["hover", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["seconds"] == hover.total_s() == sum(step["seconds"] for step in told["steps"])
    assert told["cautions"]
    assert told["stops_always"]


def test_results_are_shown_with_what_to_do_and_without_colour(capsys: pytest.CaptureFixture[str]) -> None:
    finding = Finding("order-wrong", "Two motors are swapped.", "Set the outputs.", is_dangerous=True)
    grid = Grid("Motors", (("output", "place"), ("1", "front-right")))
    prove.show_results(
        [judged("motors", sentence="", findings=[finding], measured=[Measured("speed", 86.0, "Hz")], grids=[grid])]
    )
    said = " ".join(capsys.readouterr().out.split())
    for words in ("motors: failed", "Two motors are swapped.", "To do: Set the outputs.", "86 Hz", "front-right"):
        assert words in said


def test_a_json_answer_stands_alone_on_standard_output(capsys: pytest.CaptureFixture[str]) -> None:
    with told_aside(is_wanted=True):
        out.print("said meanwhile")
    out.print("said after")
    captured = capsys.readouterr()
    assert "meanwhile" not in captured.out
    assert "said after" in captured.out
