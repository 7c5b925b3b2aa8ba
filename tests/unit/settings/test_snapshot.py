from __future__ import annotations

import json
from dataclasses import replace

import pytest
from tests.unit.settings.builders import FLOAT, IDENTITY, INT16, NOON, UINT8, snapshot

from rotorwright.settings.identity import Identity
from rotorwright.settings.snapshot import (
    Difference,
    Snapshot,
    SnapshotDigestError,
    SnapshotDuplicateNameError,
    SnapshotEntryError,
    SnapshotError,
    SnapshotFormatError,
    SnapshotNotJsonError,
    SnapshotValueError,
    SnapshotVersionError,
    compare_snapshots,
    parse_snapshot,
    print_snapshot,
)
from rotorwright.settings.structured import canonical_sha256
from rotorwright.settings.values import SettingType, Value

SMALL = snapshot({"B_GAIN": Value.of(FLOAT, 0.12), "A_MODE": Value.of(UINT8, 3)})

# The file as this version writes it; a later version must still read these very bytes.
SMALL_FILE = (
    b'{"format":"rotorwright-snapshot","version":1,"identity":{"unique_id":"0123456789abcdef01234567","family":"Thornbill",'
    b'"release":"5.2.0","board":"Corvane One","build":"cafe01"},"taken_at":"2026-05-01T12:00:00Z","settings":[\n'
    b'{"name":"A_MODE","type":"Uint8","value":"3"},\n'
    b'{"name":"B_GAIN","type":"Float","value":"0.12"}\n'
    b'],"sha256":"DIGEST"}\n'
).replace(b"DIGEST", SMALL.sha256.encode())


def test_the_file_form_of_version_1_stays_readable() -> None:
    assert print_snapshot(SMALL) == SMALL_FILE
    assert parse_snapshot(SMALL_FILE, source="small.json") == SMALL


def test_floats_of_every_odd_kind_go_through_the_file_bit_for_bit() -> None:
    odd = [0x7F800001, 0x7FC00000, 0xFFFFFFFF, 0x7F800000, 0xFF800000, 0x80000000, 0x00000001, 0x807FFFFF, 0x7F7FFFFF]
    taken = snapshot({f"F{bits:08x}": Value(FLOAT, bits) for bits in odd})
    assert parse_snapshot(print_snapshot(taken), source="odd.json").settings == taken.settings


def test_settings_are_sorted_and_the_digest_depends_on_neither_order_nor_time() -> None:
    turned = snapshot(dict(sorted(SMALL.settings.items(), reverse=True)), taken_at="2027-01-01T00:00:00.5Z")
    assert list(turned.settings) == ["A_MODE", "B_GAIN"]
    assert turned.sha256 == SMALL.sha256
    assert replace(SMALL, identity=replace(IDENTITY, board="Corvane H7")).sha256 != SMALL.sha256
    assert replace(SMALL, settings={"A_MODE": Value.of(UINT8, 4)}).sha256 != SMALL.sha256


def test_negative_zero_and_the_type_count_in_the_digest() -> None:
    digests = {
        snapshot({"A": value}).sha256
        for value in (Value.of(FLOAT, 0.0), Value.of(FLOAT, -0.0), Value.of(UINT8, 0), Value.of(INT16, 0))
    }
    assert len(digests) == 4


@pytest.mark.parametrize(
    "taken_at", ["", "yesterday", "2026-05-01", "2026-05-01T12:00:00", "2026-05-01T12:00:00+02:00"]
)
def test_a_time_that_is_not_in_utc_is_refused(taken_at: str) -> None:
    with pytest.raises(SnapshotEntryError):
        Snapshot(IDENTITY, {}, taken_at)


def test_a_setting_without_a_name_is_refused() -> None:
    with pytest.raises(SnapshotEntryError):
        snapshot({"": Value.of(UINT8, 0)})


def changed(**keys: object) -> bytes:
    """Return the small file with some keys changed and the digest made right again where it can be."""
    data = json.loads(SMALL_FILE) | keys
    data = {key: value for key, value in data.items() if value is not ...}
    content = {key: value for key, value in data.items() if key not in {"taken_at", "sha256"}}
    if "sha256" not in keys:
        data["sha256"] = canonical_sha256(content)
    return json.dumps(data).encode()


GAIN = {"name": "B_GAIN", "type": "Float", "value": "0.12"}

