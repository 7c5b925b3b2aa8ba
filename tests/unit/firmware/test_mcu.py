from __future__ import annotations

import pytest

from rotorwright.firmware.image import Image
from rotorwright.firmware.mcu import (
    ImageOutsideFlashError,
    Microcontroller,
    MicrocontrollerUnknownError,
    microcontroller,
    microcontrollers,
    microcontrollers_by_boot_id,
    sectors_for,
)

F405 = microcontroller("STM32F405xG")


def test_the_f405_has_twelve_sectors_in_three_sizes() -> None:
    assert [sector.size_bytes // 1024 for sector in F405.sectors] == [16] * 4 + [64] + [128] * 7
    assert [sector.number for sector in F405.sectors] == list(range(12))
    assert F405.sectors[11].address == 0x080E_0000
    assert (F405.flash_start, F405.flash_end) == (0x0800_0000, 0x0810_0000)


@pytest.mark.parametrize("mcu", microcontrollers(), ids=lambda mcu: mcu.name)
def test_sectors_are_in_order_and_do_not_overlap(mcu: Microcontroller) -> None:
    for before, after in zip(mcu.sectors, mcu.sectors[1:], strict=False):
        assert before.end <= after.address
        assert after.number == before.number + 1


@pytest.mark.parametrize("mcu", microcontrollers(), ids=lambda mcu: mcu.name)
def test_every_sector_size_has_a_time_and_times_not_known_are_called_assumed(mcu: Microcontroller) -> None:
    sizes = {sector.size_bytes for sector in mcu.sectors}
    assert set(mcu.erase_typical_s) == set(mcu.erase_max_s) == sizes
    assert all(0 < mcu.erase_typical_s[size] <= mcu.erase_max_s[size] for size in sizes)
    assert mcu.times_source.startswith("from memory" if mcu is F405 else "not known for this part")


def test_an_assumed_time_is_never_shorter_than_the_longest_known_one_of_that_size() -> None:
    assert dict(microcontroller("STM32F745xG").erase_typical_s) == {32768: 1.1, 131072: 2.0, 262144: 4.0}


def test_parts_are_found_by_what_their_bootloader_answers() -> None:
    assert microcontrollers_by_boot_id(0x413) == (F405,)
    assert {mcu.name for mcu in microcontrollers_by_boot_id(0x450)} == {"STM32H743xG", "STM32H743xI"}
    assert microcontrollers_by_boot_id(0x999) == ()


def test_a_name_that_only_looks_alike_is_refused() -> None:
    with pytest.raises(MicrocontrollerUnknownError, match="STM32F405xE"):
        microcontroller("STM32F405xE")


def test_only_sectors_with_a_byte_of_the_image_are_needed() -> None:
    image = Image.of([(0x0800_3FFF, b"ab"), (0x0802_0000, b"c")])
    assert [sector.number for sector in sectors_for(image, F405)] == [0, 1, 5]


def test_a_segment_over_many_sectors_needs_each_once() -> None:
    image = Image.of([(0x0800_0000, bytes(430 * 1024))])
    assert [sector.number for sector in sectors_for(image, F405)] == [0, 1, 2, 3, 4, 5, 6, 7]


@pytest.mark.parametrize("chunk", [(0x07FF_FFFF, b"ab"), (0x080F_FFFF, b"ab"), (0x2000_0000, b"a"), (0, b"a")])
def test_an_image_outside_the_flash_is_refused(chunk: tuple[int, bytes]) -> None:
    with pytest.raises(ImageOutsideFlashError) as caught:
        sectors_for(Image.of([chunk]), F405)
    assert caught.value.facts["microcontroller"] == "STM32F405xG"


def test_a_hole_between_two_banks_is_no_flash() -> None:
    with pytest.raises(ImageOutsideFlashError, match="0x08080000"):
        sectors_for(Image.of([(0x0807_FFFF, b"ab")]), microcontroller("STM32H743xG"))


def test_a_microcontroller_can_be_a_key() -> None:
    assert {F405: 1}[microcontroller("STM32F405xG")] == 1
