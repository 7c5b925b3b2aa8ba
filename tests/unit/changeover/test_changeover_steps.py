"""The journal fold and the choice of the next step: pure, so every rule is walked here without an aircraft."""

from __future__ import annotations

from itertools import pairwise

import pytest

from rotorwright.changeover import engine, state, steps
from rotorwright.changeover.events import WORDS, EventKind
from rotorwright.changeover.gates import TEXTS, Gate
from rotorwright.changeover.proving.checks import BENCH_CHECKS
from rotorwright.changeover.proving.measures import MEASURES
from rotorwright.changeover.state import ChangeoverState, fold
from rotorwright.changeover.steps import BACK, FORWARD, FORWARD_LEARNING, Step, next_step, standing
from rotorwright.hangar.journal import Event, JsonValue, next_event

UID = "3a0027001351383438343933"
KEPT: dict[str, JsonValue] = {"name": "x.json", "sha256": "0" * 64, "bytes": 3}
IDENTITY: dict[str, JsonValue] = {
    "unique_id": UID,
    "family": "Thornbill",
    "release": "5.2.0",
    "board": "Corvane One",
    "build": "",
}
BENCH_PROVED: list[tuple[EventKind, dict[str, JsonValue]]] = [
    (EventKind.CHECK_PROVED, {"check": check, "evidence": ""}) for check in BENCH_CHECKS
]
HISTORY: list[tuple[EventKind, dict[str, JsonValue]]] = [
    (
        EventKind.STARTED,
        {"port": "p", "book": KEPT, "image": KEPT, "airframe": "", "checks": ["attitude", *BENCH_CHECKS]},
    ),
    (EventKind.AIRCRAFT_RECEIVED, IDENTITY),
    (EventKind.SNAPSHOT_SAVED, {"file": KEPT, "settings": 425, "catalogue": KEPT, "display": KEPT}),
    (EventKind.GATE_PASSED, {"gate": "snapshot-on-disk", "evidence": "", "by": "measured"}),
    (
        EventKind.IMAGE_CHOSEN,
        {
            "release": "6.0.0",
            "board": "Corvane C405",
            "microcontroller": "STM32F405xG",
            "image_sha256": "0" * 64,
            "bytes": 1000,
            "sectors": [0, 1],
        },
    ),
    (EventKind.SHEET_MADE, {"file": KEPT, "undecided": 1, "held": 1}),
    (EventKind.HELD_DECIDED, {"file": KEPT, "undecided": 0, "names": ["A"]}),
    (EventKind.PLAN_ACCEPTED, {"by": "someone"}),
    (EventKind.BOOTLOADER_WANTED, {"by": "software"}),
    (EventKind.BOOTLOADER_ANSWERED, {"chip_id": "0x413"}),
    (EventKind.OLD_IMAGE_SAVED, {"file": KEPT}),
    (EventKind.ERASE_ALLOWED, {"sector": 1}),
    (EventKind.ERASE_ALLOWED, {"sector": 0}),
    (EventKind.IMAGE_VERIFIED, {"bytes": 1000, "sectors_written": 2}),
    (EventKind.APPLICATION_WANTED, {}),
    (EventKind.APPLICATION_ANSWERED, IDENTITY | {"release": "6.0.0"}),
    (EventKind.DEFAULTS_WANTED, {}),
    (EventKind.DEFAULTS_READ, {"file": KEPT, "catalogue": KEPT}),
    (EventKind.DISPLAY_WANTED, {}),
    (EventKind.DISPLAY_VERIFIED, {"changed": 60}),
    (EventKind.SETTINGS_WANTED, {}),
    (EventKind.SETTINGS_VERIFIED, {"file": KEPT, "written": 60, "verified": 460}),
    (EventKind.CHECK_PROVED, {"check": "release", "evidence": ""}),
    (EventKind.CHECK_PROVED, {"check": "settings", "evidence": ""}),
    (EventKind.CHECK_PROVED, {"check": "display", "evidence": ""}),
    (EventKind.CHECK_PROVED, {"check": "attitude", "evidence": ""}),
    *BENCH_PROVED,
    (EventKind.SIGNED, {"by": "someone"}),
]


def _events(history: list[tuple[EventKind, dict[str, JsonValue]]]) -> list[Event]:
    events: list[Event] = []
    for kind, facts in history:
        events.append(next_event(events[-1] if events else None, kind, facts, "2026-01-01T00:00:00Z"))
    return events


def _state(count: int) -> ChangeoverState:
    return fold(_events(HISTORY[:count]))


def _next(count: int) -> Step | None:
    rule = next_step(_state(count))
    return rule.step if rule else None


def test_every_kind_of_event_has_a_rule_and_words() -> None:
    assert set(state._ON) == set(EventKind)
    assert set(WORDS) == set(EventKind)


def test_every_gate_says_what_it_asks_for_and_which_danger_it_stands_before() -> None:
    assert set(TEXTS) == set(Gate)
    assert all(text.asks and text.danger for text in TEXTS.values())


