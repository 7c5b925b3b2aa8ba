"""The tools that check the house: nothing that did not run counts as passed in silence."""

from __future__ import annotations

import subprocess
import sys
from typing import TYPE_CHECKING

import pytest
from tools import check_names
from tools.check import STEPS, Step, steps_of_tests, take_step

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path


def ends_with(code: int, words: str = "") -> Callable[[Sequence[str]], subprocess.CompletedProcess[str]]:
    return lambda command: subprocess.CompletedProcess(command, code, stdout=words)


def test_a_passed_step_prints_its_name_and_its_time(capsys: pytest.CaptureFixture[str]) -> None:
    assert take_step(Step("lint", ("x",)), run=ends_with(0, "words"))
    assert capsys.readouterr().out.split() == ["check:", "lint", "passed", "0.0", "s"]


def test_a_failed_step_prints_what_it_said(capsys: pytest.CaptureFixture[str]) -> None:
    assert not take_step(Step("lint", ("x",)), run=ends_with(1, "line 7 is wrong"))
    said = capsys.readouterr().out
    assert "FAILED" in said
    assert "line 7 is wrong" in said


def test_a_check_that_was_not_run_says_so_and_is_not_called_passed(capsys: pytest.CaptureFixture[str]) -> None:
    assert take_step(Step("names", ("x",), may_not_run=True), run=ends_with(3, "not here"))
    said = capsys.readouterr().out
    assert "NOT RUN" in said
    assert "not here" in said
    assert "passed" not in said


def test_only_a_step_that_may_be_left_out_can_say_that_it_was_not_run(capsys: pytest.CaptureFixture[str]) -> None:
    assert not take_step(Step("types", ("x",)), run=ends_with(3))
    assert "FAILED" in capsys.readouterr().out


def test_format_lint_types_contract_and_names_are_all_checked() -> None:
    assert [step.name for step in STEPS] == ["format", "lint", "types", "import contract", "names"]
    assert [step.name for step in STEPS if step.may_not_run] == ["names"]


def test_the_full_walk_runs_only_when_asked_for() -> None:
    assert [step.name for step in steps_of_tests(jobs="2", full_walk=False)] == ["tests"]
    everyday, walk = steps_of_tests(jobs="2", full_walk=True)
    assert everyday.command[-2:] == ("-m", "not full_walk")
    assert "full_walk" in walk.command


def test_without_the_owners_checker_the_name_check_says_that_it_did_not_run(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(check_names, "CHECKER", tmp_path / "absent")
    assert check_names.main() == check_names.NOT_RUN
    assert "was not run" in capsys.readouterr().out


@pytest.mark.parametrize(("found", "expected"), [(0, 0), (1, 1), (70, 1)])
def test_the_verdict_of_the_owners_checker_is_passed_on(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, found: int, expected: int
) -> None:
    checker = tmp_path / "checker"
    checker.write_text(f"import sys\nsys.exit({found})\n", encoding="utf-8")
    monkeypatch.setattr(check_names, "CHECKER", checker)
    assert check_names.main() == expected


def test_a_step_that_exits_with_an_error_fails_the_check_for_real() -> None:
    assert not take_step(Step("real", (sys.executable, "-c", "raise SystemExit(1)")))
