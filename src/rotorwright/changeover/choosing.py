"""Stage plan: the image judged against the board, with a person's word where nobody can be sure."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from typing import TYPE_CHECKING

from rotorwright.changeover.errors import (
    BoardNotInBookError,
    ImageBoardMismatchError,
    ImageDescriptorMissingError,
    PartUnknownError,
)
from rotorwright.changeover.events import EventKind
from rotorwright.changeover.gates import Gate, NotConfirmedError
from rotorwright.changeover.knowledge import (
    are_settings_known,
    board_settings,
    expected_defaults,
    look_up_library,
)
from rotorwright.changeover.person import BoardQuestion
from rotorwright.changeover.receive import as_found
from rotorwright.changeover.state import ChosenImage
from rotorwright.firmware.board import Board, BoardCandidate, board_candidates, resolve_board
from rotorwright.firmware.boot_probe import probe_boot
from rotorwright.firmware.descriptor import find_descriptor
from rotorwright.firmware.files import read_image_file
from rotorwright.firmware.fit import EvidenceVerdict, Fit, FitVerdict, judge_fit
from rotorwright.firmware.mcu import microcontroller, sectors_for
from rotorwright.settings.identity import Identity, release_line
from rotorwright.settings.policies import Policy

if TYPE_CHECKING:
    from rotorwright.changeover.workshop import Workshop
    from rotorwright.firmware.image import Image
    from rotorwright.firmware.read_image import ReadImage
    from rotorwright.hangar.books import ReleaseBook
    from rotorwright.hangar.journal import JsonValue


_MOST_CANDIDATES = 3  # more would be a list to guess from

# A kept file never changes, so its content is the key: one job asks for the same one many times.
_parse_image = lru_cache(maxsize=4)(read_image_file)
_probe = lru_cache(maxsize=4)(probe_boot)  # takes up to seconds, and is asked again before each write


def board_of(identity: Identity, book: ReleaseBook) -> Board:
    """Return the board that the aircraft reports, aliases of other releases resolved.

    Raises:
        BoardNotInBookError: the book does not know it. The nearest-looking one is never taken.
    """
    what = f"The aircraft says that its board is '{identity.board}'; this release book does not know it."
    return known_board(book, identity.board, otherwise=what)


def known_board(book: ReleaseBook, name: str, *, otherwise: str) -> Board:
    """Return the board that has or had this name; `otherwise` is what the error says where there is none.

    Raises:
        BoardNotInBookError: the book does not know it. The nearest-looking one is never taken.
    """
    board = resolve_board(book.boards, name)
    if board is None:
        known = ", ".join(sorted(one.name for one in book.boards))
        raise BoardNotInBookError(
            otherwise,
            why=f"The book knows {known}. A board is sometimes renamed, but a name that only looks alike is not taken."
            + _likely_boards(book, name),
            todo="Take the release book of this firmware family, or ask the maker of the board for its present name.",
            board=name,
        )
    return board


def _likely_boards(book: ReleaseBook, reported: str) -> str:
    return "".join(_words_of(candidate) for candidate in board_candidates(book.boards, reported)[:_MOST_CANDIDATES])


def _words_of(candidate: BoardCandidate) -> str:
    return f" Perhaps {candidate.board.name}: {_reasons(candidate)}."


def read_image(shop: Workshop) -> Image:
    """Return the image of this changeover from the kept file."""
    return read_kept_image(shop).image


def read_kept_image(shop: Workshop) -> ReadImage:
    """Return the image of this changeover with the format of its file and what was skipped or deduced."""
    kept = shop.state.image_file
    assert kept is not None
    return _parse_image(shop.journal.fetch(kept), name=kept.name, base=shop.state.image_base)


def board_here(shop: Workshop, image: Image) -> Board:
    """Return the board of the aircraft: as the book describes it; without a book, as far as it is known at all.

    Raises:
        BoardNotInBookError: there is a book, and it does not know the board.
        PartUnknownError: there is no book, and neither the image nor the person says which microcontroller it has.
    """
    received = shop.state.received
    assert received is not None
    if shop.state.book is not None:
        return resolve_board(shop.book().boards, received.board) or _board_by_word(shop, received)
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


def _board_by_word(shop: Workshop, received: Identity) -> Board:
    """Return the board that a person says it is, now or in an earlier run.

    Raises:
        BoardNotInBookError: no person says so.
    """
    book = shop.book()
    named = shop.state.board_named or shop.person.name_board(board_question(book, received.board))
    board = next((one for one in book.boards if one.name == named), None)
    if board is None:
        return board_of(received, book)  # which says in words what can be done
    if not shop.state.board_named:
        shop.note(EventKind.BOARD_NAMED, reported=received.board, board=board.name, by=shop.person.name)
    return replace(board, is_named_by_person=True)


def said_release(book: ReleaseBook, board: Board, image: Image) -> str | None:
    """Return the release line that the image says it is, or that the book lists it as; None where neither says so."""
    descriptor = find_descriptor(image)
    return release_line(descriptor.release) if descriptor else book.release_of_image(board, image.sha256)


def board_question(book: ReleaseBook, reported: str) -> BoardQuestion:
    """Return every board of the book with what speaks for and against its being the one reported."""
    likely = {one.board.name: one for one in board_candidates(book.boards, reported)}
    others = sorted({one.name for one in book.boards} - set(likely))
    return BoardQuestion(
        reported,
        (
            *((name, _reasons(candidate)) for name, candidate in likely.items()),
            *((name, "nothing in its names speaks for it") for name in others),
        ),
    )


def _reasons(candidate: BoardCandidate) -> str:
    against = f"; against it, {', '.join(candidate.reasons_against)}" if candidate.reasons_against else ""
    return f"for it, {', '.join(candidate.reasons_for)}{against}"


def judge(
    shop: Workshop, image: Image, *, chip_id: int | None, flash_kib: int | None = None
) -> tuple[Fit, ChosenImage]:
    """Judge the image against the aircraft that was received; where nobody can be sure, ask a person to vouch for it.

    Raises:
        ImageDescriptorMissingError: there is a book, and neither it nor the image says which release the image is.
        ImageBoardMismatchError: it does not fit, or nobody can be sure and there is a book that should know.
        NotConfirmedError: nobody can be sure, and no person vouches for it.
        PartUnknownError, BoardNotInBookError: see `board_here`.
    """
    received = shop.state.received
    assert received is not None
    book = shop.book()
    board = board_here(shop, image)
    part = microcontroller(board.mcu)
    descriptor = find_descriptor(image)
    release = said_release(book, board, image)
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
        flash_kib=flash_kib,
        boot=_probe(image),
        uf2_families=read_kept_image(shop).uf2_families,
    )
    if fit.verdict is FitVerdict.DOES_NOT_FIT:
        raise _does_not_fit(fit, board)
    _require_sure(shop, fit, board)
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
        ImageError, WorkflowError: see `judge`.
        PolicySettingError: the policy names a setting that nobody knows.
    """
    found = read_kept_image(shop)
    image = found.image
    for note in found.notes:
        shop.person.tell(note)
    fit, chosen = judge(shop, image, chip_id=None)
    descriptor = find_descriptor(image)
    look_up_library(shop, chosen, named=descriptor.board if descriptor else "")
    _require_known_policy(shop, chosen)
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
        file_format=str(found.format),
        file_notes=list(found.notes),
        evidence=evidence,
        settings_known=are_settings_known(shop, chosen),
        board_settings=[each.name for each in inferred],
        board_evidence=[f"{each.name}: {each.evidence}" for each in inferred],
    )


def _require_known_policy(shop: Workshop, image: ChosenImage) -> None:
    """Refuse a policy for settings that nobody knows, while nothing is changed: later it would stop the job for good.

    Raises:
        PolicySettingError: it names one.
    """
    new = expected_defaults(shop, image) or {}
    Policy.parse(shop.state.policy).require_known({*as_found(shop).settings, *new})


def _require_sure(shop: Workshop, fit: Fit, board: Board) -> None:
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
