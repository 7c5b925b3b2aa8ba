"""How long to wait before asking again: learnt from answers, longer after each try, doubled where it was too hasty."""

from __future__ import annotations

import pytest

from rotorwright.links.delay import AnswerDelay


def _delay() -> AnswerDelay:
    return AnswerDelay(first_s=0.5, shortest_s=0.05, longest_s=2.0)


def test_before_the_first_answer_the_first_wait_holds_and_doubles_with_each_try() -> None:
    assert [_delay().wait_s(attempt) for attempt in range(4)] == [0.5, 1.0, 2.0, 2.0]


def test_a_steady_line_is_waited_for_little_longer_than_it_takes() -> None:
    delay = _delay()
    for _ in range(50):
        delay.learn(0.2)
    assert delay.wait_s() == pytest.approx(0.25, abs=0.01)


def test_a_quick_line_is_never_waited_for_less_than_the_shortest() -> None:
    delay = _delay()
    for _ in range(50):
        delay.learn(0.001)
    assert delay.wait_s() == 0.05


def test_a_restless_line_is_waited_for_longer_than_a_steady_one() -> None:
    delay = _delay()
    for number in range(50):
        delay.learn(0.1 if number % 2 else 0.3)
    assert delay.wait_s() > 0.4


def test_too_much_haste_doubles_the_wait_until_an_answer_comes_at_the_first_try() -> None:
    delay = _delay()
    delay.back_off()
    assert delay.wait_s() == 1.0
    for _ in range(10):
        delay.back_off()
    assert delay.wait_s() == 2.0
    delay.learn(0.3)
    assert delay.wait_s() == pytest.approx(0.9)
