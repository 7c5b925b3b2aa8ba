"""Reading JSON and TOML documents strictly, with words for every fault, and writing JSON so that equal is equal.

`Table` walks over parsed data and names the place of whatever is wrong, so that each file format turns one kind of
fault (`DataFaultError`) into its own error at its own border. Numbers of JSON keep their text: `-0` stays `-0`.
"""

from __future__ import annotations

import difflib
import hashlib
import json
import re
import tomllib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Never, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

Json: TypeAlias = "str | int | bool | Sequence[Json] | Mapping[str, Json] | None"

_LONE_SURROGATE = re.compile("[\ud800-\udfff]")

_ENCODER = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"))
_CANONICAL_ENCODER = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), sort_keys=True)

MOST_DIGITS = 40  # no number in our formats needs more; longer ones would only cost time


class DataFaultError(Exception):
    """Something in a document is not as its format says. Turned into an error of ours by the format's own parser."""

    def __init__(self, words: str, *, where: str = "", meant: str = "") -> None:
        super().__init__(f"{where}: {words}" if where else words)
        self.words = words
        self.where = where
        self.meant = meant


@dataclass(frozen=True, slots=True)
class Numeral:
    """A number as it stands in a JSON document."""

    text: str


def read_json(data: bytes) -> Table:
    """Return the JSON object in `data`.

    Raises:
        DataFaultError: not UTF-8, not JSON (a file cut short is not), a key given twice, or no object.
    """
    try:
        text = data.decode("utf-8")
        parsed: object = json.loads(
            text, parse_int=Numeral, parse_float=Numeral, parse_constant=_no_constant, object_pairs_hook=_object
        )
    except UnicodeDecodeError as error:
        raise DataFaultError(f"it is not UTF-8 text: byte {error.start} is {data[error.start]:#04x}") from error
    except json.JSONDecodeError as error:
        raise DataFaultError(f"it is not JSON: line {error.lineno}, column {error.colno}: {error.msg}") from error
    except RecursionError as error:
        raise DataFaultError("it is nested deeper than any file of ours") from error
    return Table.of(parsed, where="")


def read_toml(text: str) -> Table:
    """Return the TOML document in `text`.

    Raises:
        DataFaultError: not TOML; the words name the line.
    """
    try:
        return Table.of(tomllib.loads(text), where="")
    except ValueError as error:  # TOMLDecodeError, and whole numbers of thousands of digits
        raise DataFaultError(f"it is not TOML: {error}") from error
    except RecursionError as error:
        raise DataFaultError("it is nested deeper than any file of ours") from error


def json_line(data: Json) -> str:
    """Return `data` as JSON in one line, keys in the order given."""
    return _ENCODER.encode(data)


def canonical_json(data: Json) -> bytes:
    """Return `data` as canonical JSON (RFC 8785).

    For what `Json` may hold (no floats, keys of the basic plane) the standard encoder writes the canonical form if it
    sorts the keys, five times as fast as the rfc8785 package; the tests compare the two.
    """
    return _CANONICAL_ENCODER.encode(data).encode()


def canonical_sha256(data: Json) -> str:
    """Return the SHA-256, in hexadecimal, over `data` as canonical JSON (RFC 8785)."""
    return hashlib.sha256(canonical_json(data)).hexdigest()


def canonical_object(members: Mapping[str, str]) -> bytes:
    """Return a canonical JSON object (RFC 8785) of members that are canonical JSON already."""
    return ("{" + ",".join(f'"{key}":{members[key]}' for key in sorted(members)) + "}").encode()


def has_lone_surrogate(text: str) -> bool:
    """Answer whether `text` holds half a character, as text from bytes that are no UTF-8 may: no file can keep it."""
    return not text.isascii() and _LONE_SURROGATE.search(text) is not None


def likely(word: str, known: Iterable[str]) -> str:
    """Return the one of `known` that `word` was most likely meant to be, or nothing."""
    by_lower = {each.lower(): str(each) for each in known}
    found = difflib.get_close_matches(word.lower(), sorted(by_lower), n=1, cutoff=0.6)
    return by_lower[found[0]] if found else ""


