from __future__ import annotations

from dataclasses import replace

import pytest

from rotorwright.firmware.board import Board
from rotorwright.firmware.boot_probe import NOT_INSTALLED, BootOutcome, BootProbe
from rotorwright.firmware.descriptor import MAGIC, find_descriptor
from rotorwright.firmware.fit import EvidenceVerdict, Fit, FitTest, FitVerdict, judge_fit
from rotorwright.firmware.image import Image
from rotorwright.firmware.mcu import microcontroller
from rotorwright.twin.thornbill.images import build_image

F405 = microcontroller("STM32F405xG")
H743 = microcontroller("STM32H743xI")
C405 = Board("Corvane C405", "STM32F405xG", aliases={"5.2": "Corvane One"}, reserved_sectors=(11,))
H7 = Board("Corvane H7", "STM32H743xI")
START = 0x0800_0000
STM32F4, STM32H7, NOBODYS = 0x5775_5A57, 0x6DB6_6082, 0x1234_5678  # microsoft/uf2 utils/uf2families.json 90e9741
NEW = build_image("6.0", "C405", size_bytes=4096)
OLD = build_image("5.2", "C405", size_bytes=4096)
FOR_H7 = build_image("6.0", "H7", size_bytes=4096)
STARTED = BootProbe(BootOutcome.CLOCK_SEEN, "It touches the clock controller.", clock_page=0x4002_3000)
RP2040 = microcontroller("RP2040")
EXTERNAL = Board("Tamarin Duo", "RP2040", flash_size_bytes=8192)


def judge(image: Image, board: Board = C405, **asked: object) -> Fit:
    facts = {"mcu": F405, "chip_id": 0x413, "reported_board": "Corvane One", "release": "6.0", "family": "Thornbill"}
    facts |= {"flash_kib": 1024, "boot": STARTED}
    return judge_fit(image, board=board, **(facts | asked))  # type: ignore[arg-type]


def verdict_of(fit: Fit, test: FitTest) -> EvidenceVerdict | None:
    return next((one.verdict for one in fit.evidence if one.test is test), None)


def changed(image: Image, offset: int, data: bytes) -> Image:
    body = bytearray(image.segments[0].data)
    body[offset : offset + len(data)] = data
    return Image.of([(image.start, bytes(body))])


def without_descriptor(image: Image) -> Image:
    return changed(image, image.segments[0].data.index(MAGIC), bytes(8))


def test_the_right_image_fits_and_every_test_says_why() -> None:
    fit = judge(NEW, replace(C405, generic_sha256={"6.0": NEW.sha256}), uf2_families=frozenset({STM32F4}))
    assert fit.verdict is FitVerdict.FITS
    assert [one.test for one in fit.evidence] == list(FitTest)
    assert {one.verdict for one in fit.evidence} == {EvidenceVerdict.PASSED}
    assert all(one.words.endswith(".") for one in fit.evidence)


def test_what_was_not_asked_is_unsure_but_an_image_that_names_the_board_still_fits() -> None:
    fit = judge(NEW, chip_id=None, reported_board=None, release=None, family=None, boot=None, flash_kib=None)
    assert fit.verdict is FitVerdict.FITS
    unsure = {one.test for one in fit.evidence if one.verdict is EvidenceVerdict.UNSURE}
    expected = {"chip", "board-name", "descriptor-family", "descriptor-release", "digest", "boot-probe"}
    assert unsure == expected


def test_the_old_release_fits_under_the_old_name_of_the_board() -> None:
    assert judge(OLD, release="5.2").verdict is FitVerdict.FITS
    assert judge(OLD, release="5.2.0").verdict is FitVerdict.FITS


def test_an_image_for_another_microcontroller_does_not_fit_for_several_reasons() -> None:
    fit = judge(FOR_H7)
    assert fit.verdict is FitVerdict.DOES_NOT_FIT
    failed = {one.test for one in fit.failed}
    assert failed == {FitTest.RAM, FitTest.VECTOR_TABLE, FitTest.DESCRIPTOR_BOARD, FitTest.DESCRIPTOR_MICROCONTROLLER}