def test_every_step_is_in_the_job_exactly_once_and_can_be_performed() -> None:
    for way in (FORWARD, FORWARD_LEARNING):
        listed = [rule.step for rule in (*way, *BACK)]
        assert len(set(listed)) == len(listed)
    assert {rule.step for rule in (*FORWARD, *FORWARD_LEARNING, *BACK)} == set(Step)
    assert set(engine.PERFORM) == set(Step)


def test_both_orders_of_the_job_save_first_and_erase_only_after_a_word_of_a_person() -> None:
    for way, word in ((FORWARD, Step.ACCEPT), (FORWARD_LEARNING, Step.ACCEPT_WRITE)):
        order = [rule.step for rule in way]
        assert order.index(Step.SAVE) < order.index(word) < order.index(Step.SAVE_OLD_IMAGE)
        assert order.index(Step.SAVE_OLD_IMAGE) < order.index(Step.WRITE_IMAGE)
        assert order.index(Step.ACCEPT) < order.index(Step.WRITE_SETTINGS)
    assert FORWARD_LEARNING.index(_rule(Step.SAVE)) < FORWARD_LEARNING.index(_rule(Step.LEARN_OLD_DEFAULTS))


def test_every_bench_check_has_its_measurement_in_the_same_order() -> None:
    assert tuple(MEASURES) == BENCH_CHECKS


def _rule(step: Step) -> steps.StepRule:
    return next(rule for rule in FORWARD_LEARNING if rule.step is step)


def test_a_clean_history_walks_the_steps_in_order_and_ends() -> None:
    order = [rule.step for rule in FORWARD]
    walked = [_next(count) for count in range(1, len(HISTORY) + 1)]
    assert walked[-1] is None
    ranks = [order.index(step) for step in walked if step is not None]
    assert all(after >= before for before, after in pairwise(ranks))
    assert set(walked) - {None} == set(order)


def test_nothing_is_erased_before_the_plan_is_accepted_and_the_old_image_is_kept() -> None:
    for count in range(1, len(HISTORY) + 1):
        current = _state(count)
        if _next(count) is Step.WRITE_IMAGE:
            assert current.is_accepted
            assert current.as_found is not None
            assert current.old_image is not None


def test_a_new_sheet_after_the_write_asks_for_consent_again_before_going_on() -> None:
    again: list[tuple[EventKind, dict[str, JsonValue]]] = [
        *HISTORY[:18],
        (EventKind.SHEET_MADE, {"file": KEPT, "undecided": 0, "held": 0}),
    ]
    rule = next_step(fold(_events(again)))
    assert rule is not None
    assert rule.step is Step.ACCEPT


def test_an_unknown_event_of_a_later_version_changes_nothing() -> None:
    events = _events(HISTORY[:5])
    unknown = next_event(events[-1], "weather-noted", {"wind": 3}, "2026-01-01T00:00:00Z")
    assert fold([*events, unknown]) == fold(events)


@pytest.mark.parametrize("count", range(12, 26))
def test_roll_back_is_possible_from_any_event_after_the_first_erase(count: int) -> None:
    back: list[tuple[EventKind, dict[str, JsonValue]]] = [
        *HISTORY[:count],
        (EventKind.ROLL_BACK_WANTED, {"by": "someone", "because": ""}),
    ]
    kinds: list[tuple[EventKind, dict[str, JsonValue]]] = [
        (EventKind.OLD_IMAGE_VERIFIED, {}),
        (EventKind.OLD_APPLICATION_ANSWERED, IDENTITY),
        (EventKind.OLD_SETTINGS_VERIFIED, {"file": KEPT, "verified": 425}),
        (EventKind.OLD_DISPLAY_VERIFIED, {}),
        (EventKind.ROLLED_BACK, {}),
    ]
    for expected, event in zip([rule.step for rule in BACK], kinds, strict=True):
        rule = next_step(fold(_events(back)))
        assert rule is not None
        assert rule.step is expected
        back.append(event)
    assert next_step(fold(_events(back))) is None


def test_the_standing_always_says_where_the_settings_are_once_they_are_saved() -> None:
    for count in range(3, len(HISTORY) + 1):
        assert "x.json" in standing(_state(count), changeover_id="c0001")
    assert "Nothing was changed" in standing(_state(11), changeover_id="c0001")
    assert "begun and not finished" in standing(_state(12), changeover_id="c0001")
    assert "do not fly" in standing(_state(16), changeover_id="c0001")


def test_an_interruption_is_remembered_with_its_step() -> None:
    events = _events(
        [*HISTORY[:12], (EventKind.INTERRUPTED, {"step": "write-image", "error": "link.silent", "what": "silence"})]
    )
    assert fold(events).interruptions[0].step == "write-image"
    assert steps.next_step(fold(events)) == next_step(_state(12))
