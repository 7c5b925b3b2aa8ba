"""A desk with one console application on it: lines are typed, and what comes back is read."""

from __future__ import annotations

from tests.unit.twin_application.ground_station import BUILD, UNIQUE_ID, setting

from rotorwright.settings.catalogue import Catalogue, Choice, Setting
from rotorwright.settings.values import SettingType, Value
from rotorwright.twin.boot import ApplicationBuild
from rotorwright.twin.console_application import ConsoleApplication
from rotorwright.twin.display_chip import DISPLAY_MEMORY_BYTES
from rotorwright.twin.settings_memory import MemoryInRam
from rotorwright.twin.world import World

U8, I16, U32, F = SettingType.UINT8, SettingType.INT16, SettingType.UINT32, SettingType.FLOAT
ON_OFF = (Choice(0, "Off"), Choice(1, "On"))
PROMPT = "perch> "
CATALOGUE = Catalogue(
    {
        each.name: each
        for each in (
            Setting("PACE", F, unit="m/s", group="Moving", default=Value.of(F, 0.15)),
            Setting("LAMP", U8, group="Lights", default=Value.of(U8, 0), choices=ON_OFF),
            setting("COUNT", U8, 200, 10, 220),
            setting("Count", I16, -3),
        )
    }
)


class Desk:
    """One application and the person in front of it."""

    def __init__(
        self,
        catalogue: Catalogue = CATALOGUE,
        *,
        settings: MemoryInRam | None = None,
        display: MemoryInRam | None = None,
        build: ApplicationBuild = BUILD,
        battery: bool = True,
        greeted: bool = True,
    ) -> None:
        self.world = World(battery_plugged=battery)
        self.settings = settings or MemoryInRam()
        self.display = display or MemoryInRam(b"\x55" * DISPLAY_MEMORY_BYTES)
        self.now_s = 0.0
        self.app = ConsoleApplication(
            build=build,
            catalogue=catalogue,
            unique_id=UNIQUE_ID,
            settings_memory=self.settings,
            display_memory=self.display,
            world=self.world,
        )
        self.app.start(self.now_s)
        if greeted:
            self.heard()
            self.say("good day")

    def heard(self) -> str:
        """Return everything that the console has to say now."""
        found: list[bytes] = []
        while batch := self.app.transmit(self.now_s):
            assert sum(map(len, batch)) < 4096, "handed over in small portions"
            found += batch
        return b"".join(found).decode()

    def type(self, data: bytes) -> str:
        """Type bytes, and return what comes back."""
        self.app.receive(data, self.now_s)
        return self.heard()

    def say(self, line: str) -> list[str]:
        """Type one line, and return the lines that come back before the prompt."""
        said = self.type(line.encode() + b"\r\n")
        assert said.endswith(PROMPT), said
        lines = said.removesuffix(PROMPT).split("\r\n")
        assert lines.pop() == ""
        return lines
