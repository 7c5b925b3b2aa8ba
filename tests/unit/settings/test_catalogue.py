from __future__ import annotations

import json

import pytest
from tests.unit.settings.builders import FLOAT, INT16, UINT8, catalogue, setting

from rotorwright.settings.catalogue import Catalogue, CatalogueError, Choice, Setting, parse_catalogue, print_catalogue
from rotorwright.settings.values import SettingType, Value


def document(*parameters: object, version: object = 1) -> bytes:
    return json.dumps({"version": version, "parameters": list(parameters)}).encode()


def test_every_key_of_the_schema_is_read() -> None:
    found = parse_catalogue(
        document(
            {
                "name": "GYRO_CUTOFF",
                "type": "Float",
                "shortDesc": "Cutoff",
                "longDesc": "Cutoff of the first gyro filter",
                "units": "Hz",
                "default": 90.5,
                "decimalPlaces": 1,
                "min": 0,
                "max": 1000,
                "increment": 0.5,
                "rebootRequired": True,
                "category": "Standard",
                "group": "Filters",
                "volatile": True,
                "some": {"future": "key"},
            },
            {
                "name": "MODE",
                "type": "Uint8",
                "values": [{"value": 2, "description": "two"}, {"value": 0, "description": "none"}],
            },
            {"name": "FLAGS", "type": "Uint8", "bitmask": [{"index": 3, "description": "fast"}]},
        )
    )
    assert found["GYRO_CUTOFF"] == Setting(
        "GYRO_CUTOFF",
        FLOAT,
        short="Cutoff",
        long="Cutoff of the first gyro filter",
        unit="Hz",
        default=Value.of(FLOAT, 90.5),
        minimum=Value.of(FLOAT, 0),
        maximum=Value.of(FLOAT, 1000),
        increment=0.5,
        decimals=1,
        reboot_required=True,
        category="Standard",
        group="Filters",
        volatile=True,
    )
    assert found["MODE"].choices == (Choice(0, "none"), Choice(2, "two"))
    assert found["FLAGS"].bits == (Choice(3, "fast"),)
    assert found.names == ("FLAGS", "GYRO_CUTOFF", "MODE")
    assert found.defaults == {"GYRO_CUTOFF": Value.of(FLOAT, 90.5)}


def test_numbers_of_a_float_denote_the_nearest_float_and_keep_the_sign_of_zero() -> None:
    text = b'{"version":1,"parameters":[{"name":"A","type":"Float","default":-0,"max":0.1}]}'
    found = parse_catalogue(text)["A"]
    assert found.default == Value(FLOAT, 0x80000000)
    assert found.maximum == Value(FLOAT, 0x3DCCCCCD)
    assert parse_catalogue(print_catalogue(Catalogue({"A": found})))["A"] == found


def test_a_whole_number_may_be_written_with_a_point() -> None:
    assert parse_catalogue(document({"name": "A", "type": "Int16", "default": 5.0}))["A"].default == Value.of(INT16, 5)


def test_an_indexed_name_answers_for_every_number_in_its_place() -> None:
    found = parse_catalogue(document({"name": "PORT_{n}_BAUD", "type": "Uint8", "default": 3}))
    assert found["PORT_12_BAUD"].name == "PORT_12_BAUD"
    assert "PORT_x_BAUD" not in found
    assert "PORT_{n}_BAUD" not in found.defaults
    with pytest.raises(KeyError):
        found["PORT__BAUD"]


def test_equal_catalogues_print_to_equal_bytes_whatever_the_order() -> None:
    one, two = setting("A", UINT8, 1), setting("B", INT16, 2, low=-5, high=5)
    assert print_catalogue(catalogue(one, two)) == print_catalogue(catalogue(two, one))


BAD = {
    "not JSON": (b'{"version":1,"parameters":[{"name"', "line 1"),
    "not UTF-8": (b"\xff\xfe", "byte 0"),
    "a list": (b"[]", "a list"),
    "a wrong version": (document(version=2), "version 2"),
    "a version in words": (document(version="1"), "'version'"),
    "no parameters": (b'{"version":1}', "'parameters'"),
    "parameters that are no list": (b'{"version":1,"parameters":{}}', "'parameters'"),
    "an entry that is no table": (document(5), "entry 1"),
    "no name": (document({"type": "Float"}), "entry 1, key 'name'"),
    "an empty name": (document({"name": "", "type": "Float"}), "entry 1"),
    "no type": (document({"name": "A"}), "(A), key 'type'"),
    "an unknown type": (document({"name": "A", "type": "Double"}), "'Double'"),
    "a name given twice": (document({"name": "A", "type": "Int8"}, {"name": "A", "type": "Int8"}), "entry A"),
    "a default out of the type": (document({"name": "A", "type": "Uint8", "default": 256}), "key 'default'"),
    "a default in words": (document({"name": "A", "type": "Uint8", "default": "1"}), "key 'default'"),
    "a default that is half": (document({"name": "A", "type": "Uint8", "default": 1.5}), "key 'default'"),
    "a range upside down": (document({"name": "A", "type": "Uint8", "min": 5, "max": 4}), "upside down"),
    "a choice twice": (
        document({"name": "A", "type": "Uint8", "values": [{"value": 1}, {"value": 1}]}),
        "key 'values'",
    ),
    "a bit outside the word": (document({"name": "A", "type": "Uint8", "bitmask": [{"index": 8}]}), "bit 8"),
    "a constant that JSON lacks": (b'{"version":1,"parameters":[{"name":"A","type":"Float","default":NaN}]}', "NaN"),
    "an increment too large": (b'{"version":1,"parameters":[{"name":"A","type":"Float","increment":1e999}]}', "1e999"),
    "a key twice": (b'{"version":1,"version":1,"parameters":[]}', "twice"),
    "a number without end": (
        b'{"version":1,"parameters":[{"name":"A","type":"Float","default":1' + b"0" * 500 + b"}]}",
        "501 characters",
    ),
    "nesting without end": (b"[" * 100_000, "nested"),
}


