"""The carry-over sheet: all decisions of one changeover, as data and as a file.

The file is JSON with a digest; reading what was written gives the very same sheet, and writing what was read the very
same bytes. docs/reference/carry-over-sheet.md describes it.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rotorwright.errors import SettingsError, WorkflowError
from rotorwright.settings.by_hand import by_hand_option, refuse_claimed_twice
from rotorwright.settings.decisions import BY_HAND, Arrival, Decision, DecisionKind, Option, Printed, Write
from rotorwright.settings.structured import (
    DataFaultError,
    Table,
    canonical_json,
    canonical_object,
    json_line,
    likely,
    read_json,
)
from rotorwright.settings.values import SettingType, Value, ValueNotInTypeError

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.structured import Json

SHEET_FORMAT = "rotorwright-carry-over-sheet"
SHEET_VERSION = 1

_MAKE_IT_AGAIN = "Use another copy of the sheet, or make it again from the as-found snapshot: that loses no setting."


class UndecidedSettingsError(WorkflowError):
    """Held settings are not decided yet, so nobody can say what to write."""

    id = "carry-over.undecided"


class NotHeldError(WorkflowError):
    """There is no held decision on a setting of this name."""

    id = "carry-over.not-held"


class UnknownOptionError(WorkflowError):
    """A held decision has no such option."""

    id = "carry-over.unknown-option"


class SheetError(SettingsError):
    """A carry-over sheet cannot be used."""

    id = "sheet"


class SheetNotJsonError(SheetError):
    """The file is no JSON document: cut short, damaged, or something else altogether."""

    id = "sheet.not-json"


class SheetFormatError(SheetError):
    """The document is no carry-over sheet."""

    id = "sheet.wrong-format"


class SheetVersionError(SheetError):
    """The sheet was written by a newer version of this tool."""

    id = "sheet.newer-version"


class SheetEntryError(SheetError):
    """Something in the sheet is missing or not as the format says."""

    id = "sheet.bad-entry"


class SheetDigestError(SheetError):
    """The content of the sheet is not what its digest says."""

    id = "sheet.digest"


@dataclass(frozen=True, slots=True)
class CarryOverSheet:
    """What becomes of each setting, and why.

    Args:
        decisions: one for each found setting or group of them, sorted by their first name.
        arrivals: settings of the new release that nothing found became, sorted by name.
        from_release: release that the settings come from, as the aircraft said.
        to_release: release that they go to, as far as it was said.
        family: firmware family.
        as_found_sha256: digest of the snapshot that was decided on.
        policy: how doubtful cases are decided, in the one text form of `policies.Policy`.
        remarks: what a person should know besides the decisions, in sentences.
    """

    decisions: tuple[Decision, ...]
    arrivals: tuple[Arrival, ...]
    from_release: str
    to_release: str
    family: str
    as_found_sha256: str
    policy: str = "careful"
    remarks: tuple[str, ...] = ()

    @property
    def held(self) -> tuple[Decision, ...]:
        """All held decisions, decided or not."""
        return tuple(each for each in self.decisions if each.kind is DecisionKind.HELD)

    @property
    def undecided(self) -> tuple[Decision, ...]:
        """The held decisions that still wait for a person."""
        return tuple(each for each in self.decisions if each.is_undecided)

    @property
    def writes(self) -> tuple[Write, ...]:
        """Everything to be written over the new defaults, sorted by name.

        Raises:
            UndecidedSettingsError: something held is not decided.
            ClaimedTwiceError: two decisions are to write, or to become, one setting.
        """
        if self.undecided:
            raise _undecided_error(self.undecided)
        refuse_claimed_twice(self.decisions)
        return tuple(
            sorted((each for one in self.decisions for each in one.writes_in_force), key=lambda each: each.name)
        )

    @property
    def counts(self) -> dict[DecisionKind, int]:
        """How many decisions there are of each kind that occurs."""
        found = Counter(each.kind for each in self.decisions)
        return {kind: found[kind] for kind in DecisionKind if found[kind]}

    @property
    def found_names(self) -> tuple[str, ...]:
        """All names found on the aircraft, sorted."""
        return tuple(sorted(name for each in self.decisions for name in each.found))

    @property
    def sha256(self) -> str:
        """SHA-256 in hexadecimal over the canonical JSON of the sheet."""
        return _digest(self, [_arrival_data(each) for each in self.arrivals])

    def decide(self, name: str, option_key: str) -> CarryOverSheet:
        """Return a sheet where the held decision on `name` is decided; it stays held, with the option noted.

        Raises:
            NotHeldError: nothing is held under this name.
            UnknownOptionError: the decision has no such option.
        """
        held = self._held_on(name)
        if option_key not in {option.key for option in held.options}:
            raise _unknown_option(name, option_key, held)
        return self._with(held, replace(held, chosen=option_key))

    def decide_by_hand(
        self, name: str, writes: Iterable[Write], *, new_catalogue: Catalogue | None = None
    ) -> CarryOverSheet:
        """Return a sheet where the held decision on `name` is decided by a person's own values.

        They become its option `by-hand`, in place of an earlier one. Without a catalogue only names and types are
        judged, as far as the sheet knows them.

        Raises:
            NotHeldError: nothing is held under this name.
            ByHandRefusedError: a name is none of the new release or is decided on elsewhere, or a value is outside
                type, range or labels.
        """
        held = self._held_on(name)
        option = by_hand_option(self, held, tuple(writes), new_catalogue)
        options = (*(each for each in held.options if each.key != BY_HAND), option)
        return self._with(held, replace(held, options=options, chosen=BY_HAND))

    def _held_on(self, name: str) -> Decision:
        held = next((each for each in self.held if name in each.found), None)
        if held is None:
            raise _not_held(name, self.held)
        return held

    def _with(self, old: Decision, new: Decision) -> CarryOverSheet:
        return replace(self, decisions=tuple(new if each is old else each for each in self.decisions))

    def expected_settings(self, new_defaults: Mapping[str, Value]) -> dict[str, Value]:
        """Return every value that the aircraft should hold as left, sorted by name.

        Settings that the aircraft changes by itself are among them with their default; leave them out of a comparison.

        Raises:
            UndecidedSettingsError: something held is not decided.
            ClaimedTwiceError: two decisions are to write, or to become, one setting.
        """
        return dict(sorted({**new_defaults, **{each.name: each.value for each in self.writes}}.items()))


def print_sheet(sheet: CarryOverSheet) -> bytes:
    """Return the sheet as a file: JSON, one decision a line. Equal sheets, equal bytes."""
    opened = json_line(_head(sheet)).removesuffix("}")
    arrived = [_arrival_data(each) for each in sheet.arrivals]
    decisions = ",\n".join(each.printed(_print_decision).line for each in sheet.decisions)
    arrivals, digest = ",\n".join(map(json_line, arrived)), _digest(sheet, arrived)
    body = f'"decisions":[\n{decisions}\n],"arrivals":[\n{arrivals}\n],"sha256":"{digest}"'
    return f"{opened},{body}}}\n".encode()


def parse_sheet(data: bytes, *, source: str) -> CarryOverSheet:
    """Return the carry-over sheet in a file; `source` names the file in error texts.

    Raises:
        SheetNotJsonError: no JSON document; a file cut short is none.
        SheetFormatError: a JSON document, but no sheet.
        SheetVersionError: written by a newer version of this tool.
        SheetEntryError: something is missing or not as the format says.
        SheetDigestError: the content is not what the digest says.
    """
    document = _document(data, source)
    try:
        sheet, written = _read(document, source)
    except DataFaultError as fault:
        raise _bad_entry(source, str(fault)) from fault
    found = sheet.sha256
    if found != written:
        raise SheetDigestError(
            f"The content of {source} is not what it was: its digest is {found[:16]}..., written was {written[:16]}...",
            why="The file was damaged or changed after it was written.",
            todo=_MAKE_IT_AGAIN,
            source=source,
            written=written,
            found=found,
        )
    return sheet


def _digest(sheet: CarryOverSheet, arrived: list[dict[str, Json]]) -> str:
    members = {key: canonical_json(value).decode() for key, value in _head(sheet).items()}
    members["decisions"] = f"[{','.join(each.printed(_print_decision).canonical for each in sheet.decisions)}]"
    members["arrivals"] = canonical_json(arrived).decode()
    return hashlib.sha256(canonical_object(members)).hexdigest()


def _print_decision(decision: Decision) -> Printed:
    data = _decision_data(decision)
    return Printed(json_line(data), canonical_json(data).decode())


def _head(sheet: CarryOverSheet) -> dict[str, Json]:
    remarks: dict[str, Json] = {"remarks": list(sheet.remarks)} if sheet.remarks else {}
    return {
        "format": SHEET_FORMAT,
        "version": SHEET_VERSION,
        "family": sheet.family,
        "from_release": sheet.from_release,
        "to_release": sheet.to_release,
        "as_found_sha256": sheet.as_found_sha256,
        "policy": sheet.policy,
        **remarks,
    }


def _decision_data(decision: Decision) -> dict[str, Json]:
    return {
        "found": list(decision.found),
        "kind": str(decision.kind),
        "rule": decision.rule,
        "reason": decision.reason,
        "ours": [_value_data(each) for each in decision.ours],
        "base": [_value_data(each) for each in decision.base],
        "new_names": list(decision.new_names),
        "theirs": [_value_data(each) for each in decision.theirs],
        "writes": [_write_data(each) for each in decision.writes],
        "options": [_option_data(each) for each in decision.options],
        "chosen": decision.chosen,
    }


def _option_data(option: Option) -> dict[str, Json]:
    return {"key": option.key, "words": option.words, "writes": [_write_data(each) for each in option.writes]}


def _write_data(write: Write) -> dict[str, Json]:
    return {"name": write.name, "value": _value_data(write.value)}


def _arrival_data(arrival: Arrival) -> dict[str, Json]:
    return {"name": arrival.name, "default": _value_data(arrival.default), "words": arrival.words}


def _value_data(value: Value | None) -> Json:
    return None if value is None else {"type": str(value.type), "text": value.text}


def _document(data: bytes, source: str) -> Table:
    try:
        document = read_json(data)
    except DataFaultError as fault:
        raise SheetNotJsonError(
            f"{source} is not a readable carry-over sheet: {fault}.",
            why="The file was cut short or damaged, or it is another kind of file.",
            todo=_MAKE_IT_AGAIN,
            source=source,
        ) from fault
    if document.data.get("format") != SHEET_FORMAT:
        raise SheetFormatError(
            f"{source} is no carry-over sheet: it does not say {SHEET_FORMAT!r}.",
            why="Another kind of file was given.",
            todo="Give the sheet that was written when the changeover was planned.",
            source=source,
        )
    return document


def _read(document: Table, source: str) -> tuple[CarryOverSheet, str]:
    version = document.whole("version")
    if version > SHEET_VERSION:
        raise SheetVersionError(
            f"{source} is a carry-over sheet of version {version}; this tool knows up to version {SHEET_VERSION}.",
            why="It was written by a newer version of this tool. Read half, it would lose decisions.",
            todo="Use the newer version of this tool. The file was not touched.",
            source=source,
            version=version,
        )
    if version < 1:
        document.fault("version", f"there is no version {version}")
    texts = ("family", "from_release", "to_release", "as_found_sha256", "policy")
    document.only("format", "version", *texts, "remarks", "decisions", "arrivals", "sha256")
    for key in ("decisions", "arrivals"):
        if key not in document:
            document.fault(key, "it is missing")
    decisions = tuple(_read_decision(each) for each in document.tables("decisions"))
    _refuse_doubles(decisions)
    arrivals = tuple(_read_arrival(each) for each in document.tables("arrivals"))
    head = {key: document.text(key) for key in texts}
    remarks = document.texts("remarks")
    return CarryOverSheet(decisions=decisions, arrivals=arrivals, remarks=remarks, **head), document.text("sha256")


def _read_decision(entry: Table) -> Decision:
    keys = ("found", "kind", "rule", "reason", "ours", "base", "new_names", "theirs", "writes", "options", "chosen")
    entry.only(*keys)
    found, new_names = entry.texts("found"), entry.texts("new_names")
    options = tuple(_read_option(each) for each in entry.tables("options"))
    chosen = entry.optional_text("chosen")
    if not found:
        entry.fault("found", "it is empty")
    if chosen is not None and chosen not in {option.key for option in options}:
        entry.fault("chosen", f"there is no option {chosen!r}")
    return Decision(
        found=found,
        kind=_read_kind(entry),
        rule=entry.text("rule"),
        reason=entry.text("reason"),
        ours=tuple(_read_found(entry, len(found))),
        base=_read_values(entry, "base", len(found)),
        new_names=new_names,
        theirs=_read_values(entry, "theirs", len(new_names)),
        writes=_read_writes(entry),
        options=options,
        chosen=chosen,
    )


def _read_kind(entry: Table) -> DecisionKind:
    text = entry.text("kind")
    try:
        return DecisionKind(text)
    except ValueError:
        return entry.fault("kind", f"{text!r} is no kind of decision")


def _read_found(entry: Table, count: int) -> list[Value]:
    values = _read_values(entry, "ours", count)
    if None in values:
        entry.fault("ours", "a value is missing")
    return [value for value in values if value is not None]


def _read_values(entry: Table, key: str, count: int) -> tuple[Value | None, ...]:
    values = tuple(None if each is None else _read_value(each) for each in entry.optional_tables(key))
    if len(values) != count:
        entry.fault(key, f"{count} values are expected, not {len(values)}")
    return values


def _read_value(table: Table) -> Value:
    table.only("type", "text")
    try:
        return Value.parse(SettingType(table.text("type")), table.text("text"))
    except ValueNotInTypeError as error:
        return table.fault("text", error.what.rstrip("."))
    except ValueError:
        return table.fault("type", f"there is no type {table.text('type')!r}")


def _read_option(entry: Table) -> Option:
    entry.only("key", "words", "writes")
    return Option(entry.text("key"), entry.text("words"), _read_writes(entry))


def _read_writes(entry: Table) -> tuple[Write, ...]:
    tables = [each.only("name", "value") for each in entry.tables("writes")]
    return tuple(Write(each.text("name"), _read_value(each.table("value"))) for each in tables)


def _read_arrival(entry: Table) -> Arrival:
    entry.only("name", "default", "words")
    default = None if entry.data.get("default") is None else _read_value(entry.table("default"))
    return Arrival(entry.text("name"), default, entry.text("words"))


def _refuse_doubles(decisions: tuple[Decision, ...]) -> None:
    names = Counter(name for each in decisions for name in each.found)
    twice = [name for name, count in names.items() if count > 1]
    if twice:
        raise DataFaultError(f"{twice[0]} is decided on twice", where="decisions")


def _undecided_error(undecided: tuple[Decision, ...]) -> UndecidedSettingsError:
    names = [" and ".join(each.found) for each in undecided]
    shown = ", ".join(names[:5]) + (f" and {len(names) - 5} more" if len(names) > 5 else "")
    return UndecidedSettingsError(
        f"{len(names)} held settings are not decided: {shown}.",
        why="Held means that only a person can say what is right; nothing is written by a guess.",
        todo="Decide each of them; the sheet names the ways.",
        undecided=len(names),
    )


def _not_held(name: str, held: tuple[Decision, ...]) -> NotHeldError:
    meant = likely(name, (each for one in held for each in one.found))
    return NotHeldError(
        f"No held decision is about {name}.",
        why="The name is mistyped, or it is decided by a rule already." + (f" {meant} is held." if meant else ""),
        todo=f"Decide {meant} instead, if that was meant." if meant else "Look at the sheet for what is held.",
        name=name,
    )


def _unknown_option(name: str, key: str, held: Decision) -> UnknownOptionError:
    keys = [option.key for option in held.options]
    return UnknownOptionError(
        f"There is no way {key!r} to decide {name}.",
        why=f"The ways are {', '.join(keys)}.",
        todo=f"Choose one of them{f'; {meant!r} is likely meant' if (meant := likely(key, keys)) else ''}.",
        name=name,
        option=key,
    )


def _bad_entry(source: str, words: str) -> SheetEntryError:
    return SheetEntryError(
        f"The content of {source} is not that of a carry-over sheet: {words}.",
        why="The file was damaged or changed after it was written.",
        todo=_MAKE_IT_AGAIN,
        source=source,
    )
