"""Commands and their acknowledgements, and single messages on request.

Source: MAVLink guide, page "command protocol".
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

from rotorwright.errors import LinkError
from rotorwright.links.delay import AnswerDelay
from rotorwright.links.mavlink.errors import CommandRefusedError
from rotorwright.links.mavlink.spec import (
    ALIVE,
    ANSWER,
    ANSWER_LONG,
    ANSWER_SHORT,
    IN_PROGRESS,
    REJECTED_PAUSE,
    REJECTED_TRIES,
    RESULT_WORDS,
    TRIES,
    CommandId,
    MessageId,
    Result,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from rotorwright.links.mavlink.channel import Channel
    from rotorwright.links.mavlink.codec import Frame

_T = TypeVar("_T")

_PARAMETERS = ("param1", "param2", "param3", "param4", "param5", "param6", "param7")
_MOST_CONFIRMATION = 255


class CommandClient:
    """Sends commands to one aircraft and hears how they went."""

    def __init__(self, channel: Channel) -> None:
        self._channel = channel
        self._delay = AnswerDelay(first_s=ANSWER.value, shortest_s=ANSWER_SHORT.value, longest_s=ANSWER_LONG.value)

    def run(self, command: CommandId, *parameters: float, words: str) -> None:
        """Send a command and wait until the aircraft has carried it out. `words` completes "refused to ...".

        Raises:
            CommandRefusedError: it was refused.
            NoAnswerError: nothing came back.
        """
        result: int = Result.TEMPORARILY_REJECTED
        for _ in range(REJECTED_TRIES.count):
            result = self._run_once(command, parameters, words)
            if result != Result.TEMPORARILY_REJECTED:
                break
            self._channel.clock.sleep_s(REJECTED_PAUSE.value)
        if result != Result.ACCEPTED:
            raise _refused(result, words)

    def run_reboot(self, command: CommandId, *parameters: float, words: str) -> None:
        """Send a command after which the aircraft restarts; return when it was accepted, or when the aircraft is gone.

        The restart may swallow the acknowledgement. The command is sent again only while the aircraft is heard: the
        first byte that a fresh bootloader gets tells it the baud rate, so none may come by chance.

        Raises:
            CommandRefusedError: it was refused.
            NoAnswerError: the aircraft is there and does not acknowledge.
        """
        channel, started = self._channel, self._channel.clock.now_s()
        channel.wait_heartbeat()
        for attempt in range(TRIES.count):
            try:
                self._send(command, parameters, attempt)
                result = channel.wait_for(self._result_of(command), channel.clock.now_s() + ANSWER.value)
                if result is None and not self._is_alive():
                    return
            except LinkError:
                return  # the port went with the restart; who answers next is for the caller to find out
            if result == Result.ACCEPTED:
                return
            if result is not None and result != Result.IN_PROGRESS:
                raise _refused(result, words)
        raise channel.no_answer(f"the command to {words}", tries=TRIES.count, since=started)

    def request_message(self, message_id: MessageId, answer: Callable[[Frame], _T | None]) -> _T:
        """Ask for one message and return what `answer` makes of it.

        Raises:
            CommandRefusedError: the aircraft does not offer it.
            NoAnswerError: it does not come.
        """

        def take(frame: Frame) -> _T | None:
            if frame.message_id == message_id:
                return answer(frame)
            result = self._result_of(CommandId.REQUEST_MESSAGE)(frame)
            if result in {Result.DENIED, Result.UNSUPPORTED, Result.FAILED}:
                raise _refused(Result(result), words)
            return None

        words = f"send the message {message_id.name}"
        parameters = (float(message_id),)
        return self._channel.ask(
            f"the request for {message_id.name}",
            lambda attempt: self._send(CommandId.REQUEST_MESSAGE, parameters, attempt),
            take,
            delay=self._delay,
        )

    def _run_once(self, command: CommandId, parameters: tuple[float, ...], words: str) -> int:
        """Return the final result of a command, listening on while the aircraft says that it is at it."""
        result = self._channel.ask(
            f"the command to {words}",
            lambda attempt: self._send(command, parameters, attempt),
            self._result_of(command),
        )
        while result == Result.IN_PROGRESS:
            started = self._channel.clock.now_s()
            later = self._channel.wait_for(self._result_of(command), started + IN_PROGRESS.value)
            if later is None:
                raise self._channel.no_answer(f"the command to {words}", tries=1, since=started)
            result = later
        return result

    def _send(self, command: CommandId, parameters: tuple[float, ...], attempt: int) -> None:
        values: dict[str, int | float] = dict(zip(_PARAMETERS, parameters, strict=False))
        values["command"] = command
        values["confirmation"] = min(attempt, _MOST_CONFIRMATION)
        self._channel.send(MessageId.COMMAND_LONG, values)

    def _result_of(self, command: CommandId) -> Callable[[Frame], int | None]:
        """Return a reader of the acknowledgement of `command`, if it is meant for us."""

        def result(frame: Frame) -> int | None:
            if frame.message_id != MessageId.COMMAND_ACK:
                return None
            fields = frame.fields
            is_ours = fields.integer("target_system") in {0, self._channel.us.system}
            return fields.integer("result") if is_ours and fields.integer("command") == command else None

        return result

    def _is_alive(self) -> bool:
        """Answer whether the aircraft still says anything at all."""
        return self._channel.receive(self._channel.clock.now_s() + ALIVE.value) is not None


def _refused(result: int, words: str) -> CommandRefusedError:
    known = next((text for number, text in RESULT_WORDS.items() if number == result), "it gives no known reason")
    return CommandRefusedError.of(words, result=result, words=known)
