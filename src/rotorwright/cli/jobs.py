"""Commands that do the job: changeover, resume, roll-back, cards."""

from __future__ import annotations

import getpass
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from rich.markup import escape

from rotorwright.changeover import engine, roll_back
from rotorwright.changeover.experience import HangarExperience
from rotorwright.changeover.journal import HangarJournal
from rotorwright.changeover.opening import JobCard, cards, find_card, open_card, read_identity
from rotorwright.changeover.proving.checks import BENCH_CHECKS, require_known
from rotorwright.changeover.workshop import Workshop
from rotorwright.cli.answers import parse_answers
from rotorwright.cli.attached import attached_beside
from rotorwright.cli.console import out, print_json
from rotorwright.cli.files import read_input_file
from rotorwright.cli.person import AnswersPerson, TerminalPerson
from rotorwright.cli.progress import ProgressLine, shown_progress
from rotorwright.firmware.files import read_image_file
from rotorwright.hangar.book_pack import pack_book
from rotorwright.hangar.places import hangar_folder
from rotorwright.hangar.store import Hangar
from rotorwright.links.clock import RealClock
from rotorwright.links.following_port import FollowingPort
from rotorwright.links.wire import LineSettings
from rotorwright.report.from_changeover import report_of
from rotorwright.report.html import render_report
from rotorwright.report.text import one_page_summary
from rotorwright.settings.dialects.dialect_file import dialect_from
from rotorwright.settings.dialects.shipped import thornbill_console_file
from rotorwright.settings.policies import Policy

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rotorwright.changeover.person import Person
    from rotorwright.changeover.state import ChangeoverState
    from rotorwright.changeover.steps import StepRule

DEFAULT_BAUD = 115_200


@dataclass(frozen=True, slots=True)
class BenchOptions:
    """What is the same for every command that works on an aircraft."""

    port: str | None = None
    hangar: Path | None = None
    answers: Path | None = None
    baud: int = DEFAULT_BAUD
    loader_baud: int = DEFAULT_BAUD


def utc_now() -> str:
    """Return the time of day, ISO 8601 UTC, whole seconds."""
    return datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


@contextmanager
def open_hangar(folder: Path | None) -> Iterator[Hangar]:
    """Open the hangar in `folder`, else where this user keeps it."""
    with Hangar.open(folder or hangar_folder()) as hangar:
        yield hangar


@dataclass(frozen=True, slots=True)
class NewJob:
    """What a new job card is opened with."""

    image: Path
    book: Path | None = None
    airframe: str = ""
    dialect: str | None = None
    part: str = ""
    policy: str = "careful"
    image_base: int | None = None
    way: str = "auto"
    left_out: tuple[str, ...] = ()


def start(options: BenchOptions, job: NewJob) -> int:
    """Open a job card for the aircraft on the port and do the job."""
    assert options.port is not None
    image_bytes, book_bytes = read_input_file(job.image), pack_book(job.book) if job.book else None
    dialect_bytes = read_dialect(job.dialect) if job.dialect else None
    spoken = dialect_from(dialect_bytes, source=str(job.dialect)) if dialect_bytes is not None else None
    read_image_file(image_bytes, name=job.image.name, base=job.image_base)  # before an aircraft is waited for
    person, policy = person_of(options), Policy.parse(job.policy).text
    checks = [check for check in BENCH_CHECKS if check not in require_known(job.left_out)]
    port, clock, line = FollowingPort(options.port), RealClock(), LineSettings(options.baud)
    with open_hangar(options.hangar) as hangar:
        identity = read_identity(port, clock, line, spoken)
        changeover_id = open_card(
            hangar,
            identity=identity,
            port=options.port,
            book=book_bytes,
            image=image_bytes,
            airframe=job.airframe,
            now=utc_now,
            dialect=dialect_bytes,
            part=job.part,
            policy=policy,
            image_base=job.image_base,
            way=job.way,
            checks=checks,
            port_usb=port.usb,
        )
        out.print(f"Job card {changeover_id} for {escape(identity.board)}, id {identity.unique_id}.")
        return _work(hangar, changeover_id, options, person)


def read_dialect(name: str) -> bytes:
    """Return a dialect file, or the one that is shipped where its name is given instead of a file."""
    return thornbill_console_file() if name == "thornbill" else read_input_file(Path(name))


def resume(options: BenchOptions, *, changeover_id: str | None) -> int:
    """Go on with a changeover where it stands."""
    person = person_of(options)
    with open_hangar(options.hangar) as hangar:
        card = find_card(hangar, changeover_id)
        out.print(f"Job card {card.row.id}: {escape(card.standing)}\nNext: {escape(card.next_words)}.")
        return _work(hangar, card.row.id, options, person, is_resumed=True)


