from __future__ import annotations

from dataclasses import replace

import pytest
from tests.unit.settings.builders import (
    FLOAT,
    IDENTITY,
    INT8,
    INT16,
    UINT8,
    Pair,
    about,
    catalogue,
    notes,
    only,
    setting,
    snapshot,
    ways,
    written,
)

from rotorwright.settings.carry_over import Arrival, DecisionKind, NotesOfOtherReleaseError, carry_over
from rotorwright.settings.classes import SettingClasses
from rotorwright.settings.notes import ChangeNotes
from rotorwright.settings.values import Value

THORNBILL_DEFAULT = "The default of Thornbill 6.0"


def same(name: str = "A") -> Pair:
    one = catalogue(setting(name, INT16, 5, low=0, high=100, unit="ms"))
    return Pair(one, one)


class TestAdopt:
    def test_a_setting_never_customised_takes_the_new_default(self) -> None:
        pair = Pair(catalogue(setting("A", INT16, 5, unit="ms")), catalogue(setting("A", INT16, 9, unit="ms")))
        decision = only(pair.sheet())
        assert (decision.kind, decision.rule, decision.writes) == (DecisionKind.ADOPT, "never-customised", ())
        assert decision.reason == (
            "Never changed: it stood at its default, 5 ms. The default of Thornbill 6.0 stands: 9 ms."
        )
        assert not decision.is_customised

    def test_the_same_default_is_said_to_be_the_same(self) -> None:
        assert only(same().sheet()).reason == (
            "Never changed: it stood at its default, 5 ms, and the default is the same in Thornbill 6.0."
        )

    def test_a_customised_value_that_is_the_new_default_needs_no_write(self) -> None:
        pair = Pair(catalogue(setting("A", INT16, 5)), catalogue(setting("A", INT16, 9)))
        decision = only(pair.sheet(A=9))
        assert (decision.kind, decision.rule, decision.writes) == (DecisionKind.ADOPT, "already-default", ())
        assert decision.reason == "You had set 9 (default 5). That is now the default of Thornbill 6.0: 9."
        assert decision.is_customised

    def test_a_converted_value_that_is_the_new_default_needs_no_write(self) -> None:
        pair = Pair(
            catalogue(setting("A", FLOAT, 0.1)),
            catalogue(setting("B", INT16, 120)),
            notes('[[convert]]\nold = "A"\nnew = "B"\nlaw = { kind = "linear", factor = "1000" }\n'),
        )
        assert only(pair.sheet(A=0.12)).kind is DecisionKind.ADOPT
        assert only(pair.sheet()).rule == "never-customised"

    def test_what_the_aircraft_measures_by_itself_is_never_carried(self) -> None:
        one = catalogue(setting("HOURS", INT16, 0, volatile=True))
        decision = only(Pair(one, one).sheet(HOURS=77))
        assert (decision.kind, decision.rule, decision.writes) == (DecisionKind.ADOPT, "volatile", ())
        assert "measures it by itself" in decision.reason
        assert "77" in decision.reason


class TestKeep:
    def test_a_customised_value_with_an_unchanged_default_is_kept(self) -> None:
        decision = only(same().sheet(A=7))
        assert (decision.kind, written(decision)) == (DecisionKind.KEEP, {"A": "7"})
        assert decision.reason == (
            "You had set 7 ms (default 5 ms). Thornbill 6.0 has the same default, so yours is kept: 7 ms."
        )

    def test_a_default_that_changed_under_a_customised_value_is_held(self) -> None:
        pair = Pair(catalogue(setting("A", INT16, 5)), catalogue(setting("A", INT16, 9)))
        decision = only(pair.sheet(A=7))
        assert (decision.kind, decision.rule, decision.writes) == (DecisionKind.HELD, "default-changed", ())
        assert ways(decision) == {"keep-mine": {"A": "7"}, "take-new-default": {}}
        assert "You had set 7 (default 5)" in decision.reason
        assert "9" in decision.reason

    def test_a_value_of_another_type_is_kept_if_it_is_exact_there(self) -> None:
        pair = Pair(catalogue(setting("A", UINT8, 5)), catalogue(setting("A", FLOAT, 5)))
        assert written(only(pair.sheet(A=7))) == {"A": "7"}
        assert only(pair.sheet(A=7)).writes[0].value.type is FLOAT

    def test_a_value_not_whole_in_a_whole_type_is_held_with_both_neighbours(self) -> None:
        pair = Pair(catalogue(setting("A", FLOAT, 5)), catalogue(setting("A", INT16, 5, low=-10, high=10)))
        decision = only(pair.sheet(A=6.5))
        assert (decision.kind, decision.rule) == (DecisionKind.HELD, "not-exact")
        assert ways(decision) == {"nearest-below": {"A": "6"}, "nearest-above": {"A": "7"}, "take-new-default": {}}

    def test_a_neighbour_that_is_the_new_default_is_still_named(self) -> None:
        pair = Pair(catalogue(setting("A", FLOAT, 1)), catalogue(setting("A", INT16, 1)))
        assert ways(only(pair.sheet(A=1.5))) == {
            "nearest-below": {},
            "nearest-above": {"A": "2"},
            "take-new-default": {},
        }

    def test_a_nan_and_infinities_without_a_range_are_kept_bit_for_bit(self) -> None:
        one = catalogue(setting("A", FLOAT, 0))
        for bits in (0x7F800001, 0x7FC00000, 0xFF800000, 0x80000000, 1):
            (write,) = only(Pair(one, one).sheet(A=Value(FLOAT, bits))).writes
            assert write.value.bits == bits


