"""Run every check of the house in one go: format, lint, types, import contract, names, tests.

Each step prints its name and its time; the words of a step are shown when it failed. A failed step does not stop the
others, so one run tells everything. The tests come last and print as they go. The exit code is 0 only if all passed.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

HOUSE = Path(__file__).resolve().parent.parent
PYTHON = sys.executable
BESIDE_PYTHON = Path(PYTHON).parent
NOT_RUN = 3  # how tools/check_names.py says that it had nothing to run


@dataclass(frozen=True, slots=True)
class Step:
    """One check: its name and the command that makes it."""

    name: str
    command: tuple[str, ...]
    may_not_run: bool = False


STEPS = (
    Step("format", (PYTHON, "-m", "ruff", "format", "--check", "--quiet", ".")),
    Step("lint", (PYTHON, "-m", "ruff", "check", "--quiet", ".")),
    Step("types", (PYTHON, "-m", "mypy", "--no-error-summary")),
    Step("import contract", (str(BESIDE_PYTHON / "lint-imports"), "--no-cache")),
    Step("names", (PYTHON, "tools/check_names.py"), may_not_run=True),
)

Run = Callable[[Sequence[str]], "subprocess.CompletedProcess[str]"]


def run_quietly(command: Sequence[str]) -> subprocess.CompletedProcess[str]:
    """Run `command` in the house and keep what it says."""
    return subprocess.run(
        command,
        cwd=HOUSE,
        check=False,
        text=True,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    )


def take_step(step: Step, *, run: Run = run_quietly) -> bool:
    """Run one step, print how it went, and return whether nothing is wrong."""
    begun_s = time.monotonic()
    finished = run(step.command)
    took = f"{time.monotonic() - begun_s:5.1f} s"
    if finished.returncode == 0:
        print(f"check: {step.name:<16} passed  {took}", flush=True)
        return True
    if step.may_not_run and finished.returncode == NOT_RUN:
        print(f"check: {step.name:<16} NOT RUN {took}  {finished.stdout.strip()}", flush=True)
        return True
    print(f"check: {step.name:<16} FAILED  {took}\n{finished.stdout.rstrip()}", flush=True)
    return False


def steps_of_tests(*, jobs: str, full_walk: bool) -> tuple[Step, ...]:
    """Return the steps that run tests; the exhaustive walk over every operation only when asked for."""
    pytest = (PYTHON, "-m", "pytest", "-q", "-n", jobs, "--dist", "worksteal")
    everyday = Step("tests", (*pytest, "-m", "not full_walk"))
    return (everyday, Step("full walk", (*pytest, "-m", "full_walk", "--durations=5"))) if full_walk else (everyday,)


def run_tests(step: Step) -> bool:
    """Run one step of tests with its words going straight through, and return whether it passed."""
    print(f"check: {step.name}", flush=True)
    return subprocess.run(step.command, cwd=HOUSE, check=False, stdin=subprocess.DEVNULL).returncode == 0


def main() -> int:
    """Run all steps and return 0 if none failed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", default="auto", help="processes that share the tests (a number or auto)")
    parser.add_argument("--full-walk", action="store_true", help="also stop a changeover at every single operation")
    words = parser.parse_args()
    begun_s = time.monotonic()
    failed = [step.name for step in STEPS if not take_step(step)]
    failed += [step.name for step in steps_of_tests(jobs=words.jobs, full_walk=words.full_walk) if not run_tests(step)]
    verdict = f"FAILED: {', '.join(failed)}" if failed else "nothing failed"
    print(f"check: {verdict} ({time.monotonic() - begun_s:.0f} s)", flush=True)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
