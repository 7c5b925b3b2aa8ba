"""The bench checks by name and in their order; what measures them is loaded only when one is measured."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.changeover.errors import UnknownCheckError

if TYPE_CHECKING:
    from collections.abc import Sequence

BENCH_CHECKS = ("power", "orientation", "receiver", "arming", "failsafe", "motors")
"""An unsound pack stops the rest, and nothing turns before arming is known."""


def require_known(checks: Sequence[str]) -> tuple[str, ...]:
    """Return the checks, each once.

    Raises:
        UnknownCheckError: one of them is none.
    """
    for check in checks:
        if check not in BENCH_CHECKS:
            raise UnknownCheckError(
                f"There is no bench check {check!r}.",
                why=f"The checks are {', '.join(BENCH_CHECKS)}.",
                todo="Name one of those.",
                check=check,
            )
    return tuple(dict.fromkeys(checks))
