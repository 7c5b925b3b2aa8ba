"""The carry-over against settings histories of public projects that changed their settings over the years.

Sources, as gathered in tests/outside/data/:
  pg_settings_history.csv         PostgreSQL 10 to 18, read from nine running servers: name, type, unit, range, default.
  setting_renames_postgresql.csv  what changed between them, from the same servers and the release notes.
Single pairs that are typed in here name their source beside them. Settings that hold texts have no place in a flight
controller and are left out.
"""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from rotorwright.settings.carry_over import CarryOverInputs, Decision, DecisionKind, carry_over
from rotorwright.settings.catalogue import Catalogue, Choice, Setting
from rotorwright.settings.identity import Identity
from rotorwright.settings.notes import ChangeNotes, parse_notes
from rotorwright.settings.snapshot import Snapshot
from rotorwright.settings.values import FLOAT32_MAX, SettingType, Value

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from rotorwright.settings.sheet import CarryOverSheet

DATA = Path(__file__).parent / "data"
MAJORS = range(10, 19)
PAIRS = [(old, old + 1) for old in MAJORS if old + 1 in MAJORS]

HISTORY = list(csv.DictReader((DATA / "pg_settings_history.csv").read_text(encoding="utf-8").splitlines()))
CHANGES = list(csv.DictReader((DATA / "setting_renames_postgresql.csv").read_text(encoding="utf-8").splitlines()))

TYPES = {
    "integer": SettingType.INT32,
    "real": SettingType.FLOAT,
    "bool": SettingType.UINT8,
    "enum": SettingType.UINT8,
}


def rows_of(major: int) -> dict[str, dict[str, str]]:
    """Return the rows of one release that have a place in a catalogue, by name."""
    return {
        row["name"]: row
        for row in HISTORY
        if int(row["first_major"]) <= major <= int(row["last_major"]) and row["type"] in TYPES
    }


def labels_of(row: dict[str, str]) -> list[str]:
    return ["off", "on"] if row["type"] == "bool" else row["enum"].split("|")


def numbers_by_label() -> dict[str, dict[str, int]]:
    """Return a number for each label of each choice, the same in all releases."""
    found: dict[str, dict[str, int]] = {}
    for row in HISTORY:
        if row["type"] in {"bool", "enum"}:
            numbers = found.setdefault(row["name"], {})
            for label in labels_of(row):
                numbers.setdefault(label, len(numbers))
    return found


NUMBERS = numbers_by_label()


def value_of(row: dict[str, str], text: str) -> Value:
    type_ = TYPES[row["type"]]
    return Value.of(type_, NUMBERS[row["name"]][text]) if row["type"] in {"bool", "enum"} else Value.parse(type_, text)


def limit_of(row: dict[str, str], key: str) -> Value | None:
    if not row[key] or abs(float(row[key])) > FLOAT32_MAX:
        return None
    return value_of(row, row[key])


def setting_of(row: dict[str, str]) -> Setting:
    labelled = row["type"] in {"bool", "enum"}
    choices = [Choice(NUMBERS[row["name"]][label], label) for label in labels_of(row)] if labelled else []
    return Setting(
        row["name"],
        TYPES[row["type"]],
        unit=row["unit"],
        default=value_of(row, row["default"]),
        minimum=None if labelled else limit_of(row, "min"),
        maximum=None if labelled else limit_of(row, "max"),
        choices=tuple(sorted(choices, key=lambda each: each.number)),
    )


def catalogue_of(major: int) -> Catalogue:
    return Catalogue({name: setting_of(row) for name, row in rows_of(major).items()})


def identity_of(release: str) -> Identity:
    return Identity("0" * 24, "database", release, "server", "")


NOTE_TEXT = {
    (
        10,
        11,
    ): 'convert = [{ old = "wal_segment_size", new = "wal_segment_size", law = { kind = "linear", factor = "8192" } }]',
    (
        12,
        13,
    ): 'convert = [{ old = "wal_keep_segments", new = "wal_keep_size", law = { kind = "linear", factor = "16" } }]',
    (15, 16): 'rename = [{ old = "force_parallel_mode", new = "debug_parallel_query" }]',
}


def notes_of(pair: tuple[int, int], text: str | None = None) -> ChangeNotes:
    head = 'format = "rotorwright-change-notes"\nversion = 1\nfamily = "database"\n'
    ends = f'from = "{pair[0]}.0"\nto = "{pair[1]}.0"\n'
    return parse_notes(head + ends + (NOTE_TEXT.get(pair, "") if text is None else text), source="notes.toml")


