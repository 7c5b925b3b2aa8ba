"""Our table of USB numbers against the public list, as systemd 252 ships it (data/usb_ids.csv, taken from it)."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest

from rotorwright.links.usb_facts import USB_FACTS, UsbFact

DATA = Path(__file__).parent / "data" / "usb_ids.csv"
HARDWARE_DATABASE = Path("/lib/udev/hwdb.d/20-usb-vendor-model.hwdb")
NUMBERED = [fact for fact in USB_FACTS if fact.vendor is not None]


def _rows() -> dict[tuple[int, int], str]:
    with DATA.open(encoding="utf-8", newline="") as file:
        return {(int(row["vendor"], 16), int(row["product"], 16)): row["name"] for row in csv.DictReader(file)}


@pytest.mark.parametrize("fact", NUMBERED, ids=lambda fact: f"{fact.vendor:04x}:{fact.product:04x}")
def test_each_numbered_row_has_the_words_of_the_public_list(fact: UsbFact) -> None:
    assert fact.vendor is not None
    assert fact.product is not None
    assert _rows()[fact.vendor, fact.product].startswith(fact.words)


def test_every_row_says_where_it_comes_from() -> None:
    assert all(fact.source for fact in USB_FACTS)
    assert len(NUMBERED) == len(_rows())


@pytest.mark.skipif(not HARDWARE_DATABASE.exists(), reason="this system has no copy of the public USB id list")
def test_the_copy_kept_here_is_what_the_list_of_this_system_says() -> None:
    text = HARDWARE_DATABASE.read_text(encoding="utf-8", errors="replace")
    for (vendor, product), name in _rows().items():
        found = re.search(rf"^usb:v{vendor:04X}p{product:04X}\*\n ID_MODEL_FROM_DATABASE=(.*)$", text, re.MULTILINE)
        assert found is not None
        assert found.group(1) == name
