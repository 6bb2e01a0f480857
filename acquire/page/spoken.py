"""What an event sounds like: words for the ear, short since they are heard while the hands work, and sounds.

Pure. Not for sentences that are read (wording of the stages), nor for making sounds or speech (browser, say).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

from acquire.choices import FAILING
from acquire.quantity import show
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
    Outcome,
    Pair,
    Prompt,
    Severity,
    UnitResult,
    Verdict,
    Why,
)
from acquire.records.codes import ANOTHER_PAIR
from acquire.words.prompts import asked
from acquire.words.saying import capital
from acquire.words.verdicts import OUTCOME_WORDS, verdict_word


class Sound(StrEnum):
    """What is told by a sound of its own rhythm and pitch."""

    SILENT = ""
    CONTACT = "contact"
    PASS = "pass"  # noqa: S105  (a verdict, not a password)
    CONDITIONAL = "conditional"
    FAIL = "fail"
    NOT_YET = "not_yet"
    NOTHING_FELT = "nothing_felt"
    WRONG_PAIR = "wrong_pair"
    TURN = "turn"
    ATTENTION = "attention"
    UNIT_PASS = "unit_pass"  # noqa: S105
    UNIT_FAIL = "unit_fail"
    DONE = "done"


OF_OUTCOME = {
    Outcome.PASS: Sound.PASS,
    Outcome.CONDITIONAL_PASS: Sound.CONDITIONAL,
    Outcome.CONDITIONAL_FAIL: Sound.CONDITIONAL,
    Outcome.FAIL: Sound.FAIL,
    Outcome.CANNOT_JUDGE: Sound.ATTENTION,
}
"""Sound of each verdict."""


@dataclass(frozen=True, slots=True)
class Cue:
    """Something for the ear.

    Attributes:
        sound: which; SILENT for none.
        say: a few words; empty for none.
        urgent: it ends whatever is being said.
    """

    sound: Sound = Sound.SILENT
    say: str = ""
    urgent: bool = False


def pair_aloud(pair: Pair | None, core: str = "") -> str:
    """Two pins as they are called out: "1 and 2", "6 and core"."""
    if pair is None:
        return ""
    a, b = ("core" if core and pin == core else pin for pin in pair)
    return f"{a} and {b}"


def request_aloud(prompt: Prompt, core: str = "") -> str:
    """What a prompt asks for, in a few words; empty where there is nothing to do."""
    if isinstance(turn_ohm := prompt.facts.get("turn_ohm"), float):
        without = {name: fact for name, fact in prompt.facts.items() if name != "turn_ohm"}
        then = request_aloud(replace(prompt, facts=without), core)
        return f"Dial to {show(turn_ohm, 'ohm', digits=1)}. {then}"
    pins = pair_aloud(prompt.pair, core)
    if prompt.why is Why.SILENT:
        return f"No contact was found on {pins}. Hold both probes on it and press."
    return {
        Ask.START_UNIT: "Next unit.",
        Ask.SHORT_PROBES: "Hold the probes together.",
        Ask.CHECK_RESISTOR: "Check resistor.",
        **({Ask.TOUCH: f"{pins}.", Ask.TOUCH_AGAIN: f"{pins} again."} if pins else {}),
        Ask.LIFT: "Lift.",
        Ask.CLIP_ON: "Clip on the unit.",
    }.get(prompt.ask) or asked(prompt)


def verdict_aloud(verdict: Verdict) -> str:
    """A verdict in a word or two."""
    if verdict.outcome in FAILING and not verdict.counts:
        return "Not passed."
    return f"{capital(verdict_word(verdict))}."


OF_UNIT = {
    Outcome.PASS: Cue(Sound.UNIT_PASS, "Unit passed."),
    **dict.fromkeys(FAILING, Cue(Sound.UNIT_FAIL, "Unit failed.")),
}
"""Cue of each result that is not conditional."""


def done_cue(event: UnitResult | LeadZero | CheckStandard) -> Cue:
    """How a unit or a duty of the bench ended, for the ear."""
    if isinstance(event, LeadZero):
        return Cue(Sound.DONE, "Leads zeroed.", urgent=True)
    if isinstance(event, CheckStandard):
        sound, word = (Sound.DONE, "in") if event.in_control else (Sound.ATTENTION, "out of")
        return Cue(sound, f"Check standard {word} control.", urgent=True)
    if event.outcome is None:
        return Cue(Sound.ATTENTION, "Unit held." if event.wait_s else "Unit not judged.", urgent=True)
    return OF_UNIT.get(event.outcome) or Cue(Sound.CONDITIONAL, f"Unit: {OUTCOME_WORDS[event.outcome]}.")


TOUCHES = frozenset({Ask.TOUCH, Ask.TOUCH_AGAIN, Ask.SHORT_PROBES, Ask.CHECK_RESISTOR})
"""Requests that a contact answers; any other contact makes no sound."""


@dataclass(slots=True)
class AudioCues:
    """Turns events into cues.

    Attributes:
        cues: where they go.
        core: name of the core on the sheet, which is called out as such.
    """

    cues: list[Cue]
    core: str = ""
    _match: Match | None = None
    _called: tuple[object, ...] = ()
    _heard: tuple[object, ...] = ()  # the verdict that was told last

    def stop(self) -> None:
        """Something has come up that stops the bench."""
        self.cues.append(Cue(Sound.ATTENTION, "Stop.", urgent=True))

    def hear(self, event: Event, prompt: Prompt | None, again: Notice | None) -> None:
        """Take one event.

        Args:
            event: as it happens.
            prompt: what was asked for until now.
            again: a pair was just measured again by touch; its verdict follows at once.
        """
        match event:
            case Contact() if not event.goes_on:
                if prompt is not None and prompt.ask in TOUCHES:
                    self.cues.append(Cue(Sound.CONTACT))
            case Match():
                self._match = event
            case Prompt():
                self._prompted(event)
            case Judged():
                self._judged(event.verdict, again)
            case UnitResult() | LeadZero() | CheckStandard():
                self.cues.append(done_cue(event))
            case Notice() if event.code in ANOTHER_PAIR:
                self._wrong_pair(event)
            case Notice() if event.severity is Severity.WARNING:
                self.cues.append(Cue(Sound.ATTENTION))

    def _judged(self, verdict: Verdict, again: Notice | None) -> None:
        pair = Pair(verdict.pin_a, verdict.pin_b)
        heard, self._heard = self._heard, (verdict.serial, pair, verdict.outcome, verdict.counts)
        if verdict.revision and heard == self._heard:
            return  # the probes linger: the same verdict with a little more behind it
        say = verdict_aloud(verdict)
        if again is not None and again.pair == pair:
            say = f"{pair_aloud(pair, self.core)} measured again. {say}"
            self._called = ()  # the request that still stands is called out once more
        not_yet = verdict.outcome in FAILING and not verdict.counts
        sound = Sound.NOT_YET if not_yet else OF_OUTCOME[verdict.outcome]
        self.cues.append(Cue(sound, say, urgent=True))

    def _wrong_pair(self, notice: Notice) -> None:
        asked = pair_aloud(notice.pair, self.core)
        told = self._match is not None and notice.code is Code.PAIR_OTHER
        reads = pair_aloud(self._match.pair, self.core) if told and self._match else ""
        say = f"That reads like {reads}. Touch {asked}." if reads else f"Not clear. {asked} again."
        self.cues.append(Cue(Sound.WRONG_PAIR, say, urgent=True))
        self._called = (Ask.TOUCH_AGAIN, notice.pair, False, False)  # what follows has just been said

    def _prompted(self, prompt: Prompt) -> None:
        silent = prompt.why is Why.SILENT
        turn = "turn_ohm" in prompt.facts
        called = (prompt.ask, prompt.pair, silent, turn)
        if called != self._called:
            self._called = called
            sound = Sound.NOTHING_FELT if silent else Sound.TURN if turn else Sound.SILENT
            self.cues.append(Cue(sound, request_aloud(prompt, self.core)))
