"""What pyusb raises becomes what a person reads: forbidden, no driver, gone, or a transfer that may be tried again."""

from __future__ import annotations

import errno
from typing import Any

import libusb_package
import pytest
import usb.core
from tests.unit.links.usb_bench import START, UsbBench

from rotorwright.errors import RotorwrightError
from rotorwright.links.usb_dfu import usb_port
from rotorwright.links.usb_dfu.client import UsbDfuLoader
from rotorwright.links.usb_dfu.errors import (
    DfuDeviceMissingError,
    DfuForbiddenError,
    DfuGoneError,
    DfuNoFlashError,
    DfuSilentError,
    DfuStuckError,
    DfuUnusableError,
    MemoryStringError,
    UsbLibraryMissingError,
)
from rotorwright.links.usb_dfu.usb_port import UsbBus
from rotorwright.twin.usb_backend import DirectCarrier, TwinUsbBackend


class Broken(TwinUsbBackend):
    """A backend whose named calls raise."""

    def __init__(self, bench: UsbBench, **raises: Exception) -> None:
        super().__init__(DirectCarrier([bench.port], bench.clock))
        for name, error in raises.items():
            setattr(self, name, self._raiser(error))

    @staticmethod
    def _raiser(error: Exception) -> Any:
        def raise_it(*_arguments: object) -> None:
            raise error

        return raise_it


class Odd(TwinUsbBackend):
    """A backend whose alternate settings have other strings, or whose interface has other bytes."""

    def __init__(self, bench: UsbBench, alternates: tuple[str, ...] = (), **fields: object) -> None:
        super().__init__(DirectCarrier([bench.port], bench.clock))
        dfu = bench.aircraft.usb_bootloader(bench.clock.now_s())
        assert dfu is not None
        dfu.alternates = alternates or dfu.alternates  # type: ignore[assignment]
        self._fields = fields

    def get_interface_descriptor(self, dev: int, intf: int, alt: int, config: int) -> Any:
        found = super().get_interface_descriptor(dev, intf, alt, config)
        for name, value in self._fields.items():
            setattr(found, name, value)
        return found


def usb_error(number: int) -> Exception:
    error: Exception = usb.core.USBError("said the system", -1, number)
    return error


def opened(bench: UsbBench, backend: object) -> UsbDfuLoader:
    return UsbDfuLoader.open(UsbBus(backend), bench.clock)


@pytest.mark.parametrize(
    ("raised", "ours"),
    [
        (usb_error(errno.EACCES), DfuForbiddenError),
        (usb_error(errno.EPERM), DfuForbiddenError),
        (usb_error(errno.EBUSY), DfuForbiddenError),
        (usb_error(errno.ENODEV), DfuGoneError),
        (usb_error(errno.ENOENT), DfuUnusableError),
        (NotImplementedError("no driver"), DfuUnusableError),
    ],
)
def test_a_device_that_cannot_be_claimed_says_why(raised: Exception, ours: type[RotorwrightError]) -> None:
    bench = UsbBench()
    with pytest.raises(ours) as caught:
        opened(bench, Broken(bench, claim_interface=raised))
    assert caught.value.todo


def test_a_device_of_another_user_is_listed_without_its_serial_number() -> None:
    bench = UsbBench()
    devices = UsbBus(Broken(bench, open_device=usb_error(errno.EACCES))).devices()
    assert [(device.place, device.serial_number) for device in devices] == [("1-1", "")]


def test_transfers_that_fail_all_the_time_end_in_words() -> None:
    bench = UsbBench()
    loader = bench.loader()
    loader._pipe.device.handle._ctx.backend.ctrl_transfer = Broken._raiser(usb_error(errno.EIO))
    with pytest.raises(DfuSilentError, match="read memory"):
        loader.read(START, 16)


def test_a_device_that_cannot_be_described_is_not_there() -> None:
    bench = UsbBench()
    with pytest.raises(DfuDeviceMissingError):
        opened(bench, Broken(bench, get_configuration_descriptor=usb_error(errno.EIO)))


@pytest.mark.parametrize(
    "fields", [{"bInterfaceClass": 3}, {"bInterfaceSubClass": 2}, {"bInterfaceProtocol": 1}], ids=str
)
def test_an_interface_of_another_class_is_no_bootloader(fields: dict[str, object]) -> None:
    bench = UsbBench()
    with pytest.raises(DfuDeviceMissingError):
        opened(bench, Odd(bench, (), **fields))


def test_the_flash_is_found_wherever_it_stands_among_the_alternate_settings() -> None:
    bench = UsbBench()
    odd = Odd(bench, ("@Internal Flash  /0x08000000/04*016Kg,01*064Kg,07*128Kg", "@External Flash /0x90000000/64*64Kg"))
    assert opened(bench, odd).layout.name == "Internal Flash"


@pytest.mark.parametrize(
    ("alternates", "ours"),
    [
        (("@Option Bytes  /0x1FFFC000/01*016 e",), DfuNoFlashError),
        (("@A /0x08000000/04*016Kg", "@B /0x09000000/04*016Kg"), DfuNoFlashError),
        (("@Internal Flash  /0x08000000/4 of 16",), MemoryStringError),
        (("",), MemoryStringError),
    ],
)
def test_without_one_flash_that_is_surely_meant_nothing_is_opened(
    alternates: tuple[str, ...], ours: type[RotorwrightError]
) -> None:
    bench = UsbBench()
    with pytest.raises(ours):
        opened(bench, Odd(bench, alternates))
    assert bench.port.requests == 0


@pytest.mark.parametrize("extra", [[], [9, 0x21, 0x02, 0, 0, 0, 8, 0x1A, 1], [9, 0x21, 0x0B, 0, 0, 0, 0, 0x1A, 1]])
def test_an_interface_that_takes_no_downloads_is_not_opened(extra: list[int]) -> None:
    bench = UsbBench()
    with pytest.raises(DfuNoFlashError, match="no downloads"):
        opened(bench, Odd(bench, extra_descriptors=extra))


def test_a_device_that_runs_its_application_in_this_interface_is_told_to_be_plugged_in_anew() -> None:
    bench = UsbBench()
    loader = bench.loader()
    handle = loader._pipe.device.handle

    def application_idle(*arguments: Any) -> int:
        data = arguments[5]
        data[:6] = type(data)("B", (0, 0, 0, 0, 0, 0))
        return 6

    handle._ctx.backend.ctrl_transfer = application_idle
    loader._state = None
    with pytest.raises(DfuStuckError, match="state 0"):
        loader.erase([1])


def test_a_computer_without_the_library_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(libusb_package, "get_libusb1_backend", lambda: None)
    with pytest.raises(UsbLibraryMissingError):
        usb_port.real_backend()


def test_the_real_bus_can_be_looked_at() -> None:
    assert isinstance(UsbBus().devices(), tuple)