class TestRange:
    @pytest.mark.parametrize(
        ("value", "options"),
        [
            (70, {"nearest-below": {"A": "50"}, "take-new-default": {}}),
            (3, {"nearest-above": {"A": "10"}, "take-new-default": {}}),
        ],
    )
    def test_a_value_outside_the_new_range_is_held_with_the_nearest_allowed(
        self, value: int, options: dict[str, dict[str, str]]
    ) -> None:
        pair = Pair(catalogue(setting("A", INT16, 20)), catalogue(setting("A", INT16, 20, low=10, high=50)))
        decision = only(pair.sheet(A=value))
        assert (decision.kind, decision.rule) == (DecisionKind.HELD, "not-allowed")
        assert ways(decision) == options

    def test_a_nan_in_a_range_is_held_and_only_the_default_is_offered(self) -> None:
        pair = Pair(catalogue(setting("A", FLOAT, 2)), catalogue(setting("A", FLOAT, 2, low=1, high=5)))
        assert ways(only(pair.sheet(A=Value(FLOAT, 0x7FC00000)))) == {"take-new-default": {}}

    def test_the_neighbours_of_a_conversion_are_brought_into_the_range(self) -> None:
        pair = Pair(
            catalogue(setting("A", UINT8, 20)),
            catalogue(setting("A", UINT8, 2, low=1, high=10)),
            notes('[[convert]]\nold = "A"\nnew = "A"\nlaw = { kind = "linear", factor = "1/10" }\n'),
        )
        assert ways(only(pair.sheet(A=255))) == {"nearest-below": {"A": "10"}, "take-new-default": {}}
        assert ways(only(pair.sheet(A=55)))["nearest-above"] == {"A": "6"}
        assert written(only(pair.sheet(A=50))) == {"A": "5"}

    def test_a_number_that_is_no_choice_any_more_is_held_with_all_choices(self) -> None:
        pair = Pair(
            catalogue(setting("A", UINT8, 0, choices={0: "off", 1: "slow", 2: "fast"})),
            catalogue(setting("A", UINT8, 0, choices={0: "off", 1: "slow", 5: "other"})),
        )
        decision = only(pair.sheet(A=2))
        assert decision.rule == "not-allowed"
        assert ways(decision) == {"choose-1": {"A": "1"}, "choose-5": {"A": "5"}, "take-new-default": {}}

    def test_a_bitmask_is_kept_if_all_its_bits_are_known_and_held_else(self) -> None:
        pair = Pair(
            catalogue(setting("A", UINT8, 1, bits={0: "a", 1: "b", 2: "c"})),
            catalogue(setting("A", UINT8, 1, bits={0: "a", 1: "b"})),
        )
        assert written(only(pair.sheet(A=3))) == {"A": "3"}
        assert ways(only(pair.sheet(A=6))) == {"known-bits-only": {"A": "2"}, "take-new-default": {}}

    def test_a_range_beside_labels_limits_the_ways_out_too(self) -> None:
        pair = Pair(
            catalogue(setting("A", UINT8, 0, choices={0: "off", 1: "slow", 2: "fast"})),
            catalogue(setting("A", UINT8, 0, high=5, choices={0: "off", 1: "slow", 9: "fast"})),
        )
        assert ways(only(pair.sheet(A=2))) == {"take-new-default": {}}
        assert ways(only(pair.sheet(A=3))) == {"choose-1": {"A": "1"}, "take-new-default": {}}

    def test_a_range_beside_bits_limits_the_ways_out_too(self) -> None:
        one = catalogue(setting("A", UINT8, 0, high=3, bits={0: "a", 1: "b", 2: "c"}))
        assert ways(only(Pair(one, one).sheet(A=0b1100))) == {"nearest-below": {"A": "3"}, "take-new-default": {}}


