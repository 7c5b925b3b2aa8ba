"""What Thornbill 5.2, 6.0 and 6.1 know to set, with each board's own defaults, and what the demo aircraft holds.

The data are files beside this module: `settings-<release>.csv`, one setting a row, and `customised.csv`, what a careful
owner changed on a Sandmartin 5 with a Corvane One. A cell of the column `default_c405` is the default on that board
where it differs from the family's own; the Corvane H7 has the family's own defaults throughout.
"""

from __future__ import annotations

import csv
import io
from functools import cache
from importlib import resources
from itertools import pairwise
from typing import TYPE_CHECKING

from rotorwright.errors import SettingsError
from rotorwright.settings.catalogue import Catalogue, Choice, Setting
from rotorwright.settings.values import SettingType, Value
from rotorwright.twin.thornbill.glyphs import draw_release

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

FAMILY = "Thornbill"
RELEASES = ("5.2", "6.0", "6.1")
STEPS = tuple(pairwise(RELEASES))
"""Which releases the change notes lead between."""
BOARD_KEYS = ("C405", "H7")


class DemoReleaseError(SettingsError):
    """There is no such release or board in the demo's firmware family."""

    id = "settings.no-such-demo"


@cache
def catalogue(release: str, board: str = "C405") -> Catalogue:
    """Return what release line `release` ("5.2", "6.0", "6.1") knows to set on board key `board` ("C405", "H7").

    Raises:
        DemoReleaseError: no such release or board.
    """
    if release not in RELEASES:
        raise _no_such("release", release, RELEASES)
    if board not in BOARD_KEYS:
        raise _no_such("board", board, BOARD_KEYS)
    rows = csv.DictReader(io.StringIO(read_text(f"settings-{release}.csv")))
    return Catalogue({row["name"]: _setting(row, board) for row in rows})


@cache
def characters(release: str) -> bytes:
    """Return the display characters of release line `release`, 16,384 bytes.

    Raises:
        DemoReleaseError: no such release.
    """
    if release not in RELEASES:
        raise _no_such("release", release, RELEASES)
    return draw_release(release)


def customised_settings() -> dict[str, Value]:
    """Return what the owner of the demo aircraft changed in 5.2, by name; all else is at the board's defaults."""
    known = catalogue("5.2", "C405")
    rows = csv.DictReader(io.StringIO(read_text("customised.csv")))
    return {row["name"]: Value.parse(known[row["name"]].type, row["value"]) for row in rows}


def change_notes_text(old: str = "5.2", new: str = "6.0") -> str:
    """Return the change notes from one release line to the next as TOML text."""
    return read_text(f"notes/{old}-to-{new}.toml")


def classes_text() -> str:
    """Return the setting classes and roles as TOML text."""
    return read_text("classes.toml")


def constraints_text(release: str) -> str:
    """Return the constraints between the settings of release line `release` as TOML text."""
    return read_text(f"constraints-{release}.toml")


@cache
def read_text(name: str) -> str:
    """Return a data file of this package as text."""
    return resources.files("rotorwright.twin.thornbill").joinpath(name).read_text(encoding="utf-8")


def _setting(row: Mapping[str, str], board: str) -> Setting:
    type_ = SettingType(row["type"])
    own_default = row["default_c405"] if board == "C405" else ""
    return Setting(
        name=row["name"],
        type=type_,
        short=row["short"],
        unit=row["unit"],
        default=Value.parse(type_, own_default or row["default"]),
        minimum=Value.parse(type_, row["min"]),
        maximum=Value.parse(type_, row["max"]),
        increment=float(row["increment"]) if row["increment"] else None,
        decimals=int(row["decimals"]) if row["decimals"] else None,
        reboot_required=row["reboot"] == "yes",
        category=row["category"],
        group=row["group"],
        volatile=row["volatile"] == "yes",
        choices=_labels(row["choices"]),
        bits=_labels(row["bits"]),
    )


def _labels(text: str) -> tuple[Choice, ...]:
    pairs = (each.split("=", 1) for each in text.split("|")) if text else ()
    return tuple(Choice(int(number), label) for number, label in pairs)


def _no_such(what: str, asked: str, known: Sequence[str]) -> DemoReleaseError:
    return DemoReleaseError(
        f"The firmware family {FAMILY} has no {what} {asked!r}.",
        why=f"It has {', '.join(known)}.",
        todo=f"Ask for one of those {what}s.",
        asked=asked,
    )
