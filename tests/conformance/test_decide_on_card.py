"""Held lines decided on an open job card between two runs, and aircraft read by text console, through a real port."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from tests.conformance.command_bench import Bench

from rotorwright.changeover.events import EventKind
from rotorwright.hangar.store import Hangar
from rotorwright.twin.process import spawn_twin

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.pty

ANSWERS = 'accept_plan = true\nconfirm = ["propellers-off"]\nhands = true\nretries = 2\nsign = "tester"\n'
IDLE = ANSWERS.replace("hands = true", "hands = false").replace('sign = "tester"', "")
CHOICES = {
    "TURN_YAW_PUSH": "keep-mine",
    "SIEVE_GYRO1_CUT": "keep-mine",
    "SIEVE_TRACK_Q": "keep-mine",
    "LOSS_HOLD": "keep-mine",
    "SIEVE_TRACK_HIGH": "nearest-below",
    "SLOT3_TASK": "take-new-default",
    "LIGHT_BRIGHT": "nearest-below",
}


def decided_events(bench: Bench) -> list[dict[str, Any]]:
    """Return what the journal says of each held line that was decided."""
    with Hangar.open(bench.folder / "hangar") as hangar:
        return [dict(each.facts) for each in hangar.events("c0001") if each.kind == EventKind.HELD_DECIDED]


def test_held_lines_are_decided_on_the_card_without_the_aircraft_and_the_job_goes_on(bench: Bench) -> None:
    card = ("--changeover", "c0001", *bench.hangar)
    bench.twin.hands.plug_battery()
    code, _, err = bench.changeover(ANSWERS)
    assert code == 7
    assert "8 held settings are not decided" in err
    listed = bench.json("decide", *card, "--list")
    assert [each["chosen"] for each in listed] == [None] * 8

    code, _, err = bench.run("decide", *card, "--set", "LOSS_HOLD=keep-mine", "--set", "LOSS_HOLT=keep-mine")
    assert code == 7
    assert "LOSS_HOLD is held" in err
    assert decided_events(bench) == []  # all fit, or none is taken

    bench.twin.hands.pull_cable()
    answers = [part for name, key in CHOICES.items() for part in ("--set", f"{name}={key}")]
    code, out, err = bench.run("decide", *card, *answers)
    assert code == 0, err
    assert "7 decided now; not decided yet: SIEVE_DAMP_PITCH and SIEVE_DAMP_ROLL." in out
    own = ("--value", "SIEVE_DAMP_CUT=120", "--for", "SIEVE_DAMP_PITCH")
    assert bench.json("decide", *card, *own)["undecided"] == []

    noted = decided_events(bench)
    assert [(each["names"], each["choice"]) for each in noted[:7]] == [([name], key) for name, key in CHOICES.items()]
    assert noted[7]["choice"] == {"SIEVE_DAMP_CUT": "120"}
    assert [each["undecided"] for each in noted] == [7, 6, 5, 4, 3, 2, 1, 0]

    bench.twin.hands.plug_cable()
    code, out, err = bench.run("resume", *bench.hangar, *bench.rates, *bench.answers(IDLE))
    assert "Next: Accept the plan" in out
    assert "changeover.not-signed" in err  # everything before that went well, with the values decided
    assert code == 7
    assert all(each["chosen"] for each in bench.json("decide", *card, "--list"))
    code, _, err = bench.run("decide", *card, "--set", "LOSS_HOLD=take-new-default")
    assert code == 7
    assert "changeover.nothing-to-decide" in err
    assert "accepted" in err
    assert len(decided_events(bench)) == 8


def test_a_text_console_gives_the_same_snapshot_as_messages(tmp_path: Path, bench: Bench) -> None:
    messages, console = str(bench.folder / "messages.json"), str(bench.folder / "console.json")
    assert bench.run("save", "--port", bench.port, "-o", messages)[0] == 0
    # A console prints its listing at once: faster, the buffer of a pseudo-terminal may overflow on a busy computer.
    with spawn_twin(tmp_path / "console", baud=115_200, console=True) as twin:
        port = str(twin.port)
        told = ("--dialect", "thornbill", "--book", bench.book)
        code, out, err = bench.run("save", "--port", port, *told, "-o", console)
        assert code == 0, err
        assert "read twice and equal" in out
        live = bench.json("compare", console, port, "--dialect", "thornbill")  # texts, untyped
    saved = bench.json("compare", messages, console)
    for compared in (live, saved):
        assert {row["name"] for row in compared["differences"]} <= {"BARO_OFF"}  # it measures that by itself
        assert compared["not_comparable"] == []
        assert compared["equal"] >= 484
