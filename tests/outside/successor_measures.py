"""How well a search for successors did on the histories: precision, recall and calibration, beside two baselines.

- *precision*: of the pairs suggested, the share that is right. *Recall*: of the settings that have a successor, the
  share for which it was suggested.
- *calibration*: the mean gap between what was said and what was true, in ten classes of what was said (expected
  calibration error), and the mean squared gap (Brier score). Both over all pairs, however unsure.

The baselines take for each vanished name the new name of the highest score, compared without capitals: edit distance
alone (1 - Levenshtein distance / longer length), and best token overlap (words in common / words in all). Their scores
become probabilities by Platt scaling on the tuning part, as ours do, so that the columns compare like with like.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from rapidfuzz.distance import Levenshtein
from tests.outside.successor_histories import History, Part, histories
from tools.fit_successors import regression

from rotorwright.settings.successors import Suggestion, likeliest_successors
from rotorwright.settings.successors.suggest import LIKELIER_THAN_NOT
from rotorwright.settings.successors.weighing import logistic
from rotorwright.settings.successors.words import squashed, words_of

AIM_PRECISION = 0.9
AIM_RECALL = 0.8
SURE = 0.9
_CLASSES = 10
_PENALTY = 0.01  # on the slope of a baseline's probability


@dataclass(frozen=True, slots=True)
class Guess:
    """What a search said of one vanished setting: how sure it is of its likeliest successor, and whether it is right.

    A search that names no successor is 0 sure.
    """

    history: str
    old: str
    sure: float
    is_right: bool
    has_successor: bool
    only_respelled: bool  # the successor has the same letters, in other capitals or with other separators


@dataclass(frozen=True, slots=True)
class Measures:
    """The columns of the table."""

    settings: int
    with_successor: int
    precision_at_recall: float
    recall_at_precision: float
    precision: float
    recall: float
    sure: int
    sure_and_right: float
    gap: float
    brier: float


Search = Callable[[History], list[Guess]]
Score = Callable[[str, str], float]


def ours(history: History) -> list[Guess]:
    """Return the guesses of `likeliest_successors`, the unsure ones too."""
    found = _search(history, at_least=0.0)
    return [_guess(history, each.old, each.new, each.probability if each.new else 0.0) for each in found]


def edit_distance(old: str, new: str) -> float:
    """Return 1 for equal names, 0 for names without anything in common."""
    return Levenshtein.normalized_similarity(old.lower(), new.lower())


def token_overlap(old: str, new: str) -> float:
    """Return the words in common over the words in all."""
    mine, theirs = set(words_of(old)), set(words_of(new))
    return len(mine & theirs) / len(mine | theirs)


def none_suggested(part: Part) -> list[Guess]:
    """Return what is said of the settings for which no pair is likelier than not; right is to have no successor."""
    found = []
    for history in histories(part):
        for each in _search(history, at_least=LIKELIER_THAN_NOT):
            if each.new is None:
                has = history.truth[each.old] is not None
                found.append(Guess(history.name, each.old, each.probability, not has, has, only_respelled=False))
    return found


def baseline(score: Score) -> Search:
    """Return a search by one score alone, its probabilities fitted on the tuning part."""
    raw = [guess for history in histories(Part.TUNING) for guess in _best_by(score, history)]
    inputs = np.array([[guess.sure] for guess in raw])
    right = np.array([guess.is_right for guess in raw], float)
    bias, (slope,) = regression(inputs, right, _PENALTY, [(0.0, None)], np.zeros(1))

    def search(history: History) -> list[Guess]:
        return [
            Guess(
                each.history,
                each.old,
                logistic(bias + slope * each.sure),
                each.is_right,
                each.has_successor,
                each.only_respelled,
            )
            for each in _best_by(score, history)
        ]

    return search


def searches() -> dict[str, Search]:
    """Return what is compared, by name."""
    return {
        "likeliest successors": ours,
        "edit distance alone": baseline(edit_distance),
        "best token overlap": baseline(token_overlap),
    }


def guesses(search: Search, part: Part) -> list[Guess]:
    """Return the guesses on all histories of a part."""
    return [guess for history in histories(part) for guess in search(history)]


def measure(found: Sequence[Guess]) -> Measures:
    """Return the measures of these guesses."""
    curve = _curve(found)
    precision, recall = _at([each for each in found if each.sure >= LIKELIER_THAN_NOT], found)
    sure = [each for each in found if each.sure >= SURE]
    named = [each for each in found if each.sure > 0]
    return Measures(
        settings=len(found),
        with_successor=sum(each.has_successor for each in found),
        precision_at_recall=max((p for p, r in curve if r >= AIM_RECALL), default=0.0),
        recall_at_precision=max((r for p, r in curve if p >= AIM_PRECISION), default=0.0),
        precision=precision,
        recall=recall,
        sure=len(sure),
        sure_and_right=_share_right(sure),
        gap=sum(len(each) * abs(_mean_sure(each) - _share_right(each)) for each in classes(named)) / len(named),
        brier=sum((each.sure - each.is_right) ** 2 for each in named) / len(named),
    )


def reworded(found: Sequence[Guess]) -> list[Guess]:
    """Return the guesses without the easy ones, whose successor differs in capitals and separators only."""
    return [each for each in found if not each.only_respelled]


def classes(found: Sequence[Guess]) -> list[list[Guess]]:
    """Return the guesses by how sure they are, in ten classes, empty ones left out."""
    by_class: list[list[Guess]] = [[] for _ in range(_CLASSES)]
    for each in found:
        by_class[min(int(each.sure * _CLASSES), _CLASSES - 1)].append(each)
    return [each for each in by_class if each]


def table(parts: Sequence[Part] = (Part.HELD_OUT, Part.TUNING)) -> str:
    """Return the table that compares the searches, for a person, and our calibration on the held-out part."""
    head = (
        f"{'part':9}{'search':22}{'settings':>9}{'with succ.':>11}{'prec@rec.8':>11}{'rec@prec.9':>11}"
        f"{'precision':>10}{'recall':>7}{'sure':>5}{'right':>6}{'gap':>6}{'Brier':>7}"
    )
    lines = [head]
    for part in parts:
        for name, search in searches().items():
            found = guesses(search, part)
            lines.append(f"{part:9}{name:22}{_columns(measure(found))}")
            if part is Part.TUNING:
                continue  # nothing there is only respelled
            lines.append(f"{'':9}{'  reworded only':22}{_columns(measure(reworded(found)))}")
    return "\n".join([*lines, "", *_by_history(), "", *_calibration(), "", *_nothing_lines()])


def _columns(each: Measures) -> str:
    return (
        f"{each.settings:9}{each.with_successor:11}{each.precision_at_recall:11.3f}{each.recall_at_precision:11.3f}"
        f"{each.precision:10.3f}{each.recall:7.3f}{each.sure:5}{each.sure_and_right:6.2f}{each.gap:6.3f}{each.brier:7.3f}"
    )


def _by_history() -> list[str]:
    lines = [
        f"{'ours, history by history':32}{'settings':>9}{'with succ.':>11}{'right':>6}{'wrong':>6}  (0.5 sure or more)"
    ]
    for history in histories(Part.HELD_OUT):
        found = ours(history)
        said = [each for each in found if each.sure >= LIKELIER_THAN_NOT]
        right = sum(each.is_right for each in said)
        with_successor = sum(each.has_successor for each in found)
        lines.append(f"{history.name:32}{len(found):9}{with_successor:11}{right:6}{len(said) - right:6}")
    return lines


def _calibration() -> list[str]:
    named = [each for each in guesses(ours, Part.HELD_OUT) if each.sure > 0]
    return [
        f"{'ours, held out, by how sure':32}{'pairs':>9}{'said':>7}{'right':>7}",
        *(
            f"{f'{int(each[0].sure * 10) / 10:.1f} and more':32}{len(each):9}"
            f"{_mean_sure(each):7.2f}{_share_right(each):7.2f}"
            for each in classes(named)
        ),
    ]


def _nothing_lines() -> list[str]:
    lines = [f"{'ours, no successor suggested':32}{'settings':>9}{'said':>7}{'right':>7}"]
    for part in Part:
        found = none_suggested(part)
        lines.append(f"{part:32}{len(found):9}{_mean_sure(found):7.2f}{_share_right(found):7.2f}")
    return lines


def _search(history: History, *, at_least: float) -> tuple[Suggestion, ...]:
    return likeliest_successors(
        history.vanished,
        history.arrived,
        old_listing=history.old_listing,
        new_listing=history.new_listing,
        at_least=at_least,
    )


def _best_by(score: Score, history: History) -> list[Guess]:
    found = []
    for old in history.vanished:
        sure, new = max((score(old.name, new.name), new.name) for new in history.arrived)
        found.append(_guess(history, old.name, new, sure))
    return found


def _guess(history: History, old: str, new: str | None, sure: float) -> Guess:
    truth = history.truth[old]
    respelled = truth is not None and squashed(old) == squashed(truth)
    return Guess(history.name, old, sure, new is not None and truth == new, truth is not None, respelled)


def _curve(found: Sequence[Guess]) -> list[tuple[float, float]]:
    """Return precision and recall at every threshold."""
    thresholds = sorted({each.sure for each in found if each.sure > 0}, reverse=True)
    return [_at([each for each in found if each.sure >= threshold], found) for threshold in thresholds]


def _at(said: Sequence[Guess], found: Sequence[Guess]) -> tuple[float, float]:
    right = sum(each.is_right for each in said)
    return right / len(said) if said else 1.0, right / (sum(each.has_successor for each in found) or 1)


def _share_right(found: Sequence[Guess]) -> float:
    return sum(each.is_right for each in found) / len(found) if found else 1.0


def _mean_sure(found: Sequence[Guess]) -> float:
    return sum(each.sure for each in found) / len(found)