BAD: dict[str, tuple[bytes, type[SnapshotError], str]] = {
    "an empty file": (b"", SnapshotNotJsonError, "line 1"),
    "another file": (b"\x89PNG\r\n", SnapshotNotJsonError, "UTF-8"),
    "a list": (b"[]", SnapshotNotJsonError, "a list"),
    "nesting without end": (b"[" * 100_000, SnapshotNotJsonError, "nested"),
    "a constant that JSON lacks": (b'{"format":NaN}', SnapshotNotJsonError, "NaN"),
    "a key given twice": (b'{"format":1,"format":2}', SnapshotNotJsonError, "twice"),
    "another format": (b'{"format":"other"}', SnapshotFormatError, "'other'"),
    "no format": (b"{}", SnapshotFormatError, "does not say"),
    "a newer version": (changed(version=2), SnapshotVersionError, "version 2"),
    "a newer version of an unknown shape": (changed(version=9, settings=5), SnapshotVersionError, "version 9"),
    "version nought": (changed(version=0), SnapshotEntryError, "version 0"),
    "a version in words": (changed(version="1"), SnapshotEntryError, "'version'"),
    "an unknown key": (changed(setings=[]), SnapshotEntryError, "perhaps 'settings'"),
    "no settings": (changed(settings=...), SnapshotEntryError, "'settings'"),
    "settings that are no list": (changed(settings={}), SnapshotEntryError, "a list is expected"),
    "a setting that is no table": (changed(settings=["A"]), SnapshotEntryError, "settings entry 1"),
    "a setting without a value": (changed(settings=[{"name": "A", "type": "Int8"}]), SnapshotEntryError, "key 'value'"),
    "a value that is a number": (
        changed(settings=[{"name": "A", "type": "Int8", "value": 5}]),
        SnapshotEntryError,
        "a text is expected, not a number",
    ),
    "a name that is empty": (changed(settings=[GAIN | {"name": ""}]), SnapshotEntryError, "'name'"),
    "a name of half a character": (
        changed(settings=[GAIN | {"name": "\ud800"}], sha256="0"),
        SnapshotEntryError,
        "half",
    ),
    "an unknown type": (changed(settings=[GAIN | {"type": "Double"}]), SnapshotValueError, "B_GAIN"),
    "a value out of its type": (changed(settings=[GAIN | {"type": "Int8"}]), SnapshotValueError, "B_GAIN"),
    "a setting twice": (changed(settings=[GAIN, GAIN]), SnapshotDuplicateNameError, "B_GAIN"),
    "an identity without a board": (
        changed(identity={"unique_id": "0" * 24, "family": "", "release": "", "build": ""}),
        SnapshotEntryError,
        "'board'",
    ),
    "a unique id cut short": (
        changed(identity={"unique_id": "0" * 23, "family": "", "release": "", "build": "", "board": ""}),
        SnapshotEntryError,
        "unique id",
    ),
    "a time in words": (changed(taken_at="noon"), SnapshotEntryError, "noon"),
    "no digest": (changed(sha256=...), SnapshotEntryError, "'sha256'"),
    "another digest": (changed(sha256="0" * 64), SnapshotDigestError, "digest"),
    "a changed value": (SMALL_FILE.replace(b"0.12", b"0.13"), SnapshotDigestError, "digest"),
    "a changed aircraft": (SMALL_FILE.replace(b"0123456789", b"1123456789"), SnapshotDigestError, "digest"),
}


@pytest.mark.parametrize(("data", "error", "named"), BAD.values(), ids=BAD)
def test_a_bad_snapshot_is_refused_with_four_answers(data: bytes, error: type[SnapshotError], named: str) -> None:
    with pytest.raises(error) as caught:
        parse_snapshot(data, source="bad.json")
    assert "bad.json" in caught.value.what
    assert named in caught.value.what
    assert all((caught.value.why, caught.value.state, caught.value.todo))


def test_every_kind_of_bad_snapshot_has_its_own_stable_id() -> None:
    kinds = {error for _, error, _ in BAD.values()}
    assert len({kind.id for kind in kinds}) == len(kinds) == 7
    assert all(kind.id.startswith("snapshot.") for kind in kinds)


def test_a_snapshot_cut_short_anywhere_is_refused() -> None:
    for length in range(len(SMALL_FILE) - 2):
        with pytest.raises(SnapshotError):
            parse_snapshot(SMALL_FILE[:length], source="cut.json")


def test_a_snapshot_with_any_byte_damaged_is_refused_or_equal_in_content() -> None:
    for place in range(len(SMALL_FILE)):
        damaged = SMALL_FILE[:place] + bytes([SMALL_FILE[place] ^ 1]) + SMALL_FILE[place + 1 :]
        try:
            found = parse_snapshot(damaged, source="damaged.json")
        except SnapshotError:
            continue
        assert found.settings == SMALL.settings  # only the time, which the digest leaves out, may have changed
        assert found.identity == SMALL.identity


def test_snapshots_are_compared_by_bits_and_both_ways() -> None:
    before = snapshot({"A": Value.of(FLOAT, 0.0), "B": Value.of(UINT8, 1), "C": Value.of(UINT8, 1)})
    after = snapshot({"A": Value.of(FLOAT, -0.0), "C": Value.of(UINT8, 1), "D": Value.of(INT16, 7)})
    assert compare_snapshots(before, after) == (
        Difference("A", Value.of(FLOAT, 0.0), Value.of(FLOAT, -0.0)),
        Difference("B", Value.of(UINT8, 1), None),
        Difference("D", None, Value.of(INT16, 7)),
    )
    assert compare_snapshots(before, before) == ()


def test_identity_and_odd_names_go_through_the_file() -> None:
    odd = Identity("f" * 24, "Thörnbill", '5.2"', "Corvane\nOne", "")
    taken = Snapshot(odd, {"größe {1}": Value.of(SettingType.UINT32, 2**32 - 1)}, NOON)
    assert parse_snapshot(print_snapshot(taken), source="odd.json") == taken
