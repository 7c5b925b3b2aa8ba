"""List every error that a person may see, from the classes themselves, so that the page cannot lag behind the code.

usage: python tools/list_errors.py [--write]     print the page, or write docs/reference/errors.md
"""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import rotorwright
from rotorwright.errors import RotorwrightError

if TYPE_CHECKING:
    from collections.abc import Iterator

PAGE = Path(__file__).resolve().parent.parent / "docs" / "reference" / "errors.md"

# Importing these would start something: the command itself, or a schema migration.
NOT_FOR_IMPORT = ("__main__", ".migrations.", ".versions.")

HEAD = """\
# Errors

Every error says what happened, why, in what state the aircraft is, and the one thing to do next. Its id never changes:
search this page for it. `--json` prints the same facts for programs. The exit codes are explained in
[exit-codes.md](exit-codes.md).

This page is made from the code: `make errors-page` writes it anew.
"""


def import_everything() -> None:
    """Import every module of the package, so that every error class exists."""
    for module in pkgutil.walk_packages(rotorwright.__path__, prefix="rotorwright."):
        if not any(part in f"{module.name}." for part in NOT_FOR_IMPORT):
            importlib.import_module(module.name)


def _below(parent: type[RotorwrightError]) -> Iterator[type[RotorwrightError]]:
    for child in parent.__subclasses__():
        yield child
        yield from _below(child)


def error_classes() -> tuple[type[RotorwrightError], ...]:
    """Return every error class of the package but the base, sorted by exit code and id."""
    import_everything()
    ours = {found for found in _below(RotorwrightError) if found.__module__.startswith("rotorwright.")}
    return tuple(sorted(ours, key=lambda found: (found.exit_code, found.id, found.__qualname__)))


def first_line(error: type[RotorwrightError]) -> str:
    """Return the first sentence of the docstring, ready for a table cell."""
    doc = inspect.cleandoc(error.__doc__ or "")
    return " ".join(doc.split("\n\n")[0].split()).replace("|", "\\|")


def family_of(error: type[RotorwrightError]) -> type[RotorwrightError]:
    """Return the family: the class just below the base that `error` descends from."""
    return next(
        parent
        for parent in reversed(error.__mro__)
        if issubclass(parent, RotorwrightError) and parent is not RotorwrightError
    )


def _row(error: type[RotorwrightError]) -> str:
    retry = "yes" if error.retry_helps else "no"
    return f"| `{error.id}` | {first_line(error)} | {error.blame} | {retry} | {error.exit_code} | `{error.__name__}` |"


def page() -> str:
    """Return the whole page: one table for each family."""
    lines = [HEAD]
    classes = error_classes()
    for family in dict.fromkeys(family_of(error) for error in classes):
        members = [error for error in classes if family_of(error) is family]
        lines += [
            f"## {family.__name__}\n",
            "| id | what it means | whose doing | may a retry help | exit code | class |",
        ]
        lines += ["|---|---|---|---|---|---|", *(_row(error) for error in members), ""]
    return "\n".join(lines)


def main() -> int:
    """Print the page or write it."""
    if "--write" in sys.argv[1:]:
        PAGE.write_text(page(), encoding="utf-8")
        print(f"{len(error_classes())} errors written to {PAGE}")
    else:
        print(page(), end="")
    return 0


if __name__ == "__main__":
    sys.exit(main())
