"""The start from flash with the real releases, as the virtual aircraft calls it."""

from __future__ import annotations

import lzma

import pytest
from tests.unit.twin_application.ground_station import codec

from rotorwright.firmware.mcu import microcontroller
from rotorwright.settings.catalogue import parse_catalogue
from rotorwright.twin.aircraft import Hardware
from rotorwright.twin.application_start import start_from_flash
from rotorwright.twin.delivery import delivered_memories
from rotorwright.twin.faults import MemoryKind
from rotorwright.twin.kept_memory import KeptMemory
from rotorwright.twin.metadata_service import PARAMETERS_PATH, metadata_files
from rotorwright.twin.settings_memory import MemoryInRam, StoredSettings, save_settings
from rotorwright.twin.thornbill.images import build_image
from rotorwright.twin.thornbill.release import catalogue, characters, customised_settings
from rotorwright.twin.world import World

BOARDS = {"C405": microcontroller("STM32F405xG"), "H7": microcontroller("STM32H743xI")}


def hardware(key: str, settings: bytes, display: bytes) -> Hardware:
    return Hardware(
        mcu=BOARDS[key],
        unique_id=bytes(range(12)),
        world=World(),
        settings=KeptMemory(MemoryKind.SETTINGS, bytearray(settings)),
        display=KeptMemory(MemoryKind.DISPLAY, bytearray(display)),
        seed=1,
    )


def flash_with(line: str, key: str) -> bytes:
    image = build_image(line, key, size_bytes=4096)
    return image.read(image.start, 16_384)


@pytest.mark.parametrize(("line", "key"), [("5.2", "C405"), ("6.0", "C405"), ("6.0", "H7")])
def test_every_release_starts_with_the_defaults_of_its_board(line: str, key: str) -> None:
    fresh = MemoryInRam().read()
    application = start_from_flash(flash_with(line, key), hardware(key, fresh, characters("5.2")))
    assert application is not None
    known = catalogue(line, key)
    assert {name: application.settings[name] for name in application.settings} == known.defaults
    assert len(application.settings) == len(known) >= {"5.2": 420, "6.0": 450}[line]
    application.start(0.0)
    (text, *_) = codec().parse_buffer(b"".join(application.transmit(0.0)))
    assert text.text.startswith(f"Thornbill {line}.0 on Corvane")


def test_the_delivered_aircraft_holds_what_its_owner_changed() -> None:
    memories = delivered_memories()
    application = start_from_flash(
        bytes(memories.flash), hardware("C405", bytes(memories.settings), bytes(memories.display))
    )
    assert application is not None
    assert application.settings.start_words is None
    expected = dict(catalogue("5.2", "C405").defaults) | customised_settings()
    assert {name: application.settings[name] for name in application.settings} == expected


def test_the_next_release_does_not_take_the_settings_of_the_old_one() -> None:
    memories = delivered_memories()
    updated = start_from_flash(
        flash_with("6.0", "C405"), hardware("C405", bytes(memories.settings), bytes(memories.display))
    )
    assert updated is not None
    assert updated.settings.start_words == "Saved settings are of 5.2.0: defaults in force"
    assert {name: updated.settings[name] for name in updated.settings} == catalogue("6.0", "C405").defaults


@pytest.mark.parametrize("line", ["5.2", "6.0"])
def test_the_metadata_file_of_a_release_reads_back_to_its_catalogue(line: str) -> None:
    known = catalogue(line, "C405")
    packed = metadata_files(known)[PARAMETERS_PATH]
    assert parse_catalogue(lzma.decompress(packed)).settings == known.settings


@pytest.mark.parametrize("line", ["5.2", "6.0"])
def test_all_settings_of_a_release_fit_into_the_settings_memory(line: str) -> None:
    assert save_settings(MemoryInRam(), StoredSettings(f"{line}.0", "Corvane C405", catalogue(line, "C405").defaults))


def test_erased_flash_is_silence() -> None:
    fresh = MemoryInRam().read()
    assert start_from_flash(b"\xff" * 16_384, hardware("C405", fresh, characters("5.2"))) is None
