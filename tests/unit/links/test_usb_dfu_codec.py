"""What a bootloader on USB says about itself: read exactly, or refused in words."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rotorwright.links.usb_dfu.codec import find_functional, parse_memory_string, parse_status
from rotorwright.links.usb_dfu.errors import AnswerUnreadableError, MemoryStringError


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("", "name/address"),
        ("Internal Flash/0x08000000/04*016Kg", "name/address"),
        ("@Internal Flash", "name/address"),
        ("@Internal Flash/0x08000000", "name/address"),
        ("@Internal Flash/08000000/04*016Kg", "no address"),
        ("@Internal Flash/0x080000000/04*016Kg", "no address"),
        ("@Internal Flash/0x08000000/04*016Kz", "no count"),
        ("@Internal Flash/0x08000000/04x016Kg", "no count"),
        ("@Internal Flash/0x08000000/", "no count"),
        ("@Internal Flash/0x08000000/00*016Kg", "zero"),
        ("@Internal Flash/0x08000000/04*000Kg", "zero"),
        ("@Internal Flash/0x08000000/99999999*001Bg", "more memory"),
        ("@Internal Flash/0xFFFFF000/04*016Kg", "more memory"),
        ("@Internal Flash/0x08000000/04*016Kg/0x08004000/01*016Kg", "overlap"),
    ],
)
def test_a_damaged_memory_string_is_refused_and_shown(text: str, problem: str) -> None:
    with pytest.raises(MemoryStringError, match=problem):
        parse_memory_string(text)


def test_several_addresses_in_one_string_are_several_pieces_of_memory() -> None:
    layout = parse_memory_string("@Two Banks /0x08000000/02*016Kg/0x08100000/01*064Kg,01*128Kg")
    places = [(sector.number, sector.address, sector.size_bytes) for sector in layout.sectors]
    kib = 1024
    assert places == [
        (0, 0x0800_0000, 16 * kib),
        (1, 0x0800_4000, 16 * kib),
        (2, 0x0810_0000, 64 * kib),
        (3, 0x0811_0000, 128 * kib),
    ]
    assert layout.run_at(0x0800_8000) is None


@given(st.text(alphabet="@InternalFsh /0x8,*KMg ae1B", max_size=60))
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    try:
        layout = parse_memory_string(text)
    except MemoryStringError:
        return
    assert len(layout.sectors) == sum(run.count for run in layout.runs)


@given(st.lists(st.tuples(st.integers(1, 20), st.integers(1, 999), st.sampled_from(" BKM")), min_size=1, max_size=5))
def test_sectors_follow_each_other_without_a_hole(runs: list[tuple[int, int, str]]) -> None:
    unit = {" ": 1, "B": 1, "K": 1024, "M": 1024 * 1024}
    pieces = ",".join(f"{count:02}*{size:03}{letter}g" for count, size, letter in runs)
    wanted = sum(count * size * unit[letter] for count, size, letter in runs)
    if wanted >= 1 << 32:
        return
    sectors = parse_memory_string(f"@Any /0x00000000/{pieces}").sectors
    assert sectors[0].address == 0
    assert all(before.end == after.address for before, after in pairwise(sectors))
    assert sectors[-1].end == wanted


@pytest.mark.parametrize("length", [0, 5, 7])
def test_a_status_of_another_length_is_none(length: int) -> None:
    with pytest.raises(AnswerUnreadableError, match="6 are due"):
        parse_status(bytes(length))


@given(st.binary(min_size=6, max_size=6))
def test_any_six_bytes_are_a_status_with_words(data: bytes) -> None:
    assert str(data[0]) in parse_status(data).words


@given(st.binary(max_size=64))
def test_any_descriptors_are_looked_through_to_their_end(data: bytes) -> None:
    find_functional(data)


def test_a_functional_descriptor_of_version_one_lacks_its_last_two_bytes() -> None:
    found = find_functional(bytes((7, 0x21, 1, 0, 0, 0, 4)))
    assert found is not None
    assert (found.version, found.transfer_bytes, found.can_upload) == (0x0100, 1024, False)
