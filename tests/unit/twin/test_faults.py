"""Faults as a person writes them."""

from __future__ import annotations

import pytest

from rotorwright.twin.errors import FaultPlanError
from rotorwright.twin.faults import CutMoment, FaultPlan, MemoryKind, PowerCut, fault_forms


@pytest.mark.parametrize(
    ("text", "plan"),
    [
        ("", FaultPlan()),
        ("power-cut@120", FaultPlan(power_cut=PowerCut(120, CutMoment.BEFORE))),
        ("torn@1", FaultPlan(power_cut=PowerCut(1, CutMoment.TORN))),
        ("after@7", FaultPlan(power_cut=PowerCut(7, CutMoment.AFTER))),
        ("torn@3/settings", FaultPlan(power_cut=PowerCut(3, CutMoment.TORN, MemoryKind.SETTINGS))),
        ("after@3/display", FaultPlan(power_cut=PowerCut(3, CutMoment.AFTER, MemoryKind.DISPLAY))),
        ("cable@5000", FaultPlan(cable_pull_after_bytes=5000)),
        ("lose=0.2, damage=0.05", FaultPlan(loss_rate=0.2, damage_rate=0.05)),
        ("late=0.5,double=0.1", FaultPlan(late_s=0.5, double_rate=0.1)),
        ("protected=4+3+4", FaultPlan(protected_sectors=(3, 4))),
        ("wrong-board,battery-absent,seed=7", FaultPlan(wrong_board=True, battery_absent=True, seed=7)),
    ],
)
def test_each_fault_can_be_written_down(text: str, plan: FaultPlan) -> None:
    assert FaultPlan.parse(text) == plan
    assert FaultPlan.parse(plan.words()) == plan


def test_several_texts_make_one_plan() -> None:
    assert FaultPlan.parse(["lose=0.2", "late=1"]) == FaultPlan(loss_rate=0.2, late_s=1.0)


@pytest.mark.parametrize(
    "text",
    [
        "torn@0",
        "torn@",
        "torn",
        "torn@-1",
        "torn@1.5",
        "torn@x",
        "torn@1e2",
        "torn@1/ram",
        "torn=1",
        "lose=1.1",
        "lose=nan",
        "lose=",
        "lose@0.2",
        "late=-1",
        "late=1e9",
        "protected=",
        "protected=a",
        "wrong-board=1",
        "seed=0",
    ],
)
def test_a_fault_that_is_not_well_written_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(FaultPlanError) as caught:
        FaultPlan.parse(text)
    assert repr(text) in caught.value.what
    assert "would be written like" in caught.value.why


def test_an_unknown_fault_names_the_likely_one_and_all_others() -> None:
    with pytest.raises(FaultPlanError) as caught:
        FaultPlan.parse("power-cat@3")
    assert "'power-cut@120'" in caught.value.why
    assert all(example in caught.value.todo for example, _ in fault_forms())


def test_every_example_of_the_help_can_be_read() -> None:
    for example, _ in fault_forms():
        assert FaultPlan.parse(example) != FaultPlan() or example.startswith("seed")
