"""What can go wrong between us and a running application."""

from __future__ import annotations

from rotorwright.errors import NOTHING_SENT, LinkError, ProtocolError

_ONLY_QUESTIONS = "Only questions were asked; nothing was changed."
_IN_MEMORY_ONLY = "What was written before this setting stands in the aircraft's memory, not saved yet."


class HeartbeatMissingError(LinkError):
    """No application speaks on this port."""

    id = "mavlink.no-heartbeat"

    @classmethod
    def on(cls, port: str, *, waited_s: float, heard: str) -> HeartbeatMissingError:
        """Return the error for `port`; `heard` says what came instead."""
        return cls(
            f"No aircraft speaks on {port}: no heartbeat in {waited_s:.1f} s.",
            why="No application runs (the board may be in its bootloader or its image is incomplete), the baud rate is "
            f"another one, or this is the port of something else. Heard: {heard}.",
            state=NOTHING_SENT,
            todo="Unplug the board and plug it in again; if it stays silent, go on with its bootloader.",
            port=port,
            heard=heard,
        )


class CommandRefusedError(ProtocolError):
    """The aircraft refused a command."""

    id = "mavlink.command-refused"

    @classmethod
    def of(cls, command: str, *, result: int, words: str) -> CommandRefusedError:
        """Return the error for `command` with the number of the result and what it means."""
        return cls(
            f"The aircraft refused to {command}: {words}.",
            why=f"It answered with result {result}.",
            state="The command was not carried out.",
            todo="Disarm it, wait until it has started fully, then try again.",
            command=command,
            result=result,
        )


class EncodingUnknownError(ProtocolError):
    """The aircraft does not say in which way it sends whole numbers."""

    id = "mavlink.encoding-unknown"

    @classmethod
    def with_capabilities(cls, capabilities: int) -> EncodingUnknownError:
        """Return the error for an aircraft with these capabilities."""
        return cls(
            "The aircraft does not say how it encodes the values of its settings.",
            why=f"Its capabilities ({capabilities:#x}) name both ways that there are, or neither; to guess would turn "
            "whole numbers into wrong ones.",
            state=_ONLY_QUESTIONS,
            todo="Ask for support of this firmware; until then it cannot be saved with this tool.",
            capabilities=capabilities,
        )


class SettingsIncompleteError(LinkError):
    """Some settings could not be read, however often they were asked for."""

    id = "mavlink.settings-incomplete"

    @classmethod
    def missing(cls, missing: int, total: int, *, first: int, tries: int) -> SettingsIncompleteError:
        """Return the error for `missing` of `total` settings, the first of them at index `first`."""
        return cls(
            f"{missing} of {total} settings did not come, though each was asked for up to {tries} times.",
            why=f"The line loses too much, or the aircraft never answers for these (the first has index {first}).",
            state=_ONLY_QUESTIONS,
            todo="Use a shorter cable or another adapter, close other programs on the same link, then try again.",
            missing=missing,
            total=total,
            first_index=first,
        )


class SettingsChangedWhileReadError(ProtocolError):
    """The list of settings did not stay the same long enough to be read."""

    id = "mavlink.settings-changed"
    retry_helps = True

    @classmethod
    def after(cls, restarts: int, *, because: str) -> SettingsChangedWhileReadError:
        """Return the error with what changed at last."""
        return cls(
            f"The list of settings changed while it was read, {restarts} times in a row: {because}.",
            why="The aircraft is still starting, or another program changes it at this moment.",
            state=_ONLY_QUESTIONS,
            todo="Wait until the aircraft has started, close other programs that talk to it, then try again.",
            restarts=restarts,
        )


class SettingBadError(ProtocolError):
    """The aircraft sent a setting that cannot be one."""

    id = "mavlink.setting-bad"

    @classmethod
    def at(cls, index: int, *, name: str, because: str) -> SettingBadError:
        """Return the error for the setting at `index`."""
        return cls(
            f"The setting with index {index} ({name!r}) cannot be read: {because}.",
            why="The firmware sends something that this tool does not know; nothing is guessed.",
            state=_ONLY_QUESTIONS,
            todo="Ask for support of this firmware; until then it cannot be saved with this tool.",
            index=index,
            name=name,
        )


class SettingMissingError(ProtocolError):
    """The aircraft has no setting of this name."""

    id = "mavlink.setting-missing"

    @classmethod
    def named(cls, name: str) -> SettingMissingError:
        """Return the error for `name`."""
        return cls(
            f"The aircraft has no setting {name!r}.",
            why="It runs another release than the plan is for.",
            state=_IN_MEMORY_ONLY,
            todo="Read the settings again and make a new plan.",
            name=name,
        )


