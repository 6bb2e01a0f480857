"""One connection to an MQTT broker, version 5 or 3.1.1: open, publish, listen, close.

The only module that knows aiomqtt (2.x; 3 is a rewrite with another interface). Whatever goes wrong is an
`OutletFailed`, and ends the connection: nothing is sent again inside it ([MQTT-4.4.0-1]). Not for what is
said (topics, payload) nor when (mqtt_outlet).
"""

from __future__ import annotations

import asyncio
import contextlib
import ssl
from collections.abc import AsyncIterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import aiomqtt
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions
from pydantic import Field

from acquire.files.network_tables import BrokerSettings
from acquire.outlets.outlet import OutletFailed

QUEUED = 32
"""Messages that may wait here; more are dropped, as the rate limit would do with them anyway."""

FAILED_FROM = 0x80
"""Reason codes from here on are failures (MQTT 5, 2.4; the same for a SUBACK of 3.1.1, 3.9.3)."""


class Broker(BrokerSettings):
    """Where to publish, and how to get in, with what the environment keeps secret.

    Only with version 5 can a broker refuse a message: with 3.1.1 one that may not be published, or is too
    large, is acknowledged and dropped. Certificate files are read anew at each connection, so that renewed
    ones are used without a restart.

    Attributes:
        user, password: None to come without; the password does not appear when this is printed.
        answer_s: longest wait for any answer, connecting included; shorter than what a stopping daemon has.
        largest_bytes: largest packet that we want to be sent (MQTT 5).
    """

    user: str | None = None
    password: str | None = Field(default=None, repr=False)
    answer_s: float = 3.0
    largest_bytes: int = 8192

    @classmethod
    def of(cls, settings: BrokerSettings, environment: Mapping[str, str]) -> Broker:
        """The broker of a file's table.

        Raises:
            InputImpossible: a variable is not set, or the password's file cannot be read.
        """
        user = settings.user_of(environment)
        return cls.model_construct(**dict(settings), user=user, password=settings.password_of(environment))

    def failed(self, what: str, error: BaseException | str) -> OutletFailed:
        """Say in a sentence what this broker did."""
        why = str(error) or type(error).__name__
        sentence = f"The broker {self.host}:{self.port} {what}: {why.rstrip('.')}."
        return OutletFailed(sentence, "What waits stays on the journal.")


@dataclass(frozen=True, slots=True)
class Heard:
    """A message that came in.

    Attributes:
        retained: the broker had kept it from before.
        number: packet identifier, to acknowledge by where that is done by hand; 0 for QoS 0.
    """

    payload: bytes
    retained: bool
    topic: str = ""
    number: int = 0


class MqttClient(aiomqtt.Client):
    """A client that also keeps what the broker says against a publish: aiomqtt 2.5 passes over it.

    A refusal stays for the life of the connection, which it ends. Two publishes may wait at once (a prompt, a
    verdict), and whichever is woken first must not use up what was said of the other.
    """

    refusal = ""

    def _on_publish(self, client: Any, userdata: Any, mid: int, reason_code: Any, properties: Any) -> None:
        if reason_code.is_failure:  # MQTT 5, 3.4.2.1: not authorised, quota exceeded, ...
            self.refusal = str(reason_code)
        super()._on_publish(client, userdata, mid, reason_code, properties)

    def abandon(self) -> None:
        """Close the socket at once, whatever state it is in.

        aiomqtt 2.5 leaves it open, read and pinged for ever when a broker takes the connection and never
        answers: one socket and one task for each attempt, and all of them would log in once it wakes.
        """
        if self._misc_task is not None:
            self._misc_task.cancel()
        open_socket = self._client.socket()
        if open_socket is not None and open_socket.fileno() >= 0:
            self._loop.remove_reader(open_socket.fileno())
            self._loop.remove_writer(open_socket.fileno())
            open_socket.close()
        for ended in (self._disconnected, self._connected):
            if ended.done() and not ended.cancelled():
                ended.exception()  # or asyncio complains that nobody looked


