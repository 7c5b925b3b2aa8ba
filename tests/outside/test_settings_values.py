"""Values, digests and canonical JSON of the settings room against sources from outside.

Sources: the C library's strtof (ISO C, correctly rounded by IEEE 754 in the libraries named below), IEEE 754-2019,
RFC 8785, tests/outside/data/mavlink_param_encoding.csv (MAVLink parameter protocol page, computed by struct).
"""

from __future__ import annotations

import csv
import ctypes
import ctypes.util
import hashlib
import json
import random
import struct
import sys
from decimal import Decimal, localcontext
from fractions import Fraction
from pathlib import Path

import pytest
import rfc8785

from rotorwright.settings.carry_over import CarryOverInputs, carry_over
from rotorwright.settings.identity import Identity
from rotorwright.settings.sheet import parse_sheet, print_sheet
from rotorwright.settings.snapshot import Snapshot, parse_snapshot, print_snapshot
from rotorwright.settings.structured import canonical_json
from rotorwright.settings.values import SettingType, Value, nearest_float32

FLOAT = SettingType.FLOAT
ENCODINGS = list(
    csv.DictReader(
        (Path(__file__).parent / "data" / "mavlink_param_encoding.csv").read_text(encoding="utf-8").splitlines()
    )
)

needs_c_library = pytest.mark.skipif(
    not sys.platform.startswith("linux"), reason="strtof of the GNU C library is correctly rounded; others may not be"
)


def strtof(text: str) -> int:
    """Return the bits of the 32-bit float that the C library reads from `text`."""
    library = ctypes.CDLL(ctypes.util.find_library("c"))
    library.strtof.restype = ctypes.c_float
    library.strtof.argtypes = [ctypes.c_char_p, ctypes.c_void_p]
    return int(struct.unpack("<I", struct.pack("<f", library.strtof(text.encode(), None)))[0])


def some_float_bits(count: int) -> list[int]:
    chance = random.Random(8785)
    finite = (bits for bits in iter(lambda: chance.getrandbits(32), None) if bits & 0x7F800000 != 0x7F800000)
    edges = [0x00000001, 0x007FFFFF, 0x00800000, 0x3F800000, 0x7F7FFFFE, 0x80000001, 0xBF7FFFFF, 0x4B800000]
    return edges + [next(finite) for _ in range(count)]


@needs_c_library
@pytest.mark.parametrize("bits", some_float_bits(300), ids=hex)
def test_the_text_of_a_float_is_read_by_the_c_library_as_the_same_float(bits: int) -> None:
    assert strtof(Value(FLOAT, bits).text) == bits


@needs_c_library
@pytest.mark.parametrize("bits", some_float_bits(150), ids=hex)
def test_texts_at_and_beside_the_midpoints_of_floats_are_read_as_the_c_library_reads_them(bits: int) -> None:
    """Decimals halfway between two floats are where rounding twice goes wrong."""
    here, after = (Fraction(Value(FLOAT, each).number) for each in (bits, min(bits & 0x7FFFFFFF, 0x7F7FFFFD) + 1))
    middle = (abs(here) + after) / 2
    with localcontext() as context:
        context.prec = 250
        decimal = Decimal(middle.numerator) / Decimal(middle.denominator)
        for text in (f"{decimal * (1 + step):.200e}" for step in (Decimal(0), Decimal("1e-40"), Decimal("-1e-40"))):
            assert Value.parse(FLOAT, text).bits == strtof(text)
            assert nearest_float32(Fraction(Decimal(text))).bits == strtof(text)


@pytest.mark.parametrize("row", ENCODINGS, ids=lambda row: f"{row['type']}={row['value']}")
def test_machine_forms_are_those_of_the_parameter_protocol(row: dict[str, str]) -> None:
    type_ = FLOAT if row["type"] == "REAL32" else SettingType(row["type"].capitalize())
    value = Value.parse(type_, row["value"])
    raw = bytes.fromhex(row["bytewise_le_hex"])
    assert value.to_bytes().ljust(4, b"\0") == raw
    assert Value.from_bytes(type_, raw) == value


# IEEE 754-2019, 3.4 and 6.2: a signalling NaN, quiet NaNs with and without payload, both infinities, negative zero, the
# smallest and the largest denormal, the smallest normal and the largest finite number.
ODD_BITS = (
    0x7F800001,
    0x7FC00000,
    0xFFFFFFFF,
    0x7F800000,
    0xFF800000,
    0x80000000,
    1,
    0x807FFFFF,
    0x00800000,
    0x7F7FFFFF,
)


def odd_snapshot() -> Snapshot:
    identity = Identity("0123456789abcdef01234567", "Thornbill", "5.2.0", "Corvane One", "")
    return Snapshot(identity, {f"F_{bits:08X}": Value(FLOAT, bits) for bits in ODD_BITS}, "2026-05-01T12:00:00Z")


def test_odd_floats_go_unchanged_through_snapshot_sheet_and_expected_values() -> None:
    taken = odd_snapshot()
    found = parse_snapshot(print_snapshot(taken), source="odd.json")
    zero = dict.fromkeys(taken.settings, Value.of(FLOAT, 0))
    sheet = carry_over(CarryOverInputs(found, zero, zero))
    again = parse_sheet(print_sheet(sheet), source="sheet.json")
    assert [each.value.bits for each in again.writes] == sorted(ODD_BITS)
    assert again.expected_settings(zero) == taken.settings


def test_the_digest_is_sha_256_over_the_canonical_json_of_an_independent_package() -> None:
    taken = odd_snapshot()
    content = json.loads(print_snapshot(taken))
    del content["taken_at"], content["sha256"]
    assert hashlib.sha256(rfc8785.dumps(content)).hexdigest() == taken.sha256


# RFC 8785, 3.2.2 and 3.2.4: the sample object without its numbers (our documents hold no floats), and the sample of
# sorting in 3.2.3 as far as its keys lie in the basic plane. Typed from memory; the rfc8785 package agrees.
SAMPLE_TEXT = r"""{"string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/", "literals": [null, true, false]}"""
SAMPLE_HEX = (
    "7b226c69746572616c73223a5b6e756c6c2c747275652c66616c73655d2c22737472696e67223a22"
    "e282ac245c75303030665c6e4127425c225c5c5c5c5c222f227d"
)
SORTED_KEYS = ["\r", "1", "\u0080", "\u00f6", "\u20ac", "\ufb33"]


def test_the_sample_of_rfc_8785_comes_out_byte_for_byte() -> None:
    sample = json.loads(SAMPLE_TEXT)
    assert canonical_json(sample) == bytes.fromhex(SAMPLE_HEX) == rfc8785.dumps(sample)


def test_keys_are_sorted_as_in_rfc_8785() -> None:
    sample: dict[str, str] = dict.fromkeys(reversed(SORTED_KEYS), "")
    assert list(json.loads(canonical_json(sample))) == SORTED_KEYS
    assert canonical_json(sample) == rfc8785.dumps(sample)
