"""Stage restore: the board's own defaults, the display characters, and the settings of the sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.changeover.bringing import Bringing, plan_facts
from rotorwright.changeover.carried_choices import carry_all_choices
from rotorwright.changeover.errors import DisplayNotWrittenError, SettingsNotAsPlannedError
from rotorwright.changeover.events import EventKind
from rotorwright.changeover.gates import Gate, GateShutError
from rotorwright.changeover.kept import kept_facts
from rotorwright.changeover.knowledge import expected_catalogue
from rotorwright.changeover.person import BatteryRequest
from rotorwright.changeover.reading import is_volatile, read_catalogue_if_any
from rotorwright.changeover.receive import keep_content, keep_snapshot, snapshot_from
from rotorwright.changeover.sheets import (
    current_sheet,
    keep_sheet,
    known_catalogue,
    known_constraints,
    planned_sheet,
    with_refits,
)
from rotorwright.changeover.state import refusal_facts
from rotorwright.changeover.workshop import AFTER_RESTART_S, Workshop
from rotorwright.display.characters import differing_characters, parse_characters
from rotorwright.links.application import DISPLAY_FILE
from rotorwright.settings.catalogue import Catalogue, print_catalogue
from rotorwright.settings.identity import release_line
from rotorwright.settings.refused import hold_refused
from rotorwright.settings.snapshot import Snapshot

if TYPE_CHECKING:
    from collections.abc import Callable

    from rotorwright.hangar.journal import JsonValue
    from rotorwright.settings.outcomes import Outcome
    from rotorwright.settings.values import Value

# Below this no main battery is in: the board feeds the divider from the cable at most. Common practice, no source.
BATTERY_PRESENT_V = 6.0
BATTERY_TRIES = 3


def apply_defaults(shop: Workshop) -> None:
    """Reset to the board's own defaults, restart, and read them; the library keeps them for the next aircraft."""
    image = shop.state.image
    assert image is not None
    shop.require_confirmed(Gate.PROPELLERS_OFF)
    shop.note(EventKind.DEFAULTS_WANTED)
    reset_and_restart(shop)
    with shop.application(timeout_s=AFTER_RESTART_S) as link:
        identity = link.read_identity()
        own = read_catalogue_if_any(link)
        settings = link.read_settings(lambda done, total: shop.progress("reading the new defaults", done, total))
    snapshot = Snapshot(identity=identity, settings=settings, taken_at=shop.now())
    file = keep_snapshot(shop, "new-defaults", snapshot)
    catalogue = own or expected_catalogue(shop, image)
    kept_catalogue = keep_content(shop, "new-catalogue", "json", print_catalogue(catalogue)) if catalogue else None
    shop.note(
        EventKind.DEFAULTS_READ,
        file=kept_facts(file),
        catalogue=kept_facts(kept_catalogue) if kept_catalogue else None,
        settings=len(settings),
    )
    remember_defaults(shop, snapshot, catalogue=own)


def remember_defaults(shop: Workshop, snapshot: Snapshot, *, catalogue: Catalogue | None) -> None:
    """Put defaults that an aircraft showed into the library, so that the next one need not be reset to learn them."""
    if shop.experience is None:
        return
    known = None if catalogue is None else print_catalogue(catalogue)
    shop.experience.add(snapshot, catalogue=known, read_by=shop.read_by)


def reset_and_restart(shop: Workshop) -> None:
    """Reset the settings to defaults, save them, restart."""
    with shop.application() as link:
        link.reset_settings()
        link.save_settings()
        link.reboot()


def new_defaults(shop: Workshop) -> Snapshot:
    """Return the defaults as the aircraft itself gave them after the write."""
    snapshot = snapshot_from(shop, shop.state.new_defaults)
    assert snapshot is not None
    return snapshot


def hold_plan_against_aircraft(shop: Workshop) -> None:
    """Make the sheet again from what the aircraft says; where it decides otherwise, a new consent is asked for."""
    catalogue, defaults, before = known_catalogue(shop), new_defaults(shop).settings, current_sheet(shop)
    truth = planned_sheet(shop)
    sheet = carry_all_choices(
        before, truth, known_constraints(shop) or (), new_defaults=defaults, new_catalogue=catalogue
    )
    sheet = hold_refused(with_refits(shop, sheet), shop.state.refusals)
    if sheet == before:
        return
    because = "the aircraft's own defaults are not those expected"
    if shop.state.refusals:
        because = "the aircraft did not take some values as they were sent"
    shop.person.tell(f"The plan was made anew: {because}.")
    keep_sheet(shop, sheet, EventKind.SHEET_MADE, because=because)


def expected_settings(shop: Workshop) -> dict[str, Value]:
    """Return every setting as it must stand at the end, measured ones left out."""
    catalogue = known_catalogue(shop)
    expected = {**current_sheet(shop).expected_settings(new_defaults(shop).settings), **shop.state.repaired}
    return {name: value for name, value in expected.items() if not is_volatile(name, catalogue)}


