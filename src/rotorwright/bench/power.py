"""Power: cells, voltage, current at rest and warnings, and whether the pack may be used at all.

A voltage of the whole pack does not tell how many cells share it, nor whether they share it evenly. Both are said.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import chain
from typing import TYPE_CHECKING, Final

import numpy as np

from rotorwright.bench.verdicts import CheckResult, Curve, Figure, Finding, Grid, Measured, judged, missing, thinned

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rotorwright.bench.records import FloatArray

CHECK: Final = "power"

# Volts per cell of lithium polymer packs: cell makers' practice, from memory, within 0.05 V.
FULL_V: Final = 4.20
FULL_HV_V: Final = 4.35
STORAGE_V: Final = 3.80
WARN_V: Final = 3.50
STOP_V: Final = 3.30
FLOOR_V: Final = 3.00
CELL_TOLERANCE_V: Final = 0.05

# Common practice, no source.
MOST_CELLS: Final = 14
SPREAD_LIMIT_V: Final = 0.10  # between the highest and the lowest cell of a pack
METER_LIMIT: Final = 0.02  # of the meter's reading: a hand meter and its leads are good for about 1 %
CABLE_LOW_V, CABLE_HIGH_V = 4.4, 5.3  # what a USB cable feeds through to the sensor of some boards
METER_DOUBT: Final = 2.0  # a factor beyond which a wrong reading is likelier than a wrong scale
UNSTEADY_LIMIT: Final = 0.02  # of the voltage, at rest
REST_LOW_A, REST_HIGH_A = -0.2, 3.0  # electronics, video and receiver of a small craft draw 0.2 to 1.5 A
REST_SHORT_A: Final = 10.0
WARN_BELOW_FULL_V: Final = 0.25  # a warning nearer to full sounds from the start, and nobody listens any more
NO_BATTERY_V: Final = 2.0
MOST_V: Final = 100.0
FEWEST: Final = 5

LITHIUM_CAUTION: Final = (
    "Unplug it and stop here. Do not charge, fly or puncture it; if it is swollen, hot, hissing or smells, take it "
    "outside onto something that does not burn, away from people. Follow its maker's instructions, also for disposal."
)
REFUSALS: Final = frozenset({"pack-over-full", "pack-too-empty", "pack-out-of-balance", "pack-no-count-fits"})


@dataclass(frozen=True, slots=True)
class CellCount:
    """One number of cells that would explain a voltage, and what each cell would have."""

    cells: int
    cell_v: float


def cell_counts(pack_v: float, *, full_v: float = FULL_V) -> tuple[CellCount, ...]:
    """Return every number of cells in series that explains the voltage of a pack, the fullest first.

    A cell is taken to lie from 3.00 V to its full voltage, each with 0.05 V to spare.
    """
    counts = (CellCount(cells, pack_v / cells) for cells in range(1, MOST_CELLS + 1))
    low, high = FLOOR_V - CELL_TOLERANCE_V, full_v + CELL_TOLERANCE_V
    return tuple(one for one in counts if low <= one.cell_v <= high + 1e-9)


def refuse_pack(
    volts: FloatArray | float,
    cells: int | None,
    *,
    full_v: float = FULL_V,
    cell_v: FloatArray | None = None,
) -> Finding | None:
    """Return why a pack must not be used, or None. Such a finding stops the bench.

    Args:
        volts: voltage of the whole pack at rest, one or (n,) readings; by a person's meter where there is one, since
            a sensor with a wrong scale would refuse a good pack.
        cells: cells in series; None or 0 if not known: then it is refused only if no number of cells explains it.
        full_v: voltage of a full cell.
        cell_v: voltage of each cell, where a balance lead was measured.
    """
    readings = np.atleast_1d(np.asarray(volts, dtype=float))
    readings = readings[np.isfinite(readings)]
    if not readings.size or not NO_BATTERY_V <= float(np.median(readings)) <= MOST_V:
        return None
    pack_v = float(np.median(readings))
    full_v = full_v if 3.0 < full_v < 5.0 else FULL_V
    return _refused_cells(cell_v, full_v) or _refused_whole(pack_v, cells, full_v)


def _refused_cells(cell_v: FloatArray | None, full_v: float) -> Finding | None:
    if cell_v is None or not np.size(cell_v) or not np.all(np.isfinite(cell_v)):
        return None
    low, high = float(np.min(cell_v)), float(np.max(cell_v))
    if high > full_v + CELL_TOLERANCE_V:
        return _over_full(high, full_v, "One cell")
    if low < FLOOR_V:
        return _too_empty(low, "One cell")
    if high - low > SPREAD_LIMIT_V:
        return _refusal(
            "pack-out-of-balance",
            f"The cells of the pack differ by {high - low:.2f} V ({low:.2f} to {high:.2f} V, "
            f"limit {SPREAD_LIMIT_V:.2f} V): one of them is weak or damaged.",
        )
    return None


def _refused_whole(pack_v: float, cells: int | None, full_v: float) -> Finding | None:
    if not cells or cells < 0:
        if cell_counts(pack_v, full_v=full_v):
            return None
        return _refusal(
            "pack-no-count-fits",
            f"{pack_v:.2f} V fits no number of cells between {FLOOR_V:.2f} and {full_v:.2f} V each: "
            "the pack is over-full or empty beyond repair, or the aircraft is fed by the cable alone.",
        )
    if pack_v / cells > full_v + CELL_TOLERANCE_V:
        return _over_full(pack_v / cells, full_v, f"Each of {cells} cells", hint=_COUNT_HINT)
    if pack_v / cells < FLOOR_V:
        is_cable = CABLE_LOW_V <= pack_v <= CABLE_HIGH_V
        hint = " Or no battery is plugged in and the cable feeds the sensor." if is_cable else _COUNT_HINT
        return _too_empty(pack_v / cells, f"Each of {cells} cells", hint=hint)
    return None


_COUNT_HINT: Final = " If its label says another number of cells, set battery.cells to that first."


def _over_full(cell_v: float, full_v: float, which: str, *, hint: str = "") -> Finding:
    if cell_v <= FULL_HV_V + CELL_TOLERANCE_V:
        hint = f" Only cells marked {FULL_HV_V:.2f} V may have that, with battery.cell.full set to it.{hint}"
    return _refusal(
        "pack-over-full", f"{which} has {cell_v:.2f} V, more than full ({full_v:.2f} V): the pack may burn.{hint}"
    )


def _too_empty(cell_v: float, which: str, *, hint: str = "") -> Finding:
    return _refusal(
        "pack-too-empty",
        f"{which} has {cell_v:.2f} V, below {FLOOR_V:.2f} V: the pack is discharged too far and may be damaged.{hint}",
    )


def _refusal(kind: str, words: str) -> Finding:
    return Finding(kind, words, LITHIUM_CAUTION, is_dangerous=True)


@dataclass(frozen=True, slots=True, eq=False)
class _Power:
    """What `judge_power` was given, with what follows from it at once."""

    volts: FloatArray
    amperes: FloatArray | None
    cells_set: int | None
    cells_said: int | None
    full_v: float | None
    warn_v: float | None
    land_v: float | None
    meter_v: float | None
    scale: float | None
    cell_v: FloatArray | None
    has_current_sensor: bool

    @property
    def sensed_v(self) -> float:
        """What the aircraft's own sensor says."""
        return float(np.median(self.volts))

    @property
    def pack_v(self) -> float:
        """What the pack has: the meter is believed before the sensor."""
        if self.meter_v is None or not _is_voltage(self.meter_v):
            return self.sensed_v
        is_credible = 1 / METER_DOUBT <= self.meter_v / self.sensed_v <= METER_DOUBT
        return self.meter_v if is_credible else self.sensed_v

    @property
    def full(self) -> float:
        """Voltage of a full cell, that of common cells if the setting is none."""
        return self.full_v if self.full_v is not None and 4.0 <= self.full_v <= 4.45 else FULL_V

    @property
    def cells(self) -> int | None:
        """Cells in series as far as known: what is on the label, else the setting, else the only number that fits."""
        if self.cells_said:
            return self.cells_said
        if self.cells_set:
            return self.cells_set
        fit = _fit_to_fly(self.pack_v, self.full)
        return fit[0].cells if len(fit) == 1 else None


