"""What a step works with: the journal, the port, the clock, the person. Steps act through these and nothing else."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

from rotorwright.changeover.events import EventKind
from rotorwright.changeover.gates import Gate, NotConfirmedError
from rotorwright.changeover.person import Person, PowerRequest
from rotorwright.changeover.reading import FIRST_HEARTBEAT_S, application_link
from rotorwright.changeover.state import ChangeoverState, after, fold
from rotorwright.errors import LinkError, WrongAircraftError
from rotorwright.hangar.books import EMPTY_BOOK, ReleaseBook, read_book
from rotorwright.settings.dialects.dialect_file import dialect_from
from rotorwright.settings.identity import release_line

if TYPE_CHECKING:
    from pathlib import Path

    from rotorwright.hangar.files import KeptFile
    from rotorwright.hangar.journal import Event, JsonValue
    from rotorwright.links.application import ApplicationLink
    from rotorwright.links.uf2_drive.files import DriveFiles
    from rotorwright.links.uf2_drive.finding import Uf2Drive
    from rotorwright.links.usb_dfu.usb_port import UsbBus
    from rotorwright.links.wire import Clock, LineSettings, Port, Wire
    from rotorwright.settings.board_inference import InferredSetting
    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.dialects.dialect import Dialect
    from rotorwright.settings.identity import Identity
    from rotorwright.settings.sheet import CarryOverSheet
    from rotorwright.settings.snapshot import Snapshot
    from rotorwright.settings.values import Value

AFTER_RESTART_S = 12.0  # common practice, no source: a controller answers within ten seconds of a restart
PORT_RETURNS_S = 20.0  # common practice, no source: a USB port comes back within twenty seconds


class Journal(Protocol):
    """The journal of one changeover and the files kept beside it."""

    @property
    def changeover_id(self) -> str:
        """Name of the changeover in the hangar."""
        ...

    def events(self) -> Sequence[Event]:
        """Return every event so far, its chain checked."""
        ...

    def append(self, kind: str, facts: Mapping[str, JsonValue]) -> Event:
        """Commit one event; it is on disk when this returns."""
        ...

    def keep(self, name: str, data: bytes) -> KeptFile:
        """Write a file that is never overwritten, flushed and read back."""
        ...

    def fetch(self, kept: KeptFile) -> bytes:
        """Return a kept file, its digest checked."""
        ...

    def path_of(self, kept: KeptFile) -> Path:
        """Return where a kept file is."""
        ...


class CapturedDefaults(Protocol):
    """Defaults that an aircraft showed once."""

    @property
    def settings(self) -> Mapping[str, Value]:
        """What every fresh aircraft of this release and board holds."""
        ...

    @property
    def catalogue_data(self) -> bytes | None:
        """The catalogue that an aircraft gave, if one did."""
        ...

    @property
    def varying(self) -> tuple[str, ...]:
        """Names whose defaults differ from aircraft to aircraft."""
        ...


class Experience(Protocol):
    """What was learned from other aircraft: captured defaults by release and board, and what belongs to a board."""

    def find(self, family: str, release: str, board: str, *, read_by: str) -> CapturedDefaults | None:
        """Return what fresh aircraft of this release and board hold, None where none was seen."""
        ...

    def add(self, snapshot: Snapshot, *, catalogue: bytes | None, read_by: str) -> object:
        """Keep the defaults of one more aircraft."""
        ...

    def board_settings(
        self, identity: Identity, family_defaults: Mapping[str, Value], *, read_by: str
    ) -> Sequence[InferredSetting]:
        """Return what belongs to the board of this aircraft by the evidence of all that came through."""
        ...


Progress = Callable[[str, int, int], None]
"""Takes what is being done in words, how much is done, and how much there is."""


def no_drives() -> tuple[Uf2Drive, ...]:
    """Return no drive."""
    return ()


def no_progress(_words: str, _done: int, _total: int) -> None:
    """Show nothing."""


@dataclass(slots=True)
class Workshop:
    """One run of the tool on one changeover. What a person confirmed counts for this run only.

    Args:
        usb: how the USB of this computer is reached; None where no bootloader is looked for on it.
        drives: how the drives of UF2 bootloaders are listed.
        drive_files: the file system of such a drive; None for that of this computer.
    """

    journal: Journal
    port: Port
    clock: Clock
    person: Person
    application_line: LineSettings
    loader_baud: int
    wall_time: Callable[[], str]
    progress: Progress = no_progress
    experience: Experience | None = None
    usb: Callable[[], UsbBus] | None = None
    drives: Callable[[], tuple[Uf2Drive, ...]] = no_drives
    drive_files: DriveFiles | None = None
    was_sent_to_bootloader: bool = field(init=False, default=False)
    """Whether the application of the received aircraft went into its bootloader at our word, in this run."""
    other_bootloaders: frozenset[str] = field(init=False, default=frozenset())
    """Bootloaders that were in sight before ours was asked for in this run: somebody else's."""
    has_written: bool = field(init=False, default=False)
    """Whether an image was written in this run."""
    state: ChangeoverState = field(init=False)
    confirmed: set[Gate] = field(init=False, default_factory=set)
    sheets: dict[KeptFile, CarryOverSheet] = field(init=False, default_factory=dict)
    """Sheets by the file that holds them, so that the same one is not read from its text again and again."""
    _book: ReleaseBook | None = field(init=False, default=None)
    _dialect: Dialect | None = field(init=False, default=None)

    def __post_init__(self) -> None:
        self.state = fold(self.journal.events())

    def now(self) -> str:
        """Return the time of day, ISO 8601 UTC."""
        return self.wall_time()

    def book(self) -> ReleaseBook:
        """Return the release book that was kept when the job card was opened; one that knows nothing without any."""
        if self._book is None:
            kept = self.state.book
            if kept is not None:
                self.journal.fetch(kept)  # checks its digest
            self._book = read_book(self.journal.path_of(kept)) if kept else EMPTY_BOOK
        return self._book

    def dialect(self) -> Dialect | None:
        """Return the console dialect that was kept when the job card was opened; None where messages are spoken."""
        kept = self.state.dialect
        if self._dialect is None and kept is not None:
            self._dialect = dialect_from(self.journal.fetch(kept), source=kept.name)
        return self._dialect

    @property
    def read_by(self) -> str:
        """By which kind of link settings are read; values of the two kinds are not compared with each other."""
        return "console" if self.state.dialect else "mavlink"

    def catalogue_for(self, identity: Identity) -> Catalogue | None:
        """Return what the release book knows of the settings of a release, so that a console's texts get types."""
        return self.book().catalogue(release_line(identity.release), identity.board)

    def note(self, kind: EventKind, **facts: JsonValue) -> None:
        """Commit one event and take it into the state."""
        self.state = after(self.state, self.journal.append(kind, facts))

    def pass_measured(self, gate: Gate, evidence: str) -> None:
        """Note that a gate was measured and holds."""
        self.note(EventKind.GATE_PASSED, gate=str(gate), evidence=evidence, by="measured")

    def require_confirmed(self, gate: Gate) -> None:
        """Ask the person, once in each run, whether the gate holds.

        Raises:
            NotConfirmedError: it was not confirmed; nothing was done.
        """
        if gate in self.confirmed:
            return
        if not self.person.confirm(gate):
            raise NotConfirmedError(gate, found="it was not confirmed.", todo="See to it, then go on with `resume`.")
        self.confirmed.add(gate)
        self.note(EventKind.GATE_PASSED, gate=str(gate), evidence="seen by the person", by=self.person.name)

    @contextmanager
    def wire(self, line: LineSettings) -> Iterator[Wire]:
        """Open the port for as long as the block runs, waiting for it to come back first if it has gone."""
        self._wait_for_port()
        wire = self.port.open(line)
        try:
            yield wire
        finally:
            wire.close()

    @contextmanager
    def application(self, *, timeout_s: float = FIRST_HEARTBEAT_S) -> Iterator[ApplicationLink]:
        """Talk to the running application, and only to the aircraft that was received.

        Raises:
            LinkError: no heartbeat within `timeout_s`.
            WrongAircraftError: another aircraft answers.
        """
        with ExitStack() as stack:
            link = self._heard(stack, timeout_s)
            self.require_received(link)
            yield link

    @contextmanager
    def listening(self, timeout_s: float) -> Iterator[ApplicationLink]:
        """Talk to whatever application answers within `timeout_s`; nobody's hands are asked for.

        Raises:
            LinkError: none does.
        """
        with ExitStack() as stack:
            yield self._listen(stack, timeout_s)

    def _heard(self, stack: ExitStack, timeout_s: float) -> ApplicationLink:
        """Return a link on which the aircraft was heard; a silent one is powered anew by the person's hands, once."""
        try:
            return self._listen(stack, timeout_s)
        except LinkError as silence:
            if not self.person.act(PowerRequest(f"The application is silent. {silence.what}")):
                raise
        return self._listen(stack, AFTER_RESTART_S)

    def require_received(self, link: ApplicationLink) -> None:
        """Refuse any aircraft but the one that was received.

        Raises:
            WrongAircraftError: another one answers.
        """
        if self.state.received is not None:
            require_same_aircraft(self.state.received, link.read_identity())

    def _listen(self, stack: ExitStack, timeout_s: float) -> ApplicationLink:
        with ExitStack() as trial:
            wire = trial.enter_context(self.wire(self.application_line))
            link = application_link(wire, self.clock, self.dialect(), catalogue_for=self.catalogue_for)
            link.wait_heartbeat(timeout_s)
            stack.push(trial.pop_all())
            return link

    def _wait_for_port(self) -> None:
        if self.port.is_present():
            return
        deadline = self.clock.now_s() + PORT_RETURNS_S
        asked = False
        while not self.port.is_present():
            if not asked and self.clock.now_s() > deadline - PORT_RETURNS_S / 2:
                asked = True
                if not self.person.act(PowerRequest(f"The port {self.port.name} has gone.")):
                    break
            if self.clock.now_s() > deadline:
                break
            self.clock.sleep_s(0.1)


def require_same_aircraft(received: Identity, answering: Identity) -> None:
    """Refuse any aircraft but the one that was received.

    Raises:
        WrongAircraftError: the unique ids differ.
    """
    require_same_id(received.unique_id, answering.unique_id)


def require_same_id(received: str, answering: str) -> None:
    """Refuse any unique id but the one that was received.

    Raises:
        WrongAircraftError: the unique ids differ.
    """
    if received == answering:
        return
    raise WrongAircraftError(
        f"The board that answers has the unique id {answering}; this changeover is for {received}.",
        why="Another aircraft is on this port, or the board of this aircraft was changed.",
        state="Nothing was sent to the board that answers now, except questions.",
        todo="Connect the aircraft that was received and go on with `resume`, or start a new changeover for this one.",
        expected=received,
        found=answering,
    )
