"""The carry-over sheet as a table that a person can read: grouped, with the reason in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.markup import escape
from rich.table import Table

from rotorwright.cli.console import out
from rotorwright.report.from_changeover import GROUPS, sheet_line
from rotorwright.settings.carry_over import DecisionKind

if TYPE_CHECKING:
    from rich.console import Console

    from rotorwright.settings.carry_over import Decision
    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.sheet import CarryOverSheet


def print_sheet_table(
    sheet: CarryOverSheet, *, old: Catalogue | None, new: Catalogue | None, every: bool, console: Console = out
) -> None:
    """Print the sheet. Adopted lines are many and change nothing; they are only counted unless `every` is set."""
    console.print(f"[bold]Carry-over sheet[/] {escape(_releases(sheet))}")
    console.print(f"Policy: {escape(sheet.policy)}")
    for kind, (title, explanation) in GROUPS.items():
        group = [decision for decision in sheet.decisions if decision.kind is kind]
        if not group:
            continue
        console.print(f"\n[bold]{title}: {len(group)}[/]  {explanation}")
        if kind is not DecisionKind.ADOPT or every:
            _print_group(console, group, old, new)
    if sheet.arrivals:
        where = escape(sheet.to_release or "the new release")
        console.print(f"\n[bold]New in {where}: {len(sheet.arrivals)}[/]  They have the board's own defaults.")
    for remark in sheet.remarks:
        console.print(f"\n[bold]Note:[/] {escape(remark)}")
    console.print(f"\n{_total(sheet)}")


def _print_group(console: Console, group: list[Decision], old: Catalogue | None, new: Catalogue | None) -> None:
    table = Table(box=None, pad_edge=False, show_edge=False, padding=(0, 2, 0, 0))
    table.add_column("setting", ratio=3, overflow="fold")
    table.add_column("found", ratio=2, overflow="fold")
    table.add_column("becomes", ratio=2, overflow="fold")
    table.add_column("reason", ratio=6, overflow="fold")
    for decision in group:
        line = sheet_line(decision, old, new, {})
        names = f"{line.names} -> {line.new_names}" if line.new_names else line.names
        options = "".join(f"\n- {option.key}: {option.words}" for option in decision.options)
        becomes = "undecided" if decision.kind is DecisionKind.HELD and not decision.chosen else line.after or "-"
        table.add_row(escape(names), escape(line.before), escape(becomes), escape(line.reason + options))
    console.print(table)


def _releases(sheet: CarryOverSheet) -> str:
    before = f"{sheet.family} {sheet.from_release}".strip() or "a release that nobody named"
    return f"{before} to {sheet.to_release or 'a release that nobody named'}"


def _total(sheet: CarryOverSheet) -> str:
    found = sum(len(decision.found) for decision in sheet.decisions)
    held = len(sheet.undecided)
    return f"{found} settings, each in exactly one decision; {held} held for a person."
