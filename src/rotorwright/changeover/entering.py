"""Into the bootloader: it is there already, by software, or by the person's hands; then by the way that it shows.

Common practice, no source: a board on USB goes away from its serial port when its bootloader starts, and comes back as
another device, under whatever name. So a bootloader on USB is told by its class, and a drive by its info file; one that
was there before we asked for ours is somebody else's.
"""

from __future__ import annotations

from contextlib import ExitStack, contextmanager
from typing import TYPE_CHECKING

from rotorwright.changeover.bootloaders import Bootloader, DriveBootloader, FlashBootloader
from rotorwright.changeover.errors import BoardSilentError, DrivesSeveralError
from rotorwright.changeover.events import EventKind
from rotorwright.changeover.person import BootButtonRequest
from rotorwright.changeover.reading import FIRST_HEARTBEAT_S
from rotorwright.changeover.ways import WriteWay
from rotorwright.errors import LinkError, ProtocolError
from rotorwright.links.rom_uart.client import RomUartLoader
from rotorwright.links.rom_uart.rates import next_lower_rate
from rotorwright.links.usb_dfu.client import UsbDfuLoader
from rotorwright.links.usb_dfu.errors import DfuUnusableError, UsbLibraryMissingError
from rotorwright.links.wire import LineSettings, Parity

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rotorwright.changeover.workshop import Workshop
    from rotorwright.links.usb_dfu.usb_port import DfuDevice, UsbBus

BUTTON_TRIES = 3
APPEARS_S = 10.0  # common practice, no source: a bootloader on USB is there within ten seconds
LOWEST_RATE = 57_600  # own choice: below that a write takes many minutes, and the cause is another
LOOK_S = 0.25  # own choice: quicker than a person


@contextmanager
def bootloader(shop: Workshop) -> Iterator[Bootloader]:
    """Talk to the bootloader of the board, bringing the board into it by software, else by the person's hands.

    Raises:
        BoardSilentError: it does not answer, whatever was tried.
    """
    with ExitStack() as stack:
        found = _already_there(shop, stack, 0.0) if shop.state.is_in_bootloader else None
        found = found or _by_software(shop, stack) or _by_button(shop, stack)
        if found is None:
            raise BoardSilentError.after_button(shop.port.name)
        yield found


@contextmanager
def bootloader_if_it_answers(shop: Workshop) -> Iterator[Bootloader | None]:
    """Talk to the bootloader if it is there now; None when it is not."""
    with ExitStack() as stack:
        yield _already_there(shop, stack, 0.0)


def _by_software(shop: Workshop, stack: ExitStack) -> Bootloader | None:
    shop.other_bootloaders = _in_sight(shop)
    try:
        with shop.listening(FIRST_HEARTBEAT_S) as link:
            shop.require_received(link)
            shop.note(EventKind.BOOTLOADER_WANTED, by="software")
            link.reboot_to_bootloader()
            shop.was_sent_to_bootloader = True
    except LinkError as silence:
        shop.person.tell(f"The application does not answer. {silence.what}")
        shop.other_bootloaders = frozenset()  # what is in sight may be our own board
    return _already_there(shop, stack, APPEARS_S)


def _by_button(shop: Workshop, stack: ExitStack) -> Bootloader | None:
    for attempt in range(BUTTON_TRIES):
        if attempt:
            _step_down(shop)
        shop.note(EventKind.BOOTLOADER_WANTED, by="button")
        shop.was_sent_to_bootloader, shop.other_bootloaders = False, frozenset()
        if not shop.person.act(BootButtonRequest("The board does not answer by itself.")):
            return None
        found = _already_there(shop, stack, APPEARS_S)
        if found is not None:
            return found
    return None


def _step_down(shop: Workshop) -> None:
    """Take the next lower rate for the UART: the one before was not answered, and each reset measures it anew."""
    lower = next_lower_rate(shop.loader_baud)
    if shop.state.way in {WriteWay.AUTO, WriteWay.UART} and lower is not None and lower >= LOWEST_RATE:
        shop.loader_baud = lower
        shop.person.tell(f"The bootloader is spoken to at {lower} baud from here on, if it is on the UART.")


