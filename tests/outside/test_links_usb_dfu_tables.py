"""Our tables of DFU and of the memory extension against those of others.

Sources: tests/outside/data/dfu_tables.csv (DFU 1.1, USB-IF 2004; ST AN3156; each code compared with the enumerations of
the independent host pydfuutil 0.11.3) and dfuse_layouts.csv (memory strings of real devices in public issues, each row
names its own; format: ST UM0424 4.3.2). Both the client's tables and those of the virtual device are compared.
"""

from __future__ import annotations

import csv
from enum import IntEnum
from pathlib import Path

import pytest

from rotorwright.links.usb_dfu import spec
from rotorwright.links.usb_dfu.codec import (
    block_address,
    erase_message,
    find_functional,
    parse_memory_string,
    parse_status,
    set_address_message,
)
from rotorwright.twin.usb_dfu import FUNCTIONAL_DESCRIPTOR, DfuRequest, DfuState, DfuStatus
from rotorwright.twin.usb_port import PRODUCT, VENDOR

DATA = Path(__file__).parent / "data"


def _rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


TABLE = _rows("dfu_tables.csv")
LAYOUTS = _rows("dfuse_layouts.csv")


def _values(kind: str) -> dict[str, int]:
    return {row["name"]: int(row["value"], 16) for row in TABLE if row["kind"] == kind}


def test_requests_states_and_statuses_are_those_of_the_standard() -> None:
    assert sorted(_values("request").values()) == sorted(spec.Request)
    assert sorted(_values("state").values()) == sorted(spec.State)
    assert sorted(_values("status").values()) == sorted(spec.Status)
    assert set(spec.STATUS_WORDS) == set(spec.Status)


NAMES: dict[str, dict[str, tuple[IntEnum, ...]]] = {
    "request": {
        "DFU_DETACH": (spec.Request.DETACH, DfuRequest.DETACH),
        "DFU_DNLOAD": (spec.Request.DOWNLOAD, DfuRequest.DNLOAD),
        "DFU_UPLOAD": (spec.Request.UPLOAD, DfuRequest.UPLOAD),
        "DFU_GETSTATUS": (spec.Request.GET_STATUS, DfuRequest.GETSTATUS),
        "DFU_CLRSTATUS": (spec.Request.CLEAR_STATUS, DfuRequest.CLRSTATUS),
        "DFU_GETSTATE": (spec.Request.GET_STATE, DfuRequest.GETSTATE),
        "DFU_ABORT": (spec.Request.ABORT, DfuRequest.ABORT),
    },
    "state": {
        "dfuIDLE": (spec.State.IDLE, DfuState.IDLE),
        "dfuDNLOAD-SYNC": (spec.State.DOWNLOAD_SYNC, DfuState.DNLOAD_SYNC),
        "dfuDNBUSY": (spec.State.DOWNLOAD_BUSY, DfuState.DNBUSY),
        "dfuDNLOAD-IDLE": (spec.State.DOWNLOAD_IDLE, DfuState.DNLOAD_IDLE),
        "dfuMANIFEST-SYNC": (spec.State.MANIFEST_SYNC, DfuState.MANIFEST_SYNC),
        "dfuMANIFEST": (spec.State.MANIFEST, DfuState.MANIFEST),
        "dfuUPLOAD-IDLE": (spec.State.UPLOAD_IDLE, DfuState.UPLOAD_IDLE),
        "dfuERROR": (spec.State.ERROR, DfuState.ERROR),
        "dfuMANIFEST-WAIT-RESET": (spec.State.MANIFEST_WAIT_RESET,),
        "appIDLE": (spec.State.APP_IDLE,),
        "appDETACH": (spec.State.APP_DETACH,),
    },
    "status": {
        "OK": (spec.Status.OK, DfuStatus.OK),
        "errTARGET": (spec.Status.TARGET, DfuStatus.TARGET),
        "errWRITE": (spec.Status.WRITE, DfuStatus.WRITE),
        "errERASE": (spec.Status.ERASE, DfuStatus.ERASE),
        "errADDRESS": (spec.Status.ADDRESS,),
        "errVENDOR": (spec.Status.VENDOR, DfuStatus.VENDOR),
        "errSTALLEDPKT": (spec.Status.STALLED_PACKET, DfuStatus.STALLED_PACKET),
    },
}


@pytest.mark.parametrize(("kind", "name"), [(kind, name) for kind, names in NAMES.items() for name in names])
def test_each_name_has_its_number_on_both_sides(kind: str, name: str) -> None:
    assert {int(ours) for ours in NAMES[kind][name]} == {_values(kind)[name]}


def test_attribute_bits_are_those_of_the_standard() -> None:
    bits = _values("attribute_bit")
    assert 1 << bits["bitCanDnload"] == spec.Attribute.CAN_DOWNLOAD
    assert 1 << bits["bitCanUpload"] == spec.Attribute.CAN_UPLOAD
    assert 1 << bits["bitManifestationTolerant"] == spec.Attribute.MANIFESTATION_TOLERANT
    assert 1 << bits["bitWillDetach"] == spec.Attribute.WILL_DETACH


def test_the_functional_descriptor_is_found_by_its_type_behind_others() -> None:
    assert _values("descriptor")["DFU functional descriptor type"] == spec.FUNCTIONAL_TYPE
    found = find_functional(bytes((4, 0x24, 1, 2)) + FUNCTIONAL_DESCRIPTOR)
    assert found is not None
    assert (found.transfer_bytes, found.version) == (2048, 0x011A)
    assert found.can_upload
    assert found.can_download


def test_commands_of_the_memory_extension_have_their_bytes() -> None:
    commands = _values("dfuse_command")
    assert sorted(commands.values()) == sorted(spec.MemoryCommand)
    assert set_address_message(0x0800_4000) == bytes((commands["Set address pointer"], 0x00, 0x40, 0x00, 0x08))
    assert erase_message(0x0800_4000) == bytes((commands["Erase"], 0x00, 0x40, 0x00, 0x08))
    assert len(erase_message(0)) == 5  # one byte alone would erase everything


def test_data_blocks_are_counted_from_the_number_of_the_extension() -> None:
    assert _values("dfuse_rule")["first data block number"] == spec.FIRST_DATA_BLOCK
    assert block_address(0x0800_0000, spec.FIRST_DATA_BLOCK, 2048) == 0x0800_0000
    assert block_address(0x0800_0000, 5, 2048) == 0x0800_1800


def test_a_status_has_its_pause_in_three_bytes_low_byte_first() -> None:
    status = parse_status(bytes((0x0B, 0x10, 0x27, 0x01, 0x0A, 0)))
    assert (status.status, status.poll_s, status.state) == (0x0B, 0x012710 / 1000, 0x0A)
    assert status.is_error


def test_the_virtual_device_has_the_numbers_of_the_maker() -> None:
    assert {f"{row['name']}": int(row["value"], 16) for row in TABLE if row["kind"] == "usb_id"} == {
        "idVendor STMicroelectronics": VENDOR,
        "idProduct DFU bootloader": PRODUCT,
    }


@pytest.mark.parametrize("row", LAYOUTS, ids=lambda row: row["descriptor"])
def test_memory_strings_of_real_devices_are_read(row: dict[str, str]) -> None:
    layout = parse_memory_string(row["descriptor"])
    shown = [
        f"{run.address:08X}:{run.count}x{run.size_bytes}:"
        + "r" * run.readable
        + "e" * run.erasable
        + "w" * run.writable
        for run in layout.runs
    ]
    assert layout.name == row["name"]
    assert " ".join(shown) == row["segments start:count x size:access"]
