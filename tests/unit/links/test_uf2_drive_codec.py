"""Which families the blocks of a UF2 file are for."""

from __future__ import annotations

import struct

from rotorwright.firmware.image import Image
from rotorwright.firmware.uf2 import write_uf2
from rotorwright.links.uf2_drive.codec import families_in
from rotorwright.links.uf2_drive.spec import ABSOLUTE_FAMILY, BlockFlag

IMAGE = Image.of([(0x0800_0000, bytes(1000))])


def test_the_family_of_a_file_is_that_of_its_blocks() -> None:
    assert families_in(write_uf2(IMAGE, family=0x57755A57).data) == {0x57755A57}
    assert families_in(write_uf2(IMAGE, family=None).data) == frozenset()
    assert families_in(b"") == frozenset()


def test_files_put_one_behind_the_other_have_the_families_of_both() -> None:
    both = write_uf2(IMAGE, family=1).data + write_uf2(IMAGE, family=2).data
    assert families_in(both) == {1, 2}


def test_a_block_that_is_not_for_the_flash_has_no_say() -> None:
    data = bytearray(write_uf2(IMAGE, family=1).data)
    struct.pack_into("<I", data, 8, BlockFlag.NOT_MAIN_FLASH | BlockFlag.FAMILY_PRESENT)
    struct.pack_into("<I", data, 28, 2)
    assert families_in(bytes(data)) == {1}


def test_a_filler_for_an_absolute_address_does_not_count_beside_a_family() -> None:
    filler = write_uf2(IMAGE, family=ABSOLUTE_FAMILY).data
    assert families_in(filler + write_uf2(IMAGE, family=1).data) == {1}
    assert families_in(filler) == {ABSOLUTE_FAMILY}