def _in_sight(shop: Workshop) -> frozenset[str]:
    """Return the bootloaders on USB and the drives that are there now."""
    devices = _on_bus(shop)[1]
    return frozenset({*(device.place for device in devices), *(str(drive.folder) for drive in shop.drives())})


def _on_bus(shop: Workshop) -> tuple[UsbBus | None, tuple[DfuDevice, ...]]:
    """Return the bus and the bootloaders on it; nothing where no way leads over USB.

    Raises:
        UsbLibraryMissingError: there is no USB library, and USB was asked for by name.
    """
    if shop.usb is None or shop.state.way not in {WriteWay.AUTO, WriteWay.USB}:
        return None, ()
    try:
        bus = shop.usb()
        return bus, bus.devices()
    except (UsbLibraryMissingError, DfuUnusableError):
        if shop.state.way is WriteWay.USB:
            raise
        return None, ()


def _already_there(shop: Workshop, stack: ExitStack, patience_s: float) -> Bootloader | None:
    """Return the bootloader by the first way on which it shows itself within `patience_s`; None if it does not."""
    deadline_s = shop.clock.now_s() + patience_s
    while True:
        found = _on_uart(shop, stack) or _on_usb(shop, stack) or _on_drive(shop)
        if found is not None:
            return found
        if not _may_appear(shop) or shop.clock.now_s() >= deadline_s:
            return None
        shop.clock.sleep_s(LOOK_S)


def _may_appear(shop: Workshop) -> bool:
    """Answer whether waiting may help: the UART is asked at once, a device on USB takes its time."""
    way = shop.state.way
    return way in {WriteWay.USB, WriteWay.DRIVE} or (way is WriteWay.AUTO and shop.usb is not None)


def _on_uart(shop: Workshop, stack: ExitStack) -> Bootloader | None:
    if shop.state.way not in {WriteWay.AUTO, WriteWay.UART}:
        return None
    if _may_appear(shop) and not shop.port.is_present():
        return None  # it will not come back while the board shows itself otherwise
    with ExitStack() as trial:
        try:
            wire = trial.enter_context(shop.wire(LineSettings(shop.loader_baud, Parity.EVEN)))
            loader = RomUartLoader(wire, shop.clock)
            loader.synchronise()
        except (LinkError, ProtocolError):
            return None
        stack.push(trial.pop_all())
        return FlashBootloader(
            loader,
            WriteWay.UART,
            f"ROM bootloader, protocol version {loader.info().version}",
            unproved=lambda _unique_id: (),
        )


def _on_usb(shop: Workshop, stack: ExitStack) -> Bootloader | None:
    bus, devices = _on_bus(shop)
    ours = [device for device in devices if device.place not in shop.other_bootloaders]
    if bus is None or not ours:
        return None
    wanted = ours[0].place if len(ours) == 1 else ""  # the bus itself refuses to choose among several
    loader = UsbDfuLoader.open(bus, shop.clock, wanted=wanted)
    stack.callback(loader.close)
    return FlashBootloader(
        loader,
        WriteWay.USB,
        f"bootloader on USB, {loader.name}",
        unproved=lambda unique_id: loader.unproved(unique_id=unique_id),
        layout=tuple(loader.layout.sectors),
    )


def _on_drive(shop: Workshop) -> Bootloader | None:
    if shop.state.way not in {WriteWay.AUTO, WriteWay.DRIVE}:
        return None
    ours = [drive for drive in shop.drives() if str(drive.folder) not in shop.other_bootloaders]
    if len(ours) > 1:
        raise DrivesSeveralError.among([str(drive.folder) for drive in ours])
    return DriveBootloader(ours[0], shop.clock, shop.drives, shop.drive_files) if ours else None
