"""What the tests of the virtual hardware put on the bench: an aircraft in plain memory and the simplest firmware."""

from __future__ import annotations

from collections import deque

from rotorwright.firmware.mcu import microcontroller
from rotorwright.links.wire import LineSettings, Parity
from rotorwright.twin.aircraft import Application, Hardware, Mode, VirtualAircraft
from rotorwright.twin.assembly import Circumstances, MemoryBytes, build_aircraft
from rotorwright.twin.clock import VirtualClock
from rotorwright.twin.faults import FaultPlan
from rotorwright.twin.flash import FlashMemory, erased_flash
from rotorwright.twin.memories import Memories
from rotorwright.twin.rom_uart import ACK, NACK, OptionBytes, Reaction, RomUart, Then, xor_of
from rotorwright.twin.state import Papers
from rotorwright.twin.wire import DirectPort, DirectWire

PART = microcontroller("STM32F405xG")
UNIQUE_ID = bytes.fromhex("3b002f000e51373034383230")
PAPERS = Papers(UNIQUE_ID.hex(), "C405", PART.name)
EVEN = LineSettings(115_200, Parity.EVEN)
PLAIN = LineSettings(115_200, Parity.NONE)
START = 0x0800_0000
IMAGE_MARK = b"\x01\x02\x03\x04"  # our simplest firmware starts if the flash begins with this


def frame(payload: bytes = b"hello", number: int = 0) -> bytes:
    """Bytes with the outline of a MAVLink 2 frame; the checksum is none."""
    return bytes([0xFD, len(payload), 0, 0, number % 256, 1, 1, 0, 0, 0]) + payload + b"\xaa\xbb"


def read(wire: DirectWire, count: int, timeout_s: float = 1.0) -> bytes:
    """Return `count` bytes, fewer if none come for `timeout_s`: a line hands over what it has, as a real one does."""
    data = b""
    while len(data) < count and (more := wire.receive(count - len(data), timeout_s)):
        data += more
    return data


class EchoFirmware:
    """Firmware that answers each piece that arrives with the same bytes, and beats its heart once a second."""

    def __init__(self, hardware: Hardware) -> None:
        self.hardware = hardware
        self.heard: list[tuple[float, bytes]] = []
        self.to_send: deque[bytes] = deque()
        self.wants: str | None = None
        self.started_s: float | None = None
        self.beat_s = float("inf")

    def start(self, now_s: float) -> None:
        self.started_s = now_s
        self.beat_s = now_s + 1.0

    def receive(self, data: bytes, now_s: float) -> None:
        self.heard.append((now_s, data))
        if data in {b"reboot", b"bootloader"}:
            self.wants = data.decode()
        if data.startswith(b"save"):
            self.hardware.settings.write(0, data)
        self.to_send.append(data)

    def transmit(self, now_s: float) -> list[bytes]:
        if now_s >= self.beat_s:
            self.beat_s += 1.0
            self.to_send.append(frame(b"beat"))
        return [self.to_send.popleft()] if self.to_send else []

    def next_event_s(self) -> float | None:
        return self.beat_s


