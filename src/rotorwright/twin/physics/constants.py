"""The sizes of the virtual aircraft, in one table: value, unit, and where it comes from.

'Made up' means: no source, only of the size that such parts have; nobody should read an aircraft's data from here.
Pairs are lowest and highest of what one craft may have.
"""

from __future__ import annotations

import math

# --- the earth
GRAVITY_M_S2 = 9.80665  # standard gravity, 3rd CGPM 1901

# --- the hand (what people do by hand; made up, of the size seen when anyone tips a model about)
TILT_DEG = (20.0, 50.0)  # how far a pose is tipped
OFF_AXIS_DEG = 10.0  # at most, beside the axis that was asked for
QUARTER_TURN_DEG = (80.0, 100.0)
UPSIDE_DOWN_DEG = (172.0, 188.0)
MOVE_S = (0.4, 1.5)
VIA_LEVEL_PART = 0.4  # part of the moves between two tilts that pass through level
UNLEVEL_DEG = 4.0  # at most: held level in the air, or on the way through level
HEADING_WANDER_DEG = 3.0  # spread of the heading from pose to pose
TREMOR_DEG = (0.2, 0.5)  # largest swing of each axis
TREMOR_HZ = (4.0, 9.0)  # physiological tremor; common practice, no source
TREMOR_LEVER_M = 0.01  # the aircraft shifts by this much for each rad that it trembles
MOVE_SHIFT_M = 0.05  # at most: how far the hand carries the aircraft along each axis while it turns it
BENCH_SLOPE_DEG = 0.3  # at most: no bench is quite level

# --- the body: a quadcopter of about 0.7 kg without propellers, motors 0.22 m apart (made up)
MASS_KG = (0.60, 0.80)
INERTIA_KG_M2 = ((0.0028, 0.0036), (0.0030, 0.0040), (0.0052, 0.0070))  # roll, pitch, yaw
ARM_M = (0.070, 0.085)  # of each motor, forward and to the side
ROTOR_HEIGHT_M = -0.012  # of the rotor's plane in axes that point down: it is above the centre of mass
SENSOR_OFFSET_M = 0.006  # at most: of the motion sensor from the centre of mass, forward and to the side

# --- what the body rests on (made up: soft foam, or two hands)
FOAM_TURN_HZ = (2.0, 5.0)  # how quickly it would swing about yaw
FOAM_SHIFT_HZ = (6.0, 12.0)
FOAM_DAMPING = (0.2, 0.4)  # of critical

# --- rotors: the outer bell of a motor of 30 g, ring of 15 g at 12 mm: 0.015 * 0.012^2 = 2.2e-6 kg m2; no propeller
ROTOR_INERTIA_KG_M2 = (2.0e-6, 3.0e-6)
SPIN_UP_S = (0.04, 0.09)  # time constants (made up)
SPIN_DOWN_S = (0.06, 0.16)
START_SPEED_HZ = (28.0, 36.0)  # at a command just above nothing (made up)
FULL_SPEED_HZ = (650.0, 750.0)  # at full command, no propeller (made up)
LOW_COMMAND = (0.05, 0.11)  # of the bench's pulses: 60 to 120 turns a second
IMBALANCE_KG_M = (2.0e-7, 6.0e-7)  # 0.2 to 0.6 gram millimetres: 4 to 13 mm/s for 30 g at 100 turns a second (made up)
HARMONICS = (0.10, 0.05)  # second and third against the first, at most (made up)
ROUGHNESS_M_S2 = 0.01  # broadband at 100 turns a second of a sound bearing (made up)
MAGNETS = (12, 14)

# --- motion sensor: class of the small six-axis parts (made up, of the size that such data sheets name)
SENSOR_RATE_HZ = 1000.0
SENSOR_CUTOFF_HZ = (190.0, 260.0)
GYRO_NOISE_RAD_S = (0.0010, 0.0025)  # spread after the low-pass: about 0.006 deg/s per root hertz
GYRO_BIAS_RAD_S = 0.010  # at most, after what the aircraft takes off at its start
GYRO_SCALE = 0.010  # at most
GYRO_LIMIT_RAD_S = math.radians(2000.0)
FORCE_NOISE_M_S2 = (0.015, 0.035)  # about 150 micro-g per root hertz
FORCE_BIAS_M_S2 = 0.12  # at most, after calibration
FORCE_SCALE = 0.006
FORCE_LIMIT_M_S2 = 16.0 * GRAVITY_M_S2
SENSOR_STEPS = 32768.0  # steps of each half of the range: 16 bits
MOUNTING_OFF_DEG = 1.2  # at most: a board never sits quite flat; the level trim takes it off
TRIM_LEFT_DEG = 0.3  # at most: what the trim leaves
ATTITUDE_NOISE_RAD = 0.0005

# --- receiver: pulses of 1000, 1500, 2000 us: common practice, no source
PULSE_LOW_US, PULSE_MIDDLE_US, PULSE_HIGH_US = 1000.0, 1500.0, 2000.0
SERIAL_TICK_US = 5.0 / 8.0  # 11-bit serial receivers: 1500 + (value - 992) 5/8 us; common practice, from memory
SERIAL_MIDDLE = 992.0
CHANNELS = 16
FRAME_HZ = (50.0, 150.0)
FRAME_JITTER = 0.05  # spread of the interval, as part of it (made up)
STICK_JITTER_US = (0.3, 1.0)  # spread of the pulse of a stick left alone (made up)
LOST_PART = 0.002  # at most, of the frames of a sound receiver (made up)
END_PLAY_US = 10.0  # at most: how far the ends of travel are off (made up)
MIDDLE_PLAY_US = 3.0  # at most: where the springs leave the stick (made up)
FAILSAFE_WAIT_S = (0.4, 1.0)

# --- battery: lithium polymer; cell voltages are common practice, no source
CELLS = (4, 6)
CELL_CHARGED_V = (3.75, 4.18)
CELL_FULL_V, CELL_WARN_V, CELL_LAND_V = 4.2, 3.5, 3.3
CELL_RESISTANCE_OHM = (0.002, 0.005)
REST_CURRENT_A = (0.3, 0.7)
AMPERES_PER_ROTOR = 0.6  # at the bench's low command, no propeller (made up)
VOLTAGE_SCALE_OFF = 0.006  # at most: of a divider that was calibrated
VOLTS_NOISE_V = 0.01
AMPERES_NOISE_A = 0.03
METER_OFF = 0.004  # at most: of a person's meter
