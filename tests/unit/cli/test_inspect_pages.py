"""`inspect` as a page of facts with a map, and `inspect A B`."""

from __future__ import annotations

import json
from pathlib import Path
from xml.etree import ElementTree as ET

from tests.unit.cli.desk import Desk

from rotorwright.firmware.dfu_file import write_dfuse
from rotorwright.firmware.intel_hex import write_intel_hex
from rotorwright.firmware.written import write_raw
from rotorwright.twin.thornbill.book import write_book
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
    assert "0x08000000 sector 0           |####################|" in out
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


def test_what_two_images_say_of_themselves_is_compared_and_swapping_them_swaps_the_words(
    desk: Desk, tmp_path: Path
) -> None:
    _lay_out(tmp_path)
    assert "descriptor, release: A 5.2.0, B 6.0.0" in desk.run("inspect", "old.hex", "new.hex")[1]
    one, other = (
        json.loads(desk.run("inspect", *names, "--json")[1])
        for names in (("old.hex", "new.hex"), ("new.hex", "old.hex"))
    )
    assert {"what": "descriptor, release", "first": "5.2.0", "second": "6.0.0"} in one["told"]
    assert [(say["first"], say["second"]) for say in one["told"]] == [
        (say["second"], say["first"]) for say in other["told"]
    ]
    assert one["strings_only_first"] == other["strings_only_second"]


def test_another_stack_and_another_vector_are_said(desk: Desk, tmp_path: Path) -> None:
    table = NEW.read(NEW.start, 0x4000)
    for name, stack, last in (("a.bin", 0x2000_1000, table[60:64]), ("b.bin", 0x2000_2000, b"\0\0\0\0")):
        (tmp_path / name).write_bytes(stack.to_bytes(4, "little") + table[4:60] + last + table[64:])
    code, out, _ = desk.run("inspect", "a.bin", "b.bin", "--base", "0x08000000", "--part", "STM32F405xG")
    assert code == 1
    assert "stack top: A 0x20001000, B 0x20002000" in out
    assert "system vectors: A " in out
    assert "first instruction:" not in out


def test_images_for_two_parts_are_compared_by_pages_whichever_comes_first(desk: Desk, tmp_path: Path) -> None:
    _lay_out(tmp_path)
    (tmp_path / "h7.hex").write_bytes(write_intel_hex(build_image("6.0", "H7", size_bytes=40_000)))
    for names in (("new.hex", "h7.hex"), ("h7.hex", "new.hex")):
        assert "Compared by pages of 16 KiB" in desk.run("inspect", *names)[1]


def test_a_line_of_the_map_with_an_erased_tail_keeps_within_80_columns(desk: Desk, tmp_path: Path) -> None:
    (tmp_path / "tail.bin").write_bytes(b"\x11" * 4000 + b"\xff" * 258_144 + b"\xff" * 262_144)
    named = ("--base", "0x08100000", "--part", "STM32F767xI")
    out = desk.run("inspect", "tail.bin", *named)[1]
    lines = [line for line in out.splitlines() if "|" in line]
    assert any(line.endswith("erased tail 258,144") for line in lines)
    assert any(line.endswith("erased, 262,144") for line in lines)
    assert max(map(len, lines)) <= 80
    facts = json.loads(desk.run("inspect", "tail.bin", *named, "--json")[1])
    assert [row["is_erased"] for row in facts["map"]] == [False, True]


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


def test_a_board_that_the_book_does_not_know_is_not_put_into_the_mouth_of_an_aircraft(
    desk: Desk, tmp_path: Path
) -> None:
    _lay_out(tmp_path)
    write_book(tmp_path / "a-book")
    err = desk.refused(7, "inspect", "new.hex", "--book", "a-book", "--board", "Corvane 406")
    assert "The release book knows no board that is called 'Corvane 406'" in err
    assert "aircraft says" not in err
    assert "405 and 406 are each in one of the names only" in " ".join(err.split())
