"""The one place where the parts meet the world: instruments in, heart, journal first, then all listeners.

    feeds (meter, thermometer) ─┐
    commands (keys, network)   ─┼─> pipeline ─> events ─> journal ─> display
    clock ticks                ─┘                            └────> CSV, MQTT (each from its own cursor)

One `asyncio.TaskGroup`, every task named. Not for any computing: that is `acquire.pipeline` and below.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine, Sequence
from dataclasses import dataclass, field
from typing import Any

from acquire.clock import Clock
from acquire.errors import JournalUnusable
from acquire.intake import Feed
from acquire.journal.store import Journal
from acquire.pipeline import Pipeline
from acquire.records import (
    Command,
    Event,
    Evidence,
    Judged,
    LeadZero,
    Notice,
    Recorded,
    UnitResult,
    UnitStarted,
    Verdict,
    Weight,
)
from drivers.reading import Reading

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
        show: receives every event after what is recorded has been committed.
        feeds: instruments; they call `take` and `take_temperature` of this object.
        outlets: drain the journal.
        thermometer_u_kelvin: standard uncertainty of the thermometer's readings.
        tick_s: how often the heart is told the time, real seconds.
        first_notices: what was found while the parts were made and the operator must know.
        halted: True while the journal cannot be written; no reading is taken then.
        verdicts: how many were given since the start.
        unwritten: True where the bench had to stop before the journal could take everything.
    """

    pipeline: Pipeline
    journal: Journal
    clock: Clock
    show: Callable[[Event], None]
    feeds: list[Feed] = field(default_factory=list)
    outlets: dict[str, Outlet] = field(default_factory=dict)
    thermometer_u_kelvin: float = 0.5
    tick_s: float = TICK_S
    first_notices: Sequence[Notice] = ()
    halted: bool = False
    verdicts: int = 0
    unwritten: bool = False
    _events: asyncio.Queue[Sequence[Event]] = field(default_factory=lambda: asyncio.Queue(1000))

    # ------------------------------------------------------------------ in

    async def take(self, reading: Reading) -> None:
        """One reading of the ohms meter."""
        if not self.halted:
            await self._out(self.pipeline.feed(reading))

    async def take_temperature(self, reading: Reading) -> None:
        """One reading of the thermometer."""
        self.pipeline.feed_temperature(reading, self.thermometer_u_kelvin)

    async def command(self, command: Command) -> list[Event]:
        """Carry out a command; returns the events it caused, which also go the usual way."""
        if self.halted:
            notice = self._notice("command.refused", "The journal cannot be written, so nothing is done.")
            self.show(notice)
            return [notice]
        events = self.pipeline.command(command, self.clock.monotonic_s(), self.clock.utc_s())
        await self._out(events)
        return events

    async def tell(self, notice: Notice) -> None:
        """A notice from outside the heart goes the same way as its own."""
        await self._out([notice])

    # ------------------------------------------------------------------ out

    async def _out(self, events: Sequence[Event]) -> None:
        if events:
            await self._events.put(events)

    async def _publish(self) -> None:
        """Journal first, then show; in order, nothing dropped."""
        while True:
            events = await self._events.get()
            await self._record(recorded(events))
            for event in events:
                self.verdicts += isinstance(event, Judged)
                self.show(event)
            self._events.task_done()

    async def _record(self, records: Sequence[tuple[Recorded, Evidence | None]]) -> None:
        """Commit, however long it takes; meanwhile the bench takes no verdicts and says why."""
        while records:
            try:
                await self.journal.append(records)
            except JournalUnusable as error:
                if not self.halted:
                    self.halted = True
                    self.pipeline.link_lost()
                    self.show(self._notice("journal.unusable", f"{error} Verdicts wait; none is lost."))
                await asyncio.sleep(RETRY_JOURNAL_S)
            else:
                break
        if self.halted:
            self.halted = False
            self.show(self._notice("journal.usable", "The journal can be written again.", Weight.REMARK))

    def _notice(self, code: str, text: str, weight: Weight = Weight.STOP) -> Notice:
        return Notice(weight, code, text, self.clock.utc_s())

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
            sources.append(group.create_task(self._tick(), name="ticks"))
            outlets = [group.create_task(outlet(drained), name=name) for name, outlet in self.outlets.items()]
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
        """Put a unit that a power cut interrupted back on the bench."""
        records = [entry.record for entry in await self.journal.open_unit()]
        started = next((record for record in records if isinstance(record, UnitStarted)), None)
        if started is None:
            return
        if started.sheet_hash != self.pipeline.place.sheet.content_hash:
            text = f"{started.serial} was interrupted, but its sheet is another one now: start it afresh."
            self.show(self._notice("unit.dropped", text, Weight.WARNING))
            return
        self.pipeline.resume(started, [record for record in records if isinstance(record, Verdict)])
        text = f"{started.serial} was interrupted: it goes on where it stopped."
        self.show(self._notice("unit.resumed", text, Weight.REMARK))

    async def _tick(self) -> None:
        while True:
            if not self.halted:
                await self._out(self.pipeline.tick(self.clock.monotonic_s(), self.clock.utc_s()))
            await asyncio.sleep(self.tick_s)


def recorded(events: Sequence[Event]) -> list[tuple[Recorded, Evidence | None]]:
    """What of these events the journal keeps, each verdict with its evidence."""
    kept: list[tuple[Recorded, Evidence | None]] = []
    for event in events:
        if isinstance(event, Judged):
            kept.append((event.verdict, event.evidence))
        elif isinstance(event, UnitStarted | UnitResult | LeadZero | Notice):
            kept.append((event, None))
    return kept
