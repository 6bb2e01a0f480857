"""A stand-in for an MQTT 5 broker that answers as told, for refusals no real broker can be made to give.

It speaks only what one bench needs (MQTT 5, 3.1 to 3.14), from the standard's own tables. Not a test itself.
"""

import asyncio
import contextlib
import json
from collections import deque
from dataclasses import dataclass, field

CONNECT, CONNACK, PUBLISH, PUBACK, SUBSCRIBE, SUBACK, PINGREQ, PINGRESP, DISCONNECT = (
    1,
    2,
    3,
    4,
    8,
    9,
    12,
    13,
    14,
)
"""Packet types (MQTT 5, 2.1.2)."""


@dataclass
class StandIn:
    """Listens on a free loopback port.

    Attributes:
        connect_codes: reason codes of the next CONNACKs; 0 once they are used up (MQTT 5, 3.2.2.2).
        publish_codes: by the last part of a topic, reason codes of the next PUBACKs (3.4.2.1).
        held: topics' last parts whose PUBACK waits for the next publish, and goes out before or in one piece
            with that one's.
        goodbye: reason code of a DISCONNECT sent in place of the next PUBACK (3.14.2.1).
        taken: last part of topic and payload of everything acknowledged without a refusal.
    """

    connect_codes: deque = field(default_factory=deque)
    publish_codes: dict = field(default_factory=dict)
    held: set = field(default_factory=set)
    goodbye: int = 0
    taken: list = field(default_factory=list)
    connections: int = 0
    port: int = 0
    _server: asyncio.Server | None = None
    _tasks: set = field(default_factory=set)

    async def __aenter__(self):
        self._server = await asyncio.start_server(self._serve, "127.0.0.1", 0)
        self.port = self._server.sockets[0].getsockname()[1]
        return self

    async def __aexit__(self, *_):
        self._server.close()
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    def ids(self):
        """Of the verdicts taken, in order."""
        return [json.loads(payload)["id"] for last, payload in self.taken if last == "verdict"]

    async def _serve(self, reader, writer):
        self._tasks.add(asyncio.current_task())
        self.connections += 1
        waiting = b""
        with contextlib.suppress(OSError, asyncio.IncompleteReadError):
            while True:
                kind, flags, body = await _packet(reader)
                if kind == CONNECT:
                    code = self.connect_codes.popleft() if self.connect_codes else 0
                    writer.write(bytes([CONNACK << 4, 3, 0, code, 0]))
                    if code:
                        break
                elif kind == PUBLISH and flags & 0b110:
                    answer = self._puback(body)
                    if answer is None:
                        waiting += self._waiting
                        continue
                    writer.write(waiting + answer)
                    waiting = b""
                    if answer[0] >> 4 == DISCONNECT:
                        break
                elif kind == SUBSCRIBE:
                    writer.write(bytes([SUBACK << 4, 4]) + body[:2] + b"\0\1")
                elif kind == PINGREQ:
                    writer.write(bytes([PINGRESP << 4, 0]))
                elif kind == DISCONNECT:
                    break
                await writer.drain()
            await writer.drain()
        writer.close()

    def _puback(self, body):
        """Answer to one PUBLISH; None where it is to wait."""
        length = int.from_bytes(body[:2])
        last = body[2 : 2 + length].decode().rpartition("/")[2]
        rest = body[2 + length :]
        number, rest = rest[:2], rest[2:]
        payload = rest[1 + rest[0] :]  # properties shorter than 128 bytes: one byte of length
        if self.goodbye and last == "verdict":
            code, self.goodbye = self.goodbye, 0
            return bytes([DISCONNECT << 4, 2, code, 0])
        codes = self.publish_codes.get(last)
        code = codes.popleft() if codes else 0
        if not code:
            self.taken.append((last, payload))
        answer = bytes([PUBACK << 4, 3]) + number + bytes([code])
        if last in self.held:
            self.held.discard(last)
            self._waiting = answer
            return None
        return answer


async def _packet(reader):
    """One control packet: type, flags, what follows the fixed header (MQTT 5, 2.1)."""
    (first,) = await reader.readexactly(1)
    length, shift = 0, 0
    while True:
        (digit,) = await reader.readexactly(1)
        length |= (digit & 127) << shift
        shift += 7
        if digit < 128:
            break
    return first >> 4, first & 15, await reader.readexactly(length)
