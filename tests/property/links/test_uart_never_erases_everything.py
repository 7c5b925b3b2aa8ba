"""Whatever is asked of the bootloader on the UART with some sectors of the part, an erase of everything is never sent.

Source of the codes: ST AN3155, erase memory (43, then FF for everything) and extended erase memory (44, then FFF0 to
FFFF for everything or a bank). The bytes are looked at where they leave us, before any fault of the line.
"""

from __future__ import annotations

import contextlib
from dataclasses import dataclass, field
from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from rotorwright.errors import LinkError, ProtocolError
from rotorwright.firmware.image import Image
from rotorwright.firmware.mcu import Sector, microcontroller
from rotorwright.links.rom_uart.client import RomUartLoader
from rotorwright.links.rom_uart.flash_writer import compare_sectors, write_sectors
from rotorwright.links.wire import LineSettings, Parity, Wire
from rotorwright.twin.assembly import Circumstances, MemoryBytes, build_aircraft
from rotorwright.twin.clock import VirtualClock
from rotorwright.twin.faults import FaultPlan
from rotorwright.twin.state import Papers
from rotorwright.twin.wire import DirectPort

PART = microcontroller("STM32F405xG")
PAPERS = Papers(unique_id="3a0027001351383438343933", board="C405", microcontroller=PART.name)
LINE = LineSettings(115_200, Parity.EVEN)
OTHERS = b"\x5a"
ERASE, EXTENDED_ERASE = b"\x43\xbc", b"\x44\xbb"
EVERYTHING_PLAIN = b"\xff"
FIRST_SPECIAL_COUNT = 0xFFF0


@dataclass
class Listening:
    """A wire that keeps what we send."""

    wire: Wire
    sent: list[bytes] = field(default_factory=list)

    @property
    def name(self) -> str:
        return self.wire.name

    def send(self, data: bytes) -> None:
        self.sent.append(data)
        self.wire.send(data)

    def receive(self, limit: int, timeout_s: float) -> bytes:
        return self.wire.receive(limit, timeout_s)

    def discard_input(self) -> None:
        self.wire.discard_input()

    def close(self) -> None:
        self.wire.close()


class Bench:
    """A board whose flash is full, in its bootloader, on a line with faults."""

    def __init__(self, faults: FaultPlan, loader_version: int) -> None:
        self.memories = MemoryBytes.fresh(PART)
        self.memories.flash[:] = OTHERS * PART.flash_size_bytes
        self.clock = VirtualClock()
        how = Circumstances(faults=faults, loader_version=loader_version)
        self.aircraft = build_aircraft(PAPERS, self.memories, lambda _flash, _hardware: None, circumstances=how)
        self.aircraft.power_off(self.clock.now_s())
        self.aircraft.power_on(self.clock.now_s(), button=True)
        self.clock.sleep_s(0.5)
        self.wire = Listening(DirectPort(self.aircraft, self.clock).open(LINE))
        self.loader = RomUartLoader(self.wire, self.clock)


def asks_for_everything(sent: list[bytes]) -> bool:
    """Answer whether any message is an erase of everything, or would be read as one right behind an erase command."""
    for command, message in pairwise(sent):
        if command.endswith(ERASE) and message.startswith(EVERYTHING_PLAIN):
            return True
        if command.endswith(EXTENDED_ERASE) and int.from_bytes(message[:2], "big") >= FIRST_SPECIAL_COUNT:
            return True
    stream = b"".join(sent)
    return ERASE + EVERYTHING_PLAIN in stream or any(
        EXTENDED_ERASE + count.to_bytes(2, "big") in stream for count in range(FIRST_SPECIAL_COUNT, 0x10000)
    )


def _do(bench: Bench, act: str, plan: tuple[Sector, ...]) -> None:
    image = Image.of([(sector.address, bytes([sector.number]) * 40) for sector in plan])
    match act:
        case "erase":
            bench.loader.erase_sectors(plan)
        case "write":
            write_sectors(bench.loader, image, plan, mcu=PART)
        case "compare":
            compare_sectors(bench.loader, image, plan)
        case _:
            bench.loader.chip_id()


plans = st.sets(st.sampled_from(PART.sectors), min_size=1, max_size=len(PART.sectors) - 1).map(
    lambda some: tuple(sorted(some, key=lambda sector: sector.address))
)
acts = st.lists(st.sampled_from(["erase", "write", "compare", "ask"]), min_size=1, max_size=3)
lines = st.builds(
    FaultPlan,
    loss_rate=st.sampled_from([0.0, 0.02, 0.2]),
    damage_rate=st.sampled_from([0.0, 0.02, 0.2]),
    seed=st.integers(1, 10_000),
)


@settings(max_examples=60, deadline=None)
@given(plan=plans, acts=acts, faults=lines, loader_version=st.sampled_from([0x22, 0x31]))
def test_no_calls_with_a_plan_of_some_sectors_ever_send_the_erase_of_everything(
    plan: tuple[Sector, ...], acts: list[str], faults: FaultPlan, loader_version: int
) -> None:
    bench = Bench(faults, loader_version)
    for act in acts:
        with contextlib.suppress(LinkError, ProtocolError):
            _do(bench, act, plan)
    assert not asks_for_everything(bench.wire.sent)
    assert bench.aircraft.flash.touched_sectors <= {sector.number for sector in plan}
    for sector in set(PART.sectors) - set(plan):
        at = sector.address - PART.flash_start
        assert bench.memories.flash[at : at + sector.size_bytes] == OTHERS * sector.size_bytes


def test_a_plan_of_every_sector_names_each_of_them_too() -> None:
    bench = Bench(FaultPlan(), 0x31)
    bench.loader.erase_sectors(PART.sectors)
    assert not asks_for_everything(bench.wire.sent)
    assert not bytes(bench.memories.flash).strip(b"\xff")


def test_the_look_at_the_bytes_sees_both_kinds_of_erase_of_everything() -> None:
    assert asks_for_everything([ERASE, b"\xff\x00"])
    assert asks_for_everything([EXTENDED_ERASE, b"\xff\xff\x00"])
    assert asks_for_everything([EXTENDED_ERASE + b"\xff\xfe", b"\x01"])
    assert not asks_for_everything([EXTENDED_ERASE, b"\x00\x00\x00\x01\x01"])
