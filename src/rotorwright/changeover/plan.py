"""Stage plan: the image judged against the board, and a decision with a reason for each setting."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from rotorwright.changeover.errors import (
    BoardNotInBookError,
    DecisionMissingError,
    ImageBoardMismatchError,
    ImageDescriptorMissingError,
    PartUnknownError,
    PlanNotAcceptedError,
)
from rotorwright.changeover.events import EventKind
from rotorwright.changeover.gates import Gate, NotConfirmedError
from rotorwright.changeover.kept import kept_facts
from rotorwright.changeover.knowledge import (
    are_old_defaults_known,
    are_settings_known,
    board_settings,
    expected_catalogue,
    expected_defaults,
    look_up_library,
    old_catalogue,
    old_defaults,
)
from rotorwright.changeover.person import PlanSummary
from rotorwright.changeover.receive import as_found, catalogue_from, keep_content, snapshot_from
from rotorwright.changeover.refitting import refit_sheet
from rotorwright.changeover.state import ChosenImage
from rotorwright.firmware.board import Board, resolve_board
from rotorwright.firmware.descriptor import find_descriptor
from rotorwright.firmware.fit import EvidenceVerdict, Fit, FitVerdict, judge_fit
from rotorwright.firmware.intel_hex import read_intel_hex
from rotorwright.firmware.mcu import microcontroller, sectors_for
from rotorwright.settings.answering import answer_held
from rotorwright.settings.board_inference import with_inferred_board
from rotorwright.settings.carry_over import CarryOverInputs, carry_over
from rotorwright.settings.decisions import BY_HAND, Decision, Option
from rotorwright.settings.holding import ask_again
from rotorwright.settings.identity import Identity, release_line
from rotorwright.settings.policies import Policy
from rotorwright.settings.refused import hold_refused
from rotorwright.settings.sheet import CarryOverSheet, parse_sheet, print_sheet

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.changeover.workshop import Workshop
    from rotorwright.firmware.image import Image
    from rotorwright.hangar.books import ReleaseBook
    from rotorwright.hangar.journal import JsonValue
    from rotorwright.settings.answering import Answer
    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.classes import SettingClasses
    from rotorwright.settings.constraints import Constraints
    from rotorwright.settings.note_entries import ChangeNotes
    from rotorwright.settings.values import Value


# A kept file never changes, so its content is the key: one job asks for the same ones many times.
_parse_image = lru_cache(maxsize=4)(read_intel_hex)


def board_of(identity: Identity, book: ReleaseBook) -> Board:
    """Return the board that the aircraft reports, aliases of other releases resolved.

    Raises:
        BoardNotInBookError: the book does not know it. The nearest-looking one is never taken.
    """
    board = resolve_board(book.boards, identity.board)
    if board is None:
        known = ", ".join(sorted(one.name for one in book.boards))
        raise BoardNotInBookError(
            f"The aircraft says that its board is '{identity.board}'; this release book does not know it.",
            why=f"The book knows {known}. A board is sometimes renamed, but a name that only looks alike is not taken.",
            todo="Take the release book of this firmware family, or ask the maker of the board for its present name.",
            board=identity.board,
        )
    return board


def read_image(shop: Workshop) -> Image:
    """Return the image of this changeover from the kept file."""
    kept = shop.state.image_file
    assert kept is not None
    return _parse_image(shop.journal.fetch(kept), name=kept.name)


def board_here(shop: Workshop, image: Image) -> Board:
    """Return the board of the aircraft: as the book describes it; without a book, as far as it is known at all.

    Raises:
        BoardNotInBookError: there is a book, and it does not know the board.
        PartUnknownError: there is no book, and neither the image nor the person says which microcontroller it has.
    """
    received = shop.state.received
    assert received is not None
    if shop.state.book is not None:
        return board_of(received, shop.book())
    descriptor = find_descriptor(image)
    part = shop.state.part or (descriptor.mcu if descriptor else "")
    if not part:
        raise PartUnknownError(
            f"Nobody says which microcontroller {received.board} has.",
            why="Without a release book it comes from the image, and this image carries no descriptor.",
            todo="Read it off the largest chip of the board and name it with `--part`, or give a release book.",
            board=received.board,
        )
    return Board(name=received.board, mcu=part, is_only_reported=True)


def judge(shop: Workshop, image: Image, *, chip_id: int | None) -> tuple[Fit, ChosenImage]:
    """Judge the image against the aircraft that was received. A person's word for it is not asked here.

    Raises:
        ImageDescriptorMissingError: there is a book, and neither it nor the image says which release the image is.
        ImageBoardMismatchError: it does not fit.
        PartUnknownError, BoardNotInBookError: see `board_here`.
    """
    received = shop.state.received
    assert received is not None
    book = shop.book()
    board = board_here(shop, image)
    part = microcontroller(board.mcu)
    descriptor = find_descriptor(image)
    release = release_line(descriptor.release) if descriptor else book.release_of_image(board, image.sha256)
    if release is None and not board.is_only_reported:
        raise ImageDescriptorMissingError(
            "The image does not say which release it is, and the release book does not know its digest.",
            why="It carries no image descriptor and is not among the images of the book.",
            todo="Take the image from the publisher of the firmware family, together with its release book.",
            sha256=image.sha256,
        )
    fit = judge_fit(
        image,
        board=board,
        mcu=part,
        chip_id=chip_id,
        reported_board=received.board,
        release=release,
        family=received.family,
    )
    if fit.verdict is FitVerdict.DOES_NOT_FIT:
        raise _does_not_fit(fit, board)
    chosen = ChosenImage(
        release=descriptor.release if descriptor else release or "",
        board=board.name,
        microcontroller=part.name,
        sha256=image.sha256,
        size_bytes=image.size_bytes,
        sectors=tuple(sector.number for sector in sectors_for(image, part)),
    )
    return fit, chosen


def choose_image(shop: Workshop) -> None:
    """Judge the image before anything is changed, and note it with its evidence.

    Raises:
        ImageBoardMismatchError: it does not fit, or nobody can be sure and there is a book that should know.
        NotConfirmedError: nobody can be sure, and no person vouches for it.
    """
    image = read_image(shop)
    fit, chosen = judge(shop, image, chip_id=None)
    require_sure(shop, fit, board_here(shop, image))
    descriptor = find_descriptor(image)
    look_up_library(shop, chosen, named=descriptor.board if descriptor else "")
    inferred = board_settings(shop)
    evidence: list[JsonValue] = [f"{one.test}: {one.verdict}: {one.words}" for one in fit.evidence]
    shop.note(
        EventKind.IMAGE_CHOSEN,
        release=chosen.release,
        board=chosen.board,
        microcontroller=chosen.microcontroller,
        image_sha256=chosen.sha256,
        bytes=chosen.size_bytes,
        sectors=list(chosen.sectors),
        evidence=evidence,
        settings_known=are_settings_known(shop, chosen),
        board_settings=[each.name for each in inferred],
        board_evidence=[f"{each.name}: {each.evidence}" for each in inferred],
    )


def require_sure(shop: Workshop, fit: Fit, board: Board) -> None:
    """Return if the image fits, or if nobody can be sure and a person vouched for it, now or in an earlier run.

    Raises:
        ImageBoardMismatchError: nobody can be sure though there is a book, which should know.
        NotConfirmedError: no person vouches for it.
    """
    if fit.verdict is FitVerdict.FITS or str(Gate.IMAGE_VOUCHED) in shop.state.gates:
        return
    if not board.is_only_reported:
        raise _does_not_fit(fit, board)
    doubts = [one.words for one in fit.evidence if one.verdict is not EvidenceVerdict.PASSED]
    for words in doubts:
        shop.person.tell(f"Not sure: {words}")
    if not shop.person.confirm(Gate.IMAGE_VOUCHED):
        raise NotConfirmedError(
            Gate.IMAGE_VOUCHED,
            found=f"nobody can be sure that the image fits {board.name}, and no person vouches for it.",
            todo="Look at the board and at what the publisher says, or give a release book; then `resume`.",
        )
    shop.note(
        EventKind.GATE_PASSED,
        gate=str(Gate.IMAGE_VOUCHED),
        evidence=f"a person's word, since: {' '.join(doubts)}",
        by=shop.person.name,
    )


def make_sheet(shop: Workshop) -> None:
    """Decide what becomes of each setting: from what is known beforehand, else from what the aircraft showed."""
    sheet = planned_sheet(shop, new_catalogue=known_catalogue(shop), new_defaults=known_defaults(shop))
    keep_sheet(shop, sheet, EventKind.SHEET_MADE)


def known_defaults(shop: Workshop) -> Mapping[str, Value]:
    """Return the new defaults: those that the aircraft showed, else those that are expected of it."""
    image = shop.state.image
    assert image is not None
    read = snapshot_from(shop, shop.state.new_defaults)
    return (read.settings if read else expected_defaults(shop, image)) or {}


def known_constraints(shop: Workshop) -> Constraints | None:
    """Return what has to hold between the settings of the new release, if the book says so."""
    release = shop.state.expected_release
    return shop.book().constraints(release_line(release)) if release else None


def planned_sheet(
    shop: Workshop, *, new_catalogue: Catalogue | None, new_defaults: Mapping[str, Value]
) -> CarryOverSheet:
    """Return the carry-over sheet for the received aircraft against what is known of the new release."""
    received, release = shop.state.received, shop.state.expected_release
    assert received is not None
    sheet = carry_over(
        CarryOverInputs(
            ours=as_found(shop),
            old_defaults=old_defaults(shop),
            new_defaults=new_defaults,
            old_catalogue=old_catalogue(shop),
            new_catalogue=new_catalogue,
            notes=known_notes(shop),
            classes=_classes(shop),
            same_aircraft=True,
            to_release=release,
            constraints=known_constraints(shop),
            policy=Policy.parse(shop.state.policy),
        )
    )
    # What a refit writes has to keep the constraints as well.
    fitted = ask_again(
        with_refits(shop, sheet),
        known_constraints(shop) or (),
        new_defaults=new_defaults,
        new_catalogue=new_catalogue,
    )
    return hold_refused(fitted, shop.state.refusals)


def _classes(shop: Workshop) -> SettingClasses | None:
    """Return the classes of the book, with what the hangar inferred about the board when the image was chosen."""
    image = shop.state.image
    classes = shop.book().classes
    return with_inferred_board(classes, image.board_settings) if image and image.board_settings else classes


def with_refits(shop: Workshop, sheet: CarryOverSheet) -> CarryOverSheet:
    """Return the sheet with the refits worked out that its change notes ask for, as far as is decided."""
    return refit_sheet(
        sheet, notes=known_notes(shop), old_catalogue=old_catalogue(shop), new_catalogue=known_catalogue(shop)
    )


def known_notes(shop: Workshop) -> ChangeNotes | None:
    """Return the change notes between the two releases, if the book has them."""
    received, release = shop.state.received, shop.state.expected_release
    assert received is not None
    return shop.book().notes(release_line(received.release), release_line(release)) if release else None


def keep_sheet(shop: Workshop, sheet: CarryOverSheet, kind: EventKind, **more: JsonValue) -> None:
    """Keep the sheet as it stands and note it."""
    file = keep_content(shop, "sheet", "json", print_sheet(sheet))
    shop.sheets[file] = sheet
    counts: dict[str, JsonValue] = {str(decision): count for decision, count in sheet.counts.items()}
    facts: dict[str, JsonValue] = {
        "file": kept_facts(file),
        "counts": counts,
        "held": len(sheet.held),
        "undecided": len(sheet.undecided),
        **more,
    }
    shop.note(kind, **facts)


def current_sheet(shop: Workshop) -> CarryOverSheet:
    """Return the sheet as decided so far."""
    kept = shop.state.sheet
    assert kept is not None
    data = shop.journal.fetch(kept)  # checks its digest, also where the sheet is still at hand
    if kept not in shop.sheets:
        shop.sheets[kept] = parse_sheet(data, source=kept.name)
    return shop.sheets[kept]


def decide(shop: Workshop) -> None:
    """Ask the person about each held setting; each answer is committed by itself.

    Raises:
        DecisionMissingError: the person left one undecided.
    """
    while undecided := current_sheet(shop).undecided:
        held = undecided[0]
        choice = shop.person.decide(held)
        if choice is None:
            raise DecisionMissingError(
                f"{len(undecided)} held settings are not decided, the first is {' and '.join(held.found)}.",
                why=held.reason,
                state="Nothing was changed on the aircraft; the answers given so far are kept.",
                todo=f"Decide them with `rotorwright decide --changeover {shop.journal.changeover_id}` and go on with "
                "`resume`, or let `resume` ask.",
                undecided=len(undecided),
            )
        keep_answer(shop, held, choice)


def keep_answer(shop: Workshop, held: Decision, answer: Answer) -> None:
    """Take one answer to a held line and commit it.

    Raises:
        WorkflowError, SettingsError: it is no way to decide this line; nothing was taken.
    """
    name = held.found[0]
    answered = answer_held(current_sheet(shop), name, answer, new_catalogue=known_catalogue(shop))
    decided = with_refits(shop, answered)
    choice: JsonValue = answer if isinstance(answer, str) else dict(answer)
    keep_sheet(shop, decided, EventKind.HELD_DECIDED, names=list(held.found), choice=choice, by=shop.person.name)


def known_catalogue(shop: Workshop) -> Catalogue | None:
    """Return the best that is known of the new release's settings now: the aircraft's own catalogue, else others'."""
    image = shop.state.image
    assert image is not None
    return catalogue_from(shop, shop.state.new_catalogue) or expected_catalogue(shop, image)