class SettingRefusedError(ProtocolError):
    """The aircraft keeps another value than the one that was written."""

    id = "mavlink.setting-refused"

    @classmethod
    def of(cls, name: str, *, sent: str, kept: str, said: str = "") -> SettingRefusedError:
        """Return the error for `name` with the value sent, the value the aircraft keeps, and what it said about it."""
        return cls(
            f"The aircraft did not take {name} = {sent}; it keeps {kept}.",
            why=f'It says: "{said}".' if said else "It does not allow this value, or not now.",
            state=_IN_MEMORY_ONLY,
            todo="Decide this setting anew in the carry-over sheet, within what this release allows.",
            name=name,
            sent=sent,
            kept=kept,
        )


class SettingNotSendableError(ProtocolError):
    """The parameter messages have no exact form for this setting, so nothing was sent."""

    id = "mavlink.setting-not-sendable"

    @classmethod
    def of(cls, name: str, *, because: str) -> SettingNotSendableError:
        """Return the error for `name`."""
        return cls(
            f"{ascii(name)[1:-1]} cannot be written by MAVLink: {because}.",
            why="Sent in another form it would arrive as another value; nothing is rounded or cut in silence.",
            todo="Leave this setting out of the carry-over sheet, or write it by the text console of the aircraft.",
            name=ascii(name)[1:-1],
        )


class FileRefusedError(ProtocolError):
    """The aircraft refused something about a file."""

    id = "mavlink.file-refused"

    @classmethod
    def of(cls, path: str, *, doing: str, words: str, code: int, state: str = _ONLY_QUESTIONS) -> FileRefusedError:
        """Return the error for `path`: what was to be done, and the aircraft's reason in words and as a number."""
        return cls(
            f"The aircraft refused to {doing} {path}: {words}.",
            why=f"It gave the reason number {code}.",
            state=state,
            todo="Restart the aircraft and try again; if it refuses again, this firmware has no such file.",
            path=path,
            code=code,
        )


class FileMissingError(FileRefusedError):
    """The aircraft has no file of this name."""

    id = "mavlink.file-missing"


class FileDamagedError(ProtocolError):
    """A file came over the line, and its checksum is not the one that the aircraft names."""

    id = "mavlink.file-damaged"
    retry_helps = True

    @classmethod
    def of(cls, path: str, *, expected: int, found: int, state: str = _ONLY_QUESTIONS) -> FileDamagedError:
        """Return the error for `path` with both checksums."""
        return cls(
            f"The file {path} does not match: checksum {found:08x}, the aircraft says {expected:08x}.",
            why="The file changed while it was moved, or the aircraft does not keep what is written to it. A display "
            "chip without its main battery takes a write and forgets it.",
            state=state,
            todo="Try again; for the display, plug the main battery in first, propellers off.",
            path=path,
            expected=expected,
            found=found,
        )


class MetadataUnusableError(ProtocolError):
    """What the aircraft says about its own settings cannot be used."""

    id = "mavlink.metadata-unusable"

    @classmethod
    def of(cls, where: str, *, because: str) -> MetadataUnusableError:
        """Return the error for the file or message `where`."""
        return cls(
            f"The aircraft's description of its settings cannot be used: {where}: {because}.",
            why="This firmware offers none, or one that breaks the open schema.",
            state=_ONLY_QUESTIONS,
            todo="Go on without it, or with a release book that has the catalogue.",
            where=where,
        )


class IdentityUnusableError(ProtocolError):
    """The aircraft does not say who it is, or contradicts itself."""

    id = "mavlink.identity-unusable"

    @classmethod
    def because(cls, what: str, *, why: str) -> IdentityUnusableError:
        """Return the error."""
        return cls(
            what,
            why=why,
            state=_ONLY_QUESTIONS,
            todo="Restart the aircraft and try again; without a sure identity nothing is written to it.",
        )


class TelemetryMissingError(ProtocolError):
    """The aircraft does not measure what was asked for."""

    id = "mavlink.telemetry-missing"

    @classmethod
    def of(cls, quantity: str) -> TelemetryMissingError:
        """Return the error for `quantity`."""
        return cls(
            f"The aircraft does not tell its {quantity}.",
            why="It has no sensor for it, or the sensor is not set up.",
            state=_ONLY_QUESTIONS,
            todo="Check the sensor's settings and plug; measure by hand where the step allows it.",
            quantity=quantity,
        )
