"""A board that the book does not know: the error says which are likely, and why, and takes none of them."""

from __future__ import annotations

from pathlib import Path

import pytest

from rotorwright.changeover.choosing import board_of
from rotorwright.changeover.errors import BoardNotInBookError
from rotorwright.hangar.books import ReleaseBook, read_book
from rotorwright.settings.identity import Identity
from rotorwright.twin.thornbill.book import write_book


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> ReleaseBook:
    folder: Path = tmp_path_factory.mktemp("book")
    write_book(folder)
    return read_book(folder)


def identity(board: str) -> Identity:
    return Identity(unique_id="0" * 24, family="Thornbill", release="5.2.0", board=board)


@pytest.mark.parametrize("name", ["Corvane C405", "Corvane One"])
def test_each_name_that_the_board_had_finds_it(book: ReleaseBook, name: str) -> None:
    assert board_of(identity(name), book).name == "Corvane C405"


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("corvane one", "Perhaps Corvane C405: for it, 'Corvane One' is the same but for spaces, capitals or marks."),
        ("Corvane C406", "against it, 405 and 406 are each in one of the names only"),
    ],
)
def test_a_likely_board_is_named_with_its_reasons_and_not_taken(book: ReleaseBook, name: str, words: str) -> None:
    with pytest.raises(BoardNotInBookError) as caught:
        board_of(identity(name), book)
    assert words in caught.value.why


def test_where_no_board_is_likely_none_is_named(book: ReleaseBook) -> None:
    with pytest.raises(BoardNotInBookError) as caught:
        board_of(identity("Sandmartin"), book)
    assert "Perhaps" not in caught.value.why
