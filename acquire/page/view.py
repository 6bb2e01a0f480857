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
from acquire.page.batch_count import BatchCount
from acquire.page.contact_view import ContactView
from acquire.page.drawing import UnitView
from acquire.page.spoken import AudioCues, Cue, request_aloud
from acquire.page.telling import Plain, notice_words, result_words, verdict_words
from acquire.page.warnings import Warnings
from acquire.quantity import show
from acquire.records import (
    Approach,
    Batch,
    Code,
    Contact,
    Event,
    Evidence,
    ImportedResult,
    Judged,
    LiftOff,
    Notice,
    Prompt,
    Recorded,
    Settled,
    Sheet,
    StepKind,
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

LAZY = frozenset({"reading", "rest"})
"""Keys that follow every reading: they may wait a tenth of a second, all others go at once."""


def conditions_words(facts: Facts) -> Plain:
    """When the duties were done last, for a screen of them to ask again; what touches have taught."""
    return {
        "lead_utc_s": facts.lead_utc_s,
        "check_utc_s": facts.check_utc_s,
        "contacts_text": learnt(facts.learned) if facts.learned else "",
    }


EMPTY: Plain = {
    "link": {"ok": None, "text": ""},
    "sheet": None,
    "face": None,
    "circuit": {"branches": []},
    "unit": None,
    "batch": None,
    "ask": None,
    "hint": "",
    "verdict": None,
    "result": None,
    "notes": [],
    "question": None,
    "undoable": False,
    "conditions": conditions_words(Facts(0.0)),
}
"""A bench of which nothing is known."""


@dataclass(slots=True)
class View:
    """One bench, looked at.

    Attributes:
        about: the bench.
        renewed: the whole state must be sent (another sheet).
    """

    about: About
    renewed: bool = False
    _table: PairTable | None = None
    _state: Plain = field(default_factory=dict)
    _changed: set[str] = field(default_factory=set)
    _contact: ContactView = field(default_factory=ContactView)
    _warnings: Warnings = field(default_factory=Warnings)
    _unit: UnitView | None = None
    _left: UnitView | None = None  # the one before, which may come back
    _batch: BatchCount = field(default_factory=lambda: BatchCount(""))
    _prompt: Prompt | None = None
    _ear: AudioCues = field(default_factory=AudioCues)
    _again: Notice | None = None  # a pair was just measured again by touch; its verdict follows at once

    def __post_init__(self) -> None:
        """Nothing is known yet; every key is there."""
        self._set(**EMPTY, bench=self.about.plain(), orders=self.about.orders)
        self._brought_up_to_date()

    # ------------------------------------------------------------------ the sheet

    def on(self, table: PairTable, about: About | None = None) -> None:
        """Work by a sheet: at the start, and whenever its file was changed."""
        self.renewed = self._table is not None
        self._table, self.about = table, about or self.about
        sheet = table.sheet
        self._ear.core = sheet.core
        self._set(
            bench=self.about.plain(),
            orders=self.about.orders,
            sheet={"name": sheet.name, "about": sheet.about, "hash": sheet.content_hash},
            face=drawing.face(sheet),
            circuit=drawing.circuit(sheet),
        )
        self._brought_up_to_date()

    @property
    def sheet(self) -> Sheet | None:
        """The sheet in force."""
        return None if self._table is None else self._table.sheet

    @property
    def batch(self) -> BatchCount:
        """The batch that is shown."""
        return self._batch

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
        if self._warnings.see(reading, wanted):
            self._brought_up_to_date()
        self._set(reading=self._contact.reading)

    def know(self, facts: Facts) -> None:
        """Take the facts of this second."""
        self._contact.quiet(silent=Code.METER_SILENT in facts.due)
        self._set(reading=self._contact.reading)
        self._set(conditions=conditions_words(facts))
        if self._warnings.know(facts):
            self._brought_up_to_date()

    def link(self, *, ok: bool, text: str = "") -> None:
        """Whether the meter's link is there, with a sentence."""
        self._set(link={"ok": ok, "text": text})

    def asks(self, question: Notice | None, *, undoable: bool) -> None:
        """What the bench asks about a scan that waits for a yes, and whether there is something to undo."""
        here = self.serial if self._unit is not None and not self._unit.ended else ""
        words = question and {"text": said(question), "next": asked_about(question), "here": here}
        self._set(undoable=undoable, question=words)

    def count(self, batch: BatchCount) -> None:
        """Take up a batch where the journal left it."""
        self._batch = batch
        self._set(batch=batch.plain() if batch.name else None)

    def resume(self, records: Sequence[Recorded]) -> None:
        """An interrupted unit is back on the bench; take in what the record holds of it, without a sound."""
        for record in records:
            if not isinstance(record, ImportedResult):
                self._take(Judged(record, Evidence()) if isinstance(record, Verdict) else record)
        self._brought_up_to_date()

    def show(self, event: Event) -> None:
        """Take one event of the bench."""
        stopped = self._warnings.stops
        self._warnings.show(event)
        self._ear.hear(event, self._prompt, self._again)
        self._take(event)
        if self._warnings.stops and not stopped:
            self._ear.stop()
        self._brought_up_to_date()

    def _take(self, event: Event) -> None:
        match event:
            case Contact() | Approach() | Settled() | LiftOff():
                self._probes(event)
            case Prompt():
                self._prompted(event)
            case Judged():
                self._verdict(event.verdict)
            case UnitStarted():
                self._begin(event)
            case UnitResult():
                self._end(event)
            case Batch():
                self._batched(event)
            case TypedResult():
                if self._unit is not None and self._unit.started.serial == event.serial:
                    self._unit.take_typed(event)
            case Notice():
                self._noticed(event)

    def _probes(self, event: Contact | Approach | Settled | LiftOff) -> None:
        contact = self._contact
        match event:
            case Contact():
                contact.touched(event)
                self._set(hint="")
            case Approach():
                contact.approach(event)
            case Settled():
                contact.settled(event)
            case LiftOff():
                contact.lifted()

    def _verdict(self, verdict: Verdict) -> None:
        self._contact.judged, self._contact.other = True, False
        words = verdict_words(verdict)
        if self._again is not None and verdict.counts and self._again.pair == (verdict.pin_a, verdict.pin_b):
            words["hint"] = said(self._again)
        self._set(verdict=words, hint="")
        if self._unit is not None:
            self._unit.judged(verdict)

    def _begin(self, started: UnitStarted) -> None:
        steps = [] if self._table is None else drawing.steps(self._table, self.about.purpose)
        self._left, self._contact.judged = self._unit, False
        self._unit = UnitView(started, steps, of=sum(step["kind"] != StepKind.TYPED for step in steps))
        self._set(verdict=None, result=None, hint="")
        if started.batch != self._batch.name:
            self.count(BatchCount(started.batch))

    def _end(self, result: UnitResult) -> None:
        core = "" if self.sheet is None else self.sheet.core
        self._set(result=result_words(result, core), hint="")
        if self._unit is not None:
            self._unit.closed(result)
        if result.batch == self._batch.name:
            self._batch.take(result)
            self._set(batch=self._batch.plain() if self._batch.name else None)

    def _batched(self, event: Batch) -> None:
        if event.batch != self._batch.name:
            self._batch = BatchCount(event.batch)
        self._batch.told(event)
        self._set(batch=self._batch.plain())

    def _noticed(self, notice: Notice) -> None:
        if notice.code in KEPT_ONLY:
            return
        self._set(notes=[notice_words(notice), *self._state.get("notes", [])][:NOTES])
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
            self._set(hint=said(notice))

    def _reopened(self, serial: str) -> None:
        """A unit is back on the bench as it was."""
        if self._left is not None and self._left.started.serial == serial:
            self._unit = self._left
        if self._unit is not None:
            self._unit.ended = False
        self._set(result=None, verdict=None)

    def _prompted(self, prompt: Prompt) -> None:
        self._prompt, self._again = prompt, None
        core = "" if self.sheet is None else self.sheet.core
        if self._unit is not None and not self._unit.ended:
            self._unit.asked(prompt)
        pair = None if prompt.pair is None else list(prompt.pair)
        turn_ohm = prompt.facts.get("turn_ohm")
        self._set(
            ask={
                "kind": prompt.ask.value,
                "text": asked(prompt),
                "plain": prompt.why is Why.NONE and not prompt.facts,
                "say": request_aloud(prompt, core),
                "pair": pair,
                "turn": show(turn_ohm, "Ω", digits=1) if isinstance(turn_ohm, float) else "",
                "step": prompt.step,
                "why": prompt.why.value,
                "serial": prompt.serial,
                "done": prompt.steps_done,
                "of": prompt.steps_total,
            },
        )

    # ------------------------------------------------------------------ out

    def _brought_up_to_date(self) -> None:
        """Keys that follow from several others."""
        ended = bool(self._state.get("result"))
        self._set(
            reading=self._contact.reading,
            warnings=self._warnings.plain(),
            unit=None if self._unit is None else self._unit.plain(),
            rest=self._contact.rest,
            phase=self._contact.word(self._prompt, stopped=self._warnings.stops, ended=ended),
        )

    def _set(self, **values: Any) -> None:
        for key, value in values.items():
            if key not in self._state or self._state[key] != value:
                self._state[key] = value
                self._changed.add(key)

    @property
    def waiting(self) -> bool:
        """Whether something has changed that must go at once."""
        return self.renewed or bool(self._ear.cues) or not self._changed <= LAZY

    @property
    def moving(self) -> bool:
        """Whether something has changed that may wait a moment."""
        return bool(self._changed) or bool(self._contact.fresh) or self._contact.renewed

    def state(self) -> Plain:
        """Everything, with the trace of the contact so far."""
        trace = [[round(s, 4), si] for s, si in self._contact.trace]
        return {**self._state, "trace": trace}

    def forget(self) -> None:
        """Nobody has to be told what has changed: they are given the whole state, or nobody looks."""
        self.renewed = False
        self._changed.clear()
        self._contact.take_points()
        self._ear.take()

    def take_changes(self) -> Plain:
        """The keys that have changed since the last call, each whole."""
        changed, self._changed = self._changed, set()
        return {key: self._state[key] for key in changed}

    def take_points(self) -> Plain | None:
        """The points of the trace since the last call."""
        return self._contact.take_points()

    def sound(self, cue: Cue) -> None:
        """Let something be heard that no event of the bench tells."""
        self._ear.cues.append(cue)

    def take_cues(self) -> list[Cue]:
        """Sounds and words since the last call."""
        return self._ear.take()
