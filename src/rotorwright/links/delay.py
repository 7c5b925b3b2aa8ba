"""How long answers take on this line, learnt from those that came."""

from __future__ import annotations


class AnswerDelay:
    """Smoothed delay and its spread, and from both how long to wait before asking again.

    Each further try of one question waits twice as long. Where an answer comes twice because it was asked for twice,
    the first was late and not lost: then the wait is doubled for the questions to come, until one is answered at the
    first try. Else a line that is slower than the wait would be asked faster than it can answer, for ever; and a line
    that only loses would be waited for in vain.

    Source: RFC 6298 sections 2, 3 and 5 (factors 1/8, 1/4, 4 and 2); the idea of telling late from lost: RFC 3522.
    The wait is at least a quarter longer than the usual delay (own choice: a clock is not finer, nor a line steadier).
    Bounds are given by the caller, in seconds.
    """

    def __init__(self, *, first_s: float, shortest_s: float, longest_s: float) -> None:
        self._shortest_s = shortest_s
        self._longest_s = longest_s
        self._first_s = first_s
        self._smoothed_s: float | None = None
        self._spread_s = 0.0
        self._patience = 1

    def wait_s(self, attempt: int = 0) -> float:
        """How long to wait before asking again, after this try (from 0)."""
        if self._smoothed_s is None:
            usual_s = self._first_s
        else:
            usual_s = max(self._shortest_s, self._smoothed_s + max(4 * self._spread_s, self._smoothed_s / 4))
        return min(self._longest_s, usual_s * self._patience * (1 << attempt))

    def learn(self, delay_s: float) -> None:
        """Take the delay of an answer to a question that was asked once; of others nobody knows which was answered."""
        self._patience = 1
        if self._smoothed_s is None:
            self._smoothed_s, self._spread_s = delay_s, delay_s / 2
            return
        self._spread_s += (abs(delay_s - self._smoothed_s) - self._spread_s) / 4
        self._smoothed_s += (delay_s - self._smoothed_s) / 8

    def back_off(self) -> None:
        """Hear that an answer came twice because it was asked for twice."""
        if self.wait_s() < self._longest_s:
            self._patience *= 2
