"""Ports as a person reads them: what is plugged in, what came and went, and what to do when nothing comes."""

from __future__ import annotations

import json
import sys
from functools import partial
from typing import TYPE_CHECKING

from rich.markup import escape

from rotorwright.cli.console import out, print_json
from rotorwright.links.clock import RealClock
from rotorwright.links.port_access import may_open
from rotorwright.links.port_advice import NOTHING_CAME, advice_text, serial_group, system_of
from rotorwright.links.port_holders import holders_of
from rotorwright.links.ports import PortChange, PortKind, list_attached, watch_ports
from rotorwright.links.udev_rule import RULE_FILE, RULE_TEXT, Installed, install_rule
from rotorwright.links.usb_facts import DeviceRole, UsbFact

QUIET_LOOKS = 60  # a quarter of a minute at four looks a second

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable
    from pathlib import Path

    from rotorwright.firmware.board import Board
    from rotorwright.links.ports import PortInfo
    from rotorwright.links.wire import Clock


def book_facts(book: Path | None) -> tuple[UsbFact, ...]:
    """Return what a release book says of the USB numbers of its boards; nothing without a book.

    Raises:
        BookFormError: the book cannot be read.
    """
    if book is None:
        return ()
    from rotorwright.hangar.books import read_book

    opened = read_book(book)
    return board_facts(opened.boards, source=f"release book of {opened.family} ({book})")


def board_facts(boards: Iterable[Board], *, source: str) -> tuple[UsbFact, ...]:
    """Return a row for each pair of USB numbers; boards that share one are named together, none is chosen."""
    names: dict[tuple[int, int], list[str]] = {}
    for board in boards:
        for numbers in board.usb_ids:
            names.setdefault(numbers, []).append(board.name)
    return tuple(
        UsbFact(DeviceRole.APPLICATION, f"{' or '.join(named)} application", source, vendor, product)
        for (vendor, product), named in names.items()
    )


def print_ports(*, as_json: bool, facts: Collection[UsbFact] = ()) -> int:
    """List what is plugged in now; `facts` are what a release book says of USB numbers."""
    found = list_attached(more_facts=facts)
    if as_json:
        print_json([_facts(port) for port in found])
        return 0
    for port in found:
        _print_port(port)
    if not found:
        _say(advice_text(system_of(), group=serial_group()))
    return 0


def print_advice(*, as_json: bool) -> int:
    """Say what to do when nothing comes, in the order of trying, for this system."""
    if as_json:
        print_json(_advice())
    else:
        _say(advice_text(system_of(), group=serial_group()))
    return 0


def watch_and_print(
    *,
    as_json: bool,
    clock: Clock | None = None,
    look: Callable[[], tuple[PortInfo, ...]] | None = None,
    timeout_s: float | None = None,
    facts: Collection[UsbFact] = (),
) -> int:
    """Show what is there, then what comes and goes until Ctrl-C; after a while of nothing, say what to try."""
    try:
        if not as_json:
            _say("Unplug the aircraft, then plug it in again: what goes and comes is its own. Ctrl-C ends this.")
        _watch(clock or RealClock(), look or partial(list_attached, more_facts=facts), timeout_s, as_json=as_json)
    except KeyboardInterrupt:  # the way in which this ends, as it says at its start
        if not as_json:
            out.print()
    return 0


def _watch(clock: Clock, look: Callable[[], tuple[PortInfo, ...]], timeout_s: float | None, *, as_json: bool) -> None:
    before = look()
    for port in before:
        _tell("there", port, as_json=as_json)
    quiet_looks = 0
    for event in watch_ports(clock, look=look, before=before, timeout_s=timeout_s):
        quiet_looks = quiet_looks + 1 if event is None else 0
        if event is not None:
            _tell(event.change, event.port, as_json=as_json)
        elif quiet_looks == QUIET_LOOKS:
            _tell_nothing_came(as_json=as_json)


def udev_rule(*, install: bool) -> int:
    """Print the rule by which Linux lets this user open ports and bootloaders; put it in place only if asked."""
    if not install:
        sys.stdout.write(RULE_TEXT)
        return 0
    if install_rule() is Installed.WAS_THERE:
        _say(f"{RULE_FILE} is there already, word for word. Nothing was changed.")
        return 0
    _say(f"The rule is in {RULE_FILE}. Plug the aircraft in again; `rotorwright ports` says whether you may open it.")
    _say("If it still may not: `sudo udevadm control --reload`, and plug it in once more.")
    return 0


def _tell(word: str, port: PortInfo, *, as_json: bool) -> None:
    if as_json:
        _print_line({"change": word, **(port.as_json() if word == PortChange.WENT else _facts(port))})
    else:
        out.print(f"{word:<6}", end="")
        _print_port(port, is_here=word != PortChange.WENT)


def _tell_nothing_came(*, as_json: bool) -> None:
    if as_json:
        _print_line({"change": "nothing", "causes": _advice()})
    else:
        _say(advice_text(system_of(), group=serial_group()))


def _advice() -> list[dict[str, str]]:
    system, group = system_of(), serial_group()
    return [{"what": cause.what, "sign": cause.sign, "todo": cause.todo(system, group=group)} for cause in NOTHING_CAME]


def _facts(port: PortInfo) -> dict[str, object]:
    """Return a port with what can only be asked while it is there: who holds it, whether we may open it."""
    held = None if port.kind is PortKind.DRIVE else holders_of(port.opened_file).as_json()
    return {**port.as_json(), "held_by": held, "may_open": may_open(port.opened_file)}


def _print_port(port: PortInfo, *, is_here: bool = True) -> None:
    known = [str(port.role), port.description]
    if port.role in {DeviceRole.APPLICATION, DeviceRole.BOOTLOADER}:
        known.append(f"known by: {port.why}")
    if port.usb is not None:
        known.append(f"{port.usb}" + (f", serial number {port.usb.serial_number}" if port.usb.serial_number else ""))
    if port.leads_to:
        known.append(f"leads to {port.leads_to}")
    if is_here:
        known += _standing(port)
    _say(f"{port.name}  {'; '.join(word for word in known if word)}")


def _standing(port: PortInfo) -> list[str]:
    words = [] if port.kind is PortKind.DRIVE else [holders_of(port.opened_file).words]
    if may_open(port.opened_file) is False:
        words.append("this user may not open it, see `rotorwright ports --nothing-came`")
    return words


def _print_line(value: dict[str, object]) -> None:
    """Print one JSON object on one line, at once, for whoever reads along."""
    sys.stdout.write(json.dumps(value, ensure_ascii=False) + "\n")
    sys.stdout.flush()


def _say(words: str) -> None:
    out.print(escape(words), soft_wrap=True)
