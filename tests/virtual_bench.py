"""A whole bench in memory: the demo aircraft on a wire without a process, a hangar in a folder, free time.

Everything that outlives a cut is kept as bytes (`MemoryBytes`) or in the hangar's folder; a new run builds every object
anew from these alone, as after a cut of the power or the end of a process.
"""

from __future__ import annotations

import errno
import os
import shutil
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from rotorwright.changeover import engine, opening
from rotorwright.changeover.experience import HangarExperience
from rotorwright.changeover.journal import HangarJournal
from rotorwright.changeover.person import (
    BatteryRequest,
    BoardQuestion,
    BootButtonRequest,
    Direction,
    PoseRequest,
    PowerRequest,
    SeenQuestion,
    StickRequest,
    SwitchRequest,
    TiltRequest,
    TransmitterRequest,
    WatchedRequest,
)
from rotorwright.changeover.roll_back import want_roll_back
from rotorwright.changeover.state import ATTITUDE
from rotorwright.changeover.ways import WriteWay
from rotorwright.changeover.workshop import Workshop
from rotorwright.firmware.image import Image
from rotorwright.firmware.intel_hex import write_intel_hex
from rotorwright.hangar.book_pack import pack_book
from rotorwright.hangar.store import Hangar
from rotorwright.links.uf2_drive.files import OpenFile, SystemFiles
from rotorwright.links.uf2_drive.finding import find_drives
from rotorwright.links.usb_dfu.usb_port import UsbBus
from rotorwright.links.wire import LineSettings
from rotorwright.settings.dialects.dialect_file import parse_dialect
from rotorwright.settings.dialects.shipped import thornbill_console_file
from rotorwright.twin.application_start import start_from_flash
from rotorwright.twin.assembly import Circumstances, MemoryBytes, build_aircraft
from rotorwright.twin.clock import VirtualClock
from rotorwright.twin.delivery import AIRFRAME, PAPERS, delivered_memories
from rotorwright.twin.faults import FaultPlan
from rotorwright.twin.physical_world import PhysicalWorld
from rotorwright.twin.thornbill.book import write_book
from rotorwright.twin.thornbill.images import build_image
from rotorwright.twin.usb_backend import DirectCarrier, TwinUsbBackend
from rotorwright.twin.usb_port import UsbPort
from rotorwright.twin.wire import DirectPort

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from rotorwright.changeover.gates import Gate
    from rotorwright.changeover.person import HandsRequest, PlanSummary
    from rotorwright.changeover.state import ChangeoverState
    from rotorwright.errors import RotorwrightError
    from rotorwright.hangar.journal import Event, JsonValue
    from rotorwright.settings.answering import Answer
    from rotorwright.settings.carry_over import Decision
    from rotorwright.settings.dialects.dialect import Dialect
    from rotorwright.twin.aircraft import VirtualAircraft
    from rotorwright.twin.state import Papers
    from rotorwright.twin.usb_dfu import DfuQuirks

PACE = 0.5
LINE = LineSettings(921_600)
TIME = "2026-01-01T00:00:00Z"
TILTS = {
    Direction.NOSE_DOWN: "forward",
    Direction.NOSE_UP: "back",
    Direction.LEFT_DOWN: "left",
    Direction.RIGHT_DOWN: "right",
    Direction.LEVEL: "level",
}


class LookingClock(VirtualClock):
    """A clock that lets an aircraft look at its drive whenever somebody waits: nobody calls a folder."""

    __slots__ = ("aircraft",)

    def __init__(self) -> None:
        super().__init__()
        self.aircraft: VirtualAircraft | None = None

    def sleep_s(self, seconds: float) -> None:
        super().sleep_s(seconds)
        if self.aircraft is not None:
            self.aircraft.usb_bootloader(self.now_s())


class DrivesFiles(SystemFiles):
    """Files that fail as those of a pulled drive do. A folder alone would let an open file be written on."""

    def create(self, path: Path) -> OpenFile:
        return _FileOnDrive(super().create(path), path)


class _FileOnDrive:
    def __init__(self, inner: OpenFile, path: Path) -> None:
        self._inner = inner
        self._path = path

    def write(self, data: bytes) -> None:
        if not self._path.exists():
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        self._inner.write(data)

    def close(self) -> None:
        self._inner.close()


class ToolKilledError(BaseException):
    """The tool dies here: no handler of the tool may see it, as none sees a SIGKILL."""


class KilledJournal(HangarJournal):
    """A journal in which the tool dies at event `at`, before or after it is committed."""

    def __init__(self, hangar: Hangar, changeover_id: str, *, at: int, before: bool) -> None:
        super().__init__(hangar, changeover_id, now=lambda: TIME)
        self._at = at
        self._before = before

    def append(self, kind: str, facts: Mapping[str, JsonValue]) -> Event:
        if self._before and self._sequence + 1 == self._at:
            raise ToolKilledError
        event = super().append(kind, facts)
        if event.sequence == self._at:
            raise ToolKilledError
        return event


