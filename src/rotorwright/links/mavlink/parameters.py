"""The parameter protocol: the whole list in one go, gaps asked for again in batches, every value exact to the bit.

Source: MAVLink guide, page "parameter protocol". What the protocol calls a parameter is a setting in this tool.
"""

from __future__ import annotations

import math
import struct
from collections import deque
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from rotorwright.links.delay import AnswerDelay
from rotorwright.links.mavlink.errors import (
    SettingBadError,
    SettingMissingError,
    SettingNotSendableError,
    SettingRefusedError,
    SettingsChangedWhileReadError,
    SettingsIncompleteError,
)
from rotorwright.links.mavlink.spec import (
    ANSWER,
    DELAY_SHORT,
    GAP_TRIES,
    GAP_WINDOW,
    GAP_WINDOW_MOST,
    LIST_PAUSE_LONG,
    LIST_PAUSE_SHORT,
    LIST_PAUSE_STEPS,
    LIST_START,
    PARAMETER_DOES_NOT_EXIST,
    RESTARTS,
    SET_ANSWER,
    SET_ANSWER_LONG,
    SET_ANSWER_SHORT,
    SET_REFUSALS,
    SETTING_NAME_BYTES,
    SETTING_TYPES,
    TRIES,
    TYPE_NUMBERS,
    UNKNOWN_UINT16,
    MessageId,
)
from rotorwright.settings.values import SettingType, Value

if TYPE_CHECKING:
    from collections.abc import Callable

    from rotorwright.links.mavlink.channel import Channel
    from rotorwright.links.mavlink.codec import Frame, Sender

_VALUE = struct.Struct("<4sHH16sB")  # PARAM_VALUE: value, count, index, id, type
_SET = struct.Struct("<4sBB16sB")  # PARAM_SET: value, target system, target component, id, type
_REQUEST_READ = struct.Struct("<hBB16s")  # PARAM_REQUEST_READ: index, target system, target component, id
_BY_NAME = -1


class Encoding(StrEnum):
    """How the four value bytes hold whole numbers (parameter protocol page, parameter encoding)."""

    BYTEWISE = "bytewise"
    C_CAST = "c-cast"


@dataclass(frozen=True, slots=True)
class Entry:
    """One PARAM_VALUE."""

    index: int
    count: int
    name: str
    value: Value


@dataclass(frozen=True, slots=True)
class ReadStatistics:
    """How a reading of all settings went.

    `answers` counts every value that came, doubled and late ones too; `frames_lost` are gaps in the aircraft's own
    count of frames; `asked_again` counts questions for single settings.
    """

    settings: int
    answers: int
    asked_again: int
    frames_lost: int
    restarts: int
    duration_s: float


class _ListChangedError(Exception):
    """The list is no longer the one whose reading was begun. Inside this module only."""


