"""The USB socket of a virtual aircraft that lives in another process: the same backend of pyusb, through loopback.

The process listens on the loopback address and leaves address and token in `usb.json` in the state folder, readable by
its owner only. A request is one line of JSON, and so is its answer:

    {"token": "...", "ask": "face"}
    {"face": {"serial_number": "...", "alternates": ["@Internal Flash  /..."], "functional": "0921..."}}
    {"token": "...", "ask": "transfer", "kind": 161, "request": 3, "value": 0, "index": 0, "data": "", "length": 6}
    {"outcome": "done", "data": "000000000200", "late_s": 0.0}
"""

from __future__ import annotations

import contextlib
import json
import socket
import time
from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Final

from rotorwright.twin.loopback import ANSWER_TIMEOUT_S, LoopbackServer, Request
from rotorwright.twin.usb_backend import TwinUsbBackend, comes_too_late
from rotorwright.twin.usb_port import Outcome, Transfer, TransferEnd, UsbFace, UsbPort

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from rotorwright.twin.aircraft import VirtualAircraft
    from rotorwright.twin.state import StateFolder

_FILE: Final = "usb.json"
_MOST_REQUEST_BYTES: Final = 16 * 1024  # a block of 2 KiB as hexadecimal digits, and room
_ASK_AGAIN_S: Final = 0.005  # own choice: while the device is busy


class UsbServer(LoopbackServer):
    """The aircraft's side: takes transfers one line at a time and lets them happen.

    Args:
        folder: where address and token go.
        aircraft: whose bootloader it is.
        now_s: asked for the moment of each transfer.
        after: called after each transfer, for the cable may have been pulled by it.
    """

    def __init__(
        self,
        folder: StateFolder,
        aircraft: VirtualAircraft,
        *,
        now_s: Callable[[], float],
        after: Callable[[], None] = lambda: None,
    ) -> None:
        self._port = UsbPort(aircraft)
        self._now_s = now_s
        self._after = after
        super().__init__(folder.path / _FILE, most_request_bytes=_MOST_REQUEST_BYTES)

    def _do(self, request: Request) -> dict[str, object] | None:
        try:
            answer = self._told(request)
            self._after()
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            return None
        return answer

    def _told(self, request: Request) -> dict[str, object]:
        if request["ask"] == "face":
            face = self._port.face(self._now_s())
            return {"face": None if face is None else asdict(face) | {"functional": face.functional.hex()}}
        end = self._port.transfer(_transfer(request), self._now_s())
        return {"outcome": end.outcome.value, "data": end.data.hex(), "late_s": end.late_s}


def _transfer(request: Request) -> Transfer:
    kind, number, value, index, length = (
        int(request[name]) & 0xFFFF for name in ("kind", "request", "value", "index", "length")
    )
    return Transfer(kind, number, value, index, bytes.fromhex(request["data"]), length)


class SocketCarrier:
    """Aircraft in other processes, each by its state folder; one that is not alive is not plugged in.

    Args:
        folders: their state folders; devices are numbered in this order.
    """

    def __init__(self, folders: Sequence[Path]) -> None:
        self._folders = list(folders)
        self._lines: dict[int, socket.socket] = {}
        self._tokens: dict[int, str] = {}

    def faces(self) -> dict[int, UsbFace]:
        """Return what is plugged in, by number."""
        faces = {number: self._face(number) for number in range(1, len(self._folders) + 1)}
        return {number: face for number, face in faces.items() if face is not None}

    def transfer(self, number: int, transfer: Transfer, timeout_s: float) -> TransferEnd:
        """Let a transfer happen; waits in real time while the device is busy, or when an answer is lost."""
        deadline_s = time.monotonic() + timeout_s
        while True:
            end = self._transfer(number, transfer)
            if end.outcome is not Outcome.BUSY or time.monotonic() > deadline_s:
                break
            time.sleep(_ASK_AGAIN_S)
        if comes_too_late(end, timeout_s):
            time.sleep(max(0.0, deadline_s - time.monotonic()))
            return TransferEnd(Outcome.LOST)
        time.sleep(end.late_s)
        return end

    def close(self) -> None:
        """Hang up everywhere."""
        for line in self._lines.values():
            line.close()
        self._lines.clear()

    def _transfer(self, number: int, transfer: Transfer) -> TransferEnd:
        answer = self._ask(number, ask="transfer", **(asdict(transfer) | {"data": transfer.data.hex()}))
        if answer is None:
            return TransferEnd(Outcome.GONE)
        return TransferEnd(Outcome(answer["outcome"]), bytes.fromhex(answer["data"]), float(answer["late_s"]))

    def _face(self, number: int) -> UsbFace | None:
        answer = self._ask(number, ask="face")
        face = None if answer is None else answer["face"]
        if face is None:
            return None
        return UsbFace(face["serial_number"], tuple(face["alternates"]), bytes.fromhex(face["functional"]))

    def _ask(self, number: int, **details: object) -> dict[str, Any] | None:
        """Return the answer of an aircraft; None when it is not alive."""
        try:
            line = self._line(number)
            line.sendall(json.dumps({"token": self._tokens[number], **details}).encode() + b"\n")
            answer = b""
            while not answer.endswith(b"\n"):
                piece = line.recv(_MOST_REQUEST_BYTES)
                if not piece:
                    raise ConnectionError
                answer += piece
            found: dict[str, Any] = json.loads(answer)
        except (OSError, ValueError, KeyError, TypeError):
            with contextlib.suppress(KeyError):
                self._lines.pop(number).close()
            return None
        return found

    def _line(self, number: int) -> socket.socket:
        if number not in self._lines:
            address = json.loads((self._folders[number - 1] / _FILE).read_text(encoding="utf-8"))
            self._tokens[number] = str(address["token"])
            place = (str(address["host"]), int(address["port"]))
            self._lines[number] = socket.create_connection(place, timeout=ANSWER_TIMEOUT_S)
        return self._lines[number]


class SocketUsbBackend(TwinUsbBackend):
    """A pyusb backend whose devices are the virtual aircraft of these state folders, alive in other processes."""

    def __init__(self, folders: Sequence[Path]) -> None:
        self._socket_carrier = SocketCarrier(folders)
        super().__init__(self._socket_carrier)

    def close(self) -> None:
        """Hang up; the backend may be used again."""
        self._socket_carrier.close()
