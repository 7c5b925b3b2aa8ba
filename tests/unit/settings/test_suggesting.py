"""Suggestions on held lines whose name vanished, on small made-up releases."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.unit.settings.builders import FLOAT, UINT8, UINT16, Pair, about, catalogue, notes, only, setting, ways

from rotorwright.settings.carry_over import DecisionKind, Write, carry_over
from rotorwright.settings.catalogue import Catalogue, Setting
from rotorwright.settings.sheet import parse_sheet, print_sheet
from rotorwright.settings.values import SettingType, Value

DELAY = setting("SCREEN_FADE_DELAY", UINT16, 30, low=0, high=100, unit="ms")


def became(old: Setting, *new: Setting) -> Pair:
    return Pair(catalogue(old), catalogue(*new))


def held_on(pair: Pair, number: float = 40) -> tuple[list[str], dict[str, dict[str, str]], str]:
    """Return the keys in their order, what each writes, and the reason."""
    decision = only(pair.sheet(**{pair.old.names[0]: number}))
    assert (decision.kind, decision.rule) == (DecisionKind.HELD, "unknown-name")
    return [each.key for each in decision.options], ways(decision), decision.reason


def test_the_likeliest_successor_is_offered_first_with_how_sure_and_why() -> None:
    keys, writes, reason = held_on(became(DELAY, replace(DELAY, name="SCREEN_FADE_LAG"), setting("RADIO_PORT", UINT8)))
    assert keys == ["to-SCREEN_FADE_LAG", "leave-out"]
    assert writes == {"to-SCREEN_FADE_LAG": {"SCREEN_FADE_LAG": "40"}, "leave-out": {}}
    assert "Its likeliest successor is SCREEN_FADE_LAG (right " in reason
    assert "in 10 times): the names share “screen”, “fade”" in reason
    assert reason.endswith(" Please decide.")


def test_nothing_is_taken_by_itself() -> None:
    sheet = became(DELAY, replace(DELAY, name="SCREEN_FADE_LAG")).sheet(SCREEN_FADE_DELAY=40)
    assert only(sheet).writes == ()
    assert sheet.undecided == sheet.decisions


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("MOTOR_FADE_DELAY", "MOTOR_FADE_LAG"),
        ("ARMING_FADE_DELAY", "ARMING_FADE_LAG"),
        ("FAILSAFE_FADE_DELAY", "FAILSAFE_FADE_LAG"),
        ("SCREEN_FADE_DELAY", "MOTOR_SCREEN_FADE_DELAY"),
    ],
)
def test_what_touches_arming_motors_or_failsafe_has_leaving_out_first(old: str, new: str) -> None:
    keys, _, reason = held_on(became(replace(DELAY, name=old), replace(DELAY, name=new)))
    assert keys == ["leave-out", f"to-{new}"]
    assert "Arming, motors or failsafe may depend on it: look it up before you take any." in reason


def test_a_likely_successor_that_the_value_does_not_fit_is_named_but_not_offered() -> None:
    small = setting("SCREEN_FADE_LAG", UINT16, 30, low=0, high=39, unit="ms")
    keys, _, reason = held_on(became(DELAY, small))
    assert keys == ["leave-out"]
    assert "SCREEN_FADE_LAG is not offered: 40 ms is above the highest allowed, 39 ms." in reason


def test_a_fraction_is_not_offered_to_a_whole_number() -> None:
    old = setting("SCREEN_FADE_DELAY", FLOAT, 30)
    keys, writes, _ = held_on(became(old, setting("SCREEN_FADE_LAG", UINT16, 30)), 40.5)
    assert keys == ["leave-out"]
    keys, writes, _ = held_on(became(old, setting("SCREEN_FADE_LAG", UINT16, 30)), 40)
    assert writes["to-SCREEN_FADE_LAG"] == {"SCREEN_FADE_LAG": "40"}


def test_other_units_are_converted_where_that_is_exact_and_the_words_say_so() -> None:
    pair = became(DELAY, setting("SCREEN_FADE_TIME", UINT16, 30000, unit="us"))
    _, writes, _ = held_on(pair)
    assert writes["to-SCREEN_FADE_TIME"] == {"SCREEN_FADE_TIME": "40000"}
    option = next(each for each in only(pair.sheet(SCREEN_FADE_DELAY=40)).options if each.writes)
    assert option.words == "Take SCREEN_FADE_TIME for it: 40000 us (converted from 40 ms)"


@pytest.mark.parametrize(("unit", "new"), [("deg", "rad"), ("ms", "V")])
def test_units_without_an_exact_conversion_are_not_offered(unit: str, new: str) -> None:
    old = setting("SCREEN_FADE_DELAY", FLOAT, 30, unit=unit)
    keys, _, reason = held_on(became(old, setting("SCREEN_FADE_DELAYS", FLOAT, 0.5, unit=new)))
    assert keys == ["leave-out"]
    assert f"it counted in {unit} and now counts in {new}, and there is no exact conversion" in reason


def test_a_unit_that_only_one_side_tells_is_pointed_out() -> None:
    pair = became(replace(DELAY, unit=""), replace(DELAY, name="SCREEN_FADE_DELAYS"))
    assert "it counts in ms, yours had no unit" in only(pair.sheet(SCREEN_FADE_DELAY=40)).options[0].words


def test_a_choice_follows_its_label() -> None:
    old = setting("SCREEN_LOOK", UINT8, 0, choices={0: "plain", 1: "framed", 2: "bold"})
    new = setting("SCREEN_LOOKS", UINT8, 0, choices={0: "plain", 1: "bold", 2: "framed"})
    _, writes, _ = held_on(became(old, new), 2)
    assert writes["to-SCREEN_LOOKS"] == {"SCREEN_LOOKS": "1"}


def test_a_value_that_is_the_new_default_is_offered_and_needs_no_write() -> None:
    pair = became(DELAY, replace(DELAY, name="SCREEN_FADE_DELAYS", default=Value.of(UINT16, 40)))
    option = only(pair.sheet(SCREEN_FADE_DELAY=40)).options[0]
    assert (option.key, option.writes) == ("to-SCREEN_FADE_DELAYS", ())
    assert option.words == "Take SCREEN_FADE_DELAYS for it: 40 ms, its default"


def test_a_new_name_that_an_untouched_setting_became_is_not_thought_free() -> None:
    """Both vanished; the untouched one fits the new name letter by letter, so it is not the other one's."""
    untouched = replace(DELAY, name="SCREEN_FADE_LAGS")
    pair = Pair(catalogue(DELAY, untouched), catalogue(replace(DELAY, name="SCREEN_FADE_LAG")))
    reason = about(pair.sheet(SCREEN_FADE_DELAY=40), "SCREEN_FADE_DELAY").reason
    assert "likeliest successor" not in reason


