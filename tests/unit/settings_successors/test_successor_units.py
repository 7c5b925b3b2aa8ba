"""Exact conversions between units: whatever is exact is a fraction, and degrees and radians have none."""

from __future__ import annotations

from fractions import Fraction
from itertools import product

import pytest

from rotorwright.settings.successors.units import exact_factor, exact_reciprocal, factor

UNITS = (
    "us", "ms", "s", "min", "h", "Hz", "kHz", "B", "kB", "mm", "cm", "m", "rad", "deg", "cdeg", "rad/s", "deg/s",
    "cm/s", "m/s", "mV", "cV", "V", "mA", "A", "mAh", "%", "norm", "10Hz", "100us",
)  # fmt: skip


@pytest.mark.parametrize(
    ("old", "new", "wanted"),
    [
        # SI brochure, 9th edition, tables 4, 7 and 8.
        ("us", "ms", Fraction(1, 1000)),
        ("h", "s", Fraction(3600)),
        ("kHz", "Hz", Fraction(1000)),
        ("cdeg", "deg", Fraction(1, 100)),
        ("cV", "mV", Fraction(10)),
        ("%", "norm", Fraction(1, 100)),
        ("10Hz", "Hz", Fraction(10)),
        ("anything", "anything", Fraction(1)),
    ],
)
def test_units_of_one_kind_convert_exactly_there_and_back(old: str, new: str, wanted: Fraction) -> None:
    assert exact_factor(old, new) == wanted
    assert exact_factor(new, old) == 1 / wanted


@pytest.mark.parametrize(("old", "new"), [("deg", "rad"), ("rad/s", "deg/s"), ("ms", "Hz"), ("ms", ""), ("0Hz", "Hz")])
def test_where_there_is_no_exact_conversion_there_is_none(old: str, new: str) -> None:
    assert exact_factor(old, new) is None
    assert exact_factor(new, old) is None


def test_the_exact_factor_is_the_factor() -> None:
    for old, new in product(UNITS, UNITS):
        exact = exact_factor(old, new)
        if exact is not None:
            assert float(exact) == pytest.approx(factor(old, new), rel=1e-12)
        elif (found := factor(old, new)) is not None:
            assert {old, new} & {"rad", "rad/s"}, f"{old} to {new} is {found}"


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("hundredths of %", "%", Fraction(1, 100)),
        ("hundredths", "tenths", Fraction(1, 10)),
        ("rpm", "Hz", Fraction(1, 60)),
        ("mAh", "Ah", Fraction(1, 1000)),
        ("hundredths of nothing", "%", None),
    ],
)
def test_parts_of_a_unit_and_turns_are_exact(old: str, new: str, expected: Fraction | None) -> None:
    assert exact_factor(old, new) == expected


@pytest.mark.parametrize(
    ("old", "new", "numerator"),
    [("us", "Hz", 1_000_000), ("Hz", "ms", 1000), ("ms", "rpm", 60_000), ("ms", "s", None), ("Hz", "V", None)],
)
def test_a_time_and_a_frequency_are_reciprocals(old: str, new: str, numerator: int | None) -> None:
    assert exact_reciprocal(old, new) == numerator
