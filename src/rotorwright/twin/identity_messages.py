"""Who the aircraft is, in the messages that a ground station asks for.

Source: message definitions common.xml; MAVLink guide, pages "MAVLink versions" and "component metadata protocol".
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pymavlink.dialects.v20 import common

from rotorwright.twin.mavlink_codec import ComponentInformationBasic, ComponentMetadata, ProtocolVersion, packet
from rotorwright.twin.metadata_service import FTP_SCHEME, GENERAL_PATH

if TYPE_CHECKING:
    from rotorwright.twin.boot import ApplicationBuild
    from rotorwright.twin.mavlink_codec import Packet

CAPABILITIES = (
    common.MAV_PROTOCOL_CAPABILITY_PARAM_ENCODE_BYTEWISE
    | common.MAV_PROTOCOL_CAPABILITY_MAVLINK2
    | common.MAV_PROTOCOL_CAPABILITY_FTP
    | common.MAV_PROTOCOL_CAPABILITY_COMMAND_INT
)
_UID2_BYTES = 18
_HASH_BYTES = 8
_NO_HASH = (0,) * _HASH_BYTES


@dataclass(frozen=True, slots=True)
class IdentityMessages:
    """Makes the messages.

    Args:
        build: the firmware that runs.
        unique_id: 12 bytes, in the order as read from the microcontroller.
        general_crc: CRC of the general metadata file.
    """

    build: ApplicationBuild
    unique_id: bytes
    general_crc: int

    def message(self, message_id: int, time_boot_ms: int) -> Packet | None:
        """Return the message, or nothing if it is none of these."""
        if message_id == common.MAVLINK_MSG_ID_AUTOPILOT_VERSION:
            return self._autopilot_version()
        if message_id == ComponentInformationBasic.ID:
            return self._basic(time_boot_ms)
        if message_id == ComponentMetadata.ID:
            return ComponentMetadata(time_boot_ms, self.general_crc, FTP_SCHEME + GENERAL_PATH).packet()
        return ProtocolVersion().packet() if message_id == ProtocolVersion.ID else None

    def _autopilot_version(self) -> Packet:
        return packet(
            common.MAVLink_autopilot_version_message(
                capabilities=CAPABILITIES,
                flight_sw_version=version_number(self.build.release),
                middleware_sw_version=0,
                os_sw_version=0,
                board_version=0,
                flight_custom_version=list(_hash_bytes(self.build.build)),
                middleware_custom_version=_NO_HASH,
                os_custom_version=_NO_HASH,
                vendor_id=0,
                product_id=0,
                uid=0,  # uid2 stands for it
                uid2=list(self.unique_id.ljust(_UID2_BYTES, b"\0")),
            )
        )

    def _basic(self, time_boot_ms: int) -> Packet:
        return ComponentInformationBasic(
            capabilities=CAPABILITIES,
            time_boot_ms=time_boot_ms,
            vendor_name=self.build.family,
            model_name=self.build.board,
            software_version=self.build.release,
            hardware_version=self.build.mcu,
            serial_number=self.unique_id.hex(),
        ).packet()


def version_number(release: str) -> int:
    """Return a release as `flight_sw_version`: major, minor, patch and kind (official), one byte each, major first."""
    parts = [int(part) for part in release.split(".")]
    major, minor, patch = [*parts, 0, 0][:3]
    return major << 24 | minor << 16 | patch << 8 | int(common.FIRMWARE_VERSION_TYPE_OFFICIAL)


def _hash_bytes(build: str) -> bytes:
    """Return the first bytes of a git hash; zeros if the build names none."""
    try:
        return bytes.fromhex(build[: 2 * _HASH_BYTES]).ljust(_HASH_BYTES, b"\0")
    except ValueError:
        return bytes(_HASH_BYTES)
