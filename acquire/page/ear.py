"""What an event sounds like: each is told once, and nothing is called out that was just said.

Pure. Not for the words themselves (spoken) nor for making them heard (browser, say).
"""

from __future__ import annotations

from dataclasses import dataclass, field

from acquire.choices import FAILING
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
    Match,
    Notice,
    Pair,
    Prompt,
    UnitResult,
    Verdict,
    Weight,
    Why,
)
from acquire.records.codes import ANOTHER_PAIR, MEASURED_AGAIN

TOUCHES = frozenset({Ask.TOUCH, Ask.TOUCH_AGAIN, Ask.SHORT_PROBES, Ask.CHECK_RESISTOR})
"""Requests that a contact answers; any other contact makes no sound."""


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
    _heard: tuple[object, ...] = ()  # the verdict that was told last
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
            case Contact() if not event.goes_on:
                if self._prompt is not None and self._prompt.ask in TOUCHES:
                    self.cues.append(Cue(Sound.CONTACT))
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

    def _judged(self, verdict: Verdict) -> None:
        pair = Pair(verdict.pin_a, verdict.pin_b)
        heard, self._heard = self._heard, (verdict.serial, pair, verdict.outcome, verdict.counts)
        if verdict.revision and heard == self._heard:
            return  # the probes linger: the same verdict with a little more behind it
        say = verdict_aloud(verdict)
        if self._again is not None and self._again.pair == pair:
            say = f"{pair_aloud(pair, self.core)} measured again. {say}"
            self._called = ()  # the request that still stands is called out once more
        not_yet = verdict.outcome in FAILING and not verdict.counts
        sound = Sound.NOT_YET if not_yet else OF_OUTCOME[verdict.outcome]
        self.cues.append(Cue(sound, say, urgent=True))

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
        self._called = (
            Ask.TOUCH_AGAIN,
            notice.pair,
            False,
            False,
        )  # the request that follows has just been said

    def _prompted(self, prompt: Prompt) -> None:
        self._prompt, self._again = prompt, None
        silent = prompt.why is Why.SILENT
        turn = "turn_ohm" in prompt.facts
        called = (prompt.ask, prompt.pair, silent, turn)
        if called != self._called:
            self._called = called
            sound = Sound.NOTHING_FELT if silent else Sound.TURN if turn else Sound.SILENT
            self.cues.append(Cue(sound, request_aloud(prompt, self.core)))
