"""What speaks against the bench just now, heaviest first; each goes away when its cause does.

Causes are of three sorts: signs on the meter's display (with every reading), facts of the bench (once a
second), and notices that another event takes back. Pure. Not for the log of all notices (view).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from acquire.heart.watch import SIGNS
from acquire.page.facts import Facts
from acquire.records import Batch, Event, Judged, LeadZero, Notice, UnitResult, UnitStarted, Weight
from drivers.reading import OHMS, Kind, Quantity, Reading

Plain = dict[str, Any]

SILENT_S = 3.0
"""A meter without a reading for so long is told; slower ones send every two seconds at most."""

FADES_S = 8.0
"""So long the answer to a refused order stays."""

PATIENCE_S = 10.0
"""So long after the start a thermometer may take before its silence is told."""

RESTED_S = 3600.0
"""So long a unit that has rested is called back."""

HEAVIEST_FIRST = (Weight.STOP, Weight.WARNING, Weight.REMARK)

TAKEN_BACK: dict[str, frozenset[str]] = {
    "meter.lost": frozenset({"meter.back"}),
    "thermometer.lost": frozenset({"thermometer.back"}),
    "scanner.lost": frozenset({"scanner.back"}),
    "scanner.refused": frozenset(),
    "journal.unusable": frozenset({"journal.usable"}),
    "files.refused": frozenset({"files.taken", "files.same", "files.waiting"}),
    "files.waiting": frozenset({"files.taken", "files.same", "files.refused"}),
    "self_check.due": frozenset({"self_check.passed"}),
    "self_check.failed": frozenset({"self_check.passed"}),
    "leads.implausible": frozenset(),
    "leads.moved": frozenset(),
    "meter.refused": frozenset(),
    "meter.turn": frozenset(),
    "meter.range": frozenset(),
    "meter.range_low": frozenset(),
    "meter.frozen": frozenset(),
    "meter.unstated": frozenset(),
    "unit.dropped": frozenset(),
    "clock.set_back": frozenset(),
    "check.other": frozenset(),
    "check.overridden": frozenset(),
}
"""Notices that stand as warnings, and the notices that take each back; see `ENDED_BY` for other events."""

ENDED_BY: tuple[tuple[type, frozenset[str]], ...] = (
    (
        Judged,
        frozenset(
            {
                "meter.refused",
                "meter.turn",
                "meter.range",
                "meter.range_low",
                "meter.frozen",
                "meter.unstated",
            }
        ),
    ),
    (LeadZero, frozenset({"leads.implausible"})),
    (UnitStarted, frozenset({"leads.moved", "unit.dropped", "clock.set_back", "scanner.refused"})),
)
"""Events that end a warning: what it warned of is over, or has been dealt with."""

SHORT_LIVED = frozenset({"command.refused", "command.unknown", "scanner.refused", "check.other"})
"""Notices that only answer what somebody has just done."""


@dataclass(frozen=True, slots=True)
class Concern:
    """One warning.

    Attributes:
        code: stable short name.
        since_utc_s: when its cause came up; until_utc_s: when it ends by itself, None where it does not.
        remedy: an order that would end it, with its label; None where there is none.
    """

    code: str
    weight: Weight
    text: str
    since_utc_s: float
    until_utc_s: float | None = None
    remedy: Mapping[str, str] | None = None

    def plain(self) -> Plain:
        """For the page."""
        return {
            "code": self.code,
            "weight": self.weight.value,
            "text": self.text,
            "since_utc_s": self.since_utc_s,
            "until_utc_s": self.until_utc_s,
            "remedy": None if self.remedy is None else dict(self.remedy),
        }


ZERO = {"command": "zero_leads", "label": "Zero the leads now"}
CHECK = {"command": "check_meter", "label": "Measure the check standard now"}


@dataclass(slots=True)
class Warnings:
    """All warnings of one bench, by name."""

    _now: dict[str, Concern] = field(default_factory=dict)
    _fading: dict[str, float] = field(default_factory=dict)
    _began_s: float | None = None

    def plain(self) -> list[Plain]:
        """For the page, heaviest first, then in the order in which they came up."""
        ordered = sorted(self._now.values(), key=lambda w: (HEAVIEST_FIRST.index(w.weight), w.since_utc_s))
        return [warning.plain() for warning in ordered]

    @property
    def stops(self) -> bool:
        """Whether one of them says that nothing is judged."""
        return any(warning.weight is Weight.STOP for warning in self._now.values())

    # ------------------------------------------------------------------ events

    def show(self, event: Event) -> None:
        """Take one event."""
        for kind, codes in ENDED_BY:
            if isinstance(event, kind):
                self._end(codes)
        match event:
            case Notice():
                self._noticed(event)
            case UnitResult() if event.wait_s is not None and not event.revision:
                self._warm(event, event.utc_s + event.wait_s)
            case Batch():
                text, there = event.doubt, bool(event.doubt)
                self._hold("batch.first_unit", Weight.WARNING, text, event.utc_s, there=there)
            case UnitStarted():
                self._end((f"part.warm {event.serial}",))

    def _warm(self, result: UnitResult, until_s: float) -> None:
        text = f"{result.serial} is still warm. It can be measured when it has rested."
        concern = Concern("part.warm", Weight.WARNING, text, result.utc_s, until_s)
        self._put(concern, f"part.warm {result.serial}")

    def _noticed(self, notice: Notice) -> None:
        self._end(code for code, ends in TAKEN_BACK.items() if notice.code in ends)
        if notice.code not in TAKEN_BACK and notice.code not in SHORT_LIVED:
            return
        self._put(Concern(notice.code, notice.weight, notice.text, notice.utc_s))
        if notice.code in SHORT_LIVED:
            self._fading[notice.code] = notice.utc_s + FADES_S

    # ------------------------------------------------------------------ readings

    def see(self, reading: Reading, wanted: Quantity) -> bool:
        """Take the signs of one reading of the ohms meter.

        Returns:
            Whether anything has changed.
        """
        before = dict(self._now)
        self._end(("meter.lost", "meter.silent"))
        for flag, (code, text) in SIGNS.items():
            self._hold(code, Weight.WARNING, text, reading.utc_s, there=flag in reading.flags)
        wrong = wanted in OHMS and reading.quantity not in OHMS and reading.kind is not Kind.NO_READING
        name = reading.quantity.value.replace("_", " ")
        text = f"The meter is on {name}: set it to ohms."
        self._hold("meter.function", Weight.WARNING, text, reading.utc_s, there=wrong)
        return self._now != before

    # ------------------------------------------------------------------ facts

    def know(self, facts: Facts) -> bool:
        """Take the facts of this second.

        Returns:
            Whether anything has changed.
        """
        before = dict(self._now)
        now_s = facts.utc_s
        self._fade(now_s)
        self._rest(now_s)
        silent = facts.meter_silence_s is not None and facts.meter_silence_s > SILENT_S
        text = "The meter has been silent for some seconds."
        there = silent and "meter.lost" not in self._now
        self._hold("meter.silent", Weight.WARNING, text, now_s, there=there)
        text = "The journal cannot be written: verdicts wait, none is lost."
        there = facts.halted and "journal.unusable" not in self._now
        self._hold("journal.halted", Weight.STOP, text, now_s, there=there)
        if not facts.halted:
            self._end(("journal.unusable",))
        self._of_conditions(facts)
        self._of_check(facts)
        self._of_outlets(facts)
        return self._now != before

    def _of_conditions(self, facts: Facts) -> None:
        now_s = facts.utc_s
        lead = facts.lead_wanted and facts.lead_due
        text = "The leads have not been zeroed: low ohms cannot be judged well."
        self._hold("leads.none", Weight.WARNING, text, now_s, there=lead and facts.lead is None, remedy=ZERO)
        text = "The lead zero is old."
        self._hold(
            "leads.old", Weight.WARNING, text, now_s, there=lead and facts.lead is not None, remedy=ZERO
        )
        self._began_s = now_s if self._began_s is None else self._began_s
        missing = facts.celsius is None and now_s - self._began_s > PATIENCE_S
        text = "There is no temperature: verdicts wait. Check the thermometer or type one in."
        self._hold(
            "temperature.missing", Weight.STOP, text, now_s, there=missing and not facts.temperature_known
        )
        text = "The temperature is too old: verdicts wait. Check the thermometer or type one in."
        self._hold("temperature.old", Weight.STOP, text, now_s, there=missing and facts.temperature_known)
        self._hold("calibration.due", Weight.WARNING, facts.calibration, now_s, there=bool(facts.calibration))

    def _of_check(self, facts: Facts) -> None:
        name, now_s = facts.check_name, facts.utc_s
        text = f"The check standard {name} is out of control: clean the probes, zero the leads, repeat it."
        self._hold(
            "check.out", Weight.STOP, text, now_s, there=bool(name) and facts.check_blocked, remedy=CHECK
        )
        text = f"The check standard {name} is due."
        there = bool(name) and facts.check_due and not facts.check_blocked
        self._hold("check.due", Weight.WARNING, text, now_s, there=there, remedy=CHECK)

    def _of_outlets(self, facts: Facts) -> None:
        failing = {f"outlet.failing {name}": f"{name} waits: {why}" for name, why in facts.failing}
        gone = [key for key in self._now if key.startswith("outlet.failing ") and key not in failing]
        self._end(gone)
        for key, text in failing.items():
            self._put(Concern("outlet.failing", Weight.WARNING, text, facts.utc_s), key)

    def _fade(self, now_s: float) -> None:
        over = [code for code, until_s in self._fading.items() if now_s >= until_s]
        for code in over:
            del self._fading[code]
        self._end(over)

    def _rest(self, now_s: float) -> None:
        """A unit whose countdown has run out may come back; after a while nobody waits for it any more."""
        for key, warning in list(self._now.items()):
            if warning.code != "part.warm":
                continue
            since_s = warning.until_utc_s if warning.until_utc_s is not None else warning.since_utc_s
            if warning.until_utc_s is not None and now_s >= since_s:
                serial = key.partition(" ")[2]
                text = f"{serial} has rested: it can be measured again."
                self._end((key,))
                self._put(Concern("part.warm", Weight.REMARK, text, since_s), key)
            elif warning.until_utc_s is None and now_s >= since_s + RESTED_S:
                self._end((key,))

    # ------------------------------------------------------------------ the list

    def _hold(
        self,
        code: str,
        weight: Weight,
        text: str,
        utc_s: float,
        *,
        there: bool,
        remedy: Mapping[str, str] | None = None,
    ) -> None:
        """Keep a warning as long as its cause is there."""
        if there:
            self._put(Concern(code, weight, text, utc_s, remedy=remedy))
        else:
            self._end((code,))

    def _put(self, concern: Concern, key: str = "") -> None:
        """Add a warning; one that is there keeps its time.

        Args:
            concern: the warning.
            key: where there may be several of its code; left out, the code.
        """
        key = key or concern.code
        known = self._now.get(key)
        if known is not None and (known.text, known.weight) == (concern.text, concern.weight):
            return
        since_s = concern.since_utc_s if known is None else known.since_utc_s
        self._now[key] = replace(concern, since_utc_s=since_s)

    def _end(self, keys: Iterable[str]) -> None:
        for key in keys:
            self._now.pop(key, None)
