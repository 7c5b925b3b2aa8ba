"""A checker for the part of JSON Schema (draft 2020-12) that our own schema files use; any other keyword is refused."""

from __future__ import annotations

import re
from typing import Any

# What each `type` allows. Source: JSON Schema Validation draft 2020-12, section 6.1.1 (from memory).
_TYPES: dict[str, type] = {"object": dict, "array": list, "string": str, "null": type(None)}
_NOTES = {"$schema", "$defs", "title", "description"}


def faults(data: Any, schema: dict[str, Any]) -> list[str]:
    """Return what in `data` is not as `schema` says, with its place; empty when everything is."""
    return _faults(data, schema, schema, "$")


def _faults(data: Any, rule: dict[str, Any], root: dict[str, Any], at: str) -> list[str]:
    found: list[str] = []
    for keyword, wanted in rule.items():
        if keyword in _NOTES:
            continue
        found += _CHECKS[keyword](data, wanted, rule, root, at)
    return found


def _ref(data: Any, wanted: str, _rule: Any, root: dict[str, Any], at: str) -> list[str]:
    target: Any = root
    for part in wanted.removeprefix("#/").split("/"):
        target = target[part]
    return _faults(data, target, root, at)


def _type(data: Any, wanted: str | list[str], _rule: Any, _root: Any, at: str) -> list[str]:
    kinds = [wanted] if isinstance(wanted, str) else wanted
    return [] if any(isinstance(data, _TYPES[kind]) for kind in kinds) else [f"{at}: is no {wanted}"]


def _properties(data: Any, wanted: dict[str, Any], rule: dict[str, Any], root: Any, at: str) -> list[str]:
    if not isinstance(data, dict):
        return []
    assert rule.get("additionalProperties") is False, "our schemas allow no other keys"
    found = [f"{at}: has the unknown key {key}" for key in data if key not in wanted]
    return found + [
        text for key in data if key in wanted for text in _faults(data[key], wanted[key], root, f"{at}.{key}")
    ]


def _items(data: Any, wanted: dict[str, Any], _rule: Any, root: Any, at: str) -> list[str]:
    if not isinstance(data, list):
        return []
    return [text for place, each in enumerate(data) for text in _faults(each, wanted, root, f"{at}[{place}]")]


def _any_of(data: Any, wanted: list[Any], _rule: Any, root: Any, at: str) -> list[str]:
    return [] if any(not _faults(data, each, root, at) for each in wanted) else [f"{at}: fits none of its ways"]


_CHECKS: dict[str, Any] = {
    "$ref": _ref,
    "type": _type,
    "properties": _properties,
    "items": _items,
    "anyOf": _any_of,
    "additionalProperties": lambda _data, _wanted, _rule, _root, _at: [],
    "required": lambda data, wanted, _rule, _root, at: [f"{at}: lacks {key}" for key in wanted if key not in data],
    "const": lambda data, wanted, _rule, _root, at: [] if data == wanted else [f"{at}: is not {wanted!r}"],
    "enum": lambda data, wanted, _rule, _root, at: [] if data in wanted else [f"{at}: is none of {wanted}"],
    "pattern": lambda data, wanted, _rule, _root, at: [] if re.search(wanted, data) else [f"{at}: is not {wanted}"],
    "minLength": lambda data, wanted, _rule, _root, at: [] if len(data) >= wanted else [f"{at}: is too short"],
    "minItems": lambda data, wanted, _rule, _root, at: [] if len(data) >= wanted else [f"{at}: has too few"],
    "uniqueItems": lambda data, _wanted, _rule, _root, at: (
        [] if len(set(data)) == len(data) else [f"{at}: has doubles"]
    ),
}
