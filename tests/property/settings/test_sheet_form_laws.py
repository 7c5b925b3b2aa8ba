"""The forms of a carry-over sheet: what is printed fits the published schema, and no form loses a value."""

from __future__ import annotations

import csv
import io
import json
from collections import Counter
from dataclasses import replace
from importlib import resources
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.property.settings.worlds import World, worlds
from tests.unit.settings.json_schema import faults

from rotorwright.settings.carry_over import carry_over
from rotorwright.settings.decisions import DecisionKind
from rotorwright.settings.sheet import SHEET_VERSION, CarryOverSheet, print_sheet
from rotorwright.settings.sheet_csv import guarded, plain_text, print_sheet_csv
from rotorwright.settings.values import SettingType, Value

slow_is_fine = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])

TEXTS = st.text(st.characters(exclude_categories=["Cs"]))


def schema() -> dict[str, Any]:
    folder = resources.files("rotorwright.settings")
    found: dict[str, Any] = json.loads(folder.joinpath("carry-over-sheet.schema.json").read_text(encoding="utf-8"))
    return found


def partly_decided(sheet: CarryOverSheet) -> CarryOverSheet:
    """Return the sheet with every second held line decided."""
    for held in sheet.held[::2]:
        sheet = sheet.decide(held.found[0], held.options[-1].key)
    return sheet


@slow_is_fine
@given(worlds())
def test_every_printed_sheet_fits_the_published_schema(world: World) -> None:
    sheet = carry_over(world.inputs())
    for each in (sheet, partly_decided(sheet), replace(sheet, remarks=("a", "b"))):
        assert faults(json.loads(print_sheet(each)), schema()) == []


@slow_is_fine
@given(worlds(), TEXTS)
def test_every_value_of_a_sheet_comes_back_from_its_csv_bit_for_bit(world: World, text: str) -> None:
    sheet = partly_decided(carry_over(world.inputs()))
    sheet = replace(sheet, decisions=tuple(replace(each, reason=text or "x") for each in sheet.decisions))
    read = list(csv.DictReader(io.StringIO(print_sheet_csv(sheet).decode(), newline="")))
    found = {plain_text(row["setting"]): _value(row, "found") for row in read if row["setting"]}
    base = {plain_text(row["setting"]): _value(row, "old_default") for row in read if row["setting"]}
    written = {plain_text(row["new_setting"]): _value(row, "becomes") for row in read if row["is_written"] == "yes"}
    assert found == {name: value for each in sheet.decisions for name, value in zip(each.found, each.ours, strict=True)}
    assert base == {name: value for each in sheet.decisions for name, value in zip(each.found, each.base, strict=True)}
    assert written == {each.name: each.value for one in sheet.decisions for each in one.writes_in_force}
    assert Counter(row["decision"] for row in read if row["setting"]) == Counter(
        str(each.kind) for each in sheet.decisions for _ in each.found
    )


@given(TEXTS)
def test_a_guarded_cell_is_never_a_formula_and_comes_back(text: str) -> None:
    assert plain_text(guarded(text)) == text
    if guarded(text)[:1] in {"=", "+", "-", "@"}:
        float(guarded(text))  # only a number may begin like this


def _value(row: dict[str, str], column: str) -> Value | None:
    type_ = row[f"{column}_type"]
    return Value.parse(SettingType(type_), plain_text(row[column])) if type_ else None


def test_the_schema_knows_every_kind_and_type_and_only_those() -> None:
    parts = schema()["$defs"]
    assert parts["decision"]["properties"]["kind"]["enum"] == [str(kind) for kind in DecisionKind]
    assert parts["value"]["properties"]["type"]["enum"] == [str(type_) for type_ in SettingType]
    assert schema()["properties"]["version"]["const"] == SHEET_VERSION


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"extra": 1}, "unknown key extra"),
        ({"version": 2}, "is not 1"),
        ({"sha256": "00"}, "$.sha256"),
        ({"arrivals": [{"name": "A", "default": {"type": "Real", "text": "1"}, "words": ""}]}, "arrivals[0].default"),
        ({"decisions": [{"found": []}]}, "lacks kind"),
        ({"decisions": [{"found": []}]}, "has too few"),
        ({"decisions": [{"kind": "guess"}]}, "is none of"),
    ],
)
def test_what_is_no_sheet_does_not_fit_the_schema(change: dict[str, Any], words: str) -> None:
    document = json.loads(print_sheet(carry_over(World().inputs())))
    assert faults(document, schema()) == []
    assert any(words in fault for fault in faults({**document, **change}, schema()))
