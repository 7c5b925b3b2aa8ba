"""Persons of the terminal: one who is asked, and one whose answers are in a file."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING

from rich.markup import escape
from rich.prompt import Confirm, Prompt

from rotorwright.changeover.gates import TEXTS, Gate
from rotorwright.changeover.person import (
    BoardQuestion,
    HandsRequest,
    PlanSummary,
    SeenQuestion,
    WatchedRequest,
    words_of,
    words_of_watched,
)
from rotorwright.cli.console import out
from rotorwright.cli.held_key import HeldKey, held_key

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from rotorwright.cli.answers import AnswersFile
    from rotorwright.errors import RotorwrightError
    from rotorwright.settings.answering import Answer
    from rotorwright.settings.carry_over import Decision


UNSURE = "unsure"
HOLD_PATIENCE_S = 15.0


def _do_nothing() -> None:
    """Ask at once."""


class TerminalPerson:
    """Asks the person at the keyboard."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.before_asking: Callable[[], None] = _do_nothing
        self._key: HeldKey | None = None

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

    def name_board(self, question: BoardQuestion) -> str | None:
        """Show what speaks for and against each board, and take only a name that was typed out."""
        self.before_asking()
        show_boards(question)
        return Prompt.ask("  Name printed on the board (empty: not known)", default="", console=out) or None

    def decide(self, held: Decision) -> Answer | None:
        """Show a held setting with its options and ask for one, or for a value of the person's own."""
        self.before_asking()
        out.print(f"\n[bold]Held: {escape(', '.join(held.found))}[/]\n  {escape(held.reason)}")
        for number, option in enumerate(held.options, start=1):
            out.print(f"   {number}  {escape(option.words)}")
        out.print("   v  a value of your own\n   0  leave it undecided for now")
        keys = [*(str(number) for number in range(len(held.options) + 1)), "v"]
        answer = Prompt.ask("  Which", choices=keys, console=out)
        if answer == "v":
            return _own_value(held)
        return held.options[int(answer) - 1].key if int(answer) else None

    def act(self, request: HandsRequest) -> bool:
        """Say what the hands must do and wait."""
        self.before_asking()
        out.print(f"\n[bold]Your hands[/]\n  {escape(words_of(request))}")
        return Confirm.ask("  Done?", default=True, console=out)

    def watched(self, request: WatchedRequest) -> bool:
        """Say what the hands must do; nobody waits for a key, the aircraft shows when it is done."""
        self.before_asking()
        out.print(f"  [bold]Now:[/] {escape(words_of_watched(request))}", soft_wrap=True)
        return True

    def answer(self, question: SeenQuestion) -> str | None:
        """Ask for what only a person can see."""
        self.before_asking()
        if question.answers:
            choices = [*question.answers, UNSURE]
            said = Prompt.ask(f"  {escape(question.words)}", choices=choices, default=UNSURE, console=out)
            return None if said == UNSURE else said
        return Prompt.ask(f"  {escape(question.words)}", default="", console=out) or None

    @contextmanager
    def holding(self) -> Iterator[bool]:
        """Let the person hold the space bar down; answer whether they do before anything turns."""
        self.before_asking()
        with held_key() as self._key:
            if self._key is not None:
                out.print("  Hold the space bar down. Let go, or press any other key, and the motor stops.")
            yield self._key is not None and self._key.wait(HOLD_PATIENCE_S)
        self._key = None

    def is_holding(self) -> bool:
        """Answer whether the space bar is down."""
        return self._key is not None and self._key.is_held()

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


def _own_value(held: Decision) -> dict[str, str]:
    usual = held.new_names[0] if held.new_names else None
    name = Prompt.ask("  Setting of the new release", default=usual, console=out) or ""
    return {name: Prompt.ask(f"  Value of {escape(name)}", console=out)}


class AnswersPerson:
    """Answers from a file, for runs without a keyboard. What the file does not say counts as no."""

    def __init__(self, answers: AnswersFile, *, name: str) -> None:
        self.name = name
        self._answers = answers
        self._retries = answers.retries

    def confirm(self, gate: Gate) -> bool:
        """Answer what the list `confirm` says."""
        return str(gate) in self._answers.confirm

    def accept_plan(self, summary: PlanSummary) -> bool:
        """Answer what `accept_plan` says."""
        show_plan(summary)
        return self._answers.accept_plan

    def name_board(self, question: BoardQuestion) -> str | None:
        """Answer what `board` says."""
        show_boards(question)
        return self._answers.board or None

    def decide(self, held: Decision) -> Answer | None:
        """Answer what the table `held` says of a name of the line."""
        answers = self._answers.held
        return next((answers[name] for name in held.found if name in answers), None)

    def act(self, request: HandsRequest) -> bool:
        """Answer what `hands` says: true where somebody or something acts without being asked."""
        out.print(f"  Hands: {escape(words_of(request))}")
        return self._answers.hands

    def watched(self, request: WatchedRequest) -> bool:
        """Answer what `hands` says."""
        out.print(f"  Hands: {escape(words_of_watched(request))}", soft_wrap=True)
        return self._answers.hands

    def answer(self, question: SeenQuestion) -> str | None:
        """Answer what the table `seen` says."""
        said = self._answers.seen.get(question.about)
        return said if said and (not question.answers or said in question.answers) else None

    @contextmanager
    def holding(self) -> Iterator[bool]:
        """Hold nothing: a file has no hand that lets go, so no motor turns for it."""
        yield False

    def is_holding(self) -> bool:
        """Answer no."""
        return False

    def go_on_after(self, error: RotorwrightError) -> bool:
        """Go on as often as `retries` says."""
        out.print(f"  Interrupted: {escape(error.what)}")
        self._retries -= 1
        return self._retries >= 0

    def sign(self) -> str | None:
        """Sign with the name in `sign`."""
        return self._answers.sign or None

    def tell(self, words: str) -> None:
        """Print a line."""
        out.print(f"  {escape(words)}")


def show_boards(question: BoardQuestion) -> None:
    """Print the boards that an unknown name may mean, with why and why not."""
    out.print(
        f"\n[bold]Which board is it?[/]\n  The aircraft calls its board {escape(question.reported)}, a name that the "
        "release book does not know. Look at the board itself; a name that only looks alike proves nothing."
    )
    for name, reasons in question.candidates:
        out.print(f"   {escape(name)}: {escape(reasons)}", soft_wrap=True)


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
