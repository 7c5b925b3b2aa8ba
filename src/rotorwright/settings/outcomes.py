"""What became of a value that was sent to an aircraft: what stands now, and how it came about."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from typing import TYPE_CHECKING

from rotorwright.settings.constraint_rules import number_of

if TYPE_CHECKING:
    from rotorwright.settings.catalogue import Setting
    from rotorwright.settings.values import Value

_NEAR_SHARE = Fraction(1, 100)  # within a hundredth of what was sent, and no step is known: taken for rounding


class How(StrEnum):
    """How the aircraft came to hold something else than was sent."""

    MISSING = "not there"
    REFUSED = "refused"
    LIMITED = "limited"
    ROUNDED = "rounded"
    CHANGED = "changed"
    NOT_KEPT = "taken, but not kept over the restart"


@dataclass(frozen=True, slots=True)
class Outcome:
    """One setting that does not stand as it was sent.

    Args:
        name: of the setting.
        sent: what was sent.
        stands: what the aircraft holds after the restart; nothing if it has no such setting.
        how: how that came about, as far as the two values and the one before tell.
    """

    name: str
    sent: Value
    stands: Value | None
    how: How

    @property
    def is_refusal(self) -> bool:
        """Whether the aircraft itself decided against the value, so that sending it again would not help."""
        return self.how is not How.NOT_KEPT

    @property
    def words(self) -> str:
        """The outcome with both values."""
        stands = "nothing" if self.stands is None else self.stands.text
        return f"{self.name}: sent {self.sent.text}, stands {stands} ({self.how})"


def outcome(
    name: str, *, sent: Value, stands: Value | None, before: Value | None, is_taken: bool, setting: Setting | None
) -> Outcome:
    """Return what became of `sent`, which is not what stands.

    `before` is what the aircraft held until then, `is_taken` whether it said that it took the value, `setting` what its
    catalogue says.
    """
    return Outcome(name, sent, stands, _how(sent, stands, before, setting, is_taken=is_taken))


def _how(sent: Value, stands: Value | None, before: Value | None, setting: Setting | None, *, is_taken: bool) -> How:
    if stands is None:
        return How.MISSING
    if stands == before:
        return How.NOT_KEPT if is_taken else How.REFUSED
    if setting is not None and stands in {setting.minimum, setting.maximum} and setting.refusal(sent):
        return How.LIMITED
    wanted, held = number_of(sent), number_of(stands)
    if not isinstance(wanted, Fraction) or not isinstance(held, Fraction):
        return How.CHANGED
    return How.ROUNDED if abs(wanted - held) < _step(wanted, sent, setting) else How.CHANGED


def _step(wanted: Fraction, sent: Value, setting: Setting | None) -> Fraction:
    if setting is not None and setting.increment:
        return Fraction(repr(setting.increment))
    return max(abs(wanted) * _NEAR_SHARE, Fraction(2 if sent.type.is_whole else 0))
