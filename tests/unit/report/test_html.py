"""The job card as HTML: complete, safe with hostile texts, well-formed, self-contained, readable."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import fields, is_dataclass, replace
from enum import StrEnum
from html.parser import HTMLParser
from importlib.resources import files
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rotorwright.report import (
    AircraftFacts,
    Evidence,
    Gate,
    Outcome,
    Proof,
    ReportData,
    SheetGroup,
    SheetLine,
    StageCard,
    StageState,
    Verdict,
    render_report,
)
from rotorwright.report.plain import moment, number

# Elements that have no end tag. Source: HTML Living Standard, section 13.1.2 "Elements", void elements (from memory).
VOID = {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"}

HOSTILE = "<script>alert('x')</script>\"><img src=x onerror=alert(1)>&amp;\x1b[31m\u202egnp.exe\x00"


class Page(HTMLParser):
    """What a reader of the page finds: elements in balance, ids, links, visible text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.elements: Counter[str] = Counter()
        self.ids: list[str] = []
        self.links: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self.text = ""
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements[tag] += 1
        given_values = [(name, value or "") for name, value in attrs]
        self.attributes += given_values
        self.ids += [value for name, value in given_values if name == "id"]
        self.links += [value for name, value in given_values if name == "href"]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.handle_endtag(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag, f"</{tag}> closes another element"

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] != "style":
            self.text += data


def plain_texts(value: object) -> list[str]:
    """Return every text and number in the data, as the page writes it."""
    if is_dataclass(value) and not isinstance(value, type):
        return [text for field in fields(value) for text in plain_texts(getattr(value, field.name))]
    if isinstance(value, tuple):
        return [text for item in value for text in plain_texts(item)]
    if isinstance(value, bool | StrEnum) or value is None:
        return []  # shown as words of the report; they have tests of their own
    return [number(value)] if isinstance(value, int | float) else [str(value)]


def test_everything_in_the_data_is_on_the_page(card: ReportData) -> None:
    # The kinds of groups steer the layout, and the points of a plot are drawn and not written.
    drawn = tuple(replace(proof, plots=()) for proof in card.proofs)
    groups = tuple(replace(group, kind="") for group in card.groups)
    text = " ".join(Page(render_report(card)).text.split())
    for expected in plain_texts(replace(card, proofs=drawn, groups=groups)):
        assert moment(expected) in text


def test_elements_are_balanced_and_ids_are_unique_and_every_link_leads_somewhere(card: ReportData) -> None:
    page = Page(render_report(card))
    assert page.open == []
    assert page.elements["html"] == page.elements["body"] == page.elements["main"] == page.elements["h1"] == 1
    assert len(page.ids) == len(set(page.ids))
    assert page.links
    assert {link.removeprefix("#") for link in page.links} <= set(page.ids)


def test_the_page_loads_nothing_and_runs_nothing(card: ReportData) -> None:
    html = render_report(card)
    page = Page(html)
    assert not {"script", "link", "iframe", "object", "embed", "img", "base", "form"} & set(page.elements)
    assert not any(name.startswith("on") or name == "src" for name, _ in page.attributes)
    assert "url(" not in html
    assert "@import" not in html
    assert "://" not in html
    assert ("content", "default-src 'none'; style-src 'unsafe-inline'") in page.attributes


def hostile(card: ReportData, text: str) -> ReportData:
    """Return the card with `text` in every place that takes one."""
    line = SheetLine(names=text, new_names=text + "2", before=text, after=text, reason=text, decision=text)
    evidence = Evidence(label=text, value=text, unit=text)
    plot = replace(
        card.proofs[-1].plots[0],
        title=text,
        x_label=text,
        x_unit=text,
        y_label=text,
        y_unit=text,
        traces=tuple(replace(trace, label=text) for trace in card.proofs[-1].plots[0].traces),
    )
    return replace(
        card,
        title=text,
        aircraft=AircraftFacts(**{field.name: text for field in fields(AircraftFacts)}),
        started_at=text,
        finished_at=text,
        stages=(StageCard(name=text, state=StageState.OPEN, entries=(evidence,), words=text),),
        groups=(SheetGroup(kind="held", title=text, explanation=text, lines=(line,) * 30),),
        image=replace(card.image, name=text, sha256=text) if card.image else None,
        gates=(Gate(name=text, verdict=Verdict.FAILED, words=text, held_by=text),),
        proofs=(Proof(name=text, verdict=Verdict.UNSURE, words=text, entries=(evidence,), plots=(plot,)),),
        faults=tuple(replace(fault, name=text, words=text, at=text) for fault in card.faults),
        files=tuple(replace(file, name=text, sha256=text, words=text) for file in card.files),
        events=tuple(replace(event, at=text, kind=text, words=text) for event in card.events),
        remarks=(text,),
        todo=text,
        made_by=text,
    )


def test_hostile_texts_stay_texts(card: ReportData) -> None:
    clean, attacked = Page(render_report(hostile(card, "x"))), Page(render_report(hostile(card, HOSTILE)))
    assert attacked.elements == clean.elements
    assert {name for name, _ in attacked.attributes} == {name for name, _ in clean.attributes}
    assert "<script>alert('x')</script>" in attacked.text


