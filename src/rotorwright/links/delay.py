"""How long answers take on this line, learnt from those that came."""

from __future__ import annotations


class AnswerDelay:
    """Smoothed delay and its spread, and from both how long to wait before asking again.

    Source: RFC 6298 section 2 (factors 1/8, 1/4 and 4); bounds are given by the caller, in seconds.
    """

    def __init__(self, *, first_s: float, shortest_s: float, longest_s: float) -> None:
        self._shortest_s = shortest_s
        self._longest_s = longest_s
        self._first_s = first_s
        self._smoothed_s: float | None = None
        self._spread_s = 0.0

    @property
    def smoothed_s(self) -> float | None:
        """The usual delay; None before the first answer."""
        return self._smoothed_s

    @property
    def wait_s(self) -> float:
        """How long to wait before asking again."""
        if self._smoothed_s is None:
            return self._first_s
        return min(self._longest_s, max(self._shortest_s, self._smoothed_s + 4 * self._spread_s))

    def learn(self, delay_s: float) -> None:
        """Take the delay of an answer to a question that was asked once."""
        if self._smoothed_s is None:
            self._smoothed_s, self._spread_s = delay_s, delay_s / 2
            return
        self._spread_s += (abs(delay_s - self._smoothed_s) - self._spread_s) / 4
        self._smoothed_s += (delay_s - self._smoothed_s) / 8
