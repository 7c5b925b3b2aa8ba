"""The whole story of one setting: what it is, its three values, the note applied, the rule, the alternatives."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypedDict

from rich.markup import escape

from rotorwright.cli.console import out
from rotorwright.errors import SettingsError
from rotorwright.settings.note_entries import new_names, old_names

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rotorwright.settings.carry_over import Decision
    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.note_entries import ChangeNotes, Note
    from rotorwright.settings.sheet import CarryOverSheet
    from rotorwright.settings.values import Value


class SettingNotInSheetError(SettingsError):
    """No line of the sheet has this name."""

    id = "settings.not-in-sheet"


class Story(TypedDict):
    """What is told of one setting."""

    names: list[str]
    about: list[str]
    kind: str
    rule: str
    reason: str
    yours: list[str]
    old_default: list[str]
    new_names: list[str]
    new_default: list[str]
    notes: list[str]
    writes: list[str]
    options: list[str]


def story_of(
    sheet: CarryOverSheet, name: str, *, old: Catalogue | None, new: Catalogue | None, notes: ChangeNotes | None
) -> Story:
    """Return the story of the setting called `name` before or after.

    Raises:
        SettingNotInSheetError: there is none.
    """
    decision = _find(sheet, name)
    return Story(
        names=list(decision.found),
        about=[*_about(decision.found, old), *_about(decision.new_names, new)],
        kind=str(decision.kind),
        rule=decision.rule,
        reason=decision.reason,
        yours=_shown(decision.found, decision.ours, old),
        old_default=_shown(decision.found, decision.base, old),
        new_names=list(decision.new_names),
        new_default=_shown(decision.new_names, decision.theirs, new),
        notes=[_note_words(note) for note in (notes.entries if notes else ()) if _concerns(note, decision)],
        writes=[f"{write.name} = {_value(write.name, write.value, new)}" for write in decision.writes_in_force],
        options=[f"{option.key}: {option.words}" for option in decision.options],
    )


def print_why(story: Story) -> None:
    """Print the story of one setting."""
    out.print(f"[bold]{escape(' and '.join(story['names']))}[/]: {story['kind']}", soft_wrap=True)
    for words in story["about"]:
        out.print(f"  {escape(words)}", soft_wrap=True)
    for label, lines in _rows(story):
        for line in lines:
            out.print(f"  {label:<12} {escape(line)}", soft_wrap=True)


def _rows(story: Story) -> Iterator[tuple[str, list[str]]]:
    yield "yours", story["yours"]
    yield "old default", story["old_default"]
    yield "new default", story["new_default"]
    yield "note", story["notes"]
    yield "rule", [story["rule"]]
    yield "reason", [story["reason"]]
    yield "writes", story["writes"] or ["nothing"]
    yield "option", story["options"]


def _find(sheet: CarryOverSheet, name: str) -> Decision:
    wanted = name.upper()
    for decision in sheet.decisions:
        if wanted in {known.upper() for known in (*decision.found, *decision.new_names)}:
            return decision
    raise SettingNotInSheetError(
        f"No setting of this sheet is called {name}, before or after.",
        why="The name is misspelt, or the setting is new in this release.",
        todo="Look for it with `rotorwright show`, or in the whole sheet with `rotorwright plan --all`.",
        name=name,
    )


def _about(names: tuple[str, ...], catalogue: Catalogue | None) -> list[str]:
    if catalogue is None:
        return []
    return [f"{name}: {catalogue[name].short}" for name in names if name in catalogue]


def _shown(names: tuple[str, ...], values: tuple[Value | None, ...], catalogue: Catalogue | None) -> list[str]:
    return [
        f"{name} = {'not known' if value is None else _value(name, value, catalogue)}"
        for name, value in zip(names, values, strict=True)
    ]


def _value(name: str, value: Value, catalogue: Catalogue | None) -> str:
    return catalogue[name].show(value) if catalogue is not None and name in catalogue else value.text


def _concerns(note: Note, decision: Decision) -> bool:
    return bool(set(old_names(note)) & set(decision.found))


def _note_words(note: Note) -> str:
    after = ", ".join(new_names(note)) or "nothing"
    return f"{type(note).__name__.lower()} {', '.join(old_names(note))} to {after}: {note.why}"
