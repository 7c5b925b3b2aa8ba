"""List every command with its help, from the command line itself, so that the page cannot lag behind the code.

usage: python tools/list_commands.py [--write]     print the page, or write docs/reference/commands.md
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

PAGE = Path(__file__).resolve().parent.parent / "docs" / "reference" / "commands.md"

HEAD = """\
# Commands

What each command says of itself with `--help`. Commands that only look take `--json`; exit codes are explained in
[exit-codes.md](exit-codes.md). Nothing here turns a motor; propellers are off all the same.

This page is made from the code: `make commands-page` writes it anew.
"""


def help_of(*words: str) -> str:
    """Return the help text of a command, 100 columns wide and without colour."""
    environment = {**os.environ, "COLUMNS": "100", "NO_COLOR": "1", "TERM": "dumb"}
    command = [sys.executable, "-m", "rotorwright", *words, "--help"]
    shown = subprocess.run(command, check=True, capture_output=True, text=True, env=environment).stdout
    return "\n".join(line.rstrip() for line in shown.strip().splitlines())


def commands_in(shown: str) -> tuple[str, ...]:
    """Return the names of the commands that a help text lists, in its order."""
    lines = shown.partition("Commands:")[2].splitlines()
    return tuple(line.split()[0] for line in lines if line.startswith("  ") and not line.startswith("   "))


def parts_of(*words: str) -> list[str]:
    """Return the lines of the page about one command and the commands below it."""
    shown = help_of(*words)
    parts = ["", f"## {' '.join(words)}", ""] if words else []
    parts += ["```text", shown, "```"]
    for name in commands_in(shown):
        parts += parts_of(*words, name)
    return parts


def page() -> str:
    """Return the whole page."""
    return "\n".join([HEAD, *parts_of()]) + "\n"


def main() -> int:
    """Print the page, or write it."""
    if "--write" in sys.argv[1:]:
        PAGE.write_text(page(), encoding="utf-8")
        print(f"wrote {PAGE.name}")
    else:
        print(page(), end="")
    return 0


if __name__ == "__main__":
    sys.exit(main())
