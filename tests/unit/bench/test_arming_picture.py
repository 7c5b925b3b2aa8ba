"""The picture of the switches: shapes and words that say the same without any colour."""

from __future__ import annotations

import re
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest
from tests.unit.bench.switch_hands import FUNCTIONS, HEALTHY

from rotorwright.bench.arming import ArmingSetup, Switching, truth_picture_svg

FAULTY = replace(
    HEALTHY,
    arming=Switching("arming", 5, 950, 1400),
    functions=(*FUNCTIONS[:2], Switching("right itself", 5, 1300, 2100), Switching("lights", 14, 1700, 2100)),
)


def shapes(setup: ArmingSetup, kind: str) -> list[ET.Element]:
    root = ET.fromstring(truth_picture_svg(setup))
    return [one for one in root.iter() if one.get("class") == kind]


def words(setup: ArmingSetup) -> str:
    return " | ".join(one.text or "" for one in ET.fromstring(truth_picture_svg(setup)).iter())


def test_arming_is_a_hatched_square_bar_and_a_function_a_round_one() -> None:
    bars = [one for one in shapes(HEALTHY, "arming") if one.tag.endswith("rect")]
    hatches = [one for one in shapes(HEALTHY, "arming") if one.tag.endswith("path")]
    assert len(bars) == len(hatches) == 2  # the range and the legend
    assert all(one.get("rx") is None for one in bars)
    assert all(one.get("rx") == "7" for one in shapes(HEALTHY, "function"))


def test_a_bar_lies_where_its_range_is() -> None:
    bar = shapes(HEALTHY, "arming")[0]
    start, width = float(bar.get("x", "0")), float(bar.get("width", "0"))
    scale = (720 - 24 - 190) / 1400
    assert start == pytest.approx(190 + 900 * scale, abs=0.1)
    assert width == pytest.approx(400 * scale, abs=0.1)


def test_the_hatch_stays_inside_its_bar() -> None:
    bar, hatch = shapes(HEALTHY, "arming")[:2]
    start, top = float(bar.get("x", "0")), float(bar.get("y", "0"))
    end, foot = start + float(bar.get("width", "0")), top + float(bar.get("height", "0"))
    for x, y in re.findall(r"[ML]([\d.]+) ([\d.]+)", hatch.get("d", "")):
        assert start - 0.1 <= float(x) <= end + 0.1
        assert top - 0.1 <= float(y) <= foot + 0.1


def test_faults_are_told_in_words_too() -> None:
    told = words(FAULTY)
    assert "rests here: ARMED" in told
    assert "dashed: cannot both be meant" in told
    assert "channel 14: not there" in told
    assert shapes(FAULTY, "both")
    healthy = words(HEALTHY)
    for fault in ("ARMED", "cannot both", "not there"):
        assert fault not in healthy


def test_the_picture_may_stand_in_a_page_that_allows_plain_shapes_only() -> None:
    text = truth_picture_svg(FAULTY)
    assert text.startswith("<svg")
    assert text.endswith("</svg>")
    allowed = {"svg", "title", "path", "rect", "polygon", "text"}
    assert {one.tag.rpartition("}")[2] for one in ET.fromstring(text).iter()} <= allowed
    assert not re.search(r"style=|url\(|href|\son[a-z]+=", text)


def test_names_from_a_book_cannot_break_the_picture() -> None:
    setup = replace(HEALTHY, functions=(Switching('<b>"&\n\x1b[0m' + "x" * 60, 6, 900, 1300),))
    assert "<b>" in words(setup)
    assert "\x1b" not in truth_picture_svg(setup)


@pytest.mark.parametrize("channel", [0, -3, 99])
def test_a_picture_is_drawn_whatever_the_settings_say(channel: int) -> None:
    nan, inf = float("nan"), float("inf")
    setup = replace(
        HEALTHY,
        arming=Switching("arming", channel, nan, inf),
        functions=(Switching("level", channel, -inf, inf), Switching("height", channel, 2100, 900)),
        rest_us={channel: nan},
    )
    ET.fromstring(truth_picture_svg(setup))
    if channel == 0:
        assert "No function stands on a switch." in words(setup)
