"""The formulas of `formulas` on whole arrays at once, with the same strict arithmetic."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np

from rotorwright.feel.formulas import Apply, Formula, Name, Node, Number, check_names_given, result_error

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from numpy.typing import NDArray

    Array: TypeAlias = NDArray[np.float64]


def evaluate_arrays(formula: Formula, values: Mapping[str, Array | float]) -> Array:
    """Return the results for arrays of values, which are broadcast against each other as numpy does.

    Raises:
        FormulaNameError: a name of the formula has no value.
        FormulaResultError: a step has no finite result for at least one of the values.
    """
    check_names_given(formula, values)
    names = sorted(values)
    arrays = np.broadcast_arrays(*(np.asarray(values[name], dtype=np.float64) for name in names))
    shape = arrays[0].shape if arrays else ()
    flat = {name: array.reshape(-1) for name, array in zip(names, arrays, strict=True)}
    size = int(np.prod(shape))
    with np.errstate(all="ignore"):
        result = _evaluate(formula, formula.root, flat, size)
    return result.reshape(shape)


def _evaluate(formula: Formula, node: Node, values: Mapping[str, Array], size: int) -> Array:
    if isinstance(node, Number):
        return np.broadcast_to(np.float64(node.value), size)
    if isinstance(node, Name):
        return _finite(formula, node.position, values[node.name])
    if node.operation == "if":
        return _choose(formula, node, values, size)
    operands = [_evaluate(formula, each, values, size) for each in node.operands]
    return _finite(formula, node.position, _ARRAY[node.operation](*operands))


def _choose(formula: Formula, node: Apply, values: Mapping[str, Array], size: int) -> Array:
    condition, *branches = node.operands
    assert isinstance(condition, Apply)
    left, right = (_evaluate(formula, each, values, size) for each in condition.operands)
    holds = _COMPARE[condition.operation](left, right)
    result = np.empty(size)
    for where, branch in zip((holds, ~holds), branches, strict=True):
        # A branch sees only the places where it is chosen, so that `if(x > 0, 1 / x, 0)` has a result everywhere.
        chosen = {name: array[where] for name, array in values.items()}
        result[where] = _evaluate(formula, branch, chosen, int(where.sum()))
    return result


def _finite(formula: Formula, position: int, result: Array) -> Array:
    if not np.isfinite(result).all():
        raise result_error(formula, position, "for some of the values")
    return result


def _minimum(*operands: Array) -> Array:
    return np.asarray(np.minimum.reduce(operands), dtype=np.float64)


def _maximum(*operands: Array) -> Array:
    return np.asarray(np.maximum.reduce(operands), dtype=np.float64)


def _clamp(number: Array, low: Array, high: Array) -> Array:
    return np.minimum(np.maximum(number, low), high)


_ARRAY: Mapping[str, Callable[..., Any]] = {
    "+": np.add,
    "-": np.subtract,
    "*": np.multiply,
    "/": np.divide,
    "pow": np.power,
    "negate": np.negative,
    "abs": np.abs,
    "clamp": _clamp,
    "exp": np.exp,
    "max": _maximum,
    "min": _minimum,
    "sign": np.sign,
    "sqrt": np.sqrt,
}
_COMPARE: Mapping[str, Callable[..., Any]] = {
    "<": np.less,
    "<=": np.less_equal,
    ">": np.greater,
    ">=": np.greater_equal,
    "==": np.equal,
    "!=": np.not_equal,
}