class TestMeaning:
    def test_a_unit_that_changed_without_a_note_is_held_even_if_the_number_is_the_new_default(self) -> None:
        pair = Pair(catalogue(setting("A", INT16, 5, unit="s")), catalogue(setting("A", INT16, 7, unit="ms")))
        assert only(pair.sheet(A=7)).rule == "unit-changed"
        decision = only(pair.sheet(A=9))
        assert ways(decision) == {"convert-unit": {"A": "9000"}, "keep-mine": {"A": "9"}, "take-new-default": {}}
        assert [option.words for option in decision.options[:2]] == ["Count it in ms: 9000 ms", "Keep yours: 9 ms"]

    def test_a_value_that_cannot_be_counted_in_the_new_unit_is_offered_with_its_neighbours(self) -> None:
        pair = Pair(catalogue(setting("A", INT16, 6000, unit="rpm")), catalogue(setting("A", INT16, 100, unit="Hz")))
        assert ways(only(pair.sheet(A=6600))) == {
            "convert-unit": {"A": "110"},
            "keep-mine": {"A": "6600"},
            "take-new-default": {},
        }
        assert ways(only(pair.sheet(A=25_000))) == {
            "nearest-below": {"A": "416"},
            "nearest-above": {"A": "417"},
            "keep-mine": {"A": "25000"},
            "take-new-default": {},
        }

    def test_a_unit_of_something_else_is_not_converted(self) -> None:
        pair = Pair(catalogue(setting("A", INT16, 5, unit="V")), catalogue(setting("A", INT16, 7, unit="Hz")))
        assert ways(only(pair.sheet(A=9))) == {"keep-mine": {"A": "9"}, "take-new-default": {}}

    def test_a_period_becomes_a_frequency(self) -> None:
        pair = Pair(catalogue(setting("A", INT16, 250, unit="us")), catalogue(setting("A", INT16, 4000, unit="Hz")))
        assert ways(only(pair.sheet(A=500)))["convert-unit"] == {"A": "2000"}

    def test_a_unit_that_one_release_does_not_state_is_no_change(self) -> None:
        pair = Pair(catalogue(setting("A", INT16, 5)), catalogue(setting("A", INT16, 5, unit="ms")))
        assert only(pair.sheet(A=7)).kind is DecisionKind.KEEP

    def test_a_label_that_moved_is_held_and_can_be_followed(self) -> None:
        pair = Pair(
            catalogue(setting("A", UINT8, 0, choices={0: "off", 1: "slow", 2: "fast"})),
            catalogue(setting("A", UINT8, 0, choices={0: "off", 1: "fast", 2: "slow"})),
        )
        decision = only(pair.sheet(A=1))
        assert decision.rule == "label-moved"
        assert ways(decision) == {"keep-mine": {"A": "1"}, "follow-label": {"A": "2"}, "take-new-default": {}}

    def test_a_label_that_moved_out_of_a_vanished_number_can_be_followed(self) -> None:
        pair = Pair(
            catalogue(setting("A", UINT8, 0, choices={0: "off", 1: "slow"})),
            catalogue(setting("A", UINT8, 0, choices={0: "off", 9: "Slow "})),
        )
        assert ways(only(pair.sheet(A=1))) == {"follow-label": {"A": "9"}, "take-new-default": {}}

    def test_a_label_that_is_there_twice_cannot_be_followed(self) -> None:
        pair = Pair(
            catalogue(setting("A", UINT8, 0, choices={0: "off", 1: "slow"})),
            catalogue(setting("A", UINT8, 0, choices={0: "off", 1: "fast", 2: "slow", 3: "slow"})),
        )
        assert ways(only(pair.sheet(A=1))) == {"keep-mine": {"A": "1"}, "take-new-default": {}}

    def test_bits_without_a_label_of_their_own_cannot_be_followed(self) -> None:
        pair = Pair(
            catalogue(setting("A", UINT8, 0, bits={0: "a", 1: "b"})),
            catalogue(setting("A", UINT8, 0, bits={0: "b", 1: "a", 2: "c"})),
        )
        assert ways(only(pair.sheet(A=0b101))) == {"keep-mine": {"A": "5"}, "take-new-default": {}}

    def test_bits_that_moved_are_held_and_can_be_followed(self) -> None:
        pair = Pair(
            catalogue(setting("A", UINT8, 0, bits={0: "a", 1: "b", 2: "c"})),
            catalogue(setting("A", UINT8, 0, bits={0: "b", 1: "a", 2: "c"})),
        )
        assert ways(only(pair.sheet(A=5))) == {
            "keep-mine": {"A": "5"},
            "follow-label": {"A": "6"},
            "take-new-default": {},
        }
        assert only(pair.sheet(A=4)).kind is DecisionKind.KEEP

    def test_a_note_that_speaks_of_the_unit_is_believed(self) -> None:
        pair = Pair(
            catalogue(setting("A", INT16, 5, unit="mbar")),
            catalogue(setting("A", INT16, 5, unit="hPa")),
            notes('[[convert]]\nold = "A"\nnew = "A"\nlaw = { kind = "linear", factor = "1" }\n'),
        )
        decision = only(pair.sheet(A=7))
        assert (decision.kind, written(decision)) == (DecisionKind.CONVERT, {"A": "7"})


