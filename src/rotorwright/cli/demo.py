"""The demo: one whole changeover on a virtual aircraft, through real bytes, with faults on request."""

from __future__ import annotations

import re
import subprocess
import sys
import time
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from rich.markup import escape

from rotorwright.changeover import engine
from rotorwright.changeover.journal import HangarJournal
from rotorwright.changeover.opening import cards, open_card, read_identity
from rotorwright.changeover.proving.checks import BENCH_CHECKS
from rotorwright.changeover.state import ATTITUDE
from rotorwright.changeover.ways import WriteWay
from rotorwright.cli import console, jobs
from rotorwright.cli.demo_owner import KnowingOwner
from rotorwright.cli.demo_person import DemoPerson
from rotorwright.cli.progress import shown_progress
from rotorwright.cli.twin import known_plants
from rotorwright.errors import WorkflowError
from rotorwright.hangar.book_pack import pack_book
from rotorwright.hangar.books import read_book
from rotorwright.hangar.store import Hangar
from rotorwright.links.clock import RealClock
from rotorwright.links.serial_port import SerialPort
from rotorwright.links.wire import LineSettings
from rotorwright.report.from_changeover import report_of
from rotorwright.settings.carry_over import CarryOverInputs, carry_over
from rotorwright.settings.dialects.shipped import thornbill_console, thornbill_console_file
from rotorwright.settings.identity import Identity
from rotorwright.settings.sheet import parse_sheet
from rotorwright.settings.snapshot import Snapshot
from rotorwright.twin.delivery import AIRFRAME, DEMO_UNIQUE_ID, deliver, delivered_settings
from rotorwright.twin.demo_craft import demo_truth, planted
from rotorwright.twin.faults import FaultPlan
from rotorwright.twin.hands import HandsClient
from rotorwright.twin.physics.battery import Battery
from rotorwright.twin.process import spawn_twin
from rotorwright.twin.state import StateFolder
from rotorwright.twin.thornbill.book import write_book
from rotorwright.twin.thornbill.images import DEMO_FILE_NAMES, write_demo_images
from rotorwright.twin.thornbill.release import catalogue

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from rotorwright.changeover.state import ChangeoverState
    from rotorwright.hangar.journal import Event, JsonValue

USUAL_PLANTS = ("sensor-mounted-otherwise",)
"""What is wrong with the demo aircraft, so that the bench has something to find: its board sits a quarter turned."""

PACE = 0.5  # the hands of the demo are quick, since somebody is looking on
KILLED = 137  # what a shell reports for a process that was killed: 128 + SIGKILL
_KILL = re.compile(r"kill@([1-9][0-9]*)\Z")


class DemoFolderError(WorkflowError):
    """The folder for the demo is in use already."""

    id = "demo.folder"


@dataclass(frozen=True, slots=True)
class DemoWay:
    """How the demo does the job."""

    has_book: bool = True
    by_console: bool = False
    write: WriteWay = WriteWay.UART
    has_bench: bool = True

    @property
    def checks(self) -> tuple[str, ...]:
        """What the job is proved by on the bench; a text console streams nothing that could be measured."""
        return BENCH_CHECKS if self.has_bench and not self.by_console else (ATTITUDE,)

    def words(self) -> list[str]:
        """Return it as arguments, for a process of its own."""
        words = {"without-book": not self.has_book, "by-console": self.by_console, "no-bench": not self.has_bench}
        return [str(self.write), *(word for word, holds in words.items() if holds)]

    @classmethod
    def of(cls, words: Sequence[str]) -> DemoWay:
        """Return what `words` made."""
        return cls(
            has_book="without-book" not in words,
            by_console="by-console" in words,
            write=WriteWay(words[0]),
            has_bench="no-bench" not in words,
        )


@dataclass(frozen=True, slots=True)
class DemoFolder:
    """Where the demo leaves everything, and how it does the job."""

    path: Path
    way: DemoWay = DemoWay()

    @property
    def twin(self) -> StateFolder:
        """The virtual aircraft."""
        return StateFolder(self.path / "twin")

    @property
    def book(self) -> Path:
        """The release book."""
        return self.path / "book"

    @property
    def images(self) -> Path:
        """The images of the demo."""
        return self.path / "images"

    @property
    def new_image(self) -> Path:
        """The image to go to."""
        return self.images / DEMO_FILE_NAMES["6.0", "C405"]

    @property
    def hangar(self) -> Path:
        """The hangar of the demo."""
        return self.path / "hangar"

    @property
    def report(self) -> Path:
        """The report."""
        return self.path / "report.html"