@dataclass
class BenchPerson:
    """A person with hands on the aircraft in memory, who takes the first option of whatever is held."""

    aircraft: VirtualAircraft
    clock: VirtualClock
    patience: int = 0
    refuses: frozenset[str] = frozenset()
    stays: bool = True
    name: str = "tester"
    answers: Callable[[Decision], Answer] | None = None
    board: str | None = None
    seen: Mapping[str, str] = field(default_factory=dict)
    holds: int = 1_000_000
    heard: list[object] = field(default_factory=list)

    def confirm(self, gate: Gate) -> bool:
        self.heard.append(gate)
        return str(gate) not in self.refuses

    def accept_plan(self, summary: PlanSummary) -> bool:
        self.heard.append(summary)
        return "plan" not in self.refuses

    def name_board(self, question: BoardQuestion) -> str | None:
        self.heard.append(question)
        return self.board

    def decide(self, held: Decision) -> Answer | None:
        self.heard.append(held)
        if "held" in self.refuses:
            return None
        return self.answers(held) if self.answers else held.options[0].key

    def act(self, request: HandsRequest) -> bool:
        self.heard.append(request)
        if "hands" in self.refuses or (self.aircraft.condition.cut_happened and not self.stays):
            return False
        if isinstance(request, TiltRequest) and "tilt" in self.refuses:
            return False
        now = self.clock.now_s()
        match request:
            case BootButtonRequest():
                self.aircraft.power_off(now)
                self.aircraft.plug_cable(now)
                self.aircraft.power_on(now, button=True)
            case BatteryRequest():
                self.aircraft.plug_battery(now)
            case PowerRequest():
                self.aircraft.power_off(now)
                self.aircraft.plug_cable(now)
                self.aircraft.power_on(now)
            case TiltRequest(direction):
                self.aircraft.tilt(TILTS[direction], now)
        return True

    def act_battery(self) -> None:
        """Plug the main battery in unasked, as after a cut: the aircraft of a new run starts without it."""
        self.aircraft.plug_battery(self.clock.now_s())

    def watched(self, request: WatchedRequest) -> bool:
        self.heard.append(request)
        world, now = self.aircraft.world, self.clock.now_s()
        if "hands" in self.refuses or not isinstance(world, PhysicalWorld):
            return False
        match request:
            case PoseRequest(pose):
                world.pose(str(pose), now)
            case StickRequest(stick):
                world.move_stick_to_its_ends(str(stick), now)
            case SwitchRequest(_, channel):
                world.move_switch(channel, now)
            case TransmitterRequest(is_on, armed):
                world.switch_transmitter(now, is_on=is_on, arms=armed)
        return True

    def answer(self, question: SeenQuestion) -> str | None:
        self.heard.append(question)
        return self.seen.get(question.about)

    @contextmanager
    def holding(self) -> Iterator[bool]:
        yield self.holds > 0

    def is_holding(self) -> bool:
        self.holds -= 1
        return self.holds >= 0

    def go_on_after(self, error: RotorwrightError) -> bool:
        self.heard.append(error)
        self.patience -= 1
        return self.patience >= 0

    def sign(self) -> str | None:
        return None if "sign" in self.refuses else self.name

    def tell(self, words: str) -> None:
        self.heard.append(words)


@cache
def images(size_bytes: int | None) -> tuple[Image, Image]:
    """Return the old and the new image of the demo aircraft, of a given size or of their own."""
    return build_image("5.2", "C405", size_bytes=size_bytes), build_image("6.0", "C405", size_bytes=size_bytes)


def _publish(book: Path, *published: Image) -> None:
    """Let the book name these images as the published ones."""
    text = (book / "book.toml").read_text(encoding="utf-8")
    for usual, image in zip(images(None), published, strict=True):
        text = text.replace(usual.sha256, image.sha256)
    (book / "book.toml").write_text(text, encoding="utf-8")


