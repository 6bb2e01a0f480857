"""The terminal of a study: what to do next and what was done, without a single value. Not for reports."""

from __future__ import annotations

from dataclasses import dataclass

from rich.text import Text

from acquire.outlets.terminal import Terminal, rest_bar
from acquire.records import Approach, Event, LeadZero, LiftOff, Notice, Prompt
from acquire.study.work import Finished, Happening, Taken, TakenBack
from acquire.words.prompts import asked


@dataclass(slots=True)
class StudyScreen(Terminal):
    """Shows a study as it goes.

    Whoever sees the value measures until it suits, so none is shown: how far from rest, and that it is taken.
    """

    def show(self, event: Event) -> None:
        """Show one event of the bench, without its value."""
        match event:
            case Approach():
                self._settling = f"settling  {rest_bar(event.unrest)}"
            case Prompt():
                self._prompted(event)
            case LiftOff():
                self._settling = ""
            case LeadZero() | Notice():
                Terminal.show(self, event)
            case _:
                return
        self._refresh()

    def tell(self, happening: Happening) -> None:
        """Show what has happened in the study."""
        match happening:
            case Taken():
                turn = happening.turn
                word = "taken, revised" if happening.revised else "taken"
                self._settling = f"{word}: lift"
                self._line(Text(f"  ● {turn.operator}  part {turn.label}  {word}"))
                if self._live is not None:
                    self.console.bell()
            case TakenBack():
                turn = happening.turn
                self._line(Text(f"  ○ {turn.operator}  part {turn.label}  taken back: measure it again"))
            case Finished():
                self._line(Text("  ● Nothing is missing: the study is done.", style="bold"))
            case _:
                self.show(happening)
                return
        self._refresh()

    def _prompted(self, prompt: Prompt) -> None:
        """Every prompt stands in the lines where no last line lives: nobody else asks for anything."""
        self._prompt = f"{asked(prompt)}  [{prompt.steps_done}/{prompt.steps_total}]"
        if self._live is None:
            self.console.print(Text(f"  → {self._prompt}", style="dim"))
