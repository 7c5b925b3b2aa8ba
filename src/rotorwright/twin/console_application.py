"""The demo firmware with a text console in place of messages: another application on the same board.

It keeps settings, display characters and the measured world exactly like the other one, and speaks only when spoken to,
but for a few words after its start. Nobody is heard before the greeting.
"""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING, Final

from rotorwright.twin.application import Wants
from rotorwright.twin.console_lines import LineReader
from rotorwright.twin.console_words import GREETING, ConsoleWords
from rotorwright.twin.display_chip import DisplayChip
from rotorwright.twin.settings_in_force import SettingsInForce

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.twin.boot import ApplicationBuild
    from rotorwright.twin.display_chip import DisplayMemory
    from rotorwright.twin.settings_memory import SettingsMemory
    from rotorwright.twin.world import World

PROMPT: Final = b"perch> "
LINE_END: Final = b"\r\n"
BATCH_BYTES: Final = 96  # as much at once as the other application hands over
MOST_WAITING: Final = 64
"""Lines that wait while an answer goes out; more are lost, as in a full receive buffer."""


class ConsoleApplication:
    """One run of the firmware with its text console, from reset until the power goes or it restarts.

    Args:
        build: what it says of itself.
        catalogue: what it knows to set; it never tells it.
        unique_id: 12 bytes of the microcontroller, in the order as read.
        settings_memory: where settings last.
        display_memory: where the display chip keeps its characters.
        world: what the sensors measure, and whether the battery feeds the display chip.
        seed: of the sensors' noise.
    """

    def __init__(
        self,
        *,
        build: ApplicationBuild,
        catalogue: Catalogue,
        unique_id: bytes,
        settings_memory: SettingsMemory,
        display_memory: DisplayMemory,
        world: World,
        seed: int = 1,
    ) -> None:
        self._wants: Wants | None = None
        self._now_s = 0.0
        self._reader = LineReader()
        self._is_greeted = False
        self._waiting: deque[bytes | None] = deque()
        self._answer: Iterator[bytes] = iter(())
        self._is_answering = False
        self.settings = SettingsInForce(catalogue, settings_memory, release=build.release, board=build.board)
        self._words = ConsoleWords(
            build=build,
            catalogue=catalogue,
            unique_id=unique_id,
            settings=self.settings,
            display=DisplayChip(display_memory, lambda: world.battery_plugged),
            world=world,
            seed=seed,
            restart=self._restart,
        )

    @property
    def wants(self) -> Wants | None:
        """What it asks for; do it when everything that `transmit` gives has left the line."""
        return self._wants

    def start(self, now_s: float) -> None:
        """Run from reset, and say so."""
        self._now_s = now_s
        said = [f"-- {self._words.title} is awake"]
        if self.settings.start_words:
            said.append(f"-- {self.settings.start_words}")
        self._begin(_encoded(said))

    def receive(self, data: bytes, now_s: float) -> None:
        """Take bytes that have arrived: whole lines, pieces of them, or noise."""
        self._now_s = now_s
        if self._wants is None:
            room = MOST_WAITING - len(self._waiting)
            self._waiting.extend(self._reader.feed(data)[:room])

    def transmit(self, now_s: float) -> list[bytes]:
        """Return the next few lines, about `BATCH_BYTES` in all; call it whenever the line can take more."""
        self._now_s = now_s
        pieces: list[bytes] = []
        room = BATCH_BYTES
        while room > 0 and (piece := self._next_piece()) is not None:
            pieces.append(piece)
            room -= len(piece)
        return pieces

    def next_event_s(self) -> float | None:
        """Return when `transmit` has something to give though nothing arrives; the past if it has something now."""
        return self._now_s if self._is_answering or self._waiting else None

    def _next_piece(self) -> bytes | None:
        while True:
            piece = next(self._answer, None)
            if piece is not None:
                return piece
            self._is_answering = False
            if not self._waiting or self._wants is not None:
                return None
            self._begin(self._answer_to(self._waiting.popleft()))

    def _begin(self, answer: Iterator[bytes]) -> None:
        self._answer = answer
        self._is_answering = True

    def _answer_to(self, raw: bytes | None) -> Iterator[bytes]:
        try:
            line = None if raw is None else raw.decode("utf-8")
        except UnicodeDecodeError:
            line = None
        if not self._is_greeted:
            if line is None or line.strip(" \t") != GREETING:
                return
            self._is_greeted = True
        answer = ("cannot: that is no line of text",) if line is None else self._words.answer(line, self._now_s)
        yield from _encoded(answer)
        if self._wants is None:
            yield PROMPT

    def _restart(self, wants: str) -> None:
        """Restart as soon as the words about it have left."""
        self._wants = Wants(wants)
        self._waiting.clear()


def _encoded(lines: Iterable[str]) -> Iterator[bytes]:
    return (line.encode("utf-8") + LINE_END for line in lines)
