"""Ports as a person reads them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.markup import escape

from rotorwright.cli.console import out, print_json
from rotorwright.links.clock import RealClock
from rotorwright.links.ports import NOTHING_CAME, list_ports, watch_ports

QUIET_LOOKS = 60  # a quarter of a minute at four looks a second

if TYPE_CHECKING:
    from rotorwright.links.ports import PortInfo


def print_ports(*, as_json: bool) -> int:
    """List the ports that are there now."""
    found = list_ports()
    if as_json:
        print_json([port.as_json() for port in found])
        return 0
    for port in found:
        _print_port(port)
    if not found:
        _print_nothing_came()
    return 0


def watch_and_print(*, as_json: bool) -> int:
    """Show what comes and goes until the person stops it; after a while of nothing, say what to try."""
    if not as_json:
        out.print("Unplug the aircraft, then plug it in again: the port that goes and comes is its own. Ctrl-C stops.")
    looks_without_change = 0
    for event in watch_ports(RealClock()):
        if event is None:
            looks_without_change += 1
            if looks_without_change == QUIET_LOOKS and not as_json:
                _print_nothing_came()
        elif as_json:
            print_json({"change": str(event.change), **event.port.as_json()})
        else:
            out.print(f"{event.change}  ", end="")
            _print_port(event.port)
    return 0


def _print_port(port: PortInfo) -> None:
    known = [port.description, str(port.usb) if port.usb else "", f"leads to {port.leads_to}" if port.leads_to else ""]
    out.print(f"{escape(port.name)}  {escape(', '.join(word for word in known if word))}", soft_wrap=True)


def _print_nothing_came() -> None:
    out.print("No port came. In this order of trying:")
    for cause in NOTHING_CAME:
        out.print(f"  {escape(cause.what)}: {escape(cause.sign)} {escape(cause.todo)}", soft_wrap=True)
