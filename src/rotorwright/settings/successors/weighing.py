"""How much each trait counts, and what the sum is worth as a probability. The numbers are data: `weights.toml`."""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING

from rotorwright.settings.successors.traits import TRAIT_NAMES

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.settings.successors.traits import Traits

LARGEST_LEAD = 5.0  # a lead beyond this (in log odds) makes a pair no surer


@dataclass(frozen=True, slots=True)
class Standing:
    """How a pair stands: its strength, and its lead over the best other pair of either setting, all in log odds.

    No successor at all counts as a rival, too. A lead is negative if a rival is stronger.
    """

    strength: float
    lead_of_old: float
    lead_of_new: float

    @property
    def numbers(self) -> tuple[float, float, float]:
        """Strength and leads, the leads no larger than counts."""
        return self.strength, _bounded(self.lead_of_old), _bounded(self.lead_of_new)


@dataclass(frozen=True, slots=True)
class Weights:
    """The fitted numbers.

    Args:
        bias: strength of a pair without any trait, in log odds.
        traits: by name, what a full trait adds to the strength.
        probability_bias: log odds of a pair whose standing is zero.
        probability: what strength, lead of the old and lead of the new add to the log odds.
        nothing_bias: log odds of no successor where the best pair is as likely as not.
        nothing: what the log odds against the best pair add to that.
    """

    bias: float
    traits: Mapping[str, float]
    probability_bias: float
    probability: tuple[float, float, float]
    nothing_bias: float = 0.0
    nothing: float = 1.0

    def strength(self, traits: Traits) -> float:
        """Return how much speaks for the pair, in log odds, whatever its rivals."""
        return self.bias + sum(
            self.traits[name] * number for name, number in zip(TRAIT_NAMES, traits.numbers, strict=True) if number
        )

    def chance(self, standing: Standing) -> float:
        """Return the probability that the pair is right."""
        terms = zip(self.probability, standing.numbers, strict=True)
        return logistic(self.probability_bias + sum(weight * number for weight, number in terms))

    def chance_of_nothing(self, best: float) -> float:
        """Return the probability that there is no successor, where the best pair has the probability `best`.

        It is less than 1 - `best`: the successor may be another, or one with a name so new that nothing told.
        """
        return logistic(self.nothing_bias - self.nothing * log_odds(best))


def parse_weights(text: str) -> Weights:
    """Return the weights in the text of a `weights.toml`, as written by tools/fit_successors.py."""
    document = tomllib.loads(text)
    pair, probability, nothing = document["pair"], document["probability"], document["nothing"]
    return Weights(
        bias=float(pair["bias"]),
        traits={name: float(pair[name]) for name in TRAIT_NAMES},
        probability_bias=float(probability["bias"]),
        probability=(
            float(probability["strength"]),
            float(probability["lead_of_old"]),
            float(probability["lead_of_new"]),
        ),
        nothing_bias=float(nothing["bias"]),
        nothing=float(nothing["against_best"]),
    )


@cache
def shipped_weights() -> Weights:
    """Return the weights that come with the package."""
    return parse_weights(resources.files(__package__).joinpath("weights.toml").read_text(encoding="utf-8"))


def logistic(odds: float) -> float:
    """Return the probability of these log odds."""
    return 1 / (1 + math.exp(-max(min(odds, 500.0), -500.0)))


def log_odds(probability: float) -> float:
    """Return the log odds of a probability, kept finite."""
    kept = max(min(probability, 1 - 1e-9), 1e-9)
    return math.log(kept / (1 - kept))


def _bounded(lead: float) -> float:
    return max(min(lead, LARGEST_LEAD), -LARGEST_LEAD)
