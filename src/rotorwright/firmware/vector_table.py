"""The vector table at the start of an image: where the processor gets its stack and its first instruction.

Source: Armv7-M Architecture Reference Manual (DDI 0403), B1.5.2 and B1.5.3: word 0 is the initial stack pointer, word 1
the reset vector, words 2 to 15 the system exceptions; bit 0 of a vector is the Thumb bit and must be set.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rotorwright.firmware.image import Image
    from rotorwright.firmware.mcu import Microcontroller

SYSTEM_VECTORS = 16
_ERASED_WORD = 0xFFFF_FFFF
# DDI 0403, table B1-4; the words left out are reserved and may hold anything.
_HANDLERS = {
    2: "NMI",
    3: "hard fault",
    4: "memory management fault",
    5: "bus fault",
    6: "usage fault",
    11: "supervisor call",
    12: "debug monitor",
    14: "pending supervisor call",
    15: "system tick",
}


@dataclass(frozen=True, slots=True)
class VectorTable:
    """What the vector table says, and what is wrong with it, in words; no problems means that it can start.

    `stack_top` and `reset` are None where the image has no table.
    """

    address: int
    stack_top: int | None
    reset: int | None
    problems: tuple[str, ...]

    @property
    def is_sound(self) -> bool:
        """Whether nothing is wrong with the table."""
        return not self.problems


def read_vector_table(image: Image, mcu: Microcontroller) -> VectorTable:
    """Return what the vector table says that `mcu` starts from, mostly at the start of its flash.

    A sound table is no proof that the image runs or belongs to a board; a table with problems is proof that it cannot
    start on this microcontroller.
    """
    address = mcu.vectors_address
    if not image.covers(address, SYSTEM_VECTORS * 4):
        words = f"The image begins at {image.start:#010x} and has no vector table at {address:#010x}"
        return VectorTable(address, None, None, (f"{words}, where the {mcu.name} starts.",))
    vectors = _vectors(image, address)
    return VectorTable(address, vectors[0], vectors[1], vector_problems(image, mcu, address=address))


def vector_problems(image: Image, mcu: Microcontroller, *, address: int) -> tuple[str, ...]:
    """Return what is wrong, in words, with the vector table at `address`, all of which `image` must have."""
    vectors = _vectors(image, address)
    if set(vectors) == {_ERASED_WORD}:
        return (f"The vector table at {address:#010x} is erased flash.",)
    problems = [_stack_problem(vectors[0], mcu), _reset_problem(vectors[1], image, address)]
    problems += [_handler_problem(name, vectors[index], image, mcu) for index, name in _HANDLERS.items()]
    return tuple(problem for problem in problems if problem)


def _vectors(image: Image, address: int) -> tuple[int, ...]:
    return struct.unpack(f"<{SYSTEM_VECTORS}I", image.read(address, SYSTEM_VECTORS * 4))


def _stack_problem(stack_top: int, mcu: Microcontroller) -> str | None:
    # The stack grows down from its top, so the top may be the first address past a region, but not its first byte.
    if not any(region.address < stack_top <= region.end for region in mcu.ram):
        return f"The stack would start at {stack_top:#010x}, where the {mcu.name} has no RAM."
    if stack_top % 4:
        return f"The stack would start at {stack_top:#010x}, which is not a multiple of 4."
    return None


def _reset_problem(reset: int, image: Image, table: int) -> str | None:
    if not reset & 1:
        return f"The reset vector {reset:#010x} is even; this processor runs Thumb code only, so it must be odd."
    if not image.covers(reset - 1, 2):
        return f"The reset vector {reset:#010x} points to where the image has no code."
    if table <= reset < table + 8:
        return f"The reset vector {reset:#010x} points to itself, not to code."
    return None


def _handler_problem(name: str, vector: int, image: Image, mcu: Microcontroller) -> str | None:
    if vector == 0:  # an exception that the firmware never enables may have no handler
        return None
    if not vector & 1:
        return (
            f"The vector for {name}, {vector:#010x}, is even; this processor runs Thumb code only, so it must be odd."
        )
    in_ram = any(region.address <= vector - 1 < region.end for region in mcu.ram)  # quick code may be copied to RAM
    if not in_ram and not image.covers(vector - 1, 2):
        return f"The vector for {name}, {vector:#010x}, points to where neither the image nor RAM is."
    return None
