"""The one-page summary: readable without colour, in any terminal, whatever the texts hold."""

from __future__ import annotations

from dataclasses import fields, replace

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from rotorwright.report import AircraftFacts, Outcome, ReportData, StageCard, StageState, one_page_summary
from rotorwright.report.plain import moment, number, visible


def words_of(data: ReportData) -> str:
    """Return the summary as one line, so that a wrap between two words does not matter."""
    return " ".join(" ".join(one_page_summary(data)).split())


def test_the_summary_is_plain_text_of_at_most_100_columns(card: ReportData) -> None:
    lines = one_page_summary(card)
    assert all(line.isascii() for line in lines)
    assert max(len(line) for line in lines) <= 100
    assert len(lines) <= 60  # one page


def test_the_summary_names_what_counts(card: ReportData) -> None:
    text = words_of(card)
    for expected in (
        "SIGNED",
        "Sandmartin 5, id 3b0041000851383138323536",
        "Thornbill 5.2.0 -> 6.0.0",
        "Corvane One -> Corvane C405",
        "428 found, 428 decided, 7 held for a person, 73 written, 460 read back equal",
        "451,208 bytes, 8 of 8 sectors written, read back equal",
        "[ok] receive",
        "gyro_soft_hz: take the new default (by the demo)",
        "[??] Display characters",
        "power cut, torn in flash operation 200",
        "airworthiness approval",
        "lithium",
        "Propellers",
    ):
        assert expected in text


def test_an_image_that_did_not_read_back_is_called_so(card: ReportData) -> None:
    assert card.image is not None
    assert "NOT read back" in words_of(replace(card, image=replace(card.image, verified=False)))


def test_an_undecided_line_is_called_so(card: ReportData) -> None:
    line = replace(card.groups[0].lines[0], decision="")
    text = words_of(replace(card, groups=(replace(card.groups[0], lines=(line,)),)))
    assert "gyro_soft_hz: NOT DECIDED" in text


def test_the_next_action_is_prominent_while_the_job_is_not_finished(card: ReportData) -> None:
    lines = one_page_summary(replace(card, outcome=Outcome.NOT_FINISHED, todo="Go on with: rotorwright resume"))
    assert "NEXT                Go on with: rotorwright resume" in lines


@given(text=st.text(max_size=300))
@example(text="0\n")
@example(text="a\nb" * 40)
def test_no_text_breaks_the_page_or_steers_the_terminal(text: str) -> None:
    data = ReportData(
        title=text,
        aircraft=AircraftFacts(**{field.name: text for field in fields(AircraftFacts)}),
        outcome=Outcome.SIGNED,
        started_at=text,
        finished_at=text,
        stages=(StageCard(name=text, state=StageState.OPEN, words=text),),
    )
    lines = one_page_summary(data)
    assert not any("\n" in line for line in lines)
    assert max(len(line) for line in lines) <= 100
    assert all(visible(line) == line for line in lines)


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (0, "0"),
        (451_208, "451,208"),
        (-0.0, "0"),
        (15.6249, "15.62"),
        (0.00012345, "0.0001234"),
        (123_456.7, "123,457"),
        (float("nan"), "not a number"),
        (float("inf"), "infinite"),
        (float("-inf"), "minus infinite"),
        (True, "yes"),
        ("5.20", "5.20"),
    ],
)
def test_numbers_are_written_for_people(value: float | str, shown: str) -> None:
    assert number(value) == shown


@pytest.mark.parametrize(
    ("iso", "shown"),
    [
        ("2026-03-14T09:26:53.589+00:00", "2026-03-14 09:26:53 UTC"),
        ("2026-03-14T09:26:53Z", "2026-03-14 09:26:53 UTC"),
        ("2026-03-14T09:26:53+05:30", "2026-03-14 09:26:53 +05:30"),
        ("2026-03-14T09:26:53", "2026-03-14 09:26:53"),
        ("", ""),
        ("yesterday", "yesterday"),
    ],
)
def test_moments_are_written_for_people(iso: str, shown: str) -> None:
    assert moment(iso) == shown
