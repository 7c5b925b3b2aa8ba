"""What the MAVLink pages say, as tables. The code reads these tables; the tests walk them.

Message layouts are not here: they come from pymavlink's common dialect (see messages.py). Numbers of enumerations are
those of common.xml and are checked against pymavlink in tests/outside.
"""

from __future__ import annotations

from enum import IntEnum, IntFlag

from rotorwright.links.limits import Limit
from rotorwright.settings.values import SettingType

OUR_SYSTEM = 255
"""System number that ground stations use by custom (MAVLink guide, routing)."""
OUR_COMPONENT = 25
"""MAV_COMP_ID_USER1: free for private use (common.xml)."""

NO_AUTOPILOT = 8
"""MAV_AUTOPILOT_INVALID: the heartbeat of something that is no aircraft (common.xml)."""

UNKNOWN_UINT16 = 0xFFFF
"""How a uint16 field says that its value is not known (common.xml, many fields)."""


ARMED_FLAG = 128
"""MAV_MODE_FLAG_SAFETY_ARMED: the motors are armed (common.xml)."""

FIRST_MOTOR_FUNCTION = 1
"""ACTUATOR_OUTPUT_FUNCTION_MOTOR1 (common.xml)."""

RECEIVER_CHANNEL_FIELDS = 18
"""Channels that RC_CHANNELS has room for (common.xml)."""


class MessageId(IntEnum):
    """The messages that we send or read (common.xml)."""

    HEARTBEAT = 0
    PARAM_REQUEST_READ = 20
    PARAM_REQUEST_LIST = 21
    PARAM_VALUE = 22
    PARAM_SET = 23
    ATTITUDE = 30
    RC_CHANNELS = 65
    COMMAND_LONG = 76
    COMMAND_ACK = 77
    HIGHRES_IMU = 105
    FILE_TRANSFER_PROTOCOL = 110
    BATTERY_STATUS = 147
    AUTOPILOT_VERSION = 148
    STATUSTEXT = 253
    RAW_RPM = 339
    PARAM_ERROR = 345
    COMPONENT_INFORMATION_BASIC = 396
    COMPONENT_METADATA = 397


class CommandId(IntEnum):
    """The commands that we send (common.xml, MAV_CMD)."""

    PREFLIGHT_STORAGE = 245
    PREFLIGHT_REBOOT_SHUTDOWN = 246
    ACTUATOR_TEST = 310
    SET_MESSAGE_INTERVAL = 511
    REQUEST_MESSAGE = 512


class Storage(IntEnum):
    """First parameter of PREFLIGHT_STORAGE (common.xml, PREFLIGHT_STORAGE_PARAMETER_ACTION)."""

    LOAD = 0
    SAVE = 1
    RESET = 2


class Reboot(IntEnum):
    """First parameter of PREFLIGHT_REBOOT_SHUTDOWN (common.xml)."""

    REBOOT = 1
    STAY_IN_BOOTLOADER = 3


class Result(IntEnum):
    """Results of a command (common.xml, MAV_RESULT)."""

    ACCEPTED = 0
    TEMPORARILY_REJECTED = 1
    DENIED = 2
    UNSUPPORTED = 3
    FAILED = 4
    IN_PROGRESS = 5
    CANCELLED = 6


RESULT_WORDS = {
    Result.TEMPORARILY_REJECTED: "it cannot do that now",
    Result.DENIED: "it does not allow that",
    Result.UNSUPPORTED: "it does not know that command",
    Result.FAILED: "it tried and failed",
    Result.CANCELLED: "it was called off",
}


class Capability(IntFlag):
    """Capabilities of AUTOPILOT_VERSION that matter here (common.xml, MAV_PROTOCOL_CAPABILITY)."""

    PARAM_ENCODE_BYTEWISE = 16
    FTP = 32
    MAVLINK2 = 8192
    PARAM_ENCODE_C_CAST = 131072


SETTING_TYPES = {
    1: SettingType.UINT8,
    2: SettingType.INT8,
    3: SettingType.UINT16,
    4: SettingType.INT16,
    5: SettingType.UINT32,
    6: SettingType.INT32,
    9: SettingType.FLOAT,
}
"""Types of parameters that fit the four bytes of PARAM_VALUE, by their number (common.xml, MAV_PARAM_TYPE)."""

