"""Our messages to the ROM bootloader against those of other hosts.

Source: tests/outside/data/an3155_frames.csv. Each row names its own source: frames that the host library stm32loader
0.7.1 sends, answers that the host stm32flash 0.7 accepts, and ST application note AN3155.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from rotorwright.links.rom_uart.codec import (
    address_message,
    command_message,
    data_message,
    extended_sectors_message,
    length_message,
    parse_chip_id,
    parse_info,
    version_text,
)
from rotorwright.links.rom_uart.spec import ACK, NACK, SYNC_PATTERN, SYNCHRONISE, Command

with (Path(__file__).parent / "data" / "an3155_frames.csv").open(encoding="utf-8", newline="") as _file:
    FRAMES = {(row["side"], row["meaning"]): bytes.fromhex(row["bytes_hex"]) for row in csv.DictReader(_file)}

OURS: dict[str, bytes] = {
    "get": command_message(Command.GET),
    "get_version": command_message(Command.GET_VERSION),
    "get_id": command_message(Command.GET_ID),
    "read256@08000000": command_message(Command.READ) + address_message(0x0800_0000) + length_message(256),
    "read2@1FFF7A22": command_message(Command.READ) + address_message(0x1FFF_7A22) + length_message(2),
    "write 00..0f@08000010": command_message(Command.WRITE)
    + address_message(0x0800_0010)
    + data_message(bytes(range(16))),
    "write 3 bytes@0800FFF0": command_message(Command.WRITE)
    + address_message(0x0800_FFF0)
    + data_message(b"\x01\x02\x03"),
    "go@08000000": command_message(Command.GO) + address_message(0x0800_0000),
    "ext erase 0,1,2": command_message(Command.EXTENDED_ERASE) + extended_sectors_message([0, 1, 2]),
    "ext erase 258": command_message(Command.EXTENDED_ERASE) + extended_sectors_message([0x0102]),
    "ext erase sector 0 only": command_message(Command.EXTENDED_ERASE) + extended_sectors_message([0]),
    "synchronise": SYNC_PATTERN[0],
    "readout unprotect": command_message(Command.READOUT_UNPROTECT),
    "readout protect": command_message(Command.READOUT_PROTECT),
    "write unprotect": command_message(Command.WRITE_UNPROTECT),
    "write protect": command_message(Command.WRITE_PROTECT),
}

NEVER_SENT = {"ext erase mass"}
"""Rows that have no counterpart here on purpose: only the sectors of the plan are ever erased."""


@pytest.mark.parametrize("meaning", OURS)
def test_our_message_is_the_one_that_other_hosts_send(meaning: str) -> None:
    assert OURS[meaning] == FRAMES["host", meaning]


def test_every_row_of_the_table_is_walked() -> None:
    assert {meaning for side, meaning in FRAMES if side == "host"} == set(OURS) | NEVER_SENT


def test_answers_are_read_as_other_hosts_read_them() -> None:
    assert FRAMES["device", "ack"][0] == ACK
    assert FRAMES["device", "nack"][0] == NACK
    assert FRAMES["host", "synchronise"][0] == SYNCHRONISE
    get = FRAMES["device", "get reply (v3.1, 11 commands)"]
    info = parse_info(get[2:-1])
    assert info.version == "3.1"
    assert len(info.commands) == get[1] == 11
    assert info.knows(Command.EXTENDED_ERASE)
    assert not info.knows(Command.ERASE)
    assert version_text(FRAMES["device", "get version reply v3.1"][1]) == "3.1"
    assert parse_chip_id(FRAMES["device", "get id reply PID 0x413"][2:-1]) == 0x413
