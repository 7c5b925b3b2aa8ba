"""The state folder keeps everything that a real aircraft keeps without power."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from tests.unit.twin.bench import PAPERS, PART, START

from rotorwright.firmware.image import Image
from rotorwright.twin.aircraft import VirtualAircraft
from rotorwright.twin.assembly import aircraft_of_folder
from rotorwright.twin.errors import TwinStateError
from rotorwright.twin.flash import ProgramBytes
from rotorwright.twin.state import Papers, StateFolder

if TYPE_CHECKING:
    from contextlib import AbstractContextManager
    from pathlib import Path


def folder_in(tmp_path: Path) -> StateFolder:
    folder = StateFolder(tmp_path / "twin")
    folder.make(PAPERS)
    return folder


def lives(folder: StateFolder) -> AbstractContextManager[VirtualAircraft]:
    return aircraft_of_folder(folder, lambda _flash, _hardware: None)


def test_papers_come_back_as_written(tmp_path: Path) -> None:
    folder = folder_in(tmp_path)
    assert folder.is_made
    assert folder.read_papers() == PAPERS
    protected = Papers(PAPERS.unique_id, "H7", PART.name, read_out_protected=True, write_protected_sectors=(1, 2))
    folder.write_papers(protected)
    assert folder.read_papers() == protected


def test_what_is_programmed_is_in_the_file_at_once(tmp_path: Path) -> None:
    folder = folder_in(tmp_path)
    with lives(folder) as aircraft:
        aircraft.flash.perform(ProgramBytes(START + 16, b"abcd"))
        aircraft.settings.write(3, b"settings")
        assert folder.flash_file.read_bytes()[14:22] == b"\xff\xffabcd\xff\xff"
        assert folder.settings_file.read_bytes()[2:12] == b"\xffsettings\xff"
    with lives(folder) as aircraft:
        assert aircraft.flash.read(START + 16, 4) == b"abcd"


def test_option_bytes_are_kept(tmp_path: Path) -> None:
    folder = folder_in(tmp_path)
    with lives(folder) as aircraft:
        aircraft.power_off(0.0)
        aircraft.power_on(0.0, button=True)
        for moment, message in ((0.2, b"\x7f"), (0.4, b"\x82\x7d")):
            aircraft.receive(message, moment)
            aircraft.transmit(moment + 0.1)
        aircraft.transmit(1.0)
    assert folder.read_papers().read_out_protected


def test_an_image_is_put_into_an_otherwise_erased_flash(tmp_path: Path) -> None:
    folder = folder_in(tmp_path)
    folder.write_image(Image.of([(START + 4, b"abcd")]), PART)
    content = folder.flash_file.read_bytes()
    assert content[:10] == b"\xff\xff\xff\xffabcd\xff\xff"
    assert len(content) == PART.flash_size_bytes


def test_an_image_outside_the_flash_is_refused(tmp_path: Path) -> None:
    folder = folder_in(tmp_path)
    with pytest.raises(TwinStateError):
        folder.write_image(Image.of([(PART.flash_end - 2, b"abcd")]), PART)
    assert not folder.flash_file.exists()


@pytest.mark.parametrize("text", ["", "{}", "[]", '{"format": "rotorwright-twin", "version": 2}', '{"unique_id": 1}'])
def test_papers_that_cannot_be_understood_are_refused_and_stay(tmp_path: Path, text: str) -> None:
    folder = folder_in(tmp_path)
    folder.papers_file.write_text(text)
    with pytest.raises(TwinStateError) as caught:
        folder.read_papers()
    assert str(folder.path) in caught.value.what
    assert folder.papers_file.read_text() == text


def test_a_flash_file_of_another_size_is_refused_and_stays(tmp_path: Path) -> None:
    folder = folder_in(tmp_path)
    folder.flash_file.write_bytes(b"short")
    with pytest.raises(TwinStateError, match="cannot be used"), lives(folder):
        pass
    assert folder.flash_file.read_bytes() == b"short"


@pytest.mark.parametrize("unique_id", ["", "00", "zz" * 12, "AB" * 12])
def test_a_unique_id_is_24_lower_case_digits(unique_id: str) -> None:
    with pytest.raises(ValueError, match="hex"):
        Papers(unique_id, "C405", PART.name)
