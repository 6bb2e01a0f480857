"""What is going on at the bench in one word: touch, settling, at rest, verdict and the like.

Pure. Not for the value itself (contact_view).
"""

from __future__ import annotations

from dataclasses import dataclass

from acquire.page.ear import set_anew
from acquire.records import Ask, Contact, LiftOff, Prompt, Why

PHASE_WORDS = {
    "idle": "next unit",
    "touch": "touch",
    "settling": "settling",
    "settled": "at rest",
    "verdict": "verdict",
    "other_pair": "other pair",
    "lift": "lift",
    "duty": "bench duty",
    "stopped": "stopped",
    "lost": "meter lost",
    "wait": "wait",
    "ended": "unit done",
}
"""Every phase, in the words that people read."""

SELF_CHECKS = frozenset({Why.SELF_CHECK, Why.SELF_CHECK_PASSED})
DUTIES = frozenset({Ask.SHORT_PROBES, Ask.CHECK_RESISTOR, Ask.CLIP_ON})
"""Requests that are no step of a unit: their text says it all."""


@dataclass(slots=True)
class Phase:
    """Where one contact has got to.

    Attributes:
        touching: the probes are on something.
        settled: the value is at rest; judged: it has its verdict; other: it reads like another pair.
        stays: the contact only goes on under another setting of the meter.
        lost: the meter is away.
    """

    touching: bool = False
    settled: bool = False
    judged: bool = False
    other: bool = False
    stays: bool = False
    lost: bool = False
    _lifted_s: float = float("-inf")

    def touched(self, event: Contact) -> None:
        """A contact has begun."""
        self._anew(touching=True)
        self.stays = set_anew(self._lifted_s, event)

    def lifted(self, event: LiftOff) -> None:
        """The probes have left."""
        self._anew(touching=False)
        self._lifted_s = event.monotonic_s

    def gone(self) -> None:
        """The meter is away, and with it the contact."""
        self._anew(touching=False)
        self.lost = True

    def _anew(self, *, touching: bool) -> None:
        self.touching = touching
        self.settled = self.judged = self.other = self.stays = False

    def word(self, prompt: Prompt | None, *, stopped: bool, ended: bool) -> str:
        """The phase.

        Args:
            prompt: what is asked for; None before anything was.
            stopped: something says that nothing is judged.
            ended: the last unit's result is still on show.
        """
        if self.lost:
            return "lost"
        if stopped:
            return "stopped"
        if prompt is None or prompt.ask is Ask.START_UNIT:
            return "ended" if ended else "idle"
        if prompt.ask in DUTIES or prompt.why in SELF_CHECKS:
            return "duty"
        if self.touching:
            return self._of_contact()
        return {Ask.LIFT: "lift", Ask.WAIT: "wait", Ask.TURN_DIAL: "wait"}.get(prompt.ask, "touch")

    def _of_contact(self) -> str:
        if self.judged:
            return "verdict"
        if self.other:
            return "other_pair"
        if self.stays:
            return "lift"
        return "settled" if self.settled else "settling"
