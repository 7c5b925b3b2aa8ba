from __future__ import annotations

import pytest

from rotorwright.firmware.board import Board, BoardNameAmbiguousError, board_candidates, resolve_board

C405 = Board("Corvane C405", "STM32F405xG", aliases={"5.2": "Corvane One"}, reserved_sectors=(11,))
H7 = Board("Corvane H7", "STM32H743xI")


@pytest.mark.parametrize(("name", "board"), [("Corvane C405", C405), ("Corvane One", C405), ("Corvane H7", H7)])
def test_a_board_is_found_by_each_name_it_has_or_had(name: str, board: Board) -> None:
    assert resolve_board([C405, H7], name) is board


@pytest.mark.parametrize("name", ["Corvane C406", "corvane c405", "Corvane C405 ", "Corvane", "", "Corvane One 2"])
def test_a_name_that_only_looks_alike_finds_nothing(name: str) -> None:
    assert resolve_board([C405, H7], name) is None


def test_a_name_that_two_boards_claim_is_refused() -> None:
    other = Board("Corvane Two", "STM32F405xG", aliases={"5.1": "Corvane One"})
    with pytest.raises(BoardNameAmbiguousError, match="Corvane C405 and Corvane Two"):
        resolve_board([C405, other], "Corvane One")


def test_the_name_depends_on_the_release() -> None:
    assert C405.name_in("5.2") == "Corvane One"
    assert C405.name_in("6.0") == "Corvane C405"


def test_boards_are_values() -> None:
    assert Board("Corvane H7", "STM32H743xI") == H7
    assert len({C405, H7, Board("Corvane H7", "STM32H743xI")}) == 2


def reasons(reported: str, *, part: str | None = None) -> dict[str, tuple[str, str]]:
    found = board_candidates([H7, C405], reported, part=part)
    return {one.board.name: (" / ".join(one.reasons_for), " / ".join(one.reasons_against)) for one in found}


@pytest.mark.parametrize("reported", ["corvane-c405", "CORVANE C405", "Corvane_C405", "CorvaneC405", "corvane one"])
def test_a_name_in_another_spelling_has_its_board_first_with_nothing_against_it(reported: str) -> None:
    name, (speaks_for, against) = next(iter(reasons(reported).items()))
    assert (name, against) == ("Corvane C405", "")
    assert "is the same but for spaces, capitals or marks" in speaks_for


def test_another_number_speaks_against_a_board_that_is_spelled_nearly_alike() -> None:
    found = reasons("Corvane C406")
    assert list(found) == ["Corvane C405", "Corvane H7"]
    assert "spelled nearly like it" in found["Corvane C405"][0]
    assert found["Corvane C405"][1].startswith("405 and 406 are each in one of the names only")
    assert "nearly" not in found["Corvane H7"][0]


def test_an_old_name_of_a_board_counts_as_well() -> None:
    (speaks_for, against) = reasons("Corvane Onne")["Corvane C405"]
    assert "'Corvane One' is spelled nearly like it" in speaks_for
    assert "'one' and 'onne'" in against


def test_the_microcontroller_speaks_for_one_board_and_against_another() -> None:
    found = reasons("Corvane", part="STM32H743xI")
    assert "it has the same microcontroller, STM32H743xI" in found["Corvane H7"][0]
    assert "it has an STM32F405xG, and this one has an STM32H743xI" in found["Corvane C405"][1]


def test_a_board_that_nothing_speaks_for_is_no_candidate() -> None:
    assert reasons("Sandmartin") == {}
    assert list(reasons("Sandmartin", part="STM32H743xI")) == ["Corvane H7"]
    assert reasons("") == {}


def test_the_order_of_the_book_does_not_matter() -> None:
    assert board_candidates([C405, H7], "Corvane") == board_candidates([H7, C405], "Corvane")
