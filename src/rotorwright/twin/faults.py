"""Fault switches: what shall go wrong, said before it happens, so that a test can show that the job survives it."""

from __future__ import annotations

import difflib
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TYPE_CHECKING

from rotorwright.twin.errors import FaultPlanError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable


class CutMoment(StrEnum):
    """When, seen from one flash operation, the power goes."""

    BEFORE = "before"
    TORN = "torn"
    AFTER = "after"


class MemoryKind(StrEnum):
    """The memories that outlive the power. Each counts its own operations."""

    FLASH = "flash"
    SETTINGS = "settings"
    DISPLAY = "display"


@dataclass(frozen=True, slots=True)
class PowerCut:
    """The power goes at one operation of a memory, once.

    Args:
        operation: number of the operation, from 1, counted since the plan was armed. An operation of the flash is the
            erase of one sector or one program command of up to 256 bytes (2048 on USB); of the other two, one write.
        moment: before the operation touched anything, torn in its middle, or after it ended (its answer is never sent).
        memory: which memory.
    """

    operation: int
    moment: CutMoment
    memory: MemoryKind = MemoryKind.FLASH


@dataclass(frozen=True, slots=True)
class FaultPlan:
    """Everything that shall go wrong; nothing by default.

    Args:
        power_cut: take the power away at an operation of a memory, once.
        cable_pull_after_bytes: pull the cable when that many bytes went over the line since the plan was armed, both
            directions together, once.
        loss_rate, damage_rate: share (0 to 1) of the frames, in both directions, that vanish or get a flipped bit.
            Where the bytes are no MAVLink frames (the bootloader), each burst of bytes counts as a frame; on USB each
            transfer, of which only data blocks can be damaged (a checksum of the bus guards the others, too).
        late_s: every answer leaves that much later, in seconds.
        double_rate: share of the application's frames that come twice. (A serial line never doubles bytes; a radio or
            a relay does double frames, so the bootloader's answers are left alone.)
        protected_sectors: sectors that are write-protected: erase and program are acknowledged and change nothing.
        wrong_board: another aircraft answers: other microcontroller, other unique id.
        battery_absent: the battery is flat: plugging it in changes nothing.
        seed: start of the random numbers; same plan, same seed, same faults.
    """

    power_cut: PowerCut | None = None
    cable_pull_after_bytes: int | None = None
    loss_rate: float = 0.0
    damage_rate: float = 0.0
    late_s: float = 0.0
    double_rate: float = 0.0
    protected_sectors: tuple[int, ...] = ()
    wrong_board: bool = False
    battery_absent: bool = False
    seed: int = 1

    @property
    def spares_frames(self) -> bool:
        """Whether every frame passes untouched, once, and at once."""
        return not (self.loss_rate or self.damage_rate or self.late_s or self.double_rate)

    @staticmethod
    def parse(text: str | Iterable[str]) -> FaultPlan:
        """Read faults as a person writes them: `power-cut@120,lose=0.2`, or several such texts; empty means none.

        Raises:
            FaultPlanError: naming the word that is not understood and what it could be.
        """
        texts = [text] if isinstance(text, str) else list(text)
        words = [word.strip() for part in texts for word in part.split(",") if word.strip()]
        plan = FaultPlan()
        for word in words:
            plan = _with_word(plan, word)
        return plan

    def words(self) -> str:
        """Return the plan as text that `parse` reads back to the same plan; "" for no faults."""
        plain = FaultPlan()
        return ",".join(
            text
            for form in _FORMS.values()
            if form.field is not None and getattr(self, form.field) != getattr(plain, form.field)
            for text in form.say(self)
        )


class OperationCount:
    """Counts the operations of one memory, and says at which one the power goes.

    Args:
        memory: which memory.
    """

    __slots__ = ("_cut", "_memory", "count", "cut_happened")

    def __init__(self, memory: MemoryKind) -> None:
        self._memory = memory
        self._cut: PowerCut | None = None
        self.count = 0
        self.cut_happened = False

    def arm(self, plan: FaultPlan) -> None:
        """Count from zero again, and take the cut of `plan` if it is for this memory."""
        cut = plan.power_cut
        self._cut = cut if cut is not None and cut.memory is self._memory else None
        self.count = 0
        self.cut_happened = False

    def next_operation(self) -> CutMoment | None:
        """Count one operation and return when in it the power goes; None if it stays."""
        self.count += 1
        if self._cut is None or self._cut.operation != self.count:
            return None
        self.cut_happened = True
        return self._cut.moment


class PowerCutError(Exception):
    """The power went in the course of a memory operation; caught by the aircraft, never seen by a person."""


@dataclass(frozen=True, slots=True)
class _Form:
    """How one kind of fault is written.

    Args:
        field: the field of the plan it sets; None for a second spelling of one that another form already prints.
        example: what a person would write.
        means: what it does, in a few words.
        put: returns the plan with this fault, from the text after `@` or `=`; ValueError if that text will not do.
        say: the texts that stand for it.
    """

    field: str | None
    example: str
    means: str
    put: Callable[[FaultPlan, str], FaultPlan]
    say: Callable[[FaultPlan], list[str]] = lambda _plan: []


def _count(text: str) -> int:
    if not (text.isascii() and text.isdigit()) or int(text) < 1:
        raise ValueError("a whole number from 1 on is needed")
    return int(text)


def _rate(text: str) -> float:
    return _number(text, 1.0, "a number from 0 to 1 is needed")


def _seconds(text: str) -> float:
    return _number(text, 3600.0, "seconds from 0 to 3600 are needed")


