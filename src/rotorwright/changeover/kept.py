"""Kept files, as journal events name them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.hangar.files import KeptFile

if TYPE_CHECKING:
    from rotorwright.hangar.journal import JsonValue


def kept_facts(kept: KeptFile) -> dict[str, JsonValue]:
    """Return `kept` as plain data for an event."""
    return {"name": kept.name, "sha256": kept.sha256, "bytes": kept.size_bytes}


def kept_from(facts: JsonValue) -> KeptFile:
    """Return the kept file that an event names."""
    assert isinstance(facts, dict)
    name, digest, size = facts["name"], facts["sha256"], facts["bytes"]
    assert isinstance(name, str)
    assert isinstance(digest, str)
    assert isinstance(size, int)
    return KeptFile(name=name, sha256=digest, size_bytes=size)