def accept_write(shop: Workshop) -> None:
    """Show what will be written and ask for consent to that alone; the settings are decided after the write.

    Raises:
        PlanNotAcceptedError: the person did not accept it.
    """
    image, received = shop.state.image, shop.state.received
    assert image is not None
    assert received is not None
    summary = PlanSummary(
        aircraft=f"{image.board}, id {received.unique_id}",
        release_before=f"{received.family} {received.release}",
        release_after=f"{received.family} {image.release or 'of an unnamed release'}",
        image_bytes=image.size_bytes,
        sectors=image.sectors,
        counts={},
        settings_to_write=0,
        note=_later(shop),
    )
    if not shop.person.accept_plan(summary):
        raise _not_accepted()
    shop.note(EventKind.WRITE_ACCEPTED, sectors=list(image.sectors), by=shop.person.name)


def _later(shop: Workshop) -> str:
    saved = f"all {shop.state.as_found_count} are saved; they are decided after the write"
    if are_old_defaults_known(shop):
        return f"{saved}, when the new release has shown its defaults"
    return f"{saved}. Before it the old release is reset to its defaults, so that they can be read"


def _not_accepted() -> PlanNotAcceptedError:
    return PlanNotAcceptedError(
        "The plan was not accepted.",
        why="Nothing is changed on an aircraft without a person's word.",
        todo="Go on with `resume` when it is right, or leave the aircraft as it is.",
    )


