"""Who holds a port. Only Linux tells, through its list of open files; elsewhere it is not known, and that is said."""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass
from pathlib import Path

PROCESSES = Path("/proc")


@dataclass(frozen=True, slots=True)
class Holder:
    """A program that has a port open."""

    process_id: int
    command: str

    def __str__(self) -> str:
        return f"{self.command} (process {self.process_id})"


@dataclass(frozen=True, slots=True)
class Holders:
    """Who holds a port, as far as it can be seen.

    Args:
        is_known: this system tells at all.
        holders: the programs that have it open.
        hidden: how many programs of other users could not be looked into.
    """

    is_known: bool
    holders: tuple[Holder, ...] = ()
    hidden: int = 0

    @property
    def words(self) -> str:
        """Who holds it, for a person."""
        if self.holders:
            return f"held by {', '.join(str(holder) for holder in self.holders)}"
        if not self.is_known:
            return "who holds it is not known on this system"
        if self.hidden:
            return f"no program of yours holds it; {self.hidden} of other users cannot be looked into"
        return "nobody holds it"

    def as_json(self) -> list[dict[str, object]] | None:
        """Return the programs as plain data; None where it is not known."""
        if not self.is_known or (self.hidden and not self.holders):
            return None
        return [{"process": holder.process_id, "command": holder.command} for holder in self.holders]


def holders_of(name: str, *, processes: Path = PROCESSES, system: str = sys.platform) -> Holders:
    """Return who has the device `name` open now; links are followed. Nothing is opened or sent for it."""
    if system != "linux":
        return Holders(is_known=False)
    wanted = os.path.realpath(name)
    found: list[Holder] = []
    hidden = 0
    for process in _processes(processes):
        try:
            if _has_open(process, wanted):
                found.append(Holder(int(process.name), _command_of(process)))
        except PermissionError:
            hidden += 1
        except OSError:  # it ended while we looked
            continue
    return Holders(is_known=True, holders=tuple(found), hidden=hidden)


def _processes(folder: Path) -> list[Path]:
    try:
        return sorted((one for one in folder.iterdir() if one.name.isdigit()), key=lambda one: int(one.name))
    except OSError:
        return []


def _has_open(process: Path, wanted: str) -> bool:
    return any(_leads_to(link) == wanted for link in (process / "fd").iterdir())


def _leads_to(link: Path) -> str:
    try:
        return str(link.readlink())
    except OSError:  # closed while we looked
        return ""


def _command_of(process: Path) -> str:
    try:
        return (process / "comm").read_text(encoding="utf-8", errors="replace").strip() or "a program without a name"
    except OSError:
        return "a program without a name"
