"""A setting at its default is decided without a case; the decision is the very one that its case would get."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.property.settings.test_carry_over_laws import MISSING, some_knowledge
from tests.property.settings.worlds import World, worlds
from tests.unit.settings.builders import snapshot

from rotorwright.settings.cases import OF_ONE, case_with_note, case_without_note
from rotorwright.settings.catalogue import Setting
from rotorwright.settings.deciding import decide_case, decide_untouched
from rotorwright.settings.note_entries import Rename
from rotorwright.settings.sides import Sides
from rotorwright.settings.values import SettingType, Value

if TYPE_CHECKING:
    from rotorwright.settings.note_entries import Note

slow_is_fine = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])


def spoken_of_alone(sides: Sides, world: World) -> list[tuple[str, Note | None]]:
    """Return each found setting with a note that speaks of it alone, and by itself."""
    found = [(note.old, note) for note in world.notes if isinstance(note, OF_ONE) and note.old in world.found]
    return [*found, *((name, None) for name in sides.inputs.ours.settings)]


@slow_is_fine
@given(worlds(), st.booleans(), MISSING, st.booleans())
def test_a_decision_without_a_case_is_the_one_on_the_case(
    world: World, same_aircraft: bool, missing: frozenset[str], is_fresh: bool
) -> None:
    if is_fresh:
        world.found = {name: each.default for name, each in world.old.items() if each.default is not None}
    sides = Sides(some_knowledge(world.inputs(same_aircraft=same_aircraft), missing))
    for name, note in spoken_of_alone(sides, world):
        plain = decide_untouched(sides, name, note)
        case = case_without_note(sides, name) if note is None else case_with_note(sides, note)
        assert plain is None or plain == decide_case(sides, case)


def test_settings_at_their_defaults_are_decided_without_a_case() -> None:
    world = World()
    default = Value.of(SettingType.UINT8, 3)
    for name in ("KEPT", "CALLED_ANEW"):
        world.old[name] = Setting(name, SettingType.UINT8, default=default)
        world.found[name] = default
    world.new = {name: Setting(name, SettingType.UINT8, default=default) for name in ("KEPT", "ANEW")}
    note = Rename(old="CALLED_ANEW", new="ANEW")
    world.notes = [note]
    sides = Sides(world.inputs())
    assert decide_untouched(sides, "KEPT", None) == decide_case(sides, case_without_note(sides, "KEPT"))
    assert decide_untouched(sides, "CALLED_ANEW", note) == decide_case(sides, case_with_note(sides, note))
    changed = Sides(replace(world.inputs(), ours=snapshot({**world.found, "KEPT": Value.of(SettingType.UINT8, 4)})))
    assert decide_untouched(changed, "KEPT", None) is None