def accept(shop: Workshop) -> None:
    """Show the plan and ask for consent.

    Raises:
        PlanNotAcceptedError: the person did not accept it.
    """
    if is_asked_again(shop):
        return  # the next step asks about what does not go together
    sheet = current_sheet(shop)
    writes = sheet.writes
    image, received = shop.state.image, shop.state.received
    assert image is not None
    assert received is not None
    shop.pass_measured(Gate.NOTHING_HELD, f"{len(sheet.held)} held settings, all decided")
    summary = PlanSummary(
        aircraft=f"{image.board}, id {received.unique_id}",
        release_before=f"{received.family} {received.release}",
        release_after=f"{received.family} {image.release}",
        image_bytes=image.size_bytes,
        sectors=image.sectors,
        counts={str(kind): count for kind, count in sheet.counts.items()},
        settings_to_write=len(writes),
    )
    if not shop.person.accept_plan(summary):
        raise _not_accepted()
    assert shop.state.sheet is not None
    shop.note(
        EventKind.PLAN_ACCEPTED,
        sheet=kept_facts(shop.state.sheet),
        sectors=list(image.sectors),
        writes=len(writes),
        by=shop.person.name,
    )


def is_asked_again(shop: Workshop) -> bool:
    """Hold anew what was decided so that it breaks a constraint between settings; answer whether anything was."""
    before = current_sheet(shop)
    sheet = ask_again(
        before,
        known_constraints(shop) or (),
        new_defaults=known_defaults(shop),
        new_catalogue=known_catalogue(shop),
    )
    if sheet == before:
        return False
    shop.person.tell("What was decided does not go together; those settings are asked about again.")
    keep_sheet(shop, sheet, EventKind.SHEET_MADE, because="what was decided breaks a constraint between settings")
    return True


