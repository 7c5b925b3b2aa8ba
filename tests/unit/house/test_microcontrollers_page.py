"""The page of microcontrollers is made from their table, so that it cannot lag behind."""

from __future__ import annotations

from tools.list_microcontrollers import PAGE, page

from rotorwright.firmware.mcu import microcontrollers


def test_the_page_lists_the_table_as_it_is() -> None:
    words = "docs/reference/microcontrollers.md lags behind: python tools/list_microcontrollers.py --write"
    assert PAGE.read_text(encoding="utf-8") == page(), words


def test_every_part_is_on_the_page_with_flash_ram_and_loader() -> None:
    text = page()
    for mcu in microcontrollers():
        assert text.count(f"| {mcu.name} |") >= 3
