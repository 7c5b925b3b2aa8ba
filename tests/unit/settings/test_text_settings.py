"""Settings whose values are texts, in the carry-over."""

from __future__ import annotations

from tests.unit.settings.builders import UINT8, Pair, catalogue, notes_of, only, setting

from rotorwright.settings.carry_over import DecisionKind
from rotorwright.settings.catalogue import Setting
from rotorwright.settings.laws import BitField
from rotorwright.settings.notes import Split, SplitPart
from rotorwright.settings.values import SettingType, Value


def test_a_text_has_no_bits_that_could_go_nowhere() -> None:
    """Its machine word was taken for bits, and the reason named dozens of them."""
    old = catalogue(Setting("A", SettingType.TEXT, default=Value.of_text("x")))
    parts = (SplitPart("B", BitField((0, 1))), SplitPart("C", BitField((2, 3))))
    pair = Pair(old, catalogue(setting("B", UINT8), setting("C", UINT8)), notes_of(Split(old="A", into=parts)))
    decision = only(pair.sheet(A=Value.of_text("yy")))
    assert decision.kind is DecisionKind.HELD
    assert "bit" not in decision.reason.replace("bits to part", "")
