"""Questions of the page to the record: a unit, a serial's visits, latest units, lead zeros, check standard.

Each opens the journal for reading, answers and closes it; they block, so they are asked in a thread
(background). Not for statistics of a batch (batch_read) nor for what is going on now (view).
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from acquire.errors import InputImpossible
from acquire.journal.history import JournalReader
from acquire.journal.question import OF_A_STAY, Question
from acquire.page.behind import Unknown
from acquire.page.telling import notice_words, number, result_words, typed_words, verdict_words, zero_words
from acquire.quantity import show
from acquire.records import CheckStandard, LeadZero, UnitResult, UnitStarted
from acquire.unit_result import ended_s, stays_of
from acquire.words.beside import check_text
from acquire.words.units import result_words as ended_words

if TYPE_CHECKING:
    from acquire.reports.visits import Visit

Plain = dict[str, Any]

MOST_UNITS = 200
"""Of the list of the latest units."""

MOST_READINGS = 200
"""Of lead zeros and check standards."""


@dataclass(frozen=True, slots=True)
class Past:
    """The record of one bench.

    Attributes:
        folder: of its journal.
        bench: its name.
        core: name of the core on the sheet in force.
    """

    folder: Path
    bench: str
    core: str = ""

    def questions(self) -> dict[str, Callable[[dict[str, str]], Plain]]:
        """What can be asked, by path."""
        return {
            "/unit": self.unit,
            "/history": self.history,
            "/units": self.units,
            "/check": self.check,
            "/leads": self.leads,
            "/code": self.code,
        }

    # ------------------------------------------------------------------ units

    def unit(self, words: dict[str, str]) -> Plain:
        """The latest visit of a unit: verdicts with their traces, result, diagnosis."""
        with self._opened(_serial(words)) as (_, visits):
            visit = visits[-1]
        verdicts = []
        for each in visit.values:
            evidence = each.evidence
            points = [[round(s, 3), si] for s, si in (evidence.trace if evidence else ())]
            verdicts.append({**verdict_words(each.verdict), "id": each.id, "trace": points})
        return {
            **self._head(visit),
            "verdicts": verdicts,
            "typed": [typed_words(each.record) for each in visit.typed],
            "notes": [notice_words(each.record) for each in visit.notices],
            "ongoing": visit.result is None,
        }

    def history(self, words: dict[str, str]) -> Plain:
        """All visits of a serial, and the first judged one against the latest."""
        from acquire.page.then_and_now import compared  # noqa: PLC0415  (reports are loaded when first asked for)

        told, serial = [], _serial(words)
        with self._opened(serial) as (reader, visits):
            both = compared(reader, serial, visits)
        for visit in visits:
            verdicts = [verdict_words(each.verdict) for each in visit.deciding().values()]
            meters = {each.verdict.meter_model for each in visit.values}
            told.append({**self._head(visit), "meter": ", ".join(sorted(meters)), "verdicts": verdicts})
        return {"serial": serial, "visits": told, **both}

    def units(self, words: dict[str, str]) -> Plain:
        """The latest units, newest first."""
        limit = words.get("limit", "50")
        most = min(int(limit), MOST_UNITS) if limit.isascii() and limit.isdigit() else 50
        question = Question(kinds=OF_A_STAY, limit=4 * most, bench=self.bench)
        return {"units": [_line(result) for result in reversed(self._results(question)[-most:])]}

    def results_of_batch(self, name: str) -> list[UnitResult]:
        """Results of a batch, oldest first."""
        return self._results(Question(batch=name, kinds=OF_A_STAY))

    def code(self, words: dict[str, str]) -> Plain:
        """What a scanned code may be: a known serial, one that looks like the others, or a question."""
        text = words.get("text", "").strip()
        if not text or not text.isprintable():
            return {"serial": "", "known": False, "ask": "That is no serial: scan it again."}
        with JournalReader(self.folder) as reader:
            known = next(iter(reader.find(Question(serial=text, limit=1, with_evidence=False))), None)
            latest = reader.find(Question(kinds=("unit_started",), limit=50, with_evidence=False))
            shapes = {shape(entry.serial) for entry in latest if entry.serial}
        odd = known is None and bool(shapes) and shape(text) not in shapes
        ask = f"{text} does not look like the serials of this bench. Start a unit with it?" if odd else ""
        return {"serial": text, "known": known is not None, "ask": ask}

    @contextlib.contextmanager
    def _opened(self, serial: str) -> Iterator[tuple[JournalReader, list[Visit]]]:
        """The record, open, and all visits of a unit.

        Raises:
            Unknown: it was never on this bench.
        """
        from acquire.reports.visits import visits_on  # noqa: PLC0415  (as above)

        with JournalReader(self.folder) as reader:
            try:
                visits = visits_on(reader, serial)
            except InputImpossible:
                raise Unknown(f"No unit {serial} is on the record.") from None
            yield reader, visits

    def _results(self, question: Question) -> list[UnitResult]:
        with JournalReader(self.folder) as reader:
            stays = stays_of(entry.record for entry in reader.find(question))
        return [result for stay in stays if (result := stay.result) is not None]

    def _head(self, visit: Visit) -> Plain:
        started: UnitStarted = visit.started
        head: Plain = {
            "serial": started.serial,
            "bench": started.bench,
            "sheet": started.sheet,
            "batch": started.batch,
            "operator": started.operator,
            "purpose": started.purpose.value,
            "started_utc_s": started.utc_s,
        }
        if visit.result is None:
            return {**head, **_unfinished(started.utc_s)}
        return {**head, **result_words(visit.result, self.core)}

    # ------------------------------------------------------------------ duties of the bench

    def leads(self, _words: dict[str, str]) -> Plain:
        """The latest lead zeros, oldest first."""
        question = Question(kinds=("lead_zero",), limit=MOST_READINGS, bench=self.bench)
        with JournalReader(self.folder) as reader:
            records = [entry.record for entry in reader.find(question)]
        zeros = [zero_words(record) for record in records if isinstance(record, LeadZero)]
        now = zeros[-1] if zeros else None
        text = f"The leads add {now['text']}." if now else "The leads were never zeroed on this bench."
        return {"now": now, "zeros": zeros, "text": text}

    def check(self, _words: dict[str, str]) -> Plain:
        """The check standard's latest readings with the limits of its chart."""
        question = Question(kinds=("check_standard",), limit=MOST_READINGS, bench=self.bench)
        with JournalReader(self.folder) as reader:
            records = [entry.record for entry in reader.find(question)]
        found = [record for record in records if isinstance(record, CheckStandard)]
        if not found:
            raise Unknown("No check standard is on the record of this bench.")
        last = found[-1]
        of_this = [record for record in found if record.resistor == last.resistor]
        return {
            "resistor": last.resistor,
            "certificate_ohm": last.certificate_ohm,
            "certificate_expanded_ohm": last.certificate_expanded_ohm,
            "centre_ohm": number(last.centre_ohm),
            "lower_ohm": number(last.lower_ohm),
            "upper_ohm": number(last.upper_ohm),
            "text": _check_text(of_this),
            "readings": [
                {
                    "utc_s": record.utc_s,
                    "ohm": record.reading_ohm,
                    "expanded_ohm": record.expanded_ohm,
                    "in_control": record.in_control,
                    "signs": list(record.signs),
                    "text": check_text(record),
                }
                for record in of_this
            ],
        }


