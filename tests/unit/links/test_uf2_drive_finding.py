"""Finding drives of UF2 bootloaders, and what their info file says."""

from __future__ import annotations

from pathlib import Path

import pytest

from rotorwright.links.uf2_drive.finding import DriveInfo, drive_at, drive_places, find_drives, parse_info

# The example of the UF2 specification, section "Files exposed by bootloaders".
PUBLISHED = "UF2 Bootloader v1.1.3 SFA\r\nModel: Arduino Zero\r\nBoard-ID: SAMD21G18A-Zero-v0\r\n"


def test_the_published_example_is_read() -> None:
    info = parse_info(PUBLISHED)
    assert (info.bootloader, info.bootloader_version) == ("UF2 Bootloader v1.1.3 SFA", "1.1.3")
    assert (info.model, info.board_id) == ("Arduino Zero", "SAMD21G18A-Zero-v0")
    assert (info.others, info.family_id) == ({}, None)


def test_lines_that_the_specification_does_not_name_are_kept() -> None:
    info = parse_info("UF2 Bootloader v2\nboard-id: X\nDate: Nov 25: noon\nFamily-ID: 0x57755A57\n")
    assert info.others == {"Date": "Nov 25: noon", "Family-ID": "0x57755A57"}
    assert (info.board_id, info.family_id) == ("X", 0x57755A57)


@pytest.mark.parametrize(
    "text", ["", "\0\0\0", "\n\n", ":", "Family: no number", "Family:", "Family: -1", "Family: 1FFFFFFFF", "Board-ID:"]
)
def test_an_info_file_that_says_little_gives_little(text: str) -> None:
    info = parse_info(text)
    assert (info.bootloader, info.bootloader_version, info.board_id, info.family_id) == ("", "", "", None)
    assert parse_info("") == DriveInfo()


@pytest.mark.parametrize("name", ["INFO_UF2.TXT", "info_uf2.txt"])
def test_a_drive_is_known_by_its_info_file_in_upper_or_lower_case(tmp_path: Path, name: str) -> None:
    assert drive_at(tmp_path) is None
    (tmp_path / name).write_bytes(PUBLISHED.encode() + b"\0" * 10_000 + b"\nLate: never read\n")
    drive = drive_at(tmp_path)
    assert drive is not None
    assert drive.info == parse_info(PUBLISHED)
    assert find_drives([tmp_path, tmp_path / "none"]) == (drive,)


def test_a_drive_whose_device_is_gone_is_not_there_even_if_it_is_still_listed(tmp_path: Path) -> None:
    (tmp_path / "INFO_UF2.TXT").write_text(PUBLISHED)
    device = tmp_path / "sdz"
    device.write_text("")
    assert drive_at(tmp_path, device=str(device)) is not None
    device.unlink()
    assert drive_at(tmp_path, device=str(device)) is None


def test_on_linux_the_fat_drives_are_in_the_list_of_mounts(tmp_path: Path) -> None:
    mounts = tmp_path / "mounts"
    mounts.write_text(
        "/dev/sda1 / ext4 rw 0 0\n/dev/sdb /media/me/NEW\\040BOARD vfat rw 0 0\nbroken\nportal /run/p fuse rw 0 0\n"
    )
    assert drive_places(mounts=mounts, system="linux") == [(Path("/media/me/NEW BOARD"), "/dev/sdb")]
    assert drive_places(mounts=tmp_path / "none", system="linux") == []


def test_on_macos_every_volume_may_be_one(tmp_path: Path) -> None:
    (tmp_path / "BOARD").mkdir()
    assert drive_places(volumes=tmp_path, system="darwin") == [(tmp_path / "BOARD", "")]
    assert drive_places(volumes=tmp_path / "none", system="darwin") == []
