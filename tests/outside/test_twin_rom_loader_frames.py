"""The virtual ROM bootloader against frames seen in the traffic of two independent clients.

Source: tests/outside/data/an3155_frames.csv; each row names the client or document (stm32loader 0.7.1, stm32flash 0.7,
ST AN3155).
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from tests.unit.twin.bench import Rom

with (Path(__file__).parent / "data" / "an3155_frames.csv").open(encoding="utf-8", newline="") as _file:
    ROWS = [(row["side"], row["meaning"], bytes.fromhex(row["bytes_hex"])) for row in csv.DictReader(_file)]

QUESTIONS = {
    "get reply (v3.1, 11 commands)": "00ff",
    "get version reply v3.1": "01fe",
    "get id reply PID 0x413": "02fd",
}
# Where a host waits for an answer within its message: after the command, after an address, at the end.
STAGES = {0x11: (2, 5), 0x31: (2, 5), 0x21: (2,), 0x44: (2,)}


@pytest.mark.parametrize(("meaning", "message"), [row[1:] for row in ROWS if row[1] in QUESTIONS])
def test_the_answers_are_those_that_a_client_accepts(meaning: str, message: bytes) -> None:
    assert Rom().say(QUESTIONS[meaning]) == message


@pytest.mark.parametrize(
    ("meaning", "message"), [row[1:] for row in ROWS if row[0] == "host" and row[1] != "ext erase 258"]
)
def test_every_stage_of_a_clients_message_is_acknowledged(meaning: str, message: bytes) -> None:
    rom = Rom(synchronised=meaning != "synchronise")
    rest = message
    for length in STAGES.get(message[0], ()):
        assert rom.say(rest[:length]) == b"\x79"
        rest = rest[length:]
    if not rest:
        return
    if meaning.startswith("write protect"):
        assert rom.say(rest) == b"\x79"
        return
    assert rom.say(rest)[:1] == b"\x79"


def test_a_sector_that_this_part_lacks_is_refused() -> None:
    (message,) = (row[2] for row in ROWS if row[1] == "ext erase 258")
    rom = Rom()
    assert rom.say(message[:2]) == b"\x79"
    assert rom.say(message[2:]) == b"\x1f"


def test_the_written_bytes_are_those_of_the_message() -> None:
    (message,) = (row[2] for row in ROWS if row[1].startswith("write 3 bytes"))
    rom = Rom()
    rom.say(message[:2])
    rom.say(message[2:7])
    assert rom.say(message[7:]) == b"\x79"
    assert rom.flash.read(0x0800_FFF0, 8) == bytes.fromhex("010203ffffffffff")
