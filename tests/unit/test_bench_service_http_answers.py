"""The two answers over HTTP, by real connections on loopback; the wire format is RFC 9112's."""

import asyncio
import contextlib
import http.client
import socket

import pytest

from acquire.bench.service import answering
from acquire.errors import SteadyohmError

PATHS = {
    "/metrics": lambda: (200, "text/plain", b"up 1\n"),
    "/health": lambda: (503, "a/b", b"{}"),
}
HOST = b"Host: bench\r\n\r\n"


async def asked(port, request):
    """Everything that comes back on one connection."""
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    writer.write(request)
    with contextlib.suppress(ConnectionError):
        await writer.drain()
    try:
        return await asyncio.wait_for(reader.read(), 10.0)
    except ConnectionError:
        return b""
    finally:
        writer.close()


async def test_what_is_asked_is_answered_and_the_connection_closed():
    """Status, fields and body; a query behind the path changes nothing."""
    async with answering("127.0.0.1", 0, PATHS) as port:
        answer = await asked(port, b"GET /metrics?a=b HTTP/1.1\r\nHost: bench\r\n\r\n")
        ill = await asked(port, b"GET /health HTTP/1.0\r\n\r\n")

    head, _, body = answer.partition(b"\r\n\r\n")
    assert head.split(b"\r\n")[0] == b"HTTP/1.1 200 OK"
    fields = set(head.lower().split(b"\r\n"))
    assert {b"content-type: text/plain", b"content-length: 5", b"connection: close"} <= fields
    assert body == b"up 1\n"
    assert ill.startswith(b"HTTP/1.1 503 Service Unavailable\r\n")


async def test_a_client_library_understands_it():
    """Python's own http.client, HEAD included: the same fields and no body (RFC 9110, 9.3.2)."""

    def ask(port, method):
        client = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
        client.request(method, "/metrics")
        response = client.getresponse()
        told = response.status, response.getheader("Content-Length"), response.read()
        client.close()
        return told

    async with answering("127.0.0.1", 0, PATHS) as port:
        assert await asyncio.to_thread(ask, port, "GET") == (200, "5", b"up 1\n")
        assert await asyncio.to_thread(ask, port, "HEAD") == (200, "5", b"")


@pytest.mark.parametrize(
    ("request_", "status"),
    [
        (b"POST /metrics HTTP/1.1", b"405 Method Not Allowed"),
        (b"DELETE / HTTP/1.1", b"405 Method Not Allowed"),
        (b"GET / HTTP/1.1", b"404 Not Found"),
        (b"GET /metrics/../../etc/passwd HTTP/1.1", b"404 Not Found"),
        (b"GET //metrics HTTP/1.1", b"404 Not Found"),
        (b"GET http://other/metrics HTTP/1.1", b"404 Not Found"),
        (b"GET /metrics", b"400 Bad Request"),
        (b"GET /metrics HTTP/2", b"400 Bad Request"),
        (b"\x16\x03\x01\x02\x00", b"400 Bad Request"),
        (b"", b"400 Bad Request"),
    ],
)
async def test_nothing_else_is_served(request_, status):
    """No other path, method or protocol."""
    async with answering("127.0.0.1", 0, PATHS) as port:
        answer = await asked(port, request_ + b"\r\n" + HOST)

    assert answer.startswith(b"HTTP/1.1 " + status + b"\r\n")
    assert (b"allow: get, head" in answer.lower()) == status.startswith(b"405")


async def test_a_request_without_an_end_is_refused_when_it_is_too_large():
    """Nothing is kept in memory for whoever sends for ever."""
    async with answering("127.0.0.1", 0, PATHS) as port:
        answer = await asked(port, b"GET /metrics HTTP/1.1\r\nX: " + b"x" * 100_000)

    assert answer == b"" or answer.startswith(b"HTTP/1.1 400 ")


async def test_leaving_takes_open_connections_along():
    """A monitor that hangs does not hold up the stop."""
    async with answering("127.0.0.1", 0, PATHS) as port:
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        await asyncio.sleep(0.05)
    with contextlib.suppress(ConnectionError):
        assert await asyncio.wait_for(reader.read(), 1.0) == b""
    writer.close()


async def test_a_port_that_is_taken_is_one_sentence():
    """With what to do."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(SteadyohmError, match=r"cannot listen on 127.0.0.1 port \d+ .*\[http\]"):
            async with answering("127.0.0.1", taken.getsockname()[1], PATHS):
                pass