def _serial(words: dict[str, str]) -> str:
    """The serial that is asked for.

    Raises:
        Unknown: there is none.
    """
    if serial := words.get("serial", "").strip():
        return serial
    raise Unknown("Scan or type the serial of a unit.")


def shape(serial: str) -> str:
    """How a serial is built: "PL80-0007" is "AA99-9999". What a parcel carries is built otherwise."""
    return "".join("9" if sign.isdigit() else "A" if sign.isalpha() else sign for sign in serial)


def _unfinished(utc_s: float) -> Plain:
    return {
        "utc_s": utc_s,
        "outcome": None,
        "word": "not finished",
        "reason": "",
        "ending": None,
        "held": "",
        "revision": 0,
        "wait_until_utc_s": None,
        "findings": [],
        "diagnosis": [],
        "next": None,
        "not_tested": [],
        "passed": 0,
        "of": 0,
    }


def _line(result: UnitResult) -> Plain:
    return {
        "serial": result.serial,
        "utc_s": ended_s(result),
        "batch": result.batch,
        "sheet": result.sheet,
        "outcome": None if result.outcome is None else result.outcome.value,
        "word": ended_words(result),
        "ending": result.ending.value,
    }


def _check_text(readings: Sequence[CheckStandard]) -> str:
    last = readings[-1]
    value = show(last.reading_ohm, "Ω", last.expanded_ohm)
    word = "in control" if last.in_control else f"out of control: {check_text(last)}"
    return f"{last.resistor} reads {value}, certified {last.certificate_ohm:g} Ω: {word}"
