"""Set-up: quick when nothing is to be done, and clear words when something is missing."""

from __future__ import annotations

import hashlib
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

HOUSE = Path(__file__).resolve().parents[3]
NEEDED = ("sh", "dirname", "cat", "id")

# Computes as a Python does and refuses every module, so that no test can ever install anything anywhere.
STAND_IN = """#!{shell}
case "$1" in -m) exit 9 ;; *) exec "{python}" "$@" ;; esac
"""

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="the Makefile and its set-up need a POSIX shell")


@pytest.fixture
def clone(tmp_path: Path) -> Path:
    """A folder with the set-up script, and a search path on which there is no Python and no apt."""
    (tmp_path / "tools").mkdir()
    (tmp_path / "bin").mkdir()
    shutil.copy(HOUSE / "tools" / "bootstrap", tmp_path / "tools")
    (tmp_path / "pyproject.toml").write_text("[project]\n", encoding="utf-8")
    for name in NEEDED:
        found = shutil.which(name)
        assert found is not None
        (tmp_path / "bin" / name).symlink_to(found)
    return tmp_path


def bootstrap(clone: Path, need: str) -> subprocess.CompletedProcess[str]:
    environment = {"PATH": str(clone / "bin"), "PYTHON": "python3"}
    command = [str(clone / "bin" / "sh"), "tools/bootstrap", need]
    return subprocess.run(command, cwd=clone, env=environment, capture_output=True, text=True, check=False, timeout=60)


def make_ready(clone: Path, level: str) -> None:
    """Lay an environment that looks as the script leaves it."""
    (clone / ".venv" / "bin").mkdir(parents=True)
    stand_in = clone / ".venv" / "bin" / "python"
    stand_in.write_text(STAND_IN.format(shell=clone / "bin" / "sh", python=sys.executable), encoding="utf-8")
    stand_in.chmod(0o755)
    digest = hashlib.sha256((clone / "pyproject.toml").read_bytes()).hexdigest()
    (clone / ".venv" / f"ready-{level}").write_text(f"{digest} {clone.resolve()}\n", encoding="utf-8")


def test_a_second_run_does_nothing_and_takes_less_than_a_second(clone: Path) -> None:
    make_ready(clone, "run")
    begun_s = time.monotonic()
    finished = bootstrap(clone, "run")
    assert (finished.returncode, finished.stdout, finished.stderr) == (0, "", "")
    assert time.monotonic() - begun_s < 1.0


def test_an_environment_for_the_checks_serves_the_demo_too(clone: Path) -> None:
    make_ready(clone, "dev")
    assert bootstrap(clone, "run").stdout == ""


def test_an_environment_for_the_demo_does_not_serve_the_checks(clone: Path) -> None:
    make_ready(clone, "run")
    assert bootstrap(clone, "dev").returncode == 1  # it tried to install, and here there is nothing to install with


def test_a_changed_project_file_is_noticed(clone: Path) -> None:
    make_ready(clone, "run")
    (clone / "pyproject.toml").write_text("[project]\nname = 'changed'\n", encoding="utf-8")
    assert bootstrap(clone, "run").returncode == 1


def test_without_python_it_says_what_to_install(clone: Path) -> None:
    finished = bootstrap(clone, "run")
    assert finished.returncode == 1
    assert "Python 3.11 or newer was not found" in finished.stderr


def test_without_the_independent_client_it_says_so_once_and_goes_on(clone: Path) -> None:
    make_ready(clone, "dev")
    first, second = bootstrap(clone, "dev"), bootstrap(clone, "dev")
    assert "stm32loader instead" in first.stdout
    assert (first.returncode, second.returncode, second.stdout) == (0, 0, "")


def test_any_other_word_is_a_usage_error(clone: Path) -> None:
    finished = bootstrap(clone, "everything")
    assert finished.returncode == 2
    assert "usage:" in finished.stderr


def test_every_target_that_runs_something_sets_itself_up() -> None:
    makefile = (HOUSE / "Makefile").read_text(encoding="utf-8")
    rules = dict(
        line.split(":", 1)
        for line in makefile.splitlines()
        if line.endswith(tuple("abcdefghijklmnopqrstuvwxyz)")) and "  ## " in line
    )
    assert rules.pop("demo").split()[0] == "ready"
    for target in ("test", "check", "check-all", "bench", "errors-page"):
        assert rules[target].split()[0] == "ready-dev"


def test_the_continuous_integration_runs_what_a_developer_runs() -> None:
    script = HOUSE / ".ci" / "run"
    assert script.stat().st_mode & 0o111
    assert "exec make check < /dev/null" in script.read_text(encoding="utf-8")
