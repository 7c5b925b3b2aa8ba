"""How quick the carry-over is, for one aircraft with many settings and for a large fleet.

- One aircraft: 1,200 settings decided, from snapshot, catalogues, notes and classes in memory to the sheet in memory.
  The release is made up with a fixed seed: names change, units, labels, bits and defaults; one setting in six was
  customised. What is timed is `carry_over` alone. The customised values are others in each run, so that no run finds
  its answers in what an earlier one left in a cache. Only settings that vanished keep theirs: the search for their
  likely successors is remembered by its content. The first run makes that search and has a line of its own, no aim.
- A fleet: 10,000 aircraft on two cores. Each is a snapshot file of the demo's Thornbill 5.2 (485 settings) with the
  changes of a careful owner and forty more of its own. What is timed is all of `carry_over_many`: the start of the
  processes, each snapshot parsed from the bytes of its file with its digest checked, all decided, each sheet printed to
  the bytes of its file, and handed over. Making the snapshots up and writing files is not in it.
- Memory: the most that a fresh process ever had in memory at once (VmHWM, else ru_maxrss), Python and the package with
  it. For the fleet that is the first process and the largest of its workers (ru_maxrss).

    python benchmarks/bench_carry_over.py            about a minute
    python benchmarks/bench_carry_over.py --json     for programs

Ends with exit code 1 if an aim is missed.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import random
import resource
import statistics
import sys
import time
from dataclasses import asdict, dataclass, replace
from fractions import Fraction
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from rotorwright.changeover.fleet_planning import FleetAircraft, carry_over_many
from rotorwright.settings.carry_over import CarryOverInputs, carry_over
from rotorwright.settings.catalogue import Catalogue, Choice, Setting
from rotorwright.settings.classes import SettingClasses, parse_classes
from rotorwright.settings.identity import Identity
from rotorwright.settings.laws import BitField, Labels, Linear, Reciprocal
from rotorwright.settings.note_entries import old_names
from rotorwright.settings.notes import (
    ChangeNotes,
    Convert,
    Join,
    JoinHow,
    Note,
    Relabel,
    Rename,
    Retire,
    Split,
    SplitPart,
    parse_notes,
)
from rotorwright.settings.snapshot import Snapshot, print_snapshot
from rotorwright.settings.values import SettingType, Value
from rotorwright.twin.thornbill.release import catalogue, change_notes_text, classes_text, customised_settings

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

SEED = 7
SETTINGS = 1200
RUNS = 25
AIM_ONE_S = 0.025
FLEETS = (1000, 2500, 5000, 10_000)
CORES = 2
AIM_FLEET_S = 60.0
AIM_LINEAR = 1.25  # the most that one aircraft of the largest fleet may take over one of the smallest
OWN_CHANGES = 40

NOON = "2026-05-01T12:00:00Z"
KINDS = ("same",) * 14 + ("rename", "rename", "convert", "convert", "relabel", "split", "join", "retire", "gone")


@dataclass(frozen=True, slots=True)
class Figure:
    """One measurement against its aim; the ratio is measured over aim."""

    what: str
    measured: float
    unit: str
    aim: float | None
    note: str = ""

    @property
    def ratio(self) -> float | None:
        """How much of the aim was used up."""
        return None if self.aim is None else self.measured / self.aim

    @property
    def is_missed(self) -> bool:
        """Whether it is over the aim."""
        return self.ratio is not None and self.ratio > 1


class MadeUpRelease:
    """Two made-up releases with the notes between them, and one aircraft."""

    def __init__(self, count: int) -> None:
        self._chance = random.Random(SEED)
        self.old: dict[str, Setting] = {}
        self.new: dict[str, Setting] = {}
        self.notes: list[Note] = []
        while len(self.old) < count:
            getattr(self, f"_{self._chance.choice(KINDS)}")(f"GROUP{len(self.old) // 20:02d}_ITEM_{len(self.old):04d}")

    def inputs(self) -> CarryOverInputs:
        """Return the inputs for an aircraft on which every sixth setting was changed."""
        old, new = Catalogue(self.old), Catalogue(self.new)
        found = dict(old.defaults)
        for name in self._chance.sample(sorted(found), len(found) // 6):
            found[name] = some_value(self._chance, old[name])
        return CarryOverInputs(
            ours=Snapshot(Identity("0" * 24, "Madeup", "1.0.0", "Board"), found, NOON),
            old_defaults=old.defaults,
            new_defaults=new.defaults,
            old_catalogue=old,
            new_catalogue=new,
            notes=ChangeNotes("Madeup", "1.0", "2.0", tuple(self.notes)),
            classes=SettingClasses(board=("GROUP03_*",), calibration=("GROUP05_*",)),
            to_release="2.0.0",
        )

    def _setting(self, name: str, *, whole: bool = False) -> Setting:
        chance = self._chance
        kind = chance.choice(("range", "range", "choices", "bits") if whole else ("range", "range", "float", "choices"))
        if kind == "float":
            low, high = Value.of(SettingType.FLOAT, 0), Value.of(SettingType.FLOAT, 500)
            default = Value.of(SettingType.FLOAT, round(chance.uniform(0, 400), 2))
            return Setting(name, SettingType.FLOAT, "Some gain", unit="Hz", default=default, minimum=low, maximum=high)
        type_ = SettingType.UINT16
        default, low, high = (Value.of(type_, each) for each in (chance.randrange(4), 0, 1000))
        if kind == "choices":
            choices = tuple(Choice(number, f"way {number}") for number in range(6))
            return Setting(name, type_, "Some way", default=default, choices=choices)
        if kind == "bits":
            bits = tuple(Choice(bit, f"part {bit}") for bit in range(8))
            return Setting(name, type_, "Some parts", default=default, bits=bits)
        return Setting(name, type_, "Some limit", unit="ms", default=default, minimum=low, maximum=high)

    def _same(self, name: str) -> None:
        setting = self.old[name] = self._setting(name)
        way = self._chance.random()
        if way < 0.1:  # another default
            setting = replace(setting, default=some_value(self._chance, setting))
        elif way < 0.15 and setting.choices:  # labels moved
            setting = replace(setting, choices=tuple(Choice(5 - each.number, each.label) for each in setting.choices))
        self.new[name] = setting

    def _rename(self, name: str) -> None:
        self.old[name] = self._setting(name)
        self.new[f"{name}_NEW"] = replace(self.old[name], name=f"{name}_NEW")
        self.notes.append(Rename(old=name, new=f"{name}_NEW"))

    def _convert(self, name: str) -> None:
        self.old[name] = replace(self._setting(name, whole=True), minimum=None, maximum=None, choices=(), bits=())
        law = self._chance.choice((Linear(Fraction(1, 1000)), Linear(Fraction(10)), Reciprocal(Fraction(1000))))
        self.new[name] = Setting(name, SettingType.FLOAT, "Some time", unit="s", default=Value.of(SettingType.FLOAT, 1))
        self.notes.append(Convert(old=name, new=name, law=law))

    def _relabel(self, name: str) -> None:
        choices = tuple(Choice(number, f"way {number}") for number in range(6))
        default = Value.of(SettingType.UINT16, 1)
        self.old[name] = Setting(name, SettingType.UINT16, "Some way", default=default, choices=choices)
        turned = tuple(Choice(number, f"way {5 - number}") for number in range(6))
        self.new[name] = replace(self.old[name], choices=turned, default=Value.of(SettingType.UINT16, 4))
        self.notes.append(Relabel(old=name, new=name, labels=Labels({number: 5 - number for number in range(6)})))

    def _split(self, name: str) -> None:
        self.old[name] = Setting(name, SettingType.UINT16, "Some parts", default=Value.of(SettingType.UINT16, 3))
        for part in ("LOW", "HIGH"):
            self.new[f"{name}_{part}"] = replace(self.old[name], name=f"{name}_{part}")
        fields = (BitField(tuple(range(4))), BitField(tuple(range(4, 16))))
        into = tuple(SplitPart(f"{name}_{part}", law) for part, law in zip(("LOW", "HIGH"), fields, strict=True))
        self.notes.append(Split(old=name, into=into))

    def _join(self, name: str) -> None:
        names = (f"{name}_A", f"{name}_B")
        for each in names:
            self.old[each] = Setting(each, SettingType.UINT16, "Half", default=Value.of(SettingType.UINT16, 2))
        self.new[name] = replace(self.old[names[0]], name=name)
        self.notes.append(Join(old=names, new=name, how=JoinHow.EQUAL))

    def _retire(self, name: str) -> None:
        self.old[name] = self._setting(name)
        self.notes.append(Retire(old=name, loses="Nothing that anybody used."))

    def _gone(self, name: str) -> None:
        self.old[name] = self._setting(name)
        self.new[f"{name}_OF_ANOTHER_NAME"] = replace(self.old[name], name=f"{name}_OF_ANOTHER_NAME")


def some_value(chance: random.Random, setting: Setting) -> Value:
    """Return an allowed value of a setting."""
    if setting.choices:
        return Value.of(setting.type, chance.choice(setting.choices).number)
    if setting.bits or setting.minimum is None or setting.maximum is None:
        return Value.of(setting.type, chance.randrange(16))
    low, high = setting.minimum.number, setting.maximum.number
    number = round(chance.uniform(low, high), 3) if setting.type.is_float else chance.randint(int(low), int(high))
    return Value.of(setting.type, number)


def thornbill() -> partial[CarryOverInputs]:
    """Return what a fleet shares that goes from Thornbill 5.2 to 6.0."""
    old, new = catalogue("5.2"), catalogue("6.0")
    return partial(
        CarryOverInputs,
        old_defaults=old.defaults,
        new_defaults=new.defaults,
        old_catalogue=old,
        new_catalogue=new,
        notes=parse_notes(change_notes_text(), source="notes"),
        classes=parse_classes(classes_text(), "classes"),
        to_release="6.0.0",
    )


def thornbill_fleet(count: int) -> Iterator[FleetAircraft]:
    """Yield aircraft, no two of which hold the same."""
    known = catalogue("5.2")
    careful = dict(known.defaults) | customised_settings()
    for number in range(count):
        chance = random.Random(number)
        own = {name: some_value(chance, known[name]) for name in chance.sample(sorted(careful), OWN_CHANGES)}
        identity = Identity(f"{number:024x}", "Thornbill", "5.2.0", "Corvane One", "cafe01")
        yield FleetAircraft(str(number), print_snapshot(Snapshot(identity, careful | own, NOON)))


def customised_anew(inputs: CarryOverInputs, run: int) -> CarryOverInputs:
    """Return the inputs with other values wherever one was customised, but for the settings that vanished."""
    assert inputs.notes is not None
    assert inputs.old_catalogue is not None
    chance = random.Random(run)
    spoken_of = {name for note in inputs.notes.entries for name in old_names(note)}
    found = dict(inputs.ours.settings)
    for name, value in inputs.ours.settings.items():
        is_there = name in inputs.new_defaults or name in spoken_of
        if is_there and value != inputs.old_defaults[name]:
            found[name] = some_value(chance, inputs.old_catalogue[name])
    return replace(inputs, ours=replace(inputs.ours, settings=found))


def time_one() -> tuple[list[float], str]:
    """Return the seconds of each run on 1,200 settings, the first with the search for successors, and what came out."""
    inputs = MadeUpRelease(SETTINGS).inputs()
    runs, counts = [], ""
    for run in range(RUNS + 1):
        aircraft = customised_anew(inputs, run)
        _ = aircraft.ours.sha256  # whoever has a snapshot from its file has checked its digest
        begun_s = time.perf_counter()
        sheet = carry_over(aircraft)
        runs.append(time.perf_counter() - begun_s)
        counts = ", ".join(f"{number} {kind}" for kind, number in sheet.counts.items())
    return runs, counts


def time_fleet(fleet: list[FleetAircraft]) -> float:
    """Return the seconds for a fleet."""
    shared = thornbill()
    begun_s = time.perf_counter()
    done = sum(bool(each.sheet) for each in carry_over_many(fleet, shared, workers=CORES))
    took_s = time.perf_counter() - begun_s
    assert done == len(fleet)
    return took_s


def work_one() -> None:
    """Decide 1,200 settings once."""
    carry_over(MadeUpRelease(SETTINGS).inputs())


def work_fleet(count: int) -> None:
    """Work out a fleet as it would be read from disk: one snapshot after the other, each sheet let go."""
    for _ in carry_over_many(thornbill_fleet(count), thornbill(), workers=CORES):
        pass


def peak_mib(work: Callable[[], None]) -> tuple[float, float]:
    """Return the most MiB that a fresh process ever had while doing `work`, and the largest of its own processes."""
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe(duplex=False)
    process = context.Process(target=_measured, args=(work, theirs))
    process.start()
    found = ours.recv()
    process.join()
    return float(found[0]), float(found[1])


def _measured(work: Callable[[], None], pipe: multiprocessing.connection.Connection) -> None:
    work()
    own, children = (resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    unit = 1 if sys.platform == "darwin" else 1024  # bytes there, KiB elsewhere (getrusage(2))
    pipe.send((_high_water_mib() or own * unit / 2**20, children * unit / 2**20))


def _high_water_mib() -> float | None:
    """Return VmHWM (proc(5)), where there is one: ru_maxrss of a new process begins with what its parent had."""
    try:
        lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    except OSError:
        return None
    return next((int(line.split()[1]) / 1024 for line in lines if line.startswith("VmHWM:")), None)


def figures() -> list[Figure]:
    """Measure everything."""
    (first, *runs), counts = time_one()
    spread = f"median of {RUNS}, fastest {min(runs) * 1000:.1f}, slowest {max(runs) * 1000:.1f}; {counts}"
    found = [Figure(f"{SETTINGS} settings decided", statistics.median(runs) * 1000, "ms", AIM_ONE_S * 1000, spread)]
    found.append(Figure("the same, first run", first * 1000, "ms", None, "with the successor search of a first run"))
    each_ms: list[float] = []
    fleet = list(thornbill_fleet(FLEETS[-1]))
    for count in FLEETS:
        took_s = time_fleet(fleet[:count])
        each_ms.append(took_s / count * 1000)
        aim = AIM_FLEET_S if count == FLEETS[-1] else None
        found.append(Figure(f"fleet of {count}", took_s, "s", aim, f"{each_ms[-1]:.2f} ms for each, {CORES} cores"))
    largest = f"one of {FLEETS[-1]} over one of {FLEETS[0]}"
    found.append(Figure("linear", each_ms[-1] / each_ms[0], "", AIM_LINEAR, largest))
    return found + memory_figures()


def memory_figures() -> list[Figure]:
    """Return the peaks of fresh processes."""
    found = [Figure(f"peak, {SETTINGS} settings", peak_mib(work_one)[0], "MiB", None, "one fresh process")]
    for count in (FLEETS[0], FLEETS[-1]):
        own, worker = peak_mib(partial(work_fleet, count))
        note = f"the first process; the largest of {CORES} workers {worker:.0f} MiB"
        found.append(Figure(f"peak, fleet of {count}", own, "MiB", None, note))
    return found


def show(found: list[Figure]) -> None:
    """Print the table."""
    print(f"{'what':<24} {'measured':>10}      {'aim':>6}  {'ratio':>5}")
    for each in found:
        aim, ratio = ("", "") if each.aim is None else (f"{each.aim:g}", f"{each.measured / each.aim:.2f}")
        verdict = "" if each.aim is None else "missed" if each.is_missed else "met"
        print(f"{each.what:<24} {each.measured:>10.2f} {each.unit:<4} {aim:>6}  {ratio:>5} {verdict:<6} {each.note}")


def main(arguments: list[str] | None = None) -> int:
    """Measure, print, and say by the exit code whether every aim was met."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--json", action="store_true", help="print for programs")
    as_json = parser.parse_args(arguments).json
    found = figures()
    if as_json:
        print(json.dumps([asdict(each) | {"ratio": each.ratio, "missed": each.is_missed} for each in found], indent=2))
    else:
        show(found)
    return 1 if any(each.is_missed for each in found) else 0


if __name__ == "__main__":
    sys.exit(main())
