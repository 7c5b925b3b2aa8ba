"""The whole job with the image in another format than Intel HEX, and with what an older version wrote down."""

from __future__ import annotations

import gzip
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import mkdtemp
from typing import TYPE_CHECKING

import pytest
from tests.virtual_bench import VirtualBench

from rotorwright.changeover.errors import ImageBoardMismatchError
from rotorwright.changeover.state import fold
from rotorwright.firmware.dfu_file import write_dfuse
from rotorwright.firmware.file_errors import BaseNeededError
from rotorwright.firmware.intel_hex import write_intel_hex
from rotorwright.firmware.uf2 import write_uf2
from rotorwright.firmware.written import write_raw
from rotorwright.hangar.store import Hangar

if TYPE_CHECKING:
    from collections.abc import Callable

    from rotorwright.firmware.image import Image

SMALL_BYTES = 36 * 1024
FORMATS: dict[str, Callable[[Image], bytes]] = {
    "image.uf2": lambda image: write_uf2(image, family=0x5775_5A57).data,
    "image.dfu": write_dfuse,
    "image.bin": lambda image: write_raw(image).data,
    "image.hex.gz": lambda image: gzip.compress(write_intel_hex(image)),
}


@cache
def _fresh() -> VirtualBench:
    return VirtualBench(Path(mkdtemp(prefix="rotorwright-formats-")), size_bytes=SMALL_BYTES)


@pytest.mark.parametrize("name", FORMATS)
def test_a_job_with_any_format_writes_the_same_image_and_keeps_the_file_as_it_was_given(
    name: str, tmp_path: Path
) -> None:
    bench = _fresh().copy(tmp_path)
    bench.image_file = FORMATS[name](bench.new_image)
    run = bench.run()
    assert run.error is None
    assert run.state is not None
    assert run.state.image is not None
    assert run.state.image.sha256 == bench.new_image.sha256
    assert bench.memories.flash[:SMALL_BYTES] == bench.new_image.read(bench.new_image.start, SMALL_BYTES)
    kept = run.state.image_file
    assert kept is not None
    assert kept.name == name
    with Hangar.open(bench.folder / "hangar") as hangar:
        assert hangar.fetch(bench.changeover_id, kept) == bench.image_file
    deduced = any("deduced" in str(words) for words in run.person.heard)
    assert deduced == (name == "image.bin")


def test_an_image_that_cannot_be_placed_opens_no_job_card(tmp_path: Path) -> None:
    bench = _fresh().copy(tmp_path)
    bench.image_file = bytes(range(256)) * 8
    run = bench.run()
    assert isinstance(run.error, BaseNeededError)
    assert not bench.changeover_id


def test_a_journal_from_before_the_other_formats_is_read_as_it_was_meant(tmp_path: Path) -> None:
    bench = _fresh().copy(tmp_path)
    bench.run(refuses=frozenset({"propellers-off"}))
    started, *others = bench.events()
    old = replace(started, facts={key: value for key, value in started.facts.items() if key != "image_base"})
    state = fold((old, *others))
    assert state.image_base is None
    assert state.image_file is not None
    assert state.image_file.name == "image.hex"


def test_a_uf2_file_for_another_family_of_microcontrollers_is_not_written(tmp_path: Path) -> None:
    bench = _fresh().copy(tmp_path)
    bench.image_file = write_uf2(bench.new_image, family=0x53B8_0F00).data
    before = bytes(bench.memories.flash)
    run = bench.run()
    assert isinstance(run.error, ImageBoardMismatchError)
    assert "STM32F7" in run.error.why
    assert bytes(bench.memories.flash) == before
