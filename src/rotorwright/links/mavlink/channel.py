"""One aircraft on one wire: frames there and back, who it is, what is lost on the way, what it says in words.

The aircraft is learnt from its heartbeat. Frames of anybody else on the same wire are left alone.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

from rotorwright.links.errors import NoAnswerError
from rotorwright.links.mavlink.codec import Frame, FrameReader, Sender, encode
from rotorwright.links.mavlink.errors import HeartbeatMissingError
from rotorwright.links.mavlink.messages import FieldValue, layout
from rotorwright.links.mavlink.spec import (
    ANSWER,
    HEARTBEAT,
    NO_AUTOPILOT,
    OUR_COMPONENT,
    OUR_SYSTEM,
    STALL,
    TRIES,
    MessageId,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from rotorwright.links.delay import AnswerDelay
    from rotorwright.links.limits import Limit
    from rotorwright.links.wire import Clock, Wire

_T = TypeVar("_T")

_CHUNK_BYTES = 4096
_TEXTS_KEPT = 50
_TEXT_BYTES = 50
_SEQUENCE_MODULUS = 256


@dataclass(frozen=True, slots=True)
class StatusText:
    """What the aircraft said in words; severity 0 (emergency) to 7 (debug), as in RFC 5424."""

    severity: int
    text: str


@dataclass(slots=True)
class Traffic:
    """What went over the wire since it was opened. Lost frames are gaps in the aircraft's own count."""

    frames_received: int = 0
    frames_lost: int = 0
    frames_sent: int = 0
    asked_again: int = 0


