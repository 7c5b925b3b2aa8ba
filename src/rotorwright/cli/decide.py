"""`decide`: answer the held lines of a sheet file or of an open job card; no aircraft is needed."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import typer
from rich.markup import escape

from rotorwright.cli.console import out, print_json
from rotorwright.cli.files import read_input_file, require_free_name
from rotorwright.errors import RotorwrightError

if TYPE_CHECKING:
    from rotorwright.changeover.person import Person
    from rotorwright.changeover.workshop import Workshop
    from rotorwright.settings.answering import Answer
    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.decisions import Decision
    from rotorwright.settings.sheet import CarryOverSheet
    from rotorwright.settings.values import Value


@dataclass(frozen=True, slots=True)
class GivenAnswers:
    """What stands on the command line: NAME=option-key, NEW=VALUE with the names they are for, and a file."""

    choices: tuple[str, ...] = ()
    values: tuple[str, ...] = ()
    names: tuple[str, ...] = ()
    file: Path | None = None

    @property
    def is_empty(self) -> bool:
        """Whether nothing is given, so that a person has to be asked."""
        return not (self.choices or self.values or self.names or self.file)

    def read(self) -> dict[str, Answer]:
        """Return all answers by the name of the held setting.

        Raises:
            typer.BadParameter: a form is wrong, or a name is answered twice.
            AnswersError: the file cannot be used.
        """
        answers: dict[str, Answer] = dict(_choices(self.choices))
        for name, values in _own_values(self.values, self.names).items():
            _add(answers, name, values)
        for name, answer in _of_file(self.file).items():
            _add(answers, name, answer)
        return answers


@dataclass(frozen=True, slots=True)
class DecideRequest:
    """What a person asks of `decide`: one of `sheet` and `changeover` is given."""

    answers: GivenAnswers
    sheet: Path | None = None
    changeover: str | None = None
    hangar: Path | None = None
    output: Path | None = None
    catalogue: Path | None = None
    only_list: bool = False
    as_json: bool = False


def decide(request: DecideRequest) -> int:
    """List what is held, or take answers to it.

    Raises:
        typer.BadParameter: the options do not go together.
        RotorwrightError: an answer does not fit; then none was taken.
    """
    _refuse_odd_options(request)
    if request.only_list:
        return _list(_sheet_of(request), as_json=request.as_json)
    before, after, path = _decide_card(request) if request.changeover else _decide_file(request)
    _tell(before, after, path, request)
    return 0


def _refuse_odd_options(request: DecideRequest) -> None:
    if (request.sheet is None) == (request.changeover is None):
        raise typer.BadParameter("give either a sheet file or --changeover")
    if request.only_list:
        if request.output is not None or not request.answers.is_empty:
            raise typer.BadParameter("--list only shows; leave the other options out")
        return
    if request.sheet is not None and request.output is None:
        raise typer.BadParameter("--output is needed: the sheet that was given stays as it is")
    if request.changeover is not None and request.output is not None:
        raise typer.BadParameter("answers on a job card are kept with it; leave --output out")
    if request.answers.is_empty and not sys.stdin.isatty():
        raise typer.BadParameter("there is no answer and no keyboard; give --set, --value with --for, or --from")


def _sheet_of(request: DecideRequest) -> CarryOverSheet:
    from rotorwright.changeover.sheets import current_sheet

    if request.sheet is not None:
        return _read_sheet(request.sheet)
    with _open_card(request) as shop:
        return current_sheet(shop)


def _read_sheet(path: Path) -> CarryOverSheet:
    from rotorwright.settings.sheet import parse_sheet

    return parse_sheet(read_input_file(path), source=str(path))


def _decide_file(request: DecideRequest) -> tuple[CarryOverSheet, CarryOverSheet, Path | None]:
    from rotorwright.hangar.files import write_kept_file
    from rotorwright.settings.answering import apply_answers
    from rotorwright.settings.sheet import print_sheet

    assert request.sheet is not None
    assert request.output is not None
    require_free_name(request.output)
    sheet, catalogue = _read_sheet(request.sheet), _catalogue(request.catalogue)
    if request.answers.is_empty:
        decided = _ask(sheet, catalogue)
    else:
        decided = apply_answers(sheet, request.answers.read(), new_catalogue=catalogue)
    write_kept_file(request.output, print_sheet(decided))
    return sheet, decided, request.output


def _ask(sheet: CarryOverSheet, catalogue: Catalogue | None) -> CarryOverSheet:
    """Ask the person about each line that waits; those left undecided stay so."""
    from rotorwright.cli.person import TerminalPerson
    from rotorwright.settings.answering import apply_answers

    person = TerminalPerson("")
    for held in sheet.undecided:
        sheet = _asked(person, held, partial(apply_answers, sheet, new_catalogue=catalogue)) or sheet
    return sheet


def _asked(
    person: Person, held: Decision, take: Callable[[Mapping[str, Answer]], CarryOverSheet]
) -> CarryOverSheet | None:
    """Ask about one line until the answer fits or is left open; return the sheet with it taken."""
    while (answer := person.decide(held)) is not None:
        try:
            return take({held.found[0]: answer})
        except RotorwrightError as error:
            out.print(f"  {escape(error.what)}\n  {escape(error.todo)}", soft_wrap=True)
    return None


def _catalogue(path: Path | None) -> Catalogue | None:
    from rotorwright.settings.catalogue import parse_catalogue

    return None if path is None else parse_catalogue(read_input_file(path))


def _decide_card(request: DecideRequest) -> tuple[CarryOverSheet, CarryOverSheet, Path | None]:
    from rotorwright.changeover.deciding import take_answers
    from rotorwright.changeover.sheets import current_sheet

    with _open_card(request) as shop:
        before = current_sheet(shop)
        if not request.answers.is_empty:
            return before, take_answers(shop, request.answers.read()), None
        for held in before.undecided:
            _asked(shop.person, held, partial(take_answers, shop))
        return before, current_sheet(shop), None


@contextmanager
def _open_card(request: DecideRequest) -> Iterator[Workshop]:
    """Open the workshop of a job card without touching its port, for this process alone."""
    from rotorwright.changeover.deciding import require_open_to_answers, require_sheet
    from rotorwright.changeover.journal import HangarJournal
    from rotorwright.changeover.opening import find_card
    from rotorwright.cli.jobs import BenchOptions, open_hangar, user_name, utc_now, workshop
    from rotorwright.cli.person import TerminalPerson

    with open_hangar(request.hangar) as hangar:
        card = find_card(hangar, request.changeover)
        with hangar.lock(card.row.id):
            journal = HangarJournal(hangar, card.row.id, now=utc_now)
            with workshop(hangar, journal, BenchOptions(), TerminalPerson(user_name())) as shop:
                if request.only_list:
                    require_sheet(shop)
                else:
                    require_open_to_answers(shop)
                yield shop


def _choices(given: tuple[str, ...]) -> dict[str, str]:
    choices: dict[str, str] = {}
    for each in given:
        name, equals, key = each.rpartition("=")
        if not equals or not name or not key:
            raise typer.BadParameter(f"--set takes NAME=option-key, not {each!r}")
        if name in choices:
            raise typer.BadParameter(f"{name} is answered twice")
        choices[name] = key
    return choices


def _own_values(values: tuple[str, ...], names: tuple[str, ...]) -> dict[str, dict[str, str]]:
    """Return own values by the held name: one --for for all of them, or one for each."""
    if bool(values) is not bool(names) or (len(names) > 1 and len(names) != len(values)):
        raise typer.BadParameter("each --value NEW=VALUE needs its --for NAME; one --for is enough for all of one line")
    found: dict[str, dict[str, str]] = {}
    for place, each in enumerate(values):
        new, equals, text = each.partition("=")
        if not equals or not new:
            raise typer.BadParameter(f"--value takes NEWNAME=VALUE, not {each!r}")
        own = found.setdefault(names[place] if len(names) > 1 else names[0], {})
        if new in own:
            raise typer.BadParameter(f"{new} is given two values")
        own[new] = text
    return found


def _of_file(path: Path | None) -> dict[str, Answer]:
    from rotorwright.cli.answers import parse_answers

    return {} if path is None else dict(parse_answers(read_input_file(path), source=str(path)).held)


def _add(answers: dict[str, Answer], name: str, answer: Answer) -> None:
    if name in answers:
        raise typer.BadParameter(f"{name} is answered twice")
    answers[name] = answer


def _list(sheet: CarryOverSheet, *, as_json: bool) -> int:
    if as_json:
        print_json([_held_facts(each) for each in sheet.held])
        return 0
    for held in sheet.held:
        state = f"decided: {held.chosen}" if held.chosen else "not decided"
        _say(f"{' and '.join(held.found)}: {state}\n  {held.reason}")
        for option in held.options:
            _say(f"  {'*' if option.key == held.chosen else '-'} {option.key}: {option.words}")
    _say(f"{len(sheet.held)} held, {len(sheet.undecided)} of them not decided.")
    return 0


def _held_facts(held: Decision) -> dict[str, object]:
    return {
        "names": list(held.found),
        "rule": held.rule,
        "reason": held.reason,
        "found": _texts(held.found, held.ours),
        "old_default": _texts(held.found, held.base),
        "new_default": _texts(held.new_names, held.theirs),
        "options": [
            {"key": each.key, "words": each.words, "writes": {write.name: write.value.text for write in each.writes}}
            for each in held.options
        ],
        "chosen": held.chosen,
    }


def _texts(names: tuple[str, ...], values: tuple[Value | None, ...]) -> dict[str, str | None]:
    return {name: None if value is None else value.text for name, value in zip(names, values, strict=True)}


def _tell(before: CarryOverSheet, after: CarryOverSheet, path: Path | None, request: DecideRequest) -> None:
    was = {each.found: each for each in before.held}
    new = [each for each in after.held if each != was[each.found]]
    if request.as_json:
        facts = {
            "decided": {each.found[0]: each.chosen for each in new},
            "undecided": [list(each.found) for each in after.undecided],
            "file": str(path) if path else None,
            "sheet_sha256": after.sha256,
        }
        print_json(facts)
        return
    for each in new:
        words = next(option.words for option in each.options if option.key == each.chosen)
        _say(f"{' and '.join(each.found)}: {each.chosen}: {words}")
    left = ", ".join(" and ".join(each.found) for each in after.undecided)
    _say(f"{len(new)} decided now; " + (f"not decided yet: {left}." if left else "nothing is left to decide."))
    _say(f"The sheet is in {path}." if path else f"Kept with {request.changeover}; `rotorwright resume` goes on.")


def _say(words: str) -> None:
    out.print(escape(words), soft_wrap=True)
