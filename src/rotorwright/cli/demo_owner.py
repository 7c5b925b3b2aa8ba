"""An owner who knows the new release by heart, and answers each held line as the release book would.

Shows in the demo, and proves in the tests, that a job without a book can end with the very same aircraft.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.cli.demo_person import usual_choice

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.settings.answering import Answer
    from rotorwright.settings.decisions import Decision
    from rotorwright.settings.sheet import CarryOverSheet


class KnowingOwner:
    """Knows what `truth`, a sheet made with all knowledge, makes of each found setting.

    Lines that are held there too are answered as a careful owner usually does. What several found settings became
    together is given with the first of them that is asked for.
    """

    def __init__(self, truth: CarryOverSheet) -> None:
        decided = truth
        for held in truth.undecided:
            decided = decided.decide(held.found[0], usual_choice(held))
        self._wanted: dict[str, dict[str, str]] = {}
        for each in decided.decisions:
            writes = {write.name: write.value.text for write in each.writes_in_force}
            for name in each.found:
                self._wanted[name] = writes

    def answer(self, held: Decision) -> Answer:
        """Return the option that does what the truth does, else the values by hand."""
        wanted: dict[str, str] = {}
        for name in held.found:
            wanted |= self._wanted.get(name, {})
        self._give(wanted)
        for option in held.options:
            if {write.name: write.value.text for write in option.writes} == wanted:
                return option.key
        return wanted

    def _give(self, given: Mapping[str, str]) -> None:
        """Forget what was given, so that no second line claims it."""
        for writes in self._wanted.values():
            for name in given:
                writes.pop(name, None)
