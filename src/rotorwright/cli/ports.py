"""Ports as a person reads them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.markup import escape

from rotorwright.cli.console import out, print_json
from rotorwright.links.clock import RealClock
from rotorwright.links.ports import NOTHING_CAME, list_ports, watch_ports

if TYPE_CHECKING:
    from rotorwright.links.ports import PortInfo


def print_ports(*, as_json: bool) -> int:
    """List the ports that are there now."""
    found = list_ports()
    if as_json:
        print_json([_facts(port) for port in found])
        return 0
    for port in found:
        out.print(f"{escape(port.name)}  {escape(port.words)}", soft_wrap=True)
    if not found:
        _print_nothing_came()
    return 0


def watch_and_print(*, as_json: bool) -> int:
    """Show what comes and goes until the person stops it."""
    if not as_json:
        out.print("Unplug the aircraft, then plug it in again. The port that goes and comes is its port. Ctrl-C stops.")
    for event in watch_ports(RealClock()):
        if as_json:
            print_json({"change": str(event.change), **_facts(event.port)})
        else:
            out.print(f"{event.change}  {escape(event.port.name)}  {escape(event.port.words)}", soft_wrap=True)
    return 0


def _print_nothing_came() -> None:
    out.print("No serial port is there. In this order of trying:")
    for cause in NOTHING_CAME:
        out.print(f"  {escape(cause.name)}: {escape(cause.todo)}", soft_wrap=True)


def _facts(port: PortInfo) -> dict[str, object]:
    return {"name": port.name, "description": port.words}
