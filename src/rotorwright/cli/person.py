"""Persons of the terminal: one who is asked, and one whose answers are in a file."""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING

from rich.markup import escape
from rich.prompt import Confirm, Prompt

from rotorwright.changeover.gates import TEXTS, Gate
from rotorwright.changeover.person import HandsRequest, PlanSummary, words_of
from rotorwright.cli.console import out
from rotorwright.errors import RotorwrightError, SettingsError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from rotorwright.settings.carry_over import Decision


class AnswersError(SettingsError):
    """The file with answers cannot be used."""

    id = "settings.answers"


def _do_nothing() -> None:
    """Ask at once."""


class TerminalPerson:
    """Asks the person at the keyboard."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.before_asking: Callable[[], None] = _do_nothing

    def confirm(self, gate: Gate) -> bool:
        """Show the danger, ask, and take only a yes for a yes."""
        self.before_asking()
        text = TEXTS[gate]
        out.print(f"\n[bold]Gate {gate}[/]\n  {text.danger}\n  {text.asks}")
        return Confirm.ask("  Is it so?", default=False, console=out)

    def accept_plan(self, summary: PlanSummary) -> bool:
        """Show the plan and ask."""
        self.before_asking()
        show_plan(summary)
        return Confirm.ask("  Carry this plan out?", default=False, console=out)

    def decide(self, held: Decision) -> str | None:
        """Show a held setting with its options and ask for one."""
        self.before_asking()
        out.print(f"\n[bold]Held: {escape(', '.join(held.found))}[/]\n  {escape(held.reason)}")
        for number, option in enumerate(held.options, start=1):
            out.print(f"   {number}  {escape(option.words)}")
        out.print("   0  leave it undecided for now")
        keys = [str(number) for number in range(len(held.options) + 1)]
        answer = int(Prompt.ask("  Which", choices=keys, console=out))
        return held.options[answer - 1].key if answer else None

    def act(self, request: HandsRequest) -> bool:
        """Say what the hands must do and wait."""
        self.before_asking()
        out.print(f"\n[bold]Your hands[/]\n  {escape(words_of(request))}")
        return Confirm.ask("  Done?", default=True, console=out)

    def go_on_after(self, error: RotorwrightError) -> bool:
        """Show the error and ask whether to try again."""
        self.before_asking()
        out.print(f"\n[bold]Interrupted:[/] {escape(error.what)}\n  {escape(error.why)}\n  {escape(error.todo)}")
        return Confirm.ask("  Try this step again now?", default=True, console=out)

    def sign(self) -> str | None:
        """Ask for the name to sign with."""
        self.before_asking()
        return Prompt.ask("\nSign with your name (empty: not now)", default="", console=out) or None

    def tell(self, words: str) -> None:
        """Print a line."""
        out.print(f"  {escape(words)}")


class AnswersPerson:
    """Answers from a TOML file, for runs without a keyboard. What the file does not say counts as no."""

    def __init__(self, text: str, *, source: str, name: str) -> None:
        try:
            answers = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            raise _bad_answers(source, str(error)) from error
        unknown = set(answers) - {"confirm", "accept_plan", "held", "hands", "sign", "retries"}
        if unknown:
            raise _bad_answers(source, f"it has the unknown key '{min(unknown)}'")
        self.name = name
        self._answers: Mapping[str, object] = answers
        retries = answers.get("retries", 0)
        self._retries = retries if isinstance(retries, int) else 0

    def confirm(self, gate: Gate) -> bool:
        """Answer what the list `confirm` says."""
        listed = self._answers.get("confirm", [])
        return isinstance(listed, list) and str(gate) in listed

    def accept_plan(self, summary: PlanSummary) -> bool:
        """Answer what `accept_plan` says."""
        show_plan(summary)
        return self._answers.get("accept_plan") is True

    def decide(self, held: Decision) -> str | None:
        """Answer what the table `held` says of the first name of the line."""
        table = self._answers.get("held", {})
        choice = table.get(held.found[0]) if isinstance(table, dict) else None
        return choice if isinstance(choice, str) else None

    def act(self, request: HandsRequest) -> bool:
        """Answer what `hands` says: true where somebody or something acts without being asked."""
        out.print(f"  Hands: {escape(words_of(request))}")
        return self._answers.get("hands") is True

    def go_on_after(self, error: RotorwrightError) -> bool:
        """Go on as often as `retries` says."""
        out.print(f"  Interrupted: {escape(error.what)}")
        self._retries -= 1
        return self._retries >= 0

    def sign(self) -> str | None:
        """Sign with the name in `sign`."""
        name = self._answers.get("sign")
        return name if isinstance(name, str) and name else None

    def tell(self, words: str) -> None:
        """Print a line."""
        out.print(f"  {escape(words)}")


def show_plan(summary: PlanSummary) -> None:
    """Print what is about to be done."""
    counts = ", ".join(f"{count} {kind}" for kind, count in summary.counts.items() if count)
    sectors = ", ".join(str(number) for number in summary.sectors)
    out.print(
        f"\n[bold]The plan[/]\n"
        f"  aircraft   {escape(summary.aircraft)}\n"
        f"  release    {escape(summary.release_before)} to {escape(summary.release_after)}\n"
        f"  image      {summary.image_bytes:,} bytes into sectors {sectors}; no other sector is touched\n"
        f"  settings   {escape(summary.note or f'{counts}; {summary.settings_to_write} will be written')}"
    )


def _bad_answers(source: str, why: str) -> AnswersError:
    return AnswersError(
        f"The answers in {source} cannot be used: {why}.",
        why="The file is TOML with the keys confirm, accept_plan, held, hands, sign and retries.",
        todo="Correct it; docs/reference/answers.md shows one.",
        source=source,
    )
