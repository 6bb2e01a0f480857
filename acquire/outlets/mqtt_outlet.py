"""Verdicts over MQTT: each at least once, in order; the journal's cursor moves when the broker has said so.

One `async with` is one connection: it begins with the retained status and the present prompt, and whatever
goes wrong ends it; `drain` begins the next one. Commands come in on the same connection.

On a line, a broker's acknowledgement is not enough: one that is killed forgets what it has taken since its
last sync, and one whose queue is full throws away. So the collectors say on a topic of the bench up to which
entry the database is complete (`Ack`); a cursor of its own follows it, each connection begins there, and
what the line does not confirm in time is sent again. Ids make copies harmless. To let the database see gaps,
each message says which one went before it. Not for the wire
(mqtt), for payloads (payload, topics) nor for what a command does.
"""

from __future__ import annotations

import asyncio
import contextlib
import hashlib
import math
from collections.abc import Awaitable, Callable, Coroutine, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Self

import structlog
from pydantic_core import from_json

from acquire.clock import Clock
from acquire.errors import JournalUnusable
from acquire.journal.archive import archives
from acquire.journal.entry import Entry
from acquire.journal.store import Journal
from acquire.outlets.mqtt import Broker, Connection, Heard, open_connection
from acquire.outlets.orders import Desk, Order, OrderAnswer
from acquire.outlets.outlet import OutletFailed, ended
from acquire.outlets.payload import VERSION, as_json, evidence_payload_of, payload_of
from acquire.outlets.topics import (
    ACK,
    EVIDENCE,
    LINE_TOPIC_OF_KIND,
    Live,
    Reply,
    State,
    Status,
    Topics,
    live_payload,
    shown_prompt,
    shown_reading,
)
from acquire.quantity import counted
from acquire.records import Event, Notice, Prompt

log = structlog.get_logger()

READING_SPACING_S = 0.2
"""Shortest time between two live readings: five a second is what an eye can follow."""

READING_EXPIRY_S = 10
"""MQTT 5: a live reading that waited longer in the broker is thrown away."""

LEAVE_S = 1.0
"""Longest time for a farewell; systemd's patience is needed for the verdicts before it."""

OnCommand = Callable[[Order], Awaitable[OrderAnswer]]
"""Carries out an order and says what became of it. It may raise a `SteadyohmError`: a refusal."""


@dataclass(slots=True)
class _Latest:
    """A slot that holds the newest of what is to be shown; older ones are overwritten, nobody waits."""

    said: Live | None = None
    news: asyncio.Event = field(default_factory=asyncio.Event)

    def put(self, said: Live) -> None:
        self.said = said
        self.news.set()

    async def take(self) -> Live | None:
        await self.news.wait()
        self.news.clear()
        return self.said