def judge_power(
    *,
    volts: FloatArray,
    amperes: FloatArray | None,
    cells_set: int | None,
    full_v: float | None,
    warn_v: float | None,
    land_v: float | None,
    meter_v: float | None,
    scale: float | None,
    cells_said: int | None = None,
    cell_v: FloatArray | None = None,
    has_current_sensor: bool = True,
) -> CheckResult:
    """Return whether the aircraft knows its battery, and whether the battery may be used.

    Args:
        volts: (n,) voltage of the pack as the aircraft reports it, motors stopped.
        amperes: (n,) current as it reports it; None if it was not recorded.
        cells_set: cells in series by the settings, 0 if the aircraft counts them itself; None if unknown.
        full_v: voltage of a full cell by the settings.
        warn_v: voltage per cell at which the pilot is warned.
        land_v: voltage per cell at which the pilot is told to land.
        meter_v: the whole pack by a person's meter, at the same time; None if not measured.
        scale: present value of role `battery.voltage.scale`, proportional to what the aircraft reports.
        cells_said: cells in series by the label of the pack.
        cell_v: voltage of each cell at the balance lead.
        has_current_sensor: False if the aircraft measures no current, so that none is missed.
    """
    trouble = _trouble(np.asarray(volts, dtype=float))
    if trouble is not None:
        return judged(CHECK, sentence="", findings=[trouble])
    readings = np.asarray(volts, dtype=float)
    power = _Power(
        readings[np.isfinite(readings)], amperes, cells_set, cells_said, full_v, warn_v, land_v, meter_v, scale, cell_v,
        has_current_sensor,
    )  # fmt: skip
    return judged(
        CHECK,
        sentence=_passed_words(power),
        measured=_numbers(power),
        findings=chain.from_iterable(rule(power) for rule in _RULES),
        figures=_figures(power),
        grids=_grids(power),
    )


