"""The component metadata files: what the aircraft says about its own settings.

Source: MAVLink guide, page "component metadata protocol", and its general and parameter schemas.
"""

from __future__ import annotations

import json
import lzma
import zlib
from typing import TYPE_CHECKING

from rotorwright.settings.catalogue import print_catalogue

if TYPE_CHECKING:
    from rotorwright.settings.catalogue import Catalogue

GENERAL_PATH = "/metadata/general.json"
PARAMETERS_PATH = "/metadata/parameters.json.xz"
FTP_SCHEME = "mftp://"
_GENERAL_VERSION = 1
_PARAMETER_METADATA = 1  # COMP_METADATA_TYPE_PARAMETER of common.xml


def file_crc(data: bytes) -> int:
    """Return the CRC-32 that MAVLink takes over files: initial value 0 and no final inversion, unlike that of zip.

    Source: MAVLink guide, page "file transfer protocol"; check value 2DFD2D88 over "123456789".
    """
    return zlib.crc32(data, 0xFFFF_FFFF) ^ 0xFFFF_FFFF


def metadata_files(catalogue: Catalogue) -> dict[str, bytes]:
    """Return the metadata files by path. The CRC of a compressed file is that of its compressed bytes."""
    # CRC-32 is the check that every xz reader has, also the small ones.
    parameters = lzma.compress(print_catalogue(catalogue), check=lzma.CHECK_CRC32)
    general = {
        "version": _GENERAL_VERSION,
        "metadataTypes": [
            {
                "type": _PARAMETER_METADATA,
                "uri": FTP_SCHEME + PARAMETERS_PATH,
                "fileCrc": file_crc(parameters),
            }
        ],
    }
    return {GENERAL_PATH: json.dumps(general).encode(), PARAMETERS_PATH: parameters}
