"""The command answers at once: what only some commands need is not loaded to print the help."""

from __future__ import annotations

import subprocess
import sys

import pytest

# The libraries of the job that take longest to load (common practice: load what a command needs when it runs).
HEAVY = ("pymavlink", "sqlalchemy", "alembic", "numpy", "jinja2", "serial", "rotorwright.twin")

PROBE = """
import sys
sys.argv = ["rotorwright", *{words!r}]
try:
    from rotorwright.cli.main import run
    run()
except SystemExit as ended:
    assert not ended.code, ended.code
print("LOADED", *[name for name in {heavy!r} if name in sys.modules])
"""


@pytest.mark.parametrize("words", [["--help"], ["demo", "--help"], ["changeover", "--help"], ["save", "--help"]])
def test_help_loads_no_heavy_library(words: list[str]) -> None:
    command = [sys.executable, "-c", PROBE.format(words=words, heavy=HEAVY)]
    finished = subprocess.run(
        command, capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL, timeout=60
    )
    assert finished.returncode == 0, finished.stderr
    said = finished.stdout.splitlines()
    assert "Usage" in finished.stdout
    assert said[-1].split() == ["LOADED"]


def test_commands_on_job_cards_load_no_library_that_only_the_bench_needs() -> None:
    probe = "import sys, rotorwright.cli.jobs; print(*[name for name in ('numpy', 'scipy') if name in sys.modules])"
    command = [sys.executable, "-c", probe]
    finished = subprocess.run(command, capture_output=True, text=True, check=True, timeout=60)
    assert finished.stdout.split() == []
