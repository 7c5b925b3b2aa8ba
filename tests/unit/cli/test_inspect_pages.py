"""`inspect` as a page of facts with a map, and `inspect A B`."""

from __future__ import annotations

import json
from pathlib import Path
from xml.etree import ElementTree as ET

from tests.unit.cli.desk import Desk

from rotorwright.firmware.dfu_file import write_dfuse
from rotorwright.firmware.intel_hex import write_intel_hex
from rotorwright.firmware.written import write_raw
from rotorwright.twin.thornbill.images import build_image

OLD, NEW = (build_image(release, "C405", size_bytes=40_000) for release in ("5.2", "6.0"))


def _lay_out(folder: Path) -> None:
    (folder / "old.hex").write_bytes(write_intel_hex(OLD))
    (folder / "new.hex").write_bytes(write_intel_hex(NEW))
    (folder / "new.dfu").write_bytes(write_dfuse(NEW))


def test_the_page_has_map_texts_and_what_lies_between_the_ranges(desk: Desk, tmp_path: Path) -> None:
    _lay_out(tmp_path)
    code, out, _ = desk.run("inspect", "new.hex")
    assert code == 0
    assert "0x08000000 sector 0           |########################|" in out
    assert "sectors 3 to 3" not in out
    assert "Thornbill 6.0.0" in out
    assert all(len(line) <= 80 for line in out.splitlines() if "|" in line)
    facts = json.loads(desk.run("inspect", "new.hex", "--json")[1])
    assert [row["sector"] for row in facts["map"]] == [0, 1, 2]
    assert sum(row["content"] + row["erased"] for row in facts["map"]) == facts["bytes"]
    assert facts["gaps"] == []
    assert any(one["text"] == "Thornbill 6.0.0" for one in facts["build_strings"])


def test_the_map_is_drawn_into_a_new_file_and_never_over_an_old_one(desk: Desk, tmp_path: Path) -> None:
    _lay_out(tmp_path)
    code, out, _ = desk.run("inspect", "new.hex", "--map", "map.svg")
    assert (code, "map.svg" in out) == (0, True)
    root = ET.fromstring((tmp_path / "map.svg").read_text(encoding="utf-8"))
    assert root.findtext("{http://www.w3.org/2000/svg}title") == "Map of new.hex, STM32F405xG"
    code, _, err = desk.run("inspect", "new.hex", "--map", "map.svg")
    assert code == 8
    assert "nothing is ever overwritten" in err


def test_a_file_name_cannot_put_marks_into_the_drawing(desk: Desk, tmp_path: Path) -> None:
    (tmp_path / "a<b>&.hex").write_bytes(write_intel_hex(NEW))
    assert desk.run("inspect", "a<b>&.hex", "--map", "map.svg")[0] == 0
    root = ET.fromstring((tmp_path / "map.svg").read_text(encoding="utf-8"))
    assert root.findtext("{http://www.w3.org/2000/svg}title") == "Map of a<b>&.hex, STM32F405xG"


def test_two_images_are_compared_sector_by_sector(desk: Desk, tmp_path: Path) -> None:
    _lay_out(tmp_path)
    code, out, _ = desk.run("inspect", "old.hex", "new.hex")
    assert code == 1
    assert "0x08000000 sector 0" in out
    assert any(line.strip().startswith("text only in A: ") and "5.2.0" in line for line in out.splitlines())
    facts = json.loads(desk.run("inspect", "old.hex", "new.hex", "--json")[1])
    assert not facts["is_same"]
    assert sum(one["same"] + one["differing"] + one["only_first"] for one in facts["blocks"]) == OLD.size_bytes


def test_the_same_image_in_two_formats_is_the_same(desk: Desk, tmp_path: Path) -> None:
    _lay_out(tmp_path)
    code, out, _ = desk.run("inspect", "new.hex", "new.dfu")
    assert (code, "They are the same image, byte for byte." in out) == (0, True)


def test_the_part_that_a_person_names_gives_the_sectors(desk: Desk, tmp_path: Path) -> None:
    (tmp_path / "plain.bin").write_bytes(write_raw(NEW).data[:0x120])
    code, out, _ = desk.run("inspect", "plain.bin", "--base", "0x08000000", "--part", "STM32F303xC")
    assert code == 0
    assert "the sectors of the STM32F303xC" in out
    code, _, err = desk.run("inspect", "plain.bin", "--base", "0x08000000", "--part", "STM32X")
    assert code == 5
    assert "'STM32X' is not known here" in err