def carry_choices(old: CarryOverSheet, new: CarryOverSheet) -> CarryOverSheet:
    """Return `new` with the choices of `old` taken over where the very same question is asked again."""
    asked = {decision.found: decision for decision in old.held}
    for held in new.undecided:
        before = asked.get(held.found)
        if before is None or before.chosen is None or _asked(before) != _asked(held):
            continue
        if before.chosen == BY_HAND:
            new = new.decide_by_hand(held.found[0], before.writes_in_force)
        else:
            new = new.decide(held.found[0], before.chosen)
    return new


def _asked(held: Decision) -> tuple[Option, ...]:
    """Return the options that were offered, without what a person added."""
    return tuple(option for option in held.options if option.key != BY_HAND)


def _does_not_fit(fit: Fit, board: Board) -> ImageBoardMismatchError:
    against = [one for one in fit.evidence if str(one.verdict) != "passed"]
    words = " ".join(one.words for one in against)
    sure = fit.verdict is FitVerdict.DOES_NOT_FIT
    return ImageBoardMismatchError(
        f"The image does not belong on {board.name}."
        if sure
        else f"Nobody can be sure that the image fits {board.name}.",
        why=words or "No test speaks for it.",
        todo=f"See that the board is a {board.name}, and take the image that its publisher names for that board.",
        board=board.name,
        verdict=str(fit.verdict),
        tests=", ".join(one.test for one in against),
    )
