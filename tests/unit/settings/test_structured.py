from __future__ import annotations

import pytest

from rotorwright.settings.structured import DataFaultError, Numeral, likely, read_json, read_toml


def test_numbers_keep_their_text() -> None:
    document = read_json(b'{"a": -0, "b": 1.50, "c": 1e5}')
    assert document.data == {"a": Numeral("-0"), "b": Numeral("1.50"), "c": Numeral("1e5")}


def test_the_place_of_a_fault_is_named_down_to_the_key() -> None:
    document = read_json(b'{"rows": [{"parts": [{"size": "x"}]}]}')
    (row,) = document.tables("rows")
    (part,) = row.tables("parts")
    with pytest.raises(DataFaultError) as caught:
        part.whole("size")
    assert str(caught.value) == "rows entry 1, parts entry 1, key 'size': a whole number is expected, not a text"


def test_a_key_that_is_null_or_missing_says_which() -> None:
    document = read_json(b'{"a": null}')
    with pytest.raises(DataFaultError, match="empty"):
        document.text("a")
    with pytest.raises(DataFaultError, match="missing"):
        document.text("b")
    assert document.optional_text("a") is None
    assert document.numeral("b") is None


@pytest.mark.parametrize(
    ("word", "meant"),
    [("nwe", "new"), ("OLD", "old"), ("factr", "factor"), ("zzzz", ""), ("", "")],
)
def test_the_word_likely_meant_is_named_only_if_it_is_near(word: str, meant: str) -> None:
    assert likely(word, ("old", "new", "factor", "why")) == meant


@pytest.mark.parametrize("text", ["a = ", "a = 1\na = 2", "[" * 5000, "a = " + "[" * 50_000, "a = " + "9" * 5000])
def test_what_is_no_toml_is_a_fault(text: str) -> None:
    with pytest.raises(DataFaultError):
        read_toml(text)


def test_true_is_no_whole_number_and_a_number_no_flag() -> None:
    document = read_toml("a = true\nb = 1")
    with pytest.raises(DataFaultError):
        document.whole("a")
    with pytest.raises(DataFaultError):
        document.flag("b", default=True)