def test_an_image_for_another_board_with_the_same_microcontroller_does_not_fit() -> None:
    other = Board("Corvane C405 Mini", "STM32F405xG")
    fit = judge(NEW, other, reported_board="Corvane C405 Mini")
    assert fit.verdict is FitVerdict.DOES_NOT_FIT
    assert [one.test for one in fit.failed] == [FitTest.DESCRIPTOR_BOARD]


@pytest.mark.parametrize(
    ("asked", "test", "words"),
    [
        ({"chip_id": 0x450}, FitTest.CHIP, "STM32H743xG or STM32H743xI or STM32H750xB"),
        ({"chip_id": 0x999}, FitTest.CHIP, "not known here"),
        ({"mcu": H743, "chip_id": 0x450}, FitTest.CHIP, "the facts used are of an STM32H743xI"),
        ({"reported_board": "Corvane C406"}, FitTest.BOARD_NAME, "exactly"),
        ({"reported_board": ""}, FitTest.BOARD_NAME, "exactly"),
        ({"release": "5.2"}, FitTest.DESCRIPTOR_RELEASE, "5.2 is needed"),
        ({"release": "6.0.1"}, FitTest.DESCRIPTOR_RELEASE, "6.0.1 is needed"),
        ({"family": "Thornbird"}, FitTest.DESCRIPTOR_FAMILY, "Thornbird is needed"),
    ],
    ids=str,
)
def test_one_wrong_answer_is_enough_to_refuse(asked: dict[str, object], test: FitTest, words: str) -> None:
    fit = judge(NEW, C405, **asked)
    assert fit.verdict is FitVerdict.DOES_NOT_FIT
    assert [one for one in fit.failed if one.test is test and words in one.words]


def test_a_damaged_image_does_not_fit() -> None:
    fit = judge(changed(NEW, 3000, b"\x00\x01\x02"))
    assert fit.verdict is FitVerdict.DOES_NOT_FIT
    assert [one.test for one in fit.failed] == [FitTest.DESCRIPTOR_CRC]


def test_an_image_in_the_makers_sector_does_not_fit() -> None:
    fit = judge(Image.of([*NEW.segments, (0x080E_0000, b"\x01")]))
    assert fit.verdict is FitVerdict.DOES_NOT_FIT
    assert [one.test for one in fit.failed] == [FitTest.RESERVED_SECTORS]
    assert verdict_of(fit, FitTest.DESCRIPTOR_CRC) is EvidenceVerdict.UNSURE


def test_an_image_that_leaves_the_flash_does_not_fit() -> None:
    fit = judge(Image.of([*NEW.segments, (0x2000_0000, b"\x01")]))
    assert [one.test for one in fit.failed] == [FitTest.EXTENTS]
    assert verdict_of(fit, FitTest.RESERVED_SECTORS) is EvidenceVerdict.UNSURE


def test_a_sound_image_that_names_no_board_cannot_be_judged_for_sure() -> None:
    fit = judge(without_descriptor(NEW))
    assert fit.verdict is FitVerdict.CANNOT_BE_SURE
    assert fit.failed == ()


def test_an_image_without_descriptor_fits_when_the_book_lists_it() -> None:
    bare = without_descriptor(NEW)
    assert judge(bare, replace(C405, image_sha256={"6.0": bare.sha256})).verdict is FitVerdict.FITS
    assert judge(bare, replace(C405, image_sha256={"6.0.0": bare.sha256})).verdict is FitVerdict.FITS


def test_a_listed_image_of_another_release_does_not_fit() -> None:
    bare = without_descriptor(NEW)
    fit = judge(bare, replace(C405, image_sha256={"6.0": bare.sha256}), release="5.2")
    assert [one.test for one in fit.failed] == [FitTest.DIGEST]


def test_a_descriptor_that_contradicts_the_book_does_not_fit() -> None:
    fit = judge(NEW, replace(C405, image_sha256={"5.2": NEW.sha256}), release=None)
    assert fit.verdict is FitVerdict.DOES_NOT_FIT
    assert [one.test for one in fit.failed] == [FitTest.DIGEST]


def test_another_build_than_the_listed_one_is_said_to_be_another() -> None:
    fit = judge(NEW, replace(C405, image_sha256={"6.0": "0" * 64}))
    digest = next(one for one in fit.evidence if one.test is FitTest.DIGEST)
    assert digest.verdict is EvidenceVerdict.UNSURE
    assert "another image" in digest.words