def run_demo(
    *,
    folder: Path | None,
    faults: list[str],
    speed: float,
    baud: int,
    as_json: bool,
    way: DemoWay | None = None,
    planted: list[str] | None = None,
) -> int:
    """Run the demo and return the exit code: 0 when it ends signed."""
    if as_json:
        console.out.file = sys.stderr
    started = time.monotonic()
    kill_at, plan = split_faults(faults)
    way = way or DemoWay()
    wrong = known_plants(planted if planted is not None else USUAL_PLANTS if way.checks == BENCH_CHECKS else ())
    place = prepare(folder, way)
    with spawned_twin(place, plan, speed=speed, baud=baud, planted=wrong):
        first_kill = run_until_killed(place, kill_at) if kill_at else 0
        state = work(place)
        survived = first_kill + _twin_faults(place, plan)
    facts = _facts(place, state, survived, seconds=time.monotonic() - started)
    _say_faults(faults, survived)
    if as_json:
        console.print_json(facts)
    return 0


def split_faults(faults: list[str]) -> tuple[int, FaultPlan]:
    """Return at which journal event the tool dies (0: never) and what shall go wrong with the twin.

    Raises:
        FaultPlanError: a word is not understood.
    """
    words = [word.strip() for fault in faults for word in fault.split(",")]
    kills = [int(match[1]) for word in words if (match := _KILL.match(word))]
    return (kills[0] if kills else 0), FaultPlan.parse([word for word in words if not _KILL.match(word)])


def prepare(folder: Path | None, way: DemoWay) -> DemoFolder:
    """Lay out the aircraft, the book and the images.

    Raises:
        DemoFolderError: the folder holds something already.
    """
    path = folder or Path("demo-out") / datetime.now(UTC).strftime("%Y%m%d-%H%M%S-%f")
    if path.exists() and any(path.iterdir()):
        raise DemoFolderError(
            f"The folder {path} is not empty.",
            why="The demo never overwrites anything.",
            todo="Name another folder, or leave --folder out.",
            folder=str(path),
        )
    place = DemoFolder(path.absolute(), way)
    place.path.mkdir(parents=True, exist_ok=True)
    deliver(place.twin)
    write_book(place.book)
    place.images.mkdir(exist_ok=True)
    write_demo_images(place.images)
    console.out.print(
        f"A {AIRFRAME} on a Corvane One flies Thornbill 5.2. It goes to 6.0 now, on a virtual aircraft.\n"
        f"Everything is left in {escape(str(place.path))}.\n"
        "On a real aircraft: propellers off, a sound lithium battery, the maker's instructions at hand.",
        soft_wrap=True,
    )
    return place


@contextmanager
def spawned_twin(
    place: DemoFolder, plan: FaultPlan, *, speed: float, baud: int, planted: Sequence[str] = ()
) -> Iterator[None]:
    """Keep the virtual aircraft alive, a process of its own, for as long as the block runs."""
    way = place.way
    is_drive = way.write is WriteWay.DRIVE
    with spawn_twin(
        place.twin.path,
        baud=baud,
        speed=speed,
        faults=plan.words(),
        console=way.by_console,
        drive=is_drive,
        planted=planted,
        pace=PACE,
    ):
        yield


def run_until_killed(place: DemoFolder, kill_at: int) -> int:
    """Run the job in a process of its own that dies at journal event `kill_at`; return 1 if it did."""
    command = [sys.executable, "-m", "rotorwright.cli.demo_worker", str(place.path), str(kill_at), *place.way.words()]
    done = subprocess.run(command, check=False, stdout=sys.stderr if console.out.file is sys.stderr else None)
    if done.returncode in {KILLED, -9}:
        console.out.print(f"[bold]The tool was killed at journal event {kill_at}; it is started again.[/]")
        return 1
    return 0


def work(place: DemoFolder, *, dies: Callable[[Event], None] | None = None) -> ChangeoverState:
    """Do the job, or go on with it, until it is signed.

    Raises:
        RotorwrightError: what no second try mends.
    """
    with Hangar.open(place.hangar) as hangar:
        changeover_id = _open_or_find(hangar, place)
        journal = DyingJournal(hangar, changeover_id, dies=dies)
        with hangar.lock(changeover_id), shown_progress() as bar:
            options = jobs.BenchOptions(port=str(place.twin.port_link), baud=921_600, loader_baud=921_600)
            truth = planted(demo_truth(), place.twin.read_papers().planted)
            person = DemoPerson(
                HandsClient(place.twin.path),
                None if place.way.has_book else owner_of(place),
                meter_volts=float(Battery(truth.battery).volts(truth.battery.rest_a)),
            )
            with jobs.workshop(hangar, journal, options, person, bar) as shop:
                if not shop.state.is_over and shop.state.received is not None:
                    engine.resume(shop)
                state = engine.run(shop, on_step=jobs.announce)
            jobs.finish(hangar, journal, state, report=place.report)
    return state