def _is_voltage(volts: float) -> bool:
    return math.isfinite(volts) and NO_BATTERY_V <= volts <= MOST_V


def _trouble(volts: FloatArray) -> Finding | None:
    again = "Plug the battery in, propellers off, and measure again for some seconds."
    heard = volts[np.isfinite(volts)] if volts.ndim == 1 else np.empty(0)
    if heard.size < FEWEST:
        return missing("no-voltage", f"Only {heard.size} readings of the voltage came: nothing can be said.", again)
    middle = float(np.median(heard))
    if middle > MOST_V:
        words = f"The voltage is told as {middle:g}: no pack of this trade has that many volts, so these are none."
        return missing("voltage-unit", words, "Read the voltage in volts: millivolts divided by 1000.")
    if middle < NO_BATTERY_V:
        words = f"The aircraft reports {middle:.2f} V: no battery is plugged in, or it is not measured."
        return missing("no-battery", words, again)
    spread = float(np.percentile(heard, 95) - np.percentile(heard, 5))
    if spread > 2 * UNSTEADY_LIMIT * middle:
        words = f"The voltage moves by {spread:.2f} V at rest: a loose plug, or motors that turn. It is not judged."
        return missing("voltage-unsteady", words, again)
    return None


def _fit_to_fly(pack_v: float, full_v: float) -> tuple[CellCount, ...]:
    """Return the numbers of cells with which the pack is fit to fly: nobody starts with cells below the warning."""
    return tuple(one for one in cell_counts(pack_v, full_v=full_v) if one.cell_v >= WARN_V)


def _refusal_of(power: _Power) -> Iterator[Finding]:
    refusal = refuse_pack(power.pack_v, power.cells, full_v=power.full, cell_v=power.cell_v)
    if refusal is not None:
        yield refusal


