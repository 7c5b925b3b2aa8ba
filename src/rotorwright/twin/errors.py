"""Errors of the virtual aircraft, for the person who set it up. What the aircraft does wrong is a fault, no error."""

from __future__ import annotations

from typing import ClassVar

from rotorwright.errors import Blame, LinkError, RotorwrightError


class TwinError(RotorwrightError):
    """The virtual aircraft cannot be set up or reached as asked."""

    id = "twin"
    exit_code = 2
    blame: ClassVar[Blame] = Blame.PERSON


class FaultPlanError(TwinError):
    """A fault that was asked for cannot be understood."""

    id = "twin.fault-plan"


class TwinStateError(TwinError):
    """The state folder of a virtual aircraft cannot be used."""

    id = "twin.state-folder"
    exit_code = 8
    blame: ClassVar[Blame] = Blame.SURROUNDINGS


class TwinInUseError(TwinError):
    """Another process already keeps this virtual aircraft alive."""

    id = "twin.in-use"
    exit_code = 8


class TwinPlatformError(TwinError):
    """This operating system has no pseudo-terminals."""

    id = "twin.no-pseudo-terminal"
    exit_code = 3
    blame: ClassVar[Blame] = Blame.SURROUNDINGS


class TwinNotRunningError(TwinError):
    """Nobody keeps this virtual aircraft alive, or it does not answer the hands."""

    id = "twin.not-running"
    exit_code = 3
    blame: ClassVar[Blame] = Blame.SURROUNDINGS
    retry_helps: ClassVar[bool] = True


class HandsRefusedError(TwinError):
    """The hands were asked for something that they cannot do."""

    id = "twin.hands-refused"


class TwinLineGoneError(LinkError):
    """The in-memory line of a virtual aircraft is not there: its cable is pulled, or the line was closed."""

    id = "twin.line-gone"


class TwinLineBusyError(LinkError):
    """The in-memory line of a virtual aircraft is already open."""

    id = "twin.line-busy"
    retry_helps: ClassVar[bool] = False
