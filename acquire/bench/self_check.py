"""The self-check of a meter before its verdicts: short, open, a known resistor; until then nothing passes.

Stands between a feed and the daemon. While it is under way, readings stop here, the display asks for the
three contacts in place of what the heart asks for, and a contact that reads wrongly is named. It is owed by
meters whose byte format is known from memory only (`drivers.self_check`), and done for any other whose bench
file states a resistor. Not for the check standard, which watches a bench from day to day.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field

from acquire.bench.intake import Feed
from acquire.clock import Clock
from acquire.files.bench_tables import MeterSettings
from acquire.plausible import fresh
from acquire.records import Ask, Code, Event, Fact, Notice, Prompt, Severity, Why
from acquire.steps.setup_choice import Wanted
from drivers.reading import Kind, Quantity, Reading
from drivers.self_check import AGREEING, CheckStep, fault_of, self_check_steps

HOLDS_S = 24 * 3600.0
"""A check is good for a day, over restarts of the bench: who swaps the meter for another of the same protocol
is found out the next morning. Workshop choice."""

PATIENCE_S = 6.0
"""So long the operator may take for a contact before a wrong reading is called wrong."""

ASKS = {"short": Ask.SHORT_PROBES, "open": Ask.LIFT, "resistor": Ask.CHECK_RESISTOR}
"""What the display asks for at each contact."""

OPEN_AT = 1
"""Place of the contact that is there before anybody has touched anything."""


def mark_of(settings: MeterSettings, software: str) -> str:
    """Twelve digits that are others as soon as link, driver, options or software are.

    Args:
        settings: the meter's table of the bench file.
        software: its name and version; a decoder may change with it.
    """
    facts = [settings.driver, settings.link, settings.id, settings.self_check, settings.options, software]
    return hashlib.sha256(json.dumps(facts, sort_keys=True, default=str).encode()).hexdigest()[:12]


def still_holds(notice: Notice | None, mark: str, now_utc_s: float) -> bool:
    """Whether a check on record is of this meter, and young enough.

    Args:
        notice: the latest that says "passed"; None if there is none.
        mark: of the meter as the bench file describes it now.
        now_utc_s: seconds since 1970.
    """
    if notice is None or notice.code is not Code.SELF_CHECK_PASSED or notice.facts.get("mark") != mark:
        return False
    return fresh(notice.utc_s, now_utc_s, HOLDS_S)


@dataclass(slots=True)
class SelfCheck:
    """The check of one meter, under way or passed.

    Attributes:
        name: of the meter, for people.
        mark: see `mark_of`.
        resistor_ohm: value of the resistor at hand.
        clock: of the bench.
        onward: takes readings once the check is passed.
        onward_wanted: what the heart wants of the meter.
        show: the display behind.
        tell: receives notices.
        heard: called for every reading that stops here.
        passed: True once all three contacts agreed and the probes have left the resistor, which might read
            like a winding.
    """

    name: str
    mark: str
    resistor_ohm: float
    clock: Clock
    onward: Callable[[Reading], Awaitable[None]]
    onward_wanted: Callable[[], Wanted]
    show: Callable[[Event], None]
    tell: Callable[[Notice], Awaitable[None]]
    heard: Callable[[], None] = lambda: None
    passed: bool = False
    _leaving: bool = False
    _at: int = 0
    _recent: list[Reading] = field(default_factory=list)
    _told: set[tuple[object, ...]] = field(default_factory=set)
    _asked_s: float | None = None
    _kept_back: Prompt | None = None
    _read: dict[str, float | None] = field(default_factory=dict)

    @property
    def step(self) -> CheckStep:
        """The contact that is asked for."""
        return self_check_steps(self.resistor_ohm)[self._at]

    def wanted(self) -> Wanted:
        """Function and range for the check, then the heart's."""
        return self.onward_wanted() if self.passed else Wanted(Quantity.RESISTANCE, self.resistor_ohm)

    def lost(self) -> None:
        """The link broke: the contact that was under way counts for nothing; a passed check stays passed."""
        self._recent.clear()

    def display(self, event: Event) -> None:
        """Show an event, but keep the heart's prompts back while the check has prompts of its own."""
        if self.passed or not isinstance(event, Prompt):
            self.show(event)
        else:
            self._kept_back = event

    async def take(self, reading: Reading) -> None:
        """Take one reading: hand it on, or hold it against the contact that is asked for."""
        if self.passed:
            await self.onward(reading)
            return
        self.heard()
        if self._leaving:
            if reading.kind is Kind.OVERLOAD:
                self._hand_over()
            return
        if self._asked_s is None:
            await self._begin(reading)
        self._recent = [*self._recent, reading][-AGREEING:]
        fault = fault_of(self.step, self._recent)
        if fault:
            await self._complain(fault, reading)
        else:
            await self._next(reading)

    async def _begin(self, reading: Reading) -> None:
        await self._say(
            Severity.WARNING, Code.SELF_CHECK_DUE, meter=self.name, resistor_ohm=self.resistor_ohm
        )
        self._ask(reading.monotonic_s)

    def _ask(self, now_s: float) -> None:
        self._asked_s = now_s
        self._recent.clear()
        self._told.clear()
        self._show(ASKS[self.step.name], Why.SELF_CHECK, self._at)

    def _show(self, ask: Ask, why: Why, done: int) -> None:
        total, facts = len(self_check_steps(self.resistor_ohm)), {"resistor_ohm": self.resistor_ohm}
        self.show(Prompt(ask, steps_done=done, steps_total=total, why=why, facts=facts))

    async def _next(self, reading: Reading) -> None:
        """This contact is right."""
        self._read[f"{self.step.name}_ohm"] = reading.value_si
        if self._at + 1 < len(self_check_steps(self.resistor_ohm)):
            self._at += 1
            self._ask(reading.monotonic_s)
            return
        self._leaving = True
        passed: dict[str, Fact] = {"meter": self.name, "mark": self.mark, **self._read}
        await self._say(Severity.INFO, Code.SELF_CHECK_PASSED, **passed)
        self._show(Ask.LIFT, Why.SELF_CHECK_PASSED, self._at + 1)

    def _hand_over(self) -> None:
        self.passed = True
        if self._kept_back is not None:
            self.show(self._kept_back)

    async def _complain(self, fault: str, reading: Reading) -> None:
        """Say what is wrong once the operator had time for the contact, and once for each wrong thing."""
        asked_s = reading.monotonic_s if self._asked_s is None else self._asked_s
        if len(self._recent) < AGREEING or reading.monotonic_s - asked_s < PATIENCE_S:
            return
        decade = None if reading.value_si is None else round(math.log10(max(abs(reading.value_si), 1.0)))
        seen = (reading.quantity, reading.kind, decade)
        if seen in self._told:
            return
        self._told.add(seen)
        before = self_check_steps(self.resistor_ohm)[self._at - 1 if self._at else OPEN_AT]
        waiting = not fault_of(before, self._recent)  # the probes have not been moved yet
        severity = Severity.WARNING if waiting else Severity.STOP
        contact = self.step.name
        await self._say(severity, Code.SELF_CHECK_FAILED, contact=contact, cause=fault, waiting=waiting)

    async def _say(self, severity: Severity, code: Code, **facts: Fact) -> None:
        await self.tell(Notice(severity, code, self.clock.utc_s(), facts=facts))


def stand_before(
    feed: Feed, settings: MeterSettings, mark: str, show: Callable[[Event], None], heard: Callable[[], None]
) -> SelfCheck:
    """Let nothing of a feed through before the check is passed.

    Args:
        feed: of the ohms meter; its ways out are led through the check.
        settings: the meter's table of the bench file, which states the resistor.
        mark: see `mark_of`.
        show: the display; the caller puts the check's own in its place.
        heard: called for every reading that stops at the check.

    Raises:
        ValueError: the resistor is too small to be told from a short, or none is stated.
    """
    if settings.self_check is None or feed.wanted is None:
        raise ValueError("a self-check needs a resistor and a meter that is set")
    self_check_steps(settings.self_check)
    check = SelfCheck(
        feed.name, mark, settings.self_check, feed.clock, feed.take, feed.wanted, show, feed.tell, heard
    )
    lost = feed.lost

    def both_lost() -> None:
        check.lost()
        lost()

    feed.take, feed.wanted, feed.lost = check.take, check.wanted, both_lost
    return check