def test_two_descriptors_that_cannot_be_told_apart_do_not_fit() -> None:
    found = find_descriptor(NEW)
    assert found is not None
    offset = found.address - START
    twice = changed(NEW, 2048, NEW.segments[0].data[offset : offset + 160])
    fit = judge(twice)
    assert [one.test for one in fit.failed] == [FitTest.DESCRIPTOR]


def words_of(fit: Fit, test: FitTest) -> str:
    return next(one.words for one in fit.evidence if one.test is test)


def test_an_id_that_two_parts_share_says_so() -> None:
    fit = judge(NEW)
    assert verdict_of(fit, FitTest.CHIP) is EvidenceVerdict.PASSED
    assert "STM32F407xG too" in words_of(fit, FitTest.CHIP)


@pytest.mark.parametrize(
    ("flash_kib", "size_bytes", "verdict"),
    [
        (1024, 4096, EvidenceVerdict.PASSED),
        (512, 4096, EvidenceVerdict.UNSURE),
        (512, 600 * 1024, EvidenceVerdict.FAILED),
        (2048, 4096, EvidenceVerdict.UNSURE),
    ],
)
def test_the_flash_size_that_the_part_says_is_held_against_the_table_and_the_image(
    flash_kib: int, size_bytes: int, verdict: EvidenceVerdict
) -> None:
    fit = judge(build_image("6.0", "C405", size_bytes=size_bytes), flash_kib=flash_kib)
    assert verdict_of(fit, FitTest.FLASH_SIZE) is verdict


def test_a_flash_size_that_was_not_asked_gives_no_line() -> None:
    assert verdict_of(judge(NEW, flash_kib=None), FitTest.FLASH_SIZE) is None


def test_a_start_that_shows_another_group_is_enough_to_refuse() -> None:
    fit = judge(NEW, boot=replace(STARTED, clock_page=0x5802_4000))
    assert [one.test for one in fit.failed] == [FitTest.BOOT_PROBE]
    assert "the group H7; the STM32F405xG is of the group F2, F4 or F7" in words_of(fit, FitTest.BOOT_PROBE)


@pytest.mark.parametrize(
    "boot",
    [
        NOT_INSTALLED,
        replace(STARTED, outcome=BootOutcome.FAULT),
        replace(STARTED, outcome=BootOutcome.FAULT, clock_page=0x5802_4000),
        BootProbe(BootOutcome.NOTHING_SEEN, "Nothing seen."),
        BootProbe(BootOutcome.NOT_STARTED, "Not started."),
        replace(STARTED, speaks_for_f7=True),
    ],
    ids=lambda boot: f"{boot.outcome} {boot.speaks_for_f7}",
)
def test_a_start_that_shows_nothing_sure_leaves_the_probe_unsure_and_the_rest_as_it_is(boot: BootProbe) -> None:
    fit = judge(NEW, boot=boot)
    assert verdict_of(fit, FitTest.BOOT_PROBE) is EvidenceVerdict.UNSURE
    assert fit.verdict is FitVerdict.FITS


def test_the_probe_alone_never_makes_an_image_fit() -> None:
    fit = judge(without_descriptor(NEW))
    assert verdict_of(fit, FitTest.BOOT_PROBE) is EvidenceVerdict.PASSED
    assert "cannot tell these apart" in words_of(fit, FitTest.BOOT_PROBE)
    assert fit.verdict is FitVerdict.CANNOT_BE_SURE


def test_what_the_probe_says_of_a_part_that_it_does_not_know_is_unsure() -> None:
    fit = judge(NEW, EXTERNAL, mcu=RP2040, chip_id=None, reported_board=None)
    assert verdict_of(fit, FitTest.BOOT_PROBE) is EvidenceVerdict.UNSURE
    assert "knows nothing" in words_of(fit, FitTest.BOOT_PROBE)


def test_an_image_for_one_board_fits_though_the_generic_one_is_preferred_and_named() -> None:
    own = replace(C405, image_sha256={"6.0": NEW.sha256}, generic_sha256={"6.0": "cd" * 32, "5.2": "ef" * 32})
    fit = judge(NEW, own)
    assert fit.verdict is FitVerdict.FITS
    assert verdict_of(fit, FitTest.GENERIC_BUILD) is EvidenceVerdict.UNSURE
    assert "cdcdcdcdcdcdcdcd… for 6.0." in words_of(fit, FitTest.GENERIC_BUILD)
    assert verdict_of(judge(NEW), FitTest.GENERIC_BUILD) is None


