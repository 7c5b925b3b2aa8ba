"""The carry-over sheet as HTML: complete, safe with hostile texts, well-formed, self-contained, the same each time."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from tests.unit.report.test_html import HOSTILE, Page
from tests.unit.settings.builders import INT16, UINT8, Pair, catalogue, notes, setting

from rotorwright.report.sheet_html import render_sheet
from rotorwright.settings.decisions import Arrival, Decision, DecisionKind, Option, Write
from rotorwright.settings.sheet import CarryOverSheet
from rotorwright.settings.values import Value

PAIR = Pair(
    catalogue(setting("CHANGED", INT16, 5, unit="ms"), setting("GONE", INT16, 5), setting("WORD", UINT8, 0)),
    catalogue(setting("CHANGED", INT16, 9, unit="ms"), setting("WORD_TOP", UINT8, 0), setting("WORD_END", UINT8, 0)),
    notes('[[split]]\nold = "WORD"\ninto = [{new = "WORD_END", bits = [0, 1]}, {new = "WORD_TOP", bits = [2, 3]}]\n'),
)
PICTURE = '<svg viewBox="0 0 9 9"><title>before and after</title><path d="M0 0L9 9"/></svg>'


def sheet() -> CarryOverSheet:
    return PAIR.sheet(CHANGED=7, GONE=7, WORD=6)


def page(made: CarryOverSheet, **more: object) -> Page:
    return Page(render_sheet(made, old=PAIR.old, new=PAIR.new, **more))  # type: ignore[arg-type]


def words(made: CarryOverSheet) -> str:
    return " ".join(page(made).text.split())


def hostile() -> CarryOverSheet:
    """Return a sheet with markup and steering characters wherever a text may stand."""
    value = Value.of_text(HOSTILE)
    option = Option(HOSTILE, HOSTILE, (Write(HOSTILE, value),))
    lines = tuple(
        Decision(
            (f"{number:02d}{HOSTILE}",), kind, HOSTILE, HOSTILE, (value,), (None,), (HOSTILE,), (value,), (), (option,)
        )
        for number, kind in enumerate(DecisionKind)
    )
    arrival = Arrival(HOSTILE, value, HOSTILE)
    return CarryOverSheet(lines, (arrival,), HOSTILE, HOSTILE, HOSTILE, "0" * 64, HOSTILE)


def test_every_line_tells_its_names_its_values_its_reason_and_its_rule() -> None:
    said = words(sheet())
    for decision in sheet().decisions:
        for expected in (*decision.found, *decision.new_names, decision.reason, decision.rule):
            assert " ".join(expected.split()) in said
    for expected in ("7 ms", "5 ms", "9 ms"):
        assert expected in said


def test_a_held_line_shows_each_way_with_its_key_and_what_it_writes() -> None:
    said = words(sheet())
    for held in sheet().held:
        for way in held.options:
            assert f"{way.key}{way.words}" in said
    assert "writes CHANGED = 7 ms" in said


def test_remarks_stand_at_the_head() -> None:
    made = render_sheet(replace(sheet(), remarks=("Two & two are four.",)))
    assert made.index("Two &amp; two are four.") < made.index('id="held"')


def test_held_lines_come_first() -> None:
    made = render_sheet(sheet())
    assert re.findall(r'<section class="sheet kind" id="([a-z]+)">', made)[0] == "held"


def test_the_state_is_said_in_words_and_changes_with_the_decisions() -> None:
    said = words(sheet())
    assert "2 held lines wait for a person" in said
    assert "? not decided" in said
    assert "keep-mine chosen" not in said
    decided = sheet().decide("CHANGED", "keep-mine")
    assert "1 held line waits" in words(decided)
    assert "keep-mine chosen" in words(decided)
    done = words(decided.decide("GONE", "leave-out"))
    assert "all decided" in done
    assert "not decided" not in done.replace("not decided yet", "")


def test_elements_are_balanced_and_ids_are_unique_and_every_label_has_its_choice() -> None:
    made = page(hostile())
    assert made.open == []
    assert made.elements["html"] == made.elements["body"] == made.elements["main"] == made.elements["h1"] == 1
    assert len(made.ids) == len(set(made.ids))
    targets = [value for name, value in made.attributes if name == "for"]
    assert set(targets) == {f"show-{kind}" for kind in (*DecisionKind, "all", "arrivals")}
    assert set(targets) <= set(made.ids)
    assert {link.removeprefix("#") for link in made.links} <= set(made.ids)


@pytest.mark.parametrize("made", [sheet(), hostile()], ids=["usual", "hostile"])
def test_the_page_loads_nothing_and_runs_nothing(made: CarryOverSheet) -> None:
    html = render_sheet(made)
    found = Page(html)
    assert not {"script", "link", "iframe", "object", "embed", "img", "base", "form"} & set(found.elements)
    assert not any(name.startswith("on") or name == "src" for name, _ in found.attributes)
    for banned in ("url(", "@import", "://"):
        assert banned not in html
    assert ("content", "default-src 'none'; style-src 'unsafe-inline'") in found.attributes


def test_steering_characters_are_shown_and_take_no_effect() -> None:
    html = render_sheet(hostile())
    assert not set("\x1b\x00\u202e") & set(html)
    assert "[U+202E]" in html


def test_the_same_sheet_gives_the_same_bytes() -> None:
    assert render_sheet(sheet(), old=PAIR.old) == render_sheet(sheet(), old=PAIR.old)


def test_an_unknown_old_default_is_said_to_be_unknown_and_an_empty_text_to_be_empty() -> None:
    line = sheet().decisions[0]
    empty = replace(line, ours=(Value.of_text(""),), base=(None,))
    said = words(replace(sheet(), decisions=(empty,)))
    assert "not known" in said
    assert "(empty)" in said


def test_on_paper_every_line_stands_whatever_is_chosen_to_be_shown() -> None:
    hides = [line for line in render_sheet(sheet()).splitlines() if "display: none" in line and ":checked" in line]
    assert hides
    assert all(line.startswith("@media screen {") for line in hides)


def test_the_cautions_speak_of_a_plan_and_not_of_work_that_was_done() -> None:
    said = words(sheet())
    for word in ("Propellers off while", "Lithium batteries", "stand above this sheet", "a plan of work"):
        assert word in said
    assert "this card" not in said


def test_a_drawing_stands_with_its_line() -> None:
    html = render_sheet(sheet(), drawings={"CHANGED": PICTURE})
    assert html.count("<svg") == 1
    assert html.index('id="held"') < html.index(PICTURE) < html.index("GONE</span>", html.index("keep-mine"))


@pytest.mark.parametrize(
    "picture",
    [
        "<svg><script>x</script></svg>",
        '<svg onload="x"></svg>',
        '<svg><a href="x"></a></svg>',
        '<svg><image href="x"/></svg>',
        '<svg><path style="fill:red"/></svg>',
        '<svg><path fill="url(#x)"/></svg>',
        "<p>no picture</p>",
        "<svg>",
    ],
)
def test_a_drawing_that_could_do_more_than_be_seen_is_refused(picture: str) -> None:
    with pytest.raises(ValueError, match="a drawing"):
        render_sheet(sheet(), drawings={"CHANGED": picture})
