"""Every bootloader has the one shape that the write step takes; mypy checks the assignments, the test the members."""

from __future__ import annotations

import inspect

import pytest

from rotorwright.links.loader import FlashLoader
from rotorwright.links.rom_uart.client import RomUartLoader
from rotorwright.links.usb_dfu.client import UsbDfuLoader

_SHAPES: tuple[type[FlashLoader], ...] = (RomUartLoader, UsbDfuLoader)
MEMBERS = [name for name in vars(FlashLoader) if not name.startswith("_")]


@pytest.mark.parametrize("loader", _SHAPES)
@pytest.mark.parametrize("member", MEMBERS)
def test_each_bootloader_has_every_member_of_the_shape(loader: type[FlashLoader], member: str) -> None:
    ours, shape = inspect.getattr_static(loader, member), inspect.getattr_static(FlashLoader, member)
    assert type(ours) is type(shape)
    if inspect.isfunction(ours) and inspect.isfunction(shape):
        assert list(inspect.signature(ours).parameters) == list(inspect.signature(shape).parameters)


def test_the_shape_has_what_a_write_step_needs() -> None:
    assert {"read_block", "write_block", "erase_sectors", "can_read", "block_bytes", "go", "chip_id"} <= set(MEMBERS)
