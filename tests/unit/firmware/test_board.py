from __future__ import annotations

import pytest

from rotorwright.firmware.board import Board, BoardNameAmbiguousError, resolve_board

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
