"""A person's answers to the held lines of a sheet: all of them fit and are taken, or none is."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, TypeAlias

from rotorwright.errors import RotorwrightError, WorkflowError
from rotorwright.settings.by_hand import refuse_claimed_twice
from rotorwright.settings.decisions import Write
from rotorwright.settings.dialects.listing import OFF, ON
from rotorwright.settings.values import Value

if TYPE_CHECKING:
    from collections.abc import Iterable

    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.decisions import Decision
    from rotorwright.settings.sheet import CarryOverSheet
    from rotorwright.settings.values import SettingType

Answer: TypeAlias = str | Mapping[str, str]
"""The key of an option, or a person's own values: exact texts by the name of the new release."""


class AnswersDoNotFitError(WorkflowError):
    """Some answers are about nothing that is held, or about no way to decide it; none was taken."""

    id = "carry-over.answers-do-not-fit"


class TypeNotKnownError(WorkflowError):
    """A value was given by hand for a setting of which nobody knows what it holds."""

    id = "carry-over.type-not-known"


def answer_held(
    sheet: CarryOverSheet, name: str, answer: Answer, *, new_catalogue: Catalogue | None = None
) -> CarryOverSheet:
    """Return the sheet with the held line on `name` decided.

    Raises:
        NotHeldError, UnknownOptionError, ByHandRefusedError, ValueNotInTypeError, TypeNotKnownError: it cannot be.
    """
    if isinstance(answer, str):
        return sheet.decide(name, answer)
    writes = [Write(new, _value(sheet, new, text, new_catalogue)) for new, text in answer.items()]
    return sheet.decide_by_hand(name, writes, new_catalogue=new_catalogue)


def apply_answers(
    sheet: CarryOverSheet, answers: Mapping[str, Answer], *, new_catalogue: Catalogue | None = None
) -> CarryOverSheet:
    """Return the sheet with all `answers` taken; they are by any found name of their line.

    Raises:
        AnswersDoNotFitError: several do not fit, or two are about one line; a single one raises its own error.
        ClaimedTwiceError: two lines would become one setting.
    """
    decided, faults = sheet, _answered_twice(sheet, answers)
    for name, answer in answers.items():
        try:
            decided = answer_held(decided, name, answer, new_catalogue=new_catalogue)
        except RotorwrightError as error:
            faults.append(error)
    if faults:
        raise faults[0] if len(faults) == 1 else _do_not_fit(faults)
    refuse_claimed_twice(decided.decisions)
    return decided


def _value(sheet: CarryOverSheet, name: str, text: str, new_catalogue: Catalogue | None) -> Value:
    setting = None if new_catalogue is None else new_catalogue.get(name)
    type_ = setting.type if setting else _type_in(sheet, name)
    if type_ is not None:
        return Value.parse(type_, _as_flag(sheet, name, text) if type_.is_text else text)
    if any(name in each.new_names for each in sheet.decisions) or any(name == each.name for each in sheet.arrivals):
        raise TypeNotKnownError(
            f"Nobody knows what {name} holds, so {text!r} cannot be taken for it.",
            why="Neither its default nor its description is known yet.",
            todo="Give the release book, or decide it when the aircraft has shown its new defaults.",
            name=name,
        )
    return Value.of_text(text)  # no such setting: refused with the likely name by the sheet itself


def _as_flag(sheet: CarryOverSheet, name: str, text: str) -> str:
    """Return 1 and 0 as on and off where that is how the aircraft says this setting; every other text as it is."""
    flags = {value.text for known, value in _shown(sheet) if known == name and value is not None} & {ON, OFF}
    return {"1": ON, "0": OFF}.get(text, text) if flags else text


def _type_in(sheet: CarryOverSheet, name: str) -> SettingType | None:
    """Return the type of a new setting as far as the sheet itself shows it."""
    return next((value.type for known, value in _shown(sheet) if known == name and value is not None), None)


def _shown(sheet: CarryOverSheet) -> Iterable[tuple[str, Value | None]]:
    for each in sheet.arrivals:
        yield each.name, each.default
    for one in sheet.decisions:
        yield from zip(one.new_names, one.theirs, strict=True)
        yield from ((write.name, write.value) for option in one.options for write in option.writes)


def _answered_twice(sheet: CarryOverSheet, answers: Mapping[str, Answer]) -> list[RotorwrightError]:
    return [_twice(held, asked) for held in sheet.held if len(asked := [n for n in held.found if n in answers]) > 1]


def _twice(held: Decision, asked: list[str]) -> AnswersDoNotFitError:
    return AnswersDoNotFitError(
        f"{' and '.join(asked)} are one line and were answered {len(asked)} times.",
        why="They only make sense together, so one answer decides them all.",
        todo=f"Answer {held.found[0]} alone.",
        names=", ".join(asked),
    )


def _do_not_fit(faults: list[RotorwrightError]) -> AnswersDoNotFitError:
    lines = [f"{number}. {fault.what} {fault.why} {fault.todo}" for number, fault in enumerate(faults, start=1)]
    return AnswersDoNotFitError(
        f"{len(faults)} answers do not fit this sheet, so none was taken.",
        why=" ".join(lines),
        todo="Correct or remove them; `rotorwright decide --list` shows what is held, with the ways to decide it.",
        faults=len(faults),
    )
