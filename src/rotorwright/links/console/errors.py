"""What can go wrong between us and a text console."""

from __future__ import annotations

from rotorwright.errors import NOTHING_SENT, LinkError, ProtocolError

_ONLY_QUESTIONS = "Only questions were asked; nothing was changed."
_IN_MEMORY_ONLY = "What was written before this setting stands in the aircraft's memory, not saved yet."
_PERHAPS_DONE = "Whether it was carried out is not known; ask the aircraft before going on."


class ConsoleSilentError(LinkError):
    """No console answers on this port."""

    id = "console.silent"

    @classmethod
    def on(cls, port: str, *, waited_s: float, heard: str) -> ConsoleSilentError:
        """Return the error for `port`; `heard` says what came instead of the prompt."""
        return cls(
            f"No console answers on {port}: no prompt in {waited_s:.1f} s.",
            why="No application runs (the board may be in its bootloader or its image is incomplete), the baud rate is "
            f"another one, or the dialect does not fit this firmware. Heard: {heard}.",
            state="Only the greeting was sent; nothing was changed.",
            todo="Unplug the board and plug it in again; if it stays silent, check baud rate and dialect, or go on "
            "with its bootloader.",
            port=port,
            heard=heard,
        )


class AnswerCutError(LinkError):
    """An answer of the console did not come to its end."""

    id = "console.answer-cut"

    @classmethod
    def to(cls, words: str, *, port: str, tries: int, heard: str) -> AnswerCutError:
        """Return the error for the question to `words`; `heard` says what came of the last answer."""
        return cls(
            f"The answer to the question to {words} was cut off on {port}"
            + (f", {tries} times." if tries > 1 else "."),
            why=f"The line loses bytes, or the console stopped in the middle. Heard at last: {heard}.",
            state=_PERHAPS_DONE,
            todo="Use a shorter cable or another adapter, close other programs on this port, then try again; where the "
            "console makes pauses and has no prompt, give the dialect a longer quiet_ms.",
            port=port,
            tries=tries,
        )


class AnswerEndlessError(LinkError):
    """What comes over the port never ends."""

    id = "console.answer-endless"
    retry_helps = False

    @classmethod
    def on(cls, port: str, *, count: int, after_s: float) -> AnswerEndlessError:
        """Return the error for `port`: so many bytes came, and no end of the answer within `after_s`."""
        return cls(
            f"What comes over {port} does not end: {count} bytes, and no prompt or silence within {after_s:.0f} s.",
            why="Something sends there all the time, or the prompt in the dialect is not this console's.",
            state=_PERHAPS_DONE,
            todo="Check the prompt in the dialect, and switch off what makes the console talk by itself.",
            port=port,
            bytes=count,
        )


class ListingUnsureError(LinkError):
    """Readings of the settings differ, so none of them can be trusted."""

    id = "console.listing-unsure"

    @classmethod
    def of(cls, readings: int, *, differing: tuple[str, ...]) -> ListingUnsureError:
        """Return the error with the names that are not in each of the last readings."""
        return cls(
            f"No two of {readings} readings of the settings have the same names; the last two differ in "
            f"{len(differing)}: {', '.join(map(ascii, differing[:5]))}.",
            why="The line loses or damages bytes, and a text console has no checksum; or another program types there.",
            state=_ONLY_QUESTIONS,
            todo="Use a shorter cable or another adapter, close other programs on this port, then try again.",
            readings=readings,
            names=", ".join(differing),
        )


class ListingNotUnderstoodError(ProtocolError):
    """The console lists lines that have no place in its dialect."""

    id = "console.line-not-placed"

    @classmethod
    def of(cls, lines: tuple[tuple[int, str], ...]) -> ListingNotUnderstoodError:
        """Return the error for these lines with their numbers; none at all where no setting was listed."""
        first = f"line {lines[0][0]} is {lines[0][1][:120]!a}" if lines else "it has no setting"
        return cls(
            f"The console's listing is not understood: {first}" + (f", {len(lines)} in all." if lines else "."),
            why="The dialect does not know such lines, or the cable damaged them. A setting that is not understood "
            "would be lost.",
            state=_ONLY_QUESTIONS,
            todo="Try again; if it stays so, add the form of that line to the dialect (`rotorwright dialect learn` "
            "finds it from the printed text).",
            lines=len(lines),
            first=lines[0][0] if lines else None,
        )


