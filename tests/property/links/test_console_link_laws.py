"""Whatever comes over the line, the link ends in time: with what is true, or with an error that a person can read."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from tests.unit.links.scripted_console import Rig

from rotorwright.errors import RotorwrightError
from rotorwright.links.console.link import ConsoleLink
from rotorwright.settings.values import SettingType, Value

ALL = {"Rate": "7", "left / size": "1", "gain": "0.15", "rate": "100"}
ASKED = {
    "identity": ConsoleLink.read_identity,
    "settings": ConsoleLink.read_settings,
    "battery": ConsoleLink.read_battery,
    "attitude": ConsoleLink.read_attitude,
    "save": ConsoleLink.save_settings,
    "restart": ConsoleLink.reboot,
    "display": lambda link: link.read_file("/display/characters.bin"),
    "write": lambda link: link.write_setting("rate", Value.of(SettingType.UINT16, 5)),
}
PIECES = st.one_of(
    st.binary(max_size=12),
    st.sampled_from(
        [b"$ ", b"\r\n", b"\n", b"no: ", b"rate = 5\r\n", b"glyph 0 ", b"# ", b"[a]\r\n", b"11 V\r\n", b"1 2\n"]
    ),
)
NOISE = st.lists(PIECES, max_size=8).map(b"".join)


@settings(max_examples=60, deadline=None)
@pytest.mark.parametrize("prompt", ['"$ "', ""])
@pytest.mark.parametrize("asked", ASKED)
@given(answers=st.lists(NOISE, min_size=1, max_size=12))
@example(answers=[b"$ "])
@example(answers=[b""])
def test_any_bytes_end_in_an_answer_or_in_an_error_of_ours(prompt: str, asked: str, answers: list[bytes]) -> None:
    rig = Rig(prompt=prompt)
    said = iter(range(10**6))
    rig.console.spoil = lambda _line, _answer: answers[next(said) % len(answers)]
    try:
        ASKED[asked](rig.link)  # type: ignore[operator]  # each takes a link
    except RotorwrightError as error:
        shown = str(error)
        assert len(shown) < 3000
    assert rig.clock.now_s() < 300


HITS = st.lists(st.tuples(st.integers(1, 6), st.integers(0, 90), st.sampled_from(["lose", "flip", "add"])), max_size=4)


@settings(max_examples=300, deadline=None)
@given(HITS)
@example([(1, 57, "lose"), (2, 20, "lose")])
def test_settings_are_read_as_they_are_whatever_a_few_damaged_bytes_do(hits: list[tuple[int, int, str]]) -> None:
    # Two readings with the very same damage look like the truth; where text has no checksum, nobody can tell.
    places = sorted(place for _, place, _ in hits)
    assume(all(after - before > 4 for before, after in pairwise(places)))
    rig = Rig()

    def spoil(line: str, answer: bytes) -> bytes:
        for reading, place, how in hits:
            if line == "list" and rig.console.count("list") == reading and place < len(answer):
                changed = {"lose": b"", "flip": bytes([answer[place] ^ 4]), "add": answer[place : place + 1] * 2}[how]
                answer = answer[:place] + changed + answer[place + 1 :]
        return answer

    rig.console.spoil = spoil
    try:
        found = rig.texts()
    except RotorwrightError:
        assert len({reading for reading, _, _ in hits}) > 1, "one damaged reading is made good"
    else:
        assert found == ALL