class TestNotes:
    def test_a_rename_carries_the_value_to_the_new_name(self) -> None:
        pair = Pair(
            catalogue(setting("A", INT16, 5)),
            catalogue(setting("B", INT16, 5)),
            notes('[[rename]]\nold = "A"\nnew = "B"\nwhy = "it was misleading"\n'),
        )
        decision = only(pair.sheet(A=7))
        assert (decision.kind, decision.rule, written(decision)) == (DecisionKind.RENAME, "note.rename", {"B": "7"})
        assert decision.reason == "You had set 7 (default 5). Thornbill 6.0 calls it B: 7. It was misleading."

    def test_a_conversion_shows_both_units_and_applies_to_the_defaults_too(self) -> None:
        pair = Pair(
            catalogue(setting("A", FLOAT, 0.08)),
            catalogue(setting("A", INT16, 80, unit="1/1000")),
            notes('[[convert]]\nold = "A"\nnew = "A"\nlaw = { kind = "linear", factor = "1000" }\n'),
        )
        decision = only(pair.sheet(A=0.12))
        assert (decision.kind, written(decision)) == (DecisionKind.CONVERT, {"A": "120"})
        assert decision.reason.startswith("You had set 0.12 (default 0.08). Thornbill 6.0 counts it in 1/1000: 120.")

    def test_a_conversion_is_held_if_the_converted_old_default_is_not_the_new_one(self) -> None:
        pair = Pair(
            catalogue(setting("A", FLOAT, 0.08)),
            catalogue(setting("A", INT16, 90, unit="1/1000")),
            notes('[[convert]]\nold = "A"\nnew = "A"\nlaw = { kind = "linear", factor = "1000" }\n'),
        )
        decision = only(pair.sheet(A=0.12))
        assert decision.rule == "default-changed"
        assert ways(decision) == {"keep-mine": {"A": "120"}, "take-new-default": {}}
        assert decision.reason == (
            "You had set 0.12 (default 0.08). Thornbill 6.0 counts it in 1/1000: 120. "
            "But the default of Thornbill 6.0 is another one, 90 1/1000. Please decide."
        )

    def test_a_float_that_is_only_near_says_how_near(self) -> None:
        pair = Pair(
            catalogue(setting("A", UINT8, 0)),
            catalogue(setting("A", FLOAT, 0)),
            notes('[[convert]]\nold = "A"\nnew = "A"\nlaw = { kind = "linear", factor = "1/3" }\n'),
        )
        assert "The nearest 32-bit float is 0.33333334, 9.9e-09 away" in only(pair.sheet(A=1)).reason

    def test_a_default_that_the_law_cannot_carry_makes_it_held(self) -> None:
        pair = Pair(
            catalogue(setting("A", INT16, 0)),
            catalogue(setting("B", INT16, 0)),
            notes('[[convert]]\nold = "A"\nnew = "B"\nlaw = { kind = "reciprocal", numerator = "1000" }\n'),
        )
        assert only(pair.sheet(A=8)).rule == "default-changed"
        assert ways(only(pair.sheet(A=8)))["keep-mine"] == {"B": "125"}

    def test_relabelled_choices_get_their_new_numbers(self) -> None:
        pair = Pair(
            catalogue(setting("A", UINT8, 0, choices={0: "a", 1: "b", 2: "c"})),
            catalogue(setting("A", UINT8, 2, choices={0: "b", 2: "a", 3: "d"})),
            notes('[[relabel]]\nold = "A"\nnew = "A"\nmap = { "0" = 2, "1" = 0 }\n'),
        )
        assert written(only(pair.sheet(A=1))) == {"A": "0"}
        assert only(pair.sheet(A=1)).kind is DecisionKind.RELABEL
        held = only(pair.sheet(A=2))
        assert (held.rule, ways(held)) == (
            "no-label",
            {"choose-0": {"A": "0"}, "choose-3": {"A": "3"}, "take-new-default": {}},
        )

    def test_a_choice_that_became_one_with_the_default_is_still_yours(self) -> None:
        pair = Pair(
            catalogue(setting("A", UINT8, 0)),
            catalogue(setting("A", UINT8, 6)),
            notes('[[relabel]]\nold = "A"\nnew = "A"\nmap = { "0" = 5, "1" = 5 }\n'),
        )
        decision = only(pair.sheet(A=1))
        assert (decision.rule, ways(decision)) == ("default-changed", {"keep-mine": {"A": "5"}, "take-new-default": {}})

    def test_a_retired_setting_says_what_is_lost(self) -> None:
        pair = Pair(
            catalogue(setting("A", INT16, 5)),
            catalogue(),
            notes('[[retire]]\nold = "A"\nloses = "the old beeps."\n'),
        )
        for decision in (only(pair.sheet()), only(pair.sheet(A=7))):
            assert (decision.kind, decision.writes) == (DecisionKind.RETIRED, ())
            assert "What is lost: the old beeps." in decision.reason
        assert "You had set 7 (default 5)." in only(pair.sheet(A=7)).reason

    def test_a_retired_name_that_means_something_else_now_is_an_arrival(self) -> None:
        pair = Pair(
            catalogue(setting("A", INT16, 5)),
            catalogue(setting("A", INT16, 1)),
            notes('[[retire]]\nold = "A"\nloses = "x"\n'),
        )
        sheet = pair.sheet(A=7)
        assert only(sheet).kind is DecisionKind.RETIRED
        assert [each.name for each in sheet.arrivals] == ["A"]

    def test_a_successor_that_the_release_does_not_have_is_held(self) -> None:
        pair = Pair(catalogue(setting("A", INT16, 5)), catalogue(), notes('[[rename]]\nold = "A"\nnew = "B"\n'))
        decision = only(pair.sheet(A=7))
        assert (decision.rule, ways(decision)) == ("successor-missing", {"leave-out": {}})
        assert "becomes B, which Thornbill 6.0 does not have" in decision.reason
        assert only(pair.sheet()).rule == "gone-at-default"

    @pytest.mark.parametrize(
        "wrong",
        [
            ChangeNotes("Other", "5.2", "6.0"),
            ChangeNotes("Thornbill", "5.1", "6.0"),
            ChangeNotes("Thornbill", "5.2", "6.1"),
        ],
    )
    def test_notes_of_another_family_or_release_are_refused(self, wrong: ChangeNotes) -> None:
        one = catalogue(setting("A", INT16, 5))
        with pytest.raises(NotesOfOtherReleaseError) as caught:
            Pair(one, one, wrong).sheet()
        assert "Thornbill 5.2 to 6.0" in caught.value.what
        assert caught.value.todo


