"""The same job card on one page of plain text: at most 100 columns, no colour, signs of our own in ASCII."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from rotorwright.report.plain import moment, number, visible
from rotorwright.report.words import OUTCOME_MARKS, STAGE_MARKS, VERDICT_MARKS, outcome_sentence

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from rotorwright.report.data import AircraftFacts, Evidence, ReportData, SheetGroup, StageCard

WIDTH = 100
LABEL = 20
HELD = "held"
CAUTION = (
    "Propellers on last, outside, away from people. No swollen or damaged lithium battery. Local rules and the "
    "manufacturer's instructions stand above this record; it is not an airworthiness approval."
)


def one_page_summary(data: ReportData) -> tuple[str, ...]:
    """Return the card as lines of at most 100 columns, without their ends."""
    return tuple(line.rstrip() for line in _lines(data))


def _lines(data: ReportData) -> Iterator[str]:
    outcome = OUTCOME_MARKS[data.outcome]
    yield "=" * WIDTH
    yield from _row(outcome.words.upper(), data.title)
    yield from _row("", outcome_sentence(data))
    if data.todo:
        yield from _row("NEXT", data.todo)
    yield "-" * WIDTH
    yield from _aircraft(data.aircraft)
    yield from _row("Worked on", " to ".join(moment(one) for one in (data.started_at, data.finished_at) if one))
    yield from _totals(data)
    yield "-" * WIDTH
    for stage in data.stages:
        yield from _stage(stage)
    yield from _sheet(data.groups)
    yield from _marked(
        "Bench checks", ((VERDICT_MARKS[one.verdict].plain_sign, one.name, one.words) for one in data.proofs)
    )
    yield from _marked("Faults survived", (("[ok]", one.name, one.words) for one in data.faults))
    yield "-" * WIDTH
    for remark in data.remarks:
        yield from _row("Remark", remark)
    yield from _row("Before it flies", CAUTION)
    yield "=" * WIDTH


def _row(label: str, text: str) -> Iterator[str]:
    """Yield a label and its text, wrapped under itself. Line feeds in the text count as blanks."""
    words = " ".join(visible(text).split())
    head = visible(label).replace("\n", " ").ljust(LABEL - 1) + " "
    if len(head) > LABEL:
        yield from _wrapped(head, indent="")
        head = " " * LABEL
    yield from textwrap.wrap(words, WIDTH, initial_indent=head, subsequent_indent=" " * LABEL) or [head]


def _wrapped(text: str, *, indent: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent)


def _aircraft(craft: AircraftFacts) -> Iterator[str]:
    yield from _row("Aircraft", f"{craft.airframe}, id {craft.unique_id}")
    yield from _row("Firmware", f"{craft.family} {_change(craft.release_before, craft.release_after)}")
    yield from _row("Board", _change(craft.board_before, craft.board_after))


def _change(before: str, after: str) -> str:
    return f"{before} -> {after}" if after and after != before else before


def _totals(data: ReportData) -> Iterator[str]:
    count = data.settings
    if count:
        yield from _row(
            "Settings",
            f"{number(count.found)} found, {number(count.decided)} decided, {number(count.held)} held for a person, "
            f"{number(count.written)} written, {number(count.verified)} read back equal",
        )
    image = data.image
    if image:
        verified = "read back equal" if image.verified else "NOT read back"
        yield from _row(
            "Image",
            f"{image.name}: {number(image.size_bytes)} bytes, {image.sectors_written} of {image.sectors_in_image} "
            f"sectors written, {verified}",
        )


def _stage(stage: StageCard) -> Iterator[str]:
    mark = STAGE_MARKS[stage.state]
    facts = "; ".join(_fact(entry) for entry in stage.entries)
    words = ". ".join(part for part in (stage.words.rstrip("."), facts) if part)
    yield from _row(f"{mark.plain_sign} {stage.name}", words or mark.words)


def _fact(entry: Evidence) -> str:
    value = f"{number(entry.value)} {entry.unit}".rstrip()
    verdict = f" ({VERDICT_MARKS[entry.verdict].words})" if entry.verdict else ""
    return f"{entry.label}: {value}{verdict}"


def _sheet(groups: Iterable[SheetGroup]) -> Iterator[str]:
    found = [group for group in groups if group.lines]
    if not found:
        return
    yield "-" * WIDTH
    yield from _row("Carry-over sheet", ", ".join(f"{group.title.lower()} {len(group.lines):,}" for group in found))
    for line in (line for group in found if group.kind == HELD for line in group.lines):
        yield from _row("  held", f"{line.names}: {line.decision or 'NOT DECIDED'}")


def _marked(title: str, lines: Iterable[tuple[str, str, str]]) -> Iterator[str]:
    for index, (sign, name, words) in enumerate(lines):
        if index == 0:
            yield "-" * WIDTH
            yield title
        yield from _row(f"{sign} {name}", words)
