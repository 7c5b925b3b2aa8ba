"""What to do when nothing comes: the order, the words for each system, and the page that says the same."""

from __future__ import annotations

from pathlib import Path

import pytest

from rotorwright.links.port_advice import (
    NOTHING_CAME,
    DesktopSystem,
    advice_page,
    advice_text,
    serial_group,
    system_of,
)

PAGE = Path(__file__).resolve().parents[3] / "docs" / "how-to" / "no-port.md"


def test_the_causes_come_in_the_order_of_trying() -> None:
    assert [cause.what for cause in NOTHING_CAME] == ["the cable", "the driver", "the permission", "the board"]


@pytest.mark.parametrize("system", DesktopSystem)
def test_each_cause_says_how_to_tell_and_what_to_do_on_each_system(system: DesktopSystem) -> None:
    text = advice_text(system, group="uucp")
    for number, cause in enumerate(NOTHING_CAME, 1):
        assert f"\n{number}. The {cause.what.removeprefix('the ')}\n" in text
        assert f"How to tell: {cause.sign}\n" in text
        assert cause.todo(system, group="uucp") in text
    assert "{" not in text


def test_on_linux_the_group_that_exists_is_named() -> None:
    assert serial_group(lambda name: name == "uucp") == "uucp"
    assert serial_group(lambda _name: True) == "dialout"
    assert serial_group(lambda _name: False) == "dialout"
    assert "usermod -aG uucp $USER" in advice_text(DesktopSystem.LINUX, group="uucp")


def test_on_windows_the_driver_of_the_bootloader_is_named_and_no_group() -> None:
    text = advice_text(DesktopSystem.WINDOWS)
    assert "WinUSB" in text
    assert "usermod" not in text


@pytest.mark.parametrize(("platform", "system"), [("linux", "Linux"), ("win32", "Windows"), ("darwin", "macOS")])
def test_the_advice_is_for_the_system_that_runs(platform: str, system: str) -> None:
    assert system_of(platform) == system


def test_the_propellers_come_off_before_the_button_is_held() -> None:
    board = NOTHING_CAME[-1]
    assert all(board.todo(system).startswith("Propellers off.") for system in DesktopSystem)


def test_the_page_says_the_same_as_the_program() -> None:
    assert advice_page() in PAGE.read_text(encoding="utf-8")