def test_a_name_that_the_old_release_had_is_no_successor() -> None:
    pair = became(DELAY, replace(DELAY, name="SCREEN_FADE_LAG"))
    inputs = pair.inputs(SCREEN_FADE_DELAY=40)
    known = replace(inputs, old_defaults={**inputs.old_defaults, "SCREEN_FADE_LAG": Value.of(UINT16, 30)})
    assert ways(only(carry_over(known))) == {"leave-out": {}}


def test_a_setting_of_which_a_note_speaks_gets_no_suggestion() -> None:
    pair = Pair(
        catalogue(DELAY),
        catalogue(replace(DELAY, name="SCREEN_FADE_LAG")),
        notes('[[rename]]\nold = "SCREEN_FADE_DELAY"\nnew = "NOWHERE"\n'),
    )
    decision = only(pair.sheet(SCREEN_FADE_DELAY=40))
    assert (decision.rule, ways(decision)) == ("successor-missing", {"leave-out": {}})


@pytest.mark.parametrize("typed", [True, False], ids=["numbers", "texts"])
def test_without_catalogues_names_and_defaults_are_enough(typed: bool) -> None:
    def value(text: str) -> Value:
        return Value.parse(UINT16, text) if typed else Value.of_text(text)

    inputs = replace(
        became(DELAY, DELAY).inputs(),
        old_catalogue=None,
        new_catalogue=None,
        old_defaults={"screen_fade_delay": value("30"), "loud": value("1")},
        new_defaults={"screen_fade_delays": value("30"), "screen_edge": value("7")},
    )
    ours = replace(inputs.ours, settings={"screen_fade_delay": value("40"), "loud": value("1")})
    sheet = carry_over(replace(inputs, ours=ours))
    decision = about(sheet, "screen_fade_delay")
    assert decision.options[0].key == "to-screen_fade_delays"
    assert ways(decision)["to-screen_fade_delays"] == {"screen_fade_delays": "40"}
    assert "same default: 30" in decision.reason
    assert parse_sheet(print_sheet(sheet), source="x") == sheet