def _cells(power: _Power) -> Iterator[Finding]:
    if power.cells_set is None:
        yield missing("cells-unknown", "It is not known how many cells the settings say.", "Look at battery.cells.")
    elif power.cells_set < 0 or power.cells_set > MOST_CELLS:
        yield Finding(
            "cells-set-wrong", f"The settings say {power.cells_set} cells, which is none.", "Set battery.cells."
        )
    elif power.cells_said and power.cells_set and power.cells_said != power.cells_set:
        yield _other_count(power.cells_set, power.cells_said, "the label of the pack says")
    elif power.cells_set and not power.cells_said:
        yield from _set_count_fits(power, power.cells_set)
    elif power.cells_set == 0 and not _is_counted_right(power):
        yield _ambiguous(power)


def _other_count(cells_set: int, cells: int, who: str) -> Finding:
    is_late = cells_set < cells
    effect = "Warnings come too late or never" if is_late else "Warnings come from the start"
    return Finding(
        "cells-set-wrong",
        f"The settings say {cells_set} cells, {who} {cells}. {effect}.",
        f"Set battery.cells to {cells}.",
        is_dangerous=is_late,
        settings={"battery.cells": str(cells)},
    )


def _set_count_fits(power: _Power, cells_set: int) -> Iterator[Finding]:
    counts = cell_counts(power.pack_v, full_v=power.full)
    if any(one.cells == cells_set for one in counts) or not counts:
        return
    fit = _fit_to_fly(power.pack_v, power.full)
    if len(fit) == 1:
        yield _other_count(cells_set, fit[0].cells, f"{power.pack_v:.2f} V looks like")
    else:
        words = " or ".join(str(one.cells) for one in counts)
        yield Finding(
            "cells-set-wrong",
            f"The settings say {cells_set} cells, but {power.pack_v:.2f} V looks like {words}.",
            "Look at the label of the pack and set battery.cells to what it says.",
            is_dangerous=cells_set < counts[0].cells,
        )


def _is_counted_right(power: _Power) -> bool:
    fit = _fit_to_fly(power.pack_v, power.full)
    return len(fit) == 1 and power.cells_said in {None, 0, fit[0].cells}


def _ambiguous(power: _Power) -> Finding:
    counts = cell_counts(power.pack_v, full_v=power.full)
    words = " or ".join(f"{one.cells} cells of {one.cell_v:.2f} V" for one in counts[:4]) or "no number of cells"
    return missing(
        "cells-ambiguous",
        f"The aircraft counts the cells itself, and {power.pack_v:.2f} V may be {words}: it may count wrong.",
        "Look at the label of the pack and set battery.cells to what it says.",
    )


def _charge(power: _Power) -> Iterator[Finding]:
    if power.cells and FLOOR_V <= power.pack_v / power.cells < STOP_V:
        yield Finding(
            "pack-empty",
            f"Each of {power.cells} cells has {power.pack_v / power.cells:.2f} V, below {STOP_V:.2f} V: empty.",
            "Stop using it. Charge it watched, on something that does not burn, as its maker says.",
        )


def _meter(power: _Power) -> Iterator[Finding]:
    ask = "Measure the pack at its plug with a meter, in the same minute, and type the volts."
    if power.meter_v is None:
        yield missing("no-meter", "The voltage was not compared with a meter.", ask)
        return
    if not _is_voltage(power.meter_v):
        yield missing("meter-unread", f"{power.meter_v:g} V is no reading of a pack.", ask)
        return
    ratio = power.meter_v / power.sensed_v
    if not 1 / METER_DOUBT <= ratio <= METER_DOUBT:
        words = (
            f"The meter says {power.meter_v:.2f} V and the aircraft {power.sensed_v:.2f} V: too far apart for a scale."
        )
        yield missing("meter-doubtful", words, f"See that both mean the same pack, and the typed number. {ask}")
    elif abs(power.sensed_v - power.meter_v) > METER_LIMIT * power.meter_v:
        yield _scale_off(power, ratio)


