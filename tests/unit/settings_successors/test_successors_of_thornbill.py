"""The search on our own invented firmware, whose change notes are known: a demonstration, no outside proof."""

from __future__ import annotations

import tomllib
from functools import cache

from rotorwright.settings.successors import Suggestion, describe, likeliest_successors
from rotorwright.twin.thornbill.book import book_files
from rotorwright.twin.thornbill.release import catalogue

OLD, NEW = catalogue("5.2", "C405"), catalogue("6.0", "C405")


@cache
def suggestions() -> tuple[Suggestion, ...]:
    return likeliest_successors(
        [describe(OLD[name]) for name in OLD.names if name not in NEW],
        [describe(NEW[name]) for name in NEW.names if name not in OLD],
        old_listing=OLD.names,
        new_listing=NEW.names,
    )


def renamed() -> dict[str, str]:
    """Return old and new names of the notes that say one became one."""
    texts = [data.decode() for path, data in book_files().items() if path.endswith(".toml")]
    notes = next(each for each in map(tomllib.loads, texts) if each.get("format") == "rotorwright-change-notes")
    told = [entry for kind in ("rename", "convert", "relabel") for entry in notes.get(kind, [])]
    return {entry["old"]: entry["new"] for entry in told if entry["old"] != entry["new"]}


def test_most_settings_that_the_notes_call_renamed_are_found_and_none_is_wrong() -> None:
    truth = renamed()
    said = {each.old: each.new for each in suggestions() if each.old in truth and each.new is not None}
    assert said == {old: truth[old] for old in said}
    assert len(said) >= 0.8 * len(truth)


def test_nothing_of_arming_motors_or_radio_loss_is_offered_first() -> None:
    starts = ("READY_", "MOTOR_", "LOSS_")
    found = [each for each in suggestions() if each.old.startswith(starts)]
    assert len(found) > 5
    assert not any(each.may_be_offered_first for each in found)
