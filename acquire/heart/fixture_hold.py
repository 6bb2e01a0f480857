"""What the heart knows of a fixture: whether a unit is clipped in, and how prompts read there.

A fixture takes the place of the hands: relays bring the asked pair to the meter and do not slip, so that a
value is always the asked pair's. Not for relays (`acquire.bench.fixture`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from acquire.records import Ask, FixtureMoved, Prompt, Why


@dataclass(slots=True)
class FixtureHold:
    """The fixture of one bench.

    Attributes:
        standard: pins that the bench's known resistor is wired to; empty where it is held by hand.
        separate_contacts: each bus has contacts of its own, so that leads can be zeroed only through a unit.
        clipped: somebody has said by key that the unit on the bench is in it.
        at: pins that are at the meter; one where its terminals are joined, none with everything open.
    """

    standard: frozenset[str] = frozenset()
    separate_contacts: bool = False
    clipped: bool = False
    at: frozenset[str] = frozenset()

    def moved(self, command: FixtureMoved) -> None:
        """Relays have moved."""
        self.at = frozenset(pin for pin in (command.pin_a, command.pin_b) if pin)

    def fits(self, prompt: Prompt | None) -> bool:
        """Whether the meter is on what is asked for: relays follow a prompt a moment later."""
        if prompt is None:
            return False
        if prompt.ask is Ask.SHORT_PROBES:
            return len(self.at) == 1
        if prompt.ask is Ask.CHECK_RESISTOR:
            return self.at == self.standard  # held by hand, it is at the meter with every relay open
        return prompt.pair is not None and self.at == frozenset(prompt.pair)

    def emptied(self) -> bool:
        """Another unit begins; gives True, for there is a fixture."""
        self.clipped = False
        return True

    def clip_on(self) -> bool:
        """The key was pressed; whether that says that the unit is in now, and not something else."""
        before, self.clipped = self.clipped, True
        return not before

    def prompt(self, prompt: Prompt) -> Prompt:
        """The same request as somebody in front of a fixture needs to read it."""
        if prompt.serial and not self.clipped:
            return replace(prompt, ask=Ask.CLIP_ON, why=Why.FIXTURE, pair=None, step="", times=0, facts={})
        if prompt.ask is Ask.SHORT_PROBES and not prompt.serial and self.separate_contacts:
            return replace(prompt, ask=Ask.START_UNIT, why=Why.CLIP_FIRST)
        if prompt.ask is Ask.SHORT_PROBES:
            return replace(prompt, why=Why.FIXTURE)
        if prompt.pair is None:
            return prompt
        times = int(prompt.ask is Ask.TOUCH_AGAIN)
        return replace(prompt, why=Why.FIXTURE, times=times, facts={})
