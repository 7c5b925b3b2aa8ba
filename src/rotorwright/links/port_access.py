"""Whether this user may open a port, asked without opening it: opening restarts some boards."""

from __future__ import annotations

import os
from pathlib import Path


def may_open(name: str) -> bool | None:
    """Return whether this user may read and write the file `name`; None if there is no such file to ask about.

    On Windows a port is no file, and no right is needed for it: there the answer is None.
    """
    if not name or not Path(name).exists():
        return None
    return os.access(name, os.R_OK | os.W_OK)
