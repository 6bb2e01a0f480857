"""The bench in a terminal: prompt, settling, verdict with limits and uncertainty, and a summary at the end.

State is always a word and a shape, never a colour alone; the two main colours (blue for good, orange for bad)
stay apart for colour-blind eyes. Not a source of truth: it shows what the journal has already taken.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Self

from rich.console import Console
from rich.live import Live
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from acquire.quantity import counted, show
from acquire.records import (
    Approach,
    Ask,
    Batch,
    CheckStandard,
    Event,
    Judged,
    LeadZero,
    LiftOff,
    Notice,
    Outcome,
    Prompt,
    Scope,
    Settled,
    Severity,
    TypedResult,
    UnitResult,
    UnitStarted,
    UntestedKind,
    Verdict,
    Why,
)
from acquire.records.codes import ASKED_FOR, KEPT_ONLY
from acquire.unit_result import visit_key
from acquire.words.beside import typed_answer
from acquire.words.notices import said
from acquire.words.prompts import asked
from acquire.words.settling import held, hindered
from acquire.words.units import cause_of, result_words, untested_words
from acquire.words.verdicts import OUTCOME_WORDS, deed_words, reason, verdict_word

SIGNS: dict[Outcome, tuple[str, str, str]] = {
    Outcome.PASS: ("●", OUTCOME_WORDS[Outcome.PASS], "bold bright_blue"),
    Outcome.CONDITIONAL_PASS: ("◑", OUTCOME_WORDS[Outcome.CONDITIONAL_PASS], "bright_blue"),
    Outcome.CONDITIONAL_FAIL: ("◒", OUTCOME_WORDS[Outcome.CONDITIONAL_FAIL], "dark_orange"),
    Outcome.FAIL: ("✖", OUTCOME_WORDS[Outcome.FAIL], "bold dark_orange"),
    Outcome.CANNOT_JUDGE: ("?", OUTCOME_WORDS[Outcome.CANNOT_JUDGE], "bold yellow"),
}
"""Shape, words and colour of each outcome."""

SHOWN_ASKS = frozenset({Ask.TOUCH, Ask.TOUCH_AGAIN, Ask.SHORT_PROBES, Ask.CHECK_RESISTOR, Ask.CLIP_ON})
"""Prompts that stand in the lines of an output without a living last line."""

SELF_CHECKS = frozenset({Why.SELF_CHECK, Why.SELF_CHECK_PASSED})
"""Prompts of a meter's self-check, all of which are shown."""

WIDTH = 80
"""Columns of the smallest screen that takes a verdict in one line."""

STEP_WIDTH, NARROWEST = 16, 6
"""Columns of a step's name, and what they may shrink to where a long word follows."""

LONGEST_WORD = 20
"""Columns of a verdict's word; what is longer goes on below."""

BELOW = " " * 10
"""Before whatever belongs to the line above."""


def limits_scale(verdict: Verdict, width: int = 9) -> str:
    """Draw where a value lies between its limits, with its uncertainty, in `width` characters.

    `┃` stand for the limits, `◆` for the value, `─` for its expanded uncertainty; a value beyond a limit lies
    on it or outside it by one. Empty where there is no value or no pair of limits.
    """
    lower, upper, value = verdict.lower_ohm, verdict.upper_ohm, verdict.reference_ohm
    if lower is None or upper is None or value is None or upper <= lower:
        return ""
    first, last = 1, width - 2
    per_ohm = (last - first) / (upper - lower)

    def column(ohm: float) -> int:
        return min(max(round(first + (ohm - lower) * per_ohm), 0), width - 1)

    line = [" "] * width
    reach = verdict.expanded_ohm or 0.0
    for at in range(column(value - reach), column(value + reach) + 1):
        line[at] = "─"
    line[first] = line[last] = "┃"
    line[column(value)] = "◆"
    return "".join(line)


@dataclass(slots=True)
class Tally:
    """What the summary says of one unit."""

    serial: str
    outcome: Outcome | None
    words: str
    style: str
    why: str


