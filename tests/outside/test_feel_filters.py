"""Filters against scipy.signal, the Audio EQ cookbook and a table of figures from outside.

Sources: tests/outside/data/filter_reference.csv and control_reference.json (computed with scipy 1.17.1 and from the
formulas named in each row); scipy.signal as installed.
"""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import signal  # type: ignore[import-untyped, unused-ignore]

from rotorwright.feel.filters import (
    BUTTERWORTH_Q,
    Chain,
    Filter,
    FilterKind,
    Section,
    butterworth,
    cascade_correction,
    crossing,
)

DATA = Path(__file__).parent / "data"
with (DATA / "filter_reference.csv").open(encoding="utf-8", newline="") as file:
    ROWS = list(csv.DictReader(file))

DESIGNS = {
    ("first-order lag k=dt/(RC+dt)", "fc=100"): Filter(FilterKind.LAG_EULER, 100),
    ("first-order lag k=1-exp(-2 pi fc dt)", "fc=100"): Filter(FilterKind.LAG_MATCHED, 100),
    ("first order, bilinear with prewarp", "fc=100"): Filter(FilterKind.LAG_BILINEAR, 100),
    ("RBJ lowpass Q=1/sqrt2 (= scipy butter 2)", "fc=100"): Filter(FilterKind.LOWPASS, 100),
    ("RBJ lowpass Q=0.5", "fc=90"): Filter(FilterKind.LOWPASS, 90, q=0.5),
    ("RBJ notch", "f0=200 Q=5"): Filter(FilterKind.NOTCH, 200, q=5),
    ("RBJ notch", "f0=250 Q=3.5"): Filter(FilterKind.NOTCH, 250, q=3.5),
}
# The table lists this design only to show that it is another one: its bandwidth is warped differently.
NOT_OURS = "scipy iirnotch"


def key(row: dict[str, str]) -> tuple[str, str]:
    return row["design"], row["parameters"]


def name(row: dict[str, str]) -> str:
    return f"{row['design']} {row['parameters']} at {row['f_hz']}"


def test_every_design_of_the_table_is_known() -> None:
    assert {key(row) for row in ROWS if row["design"] != NOT_OURS} == set(DESIGNS)


@pytest.mark.parametrize("row", [row for row in ROWS if row["design"] != NOT_OURS], ids=name)
def test_coefficients_gain_phase_and_delay_are_those_of_the_table(row: dict[str, str]) -> None:
    chain = Chain((DESIGNS[key(row)],), float(row["fs_hz"]))
    (section,) = chain.sections
    assert section.b == pytest.approx([float(each) for each in row["b"].split()], rel=1e-11)
    assert section.a == pytest.approx([float(each) for each in row["a"].split()], rel=1e-11)
    response = chain.response(float(row["f_hz"]))
    assert response.gain_db == pytest.approx(float(row["gain_db"]), abs=6e-6)  # five decimals in the table
    assert response.phase_deg == pytest.approx(float(row["phase_deg"]), abs=6e-5)
    assert response.group_delay_s * 1e3 == pytest.approx(float(row["group_delay_ms"]), abs=2e-6)


@pytest.mark.parametrize("row", [row for row in ROWS if row["design"] == NOT_OURS], ids=name)
def test_the_notch_is_the_one_of_the_cookbook_and_not_the_other_one(row: dict[str, str]) -> None:
    (section,) = Chain((DESIGNS["RBJ notch", row["parameters"]],), float(row["fs_hz"])).sections
    apart = max(abs(ours - float(other)) for ours, other in zip(section.a, row["a"].split(), strict=True))
    assert 1e-4 < apart < 4e-4


@pytest.mark.parametrize("copies", [2, 3])
def test_the_cascade_correction_is_the_published_one(copies: int) -> None:
    table = json.loads((DATA / "control_reference.json").read_text(encoding="utf-8"))["cascade_cutoff_correction"]
    assert cascade_correction(copies) == pytest.approx(table[str(copies)], rel=1e-14)


def test_the_notch_is_at_half_power_where_the_table_of_checks_has_it() -> None:
    # Source: 181.065 and 220.897 Hz, computed from the cookbook formulas with scipy.
    chain = Chain((Filter(FilterKind.NOTCH, 200, q=5),), 8000)

    def over_half(frequency_hz: float) -> float:
        return chain.response(frequency_hz).gain - math.sqrt(0.5)

    assert crossing(over_half, low=150, high=199) == pytest.approx(181.065, abs=5e-4)
    assert crossing(over_half, low=201, high=250) == pytest.approx(220.897, abs=5e-4)


