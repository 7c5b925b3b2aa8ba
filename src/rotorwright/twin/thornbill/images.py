"""Firmware images of the invented family: real enough for every check, and able to start.

Each image has a whole vector table, a little start-up code that a Cortex-M really runs (copy initialised data, clear
the rest, switch a clock on, wait for ever), build strings, an image descriptor and a CRC. What remains is filler that
looks like code, the same for the same release and board on every machine.
"""

from __future__ import annotations

import hashlib
import struct
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from rotorwright.errors import ImageError
from rotorwright.firmware.descriptor import SIZE_BYTES, Descriptor, pack_descriptor, sealed
from rotorwright.firmware.image import Image
from rotorwright.firmware.intel_hex import write_intel_hex
from rotorwright.firmware.mcu import microcontroller

if TYPE_CHECKING:
    from pathlib import Path

FAMILY = "Thornbill"
FLASH_START = 0x0800_0000
LARGEST_SIZE_BYTES = 0x000E_0000
"""The maker's page of the Corvane C405 begins here: sector 11, which no image may reach."""

SMALLEST_SIZE_BYTES = 2048

DEMO_FILE_NAMES = {
    ("5.2", "C405"): "thornbill-5.2-corvane-one.hex",
    ("6.0", "C405"): "thornbill-6.0-corvane-c405.hex",
    ("6.0", "H7"): "thornbill-6.0-corvane-h7.hex",
    ("6.1", "C405"): "thornbill-6.1-corvane-c405.hex",
    ("6.1", "H7"): "thornbill-6.1-corvane-h7.hex",
}
"""The files that `write_demo_images` writes, by release and board key."""


class DemoImageError(ImageError):
    """There is no such demo image: unknown release or board, or a size that cannot be."""

    id = "image.no-such-demo"


@dataclass(frozen=True, slots=True)
class _Part:
    """What start-up code has to know about a board's microcontroller."""

    mcu: str
    interrupts: int  # vectors after the sixteen system ones
    stack_top: int
    clock_register: int  # enables the clocks of the pins


# Interrupts: last number in the interrupt tables of RM0090 (81) and RM0433 (149), from memory. Stack: end of SRAM2 and
# of the D1 SRAM in our microcontroller table. Clock: RCC base of outside data mcu_ids.csv, plus 30h (AHB1ENR, RM0090)
# and E0h (AHB4ENR, RM0433), offsets from memory.
_PARTS = {
    "C405": _Part("STM32F405xG", interrupts=82, stack_top=0x2002_0000, clock_register=0x4002_3830),
    "H7": _Part("STM32H743xI", interrupts=150, stack_top=0x2408_0000, clock_register=0x5802_44E0),
}
_BOARD_NAMES = {
    ("5.2", "C405"): "Corvane One",
    ("6.0", "C405"): "Corvane C405",
    ("6.1", "C405"): "Corvane C405",
    ("5.2", "H7"): "Corvane H7",
    ("6.0", "H7"): "Corvane H7",
    ("6.1", "H7"): "Corvane H7",
}
# None of them is a whole number of sectors or of transfer blocks.
_DEFAULT_SIZES_BYTES = {"5.2": 429_316, "6.0": 450_548, "6.1": 454_804}

# Assembled by hand from the Thumb encodings of DDI 0403 (A7.7). Offsets in bytes from the label `reset`.
_START_UP = (
    0x480C,  # 00 reset:  ldr   r0, [pc, #48]    first byte of initialised data in RAM (literal 34)
    0x490D,  # 02         ldr   r1, [pc, #52]    first byte past it (literal 38)
    0x4A0D,  # 04         ldr   r2, [pc, #52]    its first values in flash (literal 3c)
    0x4288,  # 06 copy:   cmp   r0, r1
    0xD204,  # 08         bhs   clear
    0xF852,  # 0a         ldr   r3, [r2], #4
    0x3B04,
    0xF840,  # 0e         str   r3, [r0], #4
    0x3B04,
    0xE7F8,  # 12         b     copy
    0x490A,  # 14 clear:  ldr   r1, [pc, #40]    first byte past the cleared data (literal 40)
    0x2300,  # 16         movs  r3, #0
    0x4288,  # 18 next:   cmp   r0, r1
    0xD202,  # 1a         bhs   run
    0xF840,  # 1c         str   r3, [r0], #4
    0x3B04,
    0xE7FA,  # 20         b     next
    0x4808,  # 22 run:    ldr   r0, [pc, #32]    clock register of the pins (literal 44)
    0x6801,  # 24         ldr   r1, [r0]
    0xF041,  # 26         orr   r1, r1, #1
    0x0101,
    0x6001,  # 2a         str   r1, [r0]
    0xBF30,  # 2c wait:   wfi
    0xE7FD,  # 2e         b     wait
    0xE7FE,  # 30 stop:   b     stop             every exception and interrupt ends here
    0xBF00,  # 32         nop                    aligns the literals
)
_STOP_OFFSET = 0x30
_LITERALS = 5
_RAM_START = 0x2000_0000  # SRAM1 of the F405, tightly coupled memory of the H743
_DATA_BYTES = 64
_CLEARED_BYTES = 256

