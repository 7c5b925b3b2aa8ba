"""What settings are about, whatever their names: those of the board, calibrations, what the pilot feels, and roles.

Read from TOML: `[classes]` with lists of name patterns (`*` stands for anything, `?` for one character), `[roles]`
from role to name, `[role_bits]` with the bit of a role that is one bit of its setting, and `[told]` from a role's
function to the bit by which the aircraft tells that it is on.
"""

from __future__ import annotations

import fnmatch
import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from rotorwright.errors import SettingsError
from rotorwright.settings.structured import DataFaultError, Table, read_toml

if TYPE_CHECKING:
    from collections.abc import Mapping

_ROLE = re.compile(r"[a-z0-9]+(\.[a-z0-9]+)*\Z")
TOLD_BITS = 32  # width of custom_mode in the heartbeat (common.xml)
_NOTHING = re.compile(r"(?!)")


class ClassesError(SettingsError):
    """The classes and roles of a release book cannot be used."""

    id = "classes.bad-entry"


@dataclass(frozen=True, slots=True)
class SettingClasses:
    """Which settings belong to the board, which are calibrations, which are felt, and what some of them are for.

    Args:
        board: name patterns of settings that the maker of the board fixes.
        calibration: name patterns of settings that belong to this very sensor.
        roles: role to name, e.g. `sensor.orientation`.
        feel: name patterns of settings that the pilot feels.
        role_bits: role to bit, where the role is one bit of its setting.
        told: function (e.g. `mode.1`) to the bit of the heartbeat's custom_mode that tells that it is on.
    """

    board: tuple[str, ...] = ()
    calibration: tuple[str, ...] = ()
    roles: Mapping[str, str] = field(default_factory=dict)
    feel: tuple[str, ...] = ()
    told: Mapping[str, int] = field(default_factory=dict)
    role_bits: Mapping[str, int] = field(default_factory=dict)
    _board: re.Pattern[str] = field(init=False, repr=False, compare=False)
    _calibration: re.Pattern[str] = field(init=False, repr=False, compare=False)
    _feel: re.Pattern[str] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "roles", dict(sorted(self.roles.items())))
        object.__setattr__(self, "told", dict(sorted(self.told.items())))
        object.__setattr__(self, "_board", _any_of(self.board))
        object.__setattr__(self, "_calibration", _any_of(self.calibration))
        object.__setattr__(self, "_feel", _any_of(self.feel))

    def is_board(self, name: str) -> bool:
        """Answer whether the setting belongs to the board."""
        return self._board.match(name) is not None

    def is_calibration(self, name: str) -> bool:
        """Answer whether the setting is a calibration of this very aircraft's sensors."""
        return self._calibration.match(name) is not None

    def is_feel(self, name: str) -> bool:
        """Answer whether the pilot feels the setting."""
        return self._feel.match(name) is not None


def parse_classes(text: str, source: str) -> SettingClasses:
    """Return the classes and roles in a TOML text; `source` names the file in error texts.

    Raises:
        ClassesError: not TOML, or an entry that cannot be used.
    """
    try:
        document = read_toml(text).only("classes", "roles", "role_bits", "told")
        classes = document.table("classes") if "classes" in document else Table({}, "classes")
        classes.only("board", "calibration", "feel")
        roles = document.table("roles") if "roles" in document else Table({}, "roles")
        bits = document.table("role_bits") if "role_bits" in document else Table({}, "role_bits")
        told = document.table("told") if "told" in document else Table({}, "told")
        return SettingClasses(
            _patterns(classes, "board"),
            _patterns(classes, "calibration"),
            {role: _role(roles, role) for role in roles.data},
            _patterns(classes, "feel"),
            {function: _bit(told, function) for function in told.data},
            {role: _role_bit(bits, role, roles) for role in bits.data},
        )
    except DataFaultError as fault:
        raise ClassesError(
            f"The setting classes {source} cannot be used: {fault}.",
            why="The file is damaged or mistyped.",
            todo="Correct that place" + (f" (likely {fault.meant!r})" if fault.meant else "") + " and try again.",
            source=source,
            place=fault.where,
        ) from fault


def _patterns(table: Table, key: str) -> tuple[str, ...]:
    patterns = table.texts(key)
    if "" in patterns:
        table.fault(key, "a pattern is empty")
    return patterns


def _role(roles: Table, role: str) -> str:
    if not _ROLE.match(role):
        roles.fault(role, "a role has lower-case words with dots between, like sensor.orientation")
    return roles.text(role)


def _role_bit(bits: Table, role: str, roles: Table) -> int:
    if role not in roles:
        bits.fault(role, "no such role is named above")
    return _bit(bits, role)


def _bit(told: Table, function: str) -> int:
    bit = told.whole(function)
    if not 0 <= bit < TOLD_BITS:
        told.fault(function, f"a bit is 0 to {TOLD_BITS - 1}, not {bit}")
    return bit


def _any_of(patterns: tuple[str, ...]) -> re.Pattern[str]:
    return re.compile("|".join(fnmatch.translate(each) for each in patterns)) if patterns else _NOTHING
