"""Bench checks by themselves, all that a job card still lacks or some once more; the protocol of the first hover."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rich.markup import escape

from rotorwright.bench import hover
from rotorwright.bench.verdicts import Verdict
from rotorwright.changeover.errors import BenchCheckFailedError, ChangeoverOverError
from rotorwright.changeover.journal import HangarJournal
from rotorwright.changeover.opening import find_card
from rotorwright.changeover.proving.checks import BENCH_CHECKS, require_known
from rotorwright.changeover.proving.flights import prove_flights, require_ready
from rotorwright.changeover.proving.settling import prove_check
from rotorwright.cli import jobs
from rotorwright.cli.console import out, print_json, told_aside
from rotorwright.cli.person import TerminalPerson
from rotorwright.cli.progress import shown_progress

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from rotorwright.bench.verdicts import CheckResult
    from rotorwright.changeover.workshop import Workshop
    from rotorwright.cli.jobs import BenchOptions
    from rotorwright.cli.progress import ProgressLine

SHOWN, NOT_ALL_SHOWN = 0, 1


@dataclass(frozen=True, slots=True)
class Recordings:
    """Two recorded flights and the map of their columns."""

    before: Path
    after: Path
    columns: Path | None = None


def prove(
    options: BenchOptions,
    *,
    changeover_id: str | None,
    only: Sequence[str] = (),
    recordings: Recordings | None = None,
    as_json: bool = False,
) -> int:
    """Run bench checks on the aircraft of a job card and return the exit code: 0 when all of them passed."""
    wanted = require_known(only)
    person = jobs.person_of(options)
    with told_aside(is_wanted=as_json), jobs.open_hangar(options.hangar) as hangar:
        card = find_card(hangar, changeover_id)
        with hangar.lock(card.row.id), shown_progress() as bar:
            if isinstance(person, TerminalPerson):
                person.before_asking = bar.stop
            journal = HangarJournal(hangar, card.row.id, now=jobs.utc_now)
            with jobs.workshop(hangar, journal, options, person, bar) as shop:
                _require_open(shop)
                results = _run(shop, wanted, recordings, bar)
    if as_json:
        print_json({"changeover": card.row.id, "checks": [one.as_json() for one in results]})
    else:
        show_results(results)
    return SHOWN if all(one.verdict is Verdict.PASSED for one in results) else NOT_ALL_SHOWN


def _require_open(shop: Workshop) -> None:
    if shop.state.is_over:
        raise ChangeoverOverError(
            f"The changeover {shop.journal.changeover_id} is over.",
            why="What was proved and signed is not added to.",
            todo="Prove the aircraft in a new changeover.",
        )
    require_ready(shop)


def _run(shop: Workshop, wanted: Sequence[str], recordings: Recordings | None, bar: ProgressLine) -> list[CheckResult]:
    """Run the checks one after another; one that failed does not keep the others from being measured."""
    if recordings is not None:
        return [_compared(shop, recordings, bar)]
    checks = wanted or tuple(check for check in BENCH_CHECKS if not shop.state.has_proved(check))
    results: list[CheckResult] = []
    for check in checks:
        out.print(f"[bold]prove[/]: {check}")
        try:
            results.append(prove_check(shop, check))
        except BenchCheckFailedError as error:
            results.append(error.result)
            if error.stops_the_bench:
                raise  # with such a battery nothing else is measured
    return results


def _compared(shop: Workshop, recordings: Recordings, bar: ProgressLine) -> CheckResult:
    from rotorwright.hangar.recordings import read_recording

    before = read_recording(recordings.before, column_map=recordings.columns, progress=bar.show)
    after = read_recording(recordings.after, column_map=recordings.columns, progress=bar.show)
    for words in (*before.said, *after.said):
        out.print(f"  {escape(words)}", soft_wrap=True)
    try:
        return prove_flights(shop, before.flight, after.flight, progress=bar.show)
    except BenchCheckFailedError as error:
        return error.result


def show_results(results: Sequence[CheckResult]) -> None:
    """Print each check with its verdict, its sentence, and what to do."""
    if not results:
        out.print("Every bench check of this job card is proved already. To measure one again: --only CHECK.")
    for one in results:
        out.print(f"\n[bold]{one.check}[/]: [bold]{one.verdict}[/]. {escape(one.sentence)}", soft_wrap=True)
        for finding in one.findings:
            if finding.words != one.sentence:
                out.print(f"  {'?' if finding.is_missing else '!'} {escape(finding.words)}", soft_wrap=True)
            out.print(f"    To do: {escape(finding.advice)}", soft_wrap=True)
        for measured in one.measured:
            limit = f"  ({measured.limit})" if measured.limit else ""
            out.print(f"    {escape(measured.name)}: {measured.value:.4g} {measured.unit}{escape(limit)}")
        for grid in one.grids:
            _show_grid(grid.title, grid.rows)


def _show_grid(title: str, rows: Sequence[Sequence[str]]) -> None:
    out.print(f"    {escape(title)}")
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    for row in rows:
        cells = "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True))
        out.print(f"      {escape(cells.rstrip())}", soft_wrap=True)


def show_hover(*, as_json: bool) -> int:
    """Print what to fly first, for how long, what is recorded, and what stops it."""
    if as_json:
        print_json(
            {
                "cautions": list(hover.CAUTIONS),
                "steps": [
                    {"name": one.name, "fly": one.fly, "seconds": one.seconds, "shows": one.shows, "stops": one.stops}
                    for one in hover.STEPS
                ],
                "recorded": hover.RECORDED,
                "stops_always": list(hover.STOPS_ALWAYS),
                "seconds": hover.total_s(),
            }
        )
        return 0
    out.print("[bold]Before[/]")
    for words in hover.CAUTIONS:
        out.print(f"  - {escape(words)}", soft_wrap=True)
    out.print(f"[bold]The flight[/], {hover.total_s():.0f} s in all")
    for number, one in enumerate(hover.STEPS, start=1):
        out.print(f"  {number}. {one.name}, {one.seconds:.0f} s. {escape(one.fly)}", soft_wrap=True)
        out.print(f"     It shows: {escape(one.shows)}\n     It ends at once: {escape(one.stops)}", soft_wrap=True)
    out.print(f"[bold]Whatever the step, it ends when[/] {', or '.join(hover.STOPS_ALWAYS)}.", soft_wrap=True)
    out.print(f"[bold]Recorded[/]: {hover.RECORDED}.", soft_wrap=True)
    out.print("Then: rotorwright prove --before BEFORE.csv --after AFTER.csv", soft_wrap=True)
    return 0
