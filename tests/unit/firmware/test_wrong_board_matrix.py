"""Every demo image and every compiled image against every microcontroller of the table: no wrong one ever fits.

The images that were compiled come from outside (tests/outside/data/images/README.md); they carry no descriptor.
`pytest -s` prints the table; the same stands in tests/golden/wrong_board_matrix.txt.
"""

from __future__ import annotations

import sys
from functools import cache
from itertools import product
from pathlib import Path

import pytest

from rotorwright.firmware.board import Board
from rotorwright.firmware.boot_probe import probe_boot
from rotorwright.firmware.descriptor import MAGIC, find_descriptor
from rotorwright.firmware.files import read_image_file
from rotorwright.firmware.fit import FitVerdict, judge_fit
from rotorwright.firmware.image import Image
from rotorwright.firmware.mcu import Microcontroller, microcontroller, microcontrollers
from rotorwright.firmware.uf2 import write_uf2
from rotorwright.twin.thornbill.images import build_image

TESTS = Path(__file__).parents[2]
GOLDEN = TESTS / "golden" / "wrong_board_matrix.txt"
COMPILED = {
    "f103": "STM32F103xB",
    "f405": "STM32F405xG",
    "f405.gcc": "STM32F405xG",
    "f745": "STM32F745xG",
    "g474": "STM32G474xE",
    "h743": "STM32H743xI",
}
DEMO = {
    f"{release} {board}": (release, board, part)
    for release in ("5.2", "6.0", "6.1")
    for board, part in (("C405", "STM32F405xG"), ("H7", "STM32H743xI"))
}
RIGHT = {name: part for name, (_, _, part) in DEMO.items()} | COMPILED
SIGNS = {FitVerdict.FITS: "F", FitVerdict.CANNOT_BE_SURE: "?", FitVerdict.DOES_NOT_FIT: "-"}
PARTS = pytest.mark.parametrize("mcu", microcontrollers(), ids=lambda mcu: mcu.name)
WAYS = tuple(product((True, False), (False, True)))  # with descriptor or without, without boot probe or with

HEAD = """\
Each image against each microcontroller: F fits, ? cannot be sure, - does not fit, . there is no such image.
Four signs for each: with descriptor, the same with boot probe, without descriptor, the same with boot probe.
The board is called as the image says, and its bootloader answers as the part does: only what the image is speaks.

"""


@cache
def image(name: str, *, with_descriptor: bool) -> Image | None:
    if name in DEMO:
        release, board, _ = DEMO[name]
        whole = build_image(release, board)
        return whole if with_descriptor else without_descriptor(whole)
    if with_descriptor:
        return None
    data = (TESTS / "outside" / "data" / "images" / f"{name}.bin").read_bytes()
    return Image.of([(0x0800_0000, data)])


def without_descriptor(whole: Image) -> Image:
    (segment,) = whole.segments
    return Image.of([(segment.address, segment.data.replace(MAGIC, bytes(len(MAGIC))))])


def verdict(asked: Image, board: Board, mcu: Microcontroller, *, with_probe: bool) -> FitVerdict:
    boot = probe_boot(asked) if with_probe else None
    return judge_fit(
        asked, board=board, mcu=mcu, chip_id=mcu.loader.boot_id, reported_board=board.name, boot=boot
    ).verdict


def board_of(name: str, mcu: Microcontroller) -> Board:
    """Return the hardest wrong board: one that has the very name that the image says it is for."""
    whole = image(name, with_descriptor=True)
    descriptor = find_descriptor(whole) if whole else None
    return Board(descriptor.board if descriptor else "Tamarin", mcu.name)


def verdicts(name: str, mcu: Microcontroller) -> list[FitVerdict | None]:
    return _verdicts(name, mcu.name)


@cache
def _verdicts(name: str, part: str) -> list[FitVerdict | None]:
    mcu = microcontroller(part)
    found: list[FitVerdict | None] = []
    for with_descriptor, with_probe in WAYS:
        asked = image(name, with_descriptor=with_descriptor)
        found.append(verdict(asked, board_of(name, mcu), mcu, with_probe=with_probe) if asked else None)
    return found