class AnswerNotUnderstoodError(ProtocolError):
    """The console answers something that its dialect does not say."""

    id = "console.answer-not-understood"

    @classmethod
    def to(cls, words: str, *, heard: str, key: str) -> AnswerNotUnderstoodError:
        """Return the error for the question to `words`; `key` is where the dialect says what the answer looks like."""
        return cls(
            f"The console's answer to the question to {words} is not understood: {heard}.",
            why=f"It has none of the forms that the dialect gives under {key!r}, or the line damages it every time.",
            state=_ONLY_QUESTIONS,
            todo=f"Compare the answer with {key!r} in the dialect's [session]; try another cable.",
            key=key,
        )


class NotInDialectError(ProtocolError):
    """The dialect does not say how the console is asked for something."""

    id = "console.not-in-dialect"

    @classmethod
    def of(cls, words: str, *, dialect: str, key: str) -> NotInDialectError:
        """Return the error for what was to be done, and the key of `[session]` that would say how."""
        return cls(
            f"The dialect {dialect!r} does not say how to {words}.",
            why=f"Its [session] has no key {key!r}, and a line that nobody named is never sent.",
            state=NOTHING_SENT,
            todo=f"If this firmware can do it, add {key!r} to the dialect; see the page of console dialects.",
            dialect=dialect,
            key=key,
        )


class ConsoleRefusedError(ProtocolError):
    """The console refused in words."""

    id = "console.refused"

    @classmethod
    def of(cls, words: str, *, said: str) -> ConsoleRefusedError:
        """Return the error for what was to be done, with what the console said."""
        return cls(
            f"The aircraft refused to {words}.",
            why=f"Its console says: {said!a}.",
            state="It was not carried out.",
            todo="Do as its words say (disarm it, wait until it has started fully), then try again.",
            said=said,
        )


class ConsoleSettingRefusedError(ProtocolError):
    """The console refused a value in words."""

    id = "console.setting-refused"

    @classmethod
    def of(cls, name: str, *, sent: str, kept: str, said: str) -> ConsoleSettingRefusedError:
        """Return the error for `name` with the value sent, the value that stands, and what the console said."""
        return cls(
            f"The aircraft did not take {name} = {sent!a}; it keeps {kept!a}.",
            why=f"Its console says: {said!a}.",
            state=_IN_MEMORY_ONLY,
            todo="Decide this setting anew in the carry-over sheet, within what this release allows.",
            name=name,
            sent=sent,
            kept=kept,
        )


class ConsoleSettingMissingError(ProtocolError):
    """The console lists no setting of this name."""

    id = "console.setting-missing"

    @classmethod
    def named(cls, name: str) -> ConsoleSettingMissingError:
        """Return the error for `name`."""
        return cls(
            f"The aircraft has no setting {name!a}.",
            why="Its console does not list it: it runs another release than the plan is for.",
            state=_IN_MEMORY_ONLY,
            todo="Read the settings again and make a new plan.",
            name=name,
        )


class ConsoleIdentityError(ProtocolError):
    """The console does not say surely who the aircraft is."""

    id = "console.identity-unusable"

    @classmethod
    def because(cls, what: str, *, why: str) -> ConsoleIdentityError:
        """Return the error."""
        return cls(
            what,
            why=why,
            state=_ONLY_QUESTIONS,
            todo="Restart the aircraft and try again; without a sure identity nothing is written to it.",
        )


class NoCatalogueError(ProtocolError):
    """A text console tells no catalogue of its settings."""

    id = "console.no-catalogue"

    @classmethod
    def on(cls, port: str) -> NoCatalogueError:
        """Return the error for the console on `port`."""
        return cls(
            f"The console on {port} offers no catalogue of its settings.",
            why="A text console prints names and values only.",
            state=NOTHING_SENT,
            todo="Go on without it, or with a release book that has the catalogue.",
            port=port,
        )


class ConsoleFileMissingError(ProtocolError):
    """A text console has no such file."""

    id = "console.file-missing"

    @classmethod
    def named(cls, path: str) -> ConsoleFileMissingError:
        """Return the error for `path`."""
        return cls(
            f"A text console has no file {path}.",
            why="Only the display characters can be read and written there, and only if the dialect says how.",
            state=NOTHING_SENT,
            todo="Go on without that file.",
            path=path,
        )
