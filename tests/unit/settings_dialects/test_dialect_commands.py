from __future__ import annotations

import json
from importlib import resources
from pathlib import Path

import pytest
from tests.unit.settings_dialects.console_texts import EVERY_KIND, TEXTS

from rotorwright.cli import dialect as commands
from rotorwright.cli.files import InputFileError
from rotorwright.settings.dialects.dialect_file import DialectFormatError, parse_dialect


def test_what_is_learnt_is_printed_as_a_dialect_file(capsys: pytest.CaptureFixture[str]) -> None:
    files = [TEXTS / "05-flags-by-word.txt", TEXTS / "03-numbered-rows.txt"]
    assert commands.learn(files, as_json=False) == 0
    said = capsys.readouterr().out
    assert "0 lines found no place." in said
    assert "without buzzer" in said
    assert {line.form.text for line in parse_dialect(said, source="said").lines} >= {"{state} {key}"}


def test_what_is_learnt_is_told_to_programs_too(capsys: pytest.CaptureFixture[str]) -> None:
    assert commands.learn([TEXTS / "09-pairs.txt"], as_json=True) == 0
    facts = json.loads(capsys.readouterr().out)
    assert facts["unplaced"] == 0
    assert facts["families"][0]["lines"] == 5
    assert facts["texts"][0]["settings"] == 13
    parse_dialect(facts["dialect"], source="said")


def test_a_text_that_fits_its_dialect_is_checked_with_code_0(capsys: pytest.CaptureFixture[str]) -> None:
    folder = Path(str(resources.files("rotorwright.settings.dialects")))
    fits = commands.check(folder / "thornbill-console.toml", folder / "thornbill-console-sample.txt", as_json=False)
    assert fits == 0
    assert "Every line has its place." in capsys.readouterr().out


def test_a_line_without_a_place_is_shown_and_gives_code_1(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "d.toml").write_text(EVERY_KIND, encoding="utf-8")
    (tmp_path / "text").write_bytes(b"let a be 1\nlet a be 2\n\xff?\n")
    assert commands.check(tmp_path / "d.toml", tmp_path / "text", as_json=False) == 1
    said = capsys.readouterr().out
    assert "line 3: \\xff?" in said
    assert "the same bytes" in said
    assert "more than one setting" in said
    assert commands.check(tmp_path / "d.toml", tmp_path / "text", as_json=True) == 1
    facts = json.loads(capsys.readouterr().out)
    assert (facts["holds"], facts["unplaced_lines"]) == (True, [{"line": 3, "text": "\\xff?"}])


def test_files_that_cannot_be_used_are_refused_in_words(tmp_path: Path) -> None:
    with pytest.raises(InputFileError):
        commands.learn([tmp_path / "absent"], as_json=False)
    (tmp_path / "d.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(DialectFormatError):
        commands.check(tmp_path / "d.toml", tmp_path / "d.toml", as_json=False)
