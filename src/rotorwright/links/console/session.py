"""One line out, one answer back: where an answer ends, what in it is echo or prompt, whether it refuses.

An answer is whole when the prompt stands alone at its end; where no prompt is known, when silence came at the end of a
line (or at once: such a console may say nothing to an order). Everything else was cut off, and nothing in it counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from rotorwright.links.console.errors import AnswerEndlessError
from rotorwright.links.console.spec import ENTER_STEP, GREETED, LARGEST_ANSWER, LONGEST_ANSWER, PATIENCE, SETTLE
from rotorwright.settings.dialects.form import BLANKS
from rotorwright.settings.dialects.listing import split_lines

if TYPE_CHECKING:
    from collections.abc import Callable

    from rotorwright.links.wire import Clock, Wire
    from rotorwright.settings.dialects.dialect import Session

_READ_BYTES = 4096
_SHOWN_BYTES = 60


class End(StrEnum):
    """How an answer ended."""

    PROMPT = "with the prompt"
    QUIET = "with silence at the end of a line"
    NOTHING = "before it began"
    CUT = "with silence in the middle"


@dataclass(frozen=True, slots=True)
class Answer:
    """What the console said to one line, without echo and prompt.

    Args:
        lines: text and ending of each line, as they came.
        end: how it ended.
        is_whole: whether that is the end of a whole answer.
        refusal: the line that refuses; empty if none does.
    """

    lines: tuple[tuple[str, str], ...]
    end: End
    is_whole: bool
    refusal: str = ""

    @property
    def data(self) -> bytes:
        """The lines as bytes."""
        return "".join(text + ending for text, ending in self.lines).encode("utf-8", "surrogateescape")

    @property
    def contents(self) -> tuple[str, ...]:
        """The lines that are not blank, without endings and blanks around them."""
        return tuple(stripped for text, _ in self.lines if (stripped := text.strip(BLANKS)))

    @property
    def heard(self) -> str:
        """What was heard, in words."""
        said = self.data
        if not said:
            return "nothing"
        shown = said[-_SHOWN_BYTES:].decode("utf-8", "replace")
        return f"{len(said)} bytes, at last {shown!a}"


class Dialogue:
    """Sends lines and collects answers on one wire.

    Args:
        wire: the open line.
        clock: the time that waits are measured in.
        session: how the dialect says that the console behaves.
    """

    def __init__(self, wire: Wire, clock: Clock, session: Session) -> None:
        self.wire = wire
        self.clock = clock
        self._session = session
        self._prompt = session.prompt.encode("utf-8", "surrogateescape")
        self.quiet_s = session.quiet_ms / 1000

    @property
    def knows_prompt(self) -> bool:
        """Whether the end of an answer is known by a prompt."""
        return bool(self._prompt.strip())

    def send(self, line: str) -> None:
        """Send one line; what was heard before it is thrown away, so that it does not count as its answer.

        Raises:
            LinkError: the port has gone.
        """
        self.wire.discard_input()
        self.wire.send((line + self._session.line_end).encode("utf-8", "surrogateescape"))

    def ask(self, line: str, *, settles: bool = False, heard: Callable[[int], None] | None = None) -> Answer:
        """Send one line and return its answer.

        Args:
            line: what to send, without an ending.
            settles: wait a little after the prompt whether more comes: inside a listing a line may begin like it.
            heard: called with the number of line ends heard so far.

        Raises:
            LinkError: the port has gone.
        """
        self.send(line)
        patience_s = max(self.quiet_s, PATIENCE.value) if self.knows_prompt else self.quiet_s
        return self.collect(line, patience_s=patience_s, settles=settles, heard=heard)

    def collect(
        self, sent: str, *, patience_s: float, settles: bool = False, heard: Callable[[int], None] | None = None
    ) -> Answer:
        """Return what comes until the prompt, or until `patience_s` of silence.

        Raises:
            LinkError: the port has gone.
            AnswerEndlessError: it goes on and on.
        """
        buffer, ends = bytearray(), 0
        deadline = self.clock.now_s() + LONGEST_ANSWER.value
        while piece := self.wire.receive(_READ_BYTES, self._wait_s(buffer, patience_s)):
            buffer += piece
            ends += piece.count(b"\n")
            if heard is not None:
                heard(ends)
            if buffer.endswith(self._prompt) and self._is_prompt(buffer) and not settles:
                break
            if self.clock.now_s() > deadline or len(buffer) > LARGEST_ANSWER.count:
                raise AnswerEndlessError.on(self.wire.name, count=len(buffer), after_s=LONGEST_ANSWER.value)
        return self._answer(bytes(buffer), sent, self._end(buffer))

    def greet(self, *, timeout_s: float) -> tuple[bool, str]:
        """Send the greeting again and again until the prompt is seen; say whether it was, and what else was heard.

        Noise may stand before the prompt. Where no prompt is known, any answer will do.

        Raises:
            LinkError: the port has gone.
        """
        deadline, rest = self.clock.now_s() + timeout_s, b""
        while (left_s := deadline - self.clock.now_s()) > 0:
            self.send(self._session.enter)
            rest, is_heard = self._listen(min(left_s, max(ENTER_STEP.value, self.quiet_s)))
            if is_heard:
                self._let_pass()
                return True, ""
        return False, Answer(tuple(split_lines(rest)), End.NOTHING, is_whole=False).heard

    def _listen(self, limit_s: float) -> tuple[bytes, bool]:
        """Return what comes within `limit_s`, and whether it is the answer to a greeting."""
        deadline, buffer = self.clock.now_s() + limit_s, bytearray()
        while (left_s := deadline - self.clock.now_s()) > 0:
            piece = self.wire.receive(_READ_BYTES, left_s if self.knows_prompt else min(left_s, self.quiet_s))
            buffer += piece
            if self.knows_prompt and buffer.rstrip(b" \t").endswith(self._prompt.rstrip(b" \t")):
                return bytes(buffer), True
            if not piece and buffer and not self.knows_prompt:
                return bytes(buffer), True
        return bytes(buffer), False

    def _let_pass(self) -> None:
        """Let late answers to earlier greetings pass, so that their prompts end no other answer."""
        deadline = self.clock.now_s() + ENTER_STEP.value
        while self.wire.receive(_READ_BYTES, GREETED.value) and self.clock.now_s() < deadline:
            pass

    def _wait_s(self, buffer: bytearray, patience_s: float) -> float:
        return min(SETTLE.value, patience_s) if self._is_prompt(buffer) else patience_s

    def _is_prompt(self, buffer: bytearray) -> bool:
        """Answer whether the prompt stands alone in the last line, at most without the blanks at its end."""
        if not self.knows_prompt:
            return False
        start = max(buffer.rfind(b"\n"), buffer.rfind(b"\r")) + 1
        return bytes(buffer[start:]).rstrip(b" \t") == self._prompt.rstrip(b" \t")

    def _end(self, buffer: bytearray) -> End:
        if self._is_prompt(buffer):
            return End.PROMPT
        if not buffer:
            return End.NOTHING
        return End.QUIET if buffer.endswith((b"\n", b"\r")) else End.CUT

    def _answer(self, data: bytes, sent: str, end: End) -> Answer:
        lines = list(split_lines(data))
        if end is End.PROMPT:
            del lines[-1]
        lines = self._without_echo(lines, sent.strip(BLANKS))
        whole = end is End.PROMPT if self.knows_prompt else end in {End.QUIET, End.NOTHING}
        return Answer(tuple(lines), end, whole, self._refusal(lines))

    def _without_echo(self, lines: list[tuple[str, str]], sent: str) -> list[tuple[str, str]]:
        prompt = self._session.prompt.strip(BLANKS)
        for index, (text, _) in enumerate(lines):
            content = text.strip(BLANKS)
            if prompt:
                content = content.removeprefix(prompt).strip(BLANKS)
            if content:
                return lines[:index] + lines[index + 1 :] if content == sent else lines
        return lines

    def _refusal(self, lines: list[tuple[str, str]]) -> str:
        for text, _ in lines:
            content = text.strip(BLANKS)
            if any(form.match(content, 0, len(content)) is not None for form in self._session.refusals):
                return content
        return ""
