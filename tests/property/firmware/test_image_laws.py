from __future__ import annotations

from random import Random

from hypothesis import given
from hypothesis import strategies as st

from rotorwright.errors import ImageError
from rotorwright.firmware.descriptor import Descriptor, find_descriptor, pack_descriptor, sealed
from rotorwright.firmware.image import Image
from rotorwright.firmware.mcu import Microcontroller, microcontrollers, sectors_for
from rotorwright.firmware.vector_table import read_vector_table

ADDRESSES = st.one_of(st.integers(0, 80), st.integers(0x0800_0000, 0x0800_0050), st.integers(-2, (1 << 32) + 2))
CHUNKS = st.lists(st.tuples(ADDRESSES, st.binary(max_size=12)), max_size=8)
PARTS = st.sampled_from(microcontrollers())


def image_of(chunks: list[tuple[int, bytes]]) -> Image | None:
    try:
        return Image.of(chunks)
    except ImageError:
        return None


def bytes_by_address(chunks: list[tuple[int, bytes]]) -> list[tuple[int, int]]:
    return [(address + i, byte) for address, data in chunks for i, byte in enumerate(data)]


@given(CHUNKS)
def test_an_image_has_exactly_the_bytes_of_its_chunks_or_is_refused(chunks: list[tuple[int, bytes]]) -> None:
    cells = bytes_by_address(chunks)
    places = [place for place, _ in cells]
    possible = bool(cells) and len(set(places)) == len(places) and all(0 <= place < 1 << 32 for place in places)
    image = image_of(chunks)
    assert (image is not None) == possible
    if image is not None:
        assert sorted(bytes_by_address(list(image.segments))) == sorted(cells)
        assert all(one.end < two.address for one, two in zip(image.segments, image.segments[1:], strict=False))


@given(CHUNKS, st.randoms(use_true_random=False))
def test_the_order_of_chunks_does_not_matter(chunks: list[tuple[int, bytes]], chance: Random) -> None:
    assert image_of(chance.sample(chunks, len(chunks))) == image_of(chunks)


@given(CHUNKS, st.integers(0, 100), st.integers(0, 40))
def test_reading_gives_the_bytes_and_fills_the_rest(chunks: list[tuple[int, bytes]], address: int, length: int) -> None:
    if image := image_of(chunks):
        cells = dict(bytes_by_address(chunks))
        expected = bytes(cells.get(place, 0xA5) for place in range(address, address + length))
        assert image.read(address, length, fill=0xA5) == expected
        assert image.covers(address, length) == all(place in cells for place in range(address, address + length))


@given(CHUNKS, PARTS, st.integers(0, 0x20_0000))
def test_sectors_are_those_that_hold_a_byte(chunks: list[tuple[int, bytes]], mcu: Microcontroller, shift: int) -> None:
    image = image_of([(0x0800_0000 + (address + shift) % 0x20_0010, data) for address, data in chunks])
    if image is None:
        return
    places = [place for place, _ in bytes_by_address(list(image.segments))]
    expected = {one for one in mcu.sectors for place in places if one.address <= place < one.end}
    inside = all(any(one.address <= place < one.end for one in mcu.sectors) for place in places)
    try:
        found = sectors_for(image, mcu)
    except ImageError:
        assert not inside
    else:
        assert inside
        assert set(found) == expected
        assert list(found) == sorted(found, key=lambda sector: sector.address)


@given(st.binary(min_size=1, max_size=300), PARTS)
def test_any_bytes_have_a_vector_table_or_words_why_not(data: bytes, mcu: Microcontroller) -> None:
    table = read_vector_table(Image.of([(0x0800_0000, data)]), mcu)
    assert table.is_sound or all(table.problems)


TEXTS = st.text(st.characters(min_codepoint=0x20, max_codepoint=0x7E), min_size=1)


@given(
    family=TEXTS.filter(lambda text: len(text) <= 16),
    release=TEXTS.filter(lambda text: len(text) <= 16),
    board=TEXTS.filter(lambda text: len(text) <= 32),
    build=st.text(st.characters(min_codepoint=0x20, max_codepoint=0x7E), max_size=40),
    offset=st.integers(0, 20).map(lambda word: 4 * word),
    tail=st.binary(max_size=40),
)
def test_a_sealed_descriptor_is_found_as_it_was_made(
    family: str, release: str, board: str, build: str, offset: int, tail: bytes
) -> None:
    start = 0x0800_0000
    draft = Descriptor(
        start + offset, family, release, board, "STM32F405xG", start, offset + 160 + len(tail), build=build
    )
    body = bytes(offset) + pack_descriptor(draft) + tail
    descriptor = sealed(Image.of([(start, body)]), draft)
    image = Image.of([(start, bytes(offset) + pack_descriptor(descriptor) + tail)])
    assert find_descriptor(image) == descriptor


@given(st.binary(min_size=1, max_size=600))
def test_any_bytes_have_a_descriptor_or_none(data: bytes) -> None:
    find_descriptor(Image.of([(0, b"RWIMGDSC" + data)]))
