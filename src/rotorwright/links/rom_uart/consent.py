"""A person's typed word to what cannot be undone: taking off a lock that takes everything in the flash with it."""

from __future__ import annotations

from dataclasses import dataclass

from rotorwright.links.rom_uart.errors import WipeConsentError


def consent_words(chip_id: int) -> str:
    """Return what a person has to type before everything in this microcontroller is erased."""
    return f"wipe chip {chip_id:#05x}"


@dataclass(frozen=True, slots=True)
class WipeConsent:
    """The word of a person for one kind of microcontroller. Made from typed words only."""

    chip_id: int

    @classmethod
    def typed(cls, words: str, *, chip_id: int) -> WipeConsent:
        """Return the consent that `words` give.

        Raises:
            WipeConsentError: they are not exactly what was asked for.
        """
        if words.strip() != consent_words(chip_id):
            raise WipeConsentError.of(wanted=consent_words(chip_id), typed=words.strip())
        return cls(chip_id)

    def require_for(self, chip_id: int) -> None:
        """Return if it was given for this microcontroller.

        Raises:
            WipeConsentError: it was given for another.
        """
        if chip_id != self.chip_id:
            raise WipeConsentError.of(wanted=consent_words(chip_id), typed=consent_words(self.chip_id))
