"""USB devices out of the kernel's list, as a tree of files made for the test."""

from __future__ import annotations

from pathlib import Path

from rotorwright.links.usb_devices import list_usb_devices
from rotorwright.links.usb_facts import DFU_LOADER, DFU_RUNNING, DeviceRole, usb_fact


def _device(folder: Path, place: str, *, classes: list[tuple[str, str, str]], **facts: str) -> Path:
    entry = folder / place
    entry.mkdir(parents=True)
    for name, text in ({"busnum": "1", "devnum": "5"} | facts).items():
        (entry / name).write_text(text + "\n")
    for number, words in enumerate(classes):
        child = entry / f"{place}:1.{number}"
        child.mkdir()
        for name, text in zip(("Class", "SubClass", "Protocol"), words, strict=True):
            (child / f"bInterface{name}").write_text(text + "\n")
    return entry


def test_a_device_is_read_with_its_numbers_classes_and_file(tmp_path: Path) -> None:
    _device(
        tmp_path, "1-1.2", classes=[("fe", "01", "02")], idVendor="0483", idProduct="df11", serial="3A", product="Boot"
    )
    (device,) = list_usb_devices(kernel_list=tmp_path, system="linux")
    assert (device.vendor, device.product, device.place) == (0x0483, 0xDF11, "1-1.2")
    assert (device.interfaces, device.serial_number, device.product_name) == (frozenset({DFU_LOADER}), "3A", "Boot")
    assert device.file == "/dev/bus/usb/001/005"


def test_interfaces_without_numbers_and_devices_that_go_are_left_out(tmp_path: Path) -> None:
    _device(tmp_path, "1-1", classes=[("", "", "")], idVendor="0001", idProduct="0002")
    _device(tmp_path, "1-2", classes=[], idVendor="0001")
    (device,) = list_usb_devices(kernel_list=tmp_path, system="linux")
    assert (device.place, device.interfaces) == ("1-1", frozenset())


def test_a_computer_without_usb_has_no_devices(tmp_path: Path) -> None:
    assert list_usb_devices(kernel_list=tmp_path / "none", system="linux") == ()


def test_a_known_bootloader_is_told_by_its_numbers_even_without_classes() -> None:
    fact = usb_fact(0x0483, 0xDF11)
    assert fact is not None
    assert fact.role is DeviceRole.BOOTLOADER


def test_an_unknown_maker_is_told_by_the_class_alone() -> None:
    loader, running = usb_fact(1, 2, [(3, 0, 0), DFU_LOADER]), usb_fact(1, 2, [DFU_RUNNING])
    assert loader is not None
    assert running is not None
    assert (loader.role, running.role) == (DeviceRole.BOOTLOADER, DeviceRole.APPLICATION)
    assert usb_fact(1, 2, [(3, 0, 0)]) is None
