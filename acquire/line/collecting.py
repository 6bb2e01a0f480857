"""A collector at work: messages in batches, each committed before the broker hears that it is safe.

The database away: nothing is acknowledged, and Receive Maximum stops the flow; the batch is tried until it is
written. The broker away: what was not acknowledged comes again. This collector killed: both. Ids make every
second copy harmless. Not for the wire (hearing) nor for tables (store).
"""

from __future__ import annotations

import asyncio
import contextlib
import hashlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

import structlog

from acquire.clock import Clock
from acquire.line.collector_file import CollectorSettings
from acquire.line.database import DatabaseAway
from acquire.line.hearing import Subscriber, listening
from acquire.line.incoming import Row, read
from acquire.line.store import Complete, Store
from acquire.outlets.mqtt import Broker, Heard
from acquire.outlets.outlet import BackOff, OutletFailed, ended
from acquire.outlets.payload import as_json
from acquire.outlets.topics import (
    ACK,
    EVIDENCE,
    LINE_TOPIC_OF_KIND,
    ROOT_OF_1,
    ROOTS,
    STATUS,
    Ack,
    Topics,
    live_payload,
)

log = structlog.get_logger()

TOPICS = sorted({*LINE_TOPIC_OF_KIND.values(), EVIDENCE})
"""Last parts of the topics that are collected."""

DRAIN_S = 4.0
"""Longest time for the batch under way after a stop is asked for; systemd is told 8 s."""

LONGEST_BATCH_S = 40.0
"""A database that takes longer for a batch hangs; the connection is given up."""

TELL_S = 1.0
"""How often the benches are told what is complete."""

TELL_AGAIN = 10
"""Each bench is told every so many times, news or not: one that hears nothing of its latest sends again."""

REPORT_S = 60.0


