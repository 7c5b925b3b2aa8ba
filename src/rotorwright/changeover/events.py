"""What can be written into the journal of a changeover.

Two sorts, told apart by their name: *-wanted and *-allowed events are committed before the act they allow; all others
state a fact that was measured or a word that a person gave. The state of a changeover is computed from its events
(`state.fold`) and stored nowhere else.
"""

from __future__ import annotations

from enum import StrEnum


class EventKind(StrEnum):
    """Kinds of journal events. Old names stay readable for ever: add, never rename."""

    STARTED = "started"
    AIRCRAFT_RECEIVED = "aircraft-received"
    SNAPSHOT_SAVED = "snapshot-saved"
    BOARD_NAMED = "board-named"
    IMAGE_CHOSEN = "image-chosen"
    SHEET_MADE = "sheet-made"
    HELD_DECIDED = "held-decided"
    PLAN_ACCEPTED = "plan-accepted"
    WRITE_ACCEPTED = "write-accepted"
    OLD_DEFAULTS_WANTED = "old-defaults-wanted"
    OLD_DEFAULTS_KNOWN = "old-defaults-known"
    NEW_DEFAULTS_EXPECTED = "new-defaults-expected"
    GATE_PASSED = "gate-passed"
    BOOTLOADER_WANTED = "bootloader-wanted"
    BOOTLOADER_ANSWERED = "bootloader-answered"
    OLD_IMAGE_SAVED = "old-image-saved"
    OLD_IMAGE_UNREADABLE = "old-image-unreadable"
    ERASE_ALLOWED = "erase-allowed"
    IMAGE_VERIFIED = "image-verified"
    IMAGE_WRITTEN = "image-written"
    IMAGE_NOT_TAKEN = "image-not-taken"
    APPLICATION_WANTED = "application-wanted"
    APPLICATION_ANSWERED = "application-answered"
    DEFAULTS_WANTED = "defaults-wanted"
    DEFAULTS_READ = "defaults-read"
    DISPLAY_WANTED = "display-wanted"
    DISPLAY_VERIFIED = "display-verified"
    SETTINGS_WANTED = "settings-wanted"
    SETTINGS_REFUSED = "settings-refused"
    SETTINGS_VERIFIED = "settings-verified"
    CHECK_PROVED = "check-proved"
    CHECK_FAILED = "check-failed"
    SETTINGS_REPAIRED = "settings-repaired"
    SIGNED = "signed"
    INTERRUPTED = "interrupted"
    RESUMED = "resumed"
    ROLL_BACK_WANTED = "roll-back-wanted"
    OLD_IMAGE_GIVEN = "old-image-given"
    OLD_IMAGE_VERIFIED = "old-image-verified"
    OLD_IMAGE_WRITTEN = "old-image-written"
    OLD_APPLICATION_ANSWERED = "old-application-answered"
    OLD_SETTINGS_WANTED = "old-settings-wanted"
    OLD_SETTINGS_VERIFIED = "old-settings-verified"
    OLD_DISPLAY_VERIFIED = "old-display-verified"
    ROLLED_BACK = "rolled-back"


NOT_SHOWN = "not shown"
"""The verdict of a check that had nothing to hold its measurement against."""

WORDS: dict[EventKind, str] = {
    EventKind.STARTED: "Job card opened",
    EventKind.AIRCRAFT_RECEIVED: "Aircraft identified",
    EventKind.SNAPSHOT_SAVED: "As-found settings read twice, agreed, on disk and read back",
    EventKind.BOARD_NAMED: "A person said which board of the release book it is",
    EventKind.IMAGE_CHOSEN: "Image chosen and judged against the board",
    EventKind.SHEET_MADE: "Carry-over sheet made",
    EventKind.HELD_DECIDED: "A held setting decided",
    EventKind.PLAN_ACCEPTED: "Plan accepted",
    EventKind.WRITE_ACCEPTED: "Write accepted; the settings are decided after it",
    EventKind.OLD_DEFAULTS_WANTED: "Allowed to reset the old release to its defaults, to read them",
    EventKind.OLD_DEFAULTS_KNOWN: "Defaults of the old release known",
    EventKind.NEW_DEFAULTS_EXPECTED: "Defaults of the new release expected, from the library",
    EventKind.GATE_PASSED: "Gate passed",
    EventKind.BOOTLOADER_WANTED: "Allowed to go into the bootloader",
    EventKind.BOOTLOADER_ANSWERED: "Bootloader answered",
    EventKind.OLD_IMAGE_SAVED: "Old image read from the board and kept",
    EventKind.OLD_IMAGE_UNREADABLE: "The bootloader gives nothing out, so the old image is not kept",
    EventKind.ERASE_ALLOWED: "Allowed to erase one sector",
    EventKind.IMAGE_VERIFIED: "Image read back and equal",
    EventKind.IMAGE_WRITTEN: "Image written; the bootloader gives nothing out to compare",
    EventKind.IMAGE_NOT_TAKEN: "The bootloader is there again instead of what was written",
    EventKind.APPLICATION_WANTED: "Allowed to start the application",
    EventKind.APPLICATION_ANSWERED: "New release answered",
    EventKind.DEFAULTS_WANTED: "Allowed to reset the settings to the board's own defaults",
    EventKind.DEFAULTS_READ: "Board's own defaults applied and read",
    EventKind.DISPLAY_WANTED: "Allowed to write the display characters",
    EventKind.DISPLAY_VERIFIED: "Display characters read back and equal",
    EventKind.SETTINGS_WANTED: "Allowed to write the settings of the sheet",
    EventKind.SETTINGS_REFUSED: "The aircraft did not take some values as they were sent; a person decides them",
    EventKind.SETTINGS_VERIFIED: "Settings read back after a restart and equal to the plan",
    EventKind.CHECK_PROVED: "Bench check proved",
    EventKind.CHECK_FAILED: "Bench check failed",
    EventKind.SETTINGS_REPAIRED: "Settings changed after a bench check, saved, read back after a restart",
    EventKind.SIGNED: "Signed off",
    EventKind.INTERRUPTED: "Interrupted",
    EventKind.RESUMED: "Taken up again",
    EventKind.ROLL_BACK_WANTED: "Way back chosen",
    EventKind.OLD_IMAGE_GIVEN: "Image of the old release given by the person, for the way back",
    EventKind.OLD_IMAGE_VERIFIED: "Old image back, read back and equal",
    EventKind.OLD_IMAGE_WRITTEN: "Old image written; the bootloader gives nothing out to compare",
    EventKind.OLD_APPLICATION_ANSWERED: "Old release answered",
    EventKind.OLD_SETTINGS_WANTED: "Allowed to write the as-found settings back",
    EventKind.OLD_SETTINGS_VERIFIED: "As-found settings read back and equal",
    EventKind.OLD_DISPLAY_VERIFIED: "As-found display characters back",
    EventKind.ROLLED_BACK: "Rolled back: as found",
}
