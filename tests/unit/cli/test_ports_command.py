"""`ports` and `udev-rule` as a person and a program read them."""

from __future__ import annotations

import json
import os
import select
import signal
import subprocess
import sys
from collections.abc import Collection
from functools import partial
from pathlib import Path

import pytest

from rotorwright.cli import ports as command
from rotorwright.cli.border import run_guarded
from rotorwright.cli.main import app
from rotorwright.firmware.board import Board
from rotorwright.links.port_holders import Holder, Holders
from rotorwright.links.ports import PortInfo, PortKind, UsbIds
from rotorwright.links.udev_rule import RULE_TEXT, install_rule
from rotorwright.links.usb_facts import DeviceRole, UsbFact, usb_fact
from rotorwright.twin.clock import VirtualClock
from rotorwright.twin.thornbill.book import write_book

BOARD = PortInfo(
    "/dev/made-up",
    PortKind.USB,
    description="Corvane [One]",
    usb=UsbIds(0x0483, 0x5740, "3A00"),
    role=DeviceRole.APPLICATION,
    why="Virtual COM Port; public list",
)


@pytest.fixture(autouse=True)
def held(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        command, "holders_of", lambda _name: Holders(is_known=True, holders=(Holder(12, "modem-daemon"),))
    )
    monkeypatch.setattr(command, "may_open", lambda _name: False)


def _watch(looks: list[tuple[PortInfo, ...]], *, as_json: bool) -> int:
    rest = iter(looks)
    return command.watch_and_print(
        as_json=as_json, clock=VirtualClock(), look=lambda: next(rest), timeout_s=0.25 * (len(looks) - 1)
    )


def test_a_port_is_shown_with_what_it_is_its_numbers_and_who_holds_it(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(command, "list_attached", lambda **_facts: (BOARD,))
    assert command.print_ports(as_json=False) == 0
    assert capsys.readouterr().out == (
        "/dev/made-up  running application; Corvane [One]; known by: Virtual COM Port; public list; 0483:5740, "
        "serial number 3A00; held by modem-daemon (process 12); this user may not open it, "
        "see `rotorwright ports --nothing-came`\n"
    )


def test_watching_tells_what_is_there_what_went_and_what_came(capsys: pytest.CaptureFixture[str]) -> None:
    assert _watch([(BOARD,), (), (BOARD,)], as_json=False) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in lines[1:]] == ["there", "went", "came"]
    assert "held by" not in lines[2]
    assert "held by modem-daemon" in lines[3]


def test_watching_for_programs_prints_one_object_a_line(capsys: pytest.CaptureFixture[str]) -> None:
    assert _watch([(BOARD,), (), (BOARD,)], as_json=True) == 0
    objects = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [one["change"] for one in objects] == ["there", "went", "came"]
    came = objects[-1]
    assert (came["what"], came["usb"], came["serial_number"]) == ("running application", "0483:5740", "3A00")
    assert came["held_by"] == [{"process": 12, "command": "modem-daemon"}]
    assert came["may_open"] is False


@pytest.mark.parametrize("as_json", [True, False])
def test_when_nothing_comes_for_a_while_the_causes_are_told_once(
    capsys: pytest.CaptureFixture[str], *, as_json: bool
) -> None:
    assert _watch([()] * (3 * command.QUIET_LOOKS), as_json=as_json) == 0
    told = capsys.readouterr().out
    assert told.count("carry only power") == 1
    if as_json:
        assert [cause["what"] for cause in json.loads(told)["causes"]] == [
            "the cable",
            "the driver",
            "the permission",
            "the board",
        ]


def test_the_causes_are_told_on_request(capsys: pytest.CaptureFixture[str]) -> None:
    assert command.print_advice(as_json=False) == 0
    assert "2. The driver" in capsys.readouterr().out
    assert command.print_advice(as_json=True) == 0
    assert json.loads(capsys.readouterr().out)[2]["what"] == "the permission"


