"""Formulas in plain arithmetic: read by a parser of our own, never run as code.

A formula is a number, a name, or arithmetic on formulas. docs/reference/formulas.md describes the form; the tables
below are its whole vocabulary. Length and depth are bounded, so that a formula from a stranger's book can neither
exhaust the stack nor the memory.

Arithmetic is strict: a step that has no finite result (division by zero, root of a negative number, overflow) is an
error that names its place. Only the chosen branch of `if` is computed.
"""

from __future__ import annotations

import math
import operator
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from rotorwright.errors import SettingsError

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterator, Mapping

MAX_LENGTH = 1000
MAX_DEPTH = 60
_MAX_NESTING = 30  # each level of parentheses costs the parser six calls, well within Python's limit of 1000


class FormulaError(SettingsError):
    """A formula cannot be used."""

    id = "settings.formula"


class FormulaTextError(FormulaError):
    """A formula is not written as formulas are."""

    id = "settings.formula-text"


class FormulaNameError(FormulaError):
    """A formula uses a name that has no value."""

    id = "settings.formula-name"


class FormulaResultError(FormulaError):
    """A formula has no finite result for these values."""

    id = "settings.formula-result"


@dataclass(frozen=True, slots=True)
class Number:
    """A number written in the formula."""

    value: float
    position: int


@dataclass(frozen=True, slots=True)
class Name:
    """A name whose value is given when the formula is computed."""

    name: str
    position: int


@dataclass(frozen=True, slots=True)
class Apply:
    """An operation or function on operands; `if` has a condition first, made with an operation of `COMPARISONS`."""

    operation: str
    operands: tuple[Node, ...]
    position: int
    depth: int


Node: TypeAlias = Number | Name | Apply

# Function and how many operands it takes, at least and at most.
FUNCTIONS: Mapping[str, tuple[int, int]] = {
    "abs": (1, 1),
    "clamp": (3, 3),
    "exp": (1, 1),
    "if": (3, 3),
    "max": (2, 8),
    "min": (2, 8),
    "pow": (2, 2),
    "sign": (1, 1),
    "sqrt": (1, 1),
}
COMPARISONS: Mapping[str, Callable[[float, float], bool]] = {
    "<": operator.lt,
    "<=": operator.le,
    ">": operator.gt,
    ">=": operator.ge,
    "==": operator.eq,
    "!=": operator.ne,
}


@dataclass(frozen=True, slots=True)
class Formula:
    """A formula that was read: its text, what it means, and the names it needs."""

    text: str
    root: Node
    names: frozenset[str]

    def evaluate(self, values: Mapping[str, float]) -> float:
        """Return the result for these values of the names.

        Raises:
            FormulaNameError: a name of the formula has no value.
            FormulaResultError: a step has no finite result.
        """
        check_names_given(self, values)
        return _evaluate(self, self.root, values)


def parse_formula(text: str, *, known: Collection[str] | None = None) -> Formula:
    """Return the formula that `text` stands for.

    Args:
        text: at most 1000 characters.
        known: the names that may be used; any name where nothing is given.

    Raises:
        FormulaTextError: the text is no formula; says where and what was expected.
        FormulaNameError: a name is not among the known ones.
    """
    if len(text) > MAX_LENGTH:
        raise _text_error(text, MAX_LENGTH, f"it has {len(text)} characters, and {MAX_LENGTH} are allowed")
    root = _Parser(text).whole()
    if known is not None:
        for node in _names_in(root):
            if node.name not in known:
                raise _name_error(text, node, known)
    return Formula(text, root, frozenset(node.name for node in _names_in(root)))


def check_names_given(formula: Formula, values: Collection[str]) -> None:
    """Raise `FormulaNameError` for the first name of the formula that has no value."""
    if not formula.names.issubset(values):
        missing = next(node for node in _names_in(formula.root) if node.name not in values)
        raise _name_error(formula.text, missing, values)


def result_error(formula: Formula, position: int, words: str) -> FormulaResultError:
    """Return the error for a step at `position` that has no finite result; `words` say for which values."""
    return FormulaResultError(
        f"The formula has no finite result {words}:\n{pointed_at(formula.text, position)}",
        why="A step divides by zero, takes the root of a negative number, or grows beyond any number.",
        todo="Correct the formula in the release book, or the value that it was given.",
        position=position,
    )


