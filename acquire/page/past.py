"""Questions of the page to the record: a unit, a serial's visits, latest units, lead zeros, check standard.

Each opens the journal for reading, answers and closes it; they block, so they are asked in threads
that hold up no stop. Not for reports (papers) nor for what is going on now (view).
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Awaitable, Callable
from concurrent.futures import Future
from dataclasses import dataclass
from operator import itemgetter
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from acquire.errors import InputImpossible
from acquire.journal.history import JournalReader
from acquire.journal.query import OF_A_VISIT, Query
from acquire.page.backend import Unknown
from acquire.page.telling import (
    Plain,
    notice_words,
    picked,
    result_words,
    typed_words,
    verdict_words,
)
from acquire.records import CheckStandard, LeadZero, UnitResult, UnitStarted, name_of
from acquire.unit_result import ended_s, visit_results
from acquire.words.batches import PURPOSES
from acquire.words.beside import check_text
from acquire.words.units import result_words as ended_words
from acquire.words.verdicts import OUTCOME_WORDS
from system.processes import begun

if TYPE_CHECKING:
    from acquire.reports.visits import Visit

T = TypeVar("T")

MOST_UNITS = 50
"""On one page of the list of units."""

LISTED = ("serial", "outcome", "batch", "sheet", "purpose", "utc_s", "started_utc_s")
"""What the list of units is searched by; the first and the last say which visit it is."""

SORTS: dict[str, Callable[[tuple[Any, ...]], Any]] = {
    "time": itemgetter(5),
    "serial": itemgetter(0),
    "outcome": lambda row: (row[1] or "", row[5]),
    "batch": itemgetter(2, 5),
}

MOST_READINGS = 200
"""Of lead zeros and check standards."""


@dataclass(frozen=True, slots=True)
class Past:
    """The record of one bench.

    Attributes:
        folder: of its journal.
        bench: its name.
    """

    folder: Path
    bench: str

    # ------------------------------------------------------------------ units

    def unit(self, words: dict[str, str]) -> Plain:
        """The latest visit of a unit with traces, result and diagnosis; beside it all its visits."""
        from acquire.reports.visits import visits_on  # noqa: PLC0415  (slow to import)

        serial = _serial(words)
        with JournalReader(self.folder) as reader:
            try:
                visits = visits_on(reader, serial)
            except InputImpossible:
                raise Unknown(f"No unit {serial} is on the record.") from None
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
            "visits": [self._head(each) for each in visits],
        }

    def units(self, words: dict[str, str]) -> Plain:
        """Units that have a result: those whose serial holds a part, filtered, sorted, a page at a time.

        Args:
            words: `part` of the serial (capitals do not matter), `outcome` ("none": units without),
                `batch`, `sheet` and `purpose` exactly, `sort` by one of `SORTS` (`up` "1" reverses), `page`
                from 0.
        """
        with JournalReader(self.folder) as reader:
            query = Query(kinds=("unit_result",), bench=self.bench)
            visits = {(row[0], row[-1]): row for row in reader.values(query, LISTED)}
            rows = list(visits.values())
            wanted = sorted(filter(_chosen(words), rows), key=SORTS.get(words.get("sort", ""), SORTS["time"]))
            if words.get("up", "") != "1":
                wanted.reverse()
            page = words.get("page", "")
            first = MOST_UNITS * (int(page) if page.isascii() and page.isdigit() and len(page) < 7 else 0)
            shown = [_latest(reader, row[0], row[-1]) for row in wanted[first : first + MOST_UNITS]]
        return {
            "units": [_line(result) for result in shown if result is not None],
            "first": first,
            "total": len(wanted),
            "at_once": MOST_UNITS,
            "outcomes": {each.value: words for each, words in OUTCOME_WORDS.items()},
            "purposes": {each.value: words for each, words in PURPOSES.items()},
            "batches": sorted({str(row[2]) for row in rows} - {""}),
            "sheets": sorted({str(row[3]) for row in rows}),
        }

    def results_of_batch(self, name: str) -> list[UnitResult]:
        """Results of a batch, oldest first."""
        with JournalReader(self.folder) as reader:
            return _results(reader, Query(batch=name, kinds=OF_A_VISIT, with_evidence=False))

    def _head(self, visit: Visit) -> Plain:
        started: UnitStarted = visit.started
        head: Plain = {
            **picked(started, "serial", "bench", "sheet", "batch", "operator", "purpose"),
            "meter": ", ".join(sorted({each.verdict.meter_model for each in visit.values})),
            "started_utc_s": started.utc_s,
        }
        if visit.result is None:
            return {**head, "utc_s": started.utc_s, "outcome": None, "word": "not finished", "ending": None}
        return {**head, **result_words(visit.result)}

    # ------------------------------------------------------------------ duties of the bench

    def _latest_of(self, kind: type[T]) -> list[T]:
        """The latest records of a kind on this bench, oldest first."""
        query = Query(kinds=(name_of(kind),), limit=MOST_READINGS, bench=self.bench)
        with JournalReader(self.folder) as reader:
            return [entry.record for entry in reader.find(query) if isinstance(entry.record, kind)]

    def leads(self, _words: dict[str, str]) -> Plain:
        """The latest lead zeros, oldest first."""
        shown = ("utc_s", "doubtful_since_utc_s", "value_ohm", "standard_uncertainty_ohm", "meter_id")
        return {"zeros": [picked(zero, *shown) for zero in self._latest_of(LeadZero)]}

    def check(self, _words: dict[str, str]) -> Plain:
        """The check standard's latest readings with the limits of its chart."""
        found = self._latest_of(CheckStandard)
        if not found:
            raise Unknown("No check standard is on the record of this bench.")
        last = found[-1]
        readings = [
            {
                **picked(record, "utc_s", "reading_ohm", "expanded_ohm", "in_control"),
                "text": check_text(record),
            }
            for record in found
            if record.resistor == last.resistor
        ]
        limits = ("centre_ohm", "lower_ohm", "upper_ohm")
        certificate = ("resistor", "certificate_ohm", "certificate_expanded_ohm")
        return {**picked(last, *certificate, *limits), "readings": readings}


