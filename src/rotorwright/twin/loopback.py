"""How another process on this computer asks a virtual aircraft: one line of JSON each way, through loopback.

The process of the aircraft leaves address and token in a file of its state folder, readable by its owner only. Whoever
does not know the token, or sends what is no request, is hung up on.
"""

from __future__ import annotations

import hmac
import json
import secrets
import socket
from abc import ABC, abstractmethod
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final, TypeAlias

from rotorwright.twin.state import write_whole

if TYPE_CHECKING:
    from pathlib import Path

LOOPBACK: Final = "127.0.0.1"
MOST_CALLERS: Final = 8
ANSWER_TIMEOUT_S: Final = 10.0  # own choice: the aircraft's process answers between two events of the line

Request: TypeAlias = Mapping[str, Any]


class LoopbackServer(ABC):
    """The aircraft's side: takes requests one line at a time.

    Args:
        file: where address and token go.
        most_request_bytes: a longer line is no request.
    """

    def __init__(self, file: Path, *, most_request_bytes: int) -> None:
        self._file = file
        self._most_request_bytes = most_request_bytes
        self._token = secrets.token_urlsafe(24)
        self._callers: dict[socket.socket, bytes] = {}
        self._listener = socket.create_server((LOOPBACK, 0))
        self._listener.settimeout(0)
        host, port = self._listener.getsockname()[:2]
        write_whole(file, json.dumps({"host": host, "port": port, "token": self._token}) + "\n")

    @abstractmethod
    def _do(self, request: Request) -> dict[str, object] | None:
        """Do what is asked and return the answer; nothing to hang up."""

    @property
    def sockets(self) -> list[socket.socket]:
        """Whom to wait for."""
        return [self._listener, *self._callers]

    def serve(self, ready: socket.socket) -> None:
        """Take what one of `sockets` has; nothing for any other."""
        if ready is self._listener:
            self._accept()
        elif ready in self._callers:
            self._hear(ready)

    def close(self) -> None:
        """Let go of everything and take the address away."""
        self._file.unlink(missing_ok=True)
        for caller in list(self._callers):
            self._hang_up(caller)
        self._listener.close()

    def _accept(self) -> None:
        try:
            caller, _ = self._listener.accept()
        except OSError:
            return
        caller.settimeout(1.0)  # for the short answer; what comes in is waited for elsewhere
        self._callers[caller] = b""
        if len(self._callers) > MOST_CALLERS:
            self._hang_up(next(iter(self._callers)))

    def _hear(self, caller: socket.socket) -> None:
        try:
            data = caller.recv(self._most_request_bytes)
        except OSError:
            data = b""
        *lines, rest = (self._callers[caller] + data).split(b"\n")
        self._callers[caller] = rest
        alive = bool(data) and len(rest) <= self._most_request_bytes
        for line in lines:
            alive = alive and self._answer(caller, line)
        if not alive:
            self._hang_up(caller)

    def _answer(self, caller: socket.socket, line: bytes) -> bool:
        """Do what one line asks and answer; return whether the caller may go on."""
        request = _parse(line)
        if not hmac.compare_digest(str(request.get("token", "")).encode(), self._token.encode()):
            return False
        answer = self._do(request)
        if answer is None:
            return False
        try:
            caller.sendall(json.dumps(answer).encode() + b"\n")
        except OSError:
            return False
        return True

    def _hang_up(self, caller: socket.socket) -> None:
        self._callers.pop(caller, None)
        caller.close()


def _parse(line: bytes) -> Request:
    try:
        request = json.loads(line)
    except ValueError:
        return {}
    return request if isinstance(request, dict) else {}
