"""A board whose name the release book does not know: asked about, with why and why not; a person's word is recorded."""

from __future__ import annotations

import zipfile
from io import BytesIO
from pathlib import Path

import pytest
from tests.virtual_bench import VirtualBench

from rotorwright.changeover.errors import BoardNotInBookError, ImageBoardMismatchError
from rotorwright.changeover.events import EventKind
from rotorwright.changeover.person import BoardQuestion
from rotorwright.changeover.workshop import Workshop

SMALL_BYTES = 36 * 1024


def _bench(folder: Path) -> VirtualBench:
    """Return a bench whose book has never heard of the name that the old release gives the board."""
    bench = VirtualBench(folder, size_bytes=SMALL_BYTES)
    assert bench.book is not None
    packed = BytesIO()
    with zipfile.ZipFile(BytesIO(bench.book)) as old, zipfile.ZipFile(packed, "w") as new:
        for name in old.namelist():
            data = old.read(name)
            if name.endswith("book.toml"):
                assert b'"Corvane One"' in data
                data = data.replace(b'"Corvane One"', b'"Corvane Zero"')
            new.writestr(old.getinfo(name), data)
    bench.book = packed.getvalue()
    return bench


def _says(name: str | None):  # type: ignore[no-untyped-def]  # a hook of the bench
    def prepare(shop: Workshop) -> None:
        shop.person.board = name  # type: ignore[attr-defined]

    return prepare


def _questions(heard: list[object]) -> list[BoardQuestion]:
    return [one for one in heard if isinstance(one, BoardQuestion)]


def test_an_unknown_name_is_asked_about_with_why_and_why_not_for_each_board(tmp_path: Path) -> None:
    bench = _bench(tmp_path)
    run = bench.run(prepare=_says(None))
    assert isinstance(run.error, BoardNotInBookError)
    (question,) = _questions(run.person.heard)
    assert question.reported == "Corvane One"
    reasons = dict(question.candidates)
    assert set(reasons) == {"Corvane C405", "Corvane H7"}
    assert all("for it" in words or "nothing in its names speaks for it" in words for words in reasons.values())


def test_a_persons_word_is_recorded_and_asked_for_once(tmp_path: Path) -> None:
    bench = _bench(tmp_path)
    first = bench.run(prepare=_says("Corvane C405"), refuses=frozenset({"propellers-off"}))
    assert len(_questions(first.person.heard)) == 1
    named = [event.facts for event in bench.events() if event.kind == EventKind.BOARD_NAMED]
    assert named == [{"reported": "Corvane One", "board": "Corvane C405", "by": "tester"}]
    second = bench.run(prepare=_says(None))
    assert second.error is None
    assert _questions(second.person.heard) == []


def test_the_word_for_the_wrong_board_does_not_make_its_image_fit(tmp_path: Path) -> None:
    bench = _bench(tmp_path)
    before = bytes(bench.memories.flash)
    run = bench.run(prepare=_says("Corvane H7"))
    assert isinstance(run.error, ImageBoardMismatchError)
    assert bytes(bench.memories.flash) == before


@pytest.mark.parametrize("word", ["corvane c405", "Corvane Zero ", "C405"])
def test_a_word_that_is_no_name_of_the_book_is_no_answer(word: str, tmp_path: Path) -> None:
    run = _bench(tmp_path).run(prepare=_says(word))
    assert isinstance(run.error, BoardNotInBookError)