class ParameterClient:
    """Reads and writes the settings of one aircraft."""

    def __init__(self, channel: Channel, encoding: Callable[[], Encoding]) -> None:
        self._channel = channel
        self._encoding = encoding
        self.last_read: ReadStatistics | None = None
        self._sent_again: str | None = None  # the setting that was written last, if it took more than one try
        self._delay = AnswerDelay(
            first_s=SET_ANSWER.value, shortest_s=SET_ANSWER_SHORT.value, longest_s=SET_ANSWER_LONG.value
        )

    def read_all(self, progress: Callable[[int, int], None] | None = None) -> dict[str, Value]:
        """Return every setting by name, sorted; complete and exact, or an error.

        `progress` takes how many have come and how many there are.

        Raises:
            NoAnswerError: the list does not begin.
            SettingsIncompleteError: some settings never came.
            SettingsChangedWhileReadError: the list kept changing.
            SettingBadError: the aircraft sent something that cannot be a setting.
        """
        self._channel.wait_heartbeat()
        encoding = self._encoding()
        started, lost = self._channel.clock.now_s(), self._channel.traffic.frames_lost
        because = ""
        for restarts in range(RESTARTS.count + 1):
            reading = _Reading(self._channel, encoding, progress)
            try:
                found = reading.run()
            except _ListChangedError as change:
                because = str(change)
                self._let_older_answers_pass()
                continue
            self.last_read = ReadStatistics(
                settings=len(found),
                answers=reading.answers,
                asked_again=reading.asked_again,
                frames_lost=self._channel.traffic.frames_lost - lost,
                restarts=restarts,
                duration_s=self._channel.clock.now_s() - started,
            )
            return found
        raise SettingsChangedWhileReadError.after(RESTARTS.count + 1, because=because)

    def read_one(self, name: str) -> Value:
        """Return one setting.

        Raises:
            SettingNotSendableError: the messages have no form for this name; nothing was sent.
            SettingMissingError: the aircraft has none of this name.
            NoAnswerError: it does not answer.
        """
        encoding = self._encoding()
        return self._channel.ask(
            f"the reading of {name}", lambda _: self._request(name), lambda frame: _value_of(frame, name, encoding)
        )

    def write(self, name: str, value: Value) -> Value:
        """Write one setting, wait until the aircraft says the same value back, and return that.

        Only the aircraft's memory in use is changed; see save_settings for what outlives a restart.

        Raises:
            SettingNotSendableError: the messages have no exact form for this name or value; nothing was sent.
            SettingRefusedError: it keeps another value.
            SettingMissingError: it has no such setting.
            NoAnswerError: it does not answer.
        """
        target, encoding = self._channel.wait_heartbeat(), self._encoding()
        payload = _set_payload(target, name, value, encoding)
        started, refusals = self._channel.clock.now_s(), 0
        for attempt in range(TRIES.count):
            self._channel.traffic.asked_again += attempt > 0
            self._channel.send_payload(MessageId.PARAM_SET, payload)
            sent_s = self._channel.clock.now_s()
            kept = self._answer_to_write(name, value, encoding, sent_s + self._delay.wait_s(attempt))
            if kept == value:
                if attempt == 0:
                    self._delay.learn(self._channel.clock.now_s() - sent_s)
                self._sent_again = name if attempt else None
                return kept
            refusals += kept is not None
            if kept is not None and refusals >= SET_REFUSALS.count:
                raise SettingRefusedError.of(name, **_shown(value, kept), said=self._words_about(name))
        raise self._channel.no_answer(f"the writing of {name}", tries=TRIES.count, since=started)

    def _answer_to_write(self, name: str, wanted: Value, encoding: Encoding, deadline: float) -> Value | None:
        """Return the wanted value as soon as it comes; else the last other value for the name, if any came in time."""
        last: Value | None = None
        while (frame := self._channel.receive(deadline)) is not None:
            if self._sent_again not in {None, name} and _value_of(frame, str(self._sent_again), encoding) is not None:
                self._sent_again = None  # its answer came twice, so writing it twice was too hasty
                self._delay.back_off()
            found = _value_of(frame, name, encoding)
            if found == wanted:
                return found
            last = found or last
        return last

    def _request(self, name: str) -> None:
        target = self._channel.wait_heartbeat()
        payload = _REQUEST_READ.pack(_BY_NAME, target.system, target.component, _name_bytes(name))
        self._channel.send_payload(MessageId.PARAM_REQUEST_READ, payload)

    def _words_about(self, name: str) -> str:
        """Return what the aircraft said last that names the setting."""
        return next((one.text for one in reversed(self._channel.status_texts) if name in one.text), "")

    def _let_older_answers_pass(self) -> None:
        """Wait for a pause, so that no value of the older list is taken for one of the new."""
        clock = self._channel.clock
        deadline = clock.now_s() + ANSWER.value
        while self._channel.receive(min(deadline, clock.now_s() + LIST_PAUSE_SHORT.value)) is not None:
            pass


