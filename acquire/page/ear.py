"""What an event sounds like: each is told once, and nothing is called out that was just said.

Pure. Not for the words themselves (spoken) nor for making them heard (browser, say).
"""

from __future__ import annotations

from dataclasses import dataclass, field

from acquire.page.spoken import (
    OF_OUTCOME,
    Cue,
    Sound,
    pair_aloud,
    request_aloud,
    result_cue,
    verdict_aloud,
)
from acquire.records import (
    Ask,
    CheckStandard,
    Code,
    Contact,
    Event,
    Judged,
    LeadZero,
    LiftOff,
    Match,
    Notice,
    Pair,
    Prompt,
    UnitResult,
    Verdict,
    Weight,
)
from acquire.records.codes import ANOTHER_PAIR, MEASURED_AGAIN

TOUCHES = frozenset({Ask.TOUCH, Ask.TOUCH_AGAIN, Ask.SHORT_PROBES, Ask.CHECK_RESISTOR})
"""Requests that a contact answers; any other contact makes no sound."""


NO_HAND_S = 0.1
"""A contact so soon after a lift-off is no hand's doing: the meter was set anew under the probes."""


def set_anew(lifted_s: float, contact: Contact) -> bool:
    """Whether a contact only goes on under another setting of the meter.

    Args:
        lifted_s: monotonic time of the lift-off before it.
        contact: what follows.
    """
    return contact.monotonic_s - lifted_s < NO_HAND_S


@dataclass(slots=True)
class Ear:
    """Turns events into cues.

    Attributes:
        core: name of the core on the sheet, which is called out as such.
        cues: since the last `take`.
    """

    core: str = ""
    cues: list[Cue] = field(default_factory=list)
    _prompt: Prompt | None = None
    _match: Match | None = None
    _called: tuple[object, ...] = ()
    _lifted_s: float = float("-inf")
    _again: Notice | None = None  # a pair was just measured again by touch; its verdict follows at once

    def take(self) -> list[Cue]:
        """Sounds and words since the last call."""
        cues, self.cues = self.cues, []
        return cues

    def stop(self) -> None:
        """Something has come up that stops the bench."""
        self.cues.append(Cue(Sound.ATTENTION, "Stop.", urgent=True))

    def hear(self, event: Event) -> None:
        """Take one event."""
        match event:
            case LiftOff() | Contact():
                self._probes(event)
            case Match():
                self._match = event
            case Prompt():
                self._prompted(event)
            case Judged():
                self._judged(event.verdict)
            case UnitResult():
                self.cues.append(result_cue(event))
            case LeadZero():
                self.cues.append(Cue(Sound.DONE, "Leads zeroed.", urgent=True))
            case CheckStandard():
                self._checked(event)
            case Notice():
                self._noticed(event)

    def _probes(self, event: LiftOff | Contact) -> None:
        if isinstance(event, LiftOff):
            self._lifted_s = event.monotonic_s
            return
        wanted = self._prompt is not None and self._prompt.ask in TOUCHES
        if wanted and not set_anew(self._lifted_s, event):
            self.cues.append(Cue(Sound.CONTACT))

    def _judged(self, verdict: Verdict) -> None:
        say = verdict_aloud(verdict)
        pair = Pair(verdict.pin_a, verdict.pin_b)
        if self._again is not None and self._again.pair == pair:
            say = f"{pair_aloud(pair, self.core)} measured again. {say}"
            self._called = ()  # the request that still stands is called out once more
        self.cues.append(Cue(OF_OUTCOME[verdict.outcome], say, urgent=True))

    def _checked(self, check: CheckStandard) -> None:
        if check.in_control:
            self.cues.append(Cue(Sound.DONE, "Check standard in control.", urgent=True))
        else:
            self.cues.append(Cue(Sound.ATTENTION, "Check standard out of control.", urgent=True))

    def _noticed(self, notice: Notice) -> None:
        if notice.code in MEASURED_AGAIN:
            self._again = notice
        if notice.code in ANOTHER_PAIR:
            self._wrong_pair(notice)
        elif notice.weight is Weight.WARNING:
            self.cues.append(Cue(Sound.ATTENTION))

    def _wrong_pair(self, notice: Notice) -> None:
        asked = pair_aloud(notice.pair, self.core)
        told = self._match is not None and notice.code is Code.PAIR_OTHER
        reads = pair_aloud(self._match.pair, self.core) if told and self._match else ""
        say = f"That reads like {reads}. Touch {asked}." if reads else f"Not clear. {asked} again."
        self.cues.append(Cue(Sound.WRONG_PAIR, say, urgent=True))
        self._called = (Ask.TOUCH_AGAIN, notice.pair)  # the request that follows has just been said

    def _prompted(self, prompt: Prompt) -> None:
        self._prompt, self._again = prompt, None
        called = (prompt.ask, prompt.pair)
        if called != self._called:
            self._called = called
            self.cues.append(Cue(say=request_aloud(prompt, self.core)))
