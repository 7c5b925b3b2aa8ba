"""The truth table of the switches as a table of words and as a picture.

The picture is one SVG element of plain shapes that needs no style sheet: ink is the text colour of the page. Colours
may be given by the classes `arming`, `function`, `both` and `rest`; hatch, shape and words say the same without them.
"""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING, Final

from rotorwright.bench.switches import (
    ENDS_HIGH_US,
    ENDS_LOW_US,
    REACH_HIGH_US,
    REACH_LOW_US,
    SwitchPosition,
    on_at,
    stretches,
)
from rotorwright.bench.verdicts import Grid

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from rotorwright.bench.switches import ArmingSetup, Stretch, Switching

WIDTH: Final = 720
LEFT, RIGHT, TOP, HEAD, LANE, BAR, HATCH = 190, 24, 46, 20, 26, 16, 7
_MARKS_US: Final = (1000, 1250, 1500, 1750, 2000)


def truth_table(setup: ArmingSetup) -> Grid:
    """Return which functions are on at every pulse of every channel that something stands on."""
    rows = [("Channel", "Pulse (µs)", "On", "Remark")]
    for channel in setup.on_channels:
        rows += [
            (str(channel), part.words, ", ".join(part.on) or "nothing", _remark(setup, channel, part))
            for part in stretches(setup.every, channel)
        ]
    if setup.arms_by_stick:
        rows.append(("sticks", "thrust low, yaw to its end", setup.arming.function, "arms without a switch"))
    return Grid("What is on at every position of the switches", tuple(rows))


def _remark(setup: ArmingSetup, channel: int, part: Stretch) -> str:
    words = []
    if not 1 <= channel <= setup.channels:
        words.append("no such channel")
    if part in _conflicts(setup, channel):
        words.append("cannot both be meant")
    if channel in setup.rest_us and part.holds(setup.rest_us[channel]):
        words.append("rests here")
    return ", ".join(words)


def truth_picture_svg(setup: ArmingSetup) -> str:
    """Return the truth table as one `<svg>` element: a lane for each channel, a bar for each range."""
    body: list[str] = []
    y = TOP
    for channel in setup.on_channels:
        lanes = list(_lanes(setup, channel))
        body += _channel(setup, channel, y, len(lanes))
        y += HEAD
        for row, ranges in enumerate(lanes):
            body += _lane(setup, ranges, y + row * LANE)
        body += _both(setup, channel, y, len(lanes) * LANE)
        body += _rest(setup, channel, y, len(lanes) * LANE)
        y += len(lanes) * LANE + 26
    if not setup.on_channels:
        body.append(_label(16, y + 12, "No function stands on a switch."))
        y += LANE
    return "\n".join(_framed(body, y + 30))


def _framed(body: Sequence[str], height: int) -> Iterator[str]:
    yield (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="switches" viewBox="0 0 {WIDTH} {height}" role="img" '
        'font-family="sans-serif" font-size="12" fill="currentColor">'
    )
    yield "<title>What is on at every position of the switches</title>"
    for mark in _MARKS_US:
        yield f'<path class="grid" d="M{_x(mark):.1f} {TOP - 8}V{height - 34}" {_stroke(0.25)}/>'
        yield _label(_x(mark), TOP - 14, f"{mark}", anchor="middle")
    yield _label(16, TOP - 14, "pulse in µs")
    yield from body
    yield from _legend(height - 12)
    yield "</svg>"


def _lanes(setup: ArmingSetup, channel: int) -> Iterator[list[Switching]]:
    here = [one for one in setup.every if one.channel == channel]
    for name in dict.fromkeys(one.function for one in here):
        yield [one for one in here if one.function == name]


def _channel(setup: ArmingSetup, channel: int, y: int, lanes: int) -> Iterator[str]:
    words = f"channel {channel}" if 1 <= channel <= setup.channels else f"channel {channel}: not there"
    yield _label(16, y + 8, words, weight="bold")
    if any(True for _ in _conflicts(setup, channel)):
        yield _label(WIDTH - RIGHT, y + 8, "dashed: cannot both be meant", anchor="end", kind="both", weight="bold")
    foot = y + HEAD + lanes * LANE
    yield f'<path class="foot" d="M{LEFT} {foot}H{WIDTH - RIGHT}" {_stroke(0.6)}/>'