@pytest.mark.parametrize("loop_hz", [1000.0, 3200.0, 8000.0])
@pytest.mark.parametrize("cutoff_hz", [30.0, 90.0, 250.0, 420.0])
@pytest.mark.parametrize("q", [0.5, BUTTERWORTH_Q, 3.0])
def test_low_pass_and_notch_are_the_cookbook_formulas(loop_hz: float, cutoff_hz: float, q: float) -> None:
    # Source: Audio EQ cookbook (RBJ): LPF and notch, written out as they stand there, normalised by a0.
    w0 = 2 * math.pi * cutoff_hz / loop_hz
    alpha, cosine = math.sin(w0) / (2 * q), math.cos(w0)
    a = [1 + alpha, -2 * cosine, 1 - alpha]
    low_pass = [(1 - cosine) / 2, 1 - cosine, (1 - cosine) / 2]
    for kind, b in ((FilterKind.LOWPASS, low_pass), (FilterKind.NOTCH, [1, -2 * cosine, 1])):
        (section,) = Filter(kind, cutoff_hz, q=q).sections(loop_hz)
        assert section.b == pytest.approx([each / a[0] for each in b], rel=1e-10)
        assert section.a == pytest.approx([each / a[0] for each in a], rel=1e-12)


@pytest.mark.parametrize("order", range(1, 9))
def test_butterworth_of_each_order_is_that_of_scipy(order: int) -> None:
    chain = Chain(butterworth(order, 120), 4000)
    frequencies = np.geomspace(1, 1500, 60)
    _, expected = signal.sosfreqz(signal.butter(order, 120, fs=4000, output="sos"), worN=frequencies, fs=4000)
    found = chain.responses(frequencies.tolist())
    assert [each.gain for each in found] == pytest.approx(np.abs(expected), rel=1e-9)
    assert [each.phase_deg for each in found] == pytest.approx(np.degrees(np.unwrap(np.angle(expected))), abs=1e-6)


def polynomials(sections: tuple[Section, ...]) -> tuple[list[float], list[float]]:
    b, a = np.array([1.0]), np.array([1.0])
    for section in sections:
        b, a = np.convolve(b, section.b), np.convolve(a, section.a)
    return b.tolist(), a.tolist()


CHAIN = Chain(
    (
        Filter(FilterKind.LAG_MATCHED, 200, copies=2, corrected=True),
        Filter(FilterKind.LOWPASS, 150, q=0.8),
        Filter(FilterKind.NOTCH, 230, q=4),
        Filter(FilterKind.LAG_EULER, 400),
    ),
    3200,
)


def test_a_chain_has_the_response_and_delay_of_scipy() -> None:
    # Source: scipy.signal.freqz and scipy.signal.group_delay of the multiplied-out polynomials.
    frequencies = [5.0, 20.0, 80.0, 150.0, 225.0, 260.0, 500.0, 1200.0]
    b, a = polynomials(CHAIN.sections)
    _, expected = signal.freqz(b, a, worN=frequencies, fs=3200)
    _, delays = signal.group_delay((b, a), w=frequencies, fs=3200)
    found = CHAIN.responses(frequencies)
    assert [each.gain for each in found] == pytest.approx(np.abs(expected), rel=1e-6)
    turns = (np.array([each.phase_deg for each in found]) - np.degrees(np.angle(expected))) / 360
    assert turns == pytest.approx(np.round(turns), abs=1e-8)
    assert [each.group_delay_s * 3200 for each in found] == pytest.approx(delays, rel=1e-5)


def test_a_chain_at_work_gives_what_scipy_gives() -> None:
    # Source: scipy.signal.lfilter, section after section.
    samples = np.random.default_rng(3).normal(size=300)
    expected = samples
    for section in CHAIN.sections:
        expected = signal.lfilter(section.b, section.a, expected)
    assert CHAIN.run(samples.tolist()) == pytest.approx(expected, abs=1e-12)


def test_a_lag_at_a_high_rate_has_the_delay_of_the_textbook() -> None:
    # Source: textbook first-order lag: 1/(2 pi fc) at 0 Hz, half of it at fc; 1.591549 ms for 100 Hz.
    for kind in (FilterKind.LAG_EULER, FilterKind.LAG_MATCHED, FilterKind.LAG_BILINEAR):
        chain = Chain((Filter(kind, 100),), 10_000_000)
        assert chain.response(0.01).group_delay_s == pytest.approx(1.591549e-3, rel=1e-4)
        assert chain.response(100).group_delay_s == pytest.approx(1.591549e-3 / 2, rel=1e-4)