def pointed_at(text: str, position: int) -> str:
    """Return the part of the text around `position` and, on a second line, a mark below the place."""
    start = max(0, position - 40)
    shown = "".join(sign if sign.isprintable() else " " for sign in text[start : position + 40])
    return f"    {shown}\n    {' ' * (position - start)}^"


_TOKEN = re.compile(
    r"[ \t\r\n]*(?:(?P<number>(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][-+]?[0-9]+)?)"
    r"|(?P<name>[A-Za-z_][A-Za-z0-9_.]*)|(?P<sign>\*\*|<=|>=|==|!=|[-+*/^(),<>]))"
)
_BLANK = re.compile(r"[ \t\r\n]*")


@dataclass(frozen=True, slots=True)
class _Token:
    kind: str  # "number", "name", "sign" or "end"
    text: str
    position: int


def _tokens(text: str) -> list[_Token]:
    found, position = [], 0
    while match := _TOKEN.match(text, position):
        kind = match.lastgroup or ""
        sign = "^" if match[kind] == "**" else match[kind]
        found.append(_Token(kind, sign, match.start(kind)))
        position = match.end()
    blank = _BLANK.match(text, position)
    position = blank.end() if blank else position
    if position < len(text):
        raise _text_error(text, position, f"{text[position]!r} has no meaning here")
    return [*found, _Token("end", "", len(text))]