TYPE_NUMBERS = {type_: number for number, type_ in SETTING_TYPES.items()}

SETTING_NAME_BYTES = 16
"""Longest name of a setting; a name of this length has no zero byte behind it (parameter protocol page)."""

PARAMETER_DOES_NOT_EXIST = 1
"""MAV_PARAM_ERROR_DOES_NOT_EXIST (common.xml)."""

PARAMETER_METADATA = 1
"""COMP_METADATA_TYPE_PARAMETER (common.xml; from memory, pymavlink 2.4.50 has no such enumeration)."""


class FtpOpcode(IntEnum):
    """Operations of the file transfer protocol (its page, table of opcodes)."""

    NONE = 0
    TERMINATE_SESSION = 1
    RESET_SESSIONS = 2
    LIST_DIRECTORY = 3
    OPEN_FILE_RO = 4
    READ_FILE = 5
    CREATE_FILE = 6
    WRITE_FILE = 7
    REMOVE_FILE = 8
    CREATE_DIRECTORY = 9
    REMOVE_DIRECTORY = 10
    OPEN_FILE_WO = 11
    TRUNCATE_FILE = 12
    RENAME = 13
    CALC_FILE_CRC32 = 14
    BURST_READ_FILE = 15
    ACK = 128
    NAK = 129


class FtpRefusal(IntEnum):
    """Reasons of a NAK (file transfer protocol page, table of errors)."""

    NONE = 0
    FAIL = 1
    FAIL_ERRNO = 2
    INVALID_DATA_SIZE = 3
    INVALID_SESSION = 4
    NO_SESSIONS_AVAILABLE = 5
    EOF = 6
    UNKNOWN_COMMAND = 7
    FILE_EXISTS = 8
    FILE_PROTECTED = 9
    FILE_NOT_FOUND = 10


FTP_REFUSAL_WORDS = {
    FtpRefusal.NONE: "it gives no reason",
    FtpRefusal.FAIL: "it failed",
    FtpRefusal.FAIL_ERRNO: "its file system failed",
    FtpRefusal.INVALID_DATA_SIZE: "the size is not right",
    FtpRefusal.INVALID_SESSION: "it has forgotten the session",
    FtpRefusal.NO_SESSIONS_AVAILABLE: "all its sessions are taken",
    FtpRefusal.EOF: "the file ends before",
    FtpRefusal.UNKNOWN_COMMAND: "it does not know that operation",
    FtpRefusal.FILE_EXISTS: "the file is there already",
    FtpRefusal.FILE_PROTECTED: "the file is write-protected",
    FtpRefusal.FILE_NOT_FOUND: "there is no such file",
}

FTP_HEADER_BYTES = 12
FTP_PAYLOAD_BYTES = 251
FTP_DATA_BYTES = FTP_PAYLOAD_BYTES - FTP_HEADER_BYTES
"""239 bytes of data in one message (file transfer protocol page, payload format)."""

FTP_SCHEME = "mftp://"
"""How the address of a file on the aircraft begins (component metadata page)."""

METADATA_MOST_BYTES = 16 * 1024 * 1024
"""Largest unpacked metadata that we take; own choice: 450 settings need 0.3 MB."""

