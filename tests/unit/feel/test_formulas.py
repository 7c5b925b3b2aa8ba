"""Formulas: what is read, what is refused and where, and what they come to."""

from __future__ import annotations

import math

import numpy as np
import pytest

from rotorwright.feel.formula_arrays import evaluate_arrays
from rotorwright.feel.formulas import (
    FormulaNameError,
    FormulaResultError,
    FormulaTextError,
    parse_formula,
    pointed_at,
)


@pytest.mark.parametrize(
    ("text", "result"),
    [
        ("1 + 2 * 3", 7),
        ("(1 + 2) * 3", 9),
        ("10 - 4 - 3", 3),
        ("24 / 4 / 3", 2),
        ("2 ^ 3 ^ 2", 512),
        ("2 ** 3", 8),
        ("-2 ^ 2", -4),
        ("2 ^ -1", 0.5),
        ("- -3", 3),
        ("+3", 3),
        (".5 + 1.e1", 10.5),
        ("min(3, 1, 2)", 1),
        ("max(3, 1, 2)", 3),
        ("abs(-4)", 4),
        ("sign(-0.1) + sign(0) + sign(7)", 0),
        ("clamp(5, -1, 1)", 1),
        ("pow(4, 0.5)", 2),
        ("exp(0)", 1),
        ("sqrt(2)", math.sqrt(2)),
        ("if(1 < 2, 10, 20)", 10),
        ("if(1 != 1, 10, 20)", 20),
        ("if(1 >= 2, 1 / 0, 4)", 4),
    ],
)
def test_arithmetic_means_what_it_means_on_paper(text: str, result: float) -> None:
    formula = parse_formula(text)
    assert formula.evaluate({}) == result
    assert evaluate_arrays(formula, {}) == result


def test_a_formula_knows_the_names_that_it_needs() -> None:
    formula = parse_formula("roll.rate * x + expo_2 * x ^ 3")
    assert formula.names == {"roll.rate", "x", "expo_2"}
    assert formula.evaluate({"roll.rate": 100, "x": 0.5, "expo_2": 8}) == 51


def test_arrays_are_computed_point_by_point_with_single_numbers_for_all_points() -> None:
    formula = parse_formula("if(x > 0, a / x, 0)")
    points = np.array([-1.0, 0.0, 0.5, 1.0])
    assert evaluate_arrays(formula, {"x": points, "a": 2.0}).tolist() == [0, 0, 4, 2]


def test_arrays_of_different_shape_are_broadcast() -> None:
    table = evaluate_arrays(parse_formula("a * x"), {"a": np.array([[1.0], [2.0]]), "x": np.array([1.0, 3.0])})
    assert table.tolist() == [[1, 3], [2, 6]]


@pytest.mark.parametrize(
    ("text", "position", "words"),
    [
        ("", 0, "end of the formula"),
        ("1 +", 3, "a number, a name"),
        ("1 2", 2, "an operation"),
        ("2x", 1, "an operation"),
        ("(1", 2, "closing parenthesis"),
        ("1)", 1, "an operation"),
        ("a $ b", 2, "has no meaning"),
        ("sqrt", 0, "needs its parentheses"),
        ("sqrt(1, 2)", 0, "takes 1 operands"),
        ("min(1)", 0, "takes 2 to 8 operands"),
        ("open(1)", 0, "no function open"),
        ("if(1, 2, 3)", 4, "a comparison"),
        ("1 < 2", 2, "an operation"),
        ("1e999", 0, "too large"),
        ("__import__('os')", 11, "has no meaning"),
        ("x.y(1)", 0, "no function x.y"),
    ],
)
def test_what_is_no_formula_is_refused_with_its_place(text: str, position: int, words: str) -> None:
    with pytest.raises(FormulaTextError, match=words) as caught:
        parse_formula(text)
    assert caught.value.facts["position"] == position


@pytest.mark.parametrize("text", ["(" * 400 + "1" + ")" * 400, "-" * 900 + "1", "2^" * 400 + "1", "1+" * 400 + "1"])
def test_deep_formulas_are_refused_before_they_exhaust_the_stack(text: str) -> None:
    with pytest.raises(FormulaTextError, match="levels deep"):
        parse_formula(text)


def test_a_long_formula_is_refused() -> None:
    with pytest.raises(FormulaTextError, match="1000 are allowed"):
        parse_formula(" " * 1001)


def test_a_name_that_is_not_known_is_refused_when_the_formula_is_read() -> None:
    with pytest.raises(FormulaNameError, match="rat,") as caught:
        parse_formula("x * rat", known={"x", "rate"})
    assert "rate, x" in caught.value.why


def test_a_name_without_a_value_is_refused() -> None:
    formula = parse_formula("a * x")
    with pytest.raises(FormulaNameError, match="uses a,"):
        formula.evaluate({"x": 1})
    with pytest.raises(FormulaNameError, match="uses a,"):
        evaluate_arrays(formula, {"x": 1.0})


@pytest.mark.parametrize("text", ["1 / x", "sqrt(x - 1)", "(x - 1) ^ 0.5", "exp(1000 + x)", "10 ^ (400 + x)", "x ^ -1"])
def test_a_step_without_a_finite_result_is_an_error_for_numbers_and_arrays_alike(text: str) -> None:
    formula = parse_formula(text)
    with pytest.raises(FormulaResultError, match="no finite result"):
        formula.evaluate({"x": 0.0})
    with pytest.raises(FormulaResultError, match="for some of the values"):
        evaluate_arrays(formula, {"x": np.array([0.0, -0.0])})


def test_a_value_that_is_not_finite_is_refused() -> None:
    with pytest.raises(FormulaResultError):
        parse_formula("min(x, 1)").evaluate({"x": math.nan})
    with pytest.raises(FormulaResultError):
        evaluate_arrays(parse_formula("min(x, 1)"), {"x": math.inf})


def test_the_place_of_a_mistake_is_marked_below_the_formula() -> None:
    assert pointed_at("a + $", 4) == "    a + $\n        ^"