def test_a_listed_generic_image_may_name_another_board_and_an_unlisted_one_may_not() -> None:
    other = Board("Tamarin 4", "STM32F405xG")
    asked = {"reported_board": "Tamarin 4"}
    assert judge(NEW, other, **asked).verdict is FitVerdict.DOES_NOT_FIT
    fit = judge(NEW, replace(other, generic_sha256={"6.0": NEW.sha256}), **asked)
    assert fit.verdict is FitVerdict.FITS
    assert "as a generic build for Tamarin 4" in words_of(fit, FitTest.DESCRIPTOR_BOARD)


def test_how_large_a_flash_chip_beside_the_part_is_comes_from_the_book_or_nobody_knows() -> None:
    image = Image.of([(0x1000_0000, bytes(8192))])
    asked = {"mcu": RP2040, "chip_id": None, "reported_board": None}
    assert verdict_of(judge(image, EXTERNAL, **asked), FitTest.EXTENTS) is EvidenceVerdict.PASSED
    unsaid = replace(EXTERNAL, flash_size_bytes=None)
    assert verdict_of(judge(image, unsaid, **asked), FitTest.EXTENTS) is EvidenceVerdict.UNSURE
    longer = Image.of([(0x1000_0000, bytes(8193))])
    assert verdict_of(judge(longer, EXTERNAL, **asked), FitTest.EXTENTS) is EvidenceVerdict.FAILED
    assert verdict_of(judge(NEW, unsaid, **asked), FitTest.EXTENTS) is EvidenceVerdict.FAILED


def test_what_is_known_from_memory_only_never_makes_an_image_fail() -> None:
    image = Image.of([(0x1000_0000, bytes(8192))])
    listed = replace(EXTERNAL, image_sha256={"6.0": image.sha256})
    fit = judge(image, listed, mcu=RP2040, chip_id=None, reported_board=None)
    for test in (FitTest.RAM, FitTest.VECTOR_TABLE):
        assert verdict_of(fit, test) is EvidenceVerdict.UNSURE
        assert "from memory only" in words_of(fit, test)
    assert fit.verdict is FitVerdict.FITS


def test_a_part_whose_loader_has_no_id_cannot_be_asked_and_an_answer_speaks_against_it() -> None:
    asked = {"mcu": RP2040, "reported_board": None}
    assert verdict_of(judge(NEW, EXTERNAL, chip_id=None, **asked), FitTest.CHIP) is EvidenceVerdict.UNSURE
    fit = judge(NEW, EXTERNAL, chip_id=0x413, **asked)
    assert verdict_of(fit, FitTest.CHIP) is EvidenceVerdict.FAILED
    assert "has no such id" in words_of(fit, FitTest.CHIP)


@pytest.mark.parametrize(
    ("family", "verdict"),
    [
        (STM32F4, EvidenceVerdict.PASSED),
        (STM32H7, EvidenceVerdict.FAILED),
        (NOBODYS, EvidenceVerdict.UNSURE),
    ],
)
def test_the_family_of_a_uf2_file_is_held_against_the_microcontroller(family: int, verdict: EvidenceVerdict) -> None:
    fit = judge(NEW, uf2_families=frozenset({family}))
    assert verdict_of(fit, FitTest.UF2_FAMILY) is verdict
    assert f"{family:#010x}" in next(one.words for one in fit.evidence if one.test is FitTest.UF2_FAMILY)
    assert (fit.verdict is FitVerdict.DOES_NOT_FIT) == (verdict is EvidenceVerdict.FAILED)


def test_a_file_that_says_no_uf2_family_gives_no_evidence_of_one() -> None:
    assert verdict_of(judge(NEW), FitTest.UF2_FAMILY) is None


def test_a_right_family_names_no_board() -> None:
    fit = judge(without_descriptor(NEW), uf2_families=frozenset({STM32F4}))
    assert fit.verdict is FitVerdict.CANNOT_BE_SURE