@pytest.mark.parametrize(("data", "named"), BAD.values(), ids=BAD)
def test_a_bad_catalogue_is_refused_and_the_entry_is_named(data: bytes, named: str) -> None:
    with pytest.raises(CatalogueError) as caught:
        parse_catalogue(data)
    assert named in caught.value.what
    assert all((caught.value.why, caught.value.state, caught.value.todo))


def test_a_catalogue_cut_short_anywhere_is_refused() -> None:
    data = print_catalogue(catalogue(setting("A", UINT8, 1, choices={0: "off", 1: "on"})))
    for length in range(len(data) - 2):
        with pytest.raises(CatalogueError):
            parse_catalogue(data[:length])


@pytest.mark.parametrize(
    ("made", "number", "words"),
    [
        (setting("A", INT16, 5, low=0, high=10), 11, "above the highest allowed, 10"),
        (setting("A", INT16, 5, low=0, high=10), -1, "below the lowest allowed, 0"),
        (setting("A", UINT8, 0, choices={0: "off", 1: "on"}), 2, "none of the choices"),
        (setting("A", UINT8, 0, bits={0: "a", 2: "c"}), 0b1111, "no bits 1, 3"),
    ],
)
def test_a_value_that_is_not_allowed_is_refused_in_words(made: Setting, number: int, words: str) -> None:
    refusal = made.refusal(Value.of(made.type, number))
    assert refusal is not None
    assert words in refusal


def test_a_value_of_another_type_and_a_nan_in_a_range_are_refused() -> None:
    assert setting("A", INT16).refusal(Value.of(UINT8, 0)) is not None
    assert setting("A", FLOAT, high=5).refusal(Value(FLOAT, 0x7FC00000)) is not None
    assert setting("A", FLOAT).refusal(Value(FLOAT, 0x7FC00000)) is None


def test_the_limits_and_the_default_are_allowed_even_if_the_default_lies_outside() -> None:
    made = setting("A", INT16, 99, low=0, high=10)
    assert [made.refusal(Value.of(INT16, number)) for number in (0, 10, 99)] == [None, None, None]


def test_values_are_shown_with_unit_label_or_bits() -> None:
    assert setting("A", FLOAT, unit="Hz").show(Value.of(FLOAT, 0.12)) == "0.12 Hz"
    mode = setting("A", UINT8, choices={0: "off", 1: "on"})
    assert mode.show(Value.of(UINT8, 1)) == "1 = on"
    assert mode.show(Value.of(UINT8, 7)) == "7, no label"
    flags = setting("A", UINT8, bits={0: "slow", 2: "fast"})
    assert flags.show(Value.of(UINT8, 7)) == "7 = slow + bit 1 + fast"
    assert flags.show(Value.of(UINT8, 0)) == "0 = none"


def test_a_setting_whose_numbers_do_not_fit_its_type_is_refused() -> None:
    with pytest.raises(CatalogueError):
        Setting("A", SettingType.UINT8, default=Value.of(SettingType.INT8, 1))
    with pytest.raises(CatalogueError):
        Setting("A", FLOAT, default=Value(FLOAT, 0x7F800000))


@pytest.mark.parametrize("text", ["", "Sandmartin", " two\nlines ", '"', "\u202e"])
def test_the_default_of_a_text_is_a_json_string(text: str) -> None:
    made = Catalogue({"A": Setting("A", SettingType.TEXT, default=Value.of_text(text))})
    data = print_catalogue(made)
    assert json.loads(data)["parameters"][0]["default"] == text
    assert parse_catalogue(data) == made


@pytest.mark.parametrize(
    "more", ['"min": 1', '"max": 1', '"values": [{"value": 1, "description": "x"}]', '"bitmask": [{"index": 0}]']
)
def test_a_text_has_neither_range_nor_labels(more: str) -> None:
    with pytest.raises(CatalogueError):
        parse_catalogue(f'{{"version": 1, "parameters": [{{"name": "A", "type": "Text", {more}}}]}}'.encode())


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("9007199254740993", 2**53 + 1),
        ("9007199254740993.0", 2**53 + 1),
        ("18446744073709551615.00", 2**64 - 1),
        ("1.5e3", 1500),
        ("0e999", 0),
    ],
)
def test_a_64_bit_default_keeps_every_digit_however_it_is_written(written: str, meant: int) -> None:
    data = f'{{"version": 1, "parameters": [{{"name": "A", "type": "Uint64", "default": {written}}}]}}'
    assert parse_catalogue(data.encode())["A"].default == Value.of(SettingType.UINT64, meant)


@pytest.mark.parametrize("written", ["1.5", "1e999999999", "1e99999999999999999999999999999", "1e-999999999", "2e19"])
def test_a_number_that_is_not_whole_or_too_large_is_refused_at_once(written: str) -> None:
    data = f'{{"version": 1, "parameters": [{{"name": "A", "type": "Uint64", "default": {written}}}]}}'
    with pytest.raises(CatalogueError):
        parse_catalogue(data.encode())


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("", '""'),
        ("plain words", "plain words"),
        (" x", '" x"'),
        ("a\nb", '"a\\nb"'),
        ("\u202ex", '"\\u202ex"'),
        ("\u0301x", '"\\u0301x"'),
        ("é", "é"),
    ],
)
def test_a_text_is_shown_so_that_nothing_of_it_is_missed(text: str, shown: str) -> None:
    assert Setting("A", SettingType.TEXT, unit="").show(Value.of_text(text)) == shown
    assert Value.of_text(text).shown == shown