def _scale_off(power: _Power, ratio: float) -> Finding:
    is_high = ratio < 1
    words = (
        f"The aircraft reports {power.sensed_v:.2f} V, the meter says {power.meter_v:.2f} V "
        f"({100 * (1 / ratio - 1):+.1f} %): {'warnings come too late' if is_high else 'warnings come too early'}."
    )
    if power.scale is None or not (math.isfinite(power.scale) and power.scale > 0):
        return Finding("voltage-scale", words, f"Multiply battery.voltage.scale by {ratio:.4f}.", is_dangerous=is_high)
    new = f"{power.scale * ratio:.4g}"
    advice = f"Set battery.voltage.scale to {new} (now {power.scale:g})."
    settings = {"battery.voltage.scale": new}
    return Finding("voltage-scale", words, advice, is_dangerous=is_high, settings=settings)


def _current(power: _Power) -> Iterator[Finding]:
    if not power.has_current_sensor:
        return
    again = "Measure the current again, motors stopped."
    heard = np.empty(0) if power.amperes is None else np.asarray(power.amperes, dtype=float)
    heard = heard[np.isfinite(heard)]
    if heard.size < FEWEST:
        yield missing("no-current", "The current at rest was not told.", again)
        return
    current_a = float(np.median(heard))
    if abs(current_a) > 200:
        yield missing("current-unit", f"The current is told as {current_a:g}: these are no amperes.", again)
    elif not REST_LOW_A <= current_a <= REST_HIGH_A:
        yield Finding(
            "current-at-rest",
            f"At rest the aircraft reports {current_a:.2f} A (usual are {REST_LOW_A:g} to {REST_HIGH_A:g} A).",
            "Touch nothing hot: unplug, look for a short circuit, a warm motor controller or a wrong sensor offset.",
            is_dangerous=current_a >= REST_SHORT_A,
        )


def _warnings(power: _Power) -> Iterator[Finding]:
    named = {"battery.cell.full": power.full_v, "battery.cell.warning": power.warn_v, "battery.cell.land": power.land_v}
    for role, value in named.items():
        if value is None or not math.isfinite(value):
            yield missing("threshold-unknown", f"{role} is not known.", f"Look at {role}.")
        elif not 1.0 <= value <= 6.0:
            yield missing("threshold-unit", f"{role} is {value:g}: no volts of one cell.", f"Give {role} in volts.")
    if power.full_v is None or power.warn_v is None or power.land_v is None:
        return
    if all(1.0 <= value <= 6.0 for value in (power.full_v, power.warn_v, power.land_v)):
        yield from _full_cell(power.full_v)
        yield from _warning_order(power.full, power.warn_v, power.land_v)


def _full_cell(full_v: float) -> Iterator[Finding]:
    if full_v > FULL_HV_V + CELL_TOLERANCE_V:
        yield Finding(
            "full-cell-high",
            f"A full cell is set to {full_v:.2f} V; no lithium polymer cell may have more than {FULL_HV_V:.2f} V.",
            f"Set battery.cell.full to {FULL_V:.2f}, or {FULL_HV_V:.2f} for cells whose label says so.",
            is_dangerous=True,
            settings={"battery.cell.full": f"{FULL_V:.2f}"},
        )
    elif full_v < FULL_V - 2 * CELL_TOLERANCE_V - 1e-9:
        yield missing(
            "full-cell-low",
            f"A full cell is set to {full_v:.2f} V: that is no lithium polymer cell, and others are not judged here.",
            f"If it is one, set battery.cell.full to {FULL_V:.2f}.",
        )


