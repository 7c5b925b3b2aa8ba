"""Motors on the bench, as a person at a terminal turns them: a real port, a space bar held or let alone."""

from __future__ import annotations

import os
import select
import signal
import sys
import time

import pytest
from tests.conformance.command_bench import ANSWERS, Bench

pytestmark = pytest.mark.pty

LONGEST_S = 90.0


def _done_but_for_the_bench(bench: Bench) -> None:
    bench.twin.hands.plug_battery()
    idle = ANSWERS.replace("hands = true", "hands = false").replace('sign = "tester"', "")
    assert bench.changeover(idle)[0] == 7


def _at_a_terminal(bench: Bench, *arguments: str, holds: bool) -> tuple[int, str]:
    """Run a command at a pseudo-terminal: gates get a yes, questions an Enter, and the space bar is held or not."""
    import pty  # noqa: PLC0415 - not on every system

    command = [sys.executable, "-m", "rotorwright", *arguments, *bench.hangar, "--baud", "921600"]
    process, terminal = pty.fork()
    if process == 0:
        os.execv(sys.executable, command)
    said, answered, unsure, started = "", 0, 0, time.monotonic()
    while time.monotonic() - started < LONGEST_S:
        if select.select([terminal], [], [], 0.05)[0]:
            try:
                said += os.read(terminal, 4096).decode("utf-8", "replace")
            except OSError:
                break
        if said.count("Is it so?") > answered:
            answered += 1
            os.write(terminal, b"y\n")
        elif said.count("(unsure)") > unsure:
            unsure += 1
            os.write(terminal, b"\n")
        elif holds and "Hold the space bar" in said:
            os.write(terminal, b" ")
    else:
        os.kill(process, signal.SIGKILL)
    return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1]), said


def test_motors_turn_while_the_space_bar_is_held_and_are_proved(bench: Bench) -> None:
    _done_but_for_the_bench(bench)
    code, said = _at_a_terminal(bench, "prove", "--only", "motors", holds=True)
    assert code == 0, said
    assert "Every output turns the motor it should" in " ".join(said.split())


def test_no_motor_turns_for_somebody_who_holds_nothing(bench: Bench) -> None:
    _done_but_for_the_bench(bench)
    code, said = _at_a_terminal(bench, "prove", "--only", "motors", holds=False)
    assert code == 1, said
    assert "not shown" in said
    assert "Motor output 1 turns" not in said