class Channel:
    """Frames to and from one aircraft."""

    def __init__(self, wire: Wire, clock: Clock) -> None:
        self._wire = wire
        self.clock = clock
        self.traffic = Traffic()
        self.target: Sender | None = None
        self._reader = FrameReader()
        self._ready: deque[Frame] = deque()
        self._us = Sender(OUR_SYSTEM, OUR_COMPONENT)
        self._sequence = 0
        self._expected_sequence: int | None = None
        self._last_byte_s = clock.now_s()
        self._texts: deque[StatusText] = deque(maxlen=_TEXTS_KEPT)
        self._text_parts: dict[int, dict[int, str]] = {}

    @property
    def port(self) -> str:
        """Name of the port, for messages."""
        return self._wire.name

    @property
    def status_texts(self) -> tuple[StatusText, ...]:
        """What the aircraft said lately, oldest first."""
        return tuple(self._texts)

    @property
    def heard(self) -> str:
        """What came over the wire, in words."""
        if not self.traffic.frames_received and not self._reader.skipped_bytes:
            return "nothing"
        return f"{self.traffic.frames_received} messages and {self._reader.skipped_bytes} bytes that are none"

    @property
    def us(self) -> Sender:
        """Who we are on the wire."""
        return self._us

    def wait_heartbeat(self, timeout_s: float = HEARTBEAT.value) -> Sender:
        """Return who the aircraft is, waiting for its heartbeat if it was not heard yet.

        Raises:
            HeartbeatMissingError: none came.
        """
        deadline = self.clock.now_s() + timeout_s
        while self.target is None:
            if self.receive(deadline) is None:
                raise HeartbeatMissingError.on(self.port, waited_s=timeout_s, heard=self.heard)
        return self.target

    def send(self, message_id: MessageId, values: Mapping[str, FieldValue]) -> None:
        """Send a message to the aircraft; fields that are not given are zero."""
        found = layout(message_id)
        assert found is not None
        self.send_payload(message_id, found.pack(dict(self._address(found.fields)) | dict(values)))

    def send_payload(self, message_id: MessageId, payload: bytes) -> None:
        """Send a message whose payload is packed already."""
        self._wire.send(encode(message_id, payload, sender=self._us, sequence=self._sequence))
        self._sequence = (self._sequence + 1) % _SEQUENCE_MODULUS
        self.traffic.frames_sent += 1

    def receive(self, deadline: float) -> Frame | None:
        """Return the aircraft's next message; None when none is whole at `deadline` (a time of the clock)."""
        has_looked = False
        while True:
            while self._ready:
                frame = self._ready.popleft()
                if self._is_from_target(frame):
                    self._note(frame)
                    return frame
            now = self.clock.now_s()
            if has_looked and now >= deadline:
                return None
            self._read(max(0.0, deadline - now))
            has_looked = True

    def ask(
        self,
        question: str,
        send: Callable[[int], None],
        answer: Callable[[Frame], _T | None],
        *,
        timeout_s: float = ANSWER.value,
        delay: AnswerDelay | None = None,
        tries: Limit = TRIES,
    ) -> _T:
        """Send until a message answers; return what `answer` makes of it. `send` takes the number of the try, from 0.

        Answers to an earlier try count too, so a late one does no harm. With `delay`, the wait is learnt from it, and
        it learns.

        Raises:
            NoAnswerError: none came.
        """
        self.wait_heartbeat()
        started = self.clock.now_s()
        for attempt in range(tries.count):
            self.traffic.asked_again += attempt > 0
            send(attempt)
            sent_s = self.clock.now_s()
            found = self.wait_for(answer, sent_s + (timeout_s if delay is None else delay.wait_s(attempt)))
            if found is None:
                continue
            if delay is not None and attempt == 0:
                delay.learn(self.clock.now_s() - sent_s)
            return found
        raise self.no_answer(question, tries=tries.count, since=started)

    def wait_for(self, answer: Callable[[Frame], _T | None], deadline: float) -> _T | None:
        """Return what `answer` makes of the first message that it makes something of; None at `deadline`."""
        while (frame := self.receive(deadline)) is not None:
            found = answer(frame)
            if found is not None:
                return found
        return None

    def no_answer(self, question: str, *, tries: int, since: float) -> NoAnswerError:
        """Return the error for a question that stayed without an answer."""
        waited_s = self.clock.now_s() - since
        return NoAnswerError.to(question, port=self.port, tries=tries, waited_s=waited_s, heard=self.heard)

    def _address(self, fields: tuple[str, ...]) -> Mapping[str, int]:
        if self.target is None or "target_system" not in fields:
            return {}
        return {"target_system": self.target.system, "target_component": self.target.component}

    def _read(self, timeout_s: float) -> None:
        """Take bytes from the wire, waiting up to `timeout_s`, or up to where an unfinished frame is given up."""
        data = self._wire.receive(_CHUNK_BYTES, min(timeout_s, STALL.value))
        now = self.clock.now_s()
        if data:
            self._last_byte_s = now
            self._ready.extend(self._reader.feed(data))
        elif now - self._last_byte_s >= STALL.value:
            self._ready.extend(self._reader.give_up())

    def _is_from_target(self, frame: Frame) -> bool:
        """Answer whether the aircraft sent this, learning from the first heartbeat who the aircraft is."""
        sender = Sender(frame.system, frame.component)
        if self.target is None and sender != self._us and _is_aircraft(frame):
            self.target = sender
        return self.target == sender

    def _note(self, frame: Frame) -> None:
        self.traffic.frames_received += 1
        expected = frame.sequence if self._expected_sequence is None else self._expected_sequence
        gap = (frame.sequence - expected) % _SEQUENCE_MODULUS
        if gap < _SEQUENCE_MODULUS // 2:  # else it is an older frame that came twice or late
            self.traffic.frames_lost += gap
            self._expected_sequence = (frame.sequence + 1) % _SEQUENCE_MODULUS
        if frame.message_id == MessageId.STATUSTEXT:
            self._note_text(frame)

    def _note_text(self, frame: Frame) -> None:
        """Keep a text. A long one comes in numbered parts, of which the last is not full (common.xml, STATUSTEXT)."""
        fields = frame.fields
        number, text = fields.integer("id"), fields.text("text")
        parts = self._text_parts.setdefault(number, {})
        parts[fields.integer("chunk_seq")] = text
        if number == 0 or len(text.encode()) < _TEXT_BYTES:
            joined = "".join(parts[place] for place in sorted(parts))
            self._texts.append(StatusText(fields.integer("severity"), joined))
            del self._text_parts[number]


def _is_aircraft(frame: Frame) -> bool:
    return frame.message_id == MessageId.HEARTBEAT and frame.fields.integer("autopilot") != NO_AUTOPILOT