@dataclass(frozen=True, slots=True)
class WayBack:
    """Why a person wants the way back, and the old image where the bootloader did not give it out."""

    because: str = ""
    image: Path | None = None
    image_base: int | None = None


def roll_back_card(options: BenchOptions, *, changeover_id: str | None, back: WayBack) -> int:
    """Take the aircraft back to the release and settings it was found with."""
    person = person_of(options)
    with open_hangar(options.hangar) as hangar:
        card = find_card(hangar, changeover_id)
        return _work(hangar, card.row.id, options, person, back=back)


def list_cards(hangar_path: Path | None, *, as_json: bool) -> int:
    """List the job cards of the hangar with where each stands."""
    with open_hangar(hangar_path) as hangar:
        found = cards(hangar)
    if as_json:
        print_json([_card_json(card) for card in found])
        return 0
    if not found:
        out.print("No job card yet. Start one with `rotorwright changeover`.")
    for card in found:
        aircraft = card.state.received
        out.print(
            f"[bold]{card.row.id}[/]  {card.row.started_at}  {card.row.unique_id}  "
            f"{escape(f'{aircraft.family} {aircraft.release}' if aircraft else '')}\n"
            f"       {escape(card.standing)}\n       next: {escape(card.next_words)}"
        )
    return 0


def _card_json(card: JobCard) -> dict[str, object]:
    return {
        "id": card.row.id,
        "unique_id": card.row.unique_id,
        "started_at": card.row.started_at,
        "is_over": card.state.is_over,
        "signed_by": card.state.signed_by,
        "rolled_back": card.state.is_rolled_back,
        "standing": card.standing,
        "next": card.next_words,
    }


def person_of(options: BenchOptions) -> Person:
    """Return who answers: the person at the keyboard, or a file."""
    name = user_name()
    if options.answers is None:
        return TerminalPerson(name)
    answers = parse_answers(read_input_file(options.answers), source=str(options.answers))
    return AnswersPerson(answers, name=name)


def user_name() -> str:
    """Return the name under which this person is logged in."""
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):  # a system without accounts, such as a bare container
        return "somebody"


def _work(
    hangar: Hangar,
    changeover_id: str,
    options: BenchOptions,
    person: Person,
    *,
    is_resumed: bool = False,
    back: WayBack | None = None,
) -> int:
    with hangar.lock(changeover_id), shown_progress() as bar:
        if isinstance(person, TerminalPerson):
            person.before_asking = bar.stop
        journal = HangarJournal(hangar, changeover_id, now=utc_now)
        with workshop(hangar, journal, options, person, bar) as shop:
            if is_resumed:
                engine.resume(shop)
            if back is not None:
                _want_back(shop, back)
            state = engine.run(shop, on_step=announce)
        finish(hangar, journal, state)
    return 0


def _want_back(shop: Workshop, back: WayBack) -> None:
    if back.image is not None:
        data = read_input_file(back.image)
        roll_back.give_old_image(shop, data, name=back.image.name, base=back.image_base)
    roll_back.want_roll_back(shop, because=back.because)


@contextmanager
def workshop(
    hangar: Hangar, journal: HangarJournal, options: BenchOptions, person: Person, bar: ProgressLine | None = None
) -> Iterator[Workshop]:
    """Give the workshop of one run: real port, real clock."""
    shop = Workshop(
        journal=journal,
        port=FollowingPort(options.port or "-"),  # the card may say which
        clock=RealClock(),
        person=person,
        application_line=LineSettings(options.baud),
        loader_baud=options.loader_baud,
        wall_time=utc_now,
        experience=HangarExperience(hangar),
    )
    name = options.port or shop.state.port
    shop.port = FollowingPort(name, usb=None if options.port else shop.state.port_usb)
    if bar is not None:
        shop.progress = bar.show
    with attached_beside(name) as (shop.usb, shop.drives):
        yield shop


def announce(rule: StepRule) -> None:
    """Print the step that begins."""
    out.print(f"[bold]{rule.stage}[/]: {rule.words}")


def finish(hangar: Hangar, journal: HangarJournal, state: ChangeoverState, *, report: Path | None = None) -> Path:
    """Write the report, beside the changeover if no other place is given, and print the summary."""
    data = report_of(journal)
    path = report or hangar.folder_of(journal.changeover_id) / "report.html"
    path.write_text(render_report(data), encoding="utf-8")
    out.print("\n" + escape("\n".join(one_page_summary(data))), soft_wrap=True)
    out.print(f"\nReport: {escape(str(path))}", soft_wrap=True)
    assert state.is_over
    return path
