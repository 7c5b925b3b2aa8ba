"""Hands on a virtual aircraft that lives in another process: cable, battery, switch, button, tilt, faults.

The process listens on the loopback address and leaves address and token in the state folder, readable by its owner
only. A request is one line of JSON, and so is its answer:

    {"token": "...", "act": "power-on", "button": true}
    {"done": true, "condition": {"mode": "starting", ...}}
    {"done": false, "error": {"id": ..., "what": ..., "why": ..., "state": ..., "todo": ...}}
"""

from __future__ import annotations

import json
import socket
from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Final

from rotorwright.errors import RotorwrightError
from rotorwright.twin.aircraft import Condition
from rotorwright.twin.errors import HandsRefusedError, TwinNotRunningError
from rotorwright.twin.faults import FaultPlan
from rotorwright.twin.loopback import ANSWER_TIMEOUT_S, LoopbackServer, Request
from rotorwright.twin.physical_world import PhysicalWorld
from rotorwright.twin.physics.hand_motion import HandPose
from rotorwright.twin.physics.receiver import StickName
from rotorwright.twin.state import StateFolder
from rotorwright.twin.world import Tilt

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from rotorwright.twin.aircraft import VirtualAircraft

_MOST_REQUEST_BYTES: Final = 4096


class HandsClient:
    """Acts on the virtual aircraft of a state folder, as a person at the bench would.

    Every method returns how the aircraft is right after it, and raises TwinNotRunningError when nobody keeps it alive,
    HandsRefusedError when it cannot be done.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = StateFolder(folder)

    def look(self) -> Condition:
        """Touch nothing."""
        return self._ask("look")

    def power_off(self) -> Condition:
        """Take all power from the board; its port stays."""
        return self._ask("power-off")

    def power_on(self, *, button: bool = False) -> Condition:
        """Give it power again, with the bootloader button held or not; nothing if it has power."""
        return self._ask("power-on", button=button)

    def restart(self, *, button: bool = False) -> Condition:
        """Take the power away and give it again."""
        self.power_off()
        return self.power_on(button=button)

    def plug_battery(self) -> Condition:
        """Plug the main battery in."""
        return self._ask("plug-battery")

    def unplug_battery(self) -> Condition:
        """Pull the main battery."""
        return self._ask("unplug-battery")

    def pull_cable(self) -> Condition:
        """Pull the cable: the port vanishes."""
        return self._ask("pull-cable")

    def plug_cable(self, *, button: bool = False) -> Condition:
        """Plug the cable: the port comes back, under the same link and perhaps as another device."""
        return self._ask("plug-cable", button=button)

    def tilt(self, direction: Tilt | str) -> Condition:
        """Hold it level, or with one side down."""
        return self._ask("tilt", direction=str(direction))

    def pose(self, pose: str) -> Condition:
        """Bring it into a pose of the bench and hold it there."""
        return self._ask("pose", pose=pose)

    def move_stick(self, stick: str) -> Condition:
        """Move a stick to both its ends and let it rest."""
        return self._ask("move-stick", stick=stick)

    def move_switch(self, channel: int) -> Condition:
        """Move the switch of a channel through its positions and back to rest."""
        return self._ask("move-switch", channel=channel)

    def switch_transmitter(self, *, is_on: bool, arms: bool = False) -> Condition:
        """Switch the transmitter on, or off, with the motors armed before if wished."""
        return self._ask("transmitter", on=is_on, arms=arms)

    def arm(self, faults: FaultPlan | str) -> Condition:
        """Say what shall go wrong from here on; counts start again at zero."""
        return self._ask("arm", faults=faults if isinstance(faults, str) else faults.words())

    def stop(self) -> Condition:
        """End the process that keeps it alive."""
        return self._ask("stop")

    def _ask(self, act: str, **details: object) -> Condition:
        try:
            address = json.loads(self._folder.hands_file.read_text(encoding="utf-8"))
            with socket.create_connection((address["host"], address["port"]), timeout=ANSWER_TIMEOUT_S) as line:
                line.sendall(json.dumps({"token": address["token"], "act": act, **details}).encode() + b"\n")
                with line.makefile("rb") as answers:
                    answer = json.loads(answers.readline())
            return _condition(answer)
        except (OSError, ValueError, KeyError, TypeError) as problem:
            raise self._not_running(problem) from problem

    def _not_running(self, problem: Exception) -> TwinNotRunningError:
        return TwinNotRunningError(
            f"The virtual aircraft in {self._folder.path} does not answer.",
            why=f"No process keeps it alive, or the process just ended ({problem!r}).",
            state="Its memories are as they were when it ended.",
            todo=f"Start it: rotorwright twin {self._folder.path}",
            folder=str(self._folder.path),
        )


def _condition(answer: Mapping[str, Any]) -> Condition:
    if answer["done"]:
        return Condition(**answer["condition"])
    error = answer["error"]
    raise HandsRefusedError(error["what"], why=error["why"], state=error["state"], todo=error["todo"])


class HandsServer(LoopbackServer):
    """The other side: takes requests one line at a time and lets the aircraft feel them.

    Args:
        folder: where address and token go.
        aircraft: whom it is about.
        now_s: asked for the moment of each act.
        after: called after each act, before its answer goes out, so that the port is there when the caller looks.
    """

    def __init__(
        self,
        folder: StateFolder,
        aircraft: VirtualAircraft,
        *,
        now_s: Callable[[], float],
        after: Callable[[], None],
    ) -> None:
        self._aircraft = aircraft
        self._now_s = now_s
        self._after = after
        self.stop_asked = False
        super().__init__(folder.hands_file, most_request_bytes=_MOST_REQUEST_BYTES)

    def _do(self, request: Request) -> dict[str, object]:
        name = str(request.get("act"))
        try:
            act = _ACTS.get(name)
            if act is None:
                raise _refused(f"The hands do not know the act {name!r}.", list(_ACTS))
            act(self._aircraft, self._now_s(), request)
        except RotorwrightError as error:
            return {"done": False, "error": error.as_json()}
        self.stop_asked = self.stop_asked or name == _STOP
        self._after()
        return {"done": True, "condition": asdict(self._aircraft.condition)}


def _nothing(_aircraft: VirtualAircraft, _now_s: float, _request: Request) -> None:
    """Leave the aircraft alone."""


def _power_off(aircraft: VirtualAircraft, now_s: float, _request: Request) -> None:
    aircraft.power_off(now_s)


def _power_on(aircraft: VirtualAircraft, now_s: float, request: Request) -> None:
    aircraft.power_on(now_s, button=request.get("button") is True)


def _plug_battery(aircraft: VirtualAircraft, now_s: float, _request: Request) -> None:
    aircraft.plug_battery(now_s)


def _unplug_battery(aircraft: VirtualAircraft, now_s: float, _request: Request) -> None:
    aircraft.plug_battery(now_s, plugged=False)


def _pull_cable(aircraft: VirtualAircraft, now_s: float, _request: Request) -> None:
    aircraft.pull_cable(now_s)


def _plug_cable(aircraft: VirtualAircraft, now_s: float, request: Request) -> None:
    aircraft.plug_cable(now_s, button=request.get("button") is True)


def _tilt(aircraft: VirtualAircraft, now_s: float, request: Request) -> None:
    try:
        aircraft.tilt(str(request.get("direction")), now_s)
    except ValueError as problem:
        what = f"The aircraft cannot be held {request.get('direction')!r}."
        raise _refused(what, [tilt.value for tilt in Tilt]) from problem


def _physics(aircraft: VirtualAircraft) -> PhysicalWorld:
    if not isinstance(aircraft.world, PhysicalWorld):
        raise _refused("This virtual aircraft has no body to be moved.", ["aircraft with a body"])
    return aircraft.world


def _pose(aircraft: VirtualAircraft, now_s: float, request: Request) -> None:
    world = _physics(aircraft)
    try:
        world.pose(str(request.get("pose")), now_s)
    except ValueError as problem:
        what = f"The aircraft cannot be held {request.get('pose')!r}."
        raise _refused(what, [pose.value for pose in HandPose]) from problem


def _move_stick(aircraft: VirtualAircraft, now_s: float, request: Request) -> None:
    world = _physics(aircraft)
    try:
        world.move_stick_to_its_ends(str(request.get("stick")), now_s)
    except ValueError as problem:
        what = f"The transmitter has no stick {request.get('stick')!r}."
        raise _refused(what, [stick.value for stick in StickName]) from problem


def _move_switch(aircraft: VirtualAircraft, now_s: float, request: Request) -> None:
    world, channel = _physics(aircraft), request.get("channel")
    every = range(1, len(world.truth.radio.channels) + 1)
    if not isinstance(channel, int) or channel not in every:
        raise _refused(f"The transmitter has no channel {channel!r}.", [str(number) for number in every])
    world.move_switch(channel, now_s)


def _transmitter(aircraft: VirtualAircraft, now_s: float, request: Request) -> None:
    _physics(aircraft).switch_transmitter(now_s, is_on=request.get("on") is True, arms=request.get("arms") is True)


def _arm(aircraft: VirtualAircraft, _now_s: float, request: Request) -> None:
    aircraft.arm(FaultPlan.parse(str(request.get("faults", ""))))


_STOP: Final = "stop"
_ACTS: Final[dict[str, Callable[[VirtualAircraft, float, Request], None]]] = {
    "look": _nothing,
    "power-off": _power_off,
    "power-on": _power_on,
    "plug-battery": _plug_battery,
    "unplug-battery": _unplug_battery,
    "pull-cable": _pull_cable,
    "plug-cable": _plug_cable,
    "tilt": _tilt,
    "pose": _pose,
    "move-stick": _move_stick,
    "move-switch": _move_switch,
    "transmitter": _transmitter,
    "arm": _arm,
    _STOP: _nothing,
}


def _refused(what: str, known: list[str]) -> HandsRefusedError:
    return HandsRefusedError(
        what,
        why=f"It is none of {', '.join(known)}.",
        state="The virtual aircraft was not touched.",
        todo="Use one of those.",
    )
