"""Each message between us and the bootloader on the UART lost, late, doubled, damaged or refused, one at a time.

A clean write counts the messages of each direction. Then each of them is spoilt in each way; after that the board holds
the image or we said in words that it does not, and a second write, by a new client, ends with the image.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from enum import StrEnum

import pytest

from rotorwright.errors import LinkError, ProtocolError
from rotorwright.firmware.image import Image
from rotorwright.firmware.mcu import microcontroller, sectors_for
from rotorwright.links.rom_uart.client import RomUartLoader
from rotorwright.links.rom_uart.flash_writer import write_sectors
from rotorwright.links.wire import LineSettings, Parity, Wire
from rotorwright.twin.assembly import Circumstances, MemoryBytes, build_aircraft
from rotorwright.twin.clock import VirtualClock
from rotorwright.twin.faults import CutMoment, FaultPlan, PowerCut
from rotorwright.twin.state import Papers
from rotorwright.twin.wire import DirectPort

PART = microcontroller("STM32F405xG")
START = PART.flash_start
EDGE = PART.sectors[1].address
LINE = LineSettings(115_200, Parity.EVEN)
SECTORS = PART.sectors[:2]


def _image(seed: int) -> Image:
    """Return an image over the edge of two sectors, a few blocks in each."""
    noise = random.Random(seed)
    return Image.of([(START, noise.randbytes(300)), (EDGE - 300, noise.randbytes(700))])


OLD, NEW = _image(1), _image(2)


class Spoilt(StrEnum):
    """What becomes of one message."""

    LOST = "lost"
    DOUBLED = "doubled"
    DAMAGED = "damaged"
    LATE = "late"
    REFUSED = "refused"


TO_BOARD = (Spoilt.LOST, Spoilt.DOUBLED, Spoilt.DAMAGED)
FROM_BOARD = tuple(Spoilt)


@dataclass
class Spoiling:
    """Which message of which direction is spoilt, counted from 1, and how many there were."""

    direction: str = ""
    number: int = 0
    how: Spoilt | None = None
    sent: int = 0
    heard: int = 0
    happened: bool = False

    def hits(self, direction: str, number: int) -> bool:
        hit = self.how is not None and (direction, number) == (self.direction, self.number)
        self.happened = self.happened or hit
        return hit


class SpoilingWire:
    """A wire that spoils one message."""

    def __init__(self, inner: Wire, clock: VirtualClock, spoiling: Spoiling) -> None:
        self._inner = inner
        self._clock = clock
        self._plan = spoiling
        self._held = b""

    @property
    def name(self) -> str:
        return self._inner.name

    def send(self, data: bytes) -> None:
        self._plan.sent += 1
        if not self._plan.hits("to", self._plan.sent):
            self._inner.send(data)
        elif self._plan.how is Spoilt.DOUBLED:
            self._inner.send(data + data)
        elif self._plan.how is Spoilt.DAMAGED:
            self._inner.send(bytes([data[0] ^ 0x10]) + data[1:])

    def receive(self, limit: int, timeout_s: float) -> bytes:
        data, self._held = self._held or self._inner.receive(limit, timeout_s), b""
        if not data:
            return data
        self._plan.heard += 1
        return self._spoilt(data, limit, timeout_s) if self._plan.hits("from", self._plan.heard) else data

    def _spoilt(self, data: bytes, limit: int, timeout_s: float) -> bytes:
        if self._plan.how is Spoilt.LATE:
            self._clock.sleep_s(timeout_s)
            self._held = data
            return b""
        arrives = {
            Spoilt.DOUBLED: data + data,
            Spoilt.DAMAGED: bytes([data[0] ^ 0x10]) + data[1:],
            Spoilt.REFUSED: b"\x1f" + data[1:],
        }
        return arrives.get(self._plan.how or Spoilt.LOST) or self.receive(limit, timeout_s)

    def discard_input(self) -> None:
        if not self._held:  # what is late comes after whatever is thrown away now
            self._inner.discard_input()

    def close(self) -> None:
        self._inner.close()


class Board:
    """One board whose flash outlives everything else."""

    def __init__(self) -> None:
        self.memories = MemoryBytes.fresh(PART)
        for segment in OLD.segments:
            at = segment.address - START
            self.memories.flash[at : at + len(segment.data)] = segment.data
        self.memories.flash[PART.sectors[2].address - START :] = b"\x5a" * (PART.flash_end - PART.sectors[2].address)

    def write(self, spoiling: Spoiling, cut: PowerCut | None = None) -> Exception | None:
        """Write the image with a new client to the board, its button just pressed; return what it ended with."""
        clock = VirtualClock()
        papers = Papers(unique_id="3a0027001351383438343933", board="C405", microcontroller=PART.name)
        aircraft = build_aircraft(
            papers,
            self.memories,
            lambda _flash, _hardware: None,
            circumstances=Circumstances(baud=0, faults=FaultPlan(power_cut=cut)),
        )
        aircraft.power_off(0.0)
        aircraft.power_on(0.0, button=True)
        clock.sleep_s(1.0)
        wire = SpoilingWire(DirectPort(aircraft, clock).open(LINE), clock, spoiling)
        try:
            loader = RomUartLoader(wire, clock)
            loader.synchronise()
            write_sectors(loader, NEW, SECTORS, mcu=PART)
        except (LinkError, ProtocolError) as error:
            return error
        return None

    def holds_the_image(self) -> bool:
        flash = bytes(self.memories.flash)
        return all(flash[one.address - START : one.end - START] == one.data for one in NEW.segments)

    def is_untouched_elsewhere(self) -> bool:
        rest = bytes(self.memories.flash[PART.sectors[2].address - START :])
        return rest == b"\x5a" * len(rest)


def _counted() -> Spoiling:
    clean, board = Spoiling(), Board()
    assert board.write(clean) is None
    assert board.holds_the_image()
    assert sectors_for(NEW, PART) == SECTORS
    return clean


CLEAN = _counted()
POINTS = [
    *(("to", number, how) for number in range(1, CLEAN.sent + 1) for how in TO_BOARD),
    *(("from", number, how) for number in range(1, CLEAN.heard + 1) for how in FROM_BOARD),
]


def _spoil_and_go_on(direction: str, number: int, how: Spoilt) -> bool:
    """Spoil one message, look at what is left, go on; return whether the first write got over it by itself."""
    board, spoiling = Board(), Spoiling(direction, number, how)
    error = board.write(spoiling)
    assert spoiling.happened
    assert board.is_untouched_elsewhere()
    assert error is not None or board.holds_the_image()
    if error is not None:
        assert board.write(Spoiling()) is None
        assert board.holds_the_image()
        assert board.is_untouched_elsewhere()
    return error is None


def test_a_sample_of_spoilt_messages_never_leaves_a_wrong_image_that_counts_as_right() -> None:
    assert CLEAN.sent > 50
    assert CLEAN.heard > 50
    for point in random.Random(20260101).sample(POINTS, 60):
        _spoil_and_go_on(*point)


def test_a_single_spoilt_message_is_got_over_without_a_person() -> None:
    chosen = random.Random(20260102).sample(POINTS, 40)
    assert all(_spoil_and_go_on(*point) for point in chosen)


def test_a_recovery_whose_messages_are_spoilt_as_well_still_ends_with_the_image() -> None:
    chance = random.Random(20260103)
    for _ in range(20):
        board = Board()
        for _ in range(3):
            board.write(Spoiling(*chance.choice(POINTS)))
            assert board.is_untouched_elsewhere()
        assert board.write(Spoiling()) is None
        assert board.holds_the_image()


@pytest.mark.full_walk
@pytest.mark.parametrize("how", list(Spoilt), ids=lambda how: how.value)
def test_every_message_spoilt_is_got_over_or_said_in_words(how: Spoilt, capsys: pytest.CaptureFixture[str]) -> None:
    points = [point for point in POINTS if point[2] is how]
    alone = sum(_spoil_and_go_on(*point) for point in points)
    with capsys.disabled():
        print(f"\nUART, a message {how}: {len(points)} points, {alone} got over without a second write")  # noqa: T201


def _cut_then_spoil(operation: int, point: tuple[str, int, Spoilt]) -> bool:
    """Cut the power in an operation, spoil one message of the recovery, go on; return whether that message came."""
    board, spoiling = Board(), Spoiling(*point)
    assert board.write(Spoiling(), PowerCut(operation, CutMoment.TORN)) is not None
    error = board.write(spoiling)
    assert board.is_untouched_elsewhere()
    assert error is not None or board.holds_the_image()
    assert board.write(Spoiling()) is None
    assert board.holds_the_image()
    assert board.is_untouched_elsewhere()
    return spoiling.happened


CUTS = (1, 2, 4, 6)  # erases and writes, from the first on


def test_a_sample_of_messages_spoilt_in_the_recovery_from_a_power_cut_ends_with_the_image() -> None:
    chance = random.Random(20260104)
    came = sum(_cut_then_spoil(chance.choice(CUTS), point) for point in chance.sample(POINTS, 20))
    assert came > 0


@pytest.mark.full_walk
@pytest.mark.parametrize("operation", CUTS)
def test_every_message_of_the_recovery_from_a_power_cut_may_be_spoilt(
    operation: int, capsys: pytest.CaptureFixture[str]
) -> None:
    came = sum(_cut_then_spoil(operation, point) for point in POINTS)
    with capsys.disabled():
        print(f"\nUART, power cut in operation {operation}, then a message spoilt: {came} points")  # noqa: T201
    assert came > len(POINTS) // 4
