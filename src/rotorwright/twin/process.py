"""A virtual aircraft as a process of its own: a port to open, hands to act with, a folder that remembers.

`serve` is that process. `spawn_twin` starts it in the background and gives a handle; the command line, the demo and
the tests use that.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import select
import signal
import socket
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, Final

from rotorwright.errors import RotorwrightError
from rotorwright.twin.assembly import Circumstances, aircraft_of_folder
from rotorwright.twin.clock import MonotonicClock, wake_on_time
from rotorwright.twin.errors import TwinInUseError, TwinNotRunningError
from rotorwright.twin.faults import FaultPlan
from rotorwright.twin.hands import HandsClient, HandsServer
from rotorwright.twin.pseudo_terminal import CLOSED_LOOK_S, PseudoTerminal, require_pseudo_terminals
from rotorwright.twin.state import StateFolder
from rotorwright.twin.usb_socket import UsbServer

if sys.platform != "win32":
    import fcntl

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from rotorwright.twin.aircraft import Boot, VirtualAircraft

_START_TIMEOUT_S: Final = 30.0  # own choice: ten times what a slow computer was seen to need
_STOP_TIMEOUT_S: Final = 5.0
_LOG_NAME: Final = "twin.log"


class TwinServer:
    """Lets real time into one aircraft and carries bytes between it and its port, until `stop` is called.

    Args:
        folder: its state folder, for the link to the port and the address of the hands.
        aircraft: the aircraft; nobody else may touch it.
        more_links: further links to the port, in a folder where people look for ports.
        waits_for_client: send nothing that the client has no room for, instead of losing it as a serial line does; for
            an aircraft that is quicker than any real one.
    """

    def __init__(
        self,
        folder: StateFolder,
        aircraft: VirtualAircraft,
        *,
        more_links: tuple[Path, ...] = (),
        waits_for_client: bool = False,
    ) -> None:
        self._aircraft = aircraft
        self._waits_for_client = waits_for_client
        self._unsent = b""
        self._clock = MonotonicClock()
        self._links = (folder.port_link, *more_links)
        self._port: PseudoTerminal | None = None
        self._wake, self._waker = socket.socketpair()
        self._waker.settimeout(0)
        self._stopping = False
        self._companion: IO[bytes] | None = None
        self._follow_cable()
        self._hands = HandsServer(folder, aircraft, now_s=self._clock.now_s, after=self._follow_cable)
        self._usb = UsbServer(folder, aircraft, now_s=self._clock.now_s, after=self._follow_cable)

    def stop(self) -> None:
        """End `run` soon; may be called from a signal handler or another thread."""
        self._stopping = True
        with contextlib.suppress(OSError):
            self._waker.send(b"x")

    def stop_with(self, companion: IO[bytes]) -> None:
        """End `run` when `companion` comes to its end: when the process that started this one has gone."""
        self._companion = companion

    def run(self) -> None:
        """Keep the aircraft alive until `stop`, then take the port and the hands away."""
        wake_on_time()
        try:
            while not (self._stopping or self._hands.stop_asked):
                self._turn()
        finally:
            self._hands.close()
            self._usb.close()
            self._aircraft.power_off(self._clock.now_s())
            if self._port is not None:
                self._port.close()
            self._wake.close()
            self._waker.close()

    def _turn(self) -> None:
        """Send what is due, wait for the next thing to happen, and take what has come."""
        self._send_what_is_due()
        waiting = [self._port] if self._unsent and self._port is not None else []
        ready, _, _ = select.select(self._readers(), waiting, [], self._patience_s())
        for source in ready:
            if source is self._port:
                self._hear()
            elif source is self._companion:
                self._stopping = True
            elif isinstance(source, socket.socket) and source is not self._wake:
                self._hands.serve(source)
                self._usb.serve(source)

    def _send_what_is_due(self) -> None:
        data = self._unsent or self._aircraft.transmit(self._clock.now_s())
        self._unsent = b""
        if self._port is not None and data:
            sent = self._port.write(data)
            self._unsent = data[sent:] if self._waits_for_client else b""
        if self._aircraft.is_connected is not (self._port is not None):
            self._follow_cable()

    def _hear(self) -> None:
        port = self._port
        if port is None:
            return
        data = port.read()
        if data:
            self._aircraft.line_settings(port.baud, None)
            self._aircraft.receive(data, self._clock.now_s())

    def _readers(self) -> list[Any]:
        readers: list[Any] = [self._wake, *self._hands.sockets, *self._usb.sockets]
        if self._is_port_open():
            readers.append(self._port)
        if self._companion is not None:
            readers.append(self._companion)
        return readers

    def _is_port_open(self) -> bool:
        port = self._port
        if port is None or port.is_open:
            return port is not None
        if port.look():
            self._aircraft.line_settings(port.baud, None)
        return port.is_open

    def _patience_s(self) -> float | None:
        due = self._aircraft.next_event_s()
        patience = None if due is None or self._unsent else max(0.0, due - self._clock.now_s())
        if self._port is not None and not self._port.is_open:
            return CLOSED_LOOK_S if patience is None else min(patience, CLOSED_LOOK_S)
        return patience

    def _follow_cable(self) -> None:
        """Have a port exactly while the cable is plugged in."""
        if self._aircraft.is_connected and self._port is None:
            self._port = PseudoTerminal(self._links)
        elif not self._aircraft.is_connected and self._port is not None:
            self._port.close()
            self._port = None


def serve(
    folder: Path,
    *,
    boot: Boot,
    circumstances: Circumstances | None = None,
    ports_folder: Path | None = None,
    name: str = "twin",
    companion: IO[bytes] | None = None,
    on_ready: Callable[[Path], None] = lambda _port: None,
) -> None:
    """Keep the virtual aircraft of a state folder alive until it is told to stop (SIGTERM, SIGINT, hands).

    Args:
        folder: the state folder; an aircraft must be in it.
        boot: starts what is in the flash.
        circumstances: rate of the line, speed, faults.
        ports_folder: a folder where people look for ports; a link goes there too.
        name: name of that link; a number is added if a living port has it.
        companion: stop when this comes to its end.
        on_ready: called once with the link to the port, which stays the same however often the cable is pulled.

    Raises:
        TwinPlatformError: no pseudo-terminals on this system.
        TwinStateError: the folder cannot be used.
        TwinInUseError: it is alive already.
    """
    require_pseudo_terminals()
    state = StateFolder(folder)
    with (
        _alone(state),
        aircraft_of_folder(state, boot, circumstances=circumstances, start_s=MonotonicClock().now_s()) as aircraft,
    ):
        links = (_free_link(ports_folder, name),) if ports_folder is not None else ()
        how = circumstances or Circumstances()
        is_hurried = how.baud == 0 or how.speed > 1
        server = TwinServer(state, aircraft, more_links=links, waits_for_client=is_hurried)
        if companion is not None:
            server.stop_with(companion)
        with _stopped_by_signals(server):
            on_ready(state.port_link)
            server.run()


@contextlib.contextmanager
def _alone(state: StateFolder) -> Iterator[None]:
    state.read_papers()
    with state.lock_file.open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as problem:
            raise TwinInUseError(
                f"The virtual aircraft in {state.path} is alive already.",
                why="Another process holds its folder.",
                state="That process goes on; nothing was changed.",
                todo=f"Use its port {state.port_link}, or stop that process first.",
                folder=str(state.path),
            ) from problem
        yield


@contextlib.contextmanager
def _stopped_by_signals(server: TwinServer) -> Iterator[None]:
    before = {number: signal.signal(number, lambda *_: server.stop()) for number in (signal.SIGTERM, signal.SIGINT)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _free_link(folder: Path, name: str) -> Path:
    """Return a name in `folder` that no living port has; the link of one that died may be used again."""
    candidates = [folder / name, *(folder / f"{name}-{number}" for number in range(2, 100))]
    return next((link for link in candidates if not link.exists()), candidates[-1])


@dataclass(slots=True)
class TwinProcess:
    """A virtual aircraft that lives in the background.

    Args:
        folder: its state folder.
        port: the link to its port; the same however often the cable is pulled.
        hands: acts on it.
        process: the process.
    """

    folder: Path
    port: Path
    hands: HandsClient
    process: subprocess.Popen[bytes]

    def stop(self) -> None:
        """End it, cleanly if it listens; harmless when it has ended."""
        self.process.terminate()
        try:
            self.process.wait(_STOP_TIMEOUT_S)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        for pipe in (self.process.stdin, self.process.stdout):
            if pipe is not None:
                pipe.close()

    def __enter__(self) -> TwinProcess:
        return self

    def __exit__(self, *_exception: object) -> None:
        self.stop()


def spawn_twin(
    folder: Path,
    *,
    baud: int | None = None,
    speed: float = 1.0,
    faults: str = "",
    ports_folder: Path | None = None,
    name: str = "twin",
    outlives_us: bool = False,
    console: bool = False,
    drive: bool = False,
    planted: Sequence[str] = (),
    pace: float = 1.0,
) -> TwinProcess:
    """Start a virtual aircraft in the background and return it when its port is there.

    Args:
        folder: its state folder; the demo aircraft is laid out there if it is empty.
        baud: rate of the line whatever is set on the port; 0 for no limit; None to follow the port.
        speed: how many times faster than a real one flash, line and start are.
        faults: what shall go wrong, as `FaultPlan.parse` reads it.
        ports_folder: a folder where people look for ports; a link called `name` goes there too.
        name: name of that link.
        outlives_us: keep it alive when this process ends without stopping it.
        console: its firmware speaks by its text console from now on, as its folder remembers.
        drive: its bootloader shows itself as a drive from now on.
        planted: what is wrong with the aircraft itself from now on, by the names of the bench's faults.
        pace: hands take this many times as long as people do.

    Raises:
        TwinPlatformError: no pseudo-terminals on this system.
        TwinNotRunningError: it did not start; what it said is in the error.
    """
    require_pseudo_terminals()
    FaultPlan.parse(faults)
    folder.mkdir(parents=True, exist_ok=True)
    command = [sys.executable, "-m", "rotorwright.twin.process", "--state", str(folder), "--speed", repr(speed)]
    command += [] if baud is None else ["--baud", str(baud)]
    command += ["--fault", faults] if faults else []
    command += [] if ports_folder is None else ["--ports-folder", str(ports_folder), "--name", name]
    command += [] if outlives_us else ["--with-companion"]
    command += ["--console"] if console else []
    command += ["--drive"] if drive else []
    command += ["--plant", ",".join(planted)] if planted else []
    command += ["--pace", repr(pace)]
    with (folder / _LOG_NAME).open("ab") as log:
        process = subprocess.Popen(
            command,
            stdin=subprocess.DEVNULL if outlives_us else subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=log,
            start_new_session=True,  # the Ctrl-C that stops us is not meant for the aircraft
        )
    twin = TwinProcess(folder, StateFolder(folder).port_link, HandsClient(folder), process)
    try:
        _wait_until_ready(twin)
    except BaseException:
        twin.stop()
        raise
    return twin


def _wait_until_ready(twin: TwinProcess) -> None:
    said = b""
    stdout = twin.process.stdout
    if stdout is not None and select.select([stdout], [], [], _START_TIMEOUT_S)[0]:
        said = stdout.readline()
    try:
        message = json.loads(said)
    except ValueError:
        message = {}
    if "port" in message:
        return
    error = message.get("error", {})
    raise TwinNotRunningError(
        f"The virtual aircraft in {twin.folder} did not start.",
        why=" ".join(error[key] for key in ("what", "why") if key in error)
        or f"It said nothing in {_START_TIMEOUT_S} s.",
        state="No virtual aircraft is running.",
        todo=error.get("todo", f"Look into {twin.folder / _LOG_NAME}."),
        folder=str(twin.folder),
    )


def main(arguments: list[str] | None = None) -> int:
    """Run a virtual aircraft until told to stop; print one line of JSON when its port is there, or why not."""
    parser = argparse.ArgumentParser(prog="rotorwright.twin.process", description=main.__doc__)
    parser.add_argument("--state", type=Path, required=True, help="state folder; the demo aircraft if it is empty")
    parser.add_argument("--baud", type=int, help="rate of the line whatever is set on the port; 0 for no limit")
    parser.add_argument("--speed", type=float, default=1.0, help="how many times faster than a real one")
    parser.add_argument("--fault", action="append", default=[], help="what shall go wrong")
    parser.add_argument("--ports-folder", type=Path, help="folder for one more link to the port")
    parser.add_argument("--name", default="twin", help="name of that link")
    parser.add_argument("--with-companion", action="store_true", help="stop when standard input ends")
    parser.add_argument("--console", action="store_true", help="its firmware speaks by its text console from now on")
    parser.add_argument("--drive", action="store_true", help="its bootloader shows itself as a drive from now on")
    parser.add_argument("--plant", default="", help="what is wrong with the aircraft itself, by commas")
    parser.add_argument("--pace", type=float, default=1.0, help="hands take this many times as long as people do")
    wishes = parser.parse_args(arguments)
    try:
        _serve_thornbill(wishes)
    except RotorwrightError as error:
        _say({"error": error.as_json()})
        return error.exit_code
    return 0


def _serve_thornbill(wishes: argparse.Namespace) -> None:
    # The firmware is loaded only in the process where it runs.
    from rotorwright.twin.application_start import start_from_flash  # noqa: PLC0415
    from rotorwright.twin.delivery import deliver  # noqa: PLC0415

    faults = FaultPlan.parse(wishes.fault)
    state = StateFolder(wishes.state)
    if not state.is_made:
        deliver(state)
    if wishes.console:
        state.give_console()
    if wishes.drive:
        state.give_drive()
    if wishes.plant:
        state.plant(wishes.plant.split(","))
    serve(
        wishes.state,
        boot=start_from_flash,
        circumstances=Circumstances(baud=wishes.baud, speed=wishes.speed, faults=faults, pace=wishes.pace),
        ports_folder=wishes.ports_folder,
        name=wishes.name,
        companion=sys.stdin.buffer if wishes.with_companion else None,
        on_ready=lambda port: _say({"port": str(port), "process": os.getpid()}),
    )


def _say(message: dict[str, object]) -> None:
    with contextlib.suppress(BrokenPipeError):
        sys.stdout.write(json.dumps(message) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main())
