"""The demo's job in a process of its own that dies at one journal event, as from a pulled plug."""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from rotorwright.cli.demo import KILLED, DemoFolder, DemoWay, work

if TYPE_CHECKING:
    from rotorwright.hangar.journal import Event


def main(folder: str, kill_at: str, *way: str) -> None:
    """Work in `folder` until event number `kill_at` is committed, then die at once."""

    def die(event: Event) -> None:
        if event.sequence == int(kill_at):
            if hasattr(signal, "SIGKILL"):
                os.kill(os.getpid(), signal.SIGKILL)
            os._exit(KILLED)

    work(DemoFolder(Path(folder), DemoWay.of(way)), dies=die)


if __name__ == "__main__":
    main(*sys.argv[1:])