def test_without_any_port_the_causes_are_told_at_once(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(command, "list_attached", lambda **_facts: ())
    assert command.print_ports(as_json=False) == 0
    assert "1. The cable" in capsys.readouterr().out


@pytest.mark.skipif(sys.platform == "win32", reason="needs the signal of Ctrl-C")
def test_ctrl_c_ends_the_watch_without_an_error(tmp_path: Path) -> None:
    # Whoever runs the tests in the background has Ctrl-C ignored for all of them, as shells do.
    process = subprocess.Popen(
        [sys.executable, "-m", "rotorwright", "ports", "--watch"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        preexec_fn=partial(signal.signal, signal.SIGINT, signal.SIG_DFL),  # noqa: PLW1509 - no threads here
        env={**os.environ, "ROTORWRIGHT_PORTS_DIR": str(tmp_path), "PYTHONUNBUFFERED": "1"},
    )
    assert process.stdout is not None
    ready, _, _ = select.select([process.stdout], [], [], 20.0)
    assert ready
    assert b"Ctrl-C ends this" in process.stdout.readline()
    process.send_signal(signal.SIGINT)
    _, said = process.communicate(timeout=20.0)
    assert (process.returncode, said) == (0, b"")


def test_the_rule_is_printed_byte_for_byte_and_nothing_is_installed(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(command, "install_rule", lambda: pytest.fail("not asked for"))
    assert command.udev_rule(install=False) == 0
    assert capsys.readouterr().out == RULE_TEXT


def test_installing_says_what_to_do_next_and_the_second_time_that_it_is_there(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(
        command, "install_rule", lambda: install_rule(tmp_path / "x.rules", system="linux", is_root=True)
    )
    assert command.udev_rule(install=True) == 0
    assert "Plug the aircraft in again" in capsys.readouterr().out
    assert command.udev_rule(install=True) == 0
    assert "Nothing was changed" in capsys.readouterr().out


CORVANE = Board("Corvane C405", "STM32F405xG", usb_ids=((0x1209, 0x00AF),))
TWO = (CORVANE, Board("Corvane H7", "STM32H743xI", usb_ids=((0x1209, 0x00AF), (0x1209, 0x00B0))))


def test_a_book_says_which_board_has_these_usb_numbers_and_that_it_is_the_book_that_says_so() -> None:
    (fact,) = command.board_facts([CORVANE], source="release book of Thornbill (book)")
    assert (fact.role, fact.words) == (DeviceRole.APPLICATION, "Corvane C405 application")
    assert fact.source == "release book of Thornbill (book)"
    assert usb_fact(0x1209, 0x00AF, more=[fact]) is fact
    assert usb_fact(0x1209, 0x00B0, more=[fact]) is None


def test_boards_that_share_their_usb_numbers_are_named_together() -> None:
    words = [fact.words for fact in command.board_facts(TWO, source="a book")]
    assert words == ["Corvane C405 or Corvane H7 application", "Corvane H7 application"]


def test_the_command_asks_the_book_that_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    write_book(tmp_path / "book")
    text = (tmp_path / "book" / "book.toml").read_text(encoding="utf-8")
    text = text.replace('mcu = "STM32F405xG"\n', 'mcu = "STM32F405xG"\nusb_ids = ["1209:00AF"]\n', 1)
    (tmp_path / "book" / "book.toml").write_text(text, encoding="utf-8")
    asked: list[Collection[UsbFact]] = []

    def look(*, more_facts: Collection[UsbFact]) -> tuple[PortInfo, ...]:
        asked.append(more_facts)
        return ()

    monkeypatch.setattr(command, "list_attached", look)
    assert run_guarded(app, ["ports", "--book", str(tmp_path / "book")]) == 0
    assert [fact.words for fact in asked[0]] == ["Corvane C405 application"]
    assert str(tmp_path / "book") in next(iter(asked[0])).source
    capsys.readouterr()
    assert run_guarded(app, ["ports", "--book", str(tmp_path / "no-book")]) != 0
    assert "Next" in capsys.readouterr().err
