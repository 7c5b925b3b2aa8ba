"""The shape of a row in a protocol's table of waits and retries."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable


@dataclass(frozen=True, slots=True)
class Limit:
    """How long something is waited for, or how often it is tried, and who says so."""

    what: str
    value: float
    unit: str
    source: str

    @property
    def count(self) -> int:
        """The value of a limit that counts tries."""
        return int(self.value)


def limits_table(limits: Iterable[Limit]) -> str:
    """Return `limits` as the Markdown table that stands in the README of the protocol."""
    rows = [f"| {limit.what} | {limit.value:g} | {limit.unit} | {limit.source} |" for limit in limits]
    return "\n".join(["| limit | value | unit | source |", "|---|---|---|---|", *rows])