# The two bytes of a halfword of filler are drawn from these, so that it has the look of Thumb code (opcodes above,
# small numbers below) and no run of FFh that could pass for erased flash.
_HIGH_BYTES = bytes.fromhex(
    "20 21 22 23 28 2b 30 32 42 43 44 46 47 48 49 4b 60 61 68 69 70 78 80 88 92 99 a8 b0 b5 bd d0 d1 e7 eb f0 f7"
)
_LOW_BYTES = bytes(range(0x40)) * 2 + bytes(range(0x00, 0xFC, 2)) + bytes(range(2))
_HIGH_TABLE = bytes(_HIGH_BYTES[value * len(_HIGH_BYTES) // 256] for value in range(256))


@lru_cache(maxsize=16)
def build_image(release: str, board: str, *, size_bytes: int | None = None) -> Image:
    """Return the image of release line `release` ("5.2", "6.0", "6.1") for board key `board` ("C405", "H7").

    It is one segment of `size_bytes` from the start of the flash (about 420 KiB for 5.2 and 440 KiB for the
    others if not given; tests take small ones), a multiple of 4, and never reaches the maker's page. Same arguments,
    same bytes.

    Raises:
        DemoImageError: no such release or board, or a size outside `SMALLEST_SIZE_BYTES` to `LARGEST_SIZE_BYTES`.
    """
    if (release, board) not in _BOARD_NAMES:
        raise _no_such(f"{release} for {board}", f"There are {', '.join(' for '.join(key) for key in _BOARD_NAMES)}.")
    size = _DEFAULT_SIZES_BYTES[release] if size_bytes is None else size_bytes
    if size % 4 or not SMALLEST_SIZE_BYTES <= size <= LARGEST_SIZE_BYTES:
        raise _no_such(f"of {size} bytes", f"It has {SMALLEST_SIZE_BYTES} to {LARGEST_SIZE_BYTES}, a multiple of 4.")
    head, descriptor = _head(release, board, size)
    body = head + _filler(f"{FAMILY} {release} {board}", size - len(head))
    draft = Image.of([(FLASH_START, body)])
    offset = descriptor.address - FLASH_START
    final = body[:offset] + pack_descriptor(sealed(draft, descriptor)) + body[offset + SIZE_BYTES :]
    return Image.of([(FLASH_START, final)], entry=_reset_vector(_PARTS[board]))


def write_demo_images(folder: Path) -> dict[str, Path]:
    """Write the demo images as Intel HEX files into `folder` (made if missing) and return their paths by file name."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = {}
    for (release, board), name in DEMO_FILE_NAMES.items():
        paths[name] = folder / name
        paths[name].write_bytes(write_intel_hex(build_image(release, board)))
    return paths


def _head(release: str, board: str, size_bytes: int) -> tuple[bytes, Descriptor]:
    """Return everything before the filler, and the descriptor in it, which has no CRC yet."""
    part, name = _PARTS[board], _BOARD_NAMES[release, board]
    head = _vectors(part) + _start_up(part)
    head += _filler(f"{FAMILY} {release} {board} data", _DATA_BYTES)
    build = hashlib.sha256(f"{FAMILY} {release}".encode()).hexdigest()[:16]
    head += _aligned(f"{FAMILY} {release}.0\0for {name}, {part.mcu}\0build {build}\0".encode())
    descriptor = Descriptor(
        address=FLASH_START + len(head),
        family=FAMILY,
        release=f"{release}.0",
        board=name,
        mcu=microcontroller(part.mcu).name,
        start=FLASH_START,
        length=size_bytes,
        build=build,
    )
    return head + pack_descriptor(descriptor), descriptor


def _code_offset(part: _Part) -> int:
    return 4 * (16 + part.interrupts)


def _reset_vector(part: _Part) -> int:
    return (FLASH_START + _code_offset(part)) | 1  # bit 0: Thumb


def _vectors(part: _Part) -> bytes:
    stop = (FLASH_START + _code_offset(part) + _STOP_OFFSET) | 1
    system = [part.stack_top, _reset_vector(part), *[stop] * 5, *[0] * 4, *[stop] * 2, 0, *[stop] * 2]
    return struct.pack(f"<{16 + part.interrupts}I", *system, *[stop] * part.interrupts)


def _start_up(part: _Part) -> bytes:
    data_in_flash = FLASH_START + _code_offset(part) + 2 * len(_START_UP) + 4 * _LITERALS
    data_end = _RAM_START + _DATA_BYTES
    literals = (_RAM_START, data_end, data_in_flash, data_end + _CLEARED_BYTES, part.clock_register)
    return struct.pack(f"<{len(_START_UP)}H", *_START_UP) + struct.pack(f"<{_LITERALS}I", *literals)


def _filler(seed: str, size_bytes: int) -> bytes:
    noise = hashlib.shake_256(seed.encode()).digest(size_bytes)  # a standard, so the same on every machine and Python
    filler = bytearray(size_bytes)
    filler[0::2] = noise[0::2].translate(_LOW_BYTES)
    filler[1::2] = noise[1::2].translate(_HIGH_TABLE)
    return bytes(filler)


def _aligned(text: bytes) -> bytes:
    return text + bytes(-len(text) % 4)


def _no_such(asked: str, why: str) -> DemoImageError:
    return DemoImageError(f"There is no demo image {asked}.", why=why, todo="Ask for one of those.")
