"""The state of a changeover, computed from its journal and stored nowhere else.

`fold` is pure. Each kind of event has one row in `_ON`; a test walks the table against `EventKind`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from rotorwright.changeover.events import NOT_SHOWN, EventKind
from rotorwright.changeover.kept import kept_from
from rotorwright.changeover.ways import WriteWay
from rotorwright.hangar.journal import Event, JsonValue
from rotorwright.links.ports import UsbIds
from rotorwright.settings.identity import Identity
from rotorwright.settings.outcomes import How, Outcome
from rotorwright.settings.values import SettingType, Value

if TYPE_CHECKING:
    from rotorwright.hangar.files import KeptFile

Facts = Mapping[str, JsonValue]

ATTITUDE = "attitude"
"""The one bench check of job cards from before there was a choice."""


@dataclass(frozen=True, slots=True)
class ChosenImage:
    """The image of the plan and the sectors that it will take."""

    release: str
    board: str
    microcontroller: str
    sha256: str
    size_bytes: int
    sectors: tuple[int, ...]
    are_settings_known: bool = True
    board_settings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Interruption:
    """One error that ended a step, as the journal has it."""

    step: str
    error_id: str
    what: str


@dataclass(frozen=True, slots=True)
class ProvedCheck:
    """One bench check with its evidence in words; not shown where there was nothing to hold it against."""

    check: str
    evidence: str
    is_shown: bool = True
    file: KeptFile | None = None


@dataclass(frozen=True, slots=True)
class ChangeoverState:
    """Where a changeover stands."""

    port: str = ""
    port_usb: UsbIds | None = None
    book: KeptFile | None = None
    dialect: KeptFile | None = None
    part: str = ""
    policy: str = "careful"
    way: WriteWay = WriteWay.AUTO
    checks: tuple[str, ...] = (ATTITUDE,)
    """The bench checks that this job is to be proved by, beside those of release, settings and display."""

    image_file: KeptFile | None = None
    image_base: int | None = None
    """Address of the first byte of the image file, where a person gave it; only files without addresses need it."""

    received: Identity | None = None
    as_found: KeptFile | None = None
    as_found_count: int = 0
    old_catalogue: KeptFile | None = None
    old_display: KeptFile | None = None
    old_defaults: KeptFile | None = None
    old_defaults_varying: tuple[str, ...] = ()
    is_reset_for_reading: bool = False
    expected_defaults: KeptFile | None = None
    expected_catalogue: KeptFile | None = None
    board_named: str = ""
    """The board of the release book that a person says it is, where the book does not know the reported name."""

    image: ChosenImage | None = None
    is_write_accepted: bool = False
    sheet: KeptFile | None = None
    is_decided: bool = False
    is_accepted: bool = False
    old_image: KeptFile | None = None
    old_image_base: int | None = None
    is_old_image_given: bool = False
    is_old_image_unreadable: bool = False
    erased_sectors: tuple[int, ...] = ()
    is_image_written: bool = False
    is_image_verified: bool = False
    unproved: tuple[str, ...] = ()
    """What the way by which the image was written leaves unproved, in sentences."""

    sectors_written: int = 0
    image_bytes_verified: int = 0
    image_bytes_by_checksum: int = 0
    new_identity: Identity | None = None
    new_defaults: KeptFile | None = None
    new_catalogue: KeptFile | None = None
    is_display_verified: bool = False
    display_changed: int = 0
    refusals: tuple[Outcome, ...] = ()
    as_left: KeptFile | None = None
    settings_written: int = 0
    settings_verified: int = 0
    proved: tuple[ProvedCheck, ...] = ()
    failed: tuple[ProvedCheck, ...] = ()
    """Every bench check that failed, also those that passed later."""

    repaired: Mapping[str, Value] = field(default_factory=dict)
    """Settings that a person changed after a bench check; they stand over the plan."""

    signed_by: str | None = None
    is_rolling_back: bool = False
    is_old_image_written: bool = False
    is_old_image_verified: bool = False
    is_old_application_answered: bool = False
    is_old_settings_verified: bool = False
    is_old_display_verified: bool = False
    is_rolled_back: bool = False
    is_in_bootloader: bool = False
    interruptions: tuple[Interruption, ...] = ()
    resumed: int = 0
    gates: tuple[str, ...] = field(default=())

    @property
    def is_over(self) -> bool:
        """Whether nothing is left to do."""
        return self.signed_by is not None or self.is_rolled_back

    @property
    def is_flash_touched(self) -> bool:
        """Whether an erase was allowed, so the old image may be gone from the board."""
        return bool(self.erased_sectors)

    @property
    def is_aircraft_changed(self) -> bool:
        """Whether anything on the aircraft may be other than it was found: its image, or its settings."""
        return self.is_flash_touched or self.is_reset_for_reading

    @property
    def expected_release(self) -> str:
        """The release of the plan; where the image does not say, what answered after the write."""
        if self.image is not None and self.image.release:
            return self.image.release
        return self.new_identity.release if self.new_identity else ""

    def has_proved(self, check: str) -> bool:
        """Answer whether a bench check is proved."""
        return any(proved.check == check for proved in self.proved)

    def has_shown(self, check: str) -> bool:
        """Answer whether a bench check was ever shown to hold."""
        return any(proved.check == check and proved.is_shown for proved in self.proved)

    def is_settled(self, check: str) -> bool:
        """Answer whether nothing is left to do for a bench check: it is proved, or not asked for."""
        return check not in self.checks or self.has_proved(check)


def fold(events: Iterable[Event]) -> ChangeoverState:
    """Return the state after `events`, in their order. Kinds unknown to this version change nothing."""
    state = ChangeoverState()
    for event in events:
        state = after(state, event)
    return state


def after(state: ChangeoverState, event: Event) -> ChangeoverState:
    """Return the state after one more event."""
    rule = _ON.get(event.kind)
    return rule(state, event.facts) if rule else state


def identity_facts(identity: Identity) -> dict[str, JsonValue]:
    """Return an identity as plain data for an event."""
    return {
        "unique_id": identity.unique_id,
        "family": identity.family,
        "release": identity.release,
        "board": identity.board,
        "build": identity.build,
    }


def _identity(facts: Facts) -> Identity:
    return Identity(
        unique_id=_text(facts, "unique_id"),
        family=_text(facts, "family"),
        release=_text(facts, "release"),
        board=_text(facts, "board"),
        build=_text(facts, "build"),
    )


def _text(facts: Facts, key: str) -> str:
    value = facts[key]
    assert isinstance(value, str), key
    return value


def _whole(facts: Facts, key: str) -> int:
    value = facts[key]
    assert isinstance(value, int), key
    return value


def _wholes(facts: Facts, key: str) -> tuple[int, ...]:
    value = facts[key]
    assert isinstance(value, list), key
    return tuple(item for item in value if isinstance(item, int))


def _texts(facts: Facts, key: str) -> tuple[str, ...]:
    value = facts[key]
    assert isinstance(value, list), key
    return tuple(item for item in value if isinstance(item, str))


def _kept(facts: Facts, key: str) -> KeptFile | None:
    return kept_from(facts[key]) if facts.get(key) else None


def _usb(fact: JsonValue) -> UsbIds | None:
    if not isinstance(fact, list):
        return None
    vendor, product, serial_number = fact
    assert isinstance(vendor, int)
    assert isinstance(product, int)
    return UsbIds(vendor, product, str(serial_number))


def _on_started(state: ChangeoverState, facts: Facts) -> ChangeoverState:
    return replace(
        state,
        port=_text(facts, "port"),
        port_usb=_usb(facts.get("port_usb")),
        book=_kept(facts, "book"),
        image_file=kept_from(facts["image"]),
        image_base=_whole(facts, "image_base") if facts.get("image_base") is not None else None,
        dialect=_kept(facts, "dialect"),
        part=str(facts.get("part", "")),
        policy=str(facts.get("policy", "careful")),
        way=WriteWay(str(facts.get("way", WriteWay.UART))),  # cards from before there was a choice
        checks=_texts(facts, "checks") if "checks" in facts else (ATTITUDE,),
    )


def _on_received(state: ChangeoverState, facts: Facts) -> ChangeoverState:
    return replace(state, received=_identity(facts))


def _on_snapshot(state: ChangeoverState, facts: Facts) -> ChangeoverState:
    return replace(
        state,
        as_found=kept_from(facts["file"]),
        as_found_count=_whole(facts, "settings"),
        old_catalogue=_kept(facts, "catalogue"),
        old_display=_kept(facts, "display"),
    )


def _on_board_named(state: ChangeoverState, facts: Facts) -> ChangeoverState:
    return replace(state, board_named=_text(facts, "board"))


def _on_image(state: ChangeoverState, facts: Facts) -> ChangeoverState:
    image = ChosenImage(
        release=_text(facts, "release"),
        board=_text(facts, "board"),
        microcontroller=_text(facts, "microcontroller"),
        sha256=_text(facts, "image_sha256"),
        size_bytes=_whole(facts, "bytes"),
        sectors=_wholes(facts, "sectors"),
        are_settings_known=facts.get("settings_known", True) is True,
        board_settings=_texts(facts, "board_settings") if "board_settings" in facts else (),
    )
    return replace(state, image=image)


def _on_write_accepted(state: ChangeoverState, _facts: Facts) -> ChangeoverState:
    return replace(state, is_write_accepted=True)


def _on_old_defaults_wanted(state: ChangeoverState, _facts: Facts) -> ChangeoverState:
    return replace(state, is_reset_for_reading=True)


def _on_old_defaults_known(state: ChangeoverState, facts: Facts) -> ChangeoverState:
    return replace(state, old_defaults=kept_from(facts["file"]), old_defaults_varying=_texts(facts, "varying"))


def _on_new_defaults_expected(state: ChangeoverState, facts: Facts) -> ChangeoverState:
    return replace(state, expected_defaults=kept_from(facts["file"]), expected_catalogue=_kept(facts, "catalogue"))


def _on_sheet(state: ChangeoverState, facts: Facts) -> ChangeoverState:
    # A new sheet, also one made after the aircraft showed other defaults than the book, asks for a new consent.
    return replace(state, sheet=kept_from(facts["file"]), is_decided=_whole(facts, "undecided") == 0, is_accepted=False)


def _on_decided(state: ChangeoverState, facts: Facts) -> ChangeoverState:
    return replace(state, sheet=kept_from(facts["file"]), is_decided=_whole(facts, "undecided") == 0)


def _on_accepted(state: ChangeoverState, _facts: Facts) -> ChangeoverState:
    return replace(state, is_accepted=True)


def _on_gate(state: ChangeoverState, facts: Facts) -> ChangeoverState:
    return replace(state, gates=(*state.gates, _text(facts, "gate")))


def _on_bootloader(state: ChangeoverState, _facts: Facts) -> ChangeoverState:
    return replace(state, is_in_bootloader=True)


def _on_old_image(state: ChangeoverState, facts: Facts) -> ChangeoverState:
    return replace(state, old_image=kept_from(facts["file"]))


def _on_old_image_unreadable(state: ChangeoverState, _facts: Facts) -> ChangeoverState:
    return replace(state, is_old_image_unreadable=True)


def _on_old_image_given(state: ChangeoverState, facts: Facts) -> ChangeoverState:
    base = _whole(facts, "base") if facts.get("base") is not None else None
    return replace(state, old_image=kept_from(facts["file"]), old_image_base=base, is_old_image_given=True)


def _on_erase(state: ChangeoverState, facts: Facts) -> ChangeoverState:
    sector = _whole(facts, "sector")
    if sector in state.erased_sectors:
        return state
    return replace(state, erased_sectors=(*state.erased_sectors, sector))


def _on_image_verified(state: ChangeoverState, facts: Facts) -> ChangeoverState:
    return replace(
        _on_image_written(state, facts),
        is_image_verified=True,
        image_bytes_verified=_whole(facts, "bytes"),
        image_bytes_by_checksum=_whole(facts, "bytes_by_checksum") if "bytes_by_checksum" in facts else 0,
    )


def _on_image_written(state: ChangeoverState, facts: Facts) -> ChangeoverState:
    return replace(
        state,
        is_image_written=True,
        sectors_written=_whole(facts, "sectors_written"),
        unproved=_texts(facts, "unproved") if "unproved" in facts else (),
    )


def _on_not_taken(state: ChangeoverState, _facts: Facts) -> ChangeoverState:
    back = state.is_rolling_back
    return replace(
        state,
        is_image_written=state.is_image_written and back,
        is_old_image_written=state.is_old_image_written and not back,
        is_in_bootloader=True,
    )


def _on_application_wanted(state: ChangeoverState, _facts: Facts) -> ChangeoverState:
    return replace(state, is_in_bootloader=False)


def _on_application(state: ChangeoverState, facts: Facts) -> ChangeoverState:
    return replace(state, new_identity=_identity(facts), is_in_bootloader=False)


def _on_defaults(state: ChangeoverState, facts: Facts) -> ChangeoverState:
    return replace(state, new_defaults=kept_from(facts["file"]), new_catalogue=_kept(facts, "catalogue"))


def _on_display(state: ChangeoverState, facts: Facts) -> ChangeoverState:
    return replace(state, is_display_verified=True, display_changed=_whole(facts, "changed"))


def _on_settings(state: ChangeoverState, facts: Facts) -> ChangeoverState:
    return replace(
        state,
        as_left=kept_from(facts["file"]),
        settings_written=_whole(facts, "written"),
        settings_verified=_whole(facts, "verified"),
    )


def _on_refused(state: ChangeoverState, facts: Facts) -> ChangeoverState:
    listed = facts["refused"]
    assert isinstance(listed, list)
    return replace(state, refusals=(*state.refusals, *(_refusal(each) for each in listed)))


def _refusal(facts: JsonValue) -> Outcome:
    assert isinstance(facts, dict)
    sent, stands = facts["sent"], facts["stands"]
    how = How(_text(facts, "how"))
    return Outcome(_text(facts, "name"), _value(sent), None if stands is None else _value(stands), how)


def _value(facts: JsonValue) -> Value:
    assert isinstance(facts, dict)
    return Value.parse(SettingType(_text(facts, "type")), _text(facts, "text"))


def value_facts(value: Value) -> dict[str, JsonValue]:
    """Return a value as plain data for an event."""
    return {"type": str(value.type), "text": value.text}


def refusal_facts(refusal: Outcome) -> dict[str, JsonValue]:
    """Return a refusal as plain data for an event."""
    return {
        "name": refusal.name,
        "sent": value_facts(refusal.sent),
        "stands": value_facts(refusal.stands) if refusal.stands else None,
        "how": str(refusal.how),
    }


def _on_proved(state: ChangeoverState, facts: Facts) -> ChangeoverState:
    is_shown = facts.get("verdict") != NOT_SHOWN
    proved = ProvedCheck(_text(facts, "check"), _text(facts, "evidence"), is_shown=is_shown, file=_kept(facts, "file"))
    return replace(state, proved=(*state.proved, proved))


def _on_failed(state: ChangeoverState, facts: Facts) -> ChangeoverState:
    failed = ProvedCheck(_text(facts, "check"), _text(facts, "evidence"), file=_kept(facts, "file"))
    return replace(state, failed=(*state.failed, failed))


def _on_repaired(state: ChangeoverState, facts: Facts) -> ChangeoverState:
    """Take the new values over the plan; that all settings stand as planned has to be proved anew."""
    changed = facts["changed"]
    assert isinstance(changed, dict)
    values = {name: _value(value) for name, value in changed.items()}
    return replace(
        state,
        repaired={**state.repaired, **values},
        as_left=kept_from(facts["file"]),
        proved=tuple(one for one in state.proved if one.check != "settings"),
    )


def _on_signed(state: ChangeoverState, facts: Facts) -> ChangeoverState:
    return replace(state, signed_by=_text(facts, "by"))


def _on_interrupted(state: ChangeoverState, facts: Facts) -> ChangeoverState:
    one = Interruption(step=_text(facts, "step"), error_id=_text(facts, "error"), what=_text(facts, "what"))
    return replace(state, interruptions=(*state.interruptions, one))


def _on_resumed(state: ChangeoverState, _facts: Facts) -> ChangeoverState:
    return replace(state, resumed=state.resumed + 1)


def _on_roll_back(state: ChangeoverState, _facts: Facts) -> ChangeoverState:
    return replace(state, is_rolling_back=True)


def _on_old_image_verified(state: ChangeoverState, _facts: Facts) -> ChangeoverState:
    return replace(state, is_old_image_written=True, is_old_image_verified=True)


def _on_old_image_written(state: ChangeoverState, _facts: Facts) -> ChangeoverState:
    return replace(state, is_old_image_written=True)


def _on_old_application(state: ChangeoverState, _facts: Facts) -> ChangeoverState:
    return replace(state, is_old_application_answered=True, is_in_bootloader=False)


def _on_old_settings(state: ChangeoverState, facts: Facts) -> ChangeoverState:
    return replace(state, is_old_settings_verified=True, settings_verified=_whole(facts, "verified"))


def _on_old_display(state: ChangeoverState, _facts: Facts) -> ChangeoverState:
    return replace(state, is_old_display_verified=True)


def _on_rolled_back(state: ChangeoverState, _facts: Facts) -> ChangeoverState:
    return replace(state, is_rolled_back=True)


def _same(state: ChangeoverState, _facts: Facts) -> ChangeoverState:
    return state


_ON: dict[str, Callable[[ChangeoverState, Facts], ChangeoverState]] = {
    EventKind.STARTED: _on_started,
    EventKind.AIRCRAFT_RECEIVED: _on_received,
    EventKind.SNAPSHOT_SAVED: _on_snapshot,
    EventKind.BOARD_NAMED: _on_board_named,
    EventKind.IMAGE_CHOSEN: _on_image,
    EventKind.SHEET_MADE: _on_sheet,
    EventKind.HELD_DECIDED: _on_decided,
    EventKind.PLAN_ACCEPTED: _on_accepted,
    EventKind.WRITE_ACCEPTED: _on_write_accepted,
    EventKind.OLD_DEFAULTS_WANTED: _on_old_defaults_wanted,
    EventKind.OLD_DEFAULTS_KNOWN: _on_old_defaults_known,
    EventKind.NEW_DEFAULTS_EXPECTED: _on_new_defaults_expected,
    EventKind.GATE_PASSED: _on_gate,
    EventKind.BOOTLOADER_WANTED: _same,
    EventKind.BOOTLOADER_ANSWERED: _on_bootloader,
    EventKind.OLD_IMAGE_SAVED: _on_old_image,
    EventKind.OLD_IMAGE_UNREADABLE: _on_old_image_unreadable,
    EventKind.ERASE_ALLOWED: _on_erase,
    EventKind.IMAGE_VERIFIED: _on_image_verified,
    EventKind.IMAGE_WRITTEN: _on_image_written,
    EventKind.IMAGE_NOT_TAKEN: _on_not_taken,
    EventKind.APPLICATION_WANTED: _on_application_wanted,
    EventKind.APPLICATION_ANSWERED: _on_application,
    EventKind.DEFAULTS_WANTED: _same,
    EventKind.DEFAULTS_READ: _on_defaults,
    EventKind.DISPLAY_WANTED: _same,
    EventKind.DISPLAY_VERIFIED: _on_display,
    EventKind.SETTINGS_WANTED: _same,
    EventKind.SETTINGS_REFUSED: _on_refused,
    EventKind.SETTINGS_VERIFIED: _on_settings,
    EventKind.CHECK_PROVED: _on_proved,
    EventKind.CHECK_FAILED: _on_failed,
    EventKind.SETTINGS_REPAIRED: _on_repaired,
    EventKind.SIGNED: _on_signed,
    EventKind.INTERRUPTED: _on_interrupted,
    EventKind.RESUMED: _on_resumed,
    EventKind.ROLL_BACK_WANTED: _on_roll_back,
    EventKind.OLD_IMAGE_GIVEN: _on_old_image_given,
    EventKind.OLD_IMAGE_VERIFIED: _on_old_image_verified,
    EventKind.OLD_IMAGE_WRITTEN: _on_old_image_written,
    EventKind.OLD_APPLICATION_ANSWERED: _on_old_application,
    EventKind.OLD_SETTINGS_WANTED: _same,
    EventKind.OLD_SETTINGS_VERIFIED: _on_old_settings,
    EventKind.OLD_DISPLAY_VERIFIED: _on_old_display,
    EventKind.ROLLED_BACK: _on_rolled_back,
}
