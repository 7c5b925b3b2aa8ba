"""Changing values in a listing: only the line of the setting is written anew, and it is read back before it counts."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from rotorwright.errors import SettingsError
from rotorwright.settings.dialects.form import SlotKind
from rotorwright.settings.dialects.listing import ON, Line, ListedSetting, Listing, is_other_line, read_setting_line

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from rotorwright.settings.dialects.dialect import Dialect, LineForm


class SettingNotListedError(SettingsError):
    """A listing has no setting of this name, or has it more than once."""

    id = "dialect.setting-not-listed"


class ValueNotPrintableError(SettingsError):
    """A value cannot be written in the form of its line so that it reads back as the same value."""

    id = "dialect.value-not-printable"


def change_settings(dialect: Dialect, listing: Listing, changes: Mapping[str, tuple[str, ...]]) -> Listing:
    """Return `listing` with the values in `changes`, from the whole name of a setting to its values.

    All other lines stay byte for byte as they were.

    Raises:
        SettingNotListedError: a name is not there, or it is there twice, so that it is not clear which one is meant.
        ValueNotPrintableError: a value would not read back as it is.
    """
    places = _places(listing, changes)
    lines = list(listing.lines)
    for name, values in changes.items():
        index, number = places[name]
        lines[index] = changed_line(dialect, lines[index], number, values)
    return Listing(tuple(lines))


def changed_line(dialect: Dialect, line: Line, number: int, values: tuple[str, ...]) -> Line:
    """Return `line` with other values of the setting that is number `number` in it, counted from 0.

    Raises:
        ValueNotPrintableError: it would not read back as these values, or another setting of the line would change.
    """
    setting = line.settings[number]
    found = read_setting_line(dialect, line.text, line.section)
    if found is None:
        raise _not_printable(setting.name, values, line)
    family, _ = found
    wanted = (*line.settings[:number], replace(setting, values=values), *line.settings[number + 1 :])
    for text in _candidates(family, line.text, setting, values):
        if text != line.text and (is_other_line(dialect, text) or not _is_one_line(text)):
            continue
        again = read_setting_line(dialect, text, line.section)
        if again is not None and again[0] is family and again[1] == wanted:
            return replace(line, text=text, settings=again[1])
    raise _not_printable(setting.name, values, line)


def line_to_set(dialect: Dialect, family: LineForm, key: str, values: tuple[str, ...]) -> str | None:
    """Return the line to send so that a setting takes `values`; nothing if the dialect does not say how.

    The line is filled in only; what the console makes of it is for its answer to say.
    """
    form = family.set_one or dialect.session.set_one
    if form is None:
        return None
    joined = (family.between or " ").join(_written(family, values))
    return form.fill(
        *({SlotKind.KEY: key, SlotKind.VALUE: joined, SlotKind.STATE: joined}.get(kind, "") for kind in form.slots)
    )


def _places(listing: Listing, names: Iterable[str]) -> dict[str, tuple[int, int]]:
    wanted, places = set(names), dict[str, tuple[int, int]]()
    for index, line in enumerate(listing.lines):
        for number, setting in enumerate(line.settings):
            name = setting.name
            if name in wanted and name in places:
                raise _not_listed(name, f"it is there twice, in lines {places[name][0] + 1} and {index + 1}")
            places[name] = (index, number)
    for name in wanted - places.keys():
        raise _not_listed(name, "it is not there")
    return places


def _candidates(family: LineForm, text: str, setting: ListedSetting, values: tuple[str, ...]) -> Iterable[str]:
    written, spans = _written(family, values), setting.spans
    if len(spans) == len(written):
        yield _replaced(text, tuple(zip(spans, written, strict=True)))
    if len(written) == len(spans) == 1:
        yield _replaced(text, ((spans[0], f" {written[0]}"),))  # where an empty value had no blank before it
    if not spans and not written:
        yield text
    if spans:
        joined = (family.between or " ").join(written)
        yield _replaced(text, (((spans[0][0], spans[-1][1]), joined),))


def _written(family: LineForm, values: tuple[str, ...]) -> tuple[str, ...]:
    if SlotKind.STATE not in family.form.slots:
        return values
    return tuple(family.on if value == ON else family.off for value in values)


def _replaced(text: str, pieces: tuple[tuple[tuple[int, int], str], ...]) -> str:
    done, place = list[str](), 0
    for (start, end), new in pieces:
        done += (text[place:start], new)
        place = end
    return "".join((*done, text[place:]))


def _is_one_line(text: str) -> bool:
    """Answer whether the text, as bytes and back, is still this one line."""
    try:
        survives = text.encode("utf-8", "surrogateescape").decode("utf-8", "surrogateescape") == text
    except UnicodeEncodeError:
        return False
    return survives and "\n" not in text and "\r" not in text


def _not_listed(name: str, words: str) -> SettingNotListedError:
    return SettingNotListedError(
        f"The setting {name!r} cannot be changed in this listing: {words}.",
        why="Only a setting that is listed exactly once can be changed without doubt.",
        todo="Check the name, or ask the console for a fresh listing.",
        name=name,
    )


def _not_printable(name: str, values: tuple[str, ...], line: Line) -> ValueNotPrintableError:
    return ValueNotPrintableError(
        f"The setting {name!r} cannot take {', '.join(map(repr, values)) or 'no value'} in the line {line.text!r}.",
        why="Written in the form of that line it would read back as something else.",
        todo="Give a value without line ends, comment signs and separators, or put it between quotation marks.",
        name=name,
    )
