"""Where the content of a line ends and a comment behind it starts, with quotes respected."""

from __future__ import annotations

from rotorwright.settings.dialects.form import BLANKS

_BEFORE_QUOTE = " \t=:,("


def end_of_content(text: str, start: int, *, signs: tuple[str, ...], quotes: tuple[str, ...]) -> int:
    """Return where the content of `text` from `start` ends: before a comment behind it and the blanks before that.

    A comment starts at one of `signs` after a blank, outside quotes.
    """
    whole = start + len(text[start:].rstrip(BLANKS))
    if not any(sign in text for sign in signs):
        return whole
    place = start
    while place < whole:
        before = text[place - 1] if place > start else ""
        if before and before in BLANKS and text.startswith(signs, place):
            return start + len(text[start:place].rstrip(BLANKS))
        after = quoted_end(text, place, whole, quotes) if before in _BEFORE_QUOTE else place
        place = max(after, place + 1)
    return whole


def quoted_end(text: str, start: int, end: int, quotes: tuple[str, ...]) -> int:
    """Return where the quoted text that starts at `start` ends; `start` itself if none does.

    A quotation mark after a backslash does not end it. A mark without its partner is an ordinary sign.
    """
    if start >= end or text[start] not in quotes:
        return start
    place = start + 1
    while (place := text.find(text[start], place, end)) >= 0:
        if text[place - 1] != "\\":
            return place + 1
        place += 1
    return start
