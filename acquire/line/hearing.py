"""A collector's connection to the broker: shared subscriptions, acknowledgements by hand after the commit.

MQTT 5 only. The session outlives the connection: what this collector has not acknowledged comes again when it
is back. Never more is under way than Receive Maximum allows, so that a collector that cannot write stops the
flow instead of filling its memory. Not for what messages mean (incoming) nor where they go (store).
"""

from __future__ import annotations

import asyncio
import contextlib
from collections import deque
from collections.abc import AsyncIterator, Sequence
from typing import Any

import aiomqtt
from paho.mqtt.client import PUBACK
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from acquire.outlets.mqtt import Broker, Connection, Heard, MqttClient, common_words, enter, why_gone

SESSION_S = 86_400
"""How long the broker keeps the session of a collector that is away: a day. What waited there longer is sent
again by the benches."""


class _Ear(MqttClient):
    """A client that puts what comes in into a plain queue; a task for each would cost too much."""

    def __init__(self, **words: Any) -> None:
        super().__init__(**words)
        self.heard: deque[Heard] = deque()
        self.most = 1
        self.news, self.full = asyncio.Event(), asyncio.Event()
        self._client.manual_ack_set(on=True)

    def _on_message(self, client: Any, userdata: Any, message: Any) -> None:  # noqa: ARG002  (paho's signature)
        self.heard.append(Heard(message.payload, bool(message.retain), message.topic, message.mid))
        self.news.set()
        if len(self.heard) >= self.most:
            self.full.set()

    def acknowledge(self, numbers: Sequence[int]) -> None:
        """Send the acknowledgements of many messages in one go.

        A PUBACK without reason code is four bytes (MQTT 5, 3.4). paho's own `ack` makes one system call and
        one turn of the loop of each; several packets in one write are the same to the broker.
        """
        packets = b"".join(b"\x40\x02" + number.to_bytes(2, "big") for number in numbers)
        self._client._packet_queue(PUBACK, packets, 0, 1)  # noqa: SLF001  (reason above)


class Subscriber(Connection):
    """An open connection that listens, and acknowledges what it has heard when it is told to."""

    _client: _Ear

    async def take(self, most: int, linger_s: float) -> list[Heard]:
        """Wait for a message, then a little for more.

        Args:
            most: at most so many.
            linger_s: how long to wait for more after the first.

        Raises:
            OutletFailed: the connection has gone; nothing that was not acknowledged is lost by that.
        """
        client = self._client
        while not client.heard:
            client.news.clear()
            await self._wait(client.news, None)
        if len(client.heard) < most and linger_s > 0:
            client.most = most
            client.full.clear()
            await self._wait(client.full, linger_s)
        count = min(most, len(client.heard))
        return [client.heard.popleft() for _ in range(count)]

    async def _wait(self, event: asyncio.Event, longest_s: float | None) -> None:
        """Return when something came in, or raise when nothing can any more."""
        coming = asyncio.ensure_future(event.wait())
        gone = self._client._disconnected  # noqa: SLF001  (aiomqtt's own iterator does the same)
        try:
            await asyncio.wait((coming, gone), timeout=longest_s, return_when=asyncio.FIRST_COMPLETED)
        finally:
            coming.cancel()
        self.check()

    def check(self) -> None:
        """Raise if the connection has gone.

        Raises:
            OutletFailed: it has.
        """
        gone = self._client._disconnected  # noqa: SLF001  (as above)
        if gone.done():
            error = gone.exception()
            raise self._broker.failed("has gone", why_gone(error) if error else "it said goodbye")

    def acknowledge(self, messages: Sequence[Heard]) -> None:
        """Tell the broker, in the order they came ([MQTT-4.6.0-2]), that messages are safe."""
        numbers = [message.number for message in messages if message.number]
        if numbers:
            self._client.acknowledge(numbers)

    async def demand(self, topics: Sequence[str], *, qos: int = 1, retained: bool = False) -> None:
        """As `subscribe`, of topics without which there is nothing to do.

        Raises:
            OutletFailed: no answer in time, or the broker does not let us have one of them.
        """
        if refused := await self.subscribe(topics, qos=qos, retained=retained):
            raise self._broker.failed(f"refuses the subscription to {refused[0]}", "not authorised")


@contextlib.asynccontextmanager
async def listening(
    broker: Broker, identifier: str, *, in_flight: int, session_s: int = SESSION_S
) -> AsyncIterator[Subscriber]:
    """Connect, and take up the session that was left.

    Args:
        broker: version 5.
        identifier: of the client; the session goes by it. Another client with the same one is thrown out.
        in_flight: most messages under way without acknowledgement, 1 to 65535.
        session_s: how long the broker keeps the session after the connection has gone; 0: not at all.

    Raises:
        OutletFailed: it cannot be reached, or does not let us in.
    """
    connect = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # paho has no types here
    connect.ReceiveMaximum = in_flight
    connect.SessionExpiryInterval = session_s
    words = await common_words(broker)
    client = _Ear(identifier=identifier, clean_start=session_s == 0, properties=connect, **words)
    await enter(client, broker)
    try:
        yield Subscriber(broker, client)
        with contextlib.suppress(aiomqtt.MqttError, OSError):
            await client.__aexit__(None, None, None)
    finally:
        client.abandon()
