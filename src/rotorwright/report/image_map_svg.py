"""The map of an image in flash as one SVG file that stands alone: hatched for print, in ink on any paper."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.firmware.image_map import grouped
from rotorwright.report.plain import visible

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from rotorwright.firmware.image_map import MapRow

WIDTH, ROW, LEFT, BAR, TOP = 900, 22, 260, 400, 64
_FILLS = {"#": "url(#content)", ".": "url(#erased)"}
_STYLE = (
    "<style>text{font:13px ui-monospace,monospace;fill:#1f2328}.name{font-weight:bold;font-size:15px}"
    ".sheet{fill:#fffdf7}.bar{fill:none;stroke:#1f2328;stroke-width:1}</style>"
)
_PATTERNS = (
    '<defs><pattern id="content" width="4" height="4" patternUnits="userSpaceOnUse">'
    '<rect width="4" height="4" fill="#24506b"/></pattern>'
    '<pattern id="erased" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<rect width="6" height="6" fill="#fffdf7"/><rect width="2" height="6" fill="#7a6a4f"/></pattern></defs>'
)


def draw_image_map(rows: Sequence[MapRow], *, title: str, part: str) -> str:
    """Return the SVG text: a bar for each sector, solid where the image has content, hatched where it is erased."""
    groups = list(grouped(rows))
    height = TOP + ROW * len(groups) + 44
    shown = f"{visible(title)}, {visible(part)}" if part else visible(title)
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" role="img">',
        f"<title>{_text(f'Map of {shown}')}</title>{_STYLE}{_PATTERNS}",
        f'<rect class="sheet" width="{WIDTH}" height="{height}"/>',
        f'<text class="name" x="16" y="30">{_text(shown)}</text>',
        *(line for index, group in enumerate(groups) for line in _group(group, TOP + ROW * index)),
        *_legend(height - 20),
        "</svg>",
    ]
    return "\n".join(lines) + "\n"


def _group(group: Sequence[MapRow], y: int) -> Iterator[str]:
    words, size = group_words(group)
    yield f'<text x="16" y="{y + 14}">{_text(words)}</text>'
    yield f'<rect class="bar" x="{LEFT}" y="{y + 2}" width="{BAR}" height="{ROW - 6}"/>'
    row = group[0]
    step = BAR / len(row.cells)
    start = 0
    while start < len(row.cells):
        end = start
        while end < len(row.cells) and row.cells[end] == row.cells[start]:
            end += 1
        fill = _FILLS.get(row.cells[start])
        if fill is not None:
            x, width = LEFT + start * step, (end - start) * step
            yield f'<rect x="{x:.1f}" y="{y + 2}" width="{width:.1f}" height="{ROW - 6}" fill="{fill}"/>'
        start = end
    yield f'<text x="{LEFT + BAR + 12}" y="{y + 14}">{_text(size)}</text>'


def group_words(group: Sequence[MapRow]) -> tuple[str, str]:
    """Return what a drawn row is about, and what is in it, in words."""
    first, last = group[0].block, group[-1].block
    numbers = "page" if first.number is None else f"sector {first.number}"
    if len(group) > 1:
        numbers = f"{len(group)} pages" if first.number is None else f"sectors {first.number} to {last.number}"
    held = "nothing" if len(group) > 1 or not group[0].content_bytes + group[0].erased_bytes else _held(group[0])
    return f"{first.address:#010x} {numbers}", held


def _held(row: MapRow) -> str:
    if not row.content_bytes:
        return f"erased, {row.erased_bytes:,}"
    share = 100 * row.content_bytes / row.block.size_bytes
    tail = f", erased tail {row.erased_tail:,}" if row.erased_tail else ""
    return f"{share:.0f} %{tail}"


def _legend(y: int) -> Iterator[str]:
    for x, fill, words in ((LEFT, "#", "content"), (LEFT + 130, ".", "erased, FFh"), (LEFT + 290, " ", "nothing")):
        inner = _FILLS.get(fill, "none")
        yield f'<rect x="{x}" y="{y - 11}" width="14" height="14" fill="{inner}" class="mark" stroke="#1f2328"/>'
        yield f'<text x="{x + 20}" y="{y}">{words}</text>'


def map_lines(rows: Sequence[MapRow]) -> Iterator[str]:
    """Yield the same map as lines of text: # content, . erased, blank nothing."""
    for group in grouped(rows):
        words, held = group_words(group)
        yield f"{words:<29} |{group[0].cells}| {held}"


def _text(words: str) -> str:
    return words.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