def sheet_for(pair: tuple[int, int], mine: Mapping[str, Value]) -> CarryOverSheet:
    old, new = catalogue_of(pair[0]), catalogue_of(pair[1])
    return carry_over(
        CarryOverInputs(
            ours=Snapshot(identity_of(f"{pair[0]}.0"), {**old.defaults, **mine}, "2026-05-01T12:00:00Z"),
            old_defaults=old.defaults,
            new_defaults=new.defaults,
            old_catalogue=old,
            new_catalogue=new,
            notes=notes_of(pair),
            to_release=f"{pair[1]}.0",
        )
    )


def on_one(
    pair: tuple[int, int], name: str, text: str, *, type_text: str | None = None
) -> tuple[Decision, CarryOverSheet]:
    row = rows_of(pair[0])[name]
    sheet = sheet_for(pair, {name: value_of(row, text)})
    (decision,) = (each for each in sheet.decisions if name in each.found)
    assert type_text is None or row["type"] == type_text
    return decision, sheet


def written(decision: Decision) -> dict[str, str]:
    return {each.name: each.value.text for each in decision.writes}


def ways(decision: Decision) -> dict[str, dict[str, str]]:
    return {each.key: {write.name: write.value.text for write in each.writes} for each in decision.options}


@pytest.mark.parametrize("pair", PAIRS, ids=str)
def test_a_server_that_nobody_customised_takes_all_new_defaults(pair: tuple[int, int]) -> None:
    sheet = sheet_for(pair, {})
    assert set(sheet.counts) <= {DecisionKind.ADOPT, DecisionKind.RETIRED}
    assert sheet.expected_settings(catalogue_of(pair[1]).defaults) == catalogue_of(pair[1]).defaults


def another_value(old: Setting, taken: Iterable[Value | None]) -> Value | None:
    """Return a value that is allowed in the old release and is none of `taken`, if there is one."""
    assert old.default is not None
    numbers = [each.number for each in old.choices]
    if not numbers:
        numbers = [int(old.default.number) + step for step in (1, 2, 3, -1, -2, -3)]
        numbers += [
            int(each.number) for each in (old.minimum, old.maximum) if each is not None and abs(each.number) < 9e8
        ]
    within = (Value.of(old.type, each) for each in numbers if old.type.lowest <= each <= old.type.highest)
    return next((each for each in within if old.refusal(each) is None and each not in set(taken)), None)


@pytest.mark.parametrize("pair", PAIRS, ids=str)
def test_a_server_where_everything_was_customised_is_decided_as_the_list_of_changes_says(pair: tuple[int, int]) -> None:
    old, new = catalogue_of(pair[0]), catalogue_of(pair[1])
    noted = {note.old for note in notes_of(pair).entries if isinstance(note.old, str)}
    mine: dict[str, Value] = {}
    for name in old.names:
        theirs = new[name].default if name in new else None
        value = another_value(old[name], [old[name].default, theirs]) or another_value(old[name], [old[name].default])
        if value is not None and name not in noted:
            mine[name] = value
    sheet = sheet_for(pair, mine)
    changed = {(row["kind"], row["old_name"]) for row in CHANGES if row["from_major"] == str(pair[0])}
    decided = {each.found[0]: each for each in sheet.decisions if each.found[0] in mine}
    for name, decision in decided.items():
        assert decision.rule == expected_rule(name, mine[name], old, new, changed), decision.reason
    assert len(decided) == len(mine) > 200


def expected_rule(name: str, mine: Value, old: Catalogue, new: Catalogue, changed: set[tuple[str, str]]) -> str:
    """Return what the list of changes makes of one customised setting, without the code under test."""
    if ("removed", name) in changed or name not in new:
        return "unknown-name"
    before, after = default_number(old[name]), default_number(new[name])
    assert (("default", name) in changed) == (before != after)
    if mine.number == after:
        return "already-default"
    if not holds(new[name], mine.number):
        return "not-allowed"
    return "same-meaning" if before == after else "default-changed"


def default_number(setting: Setting) -> float:
    assert setting.default is not None
    return setting.default.number


def holds(setting: Setting, number: float) -> bool:
    if setting.choices:
        return number in {each.number for each in setting.choices}
    low, high = setting.minimum, setting.maximum
    return (low is None or number >= low.number) and (high is None or number <= high.number)


# Worked pairs. Source: setting_renames_postgresql.csv, columns example_old and example_new, unless another is named.


