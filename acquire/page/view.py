"""The bench as a page shows it: events, readings and facts go in; the state and what has changed come out.

Sans-I/O like the heart: it opens nothing, waits for nothing, and knows the time only from what it is given.
Everything in the state is plain JSON and data, never markup. Not for how it travels (stream, app).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from acquire.heart.serials import asked_about
from acquire.page import drawing
from acquire.page.backend import About, Facts
from acquire.page.contact_view import ContactView
from acquire.page.drawing import UnitView
from acquire.page.spoken import AudioCues, Cue
from acquire.page.telling import Plain, notice_words, picked, result_words, verdict_words
from acquire.page.warnings import Warnings
from acquire.quantity import show
from acquire.records import (
    Approach,
    CheckStandard,
    Code,
    Contact,
    Event,
    Evidence,
    ImportedResult,
    Judged,
    LeadZero,
    LiftOff,
    Notice,
    Prompt,
    Recorded,
    Settled,
    Sheet,
    TypedResult,
    UnitResult,
    UnitStarted,
    Verdict,
    Why,
)
from acquire.records.codes import ANOTHER_PAIR, KEPT_ONLY, MEASURED_AGAIN
from acquire.steps.pairs import PairTable
from acquire.words.notices import said
from acquire.words.prompts import asked
from acquire.words.settling import learnt
from drivers.reading import Quantity, Reading

NOTES = 30
"""Notices kept for the log."""

PUT_AWAY = (
    frozenset({Code.STEP_AGAIN, Code.STEP_MOVED, Code.STEP_SKIPPED, Code.STEP_UNDONE, Code.UNIT_REOPENED})
    | ANOTHER_PAIR
)
"""Notices after which the verdict before is shown no more."""


@dataclass(slots=True)
class BenchView:
    """One bench, looked at.

    Attributes:
        about: the bench.
        serial: of the unit on the bench, or the last one.
        cues: sounds and words that nobody has taken yet.
    """

    about: About
    cues: list[Cue] = field(default_factory=list)
    _table: PairTable | None = None
    _words: Plain = field(default_factory=dict)
    _known: Plain = field(default_factory=dict)  # the state as it was told last
    _contact: ContactView = field(default_factory=ContactView)
    _warnings: Warnings = field(default_factory=Warnings)
    _unit: UnitView | None = None
    _left: UnitView | None = None  # the one before, which may come back
    _prompt: Prompt | None = None
    _ear: AudioCues = field(init=False)
    _again: Notice | None = None  # a pair was just measured again by touch; its verdict follows at once

    def __post_init__(self) -> None:
        """Nothing is known yet; every key is there."""
        self._ear = AudioCues(self.cues)
        nothing = dict.fromkeys(("sheet", "face", "batch", "ask", "verdict", "result", "question"))
        self._say(**nothing, circuit={"branches": []}, hint="", notes=[], undoable=False)
        self._say(bench=self.about.plain(), orders=self.about.orders)
        self.link(ok=None)
        self._facts(Facts(0.0))

    def _say(self, **words: Any) -> None:
        self._words |= words

    # ------------------------------------------------------------------ the sheet

    def on(self, table: PairTable, about: About | None = None) -> None:
        """Work by a sheet: at the start, and whenever its file was changed."""
        self._table, self.about = table, about or self.about
        sheet = table.sheet
        self._ear.core = sheet.core
        self._say(
            sheet=picked(sheet, "name", "content_hash"),
            face=drawing.face(sheet),
            circuit=drawing.circuit(sheet),
        )
        self._say(bench=self.about.plain(), orders=self.about.orders)

    @property
    def sheet(self) -> Sheet | None:
        """The sheet in force."""
        return None if self._table is None else self._table.sheet

    @property
    def serial(self) -> str:
        """Of the unit on the bench, or the last one."""
        return "" if self._unit is None else self._unit.started.serial

    # ------------------------------------------------------------------ in

    def see(self, reading: Reading, wanted: Quantity) -> None:
        """Take a reading of the ohms meter.

        Args:
            reading: as it came in.
            wanted: what the meter should measure now.
        """
        self.link(ok=True)
        self._contact.see(reading)
        self._warnings.see(reading, wanted)

    def know(self, facts: Facts) -> None:
        """Take the facts of this second."""
        self._contact.quiet(silent=any(each.code is Code.METER_SILENT for each in facts.due))
        self._warnings.know(facts)
        self._facts(facts)

    def _facts(self, facts: Facts) -> None:
        taught = learnt(facts.learned) if facts.learned else ""
        done = {"lead_utc_s": facts.lead_utc_s, "check_utc_s": facts.check_utc_s, "contacts_text": taught}
        self._say(conditions=done)

    def link(self, *, ok: bool | None, text: str = "") -> None:
        """Whether the meter's link is there, with a sentence."""
        self._say(link={"ok": ok, "text": text})

    def asks(self, question: Notice | None, *, undoable: bool) -> None:
        """What the bench asks about a scan that waits for a yes, and whether there is something to undo."""
        here = self.serial if self._unit is not None and not self._unit.ended else ""
        words = question and {"text": said(question), "next": asked_about(question), "here": here}
        self._say(undoable=undoable, question=words)

    def count(self, batch: Plain | None) -> None:
        """How far the batch has come that units belong to; None where they belong to none."""
        self._say(batch=batch)

    def resume(self, records: Sequence[Recorded]) -> None:
        """An interrupted unit is back on the bench; take in what the record holds of it, without a sound."""
        for record in records:
            if not isinstance(record, ImportedResult):
                self._take(Judged(record, Evidence()) if isinstance(record, Verdict) else record)

    def show(self, event: Event) -> None:
        """Take one event of the bench."""
        stopped = self._warnings.stops
        self._warnings.show(event)
        self._ear.hear(event, self._prompt, self._again)
        self._take(event)
        if self._warnings.stops and not stopped:
            self._ear.stop()

    def _take(self, event: Event) -> None:
        match event:
            case Contact() | Approach() | Settled() | LiftOff() | LeadZero() | CheckStandard():
                self._contact.show(event)
                self._say(**({"hint": ""} if isinstance(event, Contact) else {}))
            case Prompt():
                self._prompted(event)
            case Judged():
                self._verdict(event.verdict)
            case UnitStarted():
                steps = [] if self._table is None else drawing.steps(self._table, self.about.purpose)
                self._left, self._contact.judged = self._unit, False
                self._unit = UnitView(event, steps)
                self._say(verdict=None, result=None, hint="")
            case UnitResult():
                self._say(result=result_words(event), hint="")
                if self._unit is not None:
                    self._unit.closed(event)
            case TypedResult():
                if self._unit is not None and self._unit.started.serial == event.serial:
                    self._unit.take_typed(event)
            case Notice() if event.code not in KEPT_ONLY:
                self._noticed(event)

    def _verdict(self, verdict: Verdict) -> None:
        self._contact.judged, self._contact.other = True, False
        words = verdict_words(verdict)
        if self._again is not None and verdict.counts and self._again.pair == (verdict.pin_a, verdict.pin_b):
            words["hint"] = said(self._again)
        self._say(verdict=words, hint="")
        if self._unit is not None:
            self._unit.judged(verdict)

    def _noticed(self, notice: Notice) -> None:
        self._say(notes=[notice_words(notice), *self._words["notes"]][:NOTES])
        if notice.code is Code.UNIT_REOPENED:
            self._reopened(notice.serial)
        if self._unit is not None and not self._unit.ended:
            self._unit.told(notice)
        if notice.code in MEASURED_AGAIN:
            self._again = notice
        if notice.code in PUT_AWAY:
            self._contact.judged = False
        if notice.code is Code.METER_LOST:
            self._contact.gone()
            self.link(ok=False, text=said(notice))
        if notice.code is Code.METER_BACK:
            self._contact.lost = False
        if notice.code in ANOTHER_PAIR:
            self._contact.other = True
        if notice.code in ANOTHER_PAIR or notice.code is Code.PROBES_NOT_LIFTED:
            self._say(hint=said(notice))

    def _reopened(self, serial: str) -> None:
        """A unit is back on the bench as it was."""
        if self._left is not None and self._left.started.serial == serial:
            self._unit = self._left
        if self._unit is not None:
            self._unit.ended = False
        self._say(result=None, verdict=None)

    def _prompted(self, prompt: Prompt) -> None:
        self._prompt, self._again = prompt, None
        if self._unit is not None and not self._unit.ended:
            self._unit.asked(prompt)
        turn_ohm = prompt.facts.get("turn_ohm")
        self._say(
            ask={
                "kind": prompt.ask.value,
                "text": asked(prompt),
                "plain": prompt.why is Why.NONE and not prompt.facts,
                "turn": show(turn_ohm, "Ω", digits=1) if isinstance(turn_ohm, float) else "",
                **picked(prompt, "serial", "pair", "step", "steps_done", "why"),
            },
        )

    # ------------------------------------------------------------------ out

    def state(self) -> Plain:
        """Everything, with the trace of the contact so far."""
        return {**self._now(), "trace": [[round(s, 4), si] for s, si in self._contact.trace]}

    def _now(self) -> Plain:
        ended = bool(self._words["result"])
        return {
            **self._words,
            "reading": self._contact.reading,
            "warnings": self._warnings.plain(),
            "unit": self._unit and self._unit.plain(),
            "rest": self._contact.rest,
            "phase": self._contact.word(self._prompt, stopped=self._warnings.stops, ended=ended),
        }

    @property
    def changes(self) -> Plain:
        """The keys that have changed since they were taken last, each whole."""
        known = self._known
        return {key: value for key, value in self._now().items() if key not in known or known[key] != value}

    def take_changes(self) -> Plain:
        """The changes, which are known from now on."""
        changes = self.changes
        self._known |= changes
        return changes

    @property
    def moving(self) -> bool:
        """Whether there are points of the trace to take."""
        return bool(self._contact.fresh) or self._contact.renewed

    def take_points(self) -> Plain | None:
        """The points of the trace since the last call."""
        return self._contact.take_points()

    def take_cues(self) -> list[Cue]:
        """Sounds and words since the last call."""
        cues = self.cues.copy()
        self.cues.clear()
        return cues

    def hush(self) -> None:
        """Nobody looks: whoever comes is given the whole state."""
        self.cues.clear()
        self._contact.take_points()
