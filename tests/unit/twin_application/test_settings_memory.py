"""The settings memory: exact, and whole after any cut."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rotorwright.settings.values import SCHEMA_TYPES, SettingType, Value
from rotorwright.twin.settings_memory import (
    SETTINGS_MEMORY_BYTES,
    SLOT_BYTES,
    MemoryInRam,
    StoredSettings,
    load_settings,
    save_settings,
    settings_memory_with,
)

NAMES = st.text("ABCDEFGHIJKLMNOPQRSTUVWXYZ_0123456789", min_size=1, max_size=16)
VALUES = st.sampled_from(SCHEMA_TYPES).flatmap(
    lambda type_: st.integers(0, (1 << 8 * type_.size_bytes) - 1).map(lambda bits: Value(type_, bits))
)


def stored(count: int, word: int) -> StoredSettings:
    values = {f"S_{number:03}": Value(SettingType.UINT32, word + number) for number in range(count)}
    return StoredSettings("5.2.0", "Corvane One", values)


FIRST, SECOND, THIRD = stored(60, 100), stored(60, 2000), stored(61, 30000)


class PowerGoneError(Exception):
    """The power went."""


class CutMemory(MemoryInRam):
    """A memory whose power goes at write number `at` (0 for never): before it, in its middle, or after it."""

    def __init__(self, content: bytes, *, at: int = 0, moment: str = "before") -> None:
        super().__init__(content)
        self.at = at
        self.moment = moment
        self.writes = 0

    def write(self, offset: int, data: bytes) -> None:
        self.writes += 1
        if self.writes != self.at:
            super().write(offset, data)
            return
        super().write(offset, {"before": b"", "torn": data[: len(data) // 2] + b"\xe7", "after": data}[self.moment])
        raise PowerGoneError


def found(memory: bytes) -> dict[str, Value] | None:
    save = load_settings(MemoryInRam(memory))
    return None if save is None else dict(save.settings)


@given(st.dictionaries(NAMES, VALUES, max_size=40))
def test_every_value_of_every_type_comes_back_bit_for_bit(values: dict[str, Value]) -> None:
    memory = MemoryInRam()
    assert save_settings(memory, StoredSettings("6.0.0", "Corvane C405", values))
    assert load_settings(memory) == StoredSettings("6.0.0", "Corvane C405", values, number=1)


def test_fresh_memory_holds_nothing() -> None:
    for content in (b"", b"\xff" * SETTINGS_MEMORY_BYTES, bytes(SETTINGS_MEMORY_BYTES), b"\xff" * 100):
        assert load_settings(MemoryInRam(content)) is None


def test_the_newest_of_many_saves_counts() -> None:
    memory = MemoryInRam()
    for word in range(0, 9000, 1000):
        save_settings(memory, stored(60, word))
        assert found(memory.read()) == stored(60, word).settings
    assert len(memory.read()) == SETTINGS_MEMORY_BYTES


@pytest.mark.parametrize("moment", ["before", "torn", "after"])
def test_after_a_cut_at_any_write_the_older_or_the_newer_settings_are_whole(moment: str) -> None:
    memory = MemoryInRam(settings_memory_with(FIRST))
    save_settings(memory, SECOND)
    clean = CutMemory(memory.read())
    save_settings(clean, THIRD)
    assert clean.writes > 3
    for at in range(1, clean.writes + 1):
        cut = CutMemory(memory.read(), at=at, moment=moment)
        with pytest.raises(PowerGoneError):
            save_settings(cut, THIRD)
        is_stored = at == clean.writes and moment == "after"
        assert found(cut.read()) == (THIRD if is_stored else SECOND).settings
        again = MemoryInRam(cut.read())
        assert save_settings(again, THIRD)
        assert found(again.read()) == THIRD.settings


@settings(max_examples=200)
@given(st.integers(0, SLOT_BYTES - 1), st.integers(1, 255))
def test_a_damaged_byte_gives_the_same_settings_or_none(place: int, flip: int) -> None:
    memory = bytearray(settings_memory_with(FIRST))
    memory[place] ^= flip
    assert found(bytes(memory)) in (FIRST.settings, None)


def test_a_slot_that_is_cut_short_is_no_slot() -> None:
    memory = settings_memory_with(FIRST)
    used = len(memory.rstrip(b"\xff"))
    assert found(memory[:used]) == FIRST.settings
    for length in range(used):
        assert found(memory[:length]) is None


def test_what_does_not_fit_is_not_written() -> None:
    large = StoredSettings("5.2.0", "Corvane One", {f"SETTING_{n:08}": Value(SettingType.INT8, 1) for n in range(800)})
    memory = CutMemory(settings_memory_with(FIRST))
    assert not save_settings(memory, large)
    assert memory.writes == 0
    with pytest.raises(ValueError, match="800 settings"):
        settings_memory_with(large)


def test_as_many_settings_as_a_release_may_have_fit() -> None:
    memory = MemoryInRam()
    values = {f"SETTING_NAME_{n:03}": Value(SettingType.UINT32, n) for n in range(700)}
    assert save_settings(memory, StoredSettings("6.0.0", "Corvane C405", values))


def test_texts_and_64_bit_numbers_are_kept_as_they_are() -> None:
    held = {
        "NOTE": Value.of_text("ä\0 \U0001f681"),
        "EMPTY": Value.of_text(""),
        "BIG": Value.of(SettingType.UINT64, (1 << 64) - 1),
        "LOW": Value.of(SettingType.INT64, -(1 << 63)),
        "SMALL": Value.of(SettingType.UINT8, 3),
    }
    memory = MemoryInRam()
    assert save_settings(memory, StoredSettings("5.2.0", "Corvane One", held))
    stored = load_settings(memory)
    assert stored is not None
    assert stored.settings == held