def owner_of(place: DemoFolder) -> KnowingOwner:
    """Return the owner of the demo aircraft, who knows by heart what the book would say; the tool does not."""
    book = read_book(place.book)
    before, after = catalogue("5.2", "C405"), catalogue("6.0", "C405")
    identity = Identity(DEMO_UNIQUE_ID, book.family, "5.2.0", "Corvane One", "")
    found = Snapshot(identity=identity, settings=delivered_settings(), taken_at=jobs.utc_now())
    inputs = CarryOverInputs(
        ours=found,
        old_defaults=before.defaults,
        new_defaults=after.defaults,
        old_catalogue=before,
        new_catalogue=after,
        notes=book.notes("5.2", "6.0"),
        classes=book.classes,
        to_release="6.0.0",
    )
    return KnowingOwner(carry_over(inputs))


class DyingJournal(HangarJournal):
    """A journal that shows each committed event to somebody who may end the process there."""

    def __init__(self, hangar: Hangar, changeover_id: str, *, dies: Callable[[Event], None] | None) -> None:
        super().__init__(hangar, changeover_id, now=jobs.utc_now)
        self._dies = dies
        if dies is not None:
            for event in self.events():
                dies(event)

    def append(self, kind: str, facts: Mapping[str, JsonValue]) -> Event:
        """Commit one event, then show it."""
        event = super().append(kind, facts)
        if self._dies is not None:
            self._dies(event)
        return event


def _open_or_find(hangar: Hangar, place: DemoFolder) -> str:
    found = cards(hangar)
    if found:
        card = found[-1]
        console.out.print(f"Job card {card.row.id}: {escape(card.standing)}", soft_wrap=True)
        return card.row.id
    port = str(place.twin.port_link)
    spoken = thornbill_console() if place.way.by_console else None
    return open_card(
        hangar,
        identity=read_identity(SerialPort(port), RealClock(), LineSettings(921_600), spoken),
        port=port,
        book=pack_book(place.book) if place.way.has_book else None,
        image=place.new_image.read_bytes(),
        airframe=AIRFRAME,
        now=jobs.utc_now,
        dialect=thornbill_console_file() if place.way.by_console else None,
        way=str(place.way.write),
        checks=place.way.checks,
    )


def _twin_faults(place: DemoFolder, plan: FaultPlan) -> int:
    """Return how many of the planned faults the twin has really had; a noisy line is one fault for each kind."""
    condition = HandsClient(place.twin.path).look()
    noises = (plan.loss_rate, plan.damage_rate, plan.late_s, plan.double_rate)
    return condition.cut_happened + condition.pulled_by_plan + sum(noise > 0 for noise in noises)


def _facts(place: DemoFolder, state: ChangeoverState, survived: int, *, seconds: float) -> dict[str, object]:
    with Hangar.open(place.hangar) as hangar:
        journal = HangarJournal(hangar, cards(hangar)[-1].row.id, now=jobs.utc_now)
        report = report_of(journal)
        assert state.sheet is not None
        sheet = parse_sheet(journal.fetch(state.sheet), source=state.sheet.name)
    assert report.settings is not None
    assert report.image is not None
    return {
        "verdict": str(report.outcome),
        "release_before": report.aircraft.release_before,
        "release_after": report.aircraft.release_after,
        "board_before": report.aircraft.board_before,
        "board_after": report.aircraft.board_after,
        "unique_id": report.aircraft.unique_id,
        "settings": {
            "found": report.settings.found,
            "decided": report.settings.decided,
            "held": report.settings.held,
            "written": report.settings.written,
            "verified": report.settings.verified,
            "by_decision": {str(kind): count for kind, count in sheet.counts.items()},
        },
        "image": {
            "bytes": report.image.size_bytes,
            "sectors_written": report.image.sectors_written,
            "verified": report.image.verified,
        },
        "checks": [check.check for check in state.proved],
        "not_shown": [check.check for check in state.proved if not check.is_shown],
        "found": [{"check": check.check, "what": check.evidence} for check in state.failed],
        "repaired": {name: value.text for name, value in state.repaired.items()},
        "faults_survived": survived,
        "interruptions": len(state.interruptions),
        "events": len(report.events),
        "seconds": round(seconds, 2),
        "folder": str(place.path),
        "report": str(place.report),
    }


def _say_faults(faults: list[str], survived: int) -> None:
    if faults and not survived:
        console.out.print(
            f"The fault {escape(', '.join(faults))} did not happen: the job had fewer operations or events than that.",
            soft_wrap=True,
        )
    elif faults:
        console.out.print(f"Faults survived: {survived} ({escape(', '.join(faults))}).", soft_wrap=True)