def _serial(words: dict[str, str]) -> str:
    """The serial that is asked for.

    Raises:
        Unknown: there is none.
    """
    if serial := words.get("serial", "").strip():
        return serial
    raise Unknown("Scan or type the serial of a unit.")


def _chosen(words: dict[str, str]) -> Callable[[tuple[Any, ...]], bool]:
    """Whether a row of `LISTED` is among those asked for."""
    part, exactly = words.get("part", "").strip().casefold(), []
    for place, name in ((1, "outcome"), (2, "batch"), (3, "sheet"), (4, "purpose")):
        if wanted := words.get(name, ""):
            exactly.append((place, None if wanted == "none" else wanted))
    return lambda row: part in str(row[0]).casefold() and all(row[at] == wanted for at, wanted in exactly)


def _results(reader: JournalReader, query: Query) -> list[UnitResult]:
    """How visits stand now, with what was typed in since; oldest first."""
    visits = visit_results(entry.record for entry in reader.find(query))
    return [visit.result for visit in visits if visit.result is not None]


def _latest(reader: JournalReader, serial: str, started_utc_s: float) -> UnitResult | None:
    """How one visit stands now."""
    found = _results(reader, Query(serial=serial, kinds=OF_A_VISIT, with_evidence=False))
    return next((each for each in reversed(found) if each.started_utc_s == started_utc_s), None)


def _line(result: UnitResult) -> Plain:
    own = picked(result, "serial", "batch", "sheet", "purpose", "outcome", "ending")
    ended = {"utc_s": ended_s(result), "word": ended_words(result)}
    return {**own, **ended, "untested": len(result.untested)}


PATIENCE_S = 30.0
"""Longest time that somebody waits for an answer."""


class Background:
    """A place for questions to the disk; two at a time, the others wait."""

    def __init__(self) -> None:
        """Nothing runs yet."""
        self._turns = asyncio.Semaphore(2)

    def asked(self, read: Callable[[dict[str, str]], T]) -> Callable[[dict[str, str]], Awaitable[T]]:
        """A query that blocks, as one that does not."""
        return lambda words: self.ask(lambda: read(words))

    async def ask(self, work: Callable[[], T]) -> T:
        """Do some work in a thread of its own and give what it gave.

        The thread is left to itself when the process ends: a report must not hold up a stop.

        Raises:
            TimeoutError: it takes too long.
            BaseException: whatever the work raised.
        """
        async with asyncio.timeout(PATIENCE_S):
            await self._turns.acquire()
            loop, work_begun = asyncio.get_running_loop(), begun(work)

            def over(_: Future[T]) -> None:  # work that nobody waits for any more still takes a processor
                with contextlib.suppress(RuntimeError):  # the loop has ended
                    loop.call_soon_threadsafe(self._turns.release)

            work_begun.add_done_callback(over)
            return await asyncio.wrap_future(work_begun)
