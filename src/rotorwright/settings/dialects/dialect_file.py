"""Reading and writing a console dialect as TOML. Every fault names its entry and key, and the key likely meant."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from rotorwright.errors import SettingsError
from rotorwright.settings.dialects.dialect import Dialect, LineForm, SectionForm, Session
from rotorwright.settings.dialects.form import LINE_SLOTS, Form, FormFaultError, SlotKind
from rotorwright.settings.documents import DocumentKind, read_document
from rotorwright.settings.structured import DataFaultError, Table

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

DIALECT_FORMAT = "rotorwright-console-dialect"
DIALECT_VERSION = 1

TOP_KEYS = ("format", "version", "name", "text", "session", "section", "line")
TEXT_KEYS = ("comments", "inline_comments", "quotes", "headings")
SESSION_TEXTS = ("enter", "ask_all", "line_end", "prompt", "save", "restart", "bootloader")
LATER_SESSION_TEXTS = ("reset", "ask_who", "ask_battery", "ask_attitude")  # printed only where they say something
SESSION_FORMS = {
    "ask_one": (SlotKind.KEY,),
    "ask_character": (SlotKind.NUMBER,),
    "set_character": (SlotKind.NUMBER, SlotKind.BYTES),
}
"""Lines that are sent with something filled in, and the slots that each must have."""

SESSION_ANSWERS = {
    "who_answers": ("ask_who", (SlotKind.FAMILY, SlotKind.RELEASE, SlotKind.BOARD, SlotKind.BUILD, SlotKind.ID)),
    "battery_answers": ("ask_battery", (SlotKind.VOLTS,)),
    "attitude_answers": ("ask_attitude", (SlotKind.ROLL, SlotKind.PITCH)),
    "character_answers": ("ask_character", (SlotKind.NUMBER, SlotKind.BYTES)),
}
"""Answers, each with the question that it belongs to and the slots that tell something in it."""

SESSION_KEYS = (
    *SESSION_TEXTS,
    *LATER_SESSION_TEXTS,
    *SESSION_FORMS,
    *SESSION_ANSWERS,
    "quiet_ms",
    "set_one",
    "refusals",
)
SECTION_KEYS = ("id", "form", "level", "close")
LINE_TEXTS = ("name", "between", "joint", "on", "off")
LINE_KEYS = ("id", "form", *LINE_TEXTS, "set_one")

_HOLDS = (SlotKind.VALUE, SlotKind.VALUES, SlotKind.PAIRS, SlotKind.STATE)
_NAMES = (SlotKind.KEY, SlotKind.ROW, SlotKind.PAIRS)
_LONGEST_QUIET_MS = 60_000


class DialectError(SettingsError):
    """A console dialect cannot be used; the words name the entry and the key."""

    id = "dialect.bad-entry"


class DialectFormatError(DialectError):
    """The file is no console dialect."""

    id = "dialect.wrong-format"


class DialectVersionError(DialectError):
    """The console dialect was written for a newer version of this tool."""

    id = "dialect.newer-version"


def parse_dialect(text: str, *, source: str) -> Dialect:
    """Return the console dialect in a TOML text; `source` names the file in error texts.

    Raises:
        DialectFormatError: not TOML, or no console dialect.
        DialectVersionError: for a newer version of this tool.
        DialectError: an entry that cannot be used.
    """
    return read_document(text, _KIND, source=source)


def dialect_from(data: bytes, *, source: str) -> Dialect:
    """Return the console dialect in a file; bytes that are no UTF-8 are taken as they are, so that the words name them.

    Raises:
        DialectError: as for `parse_dialect`.
    """
    return parse_dialect(data.decode("utf-8", "surrogateescape"), source=source)


def print_dialect(dialect: Dialect, *, remarks: Mapping[str, Sequence[str]] | None = None) -> str:
    """Return the TOML text of `dialect`; it reads back to an equal one.

    `remarks` are printed as comments above the section or line with that id; they may hold no line ends.
    """
    said = remarks or {}
    lines = [_pair("format", DIALECT_FORMAT), f"version = {DIALECT_VERSION}", _pair("name", dialect.name), "", "[text]"]
    lines += [_list_pair(key, getattr(dialect, key)) for key in TEXT_KEYS[:3]]
    lines.append(_list_pair("headings", (form.text for form in dialect.headings)))
    lines += ["", "[session]", *_session_lines(dialect.session)]
    for section in dialect.sections:
        lines += ["", *_remarks(said, section.id), "[[section]]", *_section_lines(section)]
    for line in dialect.lines:
        lines += ["", *_remarks(said, line.id), "[[line]]", *_line_lines(line)]
    return "\n".join(lines) + "\n"


def _dialect(document: Table) -> Dialect:
    document.only(*TOP_KEYS)
    text = _optional_table(document, "text").only(*TEXT_KEYS)
    sections = tuple(_section(entry) for entry in document.tables("section"))
    lines = tuple(_line(entry) for entry in document.tables("line"))
    _refuse_twice("section", (each.id for each in sections))
    _refuse_twice("line", (each.id for each in lines))
    return Dialect(
        name=_filled_text(document, "name"),
        comments=_signs(text, "comments"),
        inline_comments=_signs(text, "inline_comments"),
        quotes=_quotes(text),
        headings=_forms(text, "headings", allowed=(SlotKind.ANY,)),
        sections=sections,
        lines=lines,
        session=_session(_optional_table(document, "session").only(*SESSION_KEYS)),
    )


def _session(table: Table) -> Session:
    known = Session()
    texts = {key: table.text(key, getattr(known, key)) for key in (*SESSION_TEXTS, *LATER_SESSION_TEXTS)}
    for key, text in texts.items():
        if key != "line_end" and _breaks_line(text):
            table.fault(key, "it is sent as one line, so it has no line end in it")
    quiet_ms = table.whole("quiet_ms") if "quiet_ms" in table else known.quiet_ms
    if not 1 <= quiet_ms <= _LONGEST_QUIET_MS:
        table.fault("quiet_ms", f"{quiet_ms} is not between 1 and {_LONGEST_QUIET_MS} milliseconds")
    facts: dict[str, Any] = {**texts}
    facts |= {key: _filled_form(table, key, slots) for key, slots in SESSION_FORMS.items()}
    facts |= {key: _answers(table, key) for key in SESSION_ANSWERS}
    return Session(
        **facts,
        quiet_ms=quiet_ms,
        set_one=_set_one(table),
        refusals=_forms(table, "refusals", allowed=(SlotKind.ANY,)),
    )


def _filled_form(table: Table, key: str, slots: tuple[SlotKind, ...]) -> Form | None:
    """Return the form of a line that is sent, if there is one; it has each of `slots`."""
    if key not in table:
        return None
    form = _form(table, key, allowed=slots)
    for kind in slots:
        if kind not in form.slots:
            table.fault(key, f"the slot {{{kind}}} is missing; without it the line asks nothing sure")
    return form


def _answers(table: Table, key: str) -> tuple[Form, ...]:
    """Return the forms of an answer; question and answer are there together, or neither is."""
    question, slots = SESSION_ANSWERS[key]
    forms = _forms(table, key, allowed=(*slots, SlotKind.ANY))
    if bool(forms) != bool(question in table and table.data[question]):
        table.fault(key, f"it and {question} belong together")
    for kind in slots if forms else ():
        if kind is not SlotKind.BUILD and not any(kind in form.slots for form in forms):
            table.fault(key, f"no form has the slot {{{kind}}}, so the answer would not tell it")
    return forms


def _section(entry: Table) -> SectionForm:
    entry.only(*SECTION_KEYS)
    form = _form(entry, "form", allowed=(SlotKind.SECTION, SlotKind.ANY))
    level = entry.whole("level") if "level" in entry else 1
    if not 1 <= level <= 9:
        entry.fault("level", f"{level} is not between 1 (outermost) and 9")
    return SectionForm(_filled_text(entry, "id"), form, level, entry.text("close", ""))


def _line(entry: Table) -> LineForm:
    entry.only(*LINE_KEYS)
    texts = {key: entry.text(key, "") for key in LINE_TEXTS}
    form = _form(entry, "form", states=(texts["on"], texts["off"]) if texts["on"] != texts["off"] else ())
    _check_line(entry, form, texts)
    return LineForm(id=_filled_text(entry, "id"), form=form, set_one=_set_one(entry), **texts)


def _check_line(entry: Table, form: Form, texts: dict[str, str]) -> None:
    if SlotKind.SECTION in form.slots:
        entry.fault("form", "{section} belongs into a [[section]] entry")
    if sum(kind in form.slots for kind in _HOLDS) > 1:
        entry.fault("form", "it holds more than one of {value}, {values}, {pairs} and {state}")
    if not texts["name"] and not any(kind in form.slots for kind in _NAMES):
        entry.fault("form", "nothing names the setting: it needs {key}, {row} or {pairs}, or the entry needs a name")
    if (SlotKind.STATE in form.slots) != (texts["on"] != texts["off"]):
        entry.fault("form", "{state} and two different texts for on and off belong together")
    if texts["between"].strip() != texts["between"]:
        entry.fault("between", "blanks around the sign are allowed anyway; leave them out")


def _set_one(table: Table) -> Form | None:
    allowed = (SlotKind.KEY, SlotKind.VALUE, SlotKind.STATE)
    return _form(table, "set_one", allowed=allowed) if "set_one" in table else None


def _forms(table: Table, key: str, *, allowed: tuple[SlotKind, ...]) -> tuple[Form, ...]:
    return tuple(_checked_form(table, key, text, allowed=allowed) for text in table.texts(key))


def _form(table: Table, key: str, *, states: tuple[str, ...] = (), allowed: tuple[SlotKind, ...] = LINE_SLOTS) -> Form:
    return _checked_form(table, key, table.text(key), states=states, allowed=allowed)


def _checked_form(
    table: Table, key: str, text: str, *, allowed: tuple[SlotKind, ...], states: tuple[str, ...] = ()
) -> Form:
    if _breaks_line(text):
        table.fault(key, "a form is one line")
    try:
        form = Form(text, states)
    except FormFaultError as fault:
        table.fault(key, f"the form {text!r} cannot be used: {fault}", meant=fault.meant)
    for kind in form.slots:
        if kind not in allowed:
            table.fault(key, f"the slot {{{kind}}} has no meaning here; known here are {', '.join(allowed)}")
    return form


def _signs(table: Table, key: str) -> tuple[str, ...]:
    signs = table.texts(key)
    for sign in signs:
        if not sign.strip() or sign != sign.lstrip():
            table.fault(key, f"{sign!r} is no sign that a comment could start with")
    return signs


def _quotes(table: Table) -> tuple[str, ...]:
    quotes = table.texts("quotes")
    for quote in quotes:
        if len(quote) != 1 or quote.isspace():
            table.fault("quotes", f"{quote!r} is not one sign")
    return quotes


def _refuse_twice(kind: str, ids: Iterable[str]) -> None:
    seen: set[str] = set()
    for number, each in enumerate(ids, 1):
        if each in seen:
            raise DataFaultError(f"the id {each!r} is there twice", where=f"{kind} entry {number}, key 'id'")
        seen.add(each)


def _optional_table(document: Table, key: str) -> Table:
    return document.table(key) if key in document else Table({}, key)


def _filled_text(table: Table, key: str) -> str:
    text = table.text(key)
    if not text.strip():
        table.fault(key, "it is empty")
    return text


def _breaks_line(text: str) -> bool:
    return "\n" in text or "\r" in text


def _session_lines(session: Session) -> Iterator[str]:
    for key in SESSION_TEXTS:
        yield _pair(key, getattr(session, key))
    yield f"quiet_ms = {session.quiet_ms}"
    yield from (_pair(key, text) for key in LATER_SESSION_TEXTS if (text := getattr(session, key)))
    for key in ("set_one", *SESSION_FORMS):
        form: Form | None = getattr(session, key)
        if form is not None:
            yield _pair(key, form.text)
    for key in SESSION_ANSWERS:
        forms: tuple[Form, ...] = getattr(session, key)
        if forms:
            yield _list_pair(key, (form.text for form in forms))
    yield _list_pair("refusals", (form.text for form in session.refusals))


def _section_lines(section: SectionForm) -> Iterator[str]:
    yield _pair("id", section.id)
    yield _pair("form", section.form.text)
    yield f"level = {section.level}"
    if section.close:
        yield _pair("close", section.close)


def _line_lines(line: LineForm) -> Iterator[str]:
    yield _pair("id", line.id)
    yield _pair("form", line.form.text)
    has_state = SlotKind.STATE in line.form.slots
    for key in LINE_TEXTS:
        text = getattr(line, key)
        if text or (has_state and key in {"on", "off"}):
            yield _pair(key, text)
    if line.set_one:
        yield _pair("set_one", line.set_one.text)


def _remarks(said: Mapping[str, Sequence[str]], id_: str) -> Iterator[str]:
    return (f"# {text}" for text in said.get(id_, ()))


def _pair(key: str, text: str) -> str:
    return f"{key} = {_quoted(text)}"


def _list_pair(key: str, texts: Iterable[str]) -> str:
    return f"{key} = [{', '.join(_quoted(text) for text in texts)}]"


def _quoted(text: str) -> str:
    # A JSON string is a TOML basic string but for one sign that TOML does not take as it is.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _wrong_format(source: str, words: str) -> DialectFormatError:
    return DialectFormatError(
        f"{source} cannot be read as a console dialect: {words}.",
        why="The file is damaged or mistyped, or it is another kind of file.",
        todo=f"Correct it at that place, or give the file whose first line is format = {DIALECT_FORMAT!r}.",
        source=source,
    )


def _newer_version(source: str, version: int) -> DialectVersionError:
    return DialectVersionError(
        f"{source} is a console dialect of version {version}; this tool knows up to version {DIALECT_VERSION}.",
        why="It was written for a newer version of this tool. Half understood, lines would be read wrongly.",
        todo="Use the newer version of this tool.",
        source=source,
        version=version,
    )


def _bad_entry(source: str, fault: DataFaultError) -> DialectError:
    return DialectError(
        f"The console dialect {source} cannot be used: {fault}.",
        why="It says how settings are read and written, so none of it is used while a part of it is unclear.",
        todo="Correct that entry" + (f" (likely {fault.meant!r})" if fault.meant else "") + " and try again.",
        source=source,
        place=fault.where,
        meant=fault.meant,
    )


_KIND = DocumentKind(DIALECT_FORMAT, DIALECT_VERSION, _dialect, _wrong_format, _newer_version, _bad_entry)
