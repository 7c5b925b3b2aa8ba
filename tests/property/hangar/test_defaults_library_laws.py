"""Laws of the library of captured defaults, over generated captures."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import count

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.unit.settings.builders import IDENTITY, NOON

from rotorwright.hangar.defaults_library import CapturedDefaults, DefaultsLibrary
from rotorwright.hangar.store import Hangar
from rotorwright.settings.snapshot import Snapshot
from rotorwright.settings.values import SettingType, Value

ODD = st.one_of(
    st.sampled_from([0x00000000, 0x80000000, 0x7FC00000, 0x7F800001]).map(lambda bits: Value(SettingType.FLOAT, bits)),
    st.integers(0, 1).map(lambda number: Value.of(SettingType.UINT64, number)),
    st.sampled_from(["", "0", "\u00e9", "e\u0301"]).map(Value.of_text),
)
SETTINGS = st.dictionaries(st.sampled_from(["A", "a", "B", "C"]), ODD, min_size=1)
CAPTURES = st.lists(st.tuples(st.integers(0, 2), SETTINGS), min_size=1, max_size=4)


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Iterator[DefaultsLibrary]:
    """Return one library for all examples: each example has a release of its own."""
    with Hangar.open(tmp_path_factory.mktemp("hangar")) as hangar:
        yield DefaultsLibrary(hangar)


_RELEASES = count()


def _found(library: DefaultsLibrary, captures: list[tuple[int, dict[str, Value]]]) -> tuple[CapturedDefaults, int]:
    release = f"5.2.{next(_RELEASES)}"
    for serial, values in captures:
        identity = replace(IDENTITY, unique_id=f"{serial:024x}", release=release)
        library.add(Snapshot(identity, values, NOON), catalogue=None, read_by="console")
    found = library.find("Thornbill", release, "Corvane One", read_by="console")
    assert found is not None
    return found, len(found.rows)


@settings(max_examples=30, deadline=None)
@given(CAPTURES)
def test_what_is_known_is_what_all_captures_agree_on_and_the_rest_is_varying(
    library: DefaultsLibrary, captures: list[tuple[int, dict[str, Value]]]
) -> None:
    found, entries = _found(library, captures)
    every = [values for _, values in captures]
    agreed = {name: value for name, value in every[0].items() if all(each.get(name) == value for each in every)}
    assert found.settings == agreed
    assert set(found.varying) == {name for each in every for name in each} - agreed.keys()
    assert entries == len({(serial, tuple(sorted(values.items()))) for serial, values in captures})


@settings(max_examples=20, deadline=None)
@given(CAPTURES)
def test_the_order_of_captures_and_doubled_ones_do_not_matter(
    library: DefaultsLibrary, captures: list[tuple[int, dict[str, Value]]]
) -> None:
    (one, entries), (other, again) = _found(library, captures), _found(library, [*reversed(captures), captures[0]])
    assert (one.settings, one.varying, one.aircraft) == (other.settings, other.varying, other.aircraft)
    assert entries == again
