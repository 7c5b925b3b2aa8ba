"""The commands a person types, against a virtual aircraft in a process of its own, through a pseudo-terminal."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest
from tests.conformance.command_bench import ANSWERS, Bench

from rotorwright.cli.border import run_guarded
from rotorwright.cli.main import app

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.pty


def test_save_show_compare_and_plan_only_look(bench: Bench) -> None:
    first, second = str(bench.folder / "one.json"), str(bench.folder / "two.json")
    saved = bench.json("save", "--port", bench.port, "--out", first)
    assert saved["count"] == 485
    assert saved["board"] == "Corvane One"
    assert bench.run("save", "--port", bench.port, "--out", second)[0] == 0

    shown = bench.json("show", first, "--name", "turn_yaw")
    assert {row["name"] for row in shown["settings"]} >= {"TURN_YAW_PUSH"}
    code, out, _ = bench.run("show", first, "--name", "TURN_YAW_PUSH", "--book", bench.book)
    assert code == 0
    assert "0.072" in out

    code, out, _ = bench.run("compare", first, second)
    differences = bench.json("compare", first, second)["differences"]
    assert code == (1 if differences else 0)
    assert all(row["before"] != row["after"] for row in differences)

    code, out, _ = bench.run("plan", first, "--book", bench.book, "--to", "6.0")
    assert code == 0
    for words in ("Held: 8", "Renamed: ", "Retired: ", "each in exactly one decision"):
        assert words in out
    story = bench.json("plan", first, "--book", bench.book, "--to", "6.0", "--why", "loss_wait")
    assert story["names"] == ["LOSS_HOLD"]
    assert story["new_names"] == ["LOSS_WAIT"]
    assert any(line.startswith("rename LOSS_HOLD to LOSS_WAIT") for line in story["notes"])
    code, out, _ = bench.run("plan", first, "--book", bench.book, "--to", "6.0", "--why", "LOSS_HOLD")
    assert code == 0
    for words in ("yours", "old default", "new default", "note", "rule", "keep-mine"):
        assert words in out
    assert bench.run("plan", first, "--book", bench.book, "--to", "6.0", "--why", "NO_SUCH")[0] == 6
    sheet = bench.json("plan", first, "--book", bench.book, "--to", "6.0")
    assert sheet["format"] == "rotorwright-carry-over-sheet"


def test_a_saved_file_is_never_overwritten(bench: Bench) -> None:
    target = bench.folder / "kept.json"
    target.write_text("mine", encoding="utf-8")
    code, _, err = bench.run("save", "--port", bench.port, "--out", str(target))
    assert code == 8
    assert target.read_text(encoding="utf-8") == "mine"
    assert "Next" in err


@pytest.mark.parametrize("name", ["no-such-folder/x.json", "a=b.json", "-.json"])
def test_a_name_that_cannot_be_used_is_refused_before_the_aircraft_is_read(name: str, bench: Bench) -> None:
    code, _, err = bench.run("save", "--port", "/dev/no-such-port", f"--out={bench.folder / name}")
    assert code == 8
    assert "storage.output-name" in err


def test_the_whole_job_by_commands_and_the_cards_that_tell_of_it(bench: Bench) -> None:
    bench.twin.hands.plug_battery()
    answers = ANSWERS.replace("hands = true", "hands = false").replace('sign = "tester"', "")
    code, out, err = bench.changeover(answers)
    assert code == 7, err  # nobody moves the aircraft, so the bench shows little, and nobody signs that
    assert "changeover.not-signed" in err
    assert "orientation: not shown" in out
    assert "motors: not shown" in out
    cards = bench.json("cards", *bench.hangar)
    assert [card["id"] for card in cards] == ["c0001"]
    assert not cards[0]["is_over"]
    assert cards[0]["next"] == "Sign off"

    code, out, err = bench.run("roll-back", "--because", "trying", *bench.hangar, *bench.rates, *bench.answers())
    assert code == 0, err
    assert "ROLLED BACK" in out
    cards = bench.json("cards", *bench.hangar)
    assert cards[0]["rolled_back"]
    assert bench.json("save", "--port", bench.port, "--out", str(bench.folder / "after.json"))["release"] == "5.2.0"


def test_an_undecided_setting_stops_the_job_and_resume_takes_it_up(bench: Bench) -> None:
    bench.twin.hands.plug_battery()
    code, _, err = bench.changeover(ANSWERS.replace('LIGHT_BRIGHT = "nearest-below"', ""))
    assert code == 7
    assert "LIGHT_BRIGHT" in err
    assert "Nothing was changed on the aircraft" in err
    idle = ANSWERS.replace("hands = true", "hands = false")
    code, out, err = bench.run("resume", *bench.hangar, *bench.rates, *bench.answers(idle))
    assert "Next: Ask about the held settings" in out
    assert code == 0, err
    assert "[??] Orientation of the sensors" in out


@pytest.mark.parametrize(
    ("name", "board", "code"),
    [
        ("thornbill-6.0-corvane-c405.hex", "Corvane One", 0),
        ("thornbill-6.0-corvane-c405.hex", "Corvane C405", 0),
        ("thornbill-6.0-corvane-h7.hex", "Corvane C405", 5),
    ],
)
def test_inspect_says_whether_an_image_fits(name: str, board: str, code: int, bench: Bench) -> None:
    image = str(bench.folder / "images" / name)
    found, out, err = bench.run("inspect", image, "--book", bench.book, "--board", board)
    assert found == code, out + err
    assert "[ok]" in out
    assert ("[!!]" in out) == bool(code)
    facts = json.loads(bench.run("inspect", image, "--json")[1])
    assert facts["descriptor"]["crc_right"] is True


def test_inspect_of_a_board_that_no_book_knows_is_refused_in_words(bench: Bench) -> None:
    image = str(bench.folder / "images" / "thornbill-6.0-corvane-c405.hex")
    code, _, err = bench.run("inspect", image, "--book", bench.book, "--board", "Corvane C406")
    assert code == 7
    assert "only looks alike" in err


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (["save", "--port", "/dev/no-such-port"], 3),
        (["show", "no-such-file.json"], 8),
        (["inspect", "no-such-file.hex"], 8),
        (["changeover", "--port", "/dev/no-such-port", "--image", "x.hex", "--book", "x"], 8),
        (["resume"], 7),
        (["roll-back"], 7),
        (["hands", "no-such-folder", "level"], 3),
        (["frobnicate"], 2),
        (["save"], 2),
    ],
)
def test_what_cannot_be_done_has_its_exit_code_and_says_what_to_do(
    arguments: list[str],
    code: int,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("ROTORWRIGHT_HANGAR", str(tmp_path / "hangar"))
    monkeypatch.chdir(tmp_path)
    assert run_guarded(app, arguments) == code
    said = capsys.readouterr()
    assert "Traceback" not in said.out + said.err
    if code != 2:
        for answer in ("Stopped:", "Why", "Aircraft", "Next"):
            assert answer in said.err


def test_a_fault_that_nobody_knows_is_a_mistake_of_usage_with_the_known_ones_named(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run_guarded(app, ["demo", "--fault", "nonsense@3"]) == 2
    assert "power-cut@120" in capsys.readouterr().err


def test_a_book_with_a_typo_in_its_change_notes_is_refused_with_the_place_and_the_likely_word(bench: Bench) -> None:
    snapshot = str(bench.folder / "one.json")
    assert bench.run("save", "--port", bench.port, "--out", snapshot)[0] == 0
    notes = bench.folder / "book" / "notes" / "5.2-to-6.0.toml"
    notes.write_text(notes.read_text(encoding="utf-8").replace("loses =", "looses =", 1), encoding="utf-8")
    code, _, err = bench.run("plan", snapshot, "--book", bench.book, "--to", "6.0")
    assert code == 6
    assert "5.2-to-6.0.toml" in err
    assert "looses" in err
    assert "'loses'" in err


@pytest.mark.parametrize("cut", [0, 1, 100, 5_000, -2])
def test_a_damaged_snapshot_is_refused_in_words(cut: int, bench: Bench) -> None:
    snapshot = bench.folder / "one.json"
    assert bench.run("save", "--port", bench.port, "--out", str(snapshot))[0] == 0
    data = snapshot.read_bytes()
    damaged = bench.folder / "damaged.json"
    damaged.write_bytes(data[:cut])
    code, _, err = bench.run("show", str(damaged))
    assert code == 6
    assert "damaged.json" in err
    assert "Next" in err


def test_hands_say_how_the_aircraft_is(bench: Bench) -> None:
    code, out, _ = bench.run("hands", str(bench.folder / "twin"), "battery-in")
    assert code == 0
    assert "battery in" in out
    code, _, err = bench.run("hands", str(bench.folder / "twin"), "wave")
    assert code == 7
    assert "nose-down" in err


def test_ports_finds_a_twin_in_a_folder_of_ports(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = bench.folder / "ports"
    folder.mkdir()
    (folder / "bench-1").symlink_to(bench.twin.port)
    monkeypatch.setenv("ROTORWRIGHT_PORTS_DIR", str(folder))
    names = [port["name"] for port in bench.json("ports")]
    assert str(folder / "bench-1") in names
