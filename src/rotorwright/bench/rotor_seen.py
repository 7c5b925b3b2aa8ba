"""What one pulse on one output showed: who answered, how fast, which way, from where, and whether it stopped again."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from rotorwright.bench.rotor_place import Bearing, bearing_of
from rotorwright.bench.rotor_reaction import Reaction, reaction_of
from rotorwright.bench.rotor_record import REST_BEFORE_S, samples_of, stretch_of, trouble_of_stretch
from rotorwright.bench.rotor_spectrum import Line, amplitude_at, find_line, harmonic_part, roughness_of, spectrum_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.bench.records import FloatArray, MotionRecord, RotorRecord
    from rotorwright.bench.rotor_record import Stretch
    from rotorwright.bench.rotor_spectrum import Spectrum

# Limits: value, unit. Common practice, no source.
SHORTEST_PULSE_S = 0.6  # s: spin-up takes half of it
LONGEST_PULSE_S = 3.0  # s
STEADY_FROM = 0.45  # part of the pulse after which the rotor turns steadily
REST_AFTER_S = 0.2  # s that must follow for the spin-down
STOPPED_AFTER_S = 0.4  # s after the pulse at which a free rotor has stopped, more or less
LOOK_STOPPED_S = 0.3  # s that are looked at for it at least
MOST_LOOK_S = 1.2  # s that are looked at for it at most
STILL_TURNING_PART = 0.35  # of the speed or of the shaking in the pulse: it did not stop
TURNING_HZ = 12.0  # turns per second that count as turning
ROUGH_M_S2 = 0.2  # m/s², root of mean square between the harmonics: something grinds
MOST_STEP_RAD_S = 6.0  # rad/s that a spinning rotor gives to the lightest body; more: the rates are not rad/s
MOST_REACH = 100.0  # 1/m, (M / Iz) times distance: more than twice that of any craft; more: the rates are not rad/s


@dataclass(frozen=True, slots=True)
class Told:
    """Speeds that the motor controllers tell, in turns per second by output; outputs that tell nothing are left out.

    Args:
        before: just before the pulse.
        during: while the pulse is steady.
        after: when the rotor should stand again; None if nothing was told then.
    """

    before: Mapping[int, float] = field(default_factory=dict)
    during: Mapping[int, float] = field(default_factory=dict)
    after: Mapping[int, float] | None = None


@dataclass(frozen=True, slots=True)
class PulseSeen:
    """What one pulse showed.

    Args:
        output: the commanded output, 1 for the first.
        start_s: start of the command.
        end_s: end of the command.
        trouble: why nothing can be said about this pulse, or an empty text.
        told: speeds that were told.
        line: line of the imbalance.
        bearing: where it sits, or None.
        reaction: push on the body.
        roughness_m_s2: shaking between the harmonics, NaN if not known.
        harmonic: second harmonic over the line, NaN if not known.
        still_shaking: whether the line was still there after the pulse; None if that could not be seen.
        yaw: (time since the start in s, yaw rate in rad/s) for the figure.
        lines: (frequency in Hz, amplitude in m/s²) for the figure.
    """

    output: int
    start_s: float
    end_s: float
    trouble: str = ""
    told: Told = field(default_factory=Told)
    line: Line = field(default_factory=lambda: Line(0.0, 0.0, 0.0, is_clear=False, sense=0.0))
    bearing: Bearing | None = None
    reaction: Reaction | None = None
    roughness_m_s2: float = float("nan")
    harmonic: float = float("nan")
    still_shaking: bool | None = None
    yaw: tuple[tuple[float, float], ...] = ()
    lines: tuple[tuple[float, float], ...] = ()

    @property
    def direction(self) -> int:
        """+1 clockwise seen from above, -1 counter-clockwise, 0 not shown."""
        return self.reaction.direction(self.line.sense if self.line.is_clear else 0.0) if self.reaction else 0

    @property
    def is_moved(self) -> bool:
        """Whether the body felt that something turned."""
        is_pushed = self.reaction is not None and self.reaction.is_seen
        return self.line.is_clear or is_pushed or self.roughness_m_s2 > ROUGH_M_S2

    @property
    def is_circle_contrary(self) -> bool:
        """Whether push and circle of the force say different directions."""
        return bool(self.line.is_clear and self.direction and self.line.sense * self.direction < -0.5)

    @property
    def told_turning(self) -> tuple[int, ...]:
        """Outputs whose rotor was told to turn during the pulse and not before it."""
        return tuple(
            output
            for output, hz in sorted(self.told.during.items())
            if hz > TURNING_HZ and self.told.before.get(output, 0.0) <= max(TURNING_HZ, 0.5 * hz)
        )

    @property
    def told_before(self) -> tuple[int, ...]:
        """Outputs whose rotor already turned before the pulse."""
        return tuple(output for output, hz in sorted(self.told.before.items()) if hz > TURNING_HZ)

    @property
    def told_after(self) -> tuple[int, ...] | None:
        """Outputs whose rotor turned on after the pulse; None if nothing was told."""
        if self.told.after is None:
            return None
        return tuple(
            output
            for output, hz in sorted(self.told.after.items())
            if hz > max(TURNING_HZ, STILL_TURNING_PART * self.told.during.get(output, 0.0))
        )

    @property
    def is_rate_doubtful(self) -> bool:
        """Whether the rates are too large to be rad/s."""
        step = max(abs(self.reaction.up_rad_s), abs(self.reaction.down_rad_s)) if self.reaction else 0.0
        is_step = self.direction != 0 and step > MOST_STEP_RAD_S
        return is_step or (self.bearing is not None and self.bearing.is_usable and self.bearing.reach > MOST_REACH)


def look_at_pulse(
    motion: MotionRecord, rotors: RotorRecord | None, *, output: int, start_s: float, end_s: float, next_s: float
) -> PulseSeen:
    """Look at one pulse; `next_s` is the start of the next one, or infinity."""
    trouble = _trouble(motion, start_s, end_s, next_s)
    if trouble:
        return PulseSeen(output, start_s, end_s, trouble)
    last_s = min(next_s, float(motion.at_s[-1]))
    told = _told(rotors, start_s, end_s, last_s)
    around = stretch_of(motion, start_s - REST_BEFORE_S, min(end_s + 0.8, last_s))
    steady = stretch_of(motion, start_s + STEADY_FROM * (end_s - start_s), end_s)
    spectrum = spectrum_of(steady)
    near_hz = _near_hz(told, output)
    line = find_line(spectrum, near_hz=near_hz)
    still = _still_shaking(motion, line, end_s, last_s)
    rest = samples_of(motion, start_s - REST_BEFORE_S, start_s)
    running = samples_of(motion, start_s + STEADY_FROM * (end_s - start_s), end_s)
    return PulseSeen(
        output,
        start_s,
        end_s,
        told=told,
        line=line,
        bearing=bearing_of(spectrum, line),
        reaction=reaction_of(around, start_s, end_s),
        roughness_m_s2=roughness_of(running, rest, line.hz if line.is_clear else near_hz or line.hz),
        harmonic=harmonic_part(spectrum, line),
        still_shaking=still,
        yaw=_yaw_points(around, start_s),
        lines=_line_points(spectrum),
    )


def _trouble(motion: MotionRecord, start_s: float, end_s: float, next_s: float) -> str:
    if not (np.isfinite(start_s) and np.isfinite(end_s) and SHORTEST_PULSE_S <= end_s - start_s <= LONGEST_PULSE_S):
        return f"the pulse does not last between {SHORTEST_PULSE_S} and {LONGEST_PULSE_S} seconds"
    if next_s - end_s < REST_BEFORE_S + REST_AFTER_S:
        return "the next pulse follows too soon"
    return trouble_of_stretch(motion, start_s - REST_BEFORE_S, end_s + REST_AFTER_S)


def _near_hz(told: Told, output: int) -> float | None:
    hz = told.during.get(output, 0.0)
    return hz if hz > TURNING_HZ else None


def _still_shaking(motion: MotionRecord, line: Line, end_s: float, last_s: float) -> bool | None:
    """Say whether the line goes on after the pulse; None if the record does not show it."""
    start_s = end_s + STOPPED_AFTER_S
    stop_s = min(last_s, start_s + MOST_LOOK_S)
    if stop_s - start_s < LOOK_STOPPED_S or trouble_of_stretch(motion, start_s, stop_s):
        return None
    if not line.is_clear:
        return False
    later = spectrum_of(stretch_of(motion, start_s, stop_s))
    amplitude, strength = amplitude_at(later, line.hz, spread=0.12)
    return amplitude > STILL_TURNING_PART * line.amplitude_m_s2 and strength > 20.0


def _told(rotors: RotorRecord | None, start_s: float, end_s: float, last_s: float) -> Told:
    if rotors is None:
        return Told()
    steady_s = start_s + STEADY_FROM * (end_s - start_s)
    after_s = end_s + STOPPED_AFTER_S
    stop_s = min(last_s, after_s + MOST_LOOK_S)
    after = _speeds(rotors, max(after_s, stop_s - 0.5), stop_s) if stop_s - after_s >= LOOK_STOPPED_S else {}
    return Told(_speeds(rotors, start_s - REST_BEFORE_S, start_s), _speeds(rotors, steady_s, end_s), after or None)


def _speeds(rotors: RotorRecord, start_s: float, end_s: float) -> dict[int, float]:
    inside = (rotors.at_s >= start_s) & (rotors.at_s <= end_s)
    columns: FloatArray = np.abs(rotors.speed_hz[inside])
    kept = ((place + 1, column[np.isfinite(column)]) for place, column in enumerate(columns.T))
    return {output: float(np.median(column)) for output, column in kept if column.size}


def _line_points(spectrum: Spectrum) -> tuple[tuple[float, float], ...]:
    size = np.sqrt((np.abs(spectrum.force[:, :2]) ** 2).sum(axis=1) / 2.0)
    return tuple(zip(spectrum.hz.tolist(), size.tolist(), strict=True))


def _yaw_points(stretch: Stretch, start_s: float) -> tuple[tuple[float, float], ...]:
    width = max(1, round(0.02 / stretch.step_s))
    kernel = np.full(width, 1.0 / width)
    smooth = np.convolve(stretch.rate_rad_s[:, 2], kernel, mode="valid")
    at_s = np.convolve(stretch.at_s, kernel, mode="valid") - start_s
    return tuple(zip(at_s.tolist(), smooth.tolist(), strict=True))
