"""What is going on at the bench in one word: touch, settling, at rest, verdict and the like.

Pure. Not for the value itself (contact_view).
"""

from __future__ import annotations

from dataclasses import dataclass

from acquire.records import Ask, Contact, Prompt, Why

PHASES = (
    *("idle", "touch", "settling", "settled", "verdict", "other_pair", "lift"),
    *("duty", "stopped", "lost", "wait", "ended"),
)
"""Every phase."""

SELF_CHECKS = frozenset({Why.SELF_CHECK, Why.SELF_CHECK_PASSED})
DUTIES = frozenset({Ask.SHORT_PROBES, Ask.CHECK_RESISTOR, Ask.CLIP_ON})
"""Requests that are no step of a unit: their text says it all."""


@dataclass(slots=True)
class Phase:
    """Where one contact has got to.

    Attributes:
        touching: the probes are on something.
        settled: the value is at rest; other: it reads like another pair.
        judged: there is a verdict that no later contact, word or question has put away.
        stays: the contact only goes on under another setting of the meter.
        lost: the meter is away.
    """

    touching: bool = False
    settled: bool = False
    judged: bool = False
    other: bool = False
    stays: bool = False
    lost: bool = False

    def touched(self, event: Contact) -> None:
        """A contact has begun, or goes on under another setting of the meter."""
        self.touching, self.stays = True, event.goes_on
        if not event.goes_on:
            self.settled = self.judged = self.other = False

    def lifted(self) -> None:
        """The probes have left; the verdict stays to be read."""
        self.touching = self.settled = self.other = self.stays = False

    def gone(self) -> None:
        """The meter is away, and with it the contact."""
        self.lifted()
        self.lost = True

    def word(self, prompt: Prompt | None, *, stopped: bool, ended: bool) -> str:
        """The phase.

        Args:
            prompt: what is asked for; None before anything was.
            stopped: something says that nothing is judged.
            ended: the last unit's result is still on show.
        """
        if self.lost or stopped:
            return "lost" if self.lost else "stopped"
        if prompt is None or prompt.ask is Ask.START_UNIT:
            return "ended" if ended else "idle"
        if prompt.ask in DUTIES or prompt.why in SELF_CHECKS:
            return "duty"
        if self.judged and prompt.why is not Why.SILENT:
            return "verdict"
        if self.touching:
            known = {"other_pair": self.other, "lift": self.stays, "settled": self.settled}
            return next((word for word, there in known.items() if there), "settling")
        return {Ask.LIFT: "lift", Ask.WAIT: "wait"}.get(prompt.ask, "touch")
