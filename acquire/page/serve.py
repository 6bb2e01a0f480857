"""uvicorn as one task of the daemon's own group: takes no signal, ends at once when told, wakes for nothing.

Measured of uvicorn as it comes: it takes SIGINT and SIGTERM, and raises them anew after it has ended, which
kills the process before anything is written; it waits for ever for a page that listens; it wakes ten times a
second. All three are other here. Not for what is answered (app).
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import socket
from collections.abc import Generator
from typing import Any

import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from acquire.errors import SteadyohmError
from acquire.files.network_tables import is_loopback
from system.sockets import take_port

MOST_CONNECTIONS = 96
"""At once; a browser opens up to six for one page."""

LARGEST_HEAD_BYTES = 16_384
"""Of a request with all its fields."""

MOST_OPEN = 2 * MOST_CONNECTIONS
"""Connections beyond are cut unheard: each takes a file of the daemon's, which needs some for its record."""

HEAD_S = 10.0
"""From connecting, or from the first byte of a further request, to the end of its fields."""

LEAVE_S = 0.3
"""So long answers under way may take after the stop; then their connections are cut."""

STUCK_S = 20.0
"""A page that has taken nothing for so long is gone: a lid closed, a cable pulled (RFC 5482)."""

KEEP_ALIVE_S = 30
"""A connection without a request for so long is closed."""


def listening_socket(host: str, port: int) -> socket.socket:
    """Take the address before anything else is begun.

    Args:
        host: address of this machine.
        port: TCP port; 0 takes a free one.

    Raises:
        SteadyohmError: it cannot be had.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listener = socket.socket(family, socket.SOCK_STREAM)
    try:
        take_port(listener)
        if hasattr(socket, "TCP_USER_TIMEOUT"):
            listener.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, round(STUCK_S * 1000))
        listener.bind((host, port))
        listener.listen(MOST_CONNECTIONS)
        listener.setblocking(False)  # noqa: FBT003  (its only parameter)
    except OSError as error:
        listener.close()
        raise SteadyohmError(
            f"The bench page cannot listen on {host} port {port} ({error.strerror or error}).",
            "Name another port in [page]; or is this bench running already?",
        ) from error
    return listener


def address_of(listener: socket.socket) -> str:
    """What to open in a browser."""
    host, port = listener.getsockname()[:2]
    if host in ("0.0.0.0", "::"):
        host = _address_in_network(host)
    shown = f"[{host}]" if ":" in host else host
    return f"http://{shown}:{port}/"


def _address_in_network(host: str) -> str:
    """The address of this machine that others see; nothing is sent to find it out."""
    six = ":" in host
    family, far = (socket.AF_INET6, "2001:db8::1") if six else (socket.AF_INET, "192.0.2.1")  # RFC 3849, 5737
    with socket.socket(family, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect((far, 9))
            found = str(probe.getsockname()[0])
        except OSError:
            found = ""
    return found if found and not is_loopback(found) else socket.gethostname()


class _Protocol(H11Protocol):
    """One connection, that must ask for something within reasonable time, each time that it begins to."""

    _patience: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        if len(self.connections) > MOST_OPEN:
            transport.abort()
        self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        self._wait_no_more()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        if not self._half_asked():
            self._wait_no_more()
        elif self._patience is None:
            self._wait()

    def _half_asked(self) -> bool:
        """Whether nothing is being answered, and what came ended the time that a silent page is kept for."""
        answered = self.cycle is None or self.cycle.response_complete
        return answered and self.timeout_keep_alive_task is None

    def _wait(self) -> None:
        self._patience = self.loop.call_later(HEAD_S, self._too_slow)

    def _wait_no_more(self) -> None:
        if self._patience is not None:
            self._patience.cancel()
            self._patience = None

    def _too_slow(self) -> None:
        self._patience = None
        if self._half_asked():
            self.transport.abort()


class _Server(uvicorn.Server):
    """A server whose life is in the hands of the daemon."""

    def __init__(self, config: uvicorn.Config, stop: asyncio.Event) -> None:
        super().__init__(config)
        self._stop = stop

    @contextlib.contextmanager
    def capture_signals(self) -> Generator[None, None, None]:
        """Signals are the daemon's."""
        yield

    async def main_loop(self) -> None:
        """Sleep until the stop."""
        await self._stop.wait()

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Let answers under way end, for a moment; then cut."""
        for server in self.servers:
            server.close()
        for listener in sockets or ():
            listener.close()
        state = self.server_state
        for connection in list(state.connections):
            connection.shutdown()
        if state.tasks:
            _, late = await asyncio.wait(state.tasks, timeout=LEAVE_S)
            for task in late:
                task.cancel()
            await asyncio.gather(*late, return_exceptions=True)
        for left in list(state.connections):
            left.transport.abort()


async def serve(app: Any, listener: socket.socket, stop: asyncio.Event) -> None:
    """Answer until the stop; the socket is closed then, whatever happens.

    Args:
        app: ASGI application.
        listener: bound and listening.
        stop: ends it.
    """
    logging.getLogger("uvicorn").setLevel(logging.CRITICAL)  # what a client does wrong is no news
    config = uvicorn.Config(
        app,
        http=_Protocol,
        ws="none",
        lifespan="off",
        interface="asgi3",
        log_config=None,
        access_log=False,
        proxy_headers=False,
        server_header=False,
        date_header=False,
        limit_concurrency=MOST_CONNECTIONS,
        timeout_keep_alive=KEEP_ALIVE_S,
        h11_max_incomplete_event_size=LARGEST_HEAD_BYTES,
    )
    try:
        await _Server(config, stop).serve(sockets=[listener])
    finally:
        listener.close()
