"""The border between the program and the person: every error becomes words and an exit code."""

from __future__ import annotations

import sys
import traceback
from pathlib import Path
from typing import TYPE_CHECKING

from rotorwright.errors import RotorwrightError

if TYPE_CHECKING:
    import typer

CANCELLED = 130  # 128 + SIGINT, as shells have it
BUG = 70  # EX_SOFTWARE of sysexits.h


def run_guarded(app: typer.Typer, arguments: list[str]) -> int:
    """Run the command line and return the exit code of docs/reference/exit-codes.md."""
    try:
        app(args=arguments, prog_name="rotorwright")
    except SystemExit as stop:
        code = stop.code if isinstance(stop.code, int) else int(stop.code is not None)
        if code == CANCELLED:  # the command line library catches Ctrl-C itself and says nothing
            _say_cancelled()
        return code
    except KeyboardInterrupt:
        _say_cancelled()
        return CANCELLED
    except BrokenPipeError:
        return 0
    except Exception as error:  # noqa: BLE001 - the border: a defect of ours must not reach a person as a traceback
        return _say(error, as_json="--json" in arguments)
    return 0


def _say(error: Exception, *, as_json: bool) -> int:
    if _is_cancelled(error):
        _say_cancelled()
        return CANCELLED
    if isinstance(error, RotorwrightError):
        from rotorwright.cli.console import print_error

        print_error(error, as_json=as_json)
        return error.exit_code
    return _say_bug(error)


def _is_cancelled(error: BaseException) -> bool:
    """Answer whether Ctrl-C is at the bottom of an error.

    It may strike inside a library that was about to commit or to close, and whose own complaint about being left half
    way then hides it.
    """
    before: BaseException | None = error
    while before is not None:
        if isinstance(before, KeyboardInterrupt):
            return True
        before = before.__cause__ or before.__context__
    return False


def _say_cancelled() -> None:
    sys.stderr.write(
        "\nStopped by you. What was done so far is in the journal, the saved settings are kept.\n"
        "Next: `rotorwright cards` says where things stand, `rotorwright resume` goes on.\n"
    )


def _say_bug(bug: Exception) -> int:
    where = _keep_trace(bug)
    sys.stderr.write(
        f"Stopped: a defect in Rotorwright itself ({type(bug).__name__}: {bug}).\n"
        f"  Why       This is our mistake, not yours. The details are in {where}.\n"
        "  Aircraft  The journal has every act that was allowed; the saved settings are kept.\n"
        "  Next      `rotorwright cards` says where things stand; please send us the file named above.\n"
    )
    return BUG


def _keep_trace(bug: Exception) -> str:
    from platformdirs import user_log_path

    text = "".join(traceback.format_exception(bug))
    try:
        folder = user_log_path("rotorwright", ensure_exists=True)
        path = Path(folder) / "defect.log"
        with path.open("a", encoding="utf-8") as file:
            file.write(text + "\n")
    except OSError:
        return f"no file, since it could not be written: {text.splitlines()[-2].strip()}"
    return str(path)