@dataclass(slots=True)
class Collector:
    """A collector.

    Attributes:
        rules: how it works, as its file says.
        broker: where to listen.
        address: of the database, with its password.
        clock: for months and times.
        may_migrate: whether missing tables are made.
        state: one sentence for people who ask.
        changed: called when the sentence may have changed.
        subscriber: the connection to the broker; None while there is none.
    """

    rules: CollectorSettings
    broker: Broker
    address: str = field(repr=False)
    clock: Clock
    may_migrate: bool = True
    state: str = "starting."
    changed: Callable[[], object] = lambda: None
    back_off: BackOff = field(default_factory=lambda: BackOff(0.2, 10.0))
    subscriber: Subscriber | None = None
    _store: Store | None = None
    _committing: bool = False
    _failing: str = ""

    @property
    def store(self) -> Store:
        """What has been written by this collector; counts go on over lost connections."""
        if self._store is None:
            self._store = Store(self.address, self.clock)
        return self._store

    async def run(self, stop: asyncio.Event) -> None:
        """Collect until `stop` is set, then finish the batch under way.

        Raises:
            DatabaseUnfit: the database has not the tables of this version, and may not get them from here.
        """
        reporting = asyncio.create_task(self._report(), name="collector report")
        try:
            while not stop.is_set():
                try:
                    await self._connected(stop)
                except OutletFailed as error:
                    self._say("collect.broker_away", str(error))
                    with contextlib.suppress(TimeoutError):
                        await asyncio.wait_for(stop.wait(), self.back_off.next_s())
        finally:
            await ended(reporting)
            await self.store.close()

    async def _connected(self, stop: asyncio.Event) -> None:
        """One connection to the broker."""
        rules = self.rules
        async with listening(self.broker, identifier(rules), in_flight=rules.in_flight) as subscriber:
            await subscriber.demand(
                [f"$share/{rules.group}/{root}/+/{last}" for root in ROOTS for last in TOPICS]
            )
            await subscriber.demand([f"{root}/+/{STATUS}" for root in ROOTS], qos=0, retained=True)
            self.back_off.reset()
            self.subscriber = subscriber
            self._say("collect.listening", "", group=rules.group)
            works = [
                asyncio.create_task(self._collect(subscriber), name="collect"),
                asyncio.create_task(self._tell(subscriber), name="tell benches"),
            ]
            ending = asyncio.create_task(stop.wait(), name="collector stop")
            try:
                await asyncio.wait([*works, ending], return_when=asyncio.FIRST_COMPLETED)
                if stop.is_set() and self._committing:
                    await asyncio.wait(works[:1], timeout=DRAIN_S)
            finally:
                done = await ended(*works, ending)
            for error in done[:2]:
                if isinstance(error, Exception):
                    raise error

    # ------------------------------------------------------------------ in

    async def _collect(self, subscriber: Subscriber) -> None:
        while True:
            messages = await subscriber.take(self.rules.messages, self.rules.linger)
            self._committing = True
            try:
                if rows := rows_of(messages):
                    await self._commit(rows)
                subscriber.check()  # a number belongs to its connection
                subscriber.acknowledge(messages)
            finally:
                self._committing = False

    async def _commit(self, rows: Sequence[Row]) -> None:
        """Write, however long the database is away."""
        back_off = BackOff(0.2, 10.0)
        while True:
            try:
                async with asyncio.timeout(LONGEST_BATCH_S):
                    if not self.store.is_open:
                        await self.store.open(may_migrate=self.may_migrate)
                    before = self.store.rejected
                    await self.store.write(rows)
            except (DatabaseAway, TimeoutError) as error:
                self._say(
                    "collect.database_away", str(error) or "The database takes too long.", waiting=len(rows)
                )
                await self.store.close()
                await asyncio.sleep(back_off.next_s())
            else:
                self._say("collect.database_back", "")
                if (refused := self.store.rejected - before) > 0:
                    log.warning("collect.rejected", count=refused, see="table steadyohm.rejected")
                return

    # ------------------------------------------------------------------ out

    async def _tell(self, subscriber: Subscriber) -> None:
        """Say on each bench's topic up to where its journal is complete; one collector of all does."""
        own = Store(self.address, self.clock)
        turn, round_, back_off = False, 0, BackOff(0.5, 10.0)
        try:
            while True:
                await asyncio.sleep(TELL_S)
                try:
                    if not own.is_open:
                        turn = False
                        await own.open(may_migrate=self.may_migrate)
                    turn = turn or await own.take_turn()
                    if not turn:
                        continue
                    round_ += 1
                    news = {*await own.count_arrivals(), *await own.complete(round_ % TELL_AGAIN, TELL_AGAIN)}
                    back_off.reset()
                except DatabaseAway as error:  # what collects says so too
                    log.debug("collect.untold", error=str(error))
                    await own.close()
                    await asyncio.sleep(back_off.next_s())
                else:
                    await self._publish(subscriber, news)
        finally:
            await own.close()

    async def _publish(self, subscriber: Subscriber, news: Iterable[Complete]) -> None:
        now_s = self.clock.utc_s()
        for each in news:
            said = live_payload(Ack(each.bench, each.journal, each.seq, now_s))
            await subscriber.publish(Topics(each.bench).of(ACK), as_json(said))
            of_1 = Topics(each.bench, ROOT_OF_1).of("kept"), as_json({**said, "schema": 1})
            await subscriber.publish(*of_1)  # a bench hears one of the two

    # ------------------------------------------------------------------ for people

    def _say(self, event: str, trouble: str, **facts: object) -> None:
        """Log what has changed, an outage once, and keep the state's sentence true."""
        before, self._failing = self._failing, event if trouble else ""
        self.state = trouble or f"{self.rules.name} collects."
        if trouble and before != event:
            log.warning(event, error=trouble, **facts)
        elif not trouble and (before or event == "collect.listening"):
            log.info(event, **facts)
        else:
            return
        self.changed()

    async def _report(self) -> None:
        """A line a minute, if there is something to tell."""
        before = (0, 0, 0)
        while True:
            await asyncio.sleep(REPORT_S)
            now = (self.store.written, self.store.copies, self.store.rejected)
            if now != before:
                log.info("collect.wrote", entries=now[0], copies=now[1], rejected=now[2])
                self.state = (
                    f"{self.rules.name} has written {now[0]} entries; {self._failing or 'all is well.'}"
                )
                self.changed()
            before = now


def rows_of(messages: Iterable[Heard]) -> list[Row]:
    """Read messages, those apart that say nothing."""
    return [row for message in messages if (row := read(message.topic, message.payload)) is not None]


def identifier(rules: CollectorSettings) -> str:
    """By which the broker knows this collector's session, the same at every start.

    23 letters and digits: what every broker must accept ([MQTT-3.1.3-5]).
    """
    digest = hashlib.sha256(f"{rules.group}/{rules.name}".encode()).hexdigest()
    return f"steadyohmline{digest[:10]}"
