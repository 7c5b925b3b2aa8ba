"""Both links have the shape that the job asks for; signatures are the type checker's to prove."""

from __future__ import annotations

import inspect

import pytest

from rotorwright.links.application import ApplicationLink
from rotorwright.links.console.link import ConsoleLink
from rotorwright.links.mavlink.link import MavlinkLink
from rotorwright.links.wire import Clock, Wire
from rotorwright.settings.dialects.dialect import Dialect


def both(wire: Wire, clock: Clock, dialect: Dialect) -> tuple[ApplicationLink, ApplicationLink]:
    return MavlinkLink(wire, clock), ConsoleLink(wire, clock, dialect)


@pytest.mark.parametrize("link", [MavlinkLink, ConsoleLink])
def test_every_method_of_the_shape_is_there(link: type) -> None:
    asked = {name for name, _ in inspect.getmembers(ApplicationLink, inspect.isfunction) if not name.startswith("_")}
    assert len(asked) >= 12
    assert asked <= set(dir(link))