def table() -> str:
    lines = ["".ljust(12) + "".join(name.ljust(9) for name in RIGHT)]
    for mcu in microcontrollers():
        cells = ["".join(SIGNS[one] if one else "." for one in verdicts(name, mcu)) for name in RIGHT]
        lines.append(mcu.name.ljust(12) + "".join(cell.ljust(9) for cell in cells))
    return HEAD + "\n".join(line.rstrip() for line in lines) + "\n"


@PARTS
def test_no_image_fits_a_microcontroller_that_it_was_not_built_for(mcu: Microcontroller) -> None:
    for name, right in RIGHT.items():
        if right != mcu.name:
            assert FitVerdict.FITS not in verdicts(name, mcu), name


@PARTS
def test_no_image_fits_without_something_that_names_the_board(mcu: Microcontroller) -> None:
    for name in RIGHT:
        assert FitVerdict.FITS not in verdicts(name, mcu)[2:], name


@PARTS
def test_no_image_fits_another_board_with_its_own_microcontroller(mcu: Microcontroller) -> None:
    for name, with_probe in product(DEMO, (False, True)):
        asked = image(name, with_descriptor=True)
        assert asked is not None
        for board in (Board("Tamarin", mcu.name), Board("Tamarin", mcu.name, is_only_reported=True)):
            assert verdict(asked, board, mcu, with_probe=with_probe) is not FitVerdict.FITS


@PARTS
def test_the_boot_probe_only_ever_speaks_against(mcu: Microcontroller) -> None:
    for name in RIGHT:
        plain, probed, bare, bare_probed = verdicts(name, mcu)
        assert probed in {plain, FitVerdict.DOES_NOT_FIT}
        assert bare_probed in {bare, FitVerdict.DOES_NOT_FIT}


@pytest.mark.parametrize("name", RIGHT)
def test_the_right_microcontroller_is_never_refused(name: str) -> None:
    found = verdicts(name, microcontroller(RIGHT[name]))
    assert FitVerdict.DOES_NOT_FIT not in found
    assert set(found[:2]) == ({FitVerdict.FITS} if name in DEMO else {None})


@PARTS
def test_a_uf2_form_fits_its_own_microcontroller_only_and_never_another_family(mcu: Microcontroller) -> None:
    for name, right in RIGHT.items():
        asked = image(name, with_descriptor=name in DEMO)
        assert asked is not None
        own: set[int | None] = {family.id for family in microcontroller(right).uf2_families}
        for family in own or {None}:
            verdict_of_form = uf2_verdict(asked, family, board_of(name, mcu), mcu)
            if family is not None and family not in {one.id for one in mcu.uf2_families} and mcu.uf2_families:
                assert verdict_of_form is FitVerdict.DOES_NOT_FIT, name
            assert (verdict_of_form is FitVerdict.FITS) <= (right == mcu.name and name in DEMO), name
            if right == mcu.name:
                assert verdict_of_form is not FitVerdict.DOES_NOT_FIT, name


def uf2_verdict(asked: Image, family: int | None, board: Board, mcu: Microcontroller) -> FitVerdict:
    found = read_image_file(write_uf2(asked, family=family, whole_pages=False).data, name="it.uf2")
    assert found.uf2_families == (frozenset() if family is None else {family})
    return judge_fit(
        found.image,
        board=board,
        mcu=mcu,
        chip_id=mcu.loader.boot_id,
        reported_board=board.name,
        uf2_families=found.uf2_families,
    ).verdict


@pytest.mark.parametrize("name", RIGHT)
def test_the_probe_refuses_every_part_of_another_group(name: str) -> None:
    own = microcontroller(RIGHT[name]).clock_page
    for mcu in microcontrollers():
        if mcu.clock_page not in {own, None}:
            assert verdicts(name, mcu)[3] is FitVerdict.DOES_NOT_FIT


def test_the_table_is_the_one_that_was_looked_at() -> None:
    found = table()
    sys.stdout.write(found)
    assert found == GOLDEN.read_text(encoding="utf-8")
