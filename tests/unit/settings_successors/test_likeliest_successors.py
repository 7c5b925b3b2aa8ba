"""Suggestions for vanished settings, on small made-up releases."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rotorwright.settings.catalogue import Choice, Setting
from rotorwright.settings.successors import Kind, SettingDescription, Suggestion, describe, likeliest_successors
from rotorwright.settings.successors.traits import TRAIT_NAMES, allowed, default_agrees
from rotorwright.settings.successors.weighing import Standing, parse_weights, shipped_weights
from rotorwright.settings.values import SettingType, Value

CUTOFF = SettingDescription("gyro_lowpass_cutoff", Kind.REAL, unit="Hz", default="90", minimum=0.0, maximum=500.0)


def search(old: SettingDescription, *news: SettingDescription) -> Suggestion:
    (found,) = likeliest_successors([old], news, at_least=0.0)
    return found


def words(old: SettingDescription, new: SettingDescription) -> str:
    return "; ".join(search(old, new).evidence)


def test_a_renamed_setting_is_found_among_others() -> None:
    news = [replace(CUTOFF, name="gyro_lowpass_cutoff_hz"), replace(CUTOFF, name="accel_notch_width"), CAMERA]
    (found,) = likeliest_successors([CUTOFF], news)
    assert found.new == "gyro_lowpass_cutoff_hz"
    assert found.probability > 0.9


def test_nothing_alike_means_no_successor_and_says_so() -> None:
    (found,) = likeliest_successors([CUTOFF], [CAMERA])
    assert found.new is None
    assert found.probability > 0.9
    assert not found.may_be_offered_first
    assert "too little speaks for it" in found.evidence[0]


def test_without_any_arrived_setting_there_is_no_successor() -> None:
    (found,) = likeliest_successors([CUTOFF], [])
    assert (found.new, found.runners_up) == (None, ())
    assert found.probability > 0.9


def test_without_a_vanished_setting_there_is_no_suggestion() -> None:
    assert likeliest_successors([], [CUTOFF]) == ()


def test_two_vanished_settings_never_get_the_same_new_one() -> None:
    olds = [SettingDescription("gyro_filter_rate"), SettingDescription("gyro_filters_rate")]
    found = likeliest_successors(olds, [SettingDescription("gyro_filter_rates")], at_least=0.0)
    assert sorted(str(each.new) for each in found) == ["None", "gyro_filter_rates"]
    loser = next(each for each in found if each.new is None)
    assert loser.runners_up == ("gyro_filter_rates",)


def test_siblings_go_to_their_own_successors() -> None:
    olds = [SettingDescription(f"gain_{axis}") for axis in ("roll", "pitch", "yaw")]
    news = [SettingDescription(f"rate_gain_{axis}") for axis in ("yaw", "roll", "pitch")]
    found = likeliest_successors(olds, news)
    assert [(each.old, each.new) for each in found] == [
        (f"gain_{a}", f"rate_gain_{a}") for a in ("roll", "pitch", "yaw")
    ]


def test_a_change_of_words_seen_in_other_names_makes_a_pair_surer() -> None:
    alone = search(SettingDescription("beacon_delay"), SettingDescription("lamp_delay"))
    olds = [SettingDescription(f"beacon_{word}") for word in ("delay", "colour", "level", "mode")]
    news = [SettingDescription(f"lamp_{word}") for word in ("delay", "colour", "level", "mode")]
    together = likeliest_successors(olds, news, at_least=0.0)[0]
    assert together.new == "lamp_delay"
    assert together.probability > alone.probability
    assert "fits 3 other names" in " ".join(together.evidence)


def test_an_unsure_pair_is_a_runner_up() -> None:
    found = likeliest_successors([CUTOFF], [replace(CUTOFF, name="gyro_lowpass_cutoff_hz")], at_least=1.0)
    assert found[0].new is None
    assert found[0].runners_up == ("gyro_lowpass_cutoff_hz",)


def test_suggestions_come_in_the_order_asked_for() -> None:
    olds = [SettingDescription(name) for name in ("zulu", "alpha", "mike")]
    assert [each.old for each in likeliest_successors(olds, [CUTOFF])] == ["zulu", "alpha", "mike"]


def test_the_place_in_the_listing_is_looked_at() -> None:
    (found,) = likeliest_successors(
        [SettingDescription("vent_gap")],
        [SettingDescription("vent_gap_mm")],
        old_listing=["fan", "vent_gap", "lid"],
        new_listing=["fan", "vent_gap_mm", "lid"],
        at_least=0.0,
    )
    assert "stands between the same neighbours in both listings" in found.evidence


def test_evidence_names_what_speaks_for_a_pair() -> None:
    found = words(CUTOFF, replace(CUTOFF, name="gyro_lp_cutoff"))
    for reason in ("share “gyro”, “cutoff”", "same kind", "same unit: Hz", "same range", "same default: 90"):
        assert reason in found


def test_evidence_names_what_speaks_against_a_pair() -> None:
    other = SettingDescription("gyro_lowpass_cutoffs", Kind.FLAG, unit="ms", default="on")
    found = words(CUTOFF, other)
    for reason in ("the kind of value changed", "the unit changed from Hz to ms", "the default changed from 90 to on"):
        assert f"against it: {reason}" in found


def test_a_unit_of_the_same_kind_asks_for_a_conversion() -> None:
    old = SettingDescription("beacon_delay", unit="s", default="2")
    found = words(old, SettingDescription("beacon_delays", unit="ms", default="2000"))
    assert "the value must be converted" in found
    assert "same default: 2000" in found


def test_a_customised_value_outside_the_new_range_speaks_against_the_pair() -> None:
    old = replace(CUTOFF, value="450")
    narrow = SettingDescription("gyro_cutoff_rate", Kind.WHOLE, unit="Hz", minimum=0.0, maximum=400.0)
    assert search(CUTOFF, narrow).new == "gyro_cutoff_rate"
    assert search(old, narrow).new is None
    nearer = replace(narrow, name="gyro_lowpass_cutoffs")
    assert "against it: the value 450 is outside the new range" in words(old, nearer)


def test_whole_numbers_and_numbers_with_decimals_are_near_each_other() -> None:
    found = words(CUTOFF, replace(CUTOFF, name="gyro_lowpass_cutoffs", kind=Kind.WHOLE))
    assert "; the kind of value changed from number with decimals to whole number, which is near it" in found


def test_names_that_differ_in_capitals_only_say_so() -> None:
    assert "capitals and separators only" in words(
        SettingDescription("BEACON_DELAY"), SettingDescription("beaconDelay")
    )


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        (SettingDescription("a", minimum=0, maximum=10), SettingDescription("b", minimum=0, maximum=10), 1.0),
        (SettingDescription("a", minimum=0, maximum=10), SettingDescription("b", minimum=0, maximum=5), 0.0),
        (SettingDescription("a", minimum=0, maximum=1), SettingDescription("b", minimum=5, maximum=6), -1.0),
        (SettingDescription("a", minimum=3, maximum=3), SettingDescription("b", minimum=3, maximum=3), 1.0),
        (SettingDescription("a"), SettingDescription("b", minimum=5, maximum=6), 0.0),
        (SettingDescription("a", choices=("low", "High")), SettingDescription("b", choices=("LOW", "high")), 1.0),
        (SettingDescription("a", choices=("low",)), SettingDescription("b", choices=("wide",)), -1.0),
    ],
)
def test_allowed_values_are_compared(old: SettingDescription, new: SettingDescription, expected: float) -> None:
    assert allowed(old, new) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("1", "1.0", True),
        ("True", "on", True),
        ("'x'", "x", True),
        ("1", "2", False),
        ("", "1", None),
        ("nan", "1", False),
    ],
)
def test_defaults_are_compared_whatever_their_spelling(old: str, new: str, *, expected: bool | None) -> None:
    assert default_agrees(SettingDescription("a", default=old), SettingDescription("b", default=new)) is expected


def test_a_catalogue_entry_is_described_by_labels_and_use() -> None:
    setting = Setting(
        "lamp_mode",
        SettingType.UINT8,
        short="What the lamp does",
        default=Value.of(SettingType.UINT8, 1),
        group="Lamp",
        choices=(Choice(0, "steady"), Choice(1, "flashing")),
    )
    found = describe(setting, value=Value.of(SettingType.UINT8, 0), role="lamp.mode")
    assert (found.kind, found.default, found.value) == (Kind.CHOICE, "flashing", "steady")
    assert (found.choices, found.group, found.role) == (("steady", "flashing"), "Lamp", "lamp.mode")


def test_a_choice_of_on_and_off_is_a_flag_and_a_float_a_number_with_decimals() -> None:
    flag = Setting("lamp", SettingType.UINT8, choices=(Choice(0, "Off"), Choice(1, "On")))
    assert describe(flag).kind is Kind.FLAG
    assert describe(Setting("lamp_level", SettingType.FLOAT)).kind is Kind.REAL
    assert describe(Setting("lamp_count", SettingType.INT16)).kind is Kind.WHOLE


def test_shipped_weights_hold_every_trait_and_none_counts_the_wrong_way() -> None:
    weights = shipped_weights()
    against = {"told_apart", "kind_clash", "unit_clash", "default_clash"}
    assert set(weights.traits) == set(TRAIT_NAMES)
    assert all(weight <= 0 if name in against else weight >= 0 for name, weight in weights.traits.items())


def test_a_stronger_pair_or_a_larger_lead_is_never_less_likely() -> None:
    weights = shipped_weights()
    plain = weights.chance(Standing(1.0, 1.0, 1.0))
    assert weights.chance(Standing(2.0, 1.0, 1.0)) >= plain
    assert weights.chance(Standing(1.0, 2.0, 1.0)) > plain
    assert weights.chance(Standing(1.0, 1.0, 2.0)) >= plain


def test_weights_without_a_trait_are_refused() -> None:
    with pytest.raises(KeyError):
        parse_weights("[pair]\nbias = 0\n[probability]\nbias = 0\n")


CAMERA = SettingDescription("camera_tilt_button", Kind.CHOICE, choices=("none", "left"))