class MqttOutlet:
    """An outlet that publishes over MQTT and takes commands.

    Attributes:
        at_once: one: the cursor moves with each answer of the broker.
        connected: whether the broker is there now.
        published: messages the broker has taken since the start.
        desk: where commands come in.
    """

    def __init__(
        self,
        broker: Broker,
        *,
        bench: str,
        clock: Clock,
        software: str,
        on_command: OnCommand | None = None,
        files: Callable[[], Mapping[str, str]] = dict,
        readings: bool = True,
    ) -> None:
        """Prepare; nothing is opened yet.

        Args:
            broker: where to.
            bench: name of the bench, part of every topic.
            clock: for times in live payloads and for the rate of commands.
            software: name and version of the program, for the status.
            on_command: None to take no commands.
            files: gives the fields of `Status` that name the files in force.
            readings: whether live readings are shown.
        """
        self.at_once = 1
        self.broker = broker
        self.topics = Topics(bench)
        self.connected = False
        self.published = 0
        self.desk = Desk()
        self._clock = clock
        self._software = software
        self._on_command = on_command
        self._files = files
        self._readings = readings
        self._told_files: Mapping[str, str] = {}
        self._birth = ""
        self._connection: Connection | None = None
        self._tasks: list[asyncio.Task[None]] = []
        self._prompt = _Latest()
        self._reading = _Latest()
        self._status_news = asyncio.Event()

    def show(self, event: Event) -> None:
        """Show an event live, if it is one that is shown; never waits."""
        if isinstance(event, Prompt):
            self._prompt.put(shown_prompt(event, self.topics.bench, self._clock.utc_s()))
        elif reading := shown_reading(event, self.topics.bench):
            if self._readings:
                self._reading.put(reading)
        elif isinstance(event, Notice) and self._told_files != self._files():
            self._status_news.set()  # files were taken in, and a notice has just said so

    # ------------------------------------------------------------------ an outlet

    async def __aenter__(self) -> Self:
        """Connect.

        Raises:
            OutletFailed: the broker cannot be reached, or does not let us in.
        """
        topic, will = self.topics.of("status"), self._status(State.LOST)
        self._connection = await open_connection(self.broker, self._identifier(), topic, will)
        self.connected = True
        return self

    async def __aexit__(self, kind: type[BaseException] | None, *_: object) -> None:
        """Say goodbye if we leave on purpose; close in any case."""
        self.connected = False
        await ended(*self._tasks)
        self._tasks.clear()
        connection = self._connection
        if connection is None:
            return
        try:
            if kind is None or issubclass(kind, asyncio.CancelledError):
                await self._take_leave(connection)
        finally:
            self._connection = None
            connection.abandon()

    async def _take_leave(self, connection: Connection) -> None:
        """Say that the bench has stopped on purpose; not at any price."""
        with contextlib.suppress(OutletFailed, TimeoutError):
            async with asyncio.timeout(LEAVE_S):
                await self._publish("prompt", b"", qos=1, retain=True)
                await self._publish("status", self._status(State.STOPPED), qos=1, retain=True)
                await connection.close()

    async def begins_behind(self, journal: Journal, cursor: int) -> int:
        """Say that the bench is there, begin to show and to listen, then go on behind the cursor.

        Orders are asked for first: whoever reads "online" may send one at once.
        """
        self._birth = journal.birth
        await self._ask_for_orders()
        await self._show_status()
        if self._prompt.said is not None:
            self._prompt.news.set()
        self._start(self._show_prompts(), "mqtt prompts")
        self._start(self._show_readings(), "mqtt readings")
        self._start(self._follow_files(), "mqtt status")
        self._start(self._listen(), "mqtt commands")
        return cursor

    async def send(self, entries: Sequence[Entry]) -> None:
        """Publish one entry after the other, each taken by the broker before the next.

        Raises:
            OutletFailed: with how far it got.
        """
        sent = None
        for entry in entries:
            try:
                await self._send_entry(entry)
            except OutletFailed as error:
                error.sent = sent
                raise
            sent = entry.seq

    async def _send_entry(self, entry: Entry) -> None:
        if last := self.topics.last_of(entry):
            await self._publish(last, as_json(payload_of(entry)), qos=1)
        await self._keep(entry)

    async def _keep(self, entry: Entry) -> None:
        """How a unit stands is retained, at its latest revision, for whoever comes later."""
        if entry.kind == "unit_result":
            await self._publish("latest", as_json(payload_of(entry)), qos=1, retain=True)

    async def watch(self) -> None:
        """Run until the connection breaks.

        Raises:
            OutletFailed: it has.
        """
        done, _ = await asyncio.wait(self._tasks, return_when=asyncio.FIRST_COMPLETED)
        for task in done:
            task.result()

    # ------------------------------------------------------------------ while connected

    async def _show_status(self) -> None:
        self._told_files = self._files()
        await self._publish("status", self._status(State.ONLINE), qos=1, retain=True)

    async def _follow_files(self) -> None:
        while True:
            await self._status_news.wait()
            self._status_news.clear()
            await self._show_status()

    async def _show_prompts(self) -> None:
        while True:
            said = await self._prompt.take()
            if said is not None:
                await self._publish("prompt", as_json(live_payload(said)), qos=1, retain=True)

    async def _show_readings(self) -> None:
        while True:
            said = await self._reading.take()
            if said is not None:
                payload = as_json(live_payload(said))
                await self._publish("reading", payload, qos=0, expiry_s=READING_EXPIRY_S)
            await asyncio.sleep(READING_SPACING_S)

    async def _ask_for_orders(self) -> None:
        topic, connection = self.topics.of("command"), self._connection
        if connection is None or self._on_command is None:
            return
        if await connection.subscribe([topic]):
            log.warning("mqtt.no_commands", topic=topic, why="the broker does not let this bench subscribe")

    async def _listen(self) -> None:
        """Take commands; without them, still the first to notice that the connection has gone."""
        connection = self._connection
        assert connection is not None  # noqa: S101  (begun by a connection)
        async for heard in connection.messages():
            await self._take(heard)

    async def _take(self, heard: Heard) -> None:
        await self._take_command(heard.payload, retained=heard.retained)

    async def _take_command(self, payload: bytes, *, retained: bool) -> None:
        taken = self.desk.take(payload, self._clock.monotonic_s(), retained=retained)
        answer = taken.answer
        if taken.order is not None and self._on_command is not None:
            answer = await self.desk.carry_out(taken.correlation, taken.order, self._on_command)
            log.info("mqtt.command", order=type(taken.order).__name__, done=answer.done)
        if answer is not None:
            bench, now_s = self.topics.bench, self._clock.utc_s()
            reply = Reply(bench, taken.correlation, answer.done, answer.reason, now_s)
            await self._publish("command/reply", as_json(live_payload(reply)), qos=1)

    # ------------------------------------------------------------------ small parts

    async def _publish(self, last: str, payload: bytes, **how: Any) -> None:
        if self._connection is None:
            raise self.broker.failed("cannot be reached", "there is no connection")
        await self._connection.publish(self.topics.of(last), payload, **how)
        self.published += 1

    def _status(self, state: State) -> bytes:
        now_s, files = self._clock.utc_s(), self._told_files
        status = Status(self.topics.bench, state, self._software, self._birth, now_s, **files)
        return as_json(live_payload(status))

    def _identifier(self) -> str:
        """The same at every start. 23 letters and digits: what every broker must accept ([MQTT-3.1.3-5])."""
        return "steadyohm" + hashlib.sha256(self.topics.bench.encode("utf-8", "replace")).hexdigest()[:14]

    def _start(self, work: Coroutine[Any, Any, None], name: str) -> None:
        self._tasks.append(asyncio.create_task(work, name=name))


