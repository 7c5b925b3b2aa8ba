"""The parameter protocol: list, read, set, with values exact to the bit.

Source: MAVLink guide, page "parameter protocol"; values are encoded bytewise.
"""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING

from pymavlink.dialects.v20 import common

from rotorwright.settings.values import Value
from rotorwright.twin.mavlink_codec import (
    TYPES_BY_NUMBER,
    name_bytes,
    name_from,
    packet,
    param_set,
    param_value_packet,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from rotorwright.twin.mavlink_codec import Incoming, Packet, ParamSet
    from rotorwright.twin.settings_in_force import SettingsInForce

BY_NAME = -1
"""Index in PARAM_REQUEST_READ that says that the name counts."""

_REQUEST_READ = struct.Struct("<hBB16s")  # index, target system and component, name


class ParameterService:
    """Answers parameter messages. Answers wait here until the line has room; a question asked twice waits once.

    Args:
        settings: the settings in force.
        say: called with words for the pilot when a change is refused.
    """

    def __init__(self, settings: SettingsInForce, say: Callable[[str], None]) -> None:
        self._settings = settings
        self._say = say
        self._asked: dict[int, None] = {}  # numbers of settings asked for one by one, in order
        self._list_at: int | None = None  # where the running list stands
        self._errors: list[Packet] = []

    @property
    def has_more(self) -> bool:
        """Whether something waits to be sent."""
        return bool(self._asked or self._errors) or self._list_at is not None

    def next_packet(self) -> Packet | None:
        """Return the next answer, single questions before the list."""
        if self._errors:
            return self._errors.pop(0)
        if self._asked:
            number = next(iter(self._asked))
            del self._asked[number]
            return self._value_packet(number)
        return self._next_of_list()

    def stop(self) -> None:
        """Drop what waits."""
        self._asked.clear()
        self._errors.clear()
        self._list_at = None

    def on_request_list(self) -> None:
        """Start the list of all settings, from the beginning even if one is running."""
        self._list_at = 0 if len(self._settings) else None

    def on_request_read(self, incoming: Incoming) -> None:
        """Answer PARAM_REQUEST_READ, by index or by name."""
        index, _, _, raw_name = _REQUEST_READ.unpack(incoming.payload)
        if index == BY_NAME:
            name = name_from(raw_name)
            self._ask(self._settings.number(name), name, BY_NAME, incoming)
        else:
            self._ask(index if 0 <= index < len(self._settings) else None, "", index, incoming)

    def on_set(self, incoming: Incoming) -> None:
        """Answer PARAM_SET with the value that is in force then: the new one, or the unchanged one and words why."""
        wanted = param_set(incoming.payload)
        number = self._settings.number(wanted.name)
        if number is not None and (refusal := self._change(wanted)):
            self._say(f"{wanted.name} not changed: {refusal}")
        self._ask(number, wanted.name, BY_NAME, incoming)

    def _change(self, wanted: ParamSet) -> str | None:
        type_ = TYPES_BY_NUMBER.get(wanted.type_number)
        holds = self._settings[wanted.name].type
        if type_ is not holds:
            return f"it holds a {holds}, not a {type_ or f'type {wanted.type_number}'}"
        return self._settings.change(wanted.name, Value.from_bytes(type_, wanted.raw))

    def _ask(self, number: int | None, name: str, index: int, incoming: Incoming) -> None:
        if number is not None:
            self._asked[number] = None
        elif len(self._errors) < len(self._settings):  # as many as can be asked for, so that the queue stays bounded
            self._errors.append(_does_not_exist(name, index, incoming))

    def _next_of_list(self) -> Packet | None:
        if self._list_at is None:
            return None
        number = self._list_at
        self._list_at = number + 1 if number + 1 < len(self._settings) else None
        return self._value_packet(number)

    def _value_packet(self, number: int) -> Packet:
        name = self._settings.names[number]
        return param_value_packet(name, self._settings[name], count=len(self._settings), index=number)


def _does_not_exist(name: str, index: int, incoming: Incoming) -> Packet:
    return packet(
        common.MAVLink_param_error_message(
            incoming.system,
            incoming.component,
            name_bytes(name.encode("ascii", errors="replace").decode("ascii")),
            index,
            common.MAV_PARAM_ERROR_DOES_NOT_EXIST,
        )
    )
