"""The messages that this pymavlink lacks, read by a dialect that its own generator makes from their definition.

The fields are written down here once more, from the message definitions of the open standard (common.xml of
mavlink/mavlink; their order and types are confirmed by the CRC_EXTRA numbers 217, 50 and 182 in
tests/outside/data/mavlink_messages.csv). So the reader is pymavlink's, not ours.
"""

from __future__ import annotations

import importlib.util
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from pymavlink.generator import mavgen, mavparse
from tests.unit.twin_application.ground_station import UNIQUE_ID, Station

from rotorwright.twin.metadata_service import file_crc

if TYPE_CHECKING:
    from collections.abc import Callable

XML = """<?xml version="1.0"?>
<mavlink>
  <version>3</version>
  <messages>
    <message id="300" name="PROTOCOL_VERSION">
      <description>.</description>
      <field type="uint16_t" name="version">.</field>
      <field type="uint16_t" name="min_version">.</field>
      <field type="uint16_t" name="max_version">.</field>
      <field type="uint8_t[8]" name="spec_version_hash">.</field>
      <field type="uint8_t[8]" name="library_version_hash">.</field>
    </message>
    <message id="396" name="COMPONENT_INFORMATION_BASIC">
      <description>.</description>
      <field type="uint64_t" name="capabilities">.</field>
      <field type="uint32_t" name="time_boot_ms">.</field>
      <field type="uint32_t" name="time_manufacture_s">.</field>
      <field type="char[32]" name="vendor_name">.</field>
      <field type="char[32]" name="model_name">.</field>
      <field type="char[24]" name="software_version">.</field>
      <field type="char[24]" name="hardware_version">.</field>
      <field type="char[32]" name="serial_number">.</field>
    </message>
    <message id="397" name="COMPONENT_METADATA">
      <description>.</description>
      <field type="uint32_t" name="time_boot_ms">.</field>
      <field type="uint32_t" name="file_crc">.</field>
      <field type="char[100]" name="uri">.</field>
    </message>
    <message id="77" name="COMMAND_ACK">
      <description>.</description>
      <field type="uint16_t" name="command">.</field>
      <field type="uint8_t" name="result">.</field>
      <extensions/>
      <field type="uint8_t" name="progress">.</field>
      <field type="int32_t" name="result_param2">.</field>
      <field type="uint8_t" name="target_system">.</field>
      <field type="uint8_t" name="target_component">.</field>
    </message>
  </messages>
</mavlink>
"""


@pytest.fixture(scope="module")
def requested(tmp_path_factory: pytest.TempPathFactory) -> Callable[[Station, int], Any]:
    folder = tmp_path_factory.mktemp("dialect")

    @cache
    def dialect() -> Any:
        return _generated(folder)

    def ask(station: Station, message_id: int) -> Any:
        module = dialect()
        reader = module.MAVLink(None)
        reader.robust_parsing = True
        asked = station.codec.command_long_encode(1, 1, 512, 0, message_id, 0, 0, 0, 0, 0, 0)
        station.heard()
        station.send(asked)
        answer, message = reader.parse_buffer(b"".join(station.frames()))
        assert (answer.command, answer.result) == (512, 0)
        assert message.get_msgId() == message_id
        return message

    return ask


def _generated(folder: Path) -> Any:
    source = folder / "lacking.xml"
    source.write_text(XML, encoding="utf-8")
    target = folder / "lacking"
    options = mavgen.Opts(str(target), wire_protocol=mavparse.PROTOCOL_2_0, language="Python3", validate=False)
    assert mavgen.mavgen(options, [str(source)])
    spec = importlib.util.spec_from_file_location("lacking", target.with_suffix(".py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_component_information_says_family_board_release_part_and_unique_id(
    requested: Callable[[Station, int], Any],
) -> None:
    station = Station()
    station.now_s = 12.5
    message = requested(station, 396)
    assert message.vendor_name == "Thornbill"
    assert message.model_name == "Corvane One"
    assert message.software_version == "5.2.0"
    assert message.hardware_version == "STM32F405xG"
    assert message.serial_number == UNIQUE_ID.hex()
    assert (message.time_boot_ms, message.time_manufacture_s) == (12_500, 0)
    assert message.capabilities & 16


def test_component_metadata_says_where_the_general_file_is(requested: Callable[[Station, int], Any]) -> None:
    station = Station()
    message = requested(station, 397)
    assert message.uri == "mftp:///metadata/general.json"
    assert message.file_crc == file_crc(station.read_file("/metadata/general.json"))


def test_the_protocol_version_is_two(requested: Callable[[Station, int], Any]) -> None:
    message = requested(Station(), 300)
    assert (message.version, message.min_version, message.max_version) == (200, 100, 200)