class _Parser:
    """Recursive descent. Each method reads one level of the grammar and leaves the next token to be read."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._tokens = _tokens(text)
        self._next = 0
        self._nesting = 0

    def whole(self) -> Node:
        """Return the whole text as one formula."""
        node = self._sum()
        if self._token.kind != "end":
            raise self._expected("an operation or the end of the formula")
        return node

    @property
    def _token(self) -> _Token:
        return self._tokens[self._next]

    def _take(self, *signs: str) -> _Token | None:
        token = self._token
        if token.kind != "sign" or token.text not in signs:
            return None
        self._next += 1
        return token

    def _need(self, sign: str, words: str) -> None:
        if not self._take(sign):
            raise self._expected(words)

    def _sum(self) -> Node:
        node = self._product()
        while token := self._take("+", "-"):
            node = self._apply(token.text, (node, self._product()), token.position)
        return node

    def _product(self) -> Node:
        node = self._signed()
        while token := self._take("*", "/"):
            node = self._apply(token.text, (node, self._signed()), token.position)
        return node

    def _signed(self) -> Node:
        with _Level(self):
            if token := self._take("-"):
                return self._apply("negate", (self._signed(),), token.position)
            return self._signed() if self._take("+") else self._power()

    def _power(self) -> Node:
        base = self._atom()
        token = self._take("^")
        # The exponent may have a sign, and powers of powers group from the right, as in mathematics.
        return self._apply("pow", (base, self._signed()), token.position) if token else base

    def _atom(self) -> Node:
        token = self._token
        if self._take("("):
            node = self._sum()
            self._need(")", "a closing parenthesis")
            return node
        if token.kind not in {"number", "name"}:
            raise self._expected("a number, a name or an opening parenthesis")
        self._next += 1
        if token.kind == "number":
            return self._number(token)
        return self._function(token) if self._take("(") else self._name(token)

    def _number(self, token: _Token) -> Number:
        value = float(token.text)
        if not math.isfinite(value):
            raise _text_error(self._text, token.position, "this number is too large")
        return Number(value, token.position)

    def _name(self, token: _Token) -> Name:
        if token.text in FUNCTIONS:
            raise _text_error(self._text, token.position, f"{token.text} is a function and needs its parentheses")
        return Name(token.text, token.position)

    def _function(self, token: _Token) -> Node:
        if token.text not in FUNCTIONS:
            known = ", ".join(FUNCTIONS)
            raise _text_error(self._text, token.position, f"there is no function {token.text} (there are {known})")
        operands = [self._condition() if token.text == "if" else self._sum()]
        while self._take(","):
            operands.append(self._sum())
        self._need(")", "a comma or a closing parenthesis")
        self._check_count(token, len(operands))
        return self._apply(token.text, tuple(operands), token.position)

    def _check_count(self, token: _Token, count: int) -> None:
        least, most = FUNCTIONS[token.text]
        if not least <= count <= most:
            wanted = str(least) if least == most else f"{least} to {most}"
            raise _text_error(self._text, token.position, f"{token.text} takes {wanted} operands, and here are {count}")

    def _condition(self) -> Node:
        left = self._sum()
        token = self._take(*COMPARISONS)
        if not token:
            raise self._expected("a comparison (<, <=, >, >=, ==, !=)")
        return self._apply(token.text, (left, self._sum()), token.position)

    def _apply(self, operation: str, operands: tuple[Node, ...], position: int) -> Apply:
        depth = 1 + max(node.depth if isinstance(node, Apply) else 0 for node in operands)
        if depth > MAX_DEPTH:
            raise _text_error(self._text, position, f"it is nested more than {MAX_DEPTH} levels deep")
        return Apply(operation, operands, position, depth)

    def _expected(self, words: str) -> FormulaTextError:
        token = self._token
        found = "the end of the formula" if token.kind == "end" else repr(token.text)
        return _text_error(self._text, token.position, f"{words} was expected, and here is {found}")

    def enter(self) -> None:
        """Count one level of nesting more; part of `_Level`."""
        self._nesting += 1
        if self._nesting > _MAX_NESTING:
            raise _text_error(self._text, self._token.position, f"it is nested more than {_MAX_NESTING} levels deep")

    def leave(self) -> None:
        """Count one level of nesting less; part of `_Level`."""
        self._nesting -= 1


class _Level:
    """One level of nesting of the parser, left again on every way out."""

    def __init__(self, parser: _Parser) -> None:
        self._parser = parser

    def __enter__(self) -> None:
        self._parser.enter()

    def __exit__(self, *_: object) -> None:
        self._parser.leave()


def _evaluate(formula: Formula, node: Node, values: Mapping[str, float]) -> float:
    if isinstance(node, Number):
        return node.value
    if isinstance(node, Name):
        return _finite(formula, node.position, float(values[node.name]))
    if node.operation == "if":
        chosen = 1 if _holds(formula, node.operands[0], values) else 2
        return _evaluate(formula, node.operands[chosen], values)
    operands = [_evaluate(formula, each, values) for each in node.operands]
    try:
        result = _SCALAR[node.operation](*operands)
    except (ArithmeticError, ValueError) as error:
        raise result_error(formula, node.position, _for_values(formula, values)) from error
    # A root of a negative number is complex in Python; it is no rate of turn.
    return _finite(formula, node.position, result if isinstance(result, float) else math.nan)


def _holds(formula: Formula, condition: Node, values: Mapping[str, float]) -> bool:
    assert isinstance(condition, Apply)
    left, right = (_evaluate(formula, each, values) for each in condition.operands)
    return COMPARISONS[condition.operation](left, right)


def _finite(formula: Formula, position: int, result: float) -> float:
    if not math.isfinite(result):
        raise result_error(formula, position, "for this value")
    return result


def _for_values(formula: Formula, values: Mapping[str, float]) -> str:
    return "for " + ", ".join(f"{name} = {values[name]:g}" for name in sorted(formula.names))


def _sign(number: float) -> float:
    return float((number > 0) - (number < 0))


def _clamp(number: float, low: float, high: float) -> float:
    return min(max(number, low), high)


_SCALAR: Mapping[str, Callable[..., float]] = {
    "+": operator.add,
    "-": operator.sub,
    "*": operator.mul,
    "/": operator.truediv,
    "pow": operator.pow,
    "negate": operator.neg,
    "abs": abs,
    "clamp": _clamp,
    "exp": math.exp,
    "max": max,
    "min": min,
    "sign": _sign,
    "sqrt": math.sqrt,
}


def _names_in(node: Node) -> Iterator[Name]:
    if isinstance(node, Name):
        yield node
    elif isinstance(node, Apply):
        for each in node.operands:
            yield from _names_in(each)


def _text_error(text: str, position: int, words: str) -> FormulaTextError:
    return FormulaTextError(
        f"The formula cannot be read at character {position + 1}: {words}.\n{pointed_at(text, position)}",
        why="It is not written as formulas are: numbers, names, + - * / ^, parentheses and a few functions.",
        todo="Correct the formula where it comes from; docs/reference/formulas.md shows the form.",
        position=position,
    )


def _name_error(text: str, node: Name, known: Collection[str]) -> FormulaNameError:
    names = ", ".join(sorted(known)) or "none"
    return FormulaNameError(
        f"The formula uses {node.name}, which has no value here:\n{pointed_at(text, node.position)}",
        why=f"The names with a value are: {names}.",
        todo="Correct the name in the formula, or give it a value.",
        name=node.name,
        position=node.position,
    )
