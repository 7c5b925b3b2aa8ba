"""The dialect that comes with Rotorwright: the text console of the demo firmware. No other is shipped."""

from __future__ import annotations

from functools import cache
from importlib import resources
from typing import TYPE_CHECKING

from rotorwright.settings.dialects.dialect_file import parse_dialect

if TYPE_CHECKING:
    from rotorwright.settings.dialects.dialect import Dialect

_FILE = "thornbill-console.toml"
_SAMPLE = "thornbill-console-sample.txt"


@cache
def thornbill_console() -> Dialect:
    """Return the dialect of Thornbill's text console."""
    return parse_dialect(thornbill_console_file().decode("utf-8"), source=_FILE)


def thornbill_console_file() -> bytes:
    """Return the file of that dialect."""
    return _data(_FILE)


def thornbill_sample() -> bytes:
    """Return what Thornbill 6.0 prints, fresh on its board, when it is asked for all settings."""
    return _data(_SAMPLE)


def _data(name: str) -> bytes:
    return resources.files("rotorwright.settings.dialects").joinpath(name).read_bytes()
