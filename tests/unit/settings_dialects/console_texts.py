"""What the console tests share: the golden texts, and a dialect that has every kind of line."""

from __future__ import annotations

from pathlib import Path

from rotorwright.settings.dialects.dialect import Dialect
from rotorwright.settings.dialects.dialect_file import parse_dialect
from rotorwright.settings.dialects.listing import Listing, parse_listing

TEXTS = Path(__file__).resolve().parents[2] / "golden" / "console_texts"

EVERY_KIND = r"""
format = "rotorwright-console-dialect"
version = 1
name = "every kind of line"

[text]
comments = ["#", "//"]
inline_comments = ["#"]
quotes = ['"', "'"]
headings = ["== {any}", "--{any}--"]

[session]
enter = "good day"
ask_all = "tell all"
quiet_ms = 250
line_end = "\r\n"
prompt = "bench> "
set_one = "let {key} be {value}"
save = "keep it"
restart = "wake anew"
bootloader = "wait for image"
refusals = ["cannot: {any}"]

[[section]]
id = "part"
form = "part {section}"

[[section]]
id = "corner"
form = "corner {section}"
level = 2

[[section]]
id = "block"
form = "{section}{~}{{"
close = "}"

[[line]]
id = "one value"
form = "let {key} be {value}"

[[line]]
id = "list"
form = "list {key}:{~}{values}"
between = ","
name = "list"

[[line]]
id = "rows"
form = "outlet {row} {values}"
name = "outlet"

[[line]]
id = "pairs"
form = "uart {row} {pairs}"
name = "uart"
joint = "="

[[line]]
id = "letters"
form = "axis {key} {pairs}"

[[line]]
id = "words"
form = "{state} {key}"
on = "with"
off = "without"
set_one = "{state} {key}"

[[line]]
id = "signs"
form = "can {state}{key}"
on = ""
off = "-"

[[line]]
id = "entry"
form = "file {key}"
name = "file"

[[line]]
id = "alone"
form = "quiet"
name = "quiet"
"""


def every_kind() -> Dialect:
    return parse_dialect(EVERY_KIND, source="every-kind.toml")


def read(text: str) -> Listing:
    return parse_listing(every_kind(), text.encode())


def values(listing: Listing) -> dict[str, tuple[str, ...]]:
    return {each.name: each.values for each in listing.settings}