CURSOR = "mqtt kept"
"""Name of the cursor that the database's confirmations move; the archive waits for it."""

PATIENCE_S = 60.0
"""How long the line may leave what was sent unconfirmed, while it can be heard, before it is sent again.
Workshop choice: a collector confirms within two seconds, a restarted one within ten."""


class LineOutlet(MqttOutlet):
    """An MQTT outlet whose entries count as gone out when the line's database holds them.

    Attributes:
        with_evidence: whether what a verdict rests on is published too.
        patience_s: see `PATIENCE_S`.
        kept: sequence number up to which the database is complete.
        again: entries that were sent a second time or more.
    """

    def __init__(
        self, broker: Broker, *, with_evidence: bool = False, patience_s: float = PATIENCE_S, **outlet: Any
    ) -> None:
        """Prepare; nothing is opened yet.

        Args:
            broker: where to.
            with_evidence: see the attributes.
            patience_s: see the attributes.
            outlet: as `MqttOutlet` takes it.
        """
        super().__init__(broker, **outlet)
        self.with_evidence = with_evidence
        self.patience_s = patience_s
        self.kept = 0
        self.again = 0
        self._journal: Journal | None = None
        self._sent = 0
        self._furthest = 0
        self._moved_s = 0.0
        self._heard_s = -math.inf

    async def begins_behind(self, journal: Journal, cursor: int) -> int:
        """Begin behind what the database has, be it before the cursor of the broker's acknowledgements."""
        await super().begins_behind(journal, cursor)
        noted = await journal.cursor(CURSOR)
        first = noted == 0 and self._journal is None
        if first and any(await asyncio.to_thread(archives, journal.path.parent)):
            log.warning("line.archived", folder=str(journal.path.parent), see="configs/line/README.md")
        # In the same life the database may have said less than the cursor, which never goes back.
        self.kept = noted if self._journal is None else min(noted, self.kept)
        self._journal, self._sent = journal, self.kept
        self._moved_s = self._clock.monotonic_s()
        await self._subscribe_kept()
        self._start(self._mind_the_line(), "mqtt kept")
        return self.kept

    async def _subscribe_kept(self) -> None:
        topic = self.topics.of(ACK)
        assert self._connection is not None  # noqa: S101  (begun by a connection)
        if await self._connection.subscribe([topic]):
            log.warning("line.unheard", topic=topic, why="the broker does not let this bench subscribe")

    async def _send_entry(self, entry: Entry) -> None:
        after = self._sent
        if self.with_evidence and entry.evidence is not None:
            evidence = {**evidence_payload_of(entry), "after": after}
            await self._publish(EVIDENCE, as_json(evidence), qos=1)
            after = entry.seq
        payload = {**payload_of(entry), "after": after}
        await self._publish(LINE_TOPIC_OF_KIND[entry.kind], as_json(payload), qos=1)
        self.again += entry.seq <= self._furthest
        self._sent, self._furthest = entry.seq, max(self._furthest, entry.seq)

    async def _take(self, heard: Heard) -> None:
        if heard.topic != self.topics.of(ACK):
            await super()._take(heard)
        elif not heard.retained and (seq := self._kept_in(heard.payload)) is not None:
            await self._confirmed(seq)

    def _kept_in(self, payload: bytes) -> int | None:
        """Up to where the database has our journal; None where the message says nothing of it."""
        try:
            plain: Any = from_json(payload)
        except ValueError:
            return None
        if not isinstance(plain, dict) or plain.get("schema") != VERSION:
            return None
        seq = plain.get("seq")
        ours = plain.get("journal") == self._birth and type(seq) is int and seq >= 0
        return seq if ours else None

    async def _confirmed(self, seq: int) -> None:
        now_s = self._clock.monotonic_s()
        self._heard_s = now_s
        seq = min(seq, self._sent)  # what this life has not sent yet it will send, known there or not
        if seq < self.kept:
            log.warning("line.forgot", kept=self.kept, now=seq, why="an older copy of the database is in use")
            self.kept = seq  # the wait for what is missing begins now
            self._moved_s = now_s
        elif seq > self.kept:
            self.kept, self._moved_s = seq, now_s
            try:
                if self._journal is not None:
                    await self._journal.move_cursor(CURSOR, seq)
            except JournalUnusable as error:  # the next confirmation tries again
                log.warning("line.not_noted", error=str(error))

    async def _mind_the_line(self) -> None:
        """Begin anew behind what the database has, when the line is there and yet misses the rest."""
        while True:
            await asyncio.sleep(min(1.0, self.patience_s / 4))
            now_s = self._clock.monotonic_s()
            if self.kept >= self._sent:
                self._moved_s = now_s
            waited, heard = now_s - self._moved_s, now_s - self._heard_s
            if waited > self.patience_s and heard < 2 * self.patience_s:
                missing = counted(self._sent - self.kept, "entry", "entries")
                what = f"The line has not confirmed {missing} after {self.kept} for {waited:.0f} s."
                raise OutletFailed(what, "They are sent again.")
