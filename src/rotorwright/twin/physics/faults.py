"""What can be wrong with an aircraft on the bench: a switch for each, what it is, and which check should find it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping


class BenchFault(StrEnum):
    """One thing that is wrong."""

    MOUNTED_OTHERWISE = "sensor-mounted-otherwise"
    FORCE_X_MIRRORED = "accelerometer-x-mirrored"
    FORCE_Y_MIRRORED = "accelerometer-y-mirrored"
    FORCE_Z_MIRRORED = "accelerometer-z-mirrored"
    RATE_X_MIRRORED = "gyro-x-mirrored"
    RATE_Y_MIRRORED = "gyro-y-mirrored"
    RATE_Z_MIRRORED = "gyro-z-mirrored"
    RATE_BIAS_LARGE = "gyro-bias-large"
    RATE_NOISE_LARGE = "gyro-noise-large"
    FORCE_OFFSET_LARGE = "accelerometer-offset"
    LEVEL_TRIM_OFF = "level-trim-off"
    CHANNELS_SWAPPED = "channels-swapped"
    CHANNEL_REVERSED = "channel-reversed"
    END_POINT_SHORT = "end-point-short"
    CENTRE_OFF = "centre-off"
    CHANNEL_JITTERS = "channel-jitters"
    FRAMES_LOST = "frames-lost"
    FAILSAFE_HOLDS = "failsafe-holds"
    FAILSAFE_NOTHING = "failsafe-nothing"
    FAILSAFE_LATE = "failsafe-late"
    FAILSAFE_WITH_THRUST = "failsafe-with-thrust"
    ARMED_AT_POWER_UP = "armed-at-power-up"
    ARM_RANGE_TOUCHES_REST = "arm-range-touches-rest"
    ARM_CHANNEL_MISSING = "arm-channel-missing"
    ARM_RANGE_WHOLE_TRAVEL = "arm-range-whole-travel"
    MODES_OVERLAP = "modes-overlap"
    ARMING_ANSWER_STUCK = "arming-answer-stuck"
    MOTORS_SWAPPED = "motor-order-swapped"
    MOTOR_REVERSED = "motor-direction-reversed"
    MOTOR_DEAD = "motor-dead"
    MOTOR_KEEPS_TURNING = "motor-does-not-stop"
    BEARING_ROUGH = "bearing-rough"
    ROTOR_OUT_OF_BALANCE = "rotor-out-of-balance"
    MAGNETS_WRONG = "pole-count-wrong"
    CELLS_WRONG = "cell-count-wrong"
    VOLTAGE_SCALE_OFF = "voltage-scale-off"
    REST_CURRENT_HIGH = "current-at-rest-high"
    WARNING_LOW = "warn-threshold-low"
    PACK_OVER_FULL = "pack-over-full"
    PACK_UNDER_FULL = "pack-under-full"
    DISPLAY_FORGETS = "display-accepts-and-forgets"
    CHARACTERS_OLD = "display-characters-old"
    FILTER_SLOWER = "filter-slower"
    GAIN_LOWER = "gain-lower"
    VIBRATION_HIGHER = "vibration-higher"

    @property
    def is_dangerous(self) -> bool:
        """Whether flying with it can hurt somebody at once: such a fault must never pass."""
        return FACTS[self].is_dangerous

    @property
    def check(self) -> str:
        """The check that should find it."""
        return FACTS[self].check

    @property
    def is_physical(self) -> bool:
        """Whether the aircraft itself is wrong; else a setting is."""
        return FACTS[self].is_physical


@dataclass(frozen=True, slots=True)
class FaultFacts:
    """What is known of a fault: the check that should find it, and what it is."""

    check: str
    is_dangerous: bool
    is_physical: bool


ORIENTATION, RECEIVER, FAILSAFE, ARMING = "orientation", "receiver", "failsafe", "arming"
MOTORS, POWER, DISPLAY, RESPONSE = "motors", "power", "display", "response"

_DANGER, _NUISANCE = True, False
_PART, _SETTING = True, False


def _facts(check: str, danger: bool, part: bool) -> FaultFacts:  # noqa: FBT001 - the table below reads as words
    return FaultFacts(check, is_dangerous=danger, is_physical=part)


FACTS: Mapping[BenchFault, FaultFacts] = MappingProxyType(
    {
        BenchFault.MOUNTED_OTHERWISE: _facts(ORIENTATION, _DANGER, _PART),
        BenchFault.FORCE_X_MIRRORED: _facts(ORIENTATION, _DANGER, _PART),
        BenchFault.FORCE_Y_MIRRORED: _facts(ORIENTATION, _DANGER, _PART),
        BenchFault.FORCE_Z_MIRRORED: _facts(ORIENTATION, _DANGER, _PART),
        BenchFault.RATE_X_MIRRORED: _facts(ORIENTATION, _DANGER, _PART),
        BenchFault.RATE_Y_MIRRORED: _facts(ORIENTATION, _DANGER, _PART),
        BenchFault.RATE_Z_MIRRORED: _facts(ORIENTATION, _DANGER, _PART),
        BenchFault.RATE_BIAS_LARGE: _facts(ORIENTATION, _NUISANCE, _PART),
        BenchFault.RATE_NOISE_LARGE: _facts(ORIENTATION, _NUISANCE, _PART),
        BenchFault.FORCE_OFFSET_LARGE: _facts(ORIENTATION, _NUISANCE, _PART),
        BenchFault.LEVEL_TRIM_OFF: _facts(ORIENTATION, _NUISANCE, _SETTING),
        BenchFault.CHANNELS_SWAPPED: _facts(RECEIVER, _DANGER, _SETTING),
        BenchFault.CHANNEL_REVERSED: _facts(RECEIVER, _DANGER, _SETTING),
        BenchFault.END_POINT_SHORT: _facts(RECEIVER, _NUISANCE, _PART),
        BenchFault.CENTRE_OFF: _facts(RECEIVER, _NUISANCE, _PART),
        BenchFault.CHANNEL_JITTERS: _facts(RECEIVER, _NUISANCE, _PART),
        BenchFault.FRAMES_LOST: _facts(RECEIVER, _NUISANCE, _PART),
        BenchFault.FAILSAFE_HOLDS: _facts(FAILSAFE, _DANGER, _PART),
        BenchFault.FAILSAFE_NOTHING: _facts(FAILSAFE, _DANGER, _SETTING),
        BenchFault.FAILSAFE_LATE: _facts(FAILSAFE, _DANGER, _PART),
        BenchFault.FAILSAFE_WITH_THRUST: _facts(FAILSAFE, _DANGER, _PART),
        BenchFault.ARMED_AT_POWER_UP: _facts(ARMING, _DANGER, _SETTING),
        BenchFault.ARM_RANGE_TOUCHES_REST: _facts(ARMING, _DANGER, _SETTING),
        BenchFault.ARM_CHANNEL_MISSING: _facts(ARMING, _DANGER, _SETTING),
        BenchFault.ARM_RANGE_WHOLE_TRAVEL: _facts(ARMING, _DANGER, _SETTING),
        BenchFault.MODES_OVERLAP: _facts(ARMING, _NUISANCE, _SETTING),
        BenchFault.ARMING_ANSWER_STUCK: _facts(ARMING, _DANGER, _PART),
        BenchFault.MOTORS_SWAPPED: _facts(MOTORS, _DANGER, _PART),
        BenchFault.MOTOR_REVERSED: _facts(MOTORS, _DANGER, _PART),
        BenchFault.MOTOR_DEAD: _facts(MOTORS, _DANGER, _PART),
        BenchFault.MOTOR_KEEPS_TURNING: _facts(MOTORS, _DANGER, _PART),
        BenchFault.BEARING_ROUGH: _facts(MOTORS, _NUISANCE, _PART),
        BenchFault.ROTOR_OUT_OF_BALANCE: _facts(MOTORS, _NUISANCE, _PART),
        BenchFault.MAGNETS_WRONG: _facts(MOTORS, _NUISANCE, _SETTING),
        BenchFault.CELLS_WRONG: _facts(POWER, _NUISANCE, _SETTING),
        BenchFault.VOLTAGE_SCALE_OFF: _facts(POWER, _NUISANCE, _SETTING),
        BenchFault.REST_CURRENT_HIGH: _facts(POWER, _NUISANCE, _PART),
        BenchFault.WARNING_LOW: _facts(POWER, _NUISANCE, _SETTING),
        BenchFault.PACK_OVER_FULL: _facts(POWER, _DANGER, _PART),
        BenchFault.PACK_UNDER_FULL: _facts(POWER, _DANGER, _PART),
        BenchFault.DISPLAY_FORGETS: _facts(DISPLAY, _NUISANCE, _PART),
        BenchFault.CHARACTERS_OLD: _facts(DISPLAY, _NUISANCE, _SETTING),
        BenchFault.FILTER_SLOWER: _facts(RESPONSE, _NUISANCE, _SETTING),
        BenchFault.GAIN_LOWER: _facts(RESPONSE, _NUISANCE, _SETTING),
        BenchFault.VIBRATION_HIGHER: _facts(RESPONSE, _NUISANCE, _PART),
    }
)
