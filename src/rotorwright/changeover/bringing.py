"""Bring settings onto an aircraft in a safe order, and say of each that does not stand as sent what became of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from rotorwright.changeover.errors import SettingsNotAsPlannedError
from rotorwright.changeover.workshop import AFTER_RESTART_S, Workshop
from rotorwright.errors import LinkError, ProtocolError, SettingsError
from rotorwright.settings.decisions import Write
from rotorwright.settings.outcomes import Outcome, outcome
from rotorwright.settings.snapshot import Snapshot
from rotorwright.settings.write_order import WriteBatch, WritePlan, plan_writes

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from rotorwright.hangar.journal import JsonValue
    from rotorwright.links.application import ApplicationLink
    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.constraint_rules import Constraint
    from rotorwright.settings.values import Value

SETTINGS_TRIES = 3


@dataclass(slots=True)
class Bringing:
    """Settings on their way onto an aircraft.

    Args:
        shop: the workshop.
        expected: every value as it must stand at the end.
        words: what is done, for the progress line.
        catalogue: what the release that runs knows to set, if known.
        constraints: what has to hold between its settings, if known.
    """

    shop: Workshop
    expected: Mapping[str, Value]
    words: str
    catalogue: Catalogue | None = None
    constraints: Iterable[Constraint] = ()
    _before: Mapping[str, Value] = field(init=False, default_factory=dict)
    _taken: set[str] = field(init=False, default_factory=set)
    _done: int = field(init=False, default=0)

    def plan(self, current: Mapping[str, Value]) -> WritePlan:
        """Return in which order what differs from `current` is to be written."""
        differing = [Write(name, self.expected[name]) for name in differences(current, self.expected)]
        return plan_writes(differing, current=current, catalogue=self.catalogue, constraints=self.constraints)

    def run(self) -> Snapshot:
        """Write what differs, batch by batch, save and restart after each, read back; return what stands at the end.

        One setting that the aircraft does not take does not stop the others.

        Raises:
            SettingsNotAsPlannedError: some still differ after the restart; all of them are named with both values.
            LinkError: the aircraft does not answer any more.
        """
        left: tuple[Outcome, ...] = ()
        for _ in range(SETTINGS_TRIES):
            self._write_all()
            snapshot = read_snapshot(self.shop)
            before, left = left, self._left(snapshot.settings)
            if not left:
                return snapshot
            if left == before:
                break  # it says the same again, so once more would not help
        raise _not_as_planned(left)

    def _write_all(self) -> None:
        with self.shop.application(timeout_s=AFTER_RESTART_S) as link:
            current = link.read_settings(lambda done, total: self.shop.progress("reading settings", done, total))
            self._before = self._before or current
            plan = self.plan(current)
            self._taken.clear()
            self._done = 0
            first, *others = plan.batches or (WriteBatch((), ""),)
            self._write_batch(link, first, total=len(plan.writes))
        for batch in others:
            with self.shop.application(timeout_s=AFTER_RESTART_S) as link:
                self._write_batch(link, batch, total=len(plan.writes))

    def _write_batch(self, link: ApplicationLink, batch: WriteBatch, *, total: int) -> None:
        for write in batch.writes:
            if is_taken(link, write):
                self._taken.add(write.name)
            self._done += 1
            self.shop.progress(self.words, self._done, total)
        link.save_settings()
        link.reboot()

    def _left(self, found: Mapping[str, Value]) -> tuple[Outcome, ...]:
        return tuple(
            outcome(
                name,
                sent=self.expected[name],
                stands=found.get(name),
                before=self._before.get(name),
                is_taken=name in self._taken,
                setting=self.catalogue.get(name) if self.catalogue else None,
            )
            for name in differences(found, self.expected)
        )


def is_taken(link: ApplicationLink, write: Write) -> bool:
    """Write one setting and answer whether the aircraft took it; what stands in the end only a later reading tells.

    Raises:
        LinkError: it does not answer to this nor to anything else.
    """
    try:
        link.write_setting(write.name, write.value)
    except (ProtocolError, SettingsError):  # refused, or no line of this console can say it
        return False
    except LinkError as silence:
        try:
            link.read_identity()
        except (LinkError, ProtocolError):
            raise silence from None
        return False
    return True


def plan_facts(plan: WritePlan) -> dict[str, JsonValue]:
    """Return the order and the restarts of a plan as plain data for an event."""
    return {
        "batches": [len(batch.writes) for batch in plan.batches],
        "restarts_between": plan.restarts_between,
        "because": [batch.words for batch in plan.batches[:-1]],
    }


def read_snapshot(shop: Workshop) -> Snapshot:
    """Return everything that the aircraft holds now."""
    with shop.application(timeout_s=AFTER_RESTART_S) as link:
        identity = link.read_identity()
        settings = link.read_settings(lambda done, total: shop.progress("reading settings back", done, total))
    return Snapshot(identity=identity, settings=settings, taken_at=shop.now())


def differences(found: Mapping[str, Value], expected: Mapping[str, Value]) -> tuple[str, ...]:
    """Return the names of `expected` that do not stand as expected."""
    return tuple(name for name, value in expected.items() if found.get(name) != value)


def _not_as_planned(left: tuple[Outcome, ...]) -> SettingsNotAsPlannedError:
    several = f"{len(left)} settings are" if len(left) > 1 else "One setting is"
    error = SettingsNotAsPlannedError(
        f"{several} not as planned after the restart. {'; '.join(each.words for each in left)}.",
        why="The aircraft does not allow these values, or its memory did not keep them.",
        state="All other settings stand as planned. The saved settings are safe in the hangar.",
        todo="Go on with `resume`; if it stays so, look at the value with `show` or use `roll-back`.",
        names=", ".join(each.name for each in left),
        outcomes="; ".join(each.words for each in left),
    )
    error.left = left
    return error