@dataclass(slots=True)
class Terminal:
    """Shows events as they come.

    Attributes:
        console: where to write. On a real terminal the last line lives (what to touch, how far from rest);
            elsewhere only finished lines are written.
        units: how each visit on the bench stands, by what names it.
    """

    console: Console
    units: dict[tuple[str, str, float], Tally] = field(default_factory=dict)
    _live: Live | None = None
    _prompt: str = ""
    _settling: str = ""
    _typed: str = ""
    _turns_told: bool = False

    def __enter__(self) -> Self:
        """Start the living last line, if this is a real terminal."""
        if self.console.is_terminal:
            self._live = Live(console=self.console, refresh_per_second=8, transient=True)
            self._live.__enter__()
        return self

    def __exit__(self, *_: object) -> None:
        """Take the living line away."""
        if self._live is not None:
            self._live.__exit__(None, None, None)
            self._live = None

    def typing(self, text: str) -> None:
        """Show what is being typed or scanned."""
        self._typed = text
        self._refresh()

    def show(self, event: Event) -> None:
        """Show one event."""
        match event:
            case Prompt():
                self._prompted(event)
            case Approach():
                bar = f"settling  {show(event.value_si, 'Ω')}  {rest_bar(event.settling_ratio)}"
                self._settling = "  ".join(filter(None, (bar, hindered(event))))
            case Settled():
                self._settling = "  ".join(
                    filter(None, (f"settled   {show(event.value_si, 'Ω')}", held(event)))
                )
            case LiftOff():
                self._settling = ""
            case Judged():
                self._line(verdict_line(event.verdict))
                self._settling = ""
            case UnitStarted():
                self._line(Text(f"Unit {event.serial}", style="bold"))
            case UnitResult():
                self._unit_done(event)
            case Notice() if event.code in KEPT_ONLY:
                return
            case LeadZero() | CheckStandard() | TypedResult() | Batch() | Notice():
                self._line(beside_line(event))
            case _:
                return
        self._refresh()

    def _prompted(self, prompt: Prompt) -> None:
        count = f"  [{prompt.steps_done}/{prompt.steps_total}]" if prompt.steps_total else ""
        text = asked(prompt)
        self._prompt = f"{text}{count}"
        if self._live is None and (prompt.ask in SHOWN_ASKS or prompt.why in SELF_CHECKS):
            self.console.print(Text(f"  → {text}", style="dim"))

    def _unit_done(self, result: UnitResult) -> None:
        if result.outcome is None:
            word, style = f"◌ {result_words(result)}", "bold yellow"
            if result.wait_s:
                word += f"; try again in about {_long(result.wait_s)}"
        else:
            shape, words, style = SIGNS[result.outcome]
            word = f"{shape} {words}"
        why = cause_of(result)
        self.units[visit_key(result)] = Tally(result.serial, result.outcome, word, style, why)
        word = f"{result.serial} now: {word}" if result.revision else word
        between = "   " if len(f"  {word}   {why}") <= self.console.width else f"\n{BELOW}"
        self._line(Text(f"  {word}", style=style).append(f"{between}{why}" if why else "", style="default"))
        for missing in () if result.revision else result.untested:
            of_turns = missing.kind is UntestedKind.TURNS
            if not (of_turns and self._turns_told):  # true of every unit: once is enough
                self._line(Text(f"{BELOW}{untested_words(missing)}", style="dim"))
            self._turns_told = self._turns_told or of_turns
        self._line(Text(""))

    def _line(self, text: Text) -> None:
        """Print a line; what belongs to it stands below, and what wraps is set in alike."""
        for part in text.split("\n", allow_blank=True):
            done = len(BELOW) if part.plain.startswith(BELOW) else 0
            if not done and part.cell_len > self.console.width > 2 * len(BELOW):
                first = part.wrap(self.console, self.console.width)[0]
                self.console.print(first, highlight=False)
                done = len(part) - len(part.plain[len(first) :].lstrip())
            shown = Padding(part[done:], (0, 0, 0, len(BELOW)), expand=False) if done else part
            self.console.print(shown, highlight=False)

    def _refresh(self) -> None:
        if self._live is not None:
            shown = Text(f"  → {self._prompt}", style="bold")
            if self._settling:
                shown.append(f"   {self._settling}", style="cyan")
            if self._typed:
                shown.append(f"   ⌨ {self._typed}", style="bold")
            self._live.update(shown)

    def summary(self) -> Table:
        """Tell how every unit ended, and why."""
        table = Table(title=None, box=None, pad_edge=False)
        for head in ("unit", "verdict", "explanation"):
            table.add_column(head, style="bold" if head == "unit" else "")
        for unit in self.units.values():
            table.add_row(Text(unit.serial), Text(unit.words, style=unit.style), Text(unit.why))
        return table


def rest_bar(settling_ratio: float, width: int = 8) -> str:
    """Draw how far from rest: full when far away, empty at rest (a logarithmic scale up to 100 times)."""
    if not settling_ratio > 1.0:
        return "·" * width
    filled = min(width, max(1, round(width * math.log10(min(settling_ratio, 100.0)) / 2.0)))
    return "▪" * filled + "·" * (width - filled)


