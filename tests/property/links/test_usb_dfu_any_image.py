"""Whatever segments an image has, and whatever stood there before: it ends equal, and nothing else is touched."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st
from tests.unit.links.usb_bench import PART, START, UsbBench

from rotorwright.firmware.image import Image, ImageRangeError
from rotorwright.firmware.mcu import sectors_for
from rotorwright.links.rom_uart.flash_writer import write_sectors
from rotorwright.twin.usb_port import TransferFault

SPAN = 80 * 1024  # the four small sectors and a part of the fifth
CHUNKS = st.lists(st.tuples(st.integers(0, SPAN - 1), st.binary(min_size=1, max_size=5000)), min_size=1, max_size=6)
FAULTS = st.dictionaries(st.integers(1, 60), st.sampled_from(list(TransferFault)), max_size=3)


@settings(max_examples=60, deadline=None)
@given(chunks=CHUNKS, old=st.binary(max_size=3000), faults=FAULTS)
def test_any_image_ends_equal_and_nothing_else_is_touched(
    chunks: list[tuple[int, bytes]], old: bytes, faults: dict[int, TransferFault]
) -> None:
    try:
        new = Image.of([(START + offset, data) for offset, data in chunks])
    except ImageRangeError:
        return  # two of them overlap
    sectors = sectors_for(new, PART)
    bench = UsbBench(transfers=faults, old=None)
    bench.memories.flash[: len(old)] = old
    write_sectors(bench.loader(), new, sectors, mcu=PART)
    assert bench.holds(new)
    assert bench.aircraft.flash.touched_sectors <= {sector.number for sector in sectors}
    assert write_sectors(bench.loader(), new, sectors, mcu=PART).written == ()
