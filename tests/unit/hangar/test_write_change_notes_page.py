"""The worked example of docs/how-to/write-change-notes.md is run as it stands there."""

from __future__ import annotations

import re
from pathlib import Path

from typer.testing import CliRunner

from rotorwright.cli.main import app

PAGE = Path(__file__).resolve().parents[3] / "docs" / "how-to" / "write-change-notes.md"
FILE = re.compile(r"`(goldcrest/[^`]+)`[^`]*?:\n\n```\w+\n(.*?)```", re.DOTALL)
RUN = re.compile(r"```\n\$ rotorwright book check goldcrest\n(.*?)```", re.DOTALL)


def test_the_draft_has_the_problems_that_the_page_shows_and_the_correction_has_none(tmp_path: Path) -> None:
    text = PAGE.read_text(encoding="utf-8")
    first, second = (match.span() for match in RUN.finditer(text))
    assert _run(tmp_path, text[: first[0]], 1) == RUN.findall(text)[0]
    assert _run(tmp_path, text[first[1] : second[0]], 0) == RUN.findall(text)[1]


def _run(folder: Path, part: str, exit_code: int) -> str:
    for name, body in FILE.findall(part):
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(body, encoding="utf-8")
    result = CliRunner().invoke(app, ["book", "check", str(folder / "goldcrest")])
    assert result.exit_code == exit_code, result.output
    return result.output
