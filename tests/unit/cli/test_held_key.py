"""Holding a key down, as a terminal shows it: repeats that come, and repeats that stop."""

from __future__ import annotations

from rotorwright.cli.held_key import LET_GO_S, HeldKey


class _Keyboard:
    def __init__(self) -> None:
        self.now_s = 0.0
        self.pending = ""

    def read(self) -> str:
        keys, self.pending = self.pending, ""
        return keys


def _key() -> tuple[HeldKey, _Keyboard]:
    keyboard = _Keyboard()
    return HeldKey(keyboard.read, lambda: keyboard.now_s), keyboard


def test_nothing_is_held_before_a_key_came() -> None:
    key, _ = _key()
    assert not key.is_held()


def test_a_key_is_held_while_its_repeats_come_and_a_little_longer() -> None:
    key, keyboard = _key()
    keyboard.pending = " "
    assert key.is_held()
    keyboard.now_s = LET_GO_S - 0.01
    assert key.is_held()


def test_a_key_that_no_longer_repeats_is_let_go() -> None:
    key, keyboard = _key()
    keyboard.pending = " "
    assert key.is_held()
    keyboard.now_s = LET_GO_S + 0.01
    assert not key.is_held()


def test_any_other_key_lets_go_at_once_also_among_repeats() -> None:
    key, keyboard = _key()
    keyboard.pending = " "
    assert key.is_held()
    keyboard.pending = "  x "
    assert not key.is_held()
    assert not key.is_held()
