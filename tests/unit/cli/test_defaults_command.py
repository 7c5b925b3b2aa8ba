"""The commands of the library of captured defaults, as a person types them."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from tests.unit.settings.builders import IDENTITY, NOON, UINT8, catalogue, setting

from rotorwright.cli.border import run_guarded
from rotorwright.cli.main import app
from rotorwright.settings.catalogue import print_catalogue
from rotorwright.settings.snapshot import Snapshot, print_snapshot
from rotorwright.settings.values import Value


class Desk:
    """A hangar, a folder with saved snapshots, and what a command said."""

    def __init__(self, folder: Path, capture: pytest.CaptureFixture[str]) -> None:
        self.folder = folder
        self._capture = capture

    def say(self, *arguments: str, code: int = 0) -> str:
        """Run `rotorwright defaults` and return what it printed, errors too."""
        self._capture.readouterr()
        assert run_guarded(app, ["defaults", "--hangar", str(self.folder / "hangar"), *arguments]) == code
        printed = self._capture.readouterr()
        return printed.out + printed.err

    def json(self, *arguments: str) -> Any:
        return json.loads(self.say(*arguments, "--json"))

    def saved(self, name: str, *, serial: int = 1, text: str = "", **numbers: int) -> str:
        """Save a snapshot and return the name of its file."""
        settings = {key: Value.of(UINT8, number) for key, number in ({"A": 1, "B": 2} | numbers).items()}
        if text:
            settings["WORDS"] = Value.of_text(text)
        snapshot = Snapshot(replace(IDENTITY, unique_id=f"{serial:024x}"), settings, NOON)
        path = self.folder / name
        path.write_bytes(print_snapshot(snapshot))
        return str(path)


@pytest.fixture
def desk(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Desk:
    monkeypatch.setattr("rotorwright.cli.console.out.width", 200)
    return Desk(tmp_path, capsys)


def test_an_empty_library_says_how_it_fills(desk: Desk) -> None:
    assert "No defaults captured yet" in desk.say()
    assert desk.json() == []


def test_a_snapshot_that_was_added_is_listed_with_where_it_came_from(desk: Desk) -> None:
    said = desk.say("add", desk.saved("fresh.json"))
    assert "Added as number 1: 2 settings" in said
    assert "taken at your word" in said
    listed = desk.say()
    for fact in ("Thornbill", "5.2.0", "Corvane One", "mavlink", NOON, f"{1:024x}"):
        assert fact in listed
    (row,) = desk.json()
    assert (row["number"], row["release"], row["read_by"], row["settings"]) == (1, "5.2.0", "mavlink", 2)
    assert row["catalogue_file"] is None


def test_one_capture_is_shown_as_a_listing_of_its_settings(desk: Desk) -> None:
    desk.say("add", desk.saved("fresh.json", text="[bold] is no markup"))
    shown = desk.say("show", "1")
    assert "Corvane One, Thornbill 5.2.0" in shown
    assert "[bold] is no markup" in shown
    assert "3 settings; SHA-256" in shown
    assert desk.json("show", "1")["defaults"][0] == {"name": "A", "type": "Uint8", "value": "1"}


def test_options_before_the_command_hold_for_it(desk: Desk) -> None:
    desk.say("add", desk.saved("fresh.json"))
    assert json.loads(desk.say("--json", "show", "1"))["number"] == 1


@pytest.mark.parametrize("place", ["before", "after"])
def test_a_hangar_that_is_named_goes_before_the_one_of_the_environment(
    desk: Desk, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], place: str
) -> None:
    desk.say("add", desk.saved("fresh.json"))
    monkeypatch.setenv("ROTORWRIGHT_HANGAR", str(desk.folder / "another"))
    named = ["--hangar", str(desk.folder / "hangar")]
    command = [*named, "show", "1"] if place == "before" else ["show", "1", *named]
    assert run_guarded(app, ["defaults", *command]) == 0
    assert "Number 1" in capsys.readouterr().out
    assert run_guarded(app, ["defaults", "show", "1"]) == 8, "the one of the environment is empty"


def test_the_same_again_is_no_second_entry(desk: Desk) -> None:
    path = desk.saved("fresh.json")
    assert desk.json("add", path)["added"] is True
    assert desk.json("add", path)["added"] is False
    assert "Already there as number 1" in desk.say("add", path)
    assert len(desk.json()) == 1


def test_what_differs_from_other_captures_is_said_at_once(desk: Desk) -> None:
    desk.say("add", desk.saved("one.json", serial=1, B=2))
    said = desk.say("add", desk.saved("two.json", serial=2, B=7))
    assert "1 of them differ from other captures" in said
    assert "unknown: B." in said
    assert [row["number"] for row in desk.json()] == [2, 1]


def test_texts_tell_that_a_console_gave_them_unless_a_person_says_otherwise(desk: Desk) -> None:
    assert desk.json("add", desk.saved("texts.json", text="fast"))["read_by"] == "console"
    assert desk.json("add", desk.saved("typed.json"), "--read-by", "console")["read_by"] == "console"


def test_a_catalogue_is_kept_beside_it(desk: Desk) -> None:
    path = desk.folder / "catalogue.json"
    path.write_bytes(print_catalogue(catalogue(setting("A", UINT8, 1))))
    row = desk.json("add", desk.saved("fresh.json"), "--catalogue", str(path))
    assert (desk.folder / "hangar" / "defaults" / row["catalogue_file"]).read_bytes() == path.read_bytes()


@pytest.mark.parametrize(
    ("arguments", "code", "error_id"),
    [
        (["show", "7"], 8, "storage.unknown-defaults"),
        (["add", "{folder}/nothing.json"], 8, "storage.input-file"),
        (["add", "{folder}/broken.json"], 6, "snapshot.not-json"),
        (["add", "{folder}/fresh.json", "--read-by", "telepathy"], 8, "storage.defaults-not-usable"),
        (["add", "{folder}/fresh.json", "--catalogue", "{folder}/broken.json"], 6, "catalogue"),
    ],
    ids=["no such number", "no such file", "no snapshot", "no such way of reading", "no catalogue"],
)
def test_what_cannot_be_done_is_said_with_its_exit_code(
    desk: Desk, arguments: list[str], code: int, error_id: str
) -> None:
    desk.saved("fresh.json")
    (desk.folder / "broken.json").write_text('{"format": "rotor')
    said = desk.say(*(each.format(folder=desk.folder) for each in arguments), code=code)
    assert f"({error_id}" in said
    assert "Next" in said
    assert desk.json() == []


def test_a_damaged_capture_is_told_when_shown_and_listed_all_the_same(desk: Desk) -> None:
    desk.say("add", desk.saved("fresh.json"))
    (path,) = (desk.folder / "hangar" / "defaults").glob("snapshot-*.json")
    path.write_bytes(path.read_bytes()[:-20])
    assert "storage.defaults-damaged" in desk.say("show", "1", code=8)
    assert len(desk.json()) == 1
