"""The first hover against a flight from before, as a bench check's result."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from rotorwright.bench.verdicts import Verdict
from rotorwright.changeover.proving.flights import result_of
from rotorwright.signals.comparison import compare_flights
from rotorwright.twin.physics.flight import FlightSpec, record_flight

if TYPE_CHECKING:
    from rotorwright.bench.verdicts import CheckResult

SOUND = FlightSpec()


def _compared(after: FlightSpec, *, seconds: float = 60.0) -> CheckResult:
    flights = [record_flight(spec, seed, duration_s=seconds) for spec, seed in ((SOUND, 1), (after, 2))]
    return result_of(compare_flights(*flights), before="before.csv", after="after.csv")


def test_a_flight_like_the_one_before_passes_and_names_both_recordings() -> None:
    result = _compared(SOUND)
    assert result.verdict is Verdict.PASSED, result.findings
    assert "before.csv with after.csv" in result.sentence
    assert result.figures


def test_an_aircraft_that_shakes_more_fails_on_each_axis_with_what_to_look_for() -> None:
    result = _compared(replace(SOUND, vibration_rad_s=1.6 * SOUND.vibration_rad_s))
    assert result.verdict is Verdict.FAILED
    assert {finding.kind for finding in result.findings} >= {"roll-worse", "pitch-worse", "yaw-worse"}
    assert all("propeller" in finding.advice for finding in result.findings if not finding.is_missing)


def test_a_flight_too_short_to_tell_is_not_shown() -> None:
    result = _compared(SOUND, seconds=5.0)
    assert result.verdict is Verdict.NOT_SHOWN
    assert all(finding.is_missing for finding in result.findings)
