"""The virtual aircraft as the outside meets it: bytes on a line, hands on cable, battery, button and airframe.

Nothing here waits or reads a clock. Every call carries the moment in seconds; what should have happened up to that
moment happens first, in order, and `next_event_s` says when something will happen by itself. So the same aircraft runs
in a process of its own in real time, and in a test as fast as the processor goes.

Times are those of the part, divided by `speed`: flash, line, start. The application and the faults keep undivided time.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Final, Protocol, TypeAlias

from rotorwright.twin.faults import FaultPlan, PowerCutError
from rotorwright.twin.line import BITS_PER_BYTE, BITS_PER_BYTE_WITH_PARITY, Disturbance, Line, split_frames
from rotorwright.twin.memories import Memories
from rotorwright.twin.power import Power
from rotorwright.twin.rom_uart import OptionBytes, Reaction, RomUart, Then
from rotorwright.twin.uf2_folder import DriveState
from rotorwright.twin.usb_dfu import DfuQuirks, UsbDfu
from rotorwright.twin.usb_port import Outcome, TransferEnd

if TYPE_CHECKING:
    from rotorwright.firmware.mcu import Microcontroller
    from rotorwright.twin.flash import FlashMemory, FlashOperation
    from rotorwright.twin.kept_memory import KeptMemory
    from rotorwright.twin.uf2_folder import Uf2Folder
    from rotorwright.twin.usb_port import Transfer
    from rotorwright.twin.world import World

START_UP_S: Final = 0.1  # from reset to the first instruction that listens; common practice, no source
_USB_LEAVE_S: Final = 0.002  # from the last status to the start of what was written; own choice
_DRIVE_LOOK_S: Final = 0.05  # between two looks at what was written onto its drive; own choice
_LOOK_AHEAD_S: Final = 0.01  # the application is asked for more when the line will be idle that soon
_SHORTEST_S: Final = 0.001  # so that time always goes on
_EVEN, _NO_PARITY = "even", "none"
_OTHER_BOOT_ID: Final = 0x450  # a part that the wrong board has: any that ours is not
_MOST_ROUNDS: Final = 10_000  # an application that has always something to send on a line without limit is broken


class Application(Protocol):
    """The firmware that runs from flash. It never waits; it is called when something arrives or is due.

    `transmit` is called as long as the line has room, so hand over few frames at a time; `next_event_s` may be now or
    in the past while more waits to be sent. `wants` is obeyed when everything handed over has left the line. Writing to
    a kept memory may raise `PowerCutError`: let it pass, nothing runs after it.
    """

    @property
    def wants(self) -> str | None:
        """None, "reboot", or "bootloader"."""
        ...

    def start(self, now_s: float) -> None:
        """Run from reset."""
        ...

    def receive(self, data: bytes, now_s: float) -> None:
        """Take bytes that have arrived."""
        ...

    def transmit(self, now_s: float) -> list[bytes]:
        """Return whole frames that shall go out now; none if there are none."""
        ...

    def next_event_s(self) -> float | None:
        """Return when `transmit` will have something without anything arriving; None for never."""
        ...


@dataclass(frozen=True, slots=True)
class Hardware:
    """What the application finds around it.

    Args:
        mcu: the microcontroller.
        unique_id: its 12 bytes, in the order as read.
        world: attitude, battery, receiver; `world.battery_plugged` is whether the main battery feeds the display chip.
        settings: the settings memory.
        display: the memory of the display chip.
        seed: start of random numbers.
        console: whether the firmware speaks by its text console instead of messages.
    """

    mcu: Microcontroller
    unique_id: bytes
    world: World
    settings: KeptMemory
    display: KeptMemory
    seed: int
    console: bool = False


Boot: TypeAlias = Callable[[bytes, Hardware], Application | None]


class Mode(StrEnum):
    """What the microcontroller is doing."""

    DARK = "dark"  # no power
    STARTING = "starting"
    APPLICATION = "application"
    BOOTLOADER = "bootloader"
    SILENT = "silent"  # it runs, but not an application that anybody knows


@dataclass(frozen=True, slots=True)
class Condition:
    """How the aircraft is, for whoever looks at the bench; plain facts only."""

    mode: str
    cable: bool
    battery: bool
    supply: bool
    held: str
    operations: int
    cut_happened: bool
    pulled_by_plan: bool
    faults: str


class VirtualAircraft:
    """One aircraft, plugged in by its cable and running as soon as time is let in.

    Args:
        flash: its flash memory.
        settings, display: its other memories.
        world: what surrounds it.
        unique_id: 12 bytes, in the order as read.
        boot: starts what is in the flash; None stands for silence.
        options: protection bits; `options_changed` is called when a command of the bootloader changed them.
        baud: rate of the line, whatever the host sets; 0 for a line without limit; None to follow the host.
        speed: how many times faster than a real one flash, line and start are; may be infinite.
        loader_version: protocol version of the ROM bootloader.
        faults: what shall go wrong.
        start_s: the moment at which its cable is plugged in.
        console: whether its firmware speaks by its text console instead of messages.
        usb_quirks: where its bootloader on USB differs from the standard.
        drive: its bootloader shows itself as this drive instead, and its serial port is away meanwhile.
    """

    def __init__(
        self,
        *,
        flash: FlashMemory,
        settings: KeptMemory,
        display: KeptMemory,
        world: World,
        unique_id: bytes,
        boot: Boot,
        options: OptionBytes | None = None,
        baud: int | None = None,
        speed: float = 1.0,
        loader_version: int = 0x31,
        faults: FaultPlan | None = None,
        start_s: float = 0.0,
        console: bool = False,
        usb_quirks: DfuQuirks | None = None,
        drive: Uf2Folder | None = None,
    ) -> None:
        self.flash = flash
        self.settings = settings
        self.display = display
        self.world = world
        self._unique_id = unique_id
        self._boot = boot
        self._console = console
        self._options = options or OptionBytes()
        self.options_changed: Callable[[OptionBytes], None] = lambda _options: None
        self._fixed_baud = baud
        self._line_baud: int | None = None
        self._line_parity: str | None = None
        self._loader_baud: int | None = None
        self._speed = speed
        self._loader_version = loader_version
        self._power = Power(battery=world.battery_plugged)
        self._mode = Mode.DARK
        self._inward = Line()
        self._outward = Line()
        self._application: Application | None = None
        self._pump_s: float | None = None
        self._rom: RomUart | None = None
        self._usb_quirks = usb_quirks
        self._bytes_to_pull: int | None = None
        self._dfu: UsbDfu | None = None
        self._drive = drive
        self._drive_pause_s = max(_DRIVE_LOOK_S / speed, _SHORTEST_S)
        self._drive_look_s: float | None = None
        self._work: deque[FlashOperation] = deque()
        self._work_end_s = 0.0
        self._then: tuple[float, Then | Mode] | None = None
        self._start: tuple[float, Mode] | None = None
        self.arm(faults or FaultPlan())
        self._memories = Memories(flash, self.unique_id)
        flash.protect(self._options.write_protected)
        self._follow_power(start_s)

    # What can be asked

    @property
    def mode(self) -> Mode:
        """What it is doing, as of the last call that let time in."""
        return self._mode

    @property
    def mcu(self) -> Microcontroller:
        """Its microcontroller."""
        return self.flash.mcu

    @property
    def unique_id(self) -> bytes:
        """The unique id it answers with: its own, or another under the fault "wrong board"."""
        return bytes(byte ^ 0xA5 for byte in self._unique_id) if self._plan.wrong_board else self._unique_id

    @property
    def chip_id(self) -> int:
        """What its bootloader calls itself: its own id, or another under the fault "wrong board"."""
        if not self._plan.wrong_board:
            return self.mcu.boot_id
        return _OTHER_BOOT_ID if self.mcu.boot_id != _OTHER_BOOT_ID else 0x413

    @property
    def is_connected(self) -> bool:
        """Whether its port is there: its cable is plugged in, and it does not show itself as a drive instead."""
        return self._power.cable and not self._is_drive

    @property
    def _is_drive(self) -> bool:
        return self._drive is not None and self._mode is Mode.BOOTLOADER

    @property
    def condition(self) -> Condition:
        """How it is, as of the last call that let time in."""
        return Condition(
            mode=self._mode.value,
            cable=self._power.cable,
            battery=self._power.battery,
            supply=self._power.supply,
            held=self.world.held.value,
            operations=self.flash.operations,
            cut_happened=any(memory.cut_happened for memory in (self.flash, self.settings, self.display)),
            pulled_by_plan=self._pulled_by_plan,
            faults=self._plan.words(),
        )

    def next_event_s(self) -> float | None:
        """Return when something will happen without anybody doing anything; None for never."""
        inner, _ = self._next_step()
        outer = self._outward.next_s
        if inner is None or (outer is not None and outer < inner):
            return outer
        return inner

    def close(self) -> None:
        """Let go of the buffers of its memories; nothing may be asked of it any more."""
        for memory in (self.flash, self.settings, self.display):
            memory.close()

    # The line

    def line_settings(self, baud: int | None, parity: str | None) -> None:
        """Say how the host has set its side of the line; None for what is not known (no parity on pseudo-terminals)."""
        self._line_baud = baud
        self._line_parity = parity
        self._set_rate()

    def receive(self, data: bytes, now_s: float) -> None:
        """Take bytes that the host puts on the line at `now_s`."""
        self._advance(now_s)
        if data := self._through_cable(data, now_s):
            self._hear(data, now_s)
            self._advance(now_s)
        self._pull_if_planned(now_s)

    def transmit(self, now_s: float) -> bytes:
        """Return the bytes that have come out of the line by `now_s` and were not returned before."""
        self._advance(now_s)
        data = self._outward.take(now_s)
        if data:
            data = self._through_cable(data, now_s)
            self._pull_if_planned(now_s)
        return data

    # The USB socket

    @property
    def faults(self) -> FaultPlan:
        """What shall go wrong."""
        return self._plan

    def usb_bootloader(self, now_s: float) -> UsbDfu | None:
        """Return the bootloader that a host sees on USB at `now_s`; None while there is none."""
        self._advance(now_s)
        return self._dfu if self._power.cable else None

    def usb_request(self, transfer: Transfer, now_s: float) -> TransferEnd:
        """Let a request to the bootloader on USB happen at `now_s`."""
        dfu = self.usb_bootloader(now_s)
        if dfu is None:
            return TransferEnd(Outcome.GONE)
        if self._is_pulled_by(len(transfer.data) + transfer.length, now_s):
            return TransferEnd(Outcome.GONE)
        reaction = dfu.request(transfer.request, transfer.value, transfer.data, transfer.length)
        if reaction.work:
            self._work.extend(reaction.work)
            self._begin_work(now_s)
        self._follow_usb(reaction.then, now_s)
        return TransferEnd(Outcome.STALLED if reaction.stalled else Outcome.DONE, reaction.data)

    def usb_stall(self, now_s: float) -> None:
        """Let the bootloader on USB stall as if it had got a request that nobody sent."""
        dfu = self.usb_bootloader(now_s)
        if dfu is not None:
            dfu.disturb()

    def _follow_usb(self, then: Then, now_s: float) -> None:
        if then is Then.START and self._rom is not None and self._dfu is not None:
            self._rom.go_address = self._dfu.pointer
        if then is not Then.GO_ON:
            self._then = (now_s + _USB_LEAVE_S / self._speed, then)

    def _is_pulled_by(self, count: int, now_s: float) -> bool:
        """Count bytes on the USB cable, and return whether the plan pulls it before the last of them."""
        if self._bytes_to_pull is None:
            return False
        self._bytes_to_pull = max(0, self._bytes_to_pull - count)
        self._pull_if_planned(now_s)
        return not self._power.cable

    # The hands

    def arm(self, plan: FaultPlan) -> None:
        """Take `plan` as what shall go wrong, counting from zero again; a wrong board shows at the next start."""
        self._plan = plan
        for memory in (self.flash, self.settings, self.display):
            memory.arm(plan)
        self._in_noise = Disturbance(plan, "in")
        self._out_noise = Disturbance(plan, "out")
        self._bytes_to_pull = plan.cable_pull_after_bytes
        self._pulled_by_plan = False
        self._power.battery_flat = plan.battery_absent
        self.world.battery_plugged = self._power.battery_live

    def power_off(self, now_s: float) -> None:
        """Take all power away; the port of the host stays."""
        self._advance(now_s)
        self._power.supply = False
        self._follow_power(now_s)

    def power_on(self, now_s: float, *, button: bool = False) -> None:
        """Give power back, with the bootloader button held or not; nothing if it has power already."""
        self._advance(now_s)
        self._power.supply = True
        self._follow_power(now_s, button=button)

    def plug_battery(self, now_s: float, *, plugged: bool = True) -> None:
        """Plug the main battery in, or pull it."""
        self._advance(now_s)
        self._power.battery = plugged
        self._follow_power(now_s)

    def pull_cable(self, now_s: float) -> None:
        """Pull the cable: the port vanishes, and without a battery the power too."""
        self._advance(now_s)
        self._power.cable = False
        if self._drive is not None:
            self._drive.pull()
        self._inward.clear(now_s)
        self._outward.clear(now_s)
        self._follow_power(now_s)

    def plug_cable(self, now_s: float, *, button: bool = False) -> None:
        """Plug the cable in, with the bootloader button held or not (it matters only if this gives the power)."""
        self._advance(now_s)
        was_unplugged = not self._power.cable
        self._power.cable = True
        self._follow_power(now_s, button=button)
        if self._is_drive and was_unplugged:
            self._show_drive(now_s)

    def tilt(self, direction: str, now_s: float) -> None:
        """Hold it level, or with one side down: "level", "forward", "back", "left", "right".

        Raises:
            ValueError: no such direction.
        """
        self._advance(now_s)
        self.world.tilt(direction, now_s)

    # Power and start

    def _follow_power(self, now_s: float, *, button: bool = False) -> None:
        """Start if power has come, stop if it has gone."""
        live = self._power.board_live
        self.world.battery_plugged = self._power.battery_live
        if live and self._mode is Mode.DARK:
            self._reset(now_s, Mode.BOOTLOADER if button else Mode.APPLICATION)
        elif not live and self._mode is not Mode.DARK:
            self._go_dark(now_s)

    def _go_dark(self, now_s: float) -> None:
        if self._work:
            self.flash.tear(self._work[0])  # the power went in the middle of it
        self._halt(now_s)
        self._memories.lose_ram()
        self._mode = Mode.DARK

    def _cut_power(self, now_s: float) -> None:
        self._work.clear()  # the flash itself says what became of the operation
        self._power.supply = False
        self._follow_power(now_s)

    def _halt(self, now_s: float) -> None:
        self._application = None
        self._rom = None
        self._dfu = None
        if self._drive is not None:
            self._drive.pull()
        self._drive_look_s = None
        self._work.clear()
        self._then = None
        self._start = None
        self._pump_s = None
        self._inward.clear(now_s)
        self._outward.cut(now_s)

    def _reset(self, now_s: float, into: Mode) -> None:
        self._halt(now_s)
        self._mode = Mode.STARTING
        self._start = (now_s + START_UP_S / self._speed, into)

    def _start_up(self, now_s: float, into: Mode) -> None:
        self._start = None
        if into is Mode.BOOTLOADER:
            self._enter_bootloader(now_s)
        else:
            self._enter_application(now_s)

    def _enter_bootloader(self, now_s: float) -> None:
        if self._drive is not None:
            self._mode = Mode.BOOTLOADER
            self._show_drive(now_s)
            return
        self._memories = Memories(self.flash, self.unique_id)
        self._rom = RomUart(
            self._memories, self.flash, self._options, chip_id=self.chip_id, version=self._loader_version
        )
        self._dfu = UsbDfu(self._memories, self.flash, self._options, quirks=self._usb_quirks, speed=self._speed)
        self._mode = Mode.BOOTLOADER
        self._set_rate()

    def _enter_application(self, now_s: float) -> None:
        hardware = Hardware(
            self.mcu, self.unique_id, self.world, self.settings, self.display, self._plan.seed, self._console
        )
        try:
            self._application = self._boot(self.flash.contents(), hardware)
            self._mode = Mode.SILENT if self._application is None else Mode.APPLICATION
            if self._application is None and self._drive is not None:
                self._enter_bootloader(now_s)  # a bootloader of this kind stays when it finds nothing to start
            self._set_rate()
            if self._application is not None:
                self._application.start(now_s)
                self._pump(now_s)
        except PowerCutError:
            self._cut_power(now_s)

    def _show_drive(self, now_s: float) -> None:
        """Let the drive appear on the host, if the cable is in."""
        if self._drive is not None and self._power.cable:
            self._drive.plug_in()
            self._drive_look_s = now_s + self._drive_pause_s

    def _look_at_drive(self, now_s: float) -> None:
        """Let the bootloader take what was written onto its drive since the last look."""
        self._drive_look_s = None
        drive = self._drive
        if drive is None:
            return
        drive.poll()
        if drive.state is DriveState.OFF:  # the power went in the middle of it
            self._cut_power(now_s)
        elif drive.state is DriveState.STARTED:
            self._reset(now_s, Mode.APPLICATION)
        else:
            self._drive_look_s = now_s + self._drive_pause_s

    def _set_rate(self) -> None:
        baud = self._line_baud if self._fixed_baud is None else self._fixed_baud
        bits = BITS_PER_BYTE_WITH_PARITY if self._mode is Mode.BOOTLOADER else BITS_PER_BYTE
        byte_s = bits / baud / self._speed if baud else 0.0
        self._inward.byte_s = self._outward.byte_s = byte_s

    # Time

    def _advance(self, now_s: float) -> None:
        """Let everything happen that is due by `now_s`."""
        due, act = self._next_step()
        while act is not None and due is not None and due <= now_s:
            act(due)
            due, act = self._next_step()

    def _next_step(self) -> tuple[float | None, Callable[[float], None] | None]:
        """Return what happens next inside, and when."""
        due: float | None = self._inward.next_s
        act: Callable[[float], None] | None = None if due is None else self._arrive
        if self._work and (due is None or self._work_end_s <= due):
            due, act = self._work_end_s, self._end_work
        if self._pump_s is not None and (due is None or self._pump_s < due):
            due, act = self._pump_s, self._pump
        if self._drive_look_s is not None and (due is None or self._drive_look_s < due):
            due, act = self._drive_look_s, self._look_at_drive
        if self._then is not None and (due is None or self._then[0] < due):
            due, act = self._then[0], self._do_then
        if self._start is not None and (due is None or self._start[0] < due):
            due, act = self._start[0], self._do_start
        return due, act

    def _do_start(self, now_s: float) -> None:
        if self._start is not None:
            self._start_up(now_s, self._start[1])

    def _do_then(self, now_s: float) -> None:
        if self._then is None:
            return
        what = self._then[1]
        self._then = None
        match what:
            case Then.RESET:
                self.options_changed(self._options)
                self.flash.protect(self._options.write_protected)
                self._reset(now_s, Mode.APPLICATION)
            case Then.START:
                self._jump(now_s)
            case Mode():
                self._reset(now_s, what)

    def _jump(self, now_s: float) -> None:
        """Start what the bootloader was told to start: the application as after a reset, or code that nobody knows."""
        if self._rom is not None and self._rom.go_address == self.mcu.flash_start:
            self._reset(now_s, Mode.APPLICATION)
        else:
            self._halt(now_s)
            self._mode = Mode.SILENT

    # Hearing

    def _hear(self, data: bytes, now_s: float) -> None:
        match self._mode:
            case Mode.BOOTLOADER:
                self._bootloader_hears(data, now_s)
            case Mode.APPLICATION if self._line_parity in {None, _NO_PARITY}:
                self._application_hears(data, now_s)

    def _application_hears(self, data: bytes, now_s: float) -> None:
        if self._plan.spares_frames and not self._inward.byte_s:
            self._inward.put(data, now_s)
            return
        for frame in split_frames(data):
            for piece in self._in_noise.pass_on(frame, may_double=True):
                self._inward.put(piece, now_s)

    def _bootloader_hears(self, data: bytes, now_s: float) -> None:
        rom = self._rom
        if rom is None or not self._line_fits_bootloader(rom):
            return
        pieces = [data] if self._plan.spares_frames else self._in_noise.pass_on(data, may_double=False)
        for piece in pieces:
            if self._work or not self._outward.is_empty:
                rom.overrun(piece)  # before the answer that would have invited it was taken
            else:
                self._inward.put(piece, now_s)

    def _line_fits_bootloader(self, rom: RomUart) -> bool:
        """Whether the host speaks with even parity, and at the rate that the bootloader measured at first."""
        if self._line_parity not in {None, _EVEN}:
            return False
        if not rom.is_synchronised:
            self._loader_baud = self._line_baud
        return self._loader_baud == self._line_baud

    def _arrive(self, now_s: float) -> None:
        piece = self._inward.take_piece(now_s)
        if self._rom is not None:
            self._react(self._rom.receive(piece), now_s)
        elif self._application is not None:
            try:
                self._application.receive(piece, now_s)
            except PowerCutError:
                self._cut_power(now_s)
                return
            self._pump(now_s)

    # The bootloader

    def _react(self, reaction: Reaction, now_s: float) -> None:
        if not (reaction.answer or reaction.work):
            return
        if self._rom is not None and not self._inward.is_empty:
            self._rom.overrun(self._inward.clear(now_s))
        if reaction.answer:
            self._send(reaction.answer, now_s, may_double=False)
        if reaction.work:
            self._work.extend(reaction.work)
            self._begin_work(now_s)
        elif reaction.then is not Then.GO_ON:
            self._then = (max(now_s, self._outward.free_s), reaction.then)

    def _begin_work(self, now_s: float) -> None:
        self._work_end_s = now_s + self.flash.duration_s(self._work[0]) / self._speed

    def _end_work(self, now_s: float) -> None:
        try:
            accepted = self.flash.perform(self._work[0])
        except PowerCutError:
            self._cut_power(now_s)
            return
        self._work.popleft()
        if accepted and self._work:
            self._begin_work(now_s)
            return
        self._work.clear()
        if self._dfu is not None and self._dfu.is_working:
            self._follow_usb(self._dfu.work_done(accepted=accepted), now_s)
        elif self._rom is not None:
            self._react(self._rom.work_done(accepted=accepted), now_s)

    # The application

    def _pump(self, now_s: float) -> None:
        """Put on the line what the application has, as far as the line has room, and see what it wants."""
        application = self._application
        if application is None:
            return
        self._pump_s = None
        for _ in range(_MOST_ROUNDS):
            if self._outward.free_s > now_s + _LOOK_AHEAD_S:
                self._pump_s = self._outward.free_s - _LOOK_AHEAD_S
                return
            try:
                frames = application.transmit(now_s)
            except PowerCutError:
                self._cut_power(now_s)
                return
            if not frames:
                break
            for frame in frames:
                self._send(frame, now_s, may_double=True)
        self._after_pump(application, now_s)

    def _after_pump(self, application: Application, now_s: float) -> None:
        if application.wants is not None and self._then is None:
            into = Mode.BOOTLOADER if application.wants == "bootloader" else Mode.APPLICATION
            self._then = (max(now_s, self._outward.free_s), into)
            return
        due = application.next_event_s()
        # What is due and had nothing to send is asked again a little later, so that time always goes on.
        self._pump_s = due if due is None or due > now_s else now_s + _SHORTEST_S

    # The way out

    def _send(self, data: bytes, now_s: float, *, may_double: bool) -> None:
        if not self._power.cable:
            return
        if self._plan.spares_frames:
            self._outward.put(data, now_s)
            return
        for piece in self._out_noise.pass_on(data, may_double=may_double):
            self._outward.put(piece, now_s + self._plan.late_s)

    def _through_cable(self, data: bytes, _now_s: float) -> bytes:
        """Return what of `data` goes through before the cable is pulled."""
        if not self._power.cable:
            return b""
        if self._bytes_to_pull is not None:
            data = data[: self._bytes_to_pull]
            self._bytes_to_pull -= len(data)
        return data

    def _pull_if_planned(self, now_s: float) -> None:
        if self._bytes_to_pull == 0:
            self._bytes_to_pull = None
            self._pulled_by_plan = True
            self.pull_cable(now_s)
