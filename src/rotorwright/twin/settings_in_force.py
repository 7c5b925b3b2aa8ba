"""The settings that the running application works with, over those that its settings memory keeps."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rotorwright.settings.identity import release_line
from rotorwright.twin.settings_memory import StoredSettings, load_settings, save_settings

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.values import Value
    from rotorwright.twin.settings_memory import SettingsMemory


class SettingsInForce:
    """The settings by name and by number (place in the alphabet, from 0), as the parameter protocol asks for them.

    At the start the stored settings are in force if this very release line saved them on a board of this name; else the
    defaults are, and `start_words` says so. A change is in force at once and lost with the power unless it is saved.

    Args:
        catalogue: the settings that the release knows; those without a default are left out.
        memory: what lasts without power.
        release: whole number of the release that runs.
        board: name of the board in the words of the release.
    """

    def __init__(self, catalogue: Catalogue, memory: SettingsMemory, *, release: str, board: str) -> None:
        self._catalogue = catalogue
        self._memory = memory
        self._release = release
        self._board = board
        self._values = dict(catalogue.defaults)
        self.names = tuple(self._values)
        self._numbers = {name: number for number, name in enumerate(self.names)}
        self.start_words = self._start()

    def __len__(self) -> int:
        return len(self.names)

    def __iter__(self) -> Iterator[str]:
        return iter(self.names)

    def __getitem__(self, name: str) -> Value:
        return self._values[name]

    def number(self, name: str) -> int | None:
        """Return the number of the setting called `name`, or nothing."""
        return self._numbers.get(name)

    def change(self, name: str, value: Value) -> str | None:
        """Put `value` in force; if it is not allowed, change nothing and return in words why."""
        refusal = self._catalogue[name].refusal(value)
        if refusal is None:
            self._values[name] = value
        return refusal

    def reset(self) -> None:
        """Put the defaults in force. What is stored stays as it is until the next save."""
        self._values = dict(self._catalogue.defaults)

    def load(self) -> bool:
        """Put what is stored in force, over the defaults; answer False, with nothing changed, if nothing of ours is."""
        stored = load_settings(self._memory)
        if stored is None or not self._is_ours(stored):
            return False
        self.reset()
        self._take(stored)
        return True

    def save(self) -> bool:
        """Store what is in force; answer whether that worked."""
        return save_settings(self._memory, StoredSettings(self._release, self._board, self._values))

    def _start(self) -> str | None:
        stored = load_settings(self._memory)
        if stored is None:
            return "No saved settings: defaults in force"
        if not self._is_ours(stored):
            return f"Saved settings are of {stored.release}: defaults in force"
        self._take(stored)
        return None

    def _is_ours(self, stored: StoredSettings) -> bool:
        return release_line(stored.release) == release_line(self._release) and stored.board == self._board

    def _take(self, stored: StoredSettings) -> None:
        """Put each stored setting in force that this release still knows and allows."""
        for name, value in stored.settings.items():
            if name in self._values:
                self.change(name, value)
