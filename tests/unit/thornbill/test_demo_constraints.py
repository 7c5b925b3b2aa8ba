"""What the demo's release book says about settings that only make sense together."""

from __future__ import annotations

from rotorwright.settings.constraints import broken_constraints, parse_constraints, unknown_names
from rotorwright.twin.thornbill.release import BOARD_KEYS, catalogue, constraints_text

CONSTRAINTS = parse_constraints(constraints_text("6.0"), source="constraints-6.0.toml")


def test_each_name_is_one_of_the_release() -> None:
    assert unknown_names(CONSTRAINTS, catalogue("6.0")) == ()
    assert len(CONSTRAINTS.entries) >= 6


def test_the_defaults_of_each_board_keep_all_of_them() -> None:
    for board in BOARD_KEYS:
        assert broken_constraints(CONSTRAINTS, catalogue("6.0", board).defaults) == ()