@pytest.mark.parametrize(("segments", "megabytes"), [("32", "512"), ("1", "16"), ("1000", "16000")])
def test_rename_and_unit_segments_of_16_megabytes_become_megabytes(segments: str, megabytes: str) -> None:
    decision, _ = on_one((12, 13), "wal_keep_segments", segments)
    assert (decision.kind, written(decision)) == (DecisionKind.CONVERT, {"wal_keep_size": megabytes})
    assert decision.reason == (
        f"You had set {segments} (default 0). database 13.0 calls it wal_keep_size and counts it in MB: {megabytes}."
    )


def test_a_conversion_beyond_the_new_type_is_held() -> None:
    decision, _ = on_one((12, 13), "wal_keep_segments", "2147483647")
    assert (decision.kind, decision.rule) == (DecisionKind.HELD, "not-exact")
    assert ways(decision)["nearest-below"] == {"wal_keep_size": "2147483647"}


def test_unit_only_blocks_of_8_kilobytes_become_bytes() -> None:
    """2048 is the one value that release 10 allows, so it is its default too; it equals the converted new default."""
    pair = (10, 11)
    sheet = sheet_for(pair, {})
    (decision,) = (each for each in sheet.decisions if each.found == ("wal_segment_size",))
    assert decision.kind is DecisionKind.ADOPT
    assert sheet.expected_settings(catalogue_of(11).defaults)["wal_segment_size"].text == "16777216"
    larger, _ = on_one(pair, "wal_segment_size", "8192")
    assert written(larger) == {"wal_segment_size": "67108864"}


def test_rename_and_factor_three_segments_of_16_megabytes_each() -> None:
    """checkpoint_segments 10 is max_wal_size 480 MB: 3 x n x 16 MB. Source: release notes 9.5, text seen, not run."""
    old = Catalogue({"checkpoint_segments": Setting("checkpoint_segments", SettingType.INT32, default=int32(3))})
    new = Catalogue({"max_wal_size": Setting("max_wal_size", SettingType.INT32, unit="MB", default=int32(144))})
    text = 'convert = [{ old = "checkpoint_segments", new = "max_wal_size", law = { kind = "linear", factor = "48" } }]'
    assert written(small_decision(old, new, {"checkpoint_segments": int32(10)}, text)) == {"max_wal_size": "480"}


def test_rename_only_with_the_old_name_refused() -> None:
    decision, _ = on_one((15, 16), "force_parallel_mode", "regress")
    assert (decision.kind, decision.new_names) == (DecisionKind.RENAME, ("debug_parallel_query",))
    assert "= regress" in decision.reason.split("debug_parallel_query:")[1]


def test_a_rename_without_a_note_is_held_not_guessed() -> None:
    pair = (15, 16)
    old, new = catalogue_of(15), catalogue_of(16)
    mine = {**old.defaults, "force_parallel_mode": value_of(rows_of(15)["force_parallel_mode"], "regress")}
    ours = Snapshot(identity_of("15.0"), mine, "2026-05-01T12:00:00Z")
    sheet = carry_over(CarryOverInputs(ours, old.defaults, new.defaults, old, new, notes_of(pair, "")))
    assert [(each.found, each.rule) for each in sheet.held] == [(("force_parallel_mode",), "unknown-name")]
    assert "debug_parallel_query" in {each.name for each in sheet.arrivals}


def test_a_whole_number_that_became_a_float_is_carried_as_that_number() -> None:
    """autovacuum_vacuum_cost_delay: int 20 to real 2 ms, in 12."""
    decision, _ = on_one((11, 12), "autovacuum_vacuum_cost_delay", "30", type_text="integer")
    assert decision.rule == "default-changed"
    (keep, take) = decision.options
    assert (keep.writes[0].value, take.writes) == (Value.of(SettingType.FLOAT, 30.0), ())
    untouched, _ = on_one((11, 12), "autovacuum_vacuum_cost_delay", "20")
    assert untouched.kind is DecisionKind.ADOPT


def test_a_switch_that_became_a_choice_keeps_its_label() -> None:
    decision, _ = on_one((14, 15), "wal_compression", "on")
    assert decision.kind is DecisionKind.KEEP
    assert decision.reason.endswith("= on.")


def test_a_default_that_was_raised_sixteenfold_is_asked_about_only_if_it_was_customised() -> None:
    """shared_buffers: 1024 to 16384 blocks of 8 kB, 8 MB to 128 MB, in 15."""
    untouched, sheet = on_one((14, 15), "shared_buffers", "1024")
    assert untouched.kind is DecisionKind.ADOPT
    assert sheet.expected_settings(catalogue_of(15).defaults)["shared_buffers"].number * 8 == 128 * 1024
    customised, _ = on_one((14, 15), "shared_buffers", "2048")
    assert ways(customised) == {"keep-mine": {"shared_buffers": "2048"}, "take-new-default": {}}


