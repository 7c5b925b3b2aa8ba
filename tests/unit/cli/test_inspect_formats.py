"""`inspect` with image files of other formats, as a person and a program read it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from tests.unit.cli.desk import Desk

from rotorwright.firmware.image import Image
from rotorwright.firmware.uf2 import write_uf2
from rotorwright.firmware.written import write_raw
from rotorwright.twin.thornbill.images import build_image

IMAGE = build_image("6.0", "C405", size_bytes=4096)


def test_a_uf2_file_shows_its_format_and_what_does_not_protect_it(desk: Desk, tmp_path: Path) -> None:
    (tmp_path / "new.bin").write_bytes(write_uf2(IMAGE, family=0x5775_5A57).data)
    code, out, _ = desk.run("inspect", "new.bin")
    assert code == 0
    assert "The file is UF2." in out
    assert "STM32F4 (0x57755a57)" in out
    assert "Nothing in a file of this format shows whether it was damaged" in out


def test_a_raw_file_is_placed_by_its_vector_table_or_by_the_base_that_is_given(desk: Desk, tmp_path: Path) -> None:
    (tmp_path / "new.hex").write_bytes(write_raw(IMAGE).data)
    facts = json.loads(desk.run("inspect", "new.hex", "--json")[1])
    assert (facts["format"], facts["sha256"], facts["is_protected"]) == ("raw binary", IMAGE.sha256, False)
    assert "deduced" in facts["notes"][0]
    moved = json.loads(desk.run("inspect", "new.hex", "--json", "--base", "0x08010000")[1])
    assert moved["sha256"] == Image.of([(0x0801_0000, write_raw(IMAGE).data)]).sha256


@pytest.mark.parametrize(("base", "code"), [("zz", 2), ("-0x10", 5), ("0x1_0000_0000", 5)])
def test_a_base_that_cannot_be_is_refused_in_words(base: str, code: int, desk: Desk, tmp_path: Path) -> None:
    (tmp_path / "new.bin").write_bytes(write_raw(IMAGE).data)
    found, _, err = desk.run("inspect", "new.bin", f"--base={base}")
    assert found == code
    assert "address" in err
    assert "Traceback" not in err
