"""Formulas on generated text: the arithmetic is that of Python, and nothing but our own errors comes out."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rotorwright.feel.formula_arrays import evaluate_arrays
from rotorwright.feel.formulas import FormulaError, FormulaResultError, parse_formula

leaves = st.one_of(st.integers(0, 9).map(str), st.sampled_from(["x", "y", "0.5"]))
arithmetic = st.recursive(
    leaves,
    lambda inner: st.one_of(
        st.tuples(inner, st.sampled_from([" + ", "-", " * ", "/", "**"]), inner).map("".join),
        inner.map("-{}".format),
        inner.map("({})".format),
        inner.map("abs({})".format),
        st.tuples(inner, inner).map(lambda both: f"max({both[0]}, {both[1]})"),
    ),
    max_leaves=8,
)
numbers = st.floats(-4, 4, allow_subnormal=False)


def python_says(text: str, x: float, y: float) -> float | None:
    """Return what Python's own arithmetic makes of the text; the grammar of the two is the same by design."""
    as_floats = "".join(
        f"{sign}." if sign.isdigit() and text[i - 1 : i] != "." else sign for i, sign in enumerate(text)
    )
    try:
        result = eval(as_floats.replace("0..5", "0.5"), {"x": x, "y": y, "abs": abs, "max": max})
    except (ArithmeticError, TypeError):  # TypeError: a complex number was compared
        return None
    return result if isinstance(result, float) and abs(result) < 1e300 else None


@given(arithmetic, numbers, numbers)
def test_a_formula_comes_to_what_python_makes_of_the_same_text(text: str, x: float, y: float) -> None:
    expected = python_says(text, x, y)
    if expected is None:
        return
    try:
        found = parse_formula(text).evaluate({"x": x, "y": y})
    except FormulaResultError:  # a complex number on the way that became real again
        return
    assert found == expected


@given(arithmetic, st.lists(st.tuples(numbers, numbers), min_size=1, max_size=5))
def test_arrays_and_single_numbers_agree(text: str, points: list[tuple[float, float]]) -> None:
    formula = parse_formula(text)
    try:
        single = [formula.evaluate({"x": x, "y": y}) for x, y in points]
    except FormulaResultError:
        return
    columns = np.array(points)
    found = evaluate_arrays(formula, {"x": columns[:, 0], "y": columns[:, 1]})
    assert np.broadcast_to(found, len(points)) == pytest.approx(single, rel=1e-12)


@given(st.text(alphabet="0123456789.exy+-*/^()<>=!, \nabsif\u00e9_", max_size=60))
def test_any_text_is_a_formula_or_our_error(text: str) -> None:
    try:
        parse_formula(text).evaluate({"x": 1.0, "y": 2.0})
    except FormulaError:
        return
