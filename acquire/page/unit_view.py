"""The unit on the bench as the page draws it: its steps, what each gave, how far it has come.

Pure: records in, plain JSON values out. It decides nothing; what counts comes from the records. Not for the
value that is being measured (view).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from acquire.page.drawing import undone
from acquire.page.telling import picked, typed_words, verdict_words
from acquire.records import Code, Notice, Prompt, TypedResult, UnitResult, UnitStarted, Verdict
from acquire.records.codes import MEASURED_AGAIN
from acquire.words.notices import said

Plain = dict[str, Any]


@dataclass(slots=True)
class UnitView:
    """One unit.

    Attributes:
        started: its opening record.
        steps: as `drawing.steps` gives them; changed as the unit goes on.
        done, of: progress as the heart counts it.
        ended: it has its result.
    """

    started: UnitStarted
    steps: list[Plain]
    done: int = 0
    of: int = 0
    ended: bool = False

    def plain(self) -> Plain:
        """For the page."""
        own = picked(self.started, "serial", "batch", "operator", "utc_s")
        steps = [dict(step) for step in self.steps]
        return {**own, "done": self.done, "of": self.of, "steps": steps, "ended": self.ended}

    def asked(self, prompt: Prompt) -> None:
        """The heart asks for a step of this unit."""
        if prompt.steps_total:
            self.done, self.of = prompt.steps_done, prompt.steps_total
        for step in self.steps:
            if step["state"] in ("asked", "again") and step["name"] != prompt.step:
                step["state"] = "waiting" if step["outcome"] is None else "done"
        if prompt.step and prompt.pair is not None:
            step = self._step(prompt.step, prompt.pair)
            step["state"] = "again" if step["word"] else "asked"

    def judged(self, verdict: Verdict) -> None:
        """A verdict of one of its steps."""
        step = self._step(verdict.step, (verdict.pin_a, verdict.pin_b))
        words = verdict_words(verdict)
        step.update(value=words["text"], reason=words["reason"])
        if verdict.counts:
            step.update(state="done", outcome=verdict.outcome.value, word=words["word"])
        else:
            step.update(state="again", outcome=None, word="once more")

    def told(self, notice: Notice) -> None:
        """A notice that changes a step: left out, or asked for again."""
        if notice.pair is None:
            return
        for step in self.steps:
            if tuple(step["pair"]) != tuple(notice.pair):
                continue
            if notice.code is Code.STEP_SKIPPED:
                step.update(state="left_out", outcome=None, word="left out", reason=said(notice))
            elif notice.code is Code.STEP_UNDONE:
                step.update(state="waiting", outcome=None, word="", value="", reason="")
            elif notice.code in MEASURED_AGAIN and step["kind"] != "typed":
                step.update(state="again", outcome=None, word="once more")

    def take_typed(self, result: TypedResult) -> None:
        """A result that was typed in for it."""
        words = typed_words(result)
        for step in self.steps:
            if step["kind"] == "typed" and step["name"] == result.name:
                outcome = words["outcome"]
                step.update(state="done", outcome=outcome, word=words["word"], value=result.typed)

    def closed(self, result: UnitResult) -> None:
        """It has its result; steps that were never done stay as they are."""
        self.ended, self.of = True, result.steps_total
        for step in self.steps:
            if step["state"] in ("asked", "again"):
                step["state"] = "waiting" if step["outcome"] is None else "done"
        self.done = sum(
            step["state"] in ("done", "left_out") and step["kind"] != "typed" for step in self.steps
        )

    def _step(self, name: str, pair: Sequence[str]) -> Plain:
        """The step of this name; one that is not on the sheet (a repetition) is put at the end."""
        for step in self.steps:
            if step["name"] == name:
                return step
        self.steps.append(step := undone(name, pair))
        return step