@dataclass(frozen=True, slots=True)
class Table:
    """A table (JSON object, TOML table) with its place in the document."""

    data: dict[str, object]
    where: str

    @classmethod
    def of(cls, data: object, *, where: str) -> Table:
        """Return `data` as a table, or say that it is none."""
        if not isinstance(data, dict):
            raise DataFaultError(f"a table is expected, not {_kind(data)}", where=where or "the document")
        return cls(data, where)

    def __contains__(self, key: str) -> bool:
        return key in self.data

    def only(self, *known: str) -> Table:
        """Return this table after checking that it has no other keys than `known`."""
        for key in self.data:
            if key not in known:
                meant = likely(key, known)
                hint = f"; perhaps {meant!r} was meant" if meant else f"; known keys are {', '.join(known)}"
                raise DataFaultError(f"there is no key {key!r} here{hint}", where=self._place(), meant=meant)
        return self

    def text(self, key: str, default: str | None = None) -> str:
        """Return the text under `key`."""
        value = self._get(key, default)
        if not isinstance(value, str):
            self.fault(key, f"a text is expected, not {_kind(value)}")
        return self._clean(key, value)

    def optional_text(self, key: str) -> str | None:
        """Return the text under `key`; nothing where the key is absent or null."""
        return None if self.data.get(key) is None else self.text(key)

    def flag(self, key: str, *, default: bool) -> bool:
        """Return the truth value under `key`."""
        value = self._get(key, default)
        if not isinstance(value, bool):
            self.fault(key, f"true or false is expected, not {_kind(value)}")
        return value

    def whole(self, key: str) -> int:
        """Return the whole number under `key`."""
        return self._whole(key, self._get(key, None))

    def numeral(self, key: str) -> str | None:
        """Return the text of the JSON number under `key`; nothing where the key is absent."""
        if key not in self.data:
            return None
        value = self.data[key]
        if not isinstance(value, Numeral):
            self.fault(key, f"a number is expected, not {_kind(value)}")
        if len(value.text) > MOST_DIGITS:
            self.fault(key, f"a number of {len(value.text)} characters is longer than any setting needs")
        return value.text

    def table(self, key: str) -> Table:
        """Return the table under `key`."""
        return Table.of(self._get(key, None), where=self.place_of(key))

    def tables(self, key: str) -> tuple[Table, ...]:
        """Return the list of tables under `key`; empty where the key is absent. Entries are counted from 1."""
        entries = self._list(key) if key in self.data else []
        prefix = f"{self.where}, " if self.where else ""
        return tuple(Table.of(each, where=f"{prefix}{key} entry {i}") for i, each in enumerate(entries, 1))

    def optional_tables(self, key: str) -> tuple[Table | None, ...]:
        """Return the list of tables under `key`, some of which may be null."""
        prefix = f"{self.where}, " if self.where else ""
        places = ((each, f"{prefix}{key} entry {i}") for i, each in enumerate(self._list(key), 1))
        return tuple(None if each is None else Table.of(each, where=place) for each, place in places)

    def texts(self, key: str) -> tuple[str, ...]:
        """Return the list of texts under `key`; empty where the key is absent."""
        entries = self._list(key) if key in self.data else []
        for each in entries:
            if not isinstance(each, str):
                self.fault(key, f"a list of texts is expected, but one entry is {_kind(each)}")
        return tuple(self._clean(key, str(each)) for each in entries)

    def wholes(self, key: str) -> tuple[int, ...]:
        """Return the list of whole numbers under `key`."""
        return tuple(self._whole(key, each) for each in self._list(key))

    def fault(self, key: str, words: str, *, meant: str = "") -> Never:
        """Raise a fault at `key`."""
        raise DataFaultError(words, where=self.place_of(key), meant=meant)

    def place_of(self, key: str) -> str:
        """Return the place of `key` in words."""
        return f"{self.where}, key {key!r}" if self.where else f"key {key!r}"

    def _place(self) -> str:
        return self.where or "the top of the document"

    def _get(self, key: str, default: object) -> object:
        value = self.data.get(key, default)
        if value is None:
            self.fault(key, "it is missing" if key not in self.data else "it is empty (null)")
        return value

    def _list(self, key: str) -> list[object]:
        value = self._get(key, None)
        if not isinstance(value, list):
            self.fault(key, f"a list is expected, not {_kind(value)}")
        return value

    def _whole(self, key: str, value: object) -> int:
        if isinstance(value, Numeral) and value.text.lstrip("-").isdigit() and len(value.text) <= MOST_DIGITS:
            return int(value.text)
        if isinstance(value, int) and not isinstance(value, bool):
            return value
        return self.fault(key, f"a whole number is expected, not {_kind(value)}")

    def _clean(self, key: str, text: str) -> str:
        if has_lone_surrogate(text):
            self.fault(key, "the text holds half a character (a lone surrogate)")
        return text


def _object(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found = dict(pairs)
    if len(found) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise DataFaultError(f"the key {twice!r} is given twice in one place")
    return found


def _no_constant(word: str) -> Never:
    raise DataFaultError(f"{word} is no number in JSON")


_KINDS: tuple[tuple[type, str], ...] = (
    (bool, "true or false"),
    (str, "a text"),
    (Numeral, "a number"),
    (int, "a number"),
    (float, "a number"),
    (list, "a list"),
    (dict, "a table"),
    (type(None), "nothing"),
)


def _kind(value: object) -> str:
    return next((words for type_, words in _KINDS if isinstance(value, type_)), f"a {type(value).__name__}")