@pytest.mark.parametrize(
    ("pair", "name", "mine"),
    [
        ((13, 14), "password_encryption", "scram-sha-256"),
        ((14, 15), "log_checkpoints", "on"),
        ((17, 18), "effective_io_concurrency", "16"),
        ((14, 15), "hash_mem_multiplier", "2"),
    ],
)
def test_who_had_set_what_is_now_the_default_is_not_asked(pair: tuple[int, int], name: str, mine: str) -> None:
    decision, _ = on_one(pair, name, mine)
    assert (decision.kind, decision.rule) == (DecisionKind.ADOPT, "already-default")


def test_a_lower_limit_that_rose_holds_what_is_below_it() -> None:
    """max_files_per_process: at least 25, from 13 on at least 64."""
    decision, _ = on_one((12, 13), "max_files_per_process", "30")
    assert (decision.rule, ways(decision)["nearest-above"]) == ("not-allowed", {"max_files_per_process": "64"})


def test_a_choice_that_was_dropped_is_held_with_those_that_are_left() -> None:
    """dynamic_shared_memory_type lost the choice none in 12."""
    decision, _ = on_one((11, 12), "dynamic_shared_memory_type", "none")
    assert decision.rule == "not-allowed"
    assert len(decision.options) == 3  # two others than the default, and the default


@pytest.mark.parametrize(
    ("pair", "name"),
    [((11, 12), "default_with_oids"), ((13, 14), "operator_precedence_warning"), ((16, 17), "db_user_namespace")],
)
def test_a_removed_switch_never_pairs_with_a_new_one_that_is_off(pair: tuple[int, int], name: str) -> None:
    decision, sheet = on_one(pair, name, "on")
    assert (decision.rule, decision.new_names) == ("unknown-name", ())
    assert any(each.default is not None and each.default.number == 0 for each in sheet.arrivals)


@pytest.mark.parametrize(
    ("pair", "name"),
    [
        ((16, 17), "old_snapshot_threshold"),
        ((15, 16), "vacuum_defer_cleanup_age"),
        ((10, 11), "replacement_sort_tuples"),
    ],
)
def test_a_removed_setting_is_reported_and_never_dropped_in_silence(pair: tuple[int, int], name: str) -> None:
    default = rows_of(pair[0])[name]["default"]
    untouched, _ = on_one(pair, name, default)
    customised, _ = on_one(pair, name, str(int(default) + 1))
    assert (untouched.kind, customised.kind) == (DecisionKind.RETIRED, DecisionKind.HELD)


def test_a_meaning_that_changed_without_any_visible_sign_needs_a_note() -> None:
    """effective_io_concurrency counts otherwise from 13 on, by the same name, range, unit and default.

    The engine cannot see that; this test states the limit. The formula, new = round(sum of old/n), is no law that
    notes know yet.
    """
    decision, _ = on_one((12, 13), "effective_io_concurrency", "10")
    assert (decision.kind, written(decision)) == (DecisionKind.KEEP, {"effective_io_concurrency": "10"})


def int32(number: int) -> Value:
    return Value.of(SettingType.INT32, number)


def small_decision(old: Catalogue, new: Catalogue, mine: dict[str, Value], text: str) -> Decision:
    ours = Snapshot(identity_of("1.0"), {**old.defaults, **mine}, "2026-05-01T12:00:00Z")
    sheet = carry_over(CarryOverInputs(ours, old.defaults, new.defaults, old, new, notes_of((1, 2), text)))
    (decision,) = sheet.decisions
    return decision


def test_a_rename_whose_default_changed_too_is_asked_about() -> None:
    """CELERY_MAX_CACHED_RESULTS to result_cache_max, default 100 to -1. Source: celery 4.4.7, app/defaults.py."""
    old = Catalogue({"MAX_CACHED": Setting("MAX_CACHED", SettingType.INT32, default=int32(100))})
    new = Catalogue({"result_cache_max": Setting("result_cache_max", SettingType.INT32, default=int32(-1))})
    text = 'rename = [{ old = "MAX_CACHED", new = "result_cache_max" }]'
    decision = small_decision(old, new, {"MAX_CACHED": int32(200)}, text)
    assert ways(decision) == {"keep-mine": {"result_cache_max": "200"}, "take-new-default": {}}
    assert small_decision(old, new, {}, text).kind is DecisionKind.ADOPT
    assert small_decision(old, new, {"MAX_CACHED": int32(-1)}, text).kind is DecisionKind.ADOPT


