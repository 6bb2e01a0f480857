"""MQTT for a bench of a line: everything on the record goes out, and again until the line's database has it.

A broker's acknowledgement is not enough for that: one that is killed forgets what it has taken since its last
sync, and one whose queue is full throws away. So the collectors say on a topic of the bench up to which entry
the database is complete (`Kept`); a cursor of its own follows it, each connection begins there, and what the
line does not confirm in time is sent again. Ids make copies harmless. To let the database see gaps, each
message says which one went before it. Not for the database (acquire.line).
"""

from __future__ import annotations

import asyncio
import math
from typing import Any

import structlog
from pydantic_core import from_json

from acquire.errors import JournalUnusable
from acquire.journal.archive import archives
from acquire.journal.entry import Entry
from acquire.journal.store import Journal
from acquire.outlets.mqtt import Broker, Heard
from acquire.outlets.mqtt_outlet import MqttOutlet
from acquire.outlets.outlet import OutletFailed
from acquire.outlets.payload import VERSION, as_json, evidence_payload_of, payload_of
from acquire.outlets.topics import EVIDENCE, KEPT, LINE_TOPIC_OF_KIND
from acquire.quantity import counted

log = structlog.get_logger()

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
        topic = self.topics.of(KEPT)
        assert self._connection is not None  # noqa: S101  (begun by a connection)
        if not await self._connection.subscribe(topic):
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
        if heard.topic != self.topics.of(KEPT):
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
                what = f"The line has not confirmed {missing} behind {self.kept} for {waited:.0f} s."
                raise OutletFailed(what, "They are sent again.")
