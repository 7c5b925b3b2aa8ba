from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from tests.unit.cli.desk import Desk, papers

__all__ = ["papers"]


@pytest.fixture
def desk(tmp_path: Path, papers: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Desk:
    shutil.copytree(papers, tmp_path, dirs_exist_ok=True)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "200")
    monkeypatch.setenv("ROTORWRIGHT_HANGAR", str(tmp_path / "hangar"))
    return Desk(tmp_path, capsys)