SPLIT = """
[[split]]
old = "A"
[[split.into]]
new = "LOW"
bits = [0, 1, 2]
[[split.into]]
new = "HIGH"
bits = [3, 4]
"""


class TestSplit:
    def pair(self, *, low: int = 1, high: int = 2, most: int = 7) -> Pair:
        return Pair(
            catalogue(setting("A", UINT8, 0b10_001)),
            catalogue(setting("LOW", UINT8, low, high=most), setting("HIGH", UINT8, high)),
            notes(SPLIT),
        )

    def test_each_part_gets_its_bits_and_an_untouched_part_its_new_default(self) -> None:
        decision = only(self.pair().sheet(A=0b10_101))
        assert (decision.kind, decision.new_names) == (DecisionKind.SPLIT, ("LOW", "HIGH"))
        assert written(decision) == {"LOW": "5"}
        assert "LOW 5, HIGH 2 (untouched: its default)" in decision.reason

    def test_a_new_default_of_an_untouched_part_stands(self) -> None:
        decision = only(self.pair(high=3).sheet(A=0b10_101))
        assert (decision.kind, written(decision)) == (DecisionKind.SPLIT, {"LOW": "5"})
        assert "HIGH 3" in decision.reason

    def test_one_part_in_doubt_holds_the_whole(self) -> None:
        decision = only(self.pair(low=0).sheet(A=0b01_101))
        assert (decision.kind, decision.rule, decision.writes) == (DecisionKind.HELD, "default-changed", ())
        assert ways(decision) == {"keep-mine": {"LOW": "5", "HIGH": "1"}, "take-new-default": {}}

    def test_one_part_out_of_range_offers_the_nearest_with_the_other_part_as_it_was(self) -> None:
        decision = only(self.pair(most=4).sheet(A=0b01_101))
        assert decision.rule == "not-allowed"
        assert ways(decision) == {"nearest-below": {"LOW": "4", "HIGH": "1"}, "take-new-default": {}}

    def test_ways_out_that_leave_another_part_without_a_value_are_not_offered(self) -> None:
        """HIGH would be 3, which its choices lack; LOW would be 5, beyond its range: no one way mends both."""
        new = catalogue(setting("LOW", UINT8, 1, high=4), setting("HIGH", UINT8, 2, choices={0: "a", 2: "b"}))
        decision = only(replace(self.pair(), new=new).sheet(A=0b11_101))
        assert ways(decision) == {"take-new-default": {}}

    def test_bits_that_go_nowhere_are_held_but_those_of_the_default_are_not(self) -> None:
        decision = only(self.pair().sheet(A=0b110_101))
        assert decision.rule == "bits-left-over"
        assert "Bit 5 of it went nowhere" in decision.reason
        assert ways(decision) == {"keep-mine": {"LOW": "5"}, "take-new-default": {}}
        quiet = replace(self.pair(), old=catalogue(setting("A", UINT8, 0b110_001)))
        assert only(quiet.sheet(A=0b110_101)).kind is DecisionKind.SPLIT

    def test_a_split_by_laws_scales_each_part(self) -> None:
        pair = Pair(
            catalogue(setting("A", UINT8, 2)),
            catalogue(setting("A", UINT8, 2), setting("B", INT16, 20)),
            notes(
                '[[split]]\nold = "A"\n[[split.into]]\nnew = "A"\n'
                '[[split.into]]\nnew = "B"\nlaw = { kind = "linear", factor = "10" }\n'
            ),
        )
        assert written(only(pair.sheet(A=3))) == {"A": "3", "B": "30"}