class Bench:
    """An aircraft, the clock, and everything that was started on it."""

    def __init__(
        self,
        *,
        faults: str = "",
        baud: int | None = None,
        speed: float = 1.0,
        loader_version: int = 0x31,
        papers: Papers = PAPERS,
        with_image: bool = True,
    ) -> None:
        self.clock = VirtualClock()
        self.memories = MemoryBytes.fresh(PART)
        if with_image:
            self.memories.flash[: len(IMAGE_MARK)] = IMAGE_MARK
        self.started: list[EchoFirmware] = []
        how = Circumstances(baud=baud, speed=speed, faults=FaultPlan.parse(faults), loader_version=loader_version)
        self.aircraft: VirtualAircraft = build_aircraft(papers, self.memories, self._boot, circumstances=how)
        self.port = DirectPort(self.aircraft, self.clock)

    def _boot(self, flash: bytes, hardware: Hardware) -> Application | None:
        if not flash.startswith(IMAGE_MARK):
            return None
        self.started.append(EchoFirmware(hardware))
        return self.started[-1]

    def mode(self) -> Mode:
        return self.aircraft.mode

    @property
    def firmware(self) -> EchoFirmware:
        return self.started[-1]

    def wait(self, seconds: float) -> None:
        """Let time pass on the bench with nobody at the port."""
        self.clock.sleep_s(seconds)
        self.aircraft.transmit(self.clock.now_s())

    def application_wire(self) -> DirectWire:
        wire = self.port.open(PLAIN)
        self.wait(0.2)
        return wire

    def loader_host(self) -> LoaderHost:
        """Restart with the button held and synchronise."""
        now = self.clock.now_s()
        self.aircraft.power_off(now)
        self.aircraft.power_on(now, button=True)
        self.wait(0.2)
        host = LoaderHost(self)
        assert host.ask(b"\x7f") == b"\x79"
        return host


class LoaderHost:
    """The simplest host of the ROM bootloader: asks one message, returns all that comes back within a time."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.wire = bench.port.open(EVEN)

    def ask(self, message: bytes, timeout_s: float = 20.0) -> bytes:
        self.wire.send(message)
        answer = self.wire.receive(300, timeout_s)
        while answer and (more := self.wire.receive(300, 0.05)):
            answer += more
        return answer

    def at(self, code: int, address: int) -> bytes:
        """Send a command and its address; return the last answer."""
        answer = self.ask(bytes([code, code ^ 0xFF]))
        return self.ask(with_check(address.to_bytes(4, "big"))) if answer == b"\x79" else answer

    def write(self, address: int, data: bytes) -> bytes:
        answer = self.at(0x31, address)
        return self.ask(with_check(bytes([len(data) - 1]) + data)) if answer == b"\x79" else answer

    def read(self, address: int, length: int) -> bytes:
        answer = self.at(0x11, address)
        return self.ask(bytes([length - 1, (length - 1) ^ 0xFF])) if answer == b"\x79" else answer

    def erase(self, *sectors: int) -> bytes:
        answer = self.ask(b"\x44\xbb")
        words = b"".join(number.to_bytes(2, "big") for number in (len(sectors) - 1, *sectors))
        return self.ask(with_check(words)) if answer == b"\x79" else answer


class Rom:
    """The bootloader with the flash done at once, as a list of exchanges."""

    def __init__(self, *, options: OptionBytes | None = None, version: int = 0x31, synchronised: bool = True) -> None:
        self.flash = FlashMemory(PART, erased_flash(PART))
        self.options = options or OptionBytes()
        memories = Memories(self.flash, UNIQUE_ID)
        self.machine = RomUart(memories, self.flash, self.options, chip_id=0x413, version=version)
        self.then = Then.GO_ON
        if synchronised:
            assert self.say("7f") == ACK

    def say(self, message: str | bytes) -> bytes:
        data = bytes.fromhex(message) if isinstance(message, str) else message
        return self.answer(self.machine.receive(data))

    def answer(self, reaction: Reaction) -> bytes:
        self.then = reaction.then
        if not reaction.work:
            return reaction.answer
        accepted = all(self.flash.perform(operation) for operation in reaction.work)
        return reaction.answer + self.answer(self.machine.work_done(accepted=accepted))

    def addressed(self, code: int, address: int) -> bytes:
        assert self.say(bytes([code, code ^ 0xFF])) == ACK
        return self.say(with_check(address.to_bytes(4, "big")))

    def program(self, address: int, data: bytes) -> bytes:
        return self.say(with_check(bytes([len(data) - 1]) + data)) if self.addressed(0x31, address) == ACK else NACK


def with_check(message: bytes) -> bytes:
    """Return the message with the exclusive or of its bytes behind it."""
    return message + bytes([xor_of(message)])