class _Reading:
    """One attempt at the whole list: first as a stream, then the gaps, several at a time."""

    def __init__(self, channel: Channel, encoding: Encoding, progress: Callable[[int, int], None] | None) -> None:
        self._channel = channel
        self._clock = channel.clock
        self._encoding = encoding
        self._progress = progress
        self._count: int | None = None
        self._entries: dict[int, Entry] = {}
        self._indexes: dict[str, int] = {}
        self.answers = 0
        self.asked_again = 0

    def run(self) -> dict[str, Value]:
        self._stream()
        self._fill_gaps()
        by_name = sorted(self._entries.values(), key=lambda entry: entry.name)
        return {entry.name: entry.value for entry in by_name}

    def _stream(self) -> None:
        """Ask for the list and take it until its last setting, or until it has paused for long."""
        started = self._clock.now_s()
        for _ in range(TRIES.count):
            self._channel.send(MessageId.PARAM_REQUEST_LIST, {})
            if self._next_entry(self._clock.now_s() + LIST_START.value) is not None:
                break
        else:
            raise self._channel.no_answer("the list of settings", tries=TRIES.count, since=started)
        last, step_s = self._clock.now_s(), LIST_PAUSE_LONG.value / LIST_PAUSE_STEPS.value
        while self._count is not None and self._count - 1 not in self._entries:
            pause_s = min(LIST_PAUSE_LONG.value, max(LIST_PAUSE_SHORT.value, LIST_PAUSE_STEPS.value * step_s))
            if self._next_entry(last + pause_s) is None:
                return
            now = self._clock.now_s()
            step_s += (now - last - step_s) / 8
            last = now

    def _fill_gaps(self) -> None:
        assert self._count is not None
        missing = [index for index in range(self._count) if index not in self._entries]
        gaps = _Gaps(missing)
        while gaps.are_open:
            now = self._clock.now_s()
            for index in gaps.due(now):
                self._ask(index)
            entry = self._next_entry(gaps.next_due_s)
            if entry is not None:
                gaps.answered(entry.index, self._clock.now_s())
        if gaps.given_up:
            raise SettingsIncompleteError.missing(
                len(gaps.given_up), self._count, first=min(gaps.given_up), tries=GAP_TRIES.count
            )

    def _ask(self, index: int) -> None:
        target = self._channel.wait_heartbeat()
        payload = _REQUEST_READ.pack(index, target.system, target.component, b"")
        self._channel.send_payload(MessageId.PARAM_REQUEST_READ, payload)
        self._channel.traffic.asked_again += 1
        self.asked_again += 1

    def _next_entry(self, deadline: float) -> Entry | None:
        """Return the next value of the list, noted; None at `deadline`."""
        while (frame := self._channel.receive(deadline)) is not None:
            if frame.message_id != MessageId.PARAM_VALUE:
                continue
            entry = parse_entry(frame, self._encoding)
            self.answers += 1
            if entry.index == UNKNOWN_UINT16:  # not from the list: a change that the aircraft tells by itself
                self._note_change(entry)
            else:
                self._note(entry)
                return entry
        return None

    def _note(self, entry: Entry) -> None:
        if self._count is None:
            self._count = entry.count
        if entry.count != self._count or entry.index >= entry.count:
            raise _ListChangedError(f"first there were {self._count} settings, then {entry.count}")
        if (known := self._entries.get(entry.index)) is not None and known.name != entry.name:
            raise _ListChangedError(f"index {entry.index} was {known.name}, then {entry.name}")
        if self._indexes.setdefault(entry.name, entry.index) != entry.index:
            raise _ListChangedError(f"{entry.name} came with two indexes")
        is_new = entry.index not in self._entries
        self._entries[entry.index] = entry  # the newest word counts, should a value change meanwhile
        if is_new and self._progress is not None:
            self._progress(len(self._entries), self._count)

    def _note_change(self, entry: Entry) -> None:
        index = self._indexes.get(entry.name)
        if index is not None:
            self._entries[index] = Entry(index, entry.count, entry.name, entry.value)


@dataclass(slots=True)
class _Asked:
    order: int
    at_s: float
    tries: int


class _Gaps:
    """Which settings to ask for, when: several under way at a time, lost ones again at once.

    The aircraft answers in the order in which it is asked. So an answer tells that what was asked before and has not
    come is lost, and nothing waits for a timeout but the last of a batch. Where that is not so, only a question more is
    asked, and its second answer does no harm.
    """

    def __init__(self, missing: list[int]) -> None:
        self._waiting = deque(missing)
        self._asked: dict[int, _Asked] = {}
        self._tries = dict.fromkeys(missing, 0)
        self._order = 0
        self._window = GAP_WINDOW.value
        self._delay = AnswerDelay(first_s=ANSWER.value, shortest_s=DELAY_SHORT.value, longest_s=LIST_PAUSE_LONG.value)
        self.given_up: list[int] = []

    @property
    def are_open(self) -> bool:
        """Whether anything is still to come."""
        return bool(self._waiting or self._asked)

    @property
    def next_due_s(self) -> float:
        """When the oldest question counts as lost."""
        return min((asked.at_s for asked in self._asked.values()), default=-math.inf) + self._delay.wait_s()

    def due(self, now_s: float) -> list[int]:
        """Return what to ask for now, and count it as asked."""
        late = [index for index, asked in self._asked.items() if asked.at_s + self._delay.wait_s() <= now_s]
        for index in late:
            self._lose(index)
        some = []
        while self._waiting and len(self._asked) < int(self._window):
            index = self._waiting.popleft()
            self._tries[index] += 1
            self._asked[index] = _Asked(self._order, now_s, self._tries[index])
            self._order += 1
            some.append(index)
        return some

    def answered(self, index: int, now_s: float) -> None:
        """Take an answer, also one to an older question or to none."""
        asked = self._asked.pop(index, None)
        if asked is None:
            if index in self._waiting:
                self._waiting.remove(index)
            elif self._tries.get(index, 0) > 1:  # it came twice, so asking twice was too hasty
                self._delay.back_off()
            return
        if asked.tries == 1:  # else it may be the answer to the first question (RFC 6298, Karn's algorithm)
            self._delay.learn(now_s - asked.at_s)
        self._window = min(GAP_WINDOW_MOST.value, self._window + 1)
        for other in [other for other, one in self._asked.items() if one.order < asked.order]:
            self._lose(other)

    def _lose(self, index: int) -> None:
        if self._asked.pop(index).tries >= GAP_TRIES.count:
            self.given_up.append(index)
        else:
            self._waiting.appendleft(index)


