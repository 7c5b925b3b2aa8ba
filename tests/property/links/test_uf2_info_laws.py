"""An info file may say anything; it never ends in anything but facts."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from rotorwright.links.uf2_drive.finding import parse_info

LINES = st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Zl", "Zp"]), max_size=30)
WORDS = st.text("abcDEF0123-", min_size=1, max_size=12)


@given(
    st.text(max_size=200) | st.lists(LINES | st.just("Family-ID: ") | st.just("Board-ID: x"), max_size=6).map("\n".join)
)
def test_any_text_gives_facts(text: str) -> None:
    info = parse_info(text)
    assert info.family_id is None or 0 <= info.family_id < 1 << 32
    assert all(isinstance(key, str) for key in info.others)


@given(WORDS, WORDS, st.integers(0, 0xFFFF_FFFF))
def test_what_is_said_in_the_form_of_the_specification_is_read_back(model: str, board: str, family: int) -> None:
    info = parse_info(f"UF2 Bootloader v3.1 X\r\nModel: {model}\r\nBoard-ID: {board}\r\nFamily: 0x{family:08X}\r\n")
    assert (info.model, info.board_id, info.family_id, info.bootloader_version) == (model, board, family, "3.1")