class TestJoin:
    def pair(self, how: str, *, old: tuple[int, int] = (1, 2), new: int = 0, most: int = 255) -> Pair:
        return Pair(
            catalogue(setting("A", UINT8, old[0]), setting("B", UINT8, old[1])),
            catalogue(setting("C", UINT8, new, high=most)),
            notes(f'[[join]]\nold = ["A", "B"]\nnew = "C"\nhow = {how}\n'),
        )

    def test_bits_are_put_together_and_a_default_one_goes_along(self) -> None:
        decision = only(self.pair('"bits"\nbits = [0, 3]', new=17).sheet(A=5))
        assert (decision.kind, decision.found, written(decision)) == (DecisionKind.JOIN, ("A", "B"), {"C": "21"})
        assert decision.reason.startswith("You had set A 5 (default 1) and B 2 (its default).")

    def test_the_found_names_are_sorted_whatever_the_order_in_the_note(self) -> None:
        pair = self.pair('"bits"\nbits = [0, 3]', new=10)
        turned = replace(pair, notes=notes('join = [{ old = ["B", "A"], new = "C", how = "bits", bits = [0, 3] }]'))
        decision = only(turned.sheet(A=5))
        assert (decision.found, written(decision)) == (("A", "B"), {"C": "42"})

    def test_a_value_too_wide_for_its_bits_is_held(self) -> None:
        decision = only(self.pair('"bits"\nbits = [0, 3]', new=17).sheet(A=9))
        assert decision.rule == "not-exact"
        assert "A is 9, which has no place in 3 bits of C" in decision.reason

    def test_equal_values_become_one_and_different_ones_are_held_with_a_choice_per_value(self) -> None:
        pair = self.pair('"equal"', old=(1, 1), new=1)
        assert written(only(pair.sheet(A=4, B=4))) == {"C": "4"}
        decision = only(pair.sheet(A=4))
        assert decision.rule == "join-differs"
        assert ways(decision) == {"value-of-A": {"C": "4"}, "take-new-default": {}}
        both = only(pair.sheet(A=4, B=5))
        assert ways(both) == {"value-of-A": {"C": "4"}, "value-of-B": {"C": "5"}, "take-new-default": {}}

    def test_a_value_that_is_not_allowed_is_not_among_the_choices(self) -> None:
        pair = self.pair('"equal"', old=(1, 1), new=1, most=4)
        assert ways(only(pair.sheet(A=4, B=5))) == {"value-of-A": {"C": "4"}, "take-new-default": {}}

    def test_a_sum_is_exact_or_held(self) -> None:
        pair = self.pair('"sum"', new=3)
        assert written(only(pair.sheet(A=4))) == {"C": "6"}
        assert only(pair.sheet(A=250, B=250)).rule == "not-exact"

    def test_joined_settings_that_nobody_touched_are_adopted_as_one(self) -> None:
        decision = only(self.pair('"sum"', new=9).sheet())
        assert (decision.kind, decision.found, decision.writes) == (DecisionKind.ADOPT, ("A", "B"), ())
        assert "C 9" in decision.reason

    def test_a_part_that_was_not_found_counts_with_its_default_and_is_held_without_one(self) -> None:
        pair = self.pair('"sum"', new=3)
        inputs = pair.inputs(A=4)
        alone = replace(inputs, ours=snapshot({"A": Value.of(UINT8, 4)}))
        assert written(only(carry_over(alone))) == {"C": "6"}
        unknown = replace(alone, old_defaults={"A": Value.of(UINT8, 1)})
        assert only(carry_over(unknown)).rule == "join-differs"
        assert "B was not found on the aircraft" in only(carry_over(unknown)).reason


