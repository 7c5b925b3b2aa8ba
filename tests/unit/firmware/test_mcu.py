from __future__ import annotations

import pytest

from rotorwright.firmware.image import Image
from rotorwright.firmware.mcu import (
    ImageOutsideFlashError,
    Microcontroller,
    MicrocontrollerUnknownError,
    PartHasNoSuchFactError,
    microcontroller,
    microcontrollers,
    microcontrollers_by_boot_id,
    microcontrollers_by_uf2_family,
    sectors_for,
)

F405 = microcontroller("STM32F405xG")
RP2040 = microcontroller("RP2040")


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
def test_every_sector_size_has_its_times_and_each_time_its_source(mcu: Microcontroller) -> None:
    layouts = (mcu.sectors, *(other.sectors for other in mcu.other_layouts))
    sizes = {sector.size_bytes for layout in layouts for sector in layout}
    assert set(mcu.erase_typical_s) == set(mcu.erase_max_s) == set(mcu.times.erase_source) == sizes
    assert all(0 < mcu.erase_typical_s[size] <= mcu.erase_max_s[size] for size in sizes)
    assert 0 < mcu.program_word_typical_s <= mcu.program_word_max_s
    for source in (*mcu.times.erase_source.values(), mcu.times.program_source):
        assert source.startswith(("from memory, unconfirmed", "not known for this part"))


@pytest.mark.parametrize("mcu", microcontrollers(), ids=lambda mcu: mcu.name)
def test_a_time_from_memory_never_makes_the_wait_shorter(mcu: Microcontroller) -> None:
    assert all(limit >= 0.5 for limit in mcu.erase_max_s.values())  # the longest of the F405 for its smallest sector
    assert mcu.program_word_max_s >= 100e-6


@pytest.mark.parametrize("mcu", microcontrollers(), ids=lambda mcu: mcu.name)
def test_every_part_says_by_which_wires_its_loader_takes_an_image(mcu: Microcontroller) -> None:
    assert mcu.loader.wires
    assert set(mcu.loader.wires) <= {"uart", "usb-dfu", "uf2-drive"}
    assert (mcu.loader.boot_id is not None) == ("uart" in mcu.loader.wires)
    assert mcu.has_external_flash == ("uf2-drive" in mcu.loader.wires)


def test_what_a_part_does_not_have_is_told_and_not_made_up() -> None:
    for fact in ("boot_id", "unique_id_address", "flash_size_address"):
        with pytest.raises(PartHasNoSuchFactError, match="The RP2040 has no"):
            getattr(RP2040, fact)


def test_parts_are_found_by_the_family_of_a_uf2_file() -> None:
    assert {mcu.name for mcu in microcontrollers_by_uf2_family(0x4C71_240A)} == {
        "STM32G431xB",
        "STM32G473xE",
        "STM32G474xE",
        "STM32G491xE",
    }
    assert microcontrollers_by_uf2_family(0xE48B_FF56) == (RP2040,)
    assert microcontrollers_by_uf2_family(1) == ()


def test_a_part_without_flash_inside_has_the_sectors_that_it_can_reach() -> None:
    assert (RP2040.flash_start, RP2040.flash_end) == (0x1000_0000, 0x1100_0000)
    assert {sector.size_bytes for sector in RP2040.sectors} == {4096}
    assert RP2040.vectors_address == 0x1000_0100


def test_banks_and_other_layouts_of_the_same_flash() -> None:
    assert microcontroller("STM32F427xI").banks == (1, 2)
    f765 = microcontroller("STM32F765xI")
    assert f765.banks == (1,)
    (dual,) = f765.other_layouts
    assert {sector.bank for sector in dual.sectors} == {1, 2}
    assert sum(sector.size_bytes for sector in dual.sectors) == f765.flash_size_bytes


def test_an_assumed_time_is_never_shorter_than_the_longest_known_one_of_that_size() -> None:
    assert dict(microcontroller("STM32F745xG").erase_typical_s) == {32768: 1.1, 131072: 2.0, 262144: 4.0}


def test_parts_are_found_by_what_their_bootloader_answers() -> None:
    assert microcontrollers_by_boot_id(0x431) == (microcontroller("STM32F411xE"),)
    assert {mcu.name for mcu in microcontrollers_by_boot_id(0x413)} == {"STM32F405xG", "STM32F407xG"}
    assert {mcu.name for mcu in microcontrollers_by_boot_id(0x450)} == {"STM32H743xG", "STM32H743xI", "STM32H750xB"}
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
