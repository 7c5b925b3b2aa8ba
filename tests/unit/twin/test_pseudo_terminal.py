"""The port of the virtual aircraft, as a client sees it that reads late."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest

from rotorwright.twin.pseudo_terminal import PseudoTerminal

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.pty


def test_what_the_client_has_no_room_for_is_told_and_nothing_is_lost_if_it_is_sent_later(tmp_path: Path) -> None:
    port = PseudoTerminal((tmp_path / "port",))
    client = os.open(port.device, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    try:
        data = bytes(range(256)) * 1000
        sent = 0
        while taken := port.write(data[sent:]):
            sent += taken
        assert 0 < sent < len(data)  # full: nothing more was taken, and that was said
        heard = bytearray()
        while len(heard) < len(data):
            heard += os.read(client, 65_536)
            sent += port.write(data[sent:]) if sent < len(data) else 0
        assert bytes(heard) == data
    finally:
        os.close(client)
        port.close()


def test_what_is_sent_while_nobody_listens_counts_as_sent(tmp_path: Path) -> None:
    port = PseudoTerminal((tmp_path / "port",))
    try:
        assert port.write(b"x" * 100_000) == 100_000
    finally:
        port.close()
