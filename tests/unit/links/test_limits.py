"""The tables of waits and retries: each row with unit and source, and the README shows what the code does."""

from __future__ import annotations

from importlib import resources

import pytest

from rotorwright.links.console import spec as console
from rotorwright.links.limits import Limit, limits_table
from rotorwright.links.mavlink import spec as mavlink
from rotorwright.links.rom_uart import spec as rom_uart
from rotorwright.links.uf2_drive import spec as uf2_drive
from rotorwright.links.usb_dfu import spec as usb_dfu

TABLES = {
    "mavlink": mavlink.LIMITS,
    "rom_uart": rom_uart.LIMITS,
    "console": console.LIMITS,
    "usb_dfu": usb_dfu.LIMITS,
    "uf2_drive": uf2_drive.LIMITS,
}


@pytest.mark.parametrize("protocol", TABLES)
def test_the_readme_of_the_protocol_has_the_table_that_the_code_reads(protocol: str) -> None:
    readme = resources.files(f"rotorwright.links.{protocol}").joinpath("README.md").read_text(encoding="utf-8")
    assert limits_table(TABLES[protocol]) in readme


@pytest.mark.parametrize("limit", [limit for table in TABLES.values() for limit in table], ids=lambda one: one.what)
def test_each_limit_is_above_zero_and_says_where_it_comes_from(limit: Limit) -> None:
    assert limit.value > 0
    assert limit.source
    assert limit.count == int(limit.value)
