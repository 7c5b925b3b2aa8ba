"""Laws of the inference of board settings, over generated fleets."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from random import Random

from hypothesis import given
from hypothesis import strategies as st
from tests.unit.settings.builders import IDENTITY, NOON, UINT8

from rotorwright.settings.board_inference import LEAST_AIRCRAFT, infer_board_settings, with_inferred_board
from rotorwright.settings.classes import SettingClasses
from rotorwright.settings.snapshot import Snapshot
from rotorwright.settings.values import Value

BOARDS = ("Corvane C405", "Corvane H7")
NAMES = ("A", "B", "C")
FEW = st.integers(0, 2).map(lambda number: Value.of(UINT8, number))
SETTINGS = st.dictionaries(st.sampled_from(NAMES), FEW)


def _snapshot(serial: int, board: str, settings: dict[str, Value]) -> Snapshot:
    return Snapshot(replace(IDENTITY, unique_id=f"{serial:024x}", board=board), settings, NOON)


@st.composite
def fleets(draw: st.DrawFn) -> list[Snapshot]:
    """Return aircraft with ids of their own; most with one board hold the same, so that there is much to find."""
    alike = draw(st.fixed_dictionaries(dict.fromkeys(NAMES, FEW)))
    one = draw(st.lists(st.one_of(st.just(alike), st.just(alike), SETTINGS), max_size=6))
    other = draw(st.lists(SETTINGS, max_size=4))
    boards = [BOARDS[0]] * len(one) + [BOARDS[1]] * len(other)
    return [_snapshot(serial, *pair) for serial, pair in enumerate(zip(boards, one + other, strict=True))]


DEFAULTS = st.one_of(st.none(), SETTINGS)


@given(fleets(), SETTINGS, DEFAULTS, st.randoms(use_true_random=False))
def test_the_order_of_snapshots_does_not_matter(
    found: list[Snapshot], family: dict[str, Value], own: dict[str, Value] | None, random: Random
) -> None:
    shuffled = list(found)
    random.shuffle(shuffled)
    for board in BOARDS:
        assert infer_board_settings(board, shuffled, family_defaults=family, board_defaults=own) == (
            infer_board_settings(board, found, family_defaults=family, board_defaults=own)
        )


@given(fleets(), SETTINGS, DEFAULTS)
def test_an_aircraft_of_the_board_that_differs_removes_the_name(
    found: list[Snapshot], family: dict[str, Value], own: dict[str, Value] | None
) -> None:
    for each in infer_board_settings(BOARDS[0], found, family_defaults=family, board_defaults=own):
        for settings in ({each.name: Value.of(UINT8, each.value.bits + 1)}, {}):
            more = [*found, _snapshot(99, BOARDS[0], settings)]
            after = infer_board_settings(BOARDS[0], more, family_defaults=family, board_defaults=own)
            assert each.name not in [one.name for one in after]


@given(fleets(), SETTINGS, DEFAULTS)
def test_every_name_has_its_evidence(
    found: list[Snapshot], family: dict[str, Value], own: dict[str, Value] | None
) -> None:
    counts = Counter(each.identity.board for each in found)
    for board in BOARDS:
        for each in infer_board_settings(board, found, family_defaults=family, board_defaults=own):
            assert each.aircraft == counts[board] >= LEAST_AIRCRAFT
            assert all(one.settings[each.name] == each.value for one in found if one.identity.board == board)
            assert each.value != family[each.name]
            assert own is None or own.get(each.name, each.value) == each.value
            assert each.confirmed is (own is not None and each.name in own)
            assert each.elsewhere < each.elsewhere_seen or each.confirmed


@given(st.lists(st.text(min_size=1)), st.text(min_size=1))
def test_inferred_names_stand_for_themselves_alone(names: list[str], probe: str) -> None:
    classes = with_inferred_board(SettingClasses(), names)
    assert all(classes.is_board(name) for name in names)
    assert classes.is_board(probe) is (probe in names)