class VirtualBench:
    """What outlives every cut: the memories of the aircraft and the folder of the hangar."""

    def __init__(self, folder: Path, *, size_bytes: int | None = None, papers: Papers = PAPERS) -> None:
        self.folder = folder
        self.papers = papers
        self.old_image, self.new_image = images(size_bytes)
        self.memories: MemoryBytes = delivered_memories(self.old_image)
        self.image_file = write_intel_hex(self.new_image)
        _publish(write_book(folder / "book"), self.old_image, self.new_image)
        self.book: bytes | None = pack_book(folder / "book")
        self.dialect: bytes | None = None
        self.part = ""
        self.policy = "careful"
        self.checks: tuple[str, ...] = (ATTITUDE,)
        self.seen: Mapping[str, str] = {}
        self.way = WriteWay.UART
        self.loader_version = 0x31
        self.usb_quirks: DfuQuirks | None = None
        self.usb_neighbours: tuple[UsbPort, ...] = ()
        self.has_experience = False
        self.answers: Callable[[Decision], Answer] | None = None
        self.changeover_id = ""

    def speak_by_console(self) -> None:
        """Let the firmware speak by its text console from now on, and the tool with it."""
        self.papers = replace(self.papers, console=True)
        self.dialect = thornbill_console_file()

    def write_by(self, way: WriteWay) -> None:
        """Let the image be written by `way` from now on; a drive is another bootloader than that of the ROM."""
        self.way = way
        self.papers = replace(self.papers, drive=way is WriteWay.DRIVE)

    def copy(self, folder: Path) -> VirtualBench:
        """Return a bench in `folder` that stands exactly where this one stands."""
        twin = object.__new__(VirtualBench)
        twin.__dict__.update(self.__dict__)
        twin.folder = folder
        kept = self.memories
        twin.memories = MemoryBytes(bytearray(kept.flash), bytearray(kept.settings), bytearray(kept.display))
        if (self.folder / "hangar").exists():
            shutil.copytree(self.folder / "hangar", folder / "hangar")
        return twin

    def aircraft(
        self, clock: VirtualClock, faults: FaultPlan | None = None, *, baud: int | None = 0
    ) -> VirtualAircraft:
        """Return a fresh aircraft on the memories, its power just switched on."""
        how = Circumstances(
            baud=baud,
            speed=1.0,
            faults=faults or FaultPlan(),
            usb_quirks=self.usb_quirks,
            loader_version=self.loader_version,
            drive_folder=self.folder / "drive",
            pace=PACE,
        )
        return build_aircraft(self.papers, self.memories, start_from_flash, circumstances=how, start_s=clock.now_s())

    def run(
        self,
        *,
        faults: FaultPlan | None = None,
        kill_at: int | None = None,
        kill_before: bool = False,
        patience: int = 0,
        refuses: frozenset[str] = frozenset(),
        roll_back: bool = False,
        baud: int | None = 0,
        stays: bool = True,
        prepare: Callable[[Workshop], None] = lambda _shop: None,
    ) -> BenchRun:
        """Do the job, or go on with it, with every object made anew; a person who does not stay is gone after a cut."""
        clock = LookingClock()
        aircraft = self.aircraft(clock, faults, baud=baud)
        clock.aircraft = aircraft if self.papers.drive else None
        clock.sleep_s(1.0)
        person = BenchPerson(
            aircraft, clock, patience=patience, refuses=refuses, stays=stays, answers=self.answers, seen=self.seen
        )
        run = BenchRun(aircraft, clock, person)
        with Hangar.open(self.folder / "hangar") as hangar:
            port = DirectPort(aircraft, clock)
            try:
                shop = self._workshop(hangar, port, clock, person, aircraft, kill_at=kill_at, kill_before=kill_before)
                run.shop = shop
                prepare(shop)
                if roll_back:
                    want_roll_back(shop, because="test")
                engine.run(shop)
            except ToolKilledError:
                run.was_killed = True
            except Exception as error:  # noqa: BLE001 - the tests look at whatever ended the run
                run.error = error
        return run

    def _workshop(
        self,
        hangar: Hangar,
        port: DirectPort,
        clock: VirtualClock,
        person: BenchPerson,
        aircraft: VirtualAircraft,
        *,
        kill_at: int | None,
        kill_before: bool,
    ) -> Workshop:
        if not self.changeover_id:
            self.changeover_id = opening.open_card(
                hangar,
                identity=opening.read_identity(port, clock, LINE, self._spoken()),
                port=port.name,
                book=self.book,
                image=self.image_file,
                airframe=AIRFRAME,
                now=lambda: TIME,
                dialect=self.dialect,
                part=self.part,
                policy=self.policy,
                checks=self.checks,
                way=str(self.way),
            )
        journal = HangarJournal(hangar, self.changeover_id, now=lambda: TIME)
        if kill_at is not None:
            journal = KilledJournal(hangar, self.changeover_id, at=kill_at, before=kill_before)
        sockets = (UsbPort(aircraft), *self.usb_neighbours)
        backend = TwinUsbBackend(DirectCarrier(sockets, clock))
        return Workshop(
            usb=None if self.way is WriteWay.UART else lambda: UsbBus(backend),
            drives=lambda: find_drives([self.folder / "drive"]),
            drive_files=DrivesFiles(),
            progress=lambda *_: clock.sleep_s(0.0 if self.way is not WriteWay.DRIVE else 0.1),
            journal=journal,
            port=port,
            clock=clock,
            person=person,
            application_line=LINE,
            loader_baud=LINE.baud,
            wall_time=lambda: TIME,
            experience=HangarExperience(hangar) if self.has_experience else None,
        )

    def _spoken(self) -> Dialect | None:
        return None if self.dialect is None else parse_dialect(self.dialect.decode(), source="the bench's dialect")

    def events(self) -> tuple[Event, ...]:
        """Return the journal as the hangar has it."""
        with Hangar.open(self.folder / "hangar") as hangar:
            return hangar.events(self.changeover_id)


@dataclass
class BenchRun:
    """What one run left."""

    aircraft: VirtualAircraft
    clock: VirtualClock
    person: BenchPerson
    shop: Workshop | None = None
    was_killed: bool = False
    error: Exception | None = None

    @property
    def state(self) -> ChangeoverState | None:
        """Where the job stood at the end of the run; None if it was not even opened."""
        return self.shop.state if self.shop else None
