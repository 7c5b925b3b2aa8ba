"""Which characters a release draws, and which of them the display's memory does not show."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rotorwright.display.characters import draw_character

if TYPE_CHECKING:
    from collections.abc import Iterable

    from rotorwright.display.characters import CharacterMemory


@dataclass(frozen=True, slots=True)
class NeededCharacters:
    """What a release draws, held against what is in the memory. All numbers are in order.

    Attributes:
        needed: numbers that the release draws.
        missing: needed, but the memory shows nothing there, or has no such number.
        differing: needed, but the memory shows another picture there.
        unneeded: the memory shows something there and the release draws nothing: left from another release. Harmless,
            unless the release clears places of the picture with that number.
    """

    needed: tuple[int, ...]
    missing: tuple[int, ...]
    differing: tuple[int, ...]
    unneeded: tuple[int, ...]

    @property
    def is_met(self) -> bool:
        """Whether the release draws something, and all of it stands in the memory as it should look."""
        return bool(self.needed) and not self.missing and not self.differing

    @property
    def words(self) -> str:
        """The same in a sentence or two for a person."""
        if not self.needed:
            return "The release draws no character at all; there is nothing to hold the memory against."
        if self.is_met:
            said = f"All {len(self.needed)} characters that the release draws are in the memory."
        else:
            said = (
                f"Of {len(self.needed)} characters that the release draws, missing: {_listed(self.missing)}; "
                f"looking different: {_listed(self.differing)}."
            )
        if self.unneeded:
            said += f" Left from something else: {_listed(self.unneeded)}."
        return said


def needed_characters(
    release: CharacterMemory, found: CharacterMemory, *, drawn: Iterable[int] | None = None
) -> NeededCharacters:
    """Return which characters of a release the memory shows as the release means them.

    They are compared by their look: the two codes of a transparent pixel show the same, and only a person's eyes matter
    here. That every byte is the same is what `differing_characters` answers.

    Args:
        release: the set that belongs to the release.
        found: the set read back from the display.
        drawn: the numbers that the release is known to draw; where nobody knows, all that are not blank in its set.

    Raises:
        CharacterNumberError: `drawn` has a number that the release's set does not have.
    """
    needed = tuple(sorted(set(drawn))) if drawn is not None else _shown(release)
    in_memory = set(_shown(found))
    wrong = [number for number in needed if not _looks_alike(release, found, number)]
    missing = tuple(number for number in wrong if number not in in_memory and not release.is_blank(number))
    return NeededCharacters(
        needed=needed,
        missing=missing,
        differing=tuple(number for number in wrong if number not in missing),
        unneeded=tuple(sorted(in_memory - set(needed) - set(_shown(release)))),
    )


def _shown(memory: CharacterMemory) -> tuple[int, ...]:
    return tuple(number for number in range(memory.count) if not memory.is_blank(number))


def _looks_alike(release: CharacterMemory, found: CharacterMemory, number: int) -> bool:
    wanted = draw_character(release.character(number))
    if number >= found.count:
        return release.is_blank(number)  # a number that the chip does not have shows nothing either
    return wanted == draw_character(found.character(number))


def _listed(numbers: tuple[int, ...], most: int = 8) -> str:
    if not numbers:
        return "none"
    shown = ", ".join(str(number) for number in numbers[:most])
    return f"{len(numbers)} (number {shown}{', ...' if len(numbers) > most else ''})"