def verdict_line(verdict: Verdict) -> Text:
    """Pins, step, value with uncertainty, the limits and where between them, the word; why, if no pass."""
    shape, words, style = SIGNS[verdict.outcome]
    words = verdict_word(verdict)
    pair, value = f"{verdict.pin_a}–{verdict.pin_b}", f"{value_text(verdict):>17}"
    limits, word = f"{limits_text(verdict):<22}", f"{shape} {words}"
    again = "" if verdict.counts else "; again"
    if len(word + again) > LONGEST_WORD:
        again = "" if verdict.counts else f"\n{BELOW}again"
    taken = len(f"  {pair:<6}  {value} {limits} {word}") + (0 if again.startswith("\n") else len(again))
    wide = max(min(STEP_WIDTH, WIDTH - taken), NARROWEST)
    line = Text(f"  {pair:<6} {shortened(verdict.step, wide):<{wide}} {value} ")
    line.append(limits, style="dim").append(f" {word}", style=style).append(again, style="yellow")
    if verdict.counts and (verdict.outcome is not Outcome.PASS or verdict.scope is Scope.CONTINUITY_ONLY):
        line.append(f"\n{BELOW}{reason(verdict)}", style="default")
    return line


def beside_line(event: LeadZero | CheckStandard | TypedResult | Batch | Notice) -> Text:
    """One line of what happens beside the verdicts."""
    match event:
        case LeadZero():
            return Text(f"  leads   {show(event.value_ohm, 'Ω')}, zeroed", style="dim")
        case CheckStandard():
            return check_line(event)
        case TypedResult():
            return typed_line(event)
        case Batch():
            return Text(f"  batch   {batch_text(event)}", style="bold" if event.first_doubt else "dim")
        case Notice():
            return notice_line(event)


def batch_text(batch: Batch) -> str:
    """What was done to a batch, in a few words."""
    units = f", {counted(batch.expected, 'unit')}" if batch.expected else ""
    told = f": {words}" if (words := deed_words(batch)) else ""
    return f"{batch.batch} ({batch.sheet}{units}) {batch.deed.value.replace('_', ' ')}{told}"


def check_line(check: CheckStandard) -> Text:
    """The known resistor as the bench sees it, and whether that may be."""
    value = show(check.reading_ohm, "Ω", check.expanded_ohm)
    line = Text(f"  check standard {check.resistor}: {value}, certified {check.certificate_ohm:g} Ω  ")
    if check.in_control:
        return line.append("● in control", style="bright_blue")
    return line.append("✖ OUT OF CONTROL", style="bold dark_orange")


def typed_line(result: TypedResult) -> Text:
    """A typed result as typed, and what a rule or the person says of it."""
    line = Text(f"  typed   {result.typed}  ")
    if result.outcome is not None:
        shape, words, style = SIGNS[result.outcome]
        line.append(f"{shape} {words}", style=style)
    if result.outcome is not Outcome.PASS or result.stated:
        line.append(f"\n{BELOW}{typed_answer(result)}", style="default")
    return line


def value_text(verdict: Verdict) -> str:
    """Value at the reference temperature with its expanded uncertainty, or that there was none."""
    value, reach = verdict.reference_ohm, verdict.expanded_ohm
    if value is None:
        return "open"
    if not reach:
        return show(value, "Ω")
    digits = max(0, 1 - math.floor(math.log10(reach)))
    return f"{value:.{digits}f} ± {reach:.{digits}f} Ω"


def limits_text(verdict: Verdict) -> str:
    """The limits, and between them the value's place."""
    lower, upper = verdict.lower_ohm, verdict.upper_ohm
    if lower is None and upper is None:
        return ""
    if lower is None or upper is None:
        one = show(upper or lower or 0.0, "Ω", digits=3)
        return f"{'at most' if lower is None else 'at least'} {one}"
    scale = limits_scale(verdict)
    return f"{_bare(lower):>6} {scale} {_bare(upper):<5}" if scale else f"{_bare(lower)} to {_bare(upper)}"


def _bare(ohm: float) -> str:
    """Four digits, and never as a power of ten."""
    return f"{ohm:.0f}" if abs(ohm) >= 1e4 else f"{ohm:.4g}"


def shortened(text: str, width: int) -> str:
    """A text that fits a column."""
    return text if len(text) <= width else text[: width - 1] + "…"


def notice_line(notice: Notice) -> Text:
    """A notice with its severity as the word that is on record; an answer to what was typed without one."""
    if notice.code in ASKED_FOR:
        return Text("\n".join(f"{BELOW}{line}" for line in said(notice).split("\n")))
    style = {Severity.INFO: "dim", Severity.WARNING: "yellow", Severity.STOP: "bold dark_orange"}[
        notice.severity
    ]
    return Text(f"  {notice.severity.value}: ", style=style).append(said(notice), style="default")


def _long(wait_s: float) -> str:
    """A wait as somebody says it, never shortened: minutes up to an hour and a half, then half hours."""
    minutes = max(1, math.ceil(wait_s / 60.0))
    return f"{minutes} min" if minutes <= 90 else f"{math.ceil(minutes / 30) / 2:g} h"