def test_steering_characters_are_shown_and_take_no_effect(card: ReportData) -> None:
    html = render_report(hostile(card, HOSTILE))
    assert not set("\x1b\u202e\x00") & set(html)
    assert "\N{SYMBOL FOR ESCAPE}[31m[U+202E]gnp.exe\N{SYMBOL FOR NULL}" in html


@given(text=st.text())
def test_any_text_gives_a_page_that_can_be_stored(text: str) -> None:
    # `card` is a fixture of function scope, which generated data cannot take: a small card is enough here.
    facts = AircraftFacts(**{field.name: text for field in fields(AircraftFacts)})
    data = ReportData(
        title=text,
        aircraft=facts,
        outcome=Outcome.NOT_FINISHED,
        started_at=text,
        finished_at=text,
        stages=(),
        todo=text,
    )
    html = render_report(data)
    html.encode("utf-8")
    assert Page(html).open == []


def test_the_same_data_gives_the_same_bytes(card: ReportData) -> None:
    assert render_report(card) == render_report(replace(card))


@pytest.mark.parametrize("outcome", Outcome)
def test_the_outcome_stands_on_the_card_in_words(card: ReportData, outcome: Outcome) -> None:
    page = Page(render_report(replace(card, outcome=outcome)))
    assert page.text.split().count(outcome.split()[0]) >= 2  # in the title of the page and on its stamp


def test_states_and_verdicts_are_words_and_not_only_colours(card: ReportData) -> None:
    stages = tuple(StageCard(name=str(state), state=state) for state in StageState)
    gates = tuple(Gate(name="g", verdict=verdict, words="w") for verdict in Verdict)
    text = Page(render_report(replace(card, stages=stages, gates=gates))).text
    for words in ("done", "open", "stopped here", "not reached", "passed", "failed", "cannot be sure"):
        assert words in text


def test_an_undecided_held_line_says_so(card: ReportData) -> None:
    line = replace(card.groups[0].lines[0], decision="")
    text = Page(render_report(replace(card, groups=(replace(card.groups[0], lines=(line,)),)))).text
    assert "Not decided" in text


def test_an_unfinished_card_shows_the_next_action_and_forbids_flying(card: ReportData) -> None:
    data = replace(card, outcome=Outcome.NOT_FINISHED, todo="Go on with: rotorwright resume")
    text = Page(render_report(data)).text
    assert "Go on with: rotorwright resume" in text
    assert "Do not fly" in text


def test_the_cautions_are_on_every_card(card: ReportData) -> None:
    empty = ReportData(
        title="t", aircraft=card.aircraft, outcome=Outcome.NOT_FINISHED, started_at="", finished_at="", stages=()
    )
    for data in (card, empty):
        text = Page(render_report(data)).text
        for word in ("propellers", "Lithium", "Local rules", "airworthiness approval", "manufacturer's instructions"):
            assert word in text


def test_a_long_group_starts_folded_and_a_short_one_open(card: ReportData) -> None:
    html = render_report(card)
    assert "<details><summary><h3>New default stands</h3>" in html
    assert "<summary><h3>Converted</h3>" not in html


# --- colours -------------------------------------------------------------------------------------------------------

TEXT_COLOURS = (
    "ink",
    "soft-ink",
    "accent",
    "good",
    "bad",
    "doubt",
    "quiet",
    "trace-1",
    "trace-2",
    "trace-3",
    "trace-4",
)
WASHES = {"good": "good-wash", "bad": "bad-wash", "doubt": "doubt-wash", "quiet": "quiet-wash"}


def palettes() -> dict[str, dict[str, str]]:
    """Return the named colours of the style sheet for light, dark and print."""
    css = files("rotorwright.report").joinpath("templates/style.css").read_text(encoding="utf-8")
    blocks = re.findall(r":root\s*{([^}]*)}", css)
    named = [dict(re.findall(r"--([\w-]+):\s*(#[0-9a-f]{3,6});", block)) for block in blocks]
    return dict(zip(("light", "dark", "print"), named, strict=True))


def luminance(colour: str) -> float:
    """Return the relative luminance. Source: WCAG 2.1, definition "relative luminance" (from memory)."""
    digits = colour[1:] if len(colour) == 7 else "".join(2 * digit for digit in colour[1:])
    channels = [int(digits[at : at + 2], 16) / 255 for at in (0, 2, 4)]
    red, green, blue = (c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio. Source: WCAG 2.1, definition "contrast ratio" (from memory)."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_is_computed_as_the_guideline_says() -> None:
    assert contrast("#000000", "#fff") == pytest.approx(21.0)  # the greatest ratio that WCAG 2.1 knows


@pytest.mark.parametrize("variant", ["light", "dark", "print"])
def test_every_text_colour_can_be_read_on_every_ground(variant: str) -> None:
    colours = palettes()[variant]
    for text, ground in [*product(TEXT_COLOURS, ("paper", "sheet")), *WASHES.items()]:
        # 4.5 to 1 for normal text. Source: WCAG 2.1, success criterion 1.4.3 (AA).
        assert contrast(colours[text], colours[ground]) >= 4.5, f"{text} on {ground}"
