"""Where the hangar is."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from platformdirs import user_data_path

from rotorwright.hangar.places import hangar_folder


def test_the_users_data_folder_is_the_place_unless_told_otherwise() -> None:
    assert hangar_folder({}) == user_data_path("rotorwright", appauthor=False)
    assert hangar_folder({"ROTORWRIGHT_HANGAR": ""}) == hangar_folder({})


def test_the_variable_overrides_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ROTORWRIGHT_HANGAR", str(tmp_path / "mine"))
    assert hangar_folder() == tmp_path / "mine"


def test_a_relative_or_home_folder_becomes_a_whole_path() -> None:
    assert hangar_folder({"ROTORWRIGHT_HANGAR": "here"}) == Path.cwd() / "here"
    assert hangar_folder({"ROTORWRIGHT_HANGAR": "~/here"}) == Path.home() / "here"


@pytest.mark.parametrize("module", ["rotorwright.hangar", "places", "files", "journal", "rows", "errors", "lock"])
def test_light_modules_do_not_load_the_database_libraries(module: str) -> None:
    name = module if "." in module else f"rotorwright.hangar.{module}"
    code = f"import sys, {name}; sys.exit(any(heavy in sys.modules for heavy in ('sqlalchemy', 'alembic', 'sqlite3')))"
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)


def test_an_up_to_date_hangar_opens_without_the_migration_library(tmp_path: Path) -> None:
    code = (
        "import sys; from pathlib import Path; from rotorwright.hangar.store import Hangar\n"
        "Hangar.open(Path(sys.argv[1])).close(); print('alembic' in sys.modules)"
    )
    loaded = [
        subprocess.run([sys.executable, "-c", code, str(tmp_path)], check=True, capture_output=True, text=True).stdout
        for _ in range(2)
    ]
    assert loaded == ["True\n", "False\n"]
