"""Small line plots as SVG text, without any library: a few hundred points beside the number made from them.

Colours come from the page's style sheet (classes `trace-1` to `trace-4`), so light, dark and print look right. Traces
differ by dash as well as by colour, and each is named beside its end.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from html import escape
from itertools import pairwise
from typing import TYPE_CHECKING

from rotorwright.report.plain import visible

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from rotorwright.report.data import Plot, Trace

WIDTH = 456
HEIGHT = 190
LEFT, RIGHT, TOP, BOTTOM = 60, 132, 10, 34
LABEL_HEIGHT = 15
MARKS_WANTED = 5
COLOURS = 4


@dataclass(frozen=True, slots=True)
class _Scale:
    low: float
    high: float
    start: float
    end: float

    def place(self, value: float) -> float:
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)


def draw_plot(plot: Plot) -> str:
    """Return an `<svg>` element of the plot; an empty text when there are not two finite points to draw."""
    traces = [(trace, _finite(trace.points)) for trace in plot.traces]
    points = [point for _, found in traces for point in found]
    if len(points) < 2:
        return ""
    x_scale = _Scale(*_span([x for x, _ in points], widen=False), LEFT, WIDTH - RIGHT)
    y_scale = _Scale(*_span([y for _, y in points], widen=True), HEIGHT - BOTTOM, TOP)
    parts = [
        f'<svg class="plot" viewBox="0 0 {WIDTH} {HEIGHT}" role="img">',
        f"<title>{_text(plot.title)}</title>",
        *_grid(x_scale, y_scale),
        *_axis_names(plot),
        *_lines(traces, x_scale, y_scale),
        "</svg>",
    ]
    return "\n".join(parts)


def _finite(points: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
    return [(x, y) for x, y in points if math.isfinite(x) and math.isfinite(y)]


def _text(words: str) -> str:
    return escape(visible(words))


def _span(values: Sequence[float], *, widen: bool) -> tuple[float, float]:
    low, high = min(values), max(values)
    if low == high:
        return low - 1.0, high + 1.0
    margin = (high - low) * 0.06 if widen else 0.0
    return low - margin, high + margin


def round_marks(low: float, high: float, wanted: int = MARKS_WANTED) -> list[float]:
    """Return about `wanted` round numbers (1, 2 or 5 times a power of ten apart) from `low` to `high`."""
    rough = (high - low) / wanted
    power = 10.0 ** math.floor(math.log10(rough))
    step = power * next(factor for factor in (1, 2, 5, 10) if rough <= factor * power * (1 + 1e-9))
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [mark * step for mark in range(first, last + 1)]


def _coordinate(value: float) -> str:
    return f"{value:.1f}"


def _mark_text(value: float) -> str:
    text = f"{value:.6g}"
    return "0" if text == "-0" else text.replace("-", "\N{MINUS SIGN}")


def _grid(x_scale: _Scale, y_scale: _Scale) -> list[str]:
    parts = []
    for mark in round_marks(y_scale.low, y_scale.high):
        y = _coordinate(y_scale.place(mark))
        kind = "zero" if abs(mark) < 1e-12 else "grid"
        parts.append(f'<line class="{kind}" x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y}" y2="{y}"/>')
        parts.append(f'<text class="mark" x="{LEFT - 7}" y="{y}" dy="4" text-anchor="end">{_mark_text(mark)}</text>')
    foot = HEIGHT - BOTTOM
    for mark in round_marks(x_scale.low, x_scale.high):
        x = _coordinate(x_scale.place(mark))
        parts.append(f'<line class="tick" x1="{x}" x2="{x}" y1="{foot}" y2="{foot + 4}"/>')
        parts.append(f'<text class="mark" x="{x}" y="{foot + 16}" text-anchor="middle">{_mark_text(mark)}</text>')
    parts.append(f'<line class="foot" x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{foot}" y2="{foot}"/>')
    return parts


def _axis_names(plot: Plot) -> list[str]:
    x_name, y_name = _named(plot.x_label, plot.x_unit), _named(plot.y_label, plot.y_unit)
    middle_x, middle_y = (LEFT + WIDTH - RIGHT) / 2, (TOP + HEIGHT - BOTTOM) / 2
    return [
        f'<text class="axis" x="{middle_x:.0f}" y="{HEIGHT - 4}" text-anchor="middle">{x_name}</text>',
        f'<text class="axis" transform="translate(11 {middle_y:.0f}) rotate(-90)" text-anchor="middle">{y_name}</text>',
    ]


def _named(label: str, unit: str) -> str:
    return _text(f"{label} ({unit})" if unit else label)


def _lines(traces: Sequence[tuple[Trace, list[tuple[float, float]]]], x_scale: _Scale, y_scale: _Scale) -> list[str]:
    drawn = [(number % COLOURS + 1, trace, found) for number, (trace, found) in enumerate(traces) if found]
    label_heights = _apart([y_scale.place(found[-1][1]) for _, _, found in drawn])
    parts = []
    for (colour, trace, found), label_y in zip(drawn, label_heights, strict=True):
        course = " ".join(f"{_coordinate(x_scale.place(x))},{_coordinate(y_scale.place(y))}" for x, y in found)
        kind = f"trace trace-{colour}" + (" expected" if trace.is_expected else "")
        parts.append(f'<polyline class="{kind}" points="{course}"/>')
        end_x, end_y = x_scale.place(found[-1][0]), y_scale.place(found[-1][1])
        leader = f"M{_coordinate(end_x)} {_coordinate(end_y)} L{WIDTH - RIGHT + 14} {_coordinate(label_y)}"
        parts.append(f'<path class="leader trace-{colour}" d="{leader}"/>')
        parts.append(
            f'<text class="name name-{colour}" x="{WIDTH - RIGHT + 18}" y="{_coordinate(label_y)}" dy="4">'
            f"{_text(trace.label)}</text>"
        )
    return parts


def _apart(heights: Sequence[float]) -> list[float]:
    """Return label heights in the same order, moved apart so that no two labels cover each other, inside the plot."""
    order = sorted(range(len(heights)), key=lambda index: (heights[index], index))
    placed = [heights[index] for index in order]
    for before, after in pairwise(range(len(placed))):
        placed[after] = max(placed[after], placed[before] + LABEL_HEIGHT)
    overhang = max(0.0, placed[-1] - (HEIGHT - BOTTOM)) if placed else 0.0
    result = [0.0] * len(heights)
    for index, height in zip(order, placed, strict=True):
        result[index] = height - overhang
    return result