_OWN = "own choice"
STALL = Limit("silence inside a frame after which it is given up", 0.1, "s", f"{_OWN}: the longest: 49 ms at 57,600")
HEARTBEAT = Limit("wait for the first heartbeat", 5.0, "s", f"{_OWN}; heartbeat page: generally sent at 1 Hz")
ALIVE = Limit("silence after which an application is taken for gone", 4.5, "s", f"{_OWN}: four heartbeats missing")
ANSWER = Limit("wait for the answer to one message", 0.5, "s", _OWN)
ANSWER_SHORT = Limit("shortest wait for a message that was asked for", 0.1, "s", _OWN)
ANSWER_LONG = Limit("longest wait for a message that was asked for", 2.0, "s", _OWN)
TRIES = Limit("tries of one message", 10, "", f"{_OWN}: all ten lost once in 27,000 with 20 % lost each way")
LIST_START = Limit("wait for the list of settings to begin", 0.3, "s", _OWN)
LIST_PAUSE_SHORT = Limit("shortest silence that ends the list of settings", 0.06, "s", _OWN)
LIST_PAUSE_LONG = Limit("longest silence that ends the list of settings", 1.0, "s", _OWN)
LIST_PAUSE_STEPS = Limit("silence that ends the list, in usual steps between two settings", 12, "", _OWN)
GAP_WINDOW = Limit("settings asked for again at the same time", 8, "", f"{_OWN}: enough for 25 ms of delay")
GAP_WINDOW_MOST = Limit("the same, at most, when answers come", 32, "", _OWN)
GAP_TRIES = Limit("tries to get one setting", 15, "", f"{_OWN}: one failure in 4 million with 20 % lost each way")
RESTARTS = Limit("times to begin again when the list of settings changes", 3, "", _OWN)
DELAY_SHORT = Limit("shortest wait for an answer, however quick the line was", 0.03, "s", _OWN)
SET_ANSWER = Limit("wait for the first answer to a written setting", 0.3, "s", _OWN)
SET_ANSWER_SHORT = Limit("shortest wait for an answer to a written setting", 0.1, "s", _OWN)
SET_ANSWER_LONG = Limit("longest wait for an answer to a written setting", 2.0, "s", _OWN)
SET_REFUSALS = Limit("answers with another value that count as a refusal", 2, "", f"{_OWN}: one may be an older one")
REJECTED_PAUSE = Limit("pause after 'cannot do that now'", 0.5, "s", _OWN)
REJECTED_TRIES = Limit("tries after 'cannot do that now'", 6, "", _OWN)
IN_PROGRESS = Limit("wait for the next word about a command in progress", 5.0, "s", _OWN)
FTP_ANSWER = Limit(
    "wait for the first answer about a file",
    0.25,
    "s",
    f"{_OWN}; the page recommends 50 ms, less than a full message and its answer need at 57,600 baud",
)
FTP_ANSWER_SHORT = Limit("shortest wait for an answer about a file", 0.05, "s", "file transfer protocol page: 50 ms")
FTP_ANSWER_LONG = Limit("longest wait for an answer about a file", 2.0, "s", _OWN)
FTP_TRIES = Limit("tries of one request about a file", 12, "", f"{_OWN}; the page recommends 6, too few for 20 % lost")
FTP_CRC = Limit("wait for the first checksum of a file", 0.5, "s", f"{_OWN}: the aircraft reads all of it")
FTP_SESSIONS = Limit("times to open a file again when its session was lost", 4, "", _OWN)
FTP_BURST_GAP = Limit("missing bytes from which on a burst is asked for, not single pieces", 8 * 239, "bytes", _OWN)
MOTOR_HOLD_MOST = Limit(
    "longest time that a motor turns on one command", 0.4, "s", f"{_OWN}: it stops if we fall silent"
)
STREAM_SILENCE = Limit("silence after which a stream is asked for again", 1.0, "s", _OWN)

LIMITS = (
    STALL,
    HEARTBEAT,
    ALIVE,
    ANSWER,
    ANSWER_SHORT,
    ANSWER_LONG,
    TRIES,
    LIST_START,
    LIST_PAUSE_SHORT,
    LIST_PAUSE_LONG,
    LIST_PAUSE_STEPS,
    GAP_WINDOW,
    GAP_WINDOW_MOST,
    GAP_TRIES,
    RESTARTS,
    DELAY_SHORT,
    SET_ANSWER,
    SET_ANSWER_SHORT,
    SET_ANSWER_LONG,
    SET_REFUSALS,
    REJECTED_PAUSE,
    REJECTED_TRIES,
    IN_PROGRESS,
    FTP_ANSWER,
    FTP_ANSWER_SHORT,
    FTP_ANSWER_LONG,
    FTP_TRIES,
    FTP_CRC,
    FTP_SESSIONS,
    FTP_BURST_GAP,
    MOTOR_HOLD_MOST,
    STREAM_SILENCE,
)
