"""What the terminal shows: tables, errors with their four answers, and JSON. Readable without colour."""

from __future__ import annotations

import json
import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING

from rich.console import Console

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rotorwright.errors import RotorwrightError

out = Console(highlight=False)
err = Console(stderr=True, highlight=False)


def print_json(value: object) -> None:
    """Print one JSON value on standard output."""
    sys.stdout.write(json.dumps(value, indent=2, ensure_ascii=False) + "\n")


@contextmanager
def told_aside(*, is_wanted: bool) -> Iterator[None]:
    """Send what is said meanwhile to standard error, so that a JSON answer stands alone on standard output."""
    before, out.stderr = out.stderr, is_wanted or out.stderr
    try:
        yield
    finally:
        out.stderr = before


def print_error(error: RotorwrightError, *, as_json: bool = False) -> None:
    """Print an error: what, why, the state of the aircraft, what to do next, and its id."""
    if as_json:
        print_json({"error": error.as_json()})
    err.print(f"[bold red]Stopped:[/] {_plain(error.what)}", soft_wrap=True)
    err.print(f"  [bold]Why[/]       {_plain(error.why)}", soft_wrap=True)
    err.print(f"  [bold]Aircraft[/]  {_plain(error.state)}", soft_wrap=True)
    err.print(f"  [bold]Next[/]      {_plain(error.todo)}", soft_wrap=True)
    err.print(f"  [dim]({error.id}, exit code {error.exit_code}; see docs/reference/errors.md)[/]", soft_wrap=True)


def _plain(text: str) -> str:
    """Return `text` so that nothing in it is taken for markup."""
    return text.replace("[", r"\[")