def test_a_text_goes_to_a_number_or_a_label_if_it_is_one_and_a_number_to_a_text() -> None:
    pair = became(DELAY, replace(DELAY, name="SCREEN_FADE_DELAYS"))
    texts = replace(pair.inputs(), old_catalogue=None, old_defaults={"SCREEN_FADE_DELAY": Value.of_text("30")})

    def offered(text: str, new: Catalogue) -> dict[str, dict[str, str]]:
        ours = replace(texts.ours, settings={"SCREEN_FADE_DELAY": Value.of_text(text)})
        return ways(only(carry_over(replace(texts, ours=ours, new_catalogue=new, new_defaults=new.defaults))))

    assert offered("40", pair.new)["to-SCREEN_FADE_DELAYS"] == {"SCREEN_FADE_DELAYS": "40"}
    assert offered("forty", pair.new) == {"leave-out": {}}
    labelled = catalogue(setting("SCREEN_FADE_DELAYS", UINT8, 0, choices={0: "short", 1: "Long"}))
    assert offered("LONG", labelled)["to-SCREEN_FADE_DELAYS"] == {"SCREEN_FADE_DELAYS": "1"}
    back = replace(
        pair.inputs(SCREEN_FADE_DELAY=40), new_catalogue=None, new_defaults={"SCREEN_FADE_DELAYS": Value.of_text("30")}
    )
    assert ways(only(carry_over(back)))["to-SCREEN_FADE_DELAYS"] == {"SCREEN_FADE_DELAYS": "40"}
    assert only(carry_over(back)).options[0].writes[0].value.type is SettingType.TEXT


def test_thirty_held_lines_among_twelve_hundred_settings_each_find_their_own_successor() -> None:
    kept = [setting(f"KEPT_{number}", UINT16, number) for number in range(1170)]
    old = [replace(DELAY, name=f"SCREEN_{number}_FADE_DELAY") for number in range(30)]
    new = [replace(DELAY, name=f"SCREEN_{number}_FADE_LAG") for number in range(30)]
    pair = Pair(catalogue(*kept, *old), catalogue(*kept, *new))
    sheet = pair.sheet(**{each.name: 40 for each in old})
    assert [each.options[0].key for each in sheet.held] == [f"to-{name}" for name in sorted(each.name for each in new)]


def test_a_period_that_became_a_frequency_is_converted_by_its_reciprocal() -> None:
    pair = became(setting("LOOP_TIME", UINT16, 250, unit="us"), setting("LOOP_TIMES", UINT16, 4000, unit="Hz"))
    offered = {option.key: option.writes for option in only(pair.sheet(LOOP_TIME=500)).options}
    assert offered["to-LOOP_TIMES"] == (Write("LOOP_TIMES", Value.of(UINT16, 2000)),)


def test_where_no_name_is_likely_the_least_unlike_ones_are_offered_last_and_said_to_be_weak() -> None:
    """Whoever knows the firmware can still take one of them at once."""
    new = [setting(name, UINT16, default) for name, default in (("GLOW_HUE", 3), ("MAST_REEF", 9))]
    pair = Pair(catalogue(setting("SCREEN_FADE_DELAY", UINT16, 30)), catalogue(*new))
    options = only(pair.sheet(SCREEN_FADE_DELAY=40)).options
    assert options[0].key == "leave-out"
    assert len(options) > 1
    assert all(option.words.endswith("(little speaks for it)") for option in options[1:])
