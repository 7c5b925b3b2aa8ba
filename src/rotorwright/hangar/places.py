"""Where the hangar is, unless a person says otherwise."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

HANGAR_VARIABLE = "ROTORWRIGHT_HANGAR"


def hangar_folder(environment: Mapping[str, str] | None = None) -> Path:
    """Return the folder of the hangar: $ROTORWRIGHT_HANGAR, else the user's data folder of this system.

    The folder need not exist; `Hangar.open` makes it.
    """
    chosen = (os.environ if environment is None else environment).get(HANGAR_VARIABLE, "")
    if chosen:
        return Path(chosen).expanduser().absolute()
    from platformdirs import user_data_path  # noqa: PLC0415 - not needed when the person chose the folder

    return user_data_path("rotorwright", appauthor=False)