class Connection:
    """An open connection."""

    def __init__(self, broker: Broker, client: MqttClient) -> None:
        """Take over a client that is connected; `open_connection` is the way to get one."""
        self._broker = broker
        self._client = client
        self._is_5 = broker.version == "5"
        self._plain = _properties(PacketTypes.PUBLISH, None) if self._is_5 else None

    async def publish(
        self, topic: str, payload: bytes, *, qos: int = 0, retain: bool = False, expiry_s: int | None = None
    ) -> None:
        """Publish, and return when the broker has taken it (QoS 1) or it is on its way (QoS 0).

        Args:
            topic: full.
            payload: UTF-8 JSON, or empty to clear what is retained.
            qos: 0 or 1.
            retain: whether the broker keeps it for those who come later.
            expiry_s: MQTT 5: how long it may wait there.

        Raises:
            OutletFailed: no answer in time, or a refusal. It may have arrived all the same.
        """
        properties = self._plain
        if self._is_5 and expiry_s is not None:
            properties = _properties(PacketTypes.PUBLISH, expiry_s)
        try:
            await self._client.publish(topic, payload, qos=qos, retain=retain, properties=properties)
        except (aiomqtt.MqttError, ValueError) as error:
            raise self._broker.failed("does not take what is published", error) from error
        if self._client.refusal:
            raise self._broker.failed(f"refuses what is published on {topic}", self._client.refusal)

    async def subscribe(self, topics: Sequence[str], *, qos: int = 1, retained: bool = False) -> list[str]:
        """Ask for topics.

        Args:
            topics: filters; shared ones begin with $share/GROUP/.
            qos: 0 or 1.
            retained: whether to be told what the broker keeps of them; version 3.1.1 is always told.

        Returns:
            Those that the broker does not let us have.

        Raises:
            OutletFailed: no answer in time.
        """
        kept = SubscribeOptions.RETAIN_SEND_ON_SUBSCRIBE if retained else SubscribeOptions.RETAIN_DO_NOT_SEND
        how: Any = SubscribeOptions(qos=qos, retainHandling=kept) if self._is_5 else qos
        try:
            granted = await self._client.subscribe([(topic, how) for topic in topics])
        except (aiomqtt.MqttError, ValueError) as error:
            raise self._broker.failed("does not answer", error) from error
        codes = [code if isinstance(code, int) else code.value for code in granted]
        return [topic for topic, code in zip(topics, codes, strict=True) if code >= FAILED_FROM]

    async def messages(self) -> AsyncIterator[Heard]:
        """Give what comes in, one after the other.

        Raises:
            OutletFailed: the connection has gone; this is the first to notice.
        """
        try:
            async for message in self._client.messages:
                payload = message.payload if isinstance(message.payload, bytes) else b""
                yield Heard(payload, bool(message.retain), str(message.topic))
        except aiomqtt.MqttError as error:
            raise self._broker.failed("has gone", why_gone(error.__cause__ or error)) from error

    async def close(self) -> None:
        """Take leave, so that the broker does not speak the will, and close."""
        try:
            with contextlib.suppress(aiomqtt.MqttError, OSError):
                await self._client.__aexit__(None, None, None)
        finally:
            self.abandon()

    def abandon(self) -> None:
        """Close at once without a word; the broker speaks the will."""
        self._client.abandon()


async def open_connection(broker: Broker, identifier: str, will_topic: str, will: bytes) -> Connection:
    """Connect with a clean session.

    Args:
        broker: where to.
        identifier: of the client; a new connection with the same one replaces a half-dead one at once.
        will_topic: where the broker says, retained, that the connection broke.
        will: what it says then.

    Raises:
        OutletFailed: it cannot be reached, or does not let us in.
    """
    is_5 = broker.version == "5"
    connect = None
    if is_5:
        connect = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # paho has no types here
        connect.MaximumPacketSize = broker.largest_bytes
    will_properties = _properties(PacketTypes.WILLMESSAGE, None) if is_5 else None
    client = MqttClient(
        identifier=identifier,
        clean_session=None if is_5 else True,
        will=aiomqtt.Will(will_topic, will, 1, retain=True, properties=will_properties),
        max_queued_incoming_messages=QUEUED,
        properties=connect,
        **await common_words(broker),
    )
    await enter(client, broker)
    return Connection(broker, client)


async def common_words(broker: Broker) -> dict[str, Any]:
    """What every client is made with: address, login, protocol, patience, certificates.

    Raises:
        OutletFailed: a certificate file cannot be used.
    """
    return {
        "hostname": broker.host,
        "port": broker.port,
        "username": broker.user,
        "password": broker.password,
        "protocol": aiomqtt.ProtocolVersion.V5 if broker.version == "5" else aiomqtt.ProtocolVersion.V311,
        "timeout": broker.answer_s,
        "keepalive": max(1, round(broker.keepalive)),
        "tls_context": await asyncio.to_thread(_tls_context, broker) if broker.encrypted else None,
    }


async def enter(client: MqttClient, broker: Broker) -> None:
    """Connect; a client that cannot leaves nothing behind.

    Raises:
        OutletFailed: the broker cannot be reached, or does not let us in.
    """
    client._client.connect_timeout = broker.answer_s  # noqa: SLF001  (aiomqtt offers no way to set it)
    try:
        await client.__aenter__()
    except (aiomqtt.MqttError, OSError, ValueError) as error:
        await asyncio.sleep(0)  # what the connecting thread has left for the loop to do comes first
        client.abandon()
        raise broker.failed("cannot be reached", error) from error
    except asyncio.CancelledError:
        client.abandon()
        raise


def why_gone(error: BaseException) -> str:
    """What the library says of an end; its word for a connection that just broke tells nobody anything."""
    text = str(error)
    return "the connection broke" if "Unspecified error" in text else text


def _tls_context(broker: Broker) -> ssl.SSLContext:
    try:
        context = ssl.create_default_context(cafile=broker.ca)
        if broker.certificate is not None:
            context.load_cert_chain(broker.certificate, broker.key)
    except (OSError, ValueError) as error:  # an ssl.SSLError is an OSError
        raise broker.failed("cannot be reached, because a certificate file cannot be used", error) from error
    return context


def _properties(packet: int, expiry_s: int | None) -> Properties:
    properties = Properties(packet)  # type: ignore[no-untyped-call]  # paho has no types here
    properties.ContentType = "application/json"
    properties.PayloadFormatIndicator = 1  # UTF-8 text
    if expiry_s is not None:
        properties.MessageExpiryInterval = expiry_s
    return properties