def _number(text: str, most: float, need: str) -> float:
    try:
        number = float(text)
    except ValueError:
        number = -1.0
    if not 0 <= number <= most:  # also refuses not-a-number
        raise ValueError(need)
    return number


def _sectors(text: str) -> tuple[int, ...]:
    parts = text.split("+")
    if not all(part.isascii() and part.isdigit() for part in parts):
        raise ValueError("sector numbers joined by + are needed")
    return tuple(sorted({int(part) for part in parts}))


def _nothing(text: str) -> bool:
    if text:
        raise ValueError("nothing may follow this word")
    return True


def _cut(moment: CutMoment) -> Callable[[FaultPlan, str], FaultPlan]:
    def put(plan: FaultPlan, text: str) -> FaultPlan:
        number, slash, memory = text.partition("/")
        if slash and memory not in list(MemoryKind):
            raise ValueError(f"after the slash is one of {', '.join(MemoryKind)}")
        return replace(plan, power_cut=PowerCut(_count(number), moment, MemoryKind(memory or MemoryKind.FLASH)))

    return put


_CUT_WORDS = {CutMoment.BEFORE: "power-cut", CutMoment.TORN: "torn", CutMoment.AFTER: "after"}


def _say_cut(plan: FaultPlan) -> list[str]:
    cut = plan.power_cut
    if cut is None:
        return []
    memory = "" if cut.memory is MemoryKind.FLASH else f"/{cut.memory}"
    return [f"{_CUT_WORDS[cut.moment]}@{cut.operation}{memory}"]


_FORMS: dict[str, _Form] = {
    "power-cut": _Form(
        "power_cut", "power-cut@120", "power gone before flash operation 120", _cut(CutMoment.BEFORE), _say_cut
    ),
    "torn": _Form(None, "torn@120", "power gone in the middle of flash operation 120", _cut(CutMoment.TORN)),
    "after": _Form(None, "after@9/settings", "power gone after write 9 to the settings memory", _cut(CutMoment.AFTER)),
    "cable": _Form(
        "cable_pull_after_bytes",
        "cable@5000",
        "cable pulled after 5000 bytes over the line",
        lambda plan, text: replace(plan, cable_pull_after_bytes=_count(text)),
        lambda plan: [f"cable@{plan.cable_pull_after_bytes}"],
    ),
    "lose": _Form(
        "loss_rate",
        "lose=0.2",
        "a fifth of the frames lost",
        lambda plan, text: replace(plan, loss_rate=_rate(text)),
        lambda plan: [f"lose={plan.loss_rate!r}"],
    ),
    "damage": _Form(
        "damage_rate",
        "damage=0.05",
        "one frame in twenty damaged",
        lambda plan, text: replace(plan, damage_rate=_rate(text)),
        lambda plan: [f"damage={plan.damage_rate!r}"],
    ),
    "late": _Form(
        "late_s",
        "late=0.5",
        "answers half a second late",
        lambda plan, text: replace(plan, late_s=_seconds(text)),
        lambda plan: [f"late={plan.late_s!r}"],
    ),
    "double": _Form(
        "double_rate",
        "double=0.1",
        "a tenth of the frames doubled",
        lambda plan, text: replace(plan, double_rate=_rate(text)),
        lambda plan: [f"double={plan.double_rate!r}"],
    ),
    "protected": _Form(
        "protected_sectors",
        "protected=3+4",
        "flash sectors 3 and 4 write-protected",
        lambda plan, text: replace(plan, protected_sectors=_sectors(text)),
        lambda plan: ["protected=" + "+".join(str(number) for number in plan.protected_sectors)],
    ),
    "wrong-board": _Form(
        "wrong_board",
        "wrong-board",
        "another board answers",
        lambda plan, text: replace(plan, wrong_board=_nothing(text)),
        lambda _plan: ["wrong-board"],
    ),
    "battery-absent": _Form(
        "battery_absent",
        "battery-absent",
        "the battery gives nothing",
        lambda plan, text: replace(plan, battery_absent=_nothing(text)),
        lambda _plan: ["battery-absent"],
    ),
    "seed": _Form(
        "seed",
        "seed=7",
        "start of the random numbers",
        lambda plan, text: replace(plan, seed=_count(text)),
        lambda plan: [f"seed={plan.seed}"],
    ),
}


def fault_forms() -> tuple[tuple[str, str], ...]:
    """Return every kind of fault as (example, meaning), for help texts."""
    return tuple((form.example, form.means) for form in _FORMS.values())


def _with_word(plan: FaultPlan, word: str) -> FaultPlan:
    sign = "@" if "@" in word else "="
    name, _, rest = word.partition(sign)
    form = _FORMS.get(name)
    if form is None:
        raise _unknown(word, name)
    if rest and f"{name}{sign}" not in form.example:
        raise _misspelt(word, form, "the sign between the word and the number is another one")
    try:
        return form.put(plan, rest)
    except ValueError as problem:
        raise _misspelt(word, form, str(problem)) from problem


def _unknown(word: str, name: str) -> FaultPlanError:
    likely = difflib.get_close_matches(name, _FORMS, n=1)
    known = ", ".join(form.example for form in _FORMS.values())
    return FaultPlanError(
        f"The fault {word!r} is not known.",
        why=f"Did you mean {_FORMS[likely[0]].example!r}?" if likely else f"No fault is called {name!r}.",
        todo=f"Write one of these, with your own numbers: {known}.",
        word=word,
    )


def _misspelt(word: str, form: _Form, problem: str) -> FaultPlanError:
    return FaultPlanError(
        f"The fault {word!r} cannot be read.",
        why=f"It would be written like {form.example!r} ({form.means}): {problem}.",
        todo="Correct it and start again.",
        word=word,
    )
