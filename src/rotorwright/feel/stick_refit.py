"""Refit of a stick curve: the settings of a new law whose curve is closest to that of the old one.

Closest means that the largest deviation in deg/s over the whole stick is smallest (the Chebyshev, or minimax, sense),
because a pilot notices the place where it differs most. Method, in four steps:

1. Starts: the values of the same names, the defaults, and the best of many points spread over the ranges (Halton
   sequence), by their largest and by their mean square deviation.
2. From each start, the minimax problem is solved as a sequence of linear programs with a trust region (Madsen 1975, "An
   algorithm for minimax solution of overdetermined systems of non-linear equations", from memory). Laws with corners
   stop such a search early, so points spread around the result, ever closer, are tried as well.
3. Settings with steps go onto their steps: the whole box of steps around the best result is searched, and then
   whatever one or two more steps improve; settings without steps are solved anew for the best of these.
4. The deviation is measured on a grid ten times finer than the one searched.

Laws with several equally good valleys may have a better solution than the one found; the deviation reported is true
for the settings reported in any case.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from rotorwright.feel.formulas import FormulaResultError
from rotorwright.feel.stick_curves import Curve, law_error, stick_positions

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from rotorwright.feel.formula_arrays import Array
    from rotorwright.feel.stick_curves import CurveLaw, Parameter

CENTRE = 0.25  # "near centre" is a quarter of the way to each side
_SEARCH_POINTS = 201
_REPORT_POINTS = 2001
_SPREAD_STARTS = 1024
_SPREAD_AROUND = 128
_SHRINKING = (0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001)  # of the range, to each side
_STARTS_OF_A_KIND = 3
_MAX_ROUNDS = 40
_MAX_BOX = 20_000
_BOX_SHORTLIST = 64
# What two float32 settings of one meaning may differ by: float32 holds 6e-8 of a number, and a law may amplify that.
EXACT = 1e-6


@dataclass(frozen=True, slots=True)
class StickRefit:
    """The settings found, and how far their curve is from the old one.

    Args:
        values: the new settings.
        deviation_dps: the largest deviation of the new curve from the old one.
        at_stick: the stick position where it is.
        centre_deviation_dps: the largest deviation within a quarter of the way to each side.
        full_deviation_dps: the larger deviation of the two ends of the stick.
        unstepped_dps: the largest deviation if settings had no steps; the price of the steps is the difference.
        is_exact: the two curves are the same as far as 32-bit settings can tell.
    """

    values: Mapping[str, float]
    deviation_dps: float
    at_stick: float
    centre_deviation_dps: float
    full_deviation_dps: float
    unstepped_dps: float
    is_exact: bool

    @property
    def words(self) -> str:
        """What a person should know of it."""
        if self.is_exact:
            return "the same curve"
        return (
            f"at most {shown_dps(self.deviation_dps)} from the old curve, at stick position {self.at_stick:+.2f}; "
            f"near centre at most {shown_dps(self.centre_deviation_dps)}, "
            f"at full stick {shown_dps(self.full_deviation_dps)}"
        )


def shown_dps(rate: float) -> str:
    """Return a rate with as many digits as a pilot could notice."""
    if rate < 1e-3:
        return "none"
    return f"{rate:.0f} deg/s" if rate >= 9.95 else f"{rate:.2g} deg/s"


def refit_stick(old: Curve, law: CurveLaw, *, centre_weight: float = 1.0) -> StickRefit:
    """Return the settings of `law` whose curve is closest to `old`.

    Args:
        old: the curve to be kept.
        law: the new law with the ranges and steps of its settings.
        centre_weight: how many times a deviation within a quarter of the way to each side counts, at least once.

    Raises:
        CurveLawError: the weight is below 1.
        FormulaResultError: the old law has no finite rate somewhere on the stick, or the new one for none of the
            settings that were tried.
    """
    if not 1 <= centre_weight < math.inf:
        raise law_error(f"A deviation near the centre counts at least once, not {centre_weight:g} times.")
    search = _Search(old, law, centre_weight)
    likeliest = search.likeliest()
    if search.is_exact(search.point(likeliest)):
        return search.report(likeliest, unstepped=search.point(likeliest))
    solved: list[Array] = []
    for start in search.starts(likeliest):
        solved.append(search.solve_corners(start))
        if search.is_exact(solved[-1]):
            break
    best = min(solved, key=search.deviation)
    return search.report(search.tidy(search.onto_steps(best)), unstepped=best)


def measure_curves(old: Curve, new: Curve) -> StickRefit:
    """Return how far the curve `new` is from `old`, on 2,001 stick positions.

    Raises:
        FormulaResultError: one of them has no finite rate somewhere on the stick.
    """
    sticks = stick_positions(_REPORT_POINTS)
    wanted = old.rates_dps(sticks)
    apart = np.abs(new.rates_dps(sticks) - wanted)
    most = float(apart.max())
    return StickRefit(
        values=new.values,
        deviation_dps=most,
        at_stick=float(sticks[int(apart.argmax())]),
        centre_deviation_dps=float(apart[np.abs(sticks) <= CENTRE].max()),
        full_deviation_dps=float(max(apart[0], apart[-1])),
        unstepped_dps=most,
        is_exact=most <= _same(wanted),
    )


def _same(wanted: Array) -> float:
    """Return by how much two curves may differ that 32-bit settings cannot tell apart."""
    return EXACT * max(1e-3, float(np.abs(wanted).max()))


class _Search:
    """One refit under way. A point is an array with one number for each parameter: its place in its range, 0 to 1."""

    def __init__(self, old: Curve, law: CurveLaw, centre_weight: float) -> None:
        self._old, self._law = old, law
        self._sticks = stick_positions(_SEARCH_POINTS)
        self._weights = np.where(np.abs(self._sticks) <= CENTRE, centre_weight, 1.0)
        self._wanted = old.rates_dps(self._sticks)
        self._same = _same(self._wanted)
        self._low = np.array([each.minimum for each in law.parameters])
        self._width = np.array([each.maximum - each.minimum for each in law.parameters])
        self._stepped = [place for place, each in enumerate(law.parameters) if each.step is not None]

    def likeliest(self) -> dict[str, float]:
        """Return the old values under the same names as far as they are allowed, else defaults."""
        known = {name: number for name, number in self._old.values.items() if math.isfinite(number)}
        return {each.name: each.nearest(known.get(each.name, _default(each))) for each in self._law.parameters}

    def starts(self, likeliest: Mapping[str, float]) -> Iterable[Array]:
        """Yield the points from which to search, the likeliest first."""
        yield self.point(likeliest)
        yield self.point({each.name: _default(each) for each in self._law.parameters})
        points = _spread(_SPREAD_STARTS, len(self._low))
        largest, square = self._measures(points)
        for order in (largest.argsort(), square.argsort()):
            yield from points[order[:_STARTS_OF_A_KIND]]

    def point(self, values: Mapping[str, float]) -> Array:
        """Return the point for these values."""
        return self._point(np.array([values[each.name] for each in self._law.parameters], dtype=np.float64))

    def deviation(self, point: Array) -> float:
        """Return the largest weighted deviation; infinite where the law has no finite rate."""
        residuals = self._residuals(point)
        return float("inf") if residuals is None else float(np.abs(residuals).max())

    def is_exact(self, point: Array) -> bool:
        """Whether the curve at `point` is the old one as far as 32-bit settings can tell."""
        return self.deviation(point) <= self._same

    def solve_corners(self, start: Array) -> Array:
        """Return the best point reached from `start`, also where the law has corners that hide the way down."""
        best = self.solve(start)
        for share in _SHRINKING if not self.is_exact(best) else ():
            around = best + share * (2 * _spread(_SPREAD_AROUND, len(best)) - 1)
            best = self._best_of([best, *np.clip(around, 0.0, 1.0)])
        return self.solve(best)

    def solve(self, start: Array, *, held: Iterable[int] = ()) -> Array:
        """Return the point with the smallest deviation reached from `start`; the parameters at `held` do not move."""
        free = [place for place in range(len(start)) if place not in set(held) and self._width[place] > 0]
        point, radius = start, 0.25
        residuals = self._residuals(point)
        for _ in range(_MAX_ROUNDS if free and residuals is not None else 0):
            assert residuals is not None
            slopes = self._slopes(point, free)
            if slopes is None:
                break
            change, foreseen = _best_change(residuals, slopes, point[free], radius)
            now = float(np.abs(residuals).max())
            if now - foreseen <= 1e-9 * now + 1e-12:
                break
            there = point.copy()
            there[free] = np.clip(point[free] + change, 0.0, 1.0)
            moved = self._residuals(there)
            gained = -1.0 if moved is None else (now - float(np.abs(moved).max())) / (now - foreseen)
            radius = _next_radius(radius, gained)
            if gained > 0:
                point, residuals = there, moved
            if radius < 1e-9:
                break
        return point

    def onto_steps(self, point: Array) -> Array:
        """Return the best point near `point` whose stepped parameters are all on their steps."""
        if not self._stepped:
            return point
        best = self._descend(self._best_in_box(point))
        return self._descend(self.solve(best, held=self._stepped))

    def tidy(self, point: Array) -> dict[str, float]:
        """Return allowed values for `point`, with as few digits as keep its deviation within a thousandth."""
        limit = max(self._same / 2, self.deviation(point) * 1.001)
        for digits in range(3, 9):
            values = self._allowed(point, digits)
            if self.deviation(self.point(values)) <= limit:
                return values
        return self._allowed(point, 17)

    def report(self, values: Mapping[str, float], *, unstepped: Array) -> StickRefit:
        """Return the result for `values`, measured on the fine grid."""
        found = measure_curves(self._old, Curve(self._law, values))
        return replace(found, unstepped_dps=min(found.deviation_dps, self._unweighted(unstepped)))

    def _allowed(self, point: Array, digits: int) -> dict[str, float]:
        pairs = zip(self._law.parameters, self._numbers(point).tolist(), strict=True)
        return {each.name: each.nearest(float(f"{number:.{digits}g}")) for each, number in pairs}

    def _best_in_box(self, point: Array) -> Array:
        """Return the best point on the steps around `point`, of as many steps to each side as can be afforded."""
        box = self._box(point)
        coarse = np.concatenate(
            [self._measures(part, every=4)[0] for part in np.array_split(box, len(box) // 4096 + 1)]
        )
        return self._best_of(list(box[coarse.argsort()[:_BOX_SHORTLIST]]))

    def _box(self, point: Array) -> Array:
        """Return the points of the largest box around `point` that has no more than `_MAX_BOX` of them."""
        stepped = [self._law.parameters[place] for place in self._stepped]
        ranges = [range(index, index + 1) for index in self._indexes(point)]
        while True:
            wider = [
                range(max(each.start - 1, 0), min(each.stop + 1, parameter.last_index + 1))
                for each, parameter in zip(ranges, stepped, strict=True)
            ]
            if wider == ranges or math.prod(map(len, wider)) > _MAX_BOX:
                break
            ranges = wider
        axes = [[each.at_index(index) for index in steps] for each, steps in zip(stepped, ranges, strict=True)]
        box = np.tile(self._numbers(point), (math.prod(map(len, axes)), 1))
        box[:, self._stepped] = list(itertools.product(*axes))
        return self._point(box)

    def _best_of(self, points: list[Array]) -> Array:
        return points[int(self._measures(np.array(points))[0].argmin())]

    def _measures(self, points: Array, *, every: int = 1) -> tuple[Array, Array]:
        """Return the largest and the mean square weighted deviation at each of many points, on some of the stick."""
        numbers = self._numbers(points)
        names = [each.name for each in self._law.parameters]
        table = {name: numbers[:, [place]] for place, name in enumerate(names)}
        try:
            rates = self._law.rates_dps(table, self._sticks[np.newaxis, ::every])
        except FormulaResultError:  # somewhere among them; then each point is tried by itself
            single = np.array([self.deviation(point) for point in points])
            return single, single
        apart = np.abs(self._weights[::every] * (rates - self._wanted[::every]))
        return apart.max(axis=1), (apart**2).mean(axis=1)

    def _descend(self, point: Array) -> Array:
        """Return where one or two steps at a time lead while they improve anything."""
        best, least = point, self.deviation(point)
        while True:
            here = self._indexes(best)
            steps = ([a + b for a, b in zip(here, move, strict=True)] for move in _moves(len(here)))
            found = self._best_of([self._at_indexes(best, each) for each in steps])
            if self.deviation(found) >= least:
                return best
            best, least = found, self.deviation(found)

    def _indexes(self, point: Array) -> list[int]:
        numbers = self._numbers(point)
        return [self._law.parameters[place].nearest_index(float(numbers[place])) for place in self._stepped]

    def _at_indexes(self, point: Array, indexes: Iterable[int]) -> Array:
        numbers = self._numbers(point)
        for place, index in zip(self._stepped, indexes, strict=True):
            parameter = self._law.parameters[place]
            numbers[place] = parameter.at_index(min(max(index, 0), parameter.last_index))
        return self._point(numbers)

    def _numbers(self, point: Array) -> Array:
        return np.asarray(self._low + point * self._width, dtype=np.float64)

    def _point(self, numbers: Array) -> Array:
        width = np.where(self._width > 0, self._width, 1.0)
        return np.asarray(np.clip((numbers - self._low) / width, 0.0, 1.0), dtype=np.float64)

    def _rates(self, point: Array) -> Array | None:
        names = (each.name for each in self._law.parameters)
        values = dict(zip(names, self._numbers(point).tolist(), strict=True))
        try:
            return self._law.rates_dps(values, self._sticks)
        except FormulaResultError:
            return None

    def _residuals(self, point: Array) -> Array | None:
        rates = self._rates(point)
        return None if rates is None else np.asarray(self._weights * (rates - self._wanted), dtype=np.float64)

    def _unweighted(self, point: Array) -> float:
        rates = self._rates(point)
        return float("inf") if rates is None else float(np.abs(rates - self._wanted).max())

    def _slopes(self, point: Array, free: list[int]) -> Array | None:
        columns = []
        for place in free:
            ends = [point.copy(), point.copy()]
            ends[0][place] = max(0.0, point[place] - 1e-5)
            ends[1][place] = min(1.0, point[place] + 1e-5)
            low, high = (self._residuals(end) for end in ends)
            if low is None or high is None:
                return None
            columns.append((high - low) / (ends[1][place] - ends[0][place]))
        return np.stack(columns, axis=1)


def _best_change(residuals: Array, slopes: Array, point: Array, radius: float) -> tuple[Array, float]:
    """Return the change that makes the largest linearised residual smallest within `radius`, and that residual."""
    from scipy.optimize import linprog  # type: ignore[import-untyped, unused-ignore]  # noqa: PLC0415 - heavy

    scale = max(float(np.abs(residuals).max()), 1e-300)
    count = slopes.shape[1]
    cost = np.zeros(count + 1)
    cost[-1] = 1.0
    both = np.vstack([slopes, -slopes]) / scale
    limits = np.concatenate([-residuals, residuals]) / scale
    bounds = [(max(-radius, -at), min(radius, 1.0 - at)) for at in point.tolist()]
    solution = linprog(
        cost,
        A_ub=np.hstack([both, -np.ones((len(both), 1))]),
        b_ub=limits,
        bounds=[*bounds, (0.0, None)],
        method="highs",
    )
    if solution.x is None:
        return np.zeros(count), scale
    return np.asarray(solution.x[:count], dtype=np.float64), float(solution.x[-1]) * scale


def _next_radius(radius: float, gained: float) -> float:
    """Return the new trust radius: gained is the share of the foreseen gain that came true."""
    if gained > 0.75:
        return min(1.0, radius * 2)
    return radius if gained > 0.25 else radius / 4


def _moves(count: int) -> list[list[int]]:
    """Return the moves of one or two steps, and of one step of each of two parameters."""
    singles = [(place, size) for place in range(count) for size in (-2, -1, 1, 2)]
    moves = [[size if place == at else 0 for place in range(count)] for at, size in singles]
    for first, second in itertools.combinations(range(count), 2):
        for sizes in itertools.product((-1, 1), repeat=2):
            pair = dict(zip((first, second), sizes, strict=True))
            moves.append([pair.get(place, 0) for place in range(count)])
    return moves


def _default(parameter: Parameter) -> float:
    return (parameter.minimum + parameter.maximum) / 2 if parameter.default is None else parameter.default


@cache
def _spread(count: int, dimensions: int) -> Array:
    """Return points spread evenly over the unit cube, the same ones each time (Halton sequence)."""
    bases = list(itertools.islice(_primes(), dimensions))
    return np.array([[_halton(index, base) for base in bases] for index in range(1, count + 1)])


def _halton(index: int, base: int) -> float:
    result, share = 0.0, 1.0
    while index:
        share /= base
        index, digit = divmod(index, base)
        result += digit * share
    return result


def _primes() -> Iterable[int]:
    found: list[int] = []
    for number in itertools.count(2):
        if all(number % prime for prime in found):
            found.append(number)
            yield number
