"""An aircraft in its bootloader on USB, in memory, and a fresh client each time that one is asked for."""

from __future__ import annotations

import random

from rotorwright.firmware.image import Image
from rotorwright.firmware.mcu import microcontroller, sectors_for
from rotorwright.links.rom_uart.flash_writer import WriteReport, write_sectors
from rotorwright.links.usb_dfu.client import UsbDfuLoader
from rotorwright.links.usb_dfu.usb_port import UsbBus
from rotorwright.twin.assembly import Circumstances, MemoryBytes, build_aircraft
from rotorwright.twin.clock import VirtualClock
from rotorwright.twin.faults import FaultPlan
from rotorwright.twin.rom_uart import OptionBytes
from rotorwright.twin.state import Papers
from rotorwright.twin.usb_backend import DirectCarrier, TwinUsbBackend
from rotorwright.twin.usb_dfu import DfuQuirks
from rotorwright.twin.usb_port import TransferFault, UsbPort

PART = microcontroller("STM32F405xG")
UNIQUE_ID = "3a0027001351383438343933"
START = PART.flash_start


def image(size: int, seed: int) -> Image:
    return Image.of([(START, random.Random(seed).randbytes(size))])


OLD, NEW = image(36_000, 1), image(41_002, 2)
SECTORS = sectors_for(NEW, PART)


class UsbBench:
    def __init__(
        self,
        *,
        faults: FaultPlan | None = None,
        options: OptionBytes | None = None,
        quirks: DfuQuirks | None = None,
        transfers: dict[int, TransferFault] | None = None,
        part: str = PART.name,
        old: Image | None = OLD,
    ) -> None:
        self.memories = MemoryBytes.fresh(microcontroller(part))
        if old is not None:
            self.memories.flash[: old.size_bytes] = old.segments[0].data
        self.clock = VirtualClock()
        self.aircraft = build_aircraft(
            Papers(unique_id=UNIQUE_ID, board="C405", microcontroller=part),
            self.memories,
            lambda _flash, _hardware: None,
            circumstances=Circumstances(faults=faults or FaultPlan(), usb_quirks=quirks),
            options=options,
        )
        self.port = UsbPort(self.aircraft, transfers)
        self.backend = TwinUsbBackend(DirectCarrier([self.port], self.clock))
        self.restart(faults)

    def restart(self, faults: FaultPlan | None = None) -> None:
        """Take the power away, give it again with the button held, and let it start."""
        self.aircraft.power_off(self.clock.now_s())
        self.aircraft.plug_cable(self.clock.now_s())
        self.aircraft.power_on(self.clock.now_s(), button=True)
        self.aircraft.arm(faults or FaultPlan())
        self.clock.sleep_s(0.2)

    def loader(self) -> UsbDfuLoader:
        return UsbDfuLoader.open(UsbBus(self.backend), self.clock)

    def write(self, new: Image = NEW) -> WriteReport:
        mcu = self.aircraft.mcu
        return write_sectors(self.loader(), new, sectors_for(new, mcu), mcu=mcu)

    def holds(self, wanted: Image = NEW) -> bool:
        start = self.aircraft.mcu.flash_start
        flash = bytes(self.memories.flash)
        return all(flash[at - start : at - start + len(data)] == data for at, data in wanted.segments)
