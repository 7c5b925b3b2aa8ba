"""Who the aircraft is: unique id, firmware family, release, board.

Two messages say it, and where both say the same thing they must agree.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rotorwright.links.mavlink.errors import CommandRefusedError, IdentityUnusableError
from rotorwright.links.mavlink.spec import MessageId
from rotorwright.settings.identity import Identity

if TYPE_CHECKING:
    from rotorwright.links.mavlink.codec import Fields
    from rotorwright.links.mavlink.commands import CommandClient

UNIQUE_ID_BYTES = 12
"""96 bits, the first bytes of the 18 of uid2 (common.xml, AUTOPILOT_VERSION; RM0090, unique device id register)."""

_HEX_ID = re.compile(r"[0-9a-f]{24}\Z")


@dataclass(frozen=True, slots=True)
class AutopilotVersion:
    """What AUTOPILOT_VERSION says, as far as it is needed."""

    unique_id: str
    release: str
    build: str
    capabilities: int


@dataclass(frozen=True, slots=True)
class BasicInformation:
    """What COMPONENT_INFORMATION_BASIC says, as far as it is needed."""

    family: str
    board: str
    release: str
    serial_number: str


def read_version(commands: CommandClient) -> AutopilotVersion:
    """Return what AUTOPILOT_VERSION says.

    Raises:
        CommandRefusedError: the aircraft does not offer it.
        NoAnswerError: it does not come.
    """
    return commands.request_message(MessageId.AUTOPILOT_VERSION, lambda frame: _version(frame.fields))


def read_basic_information(commands: CommandClient) -> BasicInformation | None:
    """Return what COMPONENT_INFORMATION_BASIC says; None if the aircraft does not offer it.

    Raises:
        NoAnswerError: it does not come.
    """
    try:
        return commands.request_message(MessageId.COMPONENT_INFORMATION_BASIC, lambda frame: _basic(frame.fields))
    except CommandRefusedError:
        return None


def identity_from(version: AutopilotVersion, basic: BasicInformation | None) -> Identity:
    """Return the identity that both messages tell. Without the second, family and board stay empty: not known.

    Raises:
        IdentityUnusableError: there is no unique id, or the messages contradict each other.
    """
    if not version.unique_id.strip("0") or not version.unique_id.strip("f"):
        raise IdentityUnusableError.because(
            f"The aircraft has no unique id: it says {version.unique_id}.",
            why="Its firmware does not tell the number of the microcontroller, or the microcontroller has none.",
        )
    if basic is None:
        return Identity(version.unique_id, family="", release=version.release, board="", build=version.build)
    _require_same("unique id", version.unique_id, basic.serial_number, is_comparable=_HEX_ID.match)
    _require_same("release", version.release, basic.release, is_comparable=re.compile(r"\d+\.\d+\.\d+\Z").match)
    return Identity(
        version.unique_id,
        family=basic.family,
        release=basic.release or version.release,
        board=basic.board,
        build=version.build,
    )


def _require_same(what: str, first: str, second: str, *, is_comparable: object) -> None:
    assert callable(is_comparable)
    if is_comparable(second) and first != second:
        raise IdentityUnusableError.because(
            f"The aircraft contradicts itself about its {what}: {first} and {second}.",
            why="AUTOPILOT_VERSION says one, COMPONENT_INFORMATION_BASIC the other.",
        )


def _version(fields: Fields) -> AutopilotVersion:
    number = fields.integer("flight_sw_version")  # major, minor, patch, kind of build: one byte each (common.xml)
    custom = bytes(fields.integers("flight_custom_version"))
    return AutopilotVersion(
        unique_id=bytes(fields.integers("uid2"))[:UNIQUE_ID_BYTES].hex(),
        release=f"{number >> 24 & 0xFF}.{number >> 16 & 0xFF}.{number >> 8 & 0xFF}",
        build=custom.hex() if any(custom) else "",
        capabilities=fields.integer("capabilities"),
    )


def _basic(fields: Fields) -> BasicInformation:
    return BasicInformation(
        family=fields.text("vendor_name"),
        board=fields.text("model_name"),
        release=fields.text("software_version"),
        serial_number=fields.text("serial_number").lower(),
    )
