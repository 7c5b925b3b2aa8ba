"""Fit the weights of the search for successors on the tuning part of the histories, and print or check them.

    python tools/fit_successors.py            write src/rotorwright/settings/successors/weights.toml
    python tools/fit_successors.py --check    only compare: exit code 1 if the shipped file is not what this makes

Three logistic regressions with a quadratic penalty, fitted by L-BFGS-B:

1. the strength of a pair from its traits, over all candidate pairs. The sign of each weight is bound: no trait that
   speaks for a pair may count against it because of an accident in the data. The penalty draws each weight towards
   `EXPECTED`, which is what remains where the data are silent.
2. the probability of a chosen pair from its strength and its leads (Platt scaling, with two more inputs). The strengths
   it learns from come from weights that were fitted without the history in question, or they would be too good.

3. the probability of no successor, from the log odds against the best pair, where no pair is likelier than not.

The held-out part is not read here.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from tests.outside.successor_histories import History, Part, histories

from rotorwright.settings.successors.candidates import Candidate, candidates_of
from rotorwright.settings.successors.pairing import Weighed, pair_up, weigh
from rotorwright.settings.successors.release_change import ReleaseChange
from rotorwright.settings.successors.suggest import LIKELIER_THAN_NOT
from rotorwright.settings.successors.traits import SPEAKS_AGAINST, TRAIT_NAMES
from rotorwright.settings.successors.weighing import Weights, log_odds, parse_weights

TARGET = Path(__file__).resolve().parent.parent / "src/rotorwright/settings/successors/weights.toml"
PAIR_PENALTY = 0.5
# Log odds that a trait of this kind counts before the data speak, and keeps where they are silent (few listings tell
# units and ranges): a choice, not a measurement. One is modest: a full trait makes a pair 2.7 times as likely.
EXPECTED = 1.0
PROBABILITY_PENALTY = 0.05
DECIMALS = 3  # shipped; far finer than what this little data can tell

Numbers = NDArray[np.float64]
Bounds = Sequence[tuple[float | None, float | None]]


@dataclass(frozen=True, slots=True)
class Task:
    """A history with its candidates, looked up once."""

    history: History
    change: ReleaseChange
    candidates: tuple[Candidate, ...]

    def is_right(self, each: Candidate) -> bool:
        """Answer whether a candidate is the successor."""
        return self.history.truth[self.change.vanished[each.old].name] == self.change.arrived[each.new].name


def main() -> int:
    """Fit, then write or compare."""
    parser = argparse.ArgumentParser(description="Fit the weights of the search for successors.")
    parser.add_argument("--check", action="store_true", help="compare with the shipped file, write nothing")
    check = parser.parse_args().check
    text = print_weights(fit([task_of(each) for each in histories(Part.TUNING)]))
    if check:
        same = parse_weights(text) == parse_weights(TARGET.read_text(encoding="utf-8"))
        print("the shipped weights are those that this script makes" if same else text)
        return 0 if same else 1
    TARGET.write_text(text, encoding="utf-8")
    print(text)
    return 0


def task_of(history: History) -> Task:
    """Return a history with its candidates."""
    change = ReleaseChange(
        history.vanished, history.arrived, old_listing=history.old_listing, new_listing=history.new_listing
    )
    return Task(history, change, candidates_of(change))


def fit(tasks: Sequence[Task]) -> Weights:
    """Return the weights fitted on these tasks."""
    inputs, right = _standings(tasks)
    bias, factors = regression(inputs, right, PROBABILITY_PENALTY, [(0.0, None)] * 3, np.zeros(3))
    pair_bias, traits = _pair_fit(tasks)
    chances = Weights(0.0, {}, bias, (factors[0], factors[1], factors[2]))
    against, nothing = _without_pair(tasks, chances)
    nothing_bias, (nothing_slope,) = regression(against, nothing, PROBABILITY_PENALTY, [(0.0, None)], np.zeros(1))
    return Weights(
        bias=round(pair_bias, DECIMALS),
        traits={name: round(weight, DECIMALS) for name, weight in traits.items()},
        probability_bias=round(bias, DECIMALS),
        probability=(round(factors[0], DECIMALS), round(factors[1], DECIMALS), round(factors[2], DECIMALS)),
        nothing_bias=round(nothing_bias, DECIMALS),
        nothing=round(nothing_slope, DECIMALS),
    )


def _pair_fit(tasks: Sequence[Task]) -> tuple[float, dict[str, float]]:
    pairs = [(each.traits.numbers, task.is_right(each)) for task in tasks for each in task.candidates]
    inputs = np.array([numbers for numbers, _ in pairs])
    right = np.array([is_right for _, is_right in pairs], float)
    bounds: Bounds = [(None, 0.0) if name in SPEAKS_AGAINST else (0.0, None) for name in TRAIT_NAMES]
    expected = np.array([-EXPECTED if name in SPEAKS_AGAINST else EXPECTED for name in TRAIT_NAMES])
    bias, found = regression(inputs, right, PAIR_PENALTY, bounds, expected)
    return bias, dict(zip(TRAIT_NAMES, found, strict=True))


def _standings(tasks: Sequence[Task]) -> tuple[Numbers, Numbers]:
    """Return the standings of the pairs chosen in each task with weights fitted on all the others."""
    inputs: list[tuple[float, float, float]] = []
    right: list[bool] = []
    for task, weighed in _weighed_by_others(tasks):
        for pair in pair_up(weighed, task.change).values():
            inputs.append(pair.standing.numbers)
            right.append(task.is_right(pair.candidate))
    return np.array(inputs), np.array(right, float)


def _without_pair(tasks: Sequence[Task], chances: Weights) -> tuple[Numbers, Numbers]:
    """Return the log odds against the best pair of each setting without a likely one, and whether it has no successor.

    A setting without any candidate says nothing here.
    """
    against: list[tuple[float]] = []
    nothing: list[bool] = []
    for task, weighed in _weighed_by_others(tasks):
        pairs = pair_up(weighed, task.change)
        for place, old in enumerate(task.change.vanished):
            best = max((chances.chance(each.standing) for each in weighed if each.candidate.old == place), default=0.0)
            if best and (place not in pairs or chances.chance(pairs[place].standing) < LIKELIER_THAN_NOT):
                against.append((-log_odds(best),))
                nothing.append(task.history.truth[old.name] is None)
    return np.array(against), np.array(nothing, float)


def _weighed_by_others(tasks: Sequence[Task]) -> Iterator[tuple[Task, tuple[Weighed, ...]]]:
    """Yield each task with its candidates as weights see them that were fitted on all the other tasks."""
    for task in tasks:
        bias, traits = _pair_fit([other for other in tasks if other is not task])
        yield task, weigh(task.candidates, Weights(bias, traits, 0.0, (1.0, 0.0, 0.0)))


def regression(
    inputs: Numbers, right: Numbers, penalty: float, bounds: Bounds, expected: Numbers
) -> tuple[float, list[float]]:
    """Return bias and weights of the logistic regression; the bias is not penalised."""

    def loss(free: Numbers) -> tuple[float, Numbers]:
        log_odds = free[0] + inputs @ free[1:]
        error = 1 / (1 + np.exp(-log_odds)) - right
        surprise = free[1:] - expected
        value = np.logaddexp(0, log_odds).sum() - right @ log_odds + penalty * (surprise @ surprise) / 2
        slope = np.concatenate([[error.sum()], error @ inputs + penalty * surprise])
        return float(value), slope

    start = np.zeros(inputs.shape[1] + 1)
    options = {"maxiter": 5000, "ftol": 1e-14, "gtol": 1e-9}
    result = minimize(loss, start, jac=True, method="L-BFGS-B", bounds=[(None, None), *bounds], options=options)
    return float(result.x[0]), [float(each) for each in result.x[1:]]


def print_weights(weights: Weights) -> str:
    """Return the text of `weights.toml`."""
    names = ("strength", "lead_of_old", "lead_of_new")
    lines = [
        "# How much each trait counts in the search for successors. Made by tools/fit_successors.py; do not edit.",
        "# Source: logistic regression on the tuning part of the histories in tests/outside/data, which is",
        "# " + "; ".join(each.name for each in histories(Part.TUNING)) + ".",
        "# What each trait means: traits.py. Log odds per full trait.",
        "[pair]",
        f"bias = {weights.bias}",
        *(f"{name} = {weights.traits[name]}" for name in TRAIT_NAMES),
        "",
        "# From the standing of a chosen pair to log odds that it is right. Leads count up to 5 either way.",
        "[probability]",
        f"bias = {weights.probability_bias}",
        *(f"{name} = {weight}" for name, weight in zip(names, weights.probability, strict=True)),
        "",
        "# Of no successor, where no pair is likelier than not, from the log odds against the best pair.",
        "[nothing]",
        f"bias = {weights.nothing_bias}",
        f"against_best = {weights.nothing}",
    ]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    sys.exit(main())
