"""Answers a question or two over HTTP and nothing else: a few lines of HTTP/1.1 (RFC 9112).

One request a connection, GET or HEAD only, small and quick or not at all. Nothing that a client sends is kept
or acted on. Not for what the answers say (outlets.metrics), nor for pages that people look at.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable, Mapping
from dataclasses import dataclass
from http import HTTPStatus

from acquire.errors import SteadyohmError

LARGEST_BYTES = 4096
"""Of a request with all its fields; a monitor's has a few hundred."""

PATIENCE_S = 5.0
"""From connecting to the last byte of the answer."""

AT_ONCE = 16
"""Connections; one more is closed unheard."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What is sent back.

    Attributes:
        status: HTTP status.
        content_type: of the body.
        body: the bytes.
    """

    status: int
    content_type: str
    body: bytes


Paths = Mapping[str, Callable[[], Answer]]
"""Path, and what gives the answer."""


@contextlib.asynccontextmanager
async def answering(host: str, port: int, paths: Paths) -> AsyncIterator[int]:
    """Listen while the context lasts.

    Args:
        host: address to listen on.
        port: TCP port; 0 takes a free one.
        paths: what is answered.

    Yields:
        The port.

    Raises:
        SteadyohmError: the address cannot be had.
    """
    counter = _Counter(paths)
    try:
        server = await asyncio.start_server(counter.serve, host, port, limit=LARGEST_BYTES)
    except OSError as error:
        raise SteadyohmError(
            f"The bench cannot listen on {host} port {port} ({error.strerror or error}).",
            "Name another port in [http], or leave the table out.",
        ) from error
    try:
        yield int(server.sockets[0].getsockname()[1])
    finally:
        server.close()
        for task in counter.tasks:
            task.cancel()
        await asyncio.gather(*counter.tasks, return_exceptions=True)


class _Counter:
    """Where requests are handed in."""

    def __init__(self, paths: Paths) -> None:
        self.tasks: set[asyncio.Task[None]] = set()
        self._paths = paths

    def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Take one connection."""
        if len(self.tasks) >= AT_ONCE:
            writer.transport.abort()
            return
        task = asyncio.get_running_loop().create_task(self._answer(reader, writer), name="http answer")
        self.tasks.add(task)
        task.add_done_callback(self.tasks.discard)

    async def _answer(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            async with asyncio.timeout(PATIENCE_S):
                writer.write(await self._reply(reader))
                await writer.drain()
                writer.close()
                await writer.wait_closed()
        except (OSError, TimeoutError, asyncio.IncompleteReadError):
            pass  # whoever asked has left, or never finished asking
        finally:
            writer.transport.abort()

    async def _reply(self, reader: asyncio.StreamReader) -> bytes:
        try:
            request = await reader.readuntil(b"\r\n\r\n")
        except asyncio.LimitOverrunError:
            return spelt(_plain(HTTPStatus.REQUEST_HEADER_FIELDS_TOO_LARGE))
        return reply_to(request.partition(b"\r\n")[0], self._paths)


def reply_to(first_line: bytes, paths: Paths) -> bytes:
    """Give the whole reply to a request's first line (RFC 9112, 3)."""
    parts = first_line.split(b" ")
    if len(parts) != 3 or not parts[2].startswith(b"HTTP/1."):
        return spelt(_plain(HTTPStatus.BAD_REQUEST))
    method, target, _ = parts
    if method not in (b"GET", b"HEAD"):
        return spelt(_plain(HTTPStatus.METHOD_NOT_ALLOWED), b"Allow: GET, HEAD\r\n")
    answer = paths.get(target.partition(b"?")[0].decode("ascii", "replace"))
    return spelt(_plain(HTTPStatus.NOT_FOUND) if answer is None else answer(), head=method == b"HEAD")


def spelt(answer: Answer, fields: bytes = b"", *, head: bool = False) -> bytes:
    """Spell an answer with its fields; without its body for HEAD."""
    status = HTTPStatus(answer.status)
    start = (
        f"HTTP/1.1 {status.value} {status.phrase}\r\n"
        f"Content-Type: {answer.content_type}\r\n"
        f"Content-Length: {len(answer.body)}\r\n"
        "Cache-Control: no-store\r\n"
        "Connection: close\r\n"
    )
    return start.encode("ascii") + fields + b"\r\n" + (b"" if head else answer.body)


def _plain(status: HTTPStatus) -> Answer:
    return Answer(status, "text/plain; charset=utf-8", f"{status.phrase}\n".encode())