class TestClasses:
    CLASSES = SettingClasses(board=("PIN_*",), calibration=("*_CAL",))

    def test_the_defaults_of_the_board_stand_and_a_customised_one_is_mentioned(self) -> None:
        pair = Pair(catalogue(setting("PIN_A", UINT8, 3)), catalogue(setting("PIN_A", UINT8, 4)), None, self.CLASSES)
        for decision in (only(pair.sheet()), only(pair.sheet(PIN_A=9))):
            assert (decision.kind, decision.rule, decision.writes) == (DecisionKind.BOARD, "class.board", ())
        assert "You had set 9 (default 3)." in only(pair.sheet(PIN_A=9)).reason
        assert "stands: 4" in only(pair.sheet(PIN_A=9)).reason
        assert "You had not changed it" in only(pair.sheet()).reason

    def test_in_the_same_release_a_board_setting_is_like_any_other(self) -> None:
        one = catalogue(setting("PIN_A", UINT8, 3))
        inputs = replace(Pair(one, one, None, self.CLASSES).inputs(PIN_A=9), to_release="5.2.0")
        assert written(only(carry_over(inputs))) == {"PIN_A": "9"}

    def test_an_unnamed_release_with_other_defaults_is_another_release(self) -> None:
        pair = Pair(catalogue(setting("PIN_A", UINT8, 3)), catalogue(setting("PIN_A", UINT8, 4)), None, self.CLASSES)
        decision = only(carry_over(replace(pair.inputs(PIN_A=9), to_release="")))
        assert decision.kind is DecisionKind.BOARD

    def test_a_calibration_goes_back_to_the_same_aircraft_even_if_its_default_changed(self) -> None:
        pair = Pair(catalogue(setting("X_CAL", FLOAT, 0)), catalogue(setting("X_CAL", FLOAT, 1)), None, self.CLASSES)
        decision = only(pair.sheet(X_CAL=0.5))
        assert (decision.kind, written(decision)) == (DecisionKind.CALIBRATION, {"X_CAL": "0.5"})
        assert "Calibrated on this very aircraft" in decision.reason

    def test_a_renamed_calibration_is_carried_to_its_new_name(self) -> None:
        pair = Pair(
            catalogue(setting("X_CAL", FLOAT, 0)),
            catalogue(setting("X_OFFSET", FLOAT, 0)),
            notes('[[rename]]\nold = "X_CAL"\nnew = "X_OFFSET"\n'),
            self.CLASSES,
        )
        assert written(only(pair.sheet(X_CAL=0.5))) == {"X_OFFSET": "0.5"}

    def test_a_calibration_out_of_the_new_range_is_held(self) -> None:
        pair = Pair(
            catalogue(setting("X_CAL", FLOAT, 0)),
            catalogue(setting("X_CAL", FLOAT, 0, low=-1, high=1)),
            None,
            self.CLASSES,
        )
        assert ways(only(pair.sheet(X_CAL=2)))["nearest-below"] == {"X_CAL": "1"}

    def test_a_calibration_that_was_never_done_has_nothing_to_carry(self) -> None:
        one = catalogue(setting("X_CAL", FLOAT, 0))
        decision = only(Pair(one, one, None, self.CLASSES).sheet())
        assert (decision.kind, decision.writes) == (DecisionKind.CALIBRATION, ())
        assert "Never calibrated" in decision.reason

    def test_a_calibration_never_goes_to_another_aircraft(self) -> None:
        one = catalogue(setting("X_CAL", FLOAT, 0))
        pair = Pair(one, one, None, self.CLASSES, same_aircraft=False)
        for decision in (only(pair.sheet(X_CAL=0.5)), only(pair.sheet())):
            assert (decision.kind, decision.rule, decision.writes) == (
                DecisionKind.CALIBRATION,
                "class.calibration.again",
                (),
            )
            assert "must be done again" in decision.reason


class TestUnknown:
    def test_a_name_that_nobody_knows_is_held_and_can_only_be_left_out(self) -> None:
        pair = Pair(catalogue(setting("A", INT16, 5)), catalogue())
        decision = only(pair.sheet(A=7))
        assert (decision.kind, decision.rule) == (DecisionKind.HELD, "unknown-name")
        assert ways(decision) == {"leave-out": {}}
        assert decision.new_names == ()

    def test_a_name_that_is_gone_but_stood_at_its_default_is_retired(self) -> None:
        decision = only(Pair(catalogue(setting("A", INT16, 5)), catalogue()).sheet())
        assert (decision.kind, decision.rule) == (DecisionKind.RETIRED, "gone-at-default")

    def test_without_catalogues_the_three_sides_are_merged_all_the_same(self) -> None:
        old = catalogue(setting("A", INT16, 5), setting("B", INT16, 5), setting("C", INT16, 5))
        new = catalogue(setting("A", INT16, 5), setting("B", INT16, 9), setting("D", INT16, 1))
        sheet = Pair(old, new).without_catalogues(A=7, B=7, C=7)
        assert [(each.found, each.kind, each.rule) for each in sheet.decisions] == [
            (("A",), DecisionKind.KEEP, "same-meaning"),
            (("B",), DecisionKind.HELD, "default-changed"),
            (("C",), DecisionKind.HELD, "unknown-name"),
        ]
        assert [each.name for each in sheet.arrivals] == ["D"]

    def test_an_old_default_that_is_not_known_holds_what_differs_from_the_new_one(self) -> None:
        one = catalogue(setting("A", INT16, 5))
        inputs = replace(Pair(one, one).inputs(A=7), old_defaults={})
        decision = only(carry_over(inputs))
        assert (decision.rule, ways(decision)) == (
            "old-default-unknown",
            {"keep-mine": {"A": "7"}, "take-new-default": {}},
        )
        assert only(carry_over(replace(inputs, new_defaults={"A": Value.of(INT16, 7)}))).kind is DecisionKind.ADOPT

    def test_a_new_default_that_is_not_known_holds_what_was_customised(self) -> None:
        one = catalogue(setting("A", INT16, 5))
        inputs = replace(Pair(one, one).inputs(A=7), new_defaults={})
        assert only(carry_over(inputs)).rule == "new-default-unknown"

    def test_old_defaults_of_another_type_are_compared_by_number(self) -> None:
        one = catalogue(setting("A", INT16, 5))
        inputs = replace(Pair(one, one).inputs(), old_defaults={"A": Value.of(INT8, 5)})
        assert only(carry_over(inputs)).rule == "never-customised"

    def test_settings_that_nothing_became_are_arrivals_with_their_default(self) -> None:
        pair = Pair(catalogue(), catalogue(setting("NEW_ONE", INT16, 5, unit="ms")))
        assert pair.sheet().arrivals == (
            Arrival(
                "NEW_ONE",
                Value.of(INT16, 5),
                "New in Thornbill 6.0: About NEW_ONE. Its default stands: 5 ms.",
            ),
        )