def parse_entry(frame: Frame, encoding: Encoding) -> Entry:
    """Return the setting in a PARAM_VALUE, its value from the bytes of the frame.

    Raises:
        SettingBadError: type, name or value cannot be that of a setting.
    """
    raw, count, index, name_bytes, type_number = _VALUE.unpack(frame.payload[: _VALUE.size])
    name = _parse_name(name_bytes, index)
    type_ = SETTING_TYPES.get(type_number)
    if type_ is None:
        raise SettingBadError.at(index, name=name, because=f"its type has the number {type_number}, which is unknown")
    value = _decode(raw, type_, encoding)
    if value is None:
        raise SettingBadError.at(index, name=name, because=f"its bytes {raw.hex()} are no {type_} sent as {encoding}")
    return Entry(index, count, name, value)


def _parse_name(raw: bytes, index: int) -> str:
    text = raw.partition(b"\0")[0]
    if not text or not text.isascii() or not text.decode("ascii").isprintable():
        raise SettingBadError.at(index, name=repr(text), because="its name is empty or no plain text")
    return text.decode("ascii")


def _decode(raw: bytes, type_: SettingType, encoding: Encoding) -> Value | None:
    if encoding is Encoding.BYTEWISE or type_.is_float:
        return Value.from_bytes(type_, raw)
    number = float(struct.unpack("<f", raw)[0])
    if not number.is_integer() or not type_.lowest <= number <= type_.highest:
        return None
    return Value.of(type_, number)


def _encode(value: Value, encoding: Encoding) -> bytes:
    if encoding is Encoding.BYTEWISE or value.type.is_float:
        return value.to_bytes().ljust(4, b"\0")
    return struct.pack("<f", float(value.number))


def _set_payload(target: Sender, name: str, value: Value, encoding: Encoding) -> bytes:
    name_bytes = _name_bytes(name)
    if value.type not in TYPE_NUMBERS:
        raise SettingNotSendableError.of(name, because=f"its value is a {value.type}, which no parameter message holds")
    raw = _encode(value, encoding)
    if _decode(raw, value.type, encoding) != value:
        because = f"{value.text} sent as a float ({encoding}) would arrive as another number"
        raise SettingNotSendableError.of(name, because=because)
    return _SET.pack(raw, target.system, target.component, name_bytes, TYPE_NUMBERS[value.type])


def _name_bytes(name: str) -> bytes:
    if not name or not name.isascii() or not name.isprintable() or len(name) > SETTING_NAME_BYTES:
        because = f"its name is not of 1 to {SETTING_NAME_BYTES} plain ASCII characters"
        raise SettingNotSendableError.of(name, because=because)
    return name.encode("ascii")


def _shown(sent: Value, kept: Value) -> dict[str, str]:
    """Return both values as text, with their types where these are what differs."""
    if sent.type is kept.type:
        return {"sent": sent.text, "kept": kept.text}
    return {"sent": f"{sent.text} ({sent.type})", "kept": f"{kept.text} ({kept.type})"}


def _value_of(frame: Frame, name: str, encoding: Encoding) -> Value | None:
    """Return the value of the setting `name` if that is what the message tells.

    Raises:
        SettingMissingError: the message says that there is none.
    """
    if frame.message_id == MessageId.PARAM_VALUE:
        entry = parse_entry(frame, encoding)
        return entry.value if entry.name == name else None
    if frame.message_id == MessageId.PARAM_ERROR:
        fields = frame.fields
        if fields.text("param_id") == name and fields.integer("error") == PARAMETER_DOES_NOT_EXIST:
            raise SettingMissingError.named(name)
    return None
