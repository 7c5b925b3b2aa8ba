"""Settings brought onto an aircraft that does not take all of them."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any, cast

import pytest
from tests.unit.settings.builders import IDENTITY, UINT8, UINT16, catalogue, setting

from rotorwright.changeover.bringing import Bringing, plan_facts
from rotorwright.changeover.errors import SettingsNotAsPlannedError
from rotorwright.errors import LinkError, ProtocolError
from rotorwright.settings.constraint_rules import Needs, Term
from rotorwright.settings.values import Value

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from rotorwright.changeover.workshop import Workshop
    from rotorwright.settings.identity import Identity

CATALOGUE = catalogue(
    setting("A", UINT16, 0),
    setting("B", UINT16, 0, low=0, high=100),
    setting("C", UINT16, 0),
    replace(setting("ENABLES", UINT8, 0), reboot_required=True),
)


def u16(number: int) -> Value:
    return Value.of(UINT16, number)


class RefusedError(ProtocolError):
    id = "test.refused"


class SilenceError(LinkError):
    id = "test.silence"


def refused() -> RefusedError:
    return RefusedError("no", why="no", todo="no")


def silence() -> SilenceError:
    return SilenceError("silent", why="no", todo="no")


@dataclass
class StubbornAircraft:
    """It keeps what it is told to keep: `odd` says what it makes of a value, or raises."""

    held: dict[str, Value] = field(default_factory=lambda: {name: CATALOGUE.defaults[name] for name in CATALOGUE})
    odd: dict[str, Callable[[Value], Value]] = field(default_factory=dict)
    forgets: set[str] = field(default_factory=set)
    is_dead: bool = False
    log: list[str] = field(default_factory=list)

    @contextmanager
    def application(self, **_: object) -> Iterator[StubbornAircraft]:
        yield self

    def progress(self, _words: str, done: int, total: int) -> None:
        assert 0 <= done <= total

    def now(self) -> str:
        return "2026-01-01T00:00:00Z"

    def read_identity(self) -> Identity:
        if self.is_dead:
            raise silence()
        return IDENTITY

    def read_settings(self, _progress: object = None) -> dict[str, Value]:
        return dict(self.held)

    def write_setting(self, name: str, value: Value) -> Value:
        self.log.append(name)
        self.held[name] = self.odd[name](value) if name in self.odd else value
        if self.held[name] != value:
            raise refused()
        return value

    def save_settings(self) -> None:
        self.log.append("save")

    def reboot(self) -> None:
        self.log.append("restart")
        for name in self.forgets:
            self.held[name] = CATALOGUE.defaults[name]


def bringing(aircraft: StubbornAircraft, expected: dict[str, Value], *constraints: Any) -> Bringing:
    return Bringing(cast("Workshop", aircraft), expected, "writing", CATALOGUE, constraints)


def always(number: int) -> Callable[[Value], Value]:
    return lambda _: u16(number)


def test_everything_is_written_saved_and_read_after_a_restart() -> None:
    aircraft = StubbornAircraft()
    snapshot = bringing(aircraft, {"A": u16(1), "C": u16(3)}).run()
    assert (snapshot.settings["A"], snapshot.settings["C"]) == (u16(1), u16(3))
    assert aircraft.log == ["A", "C", "save", "restart"]


def test_all_that_does_not_stand_is_named_with_both_values_and_the_rest_is_written() -> None:
    aircraft = StubbornAircraft(odd={"A": always(0), "B": always(100)})
    with pytest.raises(SettingsNotAsPlannedError) as caught:
        bringing(aircraft, {"A": u16(7), "B": u16(300), "C": u16(3)}).run()
    assert "A: sent 7, stands 0 (refused); B: sent 300, stands 100 (limited)" in caught.value.what
    assert caught.value.facts["names"] == "A, B"
    assert aircraft.held["C"] == u16(3)


def test_an_aircraft_that_says_the_same_again_is_not_asked_a_third_time() -> None:
    aircraft = StubbornAircraft(odd={"A": always(0)})
    with pytest.raises(SettingsNotAsPlannedError):
        bringing(aircraft, {"A": u16(7)}).run()
    assert aircraft.log.count("restart") == 2


def test_what_was_taken_and_not_kept_is_told_apart_from_what_was_refused() -> None:
    aircraft = StubbornAircraft(forgets={"A"})
    with pytest.raises(SettingsNotAsPlannedError, match=r"A: sent 7, stands 0 \(taken, but not kept"):
        bringing(aircraft, {"A": u16(7)}).run()


def test_one_write_without_an_answer_does_not_stop_the_others() -> None:
    def lost(_: Value) -> Value:
        raise silence()

    aircraft = StubbornAircraft(odd={"A": lost})
    with pytest.raises(SettingsNotAsPlannedError, match=r"A: sent 7, stands 0 \(refused\)"):
        bringing(aircraft, {"A": u16(7), "C": u16(3)}).run()
    assert aircraft.held["C"] == u16(3)


def test_an_aircraft_that_is_gone_is_a_link_error() -> None:
    def lost(_: Value) -> Value:
        aircraft.is_dead = True
        raise silence()

    aircraft = StubbornAircraft(odd={"A": lost})
    with pytest.raises(SilenceError):
        bringing(aircraft, {"A": u16(7), "C": u16(3)}).run()
    assert aircraft.log == ["A"], "nothing more is sent into the void"


def test_what_needs_another_one_in_force_is_written_after_the_restart_that_it_needs() -> None:
    needs = Needs(Term("A", at_least=Fraction(1)), Term("ENABLES", among=(Fraction(1),)), why="x")
    aircraft = StubbornAircraft()
    work = bringing(aircraft, {"A": u16(1), "C": u16(3), "ENABLES": Value.of(UINT8, 1)}, needs)
    facts = plan_facts(work.plan(aircraft.held))
    work.run()
    assert aircraft.log == ["C", "ENABLES", "save", "restart", "A", "save", "restart"]
    assert facts == {
        "batches": [2, 1],
        "restarts_between": 1,
        "because": ["Then a restart: A needs ENABLES, which counts only after a restart."],
    }


def test_a_second_run_writes_nothing() -> None:
    aircraft = StubbornAircraft()
    bringing(aircraft, {"A": u16(1)}).run()
    aircraft.log.clear()
    bringing(aircraft, {"A": u16(1)}).run()
    assert aircraft.log == ["save", "restart"]
