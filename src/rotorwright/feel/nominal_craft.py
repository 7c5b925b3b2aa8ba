"""The step response of a nominal craft: how the aircraft would follow a sudden stick, before and after.

The craft is a rigid body turned by motors that follow with a first-order lag after a delay. The controller runs at the
loop rate on filtered measurements. Everything is linear: no command is ever too large, no motor ever saturates. It
serves to compare two sets of settings, not to predict a flight, and is **no proof that an aircraft is safe to fly**.

Between two loops the command is constant, and for a constant command the motion has a closed form, so nothing is
approximated but the model itself.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rotorwright.errors import SettingsError
from rotorwright.feel.filters import Filter, RunningSection

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from rotorwright.feel.loop_gains import Gains

_DIVERGED = 100.0  # times the rate asked for; nothing that flies comes near
_MAX_LOOPS = 200_000


class NominalCraftError(SettingsError):
    """The numbers of a nominal craft, its loop or its plot are none."""

    id = "settings.nominal-craft"


@dataclass(frozen=True, slots=True)
class NominalCraft:
    """One axis of a craft.

    Args:
        full_acceleration: how fast the rate grows at the full turning command, in rad/s^2.
        motor_lag_s: time constant with which the motors follow a command.
        delay_s: from a measurement to the first effect of its command on the motors: computing and transport.
    """

    full_acceleration: float
    motor_lag_s: float
    delay_s: float = 0.0

    def __post_init__(self) -> None:
        numbers = (self.full_acceleration, self.motor_lag_s, self.delay_s)
        if not all(map(math.isfinite, numbers)) or self.full_acceleration <= 0 or min(numbers) < 0:
            raise _craft_error("Acceleration must be above zero, motor lag and delay not below zero, all finite.")


@dataclass(frozen=True, slots=True)
class RateController:
    """One axis of a rate controller.

    Args:
        gains: in plain units (see `loop_gains`).
        loop_hz: the rate at which it runs.
        filters: on the measured rate, before anything else.
        slope_filters: on the slope only.
        slope_of_error: whether the slope is that of the error, or of the measured rate alone (then a sudden stick gives
            no kick).
    """

    gains: Gains
    loop_hz: float
    filters: tuple[Filter, ...] = ()
    slope_filters: tuple[Filter, ...] = ()
    slope_of_error: bool = False

    def __post_init__(self) -> None:
        if not (math.isfinite(self.loop_hz) and self.loop_hz > 0):
            raise _craft_error(f"A loop cannot run at {self.loop_hz:g} Hz.")


@dataclass(frozen=True, slots=True)
class StepResponse:
    """The rate of turn at each loop after a rate of 1 was asked for at time 0, from rest.

    Args:
        loop_hz: the rate of the samples.
        rates: as shares of the rate asked for; they end early if they diverge.
        diverged: whether the rate left all bounds.
    """

    loop_hz: float
    rates: tuple[float, ...]
    diverged: bool

    @property
    def overshoot(self) -> float:
        """How far the highest rate lies above the one asked for, as a share of it; zero if it never does."""
        return max(max(self.rates) - 1.0, 0.0)

    @property
    def peak_s(self) -> float:
        """When the rate is highest."""
        return self.rates.index(max(self.rates)) / self.loop_hz

    @property
    def half_s(self) -> float | None:
        """When half of the rate asked for is reached first: how late the aircraft feels."""
        return self.reached_s(0.5)

    @property
    def rise_s(self) -> float | None:
        """From a tenth to nine tenths of the rate asked for: how crisp the aircraft feels."""
        low, high = self.reached_s(0.1), self.reached_s(0.9)
        return None if low is None or high is None else high - low

    @property
    def settled_s(self) -> float | None:
        """From when on the rate stays within 5 % of the one asked for; nothing if it is not there at the end."""
        outside = [place for place, rate in enumerate(self.rates) if abs(rate - 1.0) > 0.05]
        if not outside:
            return 0.0
        return None if outside[-1] == len(self.rates) - 1 else (outside[-1] + 1) / self.loop_hz

    def reached_s(self, share: float) -> float | None:
        """Return when `share` of the rate asked for is reached first, between samples by a straight line."""
        for place in range(1, len(self.rates)):
            before, after = self.rates[place - 1], self.rates[place]
            if before < share <= after:
                return (place - 1 + (share - before) / (after - before)) / self.loop_hz
        return None

    def at(self, times_s: Iterable[float]) -> tuple[float, ...]:
        """Return the rates at these times, between samples by a straight line; past the end, the last one."""
        return tuple(self._at(time_s * self.loop_hz) for time_s in times_s)

    def _at(self, place: float) -> float:
        whole = int(place)
        if whole >= len(self.rates) - 1:
            return self.rates[-1]
        return self.rates[whole] + (place - whole) * (self.rates[whole + 1] - self.rates[whole])


@dataclass(frozen=True, slots=True)
class StepComparison:
    """Two step responses on one plot.

    Args:
        times_s: evenly spaced, from 0.
        before: the rates before, at these times.
        after: the rates after.
        largest_gap: the largest difference of the two, as a share of the rate asked for.
        gap_at_s: when it is.
    """

    times_s: tuple[float, ...]
    before: tuple[float, ...]
    after: tuple[float, ...]
    largest_gap: float
    gap_at_s: float


def step_response(controller: RateController, craft: NominalCraft, *, duration_s: float) -> StepResponse:
    """Return how `craft` follows a sudden stick under `controller`.

    Raises:
        FilterError: a filter cannot run at the loop rate.
        NominalCraftError: the duration is none, or is more than 200,000 loops long.
    """
    loops = math.ceil(duration_s * controller.loop_hz) if math.isfinite(duration_s) else 0
    if not 1 <= loops <= _MAX_LOOPS:
        raise _craft_error(f"A plot of {duration_s:g} s at {controller.loop_hz:g} Hz is none, or too long.")
    loop, body = _Loop(controller), _Body(craft, controller.loop_hz)
    rates = [0.0]
    for _ in range(loops):
        body.advance(loop.command(rates[-1]))
        rates.append(body.rate)
        if abs(body.rate) > _DIVERGED:
            return StepResponse(controller.loop_hz, tuple(rates), diverged=True)
    return StepResponse(controller.loop_hz, tuple(rates), diverged=False)


def compare_steps(before: StepResponse, after: StepResponse, *, duration_s: float, points: int = 301) -> StepComparison:
    """Return two responses at the same times, to be drawn on one plot, and how far they are apart."""
    times = tuple(duration_s * place / (points - 1) for place in range(points))
    old, new = before.at(times), after.at(times)
    gaps = [abs(a - b) for a, b in zip(old, new, strict=True)]
    largest = max(gaps)
    return StepComparison(times, old, new, largest, times[gaps.index(largest)])


class _Loop:
    """A rate controller at work, asked for a rate of 1 from its first loop on."""

    def __init__(self, controller: RateController) -> None:
        gains = controller.gains
        self._p, self._i, self._d = float(gains.p), float(gains.i), float(gains.d)
        self._hz = controller.loop_hz
        self._filters = _running(controller.filters, self._hz)
        self._slope_filters = _running(controller.slope_filters, self._hz)
        self._of_error = controller.slope_of_error
        self._sum = 0.0
        self._last = 0.0

    def command(self, rate: float) -> float:
        """Return the turning command for the rate just measured."""
        measured = _through(self._filters, rate)
        error = 1.0 - measured
        self._sum += error / self._hz
        watched = error if self._of_error else -measured
        slope = _through(self._slope_filters, (watched - self._last) * self._hz)
        self._last = watched
        return self._p * error + self._i * self._sum + self._d * slope


class _Body:
    """The craft between two loops, for commands that arrive late and are then held."""

    def __init__(self, craft: NominalCraft, loop_hz: float) -> None:
        late = craft.delay_s * loop_hz
        whole = math.floor(late)
        self.rate = 0.0
        self._craft = craft
        self._motors = 0.0
        self._waiting = [0.0] * (whole + 1)  # commands on their way, the oldest first
        self._parts_s = ((late - whole) / loop_hz, (1 - (late - whole)) / loop_hz)

    def advance(self, command: float) -> None:
        """Move on by one loop; `command` was given at its start."""
        self._waiting.append(command)
        # A delay that is not a whole number of loops makes the command change within a loop.
        self._move(self._waiting[0], self._parts_s[0])
        self._move(self._waiting[1], self._parts_s[1])
        del self._waiting[0]

    def _move(self, command: float, time_s: float) -> None:
        """Move on by `time_s` at a constant command: the closed form of a lag before an integrator."""
        lag = self._craft.motor_lag_s
        decay = math.exp(-time_s / lag) if lag > 0 else 0.0
        apart = self._motors - command
        self.rate += self._craft.full_acceleration * (command * time_s + apart * lag * (1 - decay))
        self._motors = command + apart * decay


def _running(filters: Sequence[Filter], loop_hz: float) -> list[RunningSection]:
    return [RunningSection(section) for each in filters for section in each.sections(loop_hz)]


def _through(sections: Sequence[RunningSection], sample: float) -> float:
    for each in sections:
        sample = each.step(sample)
    return sample


def _craft_error(what: str) -> NominalCraftError:
    return NominalCraftError(
        what,
        why="The nominal craft is only a model, and these numbers describe none.",
        todo="Correct the numbers where they come from; the plot is left out until then.",
    )