class TestContradictions:
    TWO_FOR_ONE = '[[rename]]\nold = "A"\nnew = "C"\n[[rename]]\nold = "B"\nnew = "C"\n'

    def test_two_notes_for_one_successor_are_one_held_decision(self) -> None:
        pair = Pair(
            catalogue(setting("A", UINT8, 1), setting("B", UINT8, 1)),
            catalogue(setting("C", UINT8, 1)),
            notes(self.TWO_FOR_ONE),
        )
        decision = only(pair.sheet(A=4, B=5))
        assert (decision.kind, decision.rule, decision.found) == (DecisionKind.HELD, "notes-contradict", ("A", "B"))
        assert ways(decision) == {"follow-1": {"C": "4"}, "follow-2": {"C": "5"}, "take-new-default": {}}
        assert only(pair.sheet()).kind is DecisionKind.ADOPT

    def test_a_contradicting_note_that_gives_nothing_of_yours_is_no_way_out(self) -> None:
        pair = Pair(
            catalogue(setting("A", UINT8, 1), setting("B", UINT8, 1)),
            catalogue(setting("C", UINT8, 1)),
            notes(self.TWO_FOR_ONE),
        )
        assert ways(only(pair.sheet(B=5))) == {"follow-2": {"C": "5"}, "take-new-default": {}}

    def test_two_notes_for_one_old_setting_are_one_held_decision(self) -> None:
        pair = Pair(
            catalogue(setting("A", UINT8, 1)),
            catalogue(setting("B", UINT8, 1), setting("C", UINT8, 1)),
            notes('[[rename]]\nold = "A"\nnew = "C"\n[[rename]]\nold = "A"\nnew = "B"\n'),
        )
        assert ways(only(pair.sheet(A=4))) == {
            "follow-1": {"B": "4"},
            "follow-2": {"C": "4"},
            "take-new-default": {},
        }

    def test_a_name_taken_over_by_a_rename_is_in_doubt_only_if_it_was_customised(self) -> None:
        pair = Pair(
            catalogue(setting("A", UINT8, 1), setting("B", UINT8, 1)),
            catalogue(setting("B", UINT8, 1)),
            notes('[[rename]]\nold = "A"\nnew = "B"\n'),
        )
        sheet = pair.sheet(A=4)
        assert written(about(sheet, "A")) == {"B": "4"}
        assert about(sheet, "B").rule == "gone-at-default"
        assert "another setting of this name" in about(sheet, "B").reason
        both = only(pair.sheet(A=4, B=5))
        assert ways(both) == {"follow-1": {"B": "4"}, "follow-2": {"B": "5"}, "take-new-default": {}}

    def test_names_that_change_places_are_no_contradiction(self) -> None:
        one = catalogue(setting("A", UINT8, 1), setting("B", UINT8, 1))
        pair = Pair(one, one, notes('[[rename]]\nold = "A"\nnew = "B"\n[[rename]]\nold = "B"\nnew = "A"\n'))
        sheet = pair.sheet(A=4, B=5)
        assert [(each.kind, written(each)) for each in sheet.decisions] == [
            (DecisionKind.RENAME, {"B": "4"}),
            (DecisionKind.RENAME, {"A": "5"}),
        ]


def test_the_sheet_says_what_it_was_made_from() -> None:
    pair = same()
    sheet = pair.sheet()
    assert (sheet.family, sheet.from_release, sheet.to_release) == ("Thornbill", "5.2.0", "6.0.0")
    assert sheet.as_found_sha256 == pair.inputs().ours.sha256
    assert sheet.policy == "careful"


def test_without_a_named_release_the_words_stay_readable() -> None:
    inputs = replace(same().inputs(A=7), to_release="")
    assert "The new release has the same default, so yours is kept" in only(carry_over(inputs)).reason


def test_the_release_is_taken_from_the_notes_where_nobody_named_it() -> None:
    pair = replace(same(), notes=notes(""))
    assert carry_over(replace(pair.inputs(), to_release="")).to_release == "6.0"


def test_every_kind_of_decision_of_the_plan_has_its_word() -> None:
    words = "adopt keep rename convert relabel split join refit pin board calibration retired held"
    assert [str(each) for each in DecisionKind] == words.split()
    assert IDENTITY.family == "Thornbill"


def test_nobody_says_that_a_default_is_the_same_where_the_new_one_is_not_known() -> None:
    """A whole number in a new unit whose default is not known: nothing compared with nothing is not equal."""
    pair = Pair(
        catalogue(setting("A", INT16, 5, unit="ms")),
        catalogue(replace(setting("A", INT16, 1, unit="s"), default=None)),
        notes=notes('[[convert]]\nold = "A"\nnew = "A"\nlaw = { kind = "linear", factor = "1/1000" }\nwhy = "x"\n'),
    )
    assert "the default is the same" not in only(pair.sheet(A=5)).reason
