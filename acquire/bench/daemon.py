"""The one place where the parts meet the world: instruments in, heart, journal first, then all listeners.

    feeds (meter, thermometer) ─┐
    commands (keys, network)   ─┼─> pipeline ─> events ─> journal ─> display
    clock ticks                ─┘                            └────> CSV, MQTT (each from its own cursor)

It also says which events go on the record, and what the record tells the heart when it starts again. One
`asyncio.TaskGroup`, every task named. Not for any computing: that is `acquire.pipeline` and below.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections import Counter
from collections.abc import Awaitable, Callable, Coroutine, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from acquire.bench.cache_warm_up import foresee
from acquire.bench.intake import Feed, ScannerFeed
from acquire.bench.keyboard import no_meter_is_read_off
from acquire.bench.learning import Learn, good_unit, nothing_is_learnt
from acquire.clock import Clock, UtcWatch
from acquire.errors import InputImpossible, JournalUnusable
from acquire.heart.attempt import clock_set_s
from acquire.journal.history import JournalReader
from acquire.journal.query import Query
from acquire.journal.store import Journal, keep_small
from acquire.outlets.outlet import Health, Outages
from acquire.pipeline import Pipeline
from acquire.records import (
    Batch,
    CallGood,
    CheckStandard,
    ClockSet,
    Command,
    ConfirmOpen,
    Ending,
    Event,
    Evidence,
    Fact,
    GiveUpUnit,
    Judged,
    LeadZero,
    Notice,
    Purpose,
    Recorded,
    Refusal,
    Refused,
    Severity,
    StartUnit,
    TypedResult,
    TypeReading,
    TypeTemperature,
    UnitKnown,
    UnitResult,
    UnitStarted,
)
from acquire.records.bench import refusal
from acquire.records.codes import ASKED_FOR, Code
from drivers.reading import Flag, Kind, Reading

ANSWERS = ASKED_FOR | {Code.COMMAND_UNKNOWN}
"""Notices that only answer whoever typed: shown, and no part of the record."""


def recorded(events: Sequence[Event]) -> list[tuple[Recorded, Evidence | None]]:
    """What of these events the journal keeps, each verdict with its evidence."""
    kept: list[tuple[Recorded, Evidence | None]] = []
    for event in events:
        if isinstance(event, Judged):
            kept.append((event.verdict, event.evidence))
        elif isinstance(event, Notice) and event.code in ANSWERS:
            continue
        elif isinstance(
            event, UnitStarted | UnitResult | LeadZero | CheckStandard | TypedResult | Batch | Notice
        ):
            kept.append((event, None))
    return kept


def unit_known(journal: Path, serial: str, purpose: Purpose, running: str = "") -> UnitKnown:
    """Which batch a unit belongs to, how often it was measured for it, and how far the running one is.

    Args:
        journal: its file; archives beside it count as well.
        serial: of the unit.
        purpose: of the bench.
        running: name of the batch that takes units now, empty for none.

    Raises:
        JournalUnusable: it cannot be read.
    """
    kinds = ("unit_started",)
    with JournalReader(journal) as reader:
        starts = list(reader.values(Query(serial=serial, kinds=kinds), ("batch", "purpose")))
        rows = reader.values(Query(batch=running, kinds=kinds), ("serial",)) if running else iter(())
        others = {of for (of,) in rows} - {serial}
        held = [
            (entry, entry.record.utc_s)
            for entry in reader.find(Query(serial=serial, kinds=("unit_result",), limit=1))
            if isinstance(entry.record, UnitResult) and entry.record.must_rest
        ]
        later = reader.find(Query(kinds=("notice",), limit=5000)) if held else iter(())
        set_s = sum(clock_set_s(entry.record) for entry in later if entry.seq > held[0][0].seq)
    batches = [batch for batch, _ in starts if batch]
    latest = batches[-1] if batches else ""
    attempts = sum(batch == latest and of == purpose.value for batch, of in starts) if latest else 0
    return UnitKnown(serial, latest, attempts, len(others), held[0][1] + set_s if held else None)


TICK_S = 0.25
"""How often the heart is told the time, real seconds."""

DRAIN_S = 4.0
"""How long journal and outlets together may take to finish after a stop is asked for; systemd is told 5 s."""

LEAST_DRAIN_S = 0.3
"""What outlets get of that even when the journal took all of it."""

RETRY_JOURNAL_S = 1.0
"""How often a journal that refuses is tried again."""

Outlet = Callable[[asyncio.Event], Coroutine[Any, Any, None]]
"""Runs until the event is set and everything before it has gone out."""


@dataclass(slots=True)
class Daemon:
    """A bench at work.

    Attributes:
        pipeline: the heart.
        journal: open.
        clock: of the bench.
        subscribers: each receives every event after what is recorded has been committed, in this order.
        feeds: instruments; they call `take` and `take_temperature` of this object.
        scanners: put units on the bench.
        outlets: drain the journal.
        displays: beside them, without a place in the journal; they end with the outlets.
        invitation: how people come to the page, told to a terminal or not; empty where there is none.
        resumed: told what the record holds of a unit that a power cut interrupted, oldest first.
        thermometer_u_kelvin: standard uncertainty of the thermometer's readings.
        tick_s: how often the heart is told the time, real seconds.
        first_notices: what was found while the parts were made and the operator must know.
        halted: True while the journal cannot be written; no reading is taken then.
        unwritten: True where the bench had to stop before the journal could take everything.
        outcomes: how many verdicts of each kind were given since the start.
        refused: commands that were not carried out.
        type_in: takes what was read off a display; gives it as understood.
        learn: proposes a sheet of a name from the units that were called good.
        desk_refused: gives how many were refused before, for what they were.
        healths: how each outlet is doing; out_of_reach: which of their troubles were told.
        latest_s: monotonic time of each instrument's latest reading, by the name of its feed.
        outages: how often the meter's link was found broken, or could not be opened.
        journal_answers: how often the journal has said something, be it a refusal.
        read_files: asks for the files to be read again; does nothing before the bench is at work.
        next_files: takes changed files in; called between two units, never in the middle of one.
    """

    pipeline: Pipeline
    journal: Journal
    clock: Clock
    subscribers: list[Callable[[Event], None]]
    feeds: list[Feed] = field(default_factory=list)
    scanners: list[ScannerFeed] = field(default_factory=list)
    outlets: dict[str, Outlet] = field(default_factory=dict)
    displays: dict[str, Outlet] = field(default_factory=dict)
    invitation: Callable[[bool], str] = lambda _to_terminal: ""
    resumed: Callable[[Sequence[Recorded]], None] = lambda _: None
    thermometer_u_kelvin: float = 0.5
    tick_s: float = TICK_S
    first_notices: Sequence[Notice] = ()
    halted: bool = False
    unwritten: bool = False
    outcomes: Counter[str] = field(default_factory=Counter)
    refused: int = 0
    desk_refused: Callable[[], int] = lambda: 0
    type_in: Callable[[str], Awaitable[dict[str, Fact]]] = no_meter_is_read_off
    learn: Learn = nothing_is_learnt
    healths: list[Health] = field(default_factory=list)
    out_of_reach: Outages = field(default_factory=Outages)
    latest_s: dict[str, float] = field(default_factory=dict)
    outages: int = 0
    journal_answers: int = 0
    read_files: Callable[[], None] = lambda: None
    next_files: Callable[[], Sequence[Notice]] | None = None
    _utc: UtcWatch = field(default_factory=UtcWatch)
    _events: asyncio.Queue[Sequence[Event] | asyncio.Event] = field(
        default_factory=lambda: asyncio.Queue(1000)
    )

    # ------------------------------------------------------------------ in

    async def take(self, reading: Reading) -> None:
        """One reading of the ohms meter."""
        self.latest_s["meter"] = self.clock.monotonic_s()
        if self.halted:
            return
        events = self.pipeline.feed(reading)
        if Flag.TYPED in reading.flags and reading.kind is Kind.OVERLOAD:  # with the probes on the pair
            events += self._obeyed(ConfirmOpen())
        await self._out(events)

    async def take_temperature(self, reading: Reading, feed: str = "thermometer") -> None:
        """One reading of a thermometer."""
        self.latest_s[feed] = self.clock.monotonic_s()
        await self._out(self.pipeline.feed_temperature(reading, self.thermometer_u_kelvin))

    def link_lost(self) -> None:
        """The ohms meter is gone, or still away."""
        self.outages += 1
        self.pipeline.link_lost()

    async def command(self, command: Command) -> list[Event]:
        """Carry out a command; returns the events it caused, which also go the usual way."""
        if self.halted:
            self.refused += 1
            notice = replace(Refused(Refusal.JOURNAL).notice(self.clock.utc_s()), severity=Severity.STOP)
            self.show(notice)
            return [notice]
        if isinstance(command, TypeReading):
            return await self._typed(command)
        if isinstance(command, CallGood):
            return await self._called_good(command)
        if isinstance(command, TypeTemperature) and command.standard_uncertainty_kelvin is None:
            command = replace(command, standard_uncertainty_kelvin=self.thermometer_u_kelvin)
        looked_up = await self._look_up(command.serial) if isinstance(command, StartUnit) else []
        events = [*looked_up, *self._made_way(command), *self._obeyed(command)]
        self.refused += any(
            isinstance(event, Notice) and event.code is Code.COMMAND_REFUSED for event in events
        )
        await self._out(events)
        return events

    async def _typed(self, command: TypeReading) -> list[Event]:
        """Give what was typed to the meter that it was read off, and tell how it was understood."""
        try:
            facts = await self.type_in(command.text)
        except Refused as error:
            self.refused += 1
            notice = error.notice(self.clock.utc_s())
        else:
            notice = Notice(Severity.INFO, Code.READING_TYPED, self.clock.utc_s(), facts=facts)
        await self._out([notice])
        return [notice]

    async def _called_good(self, command: CallGood) -> list[Event]:
        """Note that the last unit is a good one, and propose a sheet from all that are."""
        events: list[Event] = []
        try:
            events.append(good_unit(self.pipeline, self.clock.utc_s()))
            await self._out(events)
            await self.written()
            facts = await self.learn(command.name)
            told = Notice(Severity.INFO, Code.SHEET_LEARNT, self.clock.utc_s(), facts=facts)
        except (InputImpossible, JournalUnusable, OSError) as error:
            self.refused += 1
            said = error if isinstance(error, InputImpossible) else InputImpossible(str(error))
            told = refusal(said, self.clock.utc_s())
        await self._out([told])
        return [*events, told]

    async def _look_up(self, serial: str) -> list[Event]:
        """Tell the heart what the record says of a unit that is about to be started; gives what that causes.

        A record that cannot be read now is no reason to stop: what this run has started is known anyway.
        """
        purpose, running = self.pipeline.place.purpose, self.pipeline.batches.running
        with contextlib.suppress(JournalUnusable):
            known = await asyncio.to_thread(unit_known, self.journal.path, serial, purpose, running)
            return self._obeyed(known)
        return []

    def _obeyed(self, command: Command) -> list[Event]:
        return self.pipeline.command(command, self.clock.monotonic_s(), self.clock.utc_s())

    def _made_way(self, command: Command) -> list[Event]:
        """Before a unit begins, let files that wait come into force; the unit before it ends by the old."""
        if self.next_files is None or not isinstance(command, StartUnit):
            return []
        unit = self.pipeline.unit
        if unit is None:
            return self._between_units()
        if unit.serial == command.serial:
            return []
        if self.pipeline.doubt(command, self.clock.utc_s()) is not None:
            return []
        ended = self._obeyed(GiveUpUnit("", Ending.NEXT_UNIT))
        return [*ended, *self._between_units()]

    def _between_units(self) -> list[Event]:
        """Take in files that wait, if no unit is on the bench."""
        if self.next_files is None or self.pipeline.unit is not None:
            return []
        take, self.next_files = self.next_files, None
        return list(take())

    async def tell(self, notice: Notice) -> None:
        """A notice from outside the heart goes the same way as its own."""
        await self._out([notice])

    # ------------------------------------------------------------------ out

    async def written(self) -> None:
        """Return once all that happened before this call is in the journal and was shown.

        Waits for as long as the journal refuses: bound it by a timeout.
        """
        reached = asyncio.Event()
        await self._events.put(reached)
        await reached.wait()

    async def _out(self, events: Sequence[Event]) -> None:
        if events:
            await self._events.put(events)

    async def _publish(self) -> None:
        """Journal first, then show; in order, nothing dropped."""
        while True:
            events = await self._events.get()
            if isinstance(events, asyncio.Event):  # somebody waits until the queue has been worked to here
                events.set()
            else:
                await self._record(recorded(events))
                self._shown(events)
            self._events.task_done()

    def _shown(self, events: Sequence[Event]) -> None:
        for event in events:
            if isinstance(event, Judged):
                self.outcomes[event.verdict.outcome.value] += 1
            self.show(event)

    def show(self, event: Event) -> None:
        """Let everybody see an event."""
        for subscriber in self.subscribers:
            subscriber(event)

    async def _record(self, records: Sequence[tuple[Recorded, Evidence | None]]) -> None:
        """Commit, however long it takes; meanwhile the bench takes no verdicts and says why."""
        since_s, told = self.clock.monotonic_s(), set[str]()
        while records:
            try:
                await self.journal.append(records)
                self.journal_answers += 1
            except JournalUnusable as error:
                self.journal_answers += 1
                if not self.halted:
                    self.halted = True
                    self.pipeline.link_lost()
                if error.what not in told:  # a full disk may be remounted read-only: another cure
                    told.add(error.what)
                    self.show(self._notice(Severity.STOP, Code.JOURNAL_UNUSABLE, cause=str(error)))
                await asyncio.sleep(RETRY_JOURNAL_S)
            else:
                break
        if self.halted:
            self.halted = False
            waited_s = self.clock.monotonic_s() - since_s
            notice = self._notice(Severity.WARNING, Code.JOURNAL_USABLE, after_s=waited_s)
            with contextlib.suppress(JournalUnusable):  # a remark only; the next verdict will tell
                await self.journal.append([(notice, None)])
            self.show(notice)

    def _notice(self, severity: Severity, code: Code, serial: str = "", **facts: Fact) -> Notice:
        return Notice(severity, code, self.clock.utc_s(), serial, facts=facts)

    # ------------------------------------------------------------------ life

    async def run(self, stop: asyncio.Event, ready: Callable[[], None] = lambda: None) -> None:
        """Work until `stop` is set, then bring everything out that was begun.

        Args:
            stop: set by a signal or by whoever started the bench.
            ready: called once all tasks are under way.
        """
        try:
            await self._work(stop, ready)
        finally:
            await self.journal.close()

    async def _work(self, stop: asyncio.Event, ready: Callable[[], None]) -> None:
        await self._resume()
        await self._out(self.first_notices)
        drained = asyncio.Event()
        async with asyncio.TaskGroup() as group:
            publisher = group.create_task(self._publish(), name="publisher")
            sources = [group.create_task(feed.run(), name=feed.name) for feed in self.feeds]
            sources += [group.create_task(scanner.run(), name=scanner.name) for scanner in self.scanners]
            sources.append(group.create_task(self._tick(), name="ticks"))
            foreseeing = foresee(lambda: self.pipeline)
            sources.append(group.create_task(foreseeing, name="fault dictionary"))
            tidying = keep_small(self.journal, tuple(self.outlets), stop)
            sources.append(group.create_task(tidying, name="archive"))
            beside = {**self.outlets, **self.displays}
            outlets = [group.create_task(outlet(drained), name=name) for name, outlet in beside.items()]
            ready()
            await stop.wait()
            for source in sources:
                source.cancel()
            await asyncio.wait(sources)
            await self._finish(publisher, outlets, drained)

    async def _finish(
        self, publisher: asyncio.Task[None], outlets: list[asyncio.Task[None]], drained: asyncio.Event
    ) -> None:
        """Journal what is still under way, then give the outlets a few seconds to follow."""
        loop = asyncio.get_running_loop()
        last_s = loop.time() + DRAIN_S
        try:
            await asyncio.wait_for(self._events.join(), DRAIN_S)
        except TimeoutError:
            self.unwritten = True
        publisher.cancel()
        drained.set()
        if outlets:
            _, late = await asyncio.wait(outlets, timeout=max(LEAST_DRAIN_S, last_s - loop.time()))
            for task in late:  # their cursors stand where they got to; the next start goes on from there
                task.cancel()

    async def _resume(self) -> None:
        """Take up the batches, and put a unit that a power cut interrupted back on the bench."""
        told = [entry.record for entry in await self.journal.batches()]
        self.pipeline.recall([record for record in told if isinstance(record, Batch)])
        if open_batch := self.pipeline.batches.standing(self.clock.utc_s()):
            self.show(open_batch)
        records = [entry.record for entry in await self.journal.latest_doings()]
        serials = [record.serial for record in records if isinstance(record, UnitStarted)]
        if serials:
            await self._look_up(serials[-1])
        ended = self.pipeline.replay(records, self.clock.utc_s())
        if self.pipeline.unit is not None:
            self.resumed(records)
            self.show(self._notice(Severity.INFO, Code.UNIT_RESUMED, self.pipeline.unit.serial))
        await self._out(ended)

    async def _tick(self) -> None:
        while True:
            monotonic_s, utc_s = self.clock.monotonic_s(), self.clock.utc_s()
            for notice in self.out_of_reach.notices(self.healths, monotonic_s, utc_s):
                self.show(notice)
            if not self.halted:
                by_s = self._utc.set_by_s(monotonic_s, utc_s)
                told = self._obeyed(ClockSet(by_s)) if by_s else []
                ticked = self.pipeline.tick(monotonic_s, utc_s)
                await self._out([*told, *ticked, *self._between_units()])
            await asyncio.sleep(self.tick_s)

    async def hear_journal(self) -> None:
        """Ask the journal something small; returns when it has answered, be it with a refusal."""
        with contextlib.suppress(JournalUnusable):
            await self.journal.cursors()
        self.journal_answers += 1
