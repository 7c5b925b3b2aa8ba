"""A virtual aircraft with the simplest firmware as a process: `python -m tests.unit.twin.serve_echo FOLDER SPEED`."""

from __future__ import annotations

import sys
from pathlib import Path

from tests.unit.twin.bench import IMAGE_MARK, EchoFirmware

from rotorwright.twin.aircraft import Application, Hardware
from rotorwright.twin.assembly import Circumstances
from rotorwright.twin.process import serve


def boot(flash: bytes, hardware: Hardware) -> Application | None:
    return EchoFirmware(hardware) if flash.startswith(IMAGE_MARK) else None


def say(port: Path) -> None:
    sys.stdout.write(f"{port}\n")
    sys.stdout.flush()


def main() -> None:
    folder, speed, ports = Path(sys.argv[1]), float(sys.argv[2]), Path(sys.argv[3])
    serve(
        folder,
        boot=boot,
        circumstances=Circumstances(baud=0, speed=speed),
        ports_folder=ports,
        companion=sys.stdin.buffer,
        on_ready=say,
    )


if __name__ == "__main__":
    main()