def write_settings(shop: Workshop) -> None:
    """Write what differs from the plan, save, restart, read everything back, and compare.

    Values that the aircraft refuses, rounds or limits are put before the person again; the next step asks.

    Raises:
        SettingsNotAsPlannedError: the aircraft took a value and does not hold it after the restart.
    """
    shop.require_confirmed(Gate.PROPELLERS_OFF)
    hold_plan_against_aircraft(shop)
    if not shop.state.is_accepted:
        return  # the next step asks for consent to the new plan
    sheet, expected = current_sheet(shop), expected_settings(shop)
    bringing = Bringing(shop, expected, "writing settings", known_catalogue(shop), known_constraints(shop) or ())
    plan = bringing.plan(new_defaults(shop).settings)
    shop.note(EventKind.SETTINGS_WANTED, writes=len(sheet.writes), **plan_facts(plan))
    try:
        snapshot = bringing.run()
    except SettingsNotAsPlannedError as error:
        if not _put_before_person(shop, error.left):
            raise
        return
    file = keep_snapshot(shop, "as-left", snapshot)
    shop.note(
        EventKind.SETTINGS_VERIFIED,
        file=kept_facts(file),
        snapshot_sha256=snapshot.sha256,
        written=len(sheet.writes),
        verified=len(expected),
    )


def _put_before_person(shop: Workshop, left: tuple[Outcome, ...]) -> bool:
    """Hold what the aircraft did not take, if that is all that is left; answer whether it was."""
    refusals = [each for each in left if each.is_refusal]
    if not refusals or len(refusals) < len(left) or set(refusals) <= set(shop.state.refusals):
        return False
    for refusal in refusals:
        shop.person.tell(f"Not taken by the aircraft: {refusal.words}")
    listed: list[JsonValue] = [refusal_facts(each) for each in refusals]
    shop.note(EventKind.SETTINGS_REFUSED, refused=listed)
    hold_plan_against_aircraft(shop)
    return True


def write_display(shop: Workshop) -> None:
    """Write the release's display characters, battery in and propellers off, and read them back after a restart."""
    wanted = shop.book().characters(release_line(shop.state.expected_release))
    if wanted is None:
        note = "No release book has characters of this release; those in the display chip are as they were."
        shop.person.tell(note)
        shop.note(EventKind.DISPLAY_VERIFIED, changed=0, characters=0, note=note)
        return
    require_battery(shop)
    shop.note(EventKind.DISPLAY_WANTED)
    changed = bring_display(shop, wanted, lambda done, total: shop.progress("writing display characters", done, total))
    facts: dict[str, JsonValue] = {"changed": changed, "characters": 256}
    shop.note(EventKind.DISPLAY_VERIFIED, **facts)


def require_battery(shop: Workshop) -> None:
    """Let the display be written only while the aircraft itself measures its main battery.

    Raises:
        GateShutError: propellers not confirmed off, or no battery measured.
    """
    shop.require_confirmed(Gate.PROPELLERS_OFF)
    for attempt in range(BATTERY_TRIES + 1):
        with shop.application() as link:
            volts = link.read_battery().volts
        if volts >= BATTERY_PRESENT_V:
            shop.pass_measured(Gate.BATTERY_PRESENT, f"{volts:.1f} V measured by the aircraft")
            return
        if attempt == BATTERY_TRIES or not shop.person.act(BatteryRequest(measured_volts=volts)):
            break
        shop.clock.sleep_s(0.5)  # let the aircraft's voltage filter follow
    raise GateShutError(
        Gate.BATTERY_PRESENT,
        found=f"the aircraft measures {volts:.1f} V.",
        todo="Propellers off; plug the main battery in; then go on with `resume`.",
        volts=volts,
    )


def bring_display(shop: Workshop, wanted: bytes, progress: Callable[[int, int], None]) -> int:
    """Write the characters if any differ, restart, read them back; return how many differed before.

    Raises:
        DisplayNotWrittenError: they still differ afterwards.
    """
    goal = parse_characters(wanted)
    with shop.application() as link:
        before = differing_characters(parse_characters(link.read_file(DISPLAY_FILE)), goal)
        if before:
            link.write_file(DISPLAY_FILE, wanted, progress)
            link.reboot()
    still = display_differences(shop, wanted)
    if still:
        raise DisplayNotWrittenError(
            f"{len(still)} of {len(before)} display characters read back unchanged, the first is number {still[0]}.",
            why="The display chip accepts a write and forgets it when the main battery does not feed it.",
            todo="Propellers off; check the main battery and its plug; then go on with `resume`.",
            differing=len(still),
        )
    return len(before)


def display_differences(shop: Workshop, wanted: bytes) -> tuple[int, ...]:
    """Return the numbers of the characters on the aircraft that are not as wanted."""
    with shop.application(timeout_s=AFTER_RESTART_S) as link:
        return differing_characters(parse_characters(link.read_file(DISPLAY_FILE)), parse_characters(wanted))