SWITCH = Setting(
    "", SettingType.UINT8, default=Value.of(SettingType.UINT8, 1), choices=(Choice(0, "no"), Choice(1, "yes"))
)


def test_two_old_names_for_one_setting_carry_over_as_one() -> None:
    """SkeyAuthentication and ChallengeResponseAuthentication to KbdInteractiveAuthentication, no to no.

    Source: configuration dump of sshd 9.2 (Debian 12).
    """
    olds = ("SkeyAuthentication", "ChallengeResponseAuthentication")
    old = Catalogue({name: replace(SWITCH, name=name) for name in olds})
    new = Catalogue({"KbdInteractive": replace(SWITCH, name="KbdInteractive")})
    text = f'join = [{{ old = ["{olds[0]}", "{olds[1]}"], new = "KbdInteractive", how = "equal" }}]'
    no = Value.of(SettingType.UINT8, 0)
    assert written(small_decision(old, new, dict.fromkeys(olds, no), text)) == {"KbdInteractive": "0"}
    held = small_decision(old, new, {olds[0]: no}, text)
    assert (held.rule, ways(held)) == (
        "join-differs",
        {f"value-of-{olds[0]}": {"KbdInteractive": "0"}, "take-new-default": {}},
    )


def test_a_negative_value_goes_through_a_rename_unchanged() -> None:
    """list-max-ziplist-size to list-max-listpack-size, -3 to -3. Source: running Redis 7.0.15 (Debian 12)."""
    old = Catalogue({"ziplist": Setting("ziplist", SettingType.INT32, default=int32(-2))})
    new = Catalogue({"listpack": Setting("listpack", SettingType.INT32, default=int32(-2))})
    text = 'rename = [{ old = "ziplist", new = "listpack" }]'
    assert written(small_decision(old, new, {"ziplist": int32(-3)}, text)) == {"listpack": "-3"}


@pytest.mark.parametrize(("before", "after"), [("m", "mm"), ("mbar", "hPa")])
def test_a_unit_label_that_was_only_corrected_needs_a_note_to_keep_the_number(before: str, after: str) -> None:
    """Labels corrected in MAVLink common.xml: altitude m to mm, pressure mbar to hPa, both x 1."""
    old = Catalogue({"A": Setting("A", SettingType.INT32, unit=before, default=int32(0))})
    new = Catalogue({"A": Setting("A", SettingType.INT32, unit=after, default=int32(0))})
    by_one = 'convert = [{ old = "A", new = "A", law = { kind = "linear", factor = "1" } }]'
    assert small_decision(old, new, {"A": int32(7)}, "").rule == "unit-changed"
    assert written(small_decision(old, new, {"A": int32(7)}, by_one)) == {"A": "7"}


def test_a_number_given_to_another_choice_is_never_kept_in_silence() -> None:
    """MAVLink common.xml, 2.4.41 to 2.4.50: the number 1 of a receiver type was reused for another receiver."""
    choices = {1: (Choice(0, "none"), Choice(1, "first maker")), 2: (Choice(0, "none"), Choice(1, "second maker"))}
    zero = Value.of(SettingType.UINT8, 0)
    old, new = (Catalogue({"R": Setting("R", SettingType.UINT8, default=zero, choices=choices[one])}) for one in (1, 2))
    decision = small_decision(old, new, {"R": Value.of(SettingType.UINT8, 1)}, "")
    assert (decision.kind, decision.rule) == (DecisionKind.HELD, "label-moved")
    assert "'first maker' and is now 'second maker'" in decision.reason


def test_a_label_that_was_only_reworded_needs_a_note_that_says_so() -> None:
    """MAVLink common.xml: AIS_NAV_ANCHORED to AIS_NAV_STATUS_ANCHORED, both 1: name changed, same meaning."""
    zero = Value.of(SettingType.UINT8, 0)
    before, after = (
        (Choice(0, "UNDER_WAY"), Choice(1, "ANCHORED")),
        (Choice(0, "UNDER_WAY"), Choice(1, "STATUS_ANCHORED")),
    )
    old = Catalogue({"A": Setting("A", SettingType.UINT8, default=zero, choices=before)})
    new = Catalogue({"A": Setting("A", SettingType.UINT8, default=zero, choices=after)})
    mine = {"A": Value.of(SettingType.UINT8, 1)}
    assert small_decision(old, new, mine, "").kind is DecisionKind.HELD
    same = 'relabel = [{ old = "A", new = "A", map = { "0" = 0, "1" = 1 } }]'
    assert written(small_decision(old, new, mine, same)) == {"A": "1"}