def _warning_order(full_v: float, warn_v: float, land_v: float) -> Iterator[Finding]:
    if land_v < FLOOR_V or math.isclose(land_v, FLOOR_V):
        yield _threshold(
            "land-below-floor", "battery.cell.land", land_v, STOP_V, f"not above {FLOOR_V:.2f} V", late=True
        )
    if warn_v < land_v or math.isclose(warn_v, land_v):
        words = f"not above the one for landing ({land_v:.2f} V)"
        yield _threshold("warning-order", "battery.cell.warning", warn_v, max(WARN_V, land_v + 0.1), words, late=True)
    elif warn_v < STOP_V - CELL_TOLERANCE_V - 1e-9:
        yield _threshold("warning-late", "battery.cell.warning", warn_v, WARN_V, f"below {STOP_V:.2f} V", late=True)
    if warn_v > full_v - WARN_BELOW_FULL_V + 1e-9:
        yield _threshold(
            "warning-early", "battery.cell.warning", warn_v, WARN_V, "nearly that of a full cell", late=False
        )


def _threshold(kind: str, role: str, value: float, better: float, words: str, *, late: bool) -> Finding:
    effect = "it comes too late to land safely" if late else "it sounds from the start, and nobody listens any more"
    return Finding(
        kind,
        f"{role} is {value:.2f} V, {words}: {effect}.",
        f"Set {role} to {better:.2f}.",
        is_dangerous=late,
        settings={role: f"{better:.2f}"},
    )


def _passed_words(power: _Power) -> str:
    cells = f"{power.cells} cells, {power.pack_v / power.cells:.2f} V each" if power.cells else "cells not known"
    return f"The aircraft reports {power.sensed_v:.2f} V and the meter agrees ({cells}); the warnings are in order."


def _numbers(power: _Power) -> Iterator[Measured]:
    yield Measured("voltage, by the aircraft", power.sensed_v, "V")
    if power.meter_v is not None and _is_voltage(power.meter_v):
        off = 100 * (power.sensed_v / power.meter_v - 1)
        yield Measured("voltage, by the meter", power.meter_v, "V")
        yield Measured(
            "aircraft over meter", off, "%", f"within {100 * METER_LIMIT:g} %", abs(off) <= 100 * METER_LIMIT
        )
    if power.cells:
        cell_v = power.pack_v / power.cells
        limit = f"{STOP_V:.2f} to {power.full + CELL_TOLERANCE_V:.2f} V"
        is_met = STOP_V <= cell_v <= power.full + CELL_TOLERANCE_V
        yield Measured("voltage of a cell", cell_v, "V", limit, is_met)
    if power.amperes is not None and np.isfinite(power.amperes).any():
        current_a = float(np.nanmedian(power.amperes))
        is_met = REST_LOW_A <= current_a <= REST_HIGH_A
        yield Measured("current at rest", current_a, "A", f"{REST_LOW_A:g} to {REST_HIGH_A:g} A", is_met)


def _figures(power: _Power) -> Iterator[Figure]:
    last = float(len(power.volts) - 1)
    curves = [Curve("aircraft", thinned(enumerate(power.volts)))]
    if power.meter_v is not None and _is_voltage(power.meter_v):
        curves.append(Curve("meter", ((0.0, power.meter_v), (last, power.meter_v)), is_expected=True))
    yield Figure("Voltage at rest", "reading", "number", "voltage", "V", tuple(curves))


def _grids(power: _Power) -> Iterator[Grid]:
    rows = [("Cells", "Each (V)", "Would be", "")]
    for one in cell_counts(power.pack_v, full_v=power.full):
        marks = [
            words for words, cells in (("settings", power.cells_set), ("label", power.cells_said)) if cells == one.cells
        ]
        rows.append((str(one.cells), f"{one.cell_v:.2f}", _charge_words(one.cell_v), ", ".join(marks)))
    yield Grid("Numbers of cells that explain the voltage", tuple(rows))
    if power.cell_v is None:
        words = "not shown: only the whole pack was measured. Look at each cell with a cell checker."
        yield Grid("Balance of the cells", (("Cells", "Balance"), ("each", words)))


def _charge_words(cell_v: float) -> str:
    limits = ((FULL_V - 0.1, "full"), (STORAGE_V, "half full or more"), (WARN_V, "low"), (STOP_V, "nearly empty"))
    return next((words for limit, words in limits if cell_v >= limit), "empty")


_RULES: Final = (_refusal_of, _cells, _charge, _meter, _current, _warnings)