def _lane(setup: ArmingSetup, ranges: Sequence[Switching], y: int) -> Iterator[str]:
    name = ranges[0].function
    is_arming = name == setup.arming.function
    shown = [one for one in ranges if one.is_readable and one.meets(ENDS_LOW_US, ENDS_HIGH_US)]
    yield _label(LEFT - 10, y + 12, _short(name if shown else f"{name}: never"), anchor="end")
    for one in shown:
        start = _x(one.lowest_us)
        yield _bar(start, y, max(2.0, _x(one.highest_us) - start), is_arming=is_arming)


def _bar(start: float, y: int, width: float, *, is_arming: bool) -> str:
    where = f'x="{start:.1f}" y="{y}" width="{width:.1f}" height="{BAR}"'
    if not is_arming:
        return f'<rect class="function" {where} rx="7" fill-opacity="0.06" {_stroke(1)}/>'
    hatch = f'<path class="arming" d="{_hatched(start, y, width)}" fill="none" {_stroke(0.8)}/>'
    return f'<rect class="arming" {where} fill-opacity="0.12" {_stroke(1, width=2)}/>{hatch}'


def _hatched(start: float, y: int, width: float) -> str:
    """Return slanted lines inside a bar, cut at its ends."""
    lines = []
    offset = float(HATCH)
    while offset < width + BAR:
        from_x, to_x = max(0.0, offset - BAR), min(offset, width)
        lines.append(f"M{start + from_x:.1f} {y + min(BAR, offset):.1f}L{start + to_x:.1f} {y + offset - to_x:.1f}")
        offset += HATCH
    return "".join(lines)


def _both(setup: ArmingSetup, channel: int, y: int, height: int) -> Iterator[str]:
    for part in _conflicts(setup, channel):
        start, end = _x(part.lowest_us), max(_x(part.highest_us), _x(part.lowest_us) + 2)
        yield (
            f'<rect class="both" x="{start:.1f}" y="{y - 3}" width="{end - start:.1f}" height="{height}" '
            f'fill="none" stroke-dasharray="5 3" {_stroke(1, width=2)}/>'
        )


def _conflicts(setup: ArmingSetup, channel: int) -> Iterator[Stretch]:
    for part in stretches(setup.every, channel):
        if any(one in part.on and other in part.on for one, other in setup.exclusive if one != other):
            yield part


def _rest(setup: ArmingSetup, channel: int, y: int, height: int) -> Iterator[str]:
    rest_us = setup.rest_us.get(channel)
    if rest_us is None or not REACH_LOW_US <= rest_us <= REACH_HIGH_US:
        return
    x, foot = _x(rest_us), y + height
    yield f'<path class="rest" d="M{x:.1f} {y - 3}V{foot}" {_stroke(1, width=2)}/>'
    yield f'<polygon class="rest" points="{x:.1f},{foot} {x - 5:.1f},{foot + 9} {x + 5:.1f},{foot + 9}"/>'
    is_armed = setup.arming.function in on_at(setup.every, SwitchPosition(channel, rest_us))
    yield _label(x + 9, foot + 12, "rests here: ARMED" if is_armed else "rests here", kind="rest")


def _legend(y: int) -> Iterator[str]:
    yield _bar(LEFT, y - 11, 24, is_arming=True)
    yield _label(LEFT + 32, y + 2, "hatched: armed")
    x = LEFT + 150
    yield _bar(x, y - 11, 24, is_arming=False)
    yield _label(x + 32, y + 2, "round: another function")
    x += 190
    yield f'<polygon class="rest" points="{x},{y - 9} {x - 5},{y} {x + 5},{y}"/>'
    yield _label(x + 12, y + 2, "rest at power-up")


def _x(pulse_us: float) -> float:
    inside = min(max(pulse_us, REACH_LOW_US), REACH_HIGH_US)
    return LEFT + (inside - REACH_LOW_US) / (REACH_HIGH_US - REACH_LOW_US) * (WIDTH - RIGHT - LEFT)


def _stroke(opacity: float, *, width: float = 1) -> str:
    return f'stroke="currentColor" stroke-opacity="{opacity:g}" stroke-width="{width:g}"'


def _label(
    x: float, y: float, words: str, *, anchor: str = "start", kind: str = "label", weight: str = "normal"
) -> str:
    return (
        f'<text class="{kind}" x="{x:.1f}" y="{y}" text-anchor="{anchor}" font-weight="{weight}">{_text(words)}</text>'
    )


def _short(words: str, most: int = 24) -> str:
    return words if len(words) <= most else words[: most - 1] + "…"


def _text(words: str) -> str:
    return escape("".join(sign if sign.isprintable() else "\N{REPLACEMENT CHARACTER}" for sign in words))
