"""Filter delay by cross-correlation against a table of filters from outside.

Source: tests/outside/data/filter_reference.csv (computed with scipy 1.17.1 and from the formulas named in each row).
Whitened correlation finds a mean of the phase delays in its band, 6 to 50 Hz. The table gives the phase at 20 Hz and
above and the delay at 0 Hz, so what is found has to lie between the ends of these.
"""

from __future__ import annotations

import csv
from itertools import groupby
from pathlib import Path

import numpy as np
import pytest
from scipy import signal  # type: ignore[import-untyped, unused-ignore]

from rotorwright.signals.delay import filter_delay

with (Path(__file__).parent / "data" / "filter_reference.csv").open(encoding="utf-8", newline="") as file:
    ROWS = list(csv.DictReader(file))

DESIGNS = {key: list(rows) for key, rows in groupby(ROWS, key=lambda row: (row["design"], row["parameters"]))}


def motion(rate_hz: float, seed: int = 1) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """Slow motion, as big as in flight, and sensor noise."""
    rng = np.random.default_rng(seed)
    rows = int(20 * rate_hz)
    slow = signal.lfilter(*signal.butter(2, 5.0, fs=rate_hz), rng.normal(size=rows)) * np.sqrt(rate_hz / 10)
    return np.asarray(slow + 0.05 * rng.normal(size=rows))[:, None]


def phase_delays_ms(rows: list[dict[str, str]]) -> list[float]:
    """Delays at 0 Hz and up to 50 Hz or the first row above; a phase of -360 f d degrees is a delay of d."""
    found = [float(rows[0]["group_delay_ms"])]
    for row in rows[1:]:
        found.append(-float(row["phase_deg"]) / 360 / float(row["f_hz"]) * 1e3)
        if float(row["f_hz"]) >= 50:
            break
    return found


@pytest.mark.parametrize("design", DESIGNS, ids=lambda key: f"{key[0]}, {key[1]}")
def test_delay_of_a_filter_is_found(design: tuple[str, str]) -> None:
    rows = DESIGNS[design]
    rate_hz = float(rows[0]["fs_hz"])
    b, a = ([float(one) for one in rows[0][name].split()] for name in ("b", "a"))
    raw = motion(rate_hz)
    found_ms = filter_delay(raw, signal.lfilter(b, a, raw, axis=0), rate_hz)[0] * 1e3
    expected = phase_delays_ms(rows)
    assert min(expected) - 0.01 <= found_ms <= max(expected) + 0.01


@pytest.mark.parametrize("delay_samples", [0.0, 0.3, 1.0, 2.5, 5.0])
@pytest.mark.parametrize("rate_hz", [250.0, 1000.0, 4000.0])
def test_pure_delay_is_found_between_the_samples(delay_samples: float, rate_hz: float) -> None:
    # Shift theorem of the Fourier transform: a delay d turns the phase by -2 pi f d.
    raw = motion(rate_hz)[:, 0]
    turned = np.fft.rfft(raw) * np.exp(-2j * np.pi * np.fft.rfftfreq(len(raw)) * delay_samples)
    late = np.fft.irfft(turned, len(raw))
    found = filter_delay(raw[:, None], late[:, None], rate_hz)[0]
    assert found == pytest.approx(delay_samples / rate_hz, rel=2e-3, abs=1e-5)


def test_delay_beyond_the_lags_tried_is_not_told() -> None:
    raw = motion(1000.0)
    assert np.isnan(filter_delay(raw[:-40], raw[40:], 1000.0)).all()
    assert np.isnan(filter_delay(raw[40:], raw[:-40], 1000.0)).all()


def test_signals_that_do_not_belong_together_have_no_delay() -> None:
    assert np.isnan(filter_delay(motion(1000.0, seed=1), motion(1000.0, seed=2), 1000.0)).all()
