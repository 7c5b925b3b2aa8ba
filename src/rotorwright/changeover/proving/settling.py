"""A bench check from its measurement to its place in the journal: kept, repaired where a person wants it, or stopped.

What fails stops the job; the person repairs it and goes on, and the check is measured anew. What could not be shown is
asked for once more and then noted as not shown, which is never called passed.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from rotorwright.bench.verdicts import CheckResult, Verdict
from rotorwright.changeover.bringing import Bringing
from rotorwright.changeover.errors import BenchCheckFailedError
from rotorwright.changeover.events import EventKind
from rotorwright.changeover.gates import Gate, NotConfirmedError
from rotorwright.changeover.kept import kept_facts
from rotorwright.changeover.person import SeenQuestion
from rotorwright.changeover.proving import craft
from rotorwright.changeover.proving.measures import MEASURES, not_offered, not_wanted
from rotorwright.changeover.receive import keep_content, keep_snapshot
from rotorwright.changeover.sheets import known_catalogue, known_constraints
from rotorwright.changeover.state import value_facts
from rotorwright.errors import ProtocolError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.bench.verdicts import Finding
    from rotorwright.changeover.workshop import Workshop
    from rotorwright.settings.roles import RoleValues
    from rotorwright.settings.values import Value

YES, NO = "yes", "no"
ROLE_UNITS = {"sensor.board.": "deg", "level.trim.": "deg", "failsafe.wait": "s", "battery.cell.": "V"}
"""Unit of the values that a finding gives for a role; all others have none."""


def prove_check(shop: Workshop, check: str) -> CheckResult:
    """Measure a bench check, note how it ended, and return it: passed, or not shown.

    Raises:
        BenchCheckFailedError: it failed, and no repair was wanted or none helped.
    """
    is_asked = False
    while True:
        result = _measured(shop, check)
        if result.verdict is Verdict.FAILED:
            _settle(shop, result)
            if not _repair(shop, result):
                raise failed(result)
            continue
        if result.verdict is Verdict.NOT_SHOWN and not is_asked and _wants_again(shop, result):
            is_asked = True
            continue
        _settle(shop, result)
        return result


def _measured(shop: Workshop, check: str) -> CheckResult:
    try:
        return MEASURES[check](shop)
    except ProtocolError as refusal:
        return not_offered(check, refusal)
    except NotConfirmedError as shut:
        if shut.gate is not Gate.MOTORS_MAY_TURN:
            raise
        return not_wanted(check)


def note_result(shop: Workshop, result: CheckResult) -> None:
    """Keep the whole result, with its figures, beside the journal, and note there how the check ended."""
    data = json.dumps(result.as_json(), indent=1, ensure_ascii=False, allow_nan=False).encode()
    shop.note(
        EventKind.CHECK_FAILED if result.verdict is Verdict.FAILED else EventKind.CHECK_PROVED,
        check=result.check,
        verdict=str(result.verdict),
        evidence=result.sentence,
        findings=[finding.kind for finding in result.findings],
        file=kept_facts(keep_content(shop, f"check-{result.check}", "json", data)),
    )


def _settle(shop: Workshop, result: CheckResult) -> None:
    note_result(shop, result)
    shop.person.tell(f"{result.check}: {result.verdict}. {result.sentence}")


def _wants_again(shop: Workshop, result: CheckResult) -> bool:
    question = SeenQuestion(f"{result.sentence} Measure it once more?", (YES, NO), "measure-again")
    return shop.person.answer(question) == YES


def _repair(shop: Workshop, result: CheckResult) -> bool:
    """Offer to set what the findings say; answer whether it was done."""
    roles = craft.roles_now(shop)
    changes: dict[str, Value] = {}
    for finding in result.findings:
        changes.update(_changes(roles, finding))
    if not changes:
        return False
    listed = ", ".join(f"{name} to {value.shown}" for name, value in changes.items())
    words = f"{result.sentence} Set {listed} now? The aircraft saves it and restarts, then it is measured again."
    if shop.person.answer(SeenQuestion(words, (YES, NO), "repair", (("check", result.check),))) != YES:
        return False
    repair(shop, changes, because=result.check)
    return True


def _changes(roles: RoleValues, finding: Finding) -> dict[str, Value]:
    found: dict[str, Value] = {}
    for role, text in finding.settings.items():
        name, value = roles.name(role), roles.value_for(role, float(text), _unit(role))
        if name is None or value is None or roles.catalogue is None or name not in roles.catalogue:
            return {}
        if roles.catalogue[name].refusal(value) is not None:
            return {}
        if value != roles.values[name]:
            found[name] = value
    return found


def _unit(role: str) -> str:
    return next((unit for start, unit in ROLE_UNITS.items() if role.startswith(start)), "")


def repair(shop: Workshop, changes: Mapping[str, Value], *, because: str) -> None:
    """Write, save, restart and read back settings that a bench check showed to be wrong.

    Raises:
        SettingsNotAsPlannedError: the aircraft does not hold them after the restart.
    """
    shop.require_confirmed(Gate.PROPELLERS_OFF)
    constraints = known_constraints(shop) or ()
    snapshot = Bringing(shop, changes, "repairing", known_catalogue(shop), constraints).run()
    shop.note(
        EventKind.SETTINGS_REPAIRED,
        changed={name: value_facts(value) for name, value in changes.items()},
        because=because,
        file=kept_facts(keep_snapshot(shop, "as-left", snapshot)),
    )


def failed(result: CheckResult) -> BenchCheckFailedError:
    """Return the error for a check that failed."""
    first = result.findings[0]
    others = [finding.words for finding in result.findings[1:] if not finding.is_missing]
    error = BenchCheckFailedError(
        f"The bench check '{result.check}' failed: {first.words}",
        why=" ".join(others) or "It was measured on this aircraft, with what its settings say now.",
        state="Do not fly." if result.is_dangerous else "It is not as it should be yet.",
        todo=f"{first.advice} Then go on with `resume`; it is measured again.",
        check=result.check,
        kinds=", ".join(finding.kind for finding in result.findings),
    )
    error.result = result
    return error
