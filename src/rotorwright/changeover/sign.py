"""Stage sign: a person's name under what was proved."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.changeover.errors import PlanNotAcceptedError
from rotorwright.changeover.events import EventKind

if TYPE_CHECKING:
    from rotorwright.changeover.workshop import Workshop


class NotSignedError(PlanNotAcceptedError):
    """Everything is proved, but nobody signed."""

    id = "changeover.not-signed"


def sign(shop: Workshop) -> None:
    """Ask for the name to sign with.

    Raises:
        NotSignedError: the person did not sign.
    """
    missing = [one.check for one in shop.state.proved if not one.is_shown and not shop.state.has_shown(one.check)]
    if missing:
        shop.person.tell(
            f"Not shown on the bench: {', '.join(dict.fromkeys(missing))}. Check that by hand before it flies."
        )
    name = shop.person.sign()
    if not name:
        raise NotSignedError(
            "The changeover is done and not signed.",
            why="A person's name stands under each changeover.",
            state="The new release and the settings of the plan are on the board, read back.",
            todo="Sign with `resume`.",
        )
    state = shop.state
    shop.note(
        EventKind.SIGNED,
        by=name,
        settings_verified=state.settings_verified,
        checks=[one.check for one in state.proved],
    )
