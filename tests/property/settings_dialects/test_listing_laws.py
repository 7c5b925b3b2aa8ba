"""Laws of console listings on any bytes: no line is ever lost, and what is read prints back as it was."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st
from tests.unit.settings_dialects.console_texts import every_kind, values

from rotorwright.settings.dialects.changing import ValueNotPrintableError, change_settings
from rotorwright.settings.dialects.dialect_file import DialectError, parse_dialect, print_dialect
from rotorwright.settings.dialects.form import Form, FormFaultError
from rotorwright.settings.dialects.learn import learn
from rotorwright.settings.dialects.learnt_text import print_learnt
from rotorwright.settings.dialects.listing import LineKind, parse_listing, print_listing
from rotorwright.settings.dialects.round_trip import check_round_trip

PIECES = st.sampled_from(
    [
        *(b"let ", b" be ", b"list ", b":", b",", b"outlet 3 ", b"uart 1 ", b"x=1 ", b"axis M92 ", b"X80.5 ", b"with "),
        *(
            b"without ",
            b"can ",
            b"-",
            b"file ",
            b"quiet",
            b"part 1",
            b"corner a",
            b" {",
            b"}",
            b"# ",
            b'"',
            b"'",
            b"\\",
        ),
        *(
            b"\n",
            b"\r\n",
            b"\r",
            b"\t",
            b" ",
            b"\xff",
            b"\xc3",
            b"\xc3\xa4",
            b"\xc2\x85",
            b"\x00",
            b"bench> ",
            b"==",
            b"=",
        ),
        *(b"a", b"b", b"1", b"-2.5", b"put ", b"[", b"]", b"//", b"cannot: ", b"no ", b"+"),
    ]
)
TEXTS = st.lists(PIECES, max_size=40).map(b"".join) | st.binary(max_size=200)

NEW_VALUES = st.text(max_size=8) | st.sampled_from(
    ["{", "}", "# x", "be", "\udcff", "\udcc3\udca4", "\ud800", "part 1", ","]
)


@given(TEXTS)
def test_any_bytes_print_back_as_they_were_read(data: bytes) -> None:
    listing = parse_listing(every_kind(), data)
    assert print_listing(listing) == data
    assert "".join(line.text + line.ending for line in listing.lines).encode("utf-8", "surrogateescape") == data


@given(TEXTS)
def test_every_line_has_one_kind_and_only_settings_hold_settings(data: bytes) -> None:
    for line in parse_listing(every_kind(), data).lines:
        assert bool(line.settings) == (line.kind is LineKind.SETTING)
        for each in line.settings:
            if each.values not in {("on",), ("off",)}:
                assert tuple(line.text[start:end] for start, end in each.spans) == each.values


@given(TEXTS)
def test_the_round_trip_holds_for_any_bytes(data: bytes) -> None:
    assert check_round_trip(every_kind(), data).holds


@given(st.lists(TEXTS, max_size=3))
@settings(deadline=None)
def test_a_dialect_learnt_from_any_bytes_loses_no_line_and_reads_back(texts: list[bytes]) -> None:
    learnt = learn(texts, name="x")
    for listing, data in zip(learnt.listings, texts, strict=True):
        assert print_listing(listing) == data
        assert check_round_trip(learnt.dialect, data).holds
    assert parse_dialect(print_dialect(learnt.dialect), source="x") == learnt.dialect
    assert parse_dialect(print_learnt(learnt, ["f"] * len(texts)), source="x") == learnt.dialect


@given(st.sampled_from(["a", "lamps", "outlet 3", "uart 1 x"]), st.lists(NEW_VALUES, max_size=3).map(tuple))
def test_a_change_is_made_exactly_or_refused(name: str, new: tuple[str, ...]) -> None:
    data = b"let a be 1\r\nwith lamps\noutlet 3 1 2\nuart 1 x=1 y=2 # z\n?"
    before = parse_listing(every_kind(), data)
    try:
        after = change_settings(every_kind(), before, {name: new})
    except ValueNotPrintableError:
        return
    again = parse_listing(every_kind(), print_listing(after))
    assert values(again) == {**values(before), name: new}
    changed = sum(one != two for one, two in zip(before.lines, again.lines, strict=True))
    assert changed <= 1


@given(st.text(alphabet="{}~ =:keyvalusrowpiat\t\n", max_size=30), st.text(alphabet="ab =:{}\t1", max_size=30))
def test_any_form_is_refused_or_matches_within_the_line(text: str, line: str) -> None:
    try:
        form = Form(text)
    except FormFaultError:
        return
    parts = form.match(line, 0, len(line))
    places = [place for part in parts or () for place in (part.start, part.end)]
    assert places == sorted(places)
    assert all(0 <= place <= len(line) for place in places)


@given(st.text(max_size=80))
def test_any_text_is_a_dialect_or_an_error_of_ours(text: str) -> None:
    for head in ("", 'format = "rotorwright-console-dialect"\nversion = 1\nname = "x"\n'):
        try:
            parse_dialect(head + text, source="x")
        except DialectError:
            continue
