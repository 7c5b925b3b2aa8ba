from __future__ import annotations

import pytest

from rotorwright.display.characters import (
    BYTES_USED,
    COUNTS,
    LARGE_CHARACTERS,
    CharacterMemory,
    CharacterNumberError,
    differing_characters,
    parse_characters,
    print_characters,
)
from rotorwright.display.need import needed_characters
from rotorwright.twin.thornbill.release import characters

WHITE, BLACK, OTHER_CLEAR = b"\xaa" * BYTES_USED, b"\x00" * BYTES_USED, b"\xff" * BYTES_USED


def memory(characters: dict[int, bytes], count: int = 256) -> CharacterMemory:
    return parse_characters(print_characters(characters, count=count), counts=COUNTS)


def test_a_memory_with_all_that_is_drawn_meets_the_need() -> None:
    release = memory({3: WHITE, 9: BLACK})
    found = needed_characters(release, release)
    assert found.is_met
    assert (found.needed, found.missing, found.differing, found.unneeded) == ((3, 9), (), (), ())
    assert found.words == "All 2 characters that the release draws are in the memory."


def test_missing_differing_and_left_over_are_told_apart() -> None:
    found = needed_characters(memory({3: WHITE, 9: BLACK, 11: WHITE}), memory({3: WHITE, 9: WHITE, 40: WHITE}))
    assert not found.is_met
    assert (found.missing, found.differing, found.unneeded) == ((11,), (9,), (40,))
    assert "missing: 1 (number 11); looking different: 1 (number 9)." in found.words
    assert "Left from something else: 1 (number 40)." in found.words


def test_what_is_left_over_does_not_fail_the_need() -> None:
    assert needed_characters(memory({3: WHITE}), memory({3: WHITE, 4: WHITE})).is_met


def test_the_two_codes_of_transparent_look_the_same() -> None:
    found = needed_characters(memory({3: WHITE, 4: OTHER_CLEAR}), memory({3: WHITE}))
    assert found.is_met
    assert found.needed == (3,)


def test_a_blank_that_the_release_is_known_to_draw_must_be_blank() -> None:
    release, dirty = memory({3: WHITE}), memory({3: WHITE, 32: WHITE})
    assert needed_characters(release, dirty, drawn=[32, 3]).differing == (32,)
    assert needed_characters(release, release, drawn=[32, 3]).is_met
    with pytest.raises(CharacterNumberError):
        needed_characters(release, dirty, drawn=[256])


def test_a_release_of_two_banks_does_not_fit_a_chip_of_one() -> None:
    release = memory({3: WHITE, 300: WHITE}, LARGE_CHARACTERS)
    assert needed_characters(release, memory({3: WHITE})).missing == (300,)
    assert needed_characters(memory({3: WHITE}), release).unneeded == (300,)


def test_a_release_that_draws_nothing_is_no_proof() -> None:
    found = needed_characters(memory({}), memory({}))
    assert not found.is_met
    assert "draws no character at all" in found.words


def test_the_old_characters_do_not_meet_the_need_of_the_new_release() -> None:
    old, new = (parse_characters(characters(release)) for release in ("5.2", "6.0"))
    found = needed_characters(new, old)
    assert not found.is_met
    wrong = sorted((*found.missing, *found.differing, *found.unneeded))
    assert tuple(wrong) == differing_characters(old, new)
    assert len(found.missing) >= 30
    assert needed_characters(new, new).is_met


def test_a_long_list_is_cut_with_dots() -> None:
    assert (
        "20 (number 0, 1, 2, 3, 4, 5, 6, 7, ...); looking different: none."
        in needed_characters(memory(dict.fromkeys(range(20), WHITE)), memory({})).words
    )


def test_a_character_of_the_release_that_it_is_known_not_to_draw_is_no_leftover() -> None:
    release = memory({3: WHITE, 4: BLACK})
    assert needed_characters(release, release, drawn=[3]).unneeded == ()
    assert needed_characters(release, memory({3: WHITE}), drawn=[3]).is_met
