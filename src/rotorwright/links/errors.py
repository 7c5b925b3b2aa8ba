"""What can go wrong between this computer and the port, whatever the protocol."""

from __future__ import annotations

from rotorwright.errors import LinkError, ProtocolError

_WHAT_WAS_SENT_IS_UNSURE = (
    "What was sent before is there; whether the last message arrived is not known. Saved settings are on this computer."
)


class PortMissingError(LinkError):
    """No port of this name is there."""

    id = "link.port-missing"

    @classmethod
    def named(cls, name: str, *, detail: str = "") -> PortMissingError:
        """Return the error for the port `name`; `detail` is what the system said."""
        return cls(
            f"There is no port {name}.",
            why=f"The cable is not plugged, the board has no power, or the port has another name now.{_said(detail)}",
            todo="Plug the cable, then look with `rotorwright ports` which port came.",
            port=name,
        )


class PortBusyError(LinkError):
    """Another program holds the port."""

    id = "link.port-busy"

    @classmethod
    def named(cls, name: str, *, detail: str = "") -> PortBusyError:
        """Return the error for the port `name`; `detail` is what the system said."""
        return cls(
            f"The port {name} is held by another program.",
            why=f"Two programs on one port would take each other's bytes, so only one may have it.{_said(detail)}",
            todo="Close the other program (a terminal, another Rotorwright, a modem service), then try again.",
            port=name,
        )


class PortForbiddenError(LinkError):
    """This user may not open the port."""

    id = "link.port-forbidden"
    retry_helps = False

    @classmethod
    def named(cls, name: str, *, group: str = "", detail: str = "") -> PortForbiddenError:
        """Return the error for the port `name`, which belongs to `group` where the system has groups."""
        todo = "Ask whoever looks after this computer for the right to open serial ports."
        if group:
            todo = f"Join the group once with `sudo usermod -aG {group} $USER`, log out and in again, then try again."
        return cls(
            f"This user may not open the port {name}.",
            why=(f"The port belongs to the group {group!r}." if group else "The system refuses it.") + _said(detail),
            todo=todo,
            port=name,
            group=group,
        )


class PortUnusableError(LinkError):
    """The port is there, but it cannot be set up as a serial line."""

    id = "link.port-unusable"
    retry_helps = False

    @classmethod
    def named(cls, name: str, *, detail: str) -> PortUnusableError:
        """Return the error for the port `name`; `detail` is what the system said."""
        return cls(
            f"The port {name} cannot be used as a serial line.",
            why=f"It is no serial port, or its driver does not know what was asked for.{_said(detail)}",
            todo="Look with `rotorwright ports` which ports are serial ports; try another adapter or driver.",
            port=name,
        )


class ParityNotKeptError(LinkError):
    """A hardware port did not take even parity, which the ROM bootloader needs."""

    id = "link.parity-not-kept"
    retry_helps = False

    @classmethod
    def named(cls, name: str) -> ParityNotKeptError:
        """Return the error for the port `name`."""
        return cls(
            f"The port {name} does not take even parity.",
            why="The ROM bootloader talks with even parity only; the driver or adapter of this port left it out.",
            todo="Use another adapter, or connect the board by its own USB socket.",
            port=name,
        )


class PortVanishedError(LinkError):
    """The port went away while it was open."""

    id = "link.port-vanished"

    @classmethod
    def named(cls, name: str, *, detail: str = "") -> PortVanishedError:
        """Return the error for the port `name`; `detail` is what the system said."""
        return cls(
            f"The port {name} went away while it was in use.",
            why=f"The cable came out, the board lost its power, or it started anew.{_said(detail)}",
            state=_WHAT_WAS_SENT_IS_UNSURE,
            todo="Plug the cable again, wait until `rotorwright ports` shows the port, then go on.",
            port=name,
        )


class PortStalledError(LinkError):
    """The port takes no more bytes."""

    id = "link.port-stalled"

    @classmethod
    def named(cls, name: str, *, timeout_s: float) -> PortStalledError:
        """Return the error for the port `name` that took nothing for `timeout_s`."""
        return cls(
            f"The port {name} took no bytes for {timeout_s:g} s.",
            why="The other end does not take what is sent: the board hangs, or the adapter waits for flow control.",
            state=_WHAT_WAS_SENT_IS_UNSURE,
            todo="Take the power off the board, put it on again, then try again.",
            port=name,
        )


class NoAnswerError(LinkError):
    """The aircraft does not answer."""

    id = "link.no-answer"

    @classmethod
    def to(cls, question: str, *, port: str, tries: int, waited_s: float, heard: str) -> NoAnswerError:
        """Return the error for `question` asked `tries` times; `heard` says what came over the line instead."""
        return cls(
            f"No answer to {question} on {port} after {tries} {'try' if tries == 1 else 'tries'} in {waited_s:.1f} s.",
            why=f"The line lost it, the board is busy, or it speaks something else there. Heard meanwhile: {heard}.",
            state="Whether the aircraft took the last message is not known; nothing else was sent to it.",
            todo="Check cable and baud rate; take the power off the board and put it on again, then try again.",
            port=port,
            question=question,
            tries=tries,
        )


class StreamNotOfferedError(ProtocolError):
    """The aircraft, or the way it is spoken to, does not tell what was to be watched."""

    id = "link.stream-not-offered"

    @classmethod
    def of(cls, stream: str, *, because: str) -> StreamNotOfferedError:
        """Return the error for a stream, with why it does not come."""
        return cls(
            f"The aircraft does not tell its {stream}.",
            why=because,
            state="Only questions were asked; nothing was changed.",
            todo="What needs it stays not shown; use the link by messages if the firmware has one.",
            stream=stream,
        )


def _said(detail: str) -> str:
    return f" The system said: {detail}." if detail else ""
