"""The aircraft's own description of its settings: found, fetched, checked, unpacked.

COMPONENT_METADATA names a general file, the general file names the parameter file; both come by MAVLink FTP, with their
CRC, and may be packed by xz. An address that is not on the aircraft is not followed: no network is needed here.

Source: MAVLink guide, page "component metadata protocol".
"""

from __future__ import annotations

import json
import lzma
import re
from typing import TYPE_CHECKING

from rotorwright.errors import SettingsError
from rotorwright.links.mavlink.errors import CommandRefusedError, MetadataUnusableError
from rotorwright.links.mavlink.ftp import file_crc
from rotorwright.links.mavlink.spec import FTP_SCHEME, METADATA_MOST_BYTES, PARAMETER_METADATA, MessageId
from rotorwright.settings.catalogue import Catalogue, parse_catalogue

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.links.mavlink.commands import CommandClient
    from rotorwright.links.mavlink.ftp import FileClient

_XZ_MAGIC = b"\xfd7zXZ\x00"
_COMPONENT = re.compile(r"\[;comp=\d+\]")


def read_parameter_file(commands: CommandClient, files: FileClient) -> bytes:
    """Return the parameter metadata of the aircraft as JSON text.

    Raises:
        MetadataUnusableError: the aircraft offers none, or what it offers is damaged.
        FileRefusedError, FileDamagedError: a file cannot be read.
    """
    try:
        address, crc = commands.request_message(
            MessageId.COMPONENT_METADATA,
            lambda frame: (frame.fields.text("uri"), frame.fields.integer("file_crc")),
        )
    except CommandRefusedError as refused:
        raise MetadataUnusableError.of("COMPONENT_METADATA", because="it does not offer one") from refused
    general = _fetch(files, address, crc)
    return _fetch(files, *_parameter_entry(general, path_in(address)))


def read_catalogue(commands: CommandClient, files: FileClient) -> Catalogue:
    """Return the catalogue that the aircraft hands out.

    Raises:
        MetadataUnusableError: there is none, or it breaks the schema.
        FileRefusedError, FileDamagedError: a file cannot be read.
    """
    data = read_parameter_file(commands, files)
    try:
        return parse_catalogue(data)
    except SettingsError as error:
        raise MetadataUnusableError.of("the parameter file", because=error.what) from error


def path_in(address: str) -> str:
    """Return the path on the aircraft in an address such as `mftp:///metadata/general.json`.

    Raises:
        MetadataUnusableError: the address leads elsewhere.
    """
    if not address.startswith(FTP_SCHEME):
        raise MetadataUnusableError.of(address or "an empty address", because="it is not on the aircraft")
    return _COMPONENT.sub("", address.removeprefix(FTP_SCHEME), count=1)


def unpack(data: bytes, path: str) -> bytes:
    """Return `data`, unpacked if it is an xz file; never more than 16 MiB.

    Raises:
        MetadataUnusableError: it is damaged, cut short, or larger than that.
    """
    if not data.startswith(_XZ_MAGIC):
        return data
    unpacker = lzma.LZMADecompressor(lzma.FORMAT_XZ, memlimit=16 * METADATA_MOST_BYTES)
    try:
        unpacked = unpacker.decompress(data, max_length=METADATA_MOST_BYTES)
    except lzma.LZMAError as error:
        raise MetadataUnusableError.of(path, because=f"it cannot be unpacked ({error})") from error
    if not unpacker.eof:
        why = "it is cut short" if unpacker.needs_input else f"it unpacks to more than {METADATA_MOST_BYTES} bytes"
        raise MetadataUnusableError.of(path, because=why)
    return unpacked


def _fetch(files: FileClient, address: str, crc: int) -> bytes:
    """Return a file, unpacked. A CRC of 0 means that none is given."""
    path = path_in(address)
    data = files.read(path)
    if crc and file_crc(data) != crc:
        raise MetadataUnusableError.of(path, because=f"its checksum is {file_crc(data):08x}, announced was {crc:08x}")
    return unpack(data, path)


def _parameter_entry(general: bytes, path: str) -> tuple[str, int]:
    """Return address and CRC of the parameter file as the general file names them."""
    try:
        entries = json.loads(general)["metadataTypes"]
        for entry in entries:
            if entry["type"] == PARAMETER_METADATA:
                return str(entry["uri"]), _whole(entry)
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise MetadataUnusableError.of(path, because=f"it is not as the schema says ({error!r})") from error
    raise MetadataUnusableError.of(path, because="it names no parameter file")


def _whole(entry: Mapping[str, object]) -> int:
    crc = entry.get("fileCrc", 0)
    if not isinstance(crc, int):
        raise TypeError(f"fileCrc is {crc!r}")
    return crc
