"""Small plots: points land where they belong, nothing that cannot be drawn breaks them."""

from __future__ import annotations

import math
import re
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rotorwright.report import Plot, Trace
from rotorwright.report.plot import BOTTOM, HEIGHT, LEFT, RIGHT, TOP, WIDTH, draw_plot, round_marks


def plot_of(*traces: Trace) -> Plot:
    return Plot(title="t", x_label="time", x_unit="s", y_label="angle", y_unit="deg", traces=traces)


def drawn_points(svg: str) -> list[list[tuple[float, float]]]:
    courses = re.findall(r'points="([^"]*)"', svg)
    return [[(float(x), float(y)) for x, y in (pair.split(",") for pair in course.split())] for course in courses]


def test_the_first_sample_stands_left_and_the_last_right_and_up_is_more() -> None:
    ((first, middle, last),) = drawn_points(draw_plot(plot_of(Trace(label="a", points=((0, -1), (1, 0), (2, 3))))))
    assert first[0] == pytest.approx(LEFT)
    assert last[0] == pytest.approx(WIDTH - RIGHT)
    assert middle[0] == pytest.approx((first[0] + last[0]) / 2)
    assert first[1] > middle[1] > last[1]


def test_a_flat_course_is_drawn() -> None:
    assert drawn_points(draw_plot(plot_of(Trace(label="a", points=((0, 5), (1, 5))))))


@pytest.mark.parametrize("points", [(), ((0.0, 1.0),), ((math.nan, 1.0), (math.inf, 2.0), (0.0, math.nan))])
def test_fewer_than_two_finite_points_draw_nothing(points: tuple[tuple[float, float], ...]) -> None:
    assert draw_plot(plot_of(Trace(label="a", points=points))) == ""


def test_a_sample_that_is_no_number_is_left_out() -> None:
    svg = draw_plot(plot_of(Trace(label="a", points=((0, 0), (1, math.nan), (2, 1)))))
    assert len(drawn_points(svg)[0]) == 2
    assert "nan" not in svg


def test_an_expected_course_differs_by_its_dashes_and_its_name() -> None:
    svg = draw_plot(
        plot_of(
            Trace(label="found", points=((0, 0), (1, 1))),
            Trace(label="wanted", points=((0, 1), (1, 1)), is_expected=True),
        )
    )
    assert svg.count("expected") == 1
    assert ">found<" in svg
    assert ">wanted<" in svg


def test_names_of_traces_that_end_at_one_height_do_not_cover_each_other() -> None:
    traces = [Trace(label=f"t{index}", points=((0, 0), (1, 1))) for index in range(4)]
    svg = draw_plot(plot_of(*traces))
    heights = sorted(float(y) for y in re.findall(r'class="name[^>]* y="([-\d.]+)"', svg))
    assert len(heights) == 4
    assert all(after - before >= 14 for before, after in pairwise(heights))
    assert heights[-1] <= HEIGHT - BOTTOM


finite = st.floats(min_value=-1e12, max_value=1e12)


@given(points=st.lists(st.tuples(finite, finite), min_size=2, max_size=40))
def test_whatever_is_measured_stays_inside_the_frame(points: list[tuple[float, float]]) -> None:
    courses = drawn_points(draw_plot(plot_of(Trace(label="a", points=tuple(points)))))
    for x, y in (point for course in courses for point in course):
        assert LEFT - 0.1 <= x <= WIDTH - RIGHT + 0.1
        assert TOP - 0.1 <= y <= HEIGHT - BOTTOM + 0.1


@given(low=st.floats(min_value=-1e6, max_value=1e6), width=st.floats(min_value=1e-3, max_value=1e6))
def test_marks_are_a_few_round_numbers_inside_the_axis(low: float, width: float) -> None:
    high = low + width
    marks = round_marks(low, high)
    assert 2 <= len(marks) <= 6
    assert all(low - width * 1e-6 <= mark <= high + width * 1e-6 for mark in marks)


def test_marks_of_a_known_axis() -> None:
    assert round_marks(-31.0, 2.0) == [-30.0, -20.0, -10.0, 0.0]
