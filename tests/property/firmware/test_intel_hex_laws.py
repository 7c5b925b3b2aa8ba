from __future__ import annotations

from random import Random

from hypothesis import given, settings
from hypothesis import strategies as st

from rotorwright.errors import ImageError
from rotorwright.firmware.image import Image
from rotorwright.firmware.intel_hex import read_intel_hex, write_intel_hex


@st.composite
def images(draw: st.DrawFn) -> Image:
    address = draw(st.sampled_from([0, 0xFFF0, 0x0800_0000, 0xFFFE_FFF0]))
    chunks = []
    for _ in range(draw(st.integers(1, 6))):
        address += draw(st.integers(0, 70_000))
        data = draw(st.binary(min_size=1, max_size=80))
        if address + len(data) > 1 << 32:
            break
        chunks.append((address, data))
        address += len(data)
    entry = draw(st.none() | st.integers(0, (1 << 32) - 1))
    return Image.of(chunks or [(0, b"\0")], entry=entry)


def record(kind: int, address: int, data: bytes) -> bytes:
    raw = bytes([len(data)]) + address.to_bytes(2) + bytes([kind]) + data
    return b":" + (raw + bytes([-sum(raw) & 0xFF])).hex().encode() + b"\n"


RECORDS = st.builds(record, st.integers(0, 7), st.integers(0, 0xFFFF), st.binary(max_size=20))
ADDRESSED = st.builds(record, st.sampled_from([0, 0, 0, 2, 4]), st.integers(0, 0x40), st.binary(min_size=2, max_size=2))
LINES = st.lists(st.one_of(RECORDS, ADDRESSED, st.binary(max_size=30), st.just(b":00000001FF\n")), max_size=12)


@given(images(), st.integers(1, 255))
def test_what_is_written_reads_back_the_same(image: Image, record_bytes: int) -> None:
    again = read_intel_hex(write_intel_hex(image, record_bytes=record_bytes), name="x.hex")
    assert (again, again.entry) == (image, image.entry)


@given(st.binary(min_size=1, max_size=400), st.integers(0, 0xF000), st.randoms(use_true_random=False))
def test_data_records_of_one_base_may_be_shuffled(data: bytes, address: int, chance: Random) -> None:
    image = Image.of([(address, data)])
    *records, end = write_intel_hex(image).splitlines(keepends=True)
    chance.shuffle(records)
    assert read_intel_hex(b"".join([*records, end]), name="x.hex") == image


@given(st.binary(max_size=400))
def test_any_bytes_give_an_image_or_an_error_of_ours(data: bytes) -> None:
    read_or_refuse(data)


@settings(max_examples=300)
@given(LINES)
def test_any_mixture_of_records_and_rubbish_gives_an_image_or_an_error_of_ours(lines: list[bytes]) -> None:
    read_or_refuse(b"".join(lines))


@given(st.lists(st.tuples(st.integers(0, 200), st.binary(min_size=1, max_size=9)), min_size=1, max_size=8))
def test_records_are_refused_exactly_when_two_give_the_same_address(chunks: list[tuple[int, bytes]]) -> None:
    text = b"".join(record(0, address, data) for address, data in chunks) + b":00000001FF\n"
    places = [address + i for address, data in chunks for i in range(len(data))]
    image = read_or_refuse(text)
    assert (image is not None) == (len(set(places)) == len(places))


def read_or_refuse(data: bytes) -> Image | None:
    try:
        image = read_intel_hex(data, name="x.hex")
    except ImageError:
        return None
    again = read_intel_hex(write_intel_hex(image), name="again.hex")
    assert (again, again.entry) == (image, image.entry)
    return image
