"""The server inside the daemon's own loop: ends at once, takes no signal, is held up by no stuck page."""

from __future__ import annotations

import asyncio
import http.client
import signal
import socket
import time

import pytest

from acquire.errors import SteadyohmError
from acquire.page.access import PageGate
from acquire.page.app import Pages, read_assets
from acquire.page.backend import About
from acquire.page.bench_page import BenchPage, open_page
from acquire.page.serve import address_of, listening_socket
from acquire.page.stream import MOST_WAITING
from acquire.page.view import BenchView
from acquire.records import Purpose
from tests.waiting import crowding


@pytest.fixture
def page(tmp_path):
    """A page without a bench, bound to a free port."""
    view = BenchView(About("bench-1", Purpose.FINAL, "m", "", "steadyohm"))
    made = open_page("127.0.0.1", 0, tmp_path / "token", view)
    yield made
    made.close()


class Served:
    """A page that is served while the context lasts."""

    def __init__(self, page):
        self.page, self.stop = page, asyncio.Event()

    async def __aenter__(self):
        self.task = asyncio.create_task(self.page.run(self.stop))
        await asyncio.sleep(0.05)
        return self

    async def __aexit__(self, *_):
        self.stop.set()
        await asyncio.wait_for(self.task, 30.0)

    async def pipe(self, path="/events", room=None):
        """A raw connection that has asked for something."""
        loop, end = asyncio.get_running_loop(), socket.socket()
        if room:
            end.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, room)
        end.setblocking(False)
        await loop.sock_connect(end, ("127.0.0.1", self.page.port))
        await loop.sock_sendall(
            end, f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{self.page.port}\r\n\r\n".encode()
        )
        return end


async def hears(end, words, within_s=30.0):
    """Read until these bytes have come; gives all."""
    loop, told = asyncio.get_running_loop(), b""
    async with asyncio.timeout(within_s):
        while words not in told:
            piece = await loop.sock_recv(end, 65536)
            if not piece:
                raise AssertionError(f"it ended with {told[-200:]!r}")
            told += piece
    return told


async def test_it_ends_within_a_moment_with_pages_open(page):
    before = signal.getsignal(signal.SIGTERM), signal.getsignal(signal.SIGINT)
    async with Served(page) as served:
        ends = [await served.pipe() for _ in range(3)]
        for end in ends:
            await hears(end, b"event: state")
        assert (signal.getsignal(signal.SIGTERM), signal.getsignal(signal.SIGINT)) == before
        began_s = time.monotonic()
        served.stop.set()
        await asyncio.wait_for(served.task, 30.0)
        assert time.monotonic() - began_s < 0.5 * crowding()
    for end in ends:
        assert b"event: bye" in await hears(end, b"0\r\n\r\n")
        end.close()
    with pytest.raises(OSError, match="refused"):
        socket.create_connection(("127.0.0.1", address_port(page)), timeout=1.0)


def address_port(page):
    """The port that it had."""
    return page.gate.port


async def test_a_page_that_does_not_read_is_sent_the_whole_state_later_and_holds_nobody_up(page):
    """Bounded in between, whatever there is to tell."""
    async with Served(page) as served:
        stuck, quick = await served.pipe(room=4096), await served.pipe()
        await hears(quick, b"event: state")
        load = "x" * 40_000
        for number in range(3 * MOST_WAITING):
            page.stream.tell("trace", {"number": number, "load": load})
            if number % 20 == 0:
                await hears(quick, f'"number":{number},'.encode())
        await hears(quick, f'"number":{3 * MOST_WAITING - 1},'.encode())
        lines = sorted(page.stream.lines, key=lambda line: len(line._waiting))
        assert sum(len(part) for part in lines[-1]._waiting) < MOST_WAITING * 41_000
        assert any(line.behind for line in page.stream.lines)
        told = await hears(stuck, b"event: state", within_s=30.0)
        assert told.startswith(b"HTTP/1.1 200")
        began_s = time.monotonic()
        served.stop.set()
        await asyncio.wait_for(served.task, 30.0)
        assert time.monotonic() - began_s < 1.0 * crowding()
        stuck.close()
        quick.close()


async def test_a_page_that_leaves_is_forgotten(page):
    async with Served(page) as served:
        end = await served.pipe()
        await hears(end, b"event: state")
        assert len(page.stream.lines) == 1
        assert page.stream.watched.is_set()
        end.close()
        for _ in range(300):
            await asyncio.sleep(0.01 if page.stream.lines else 0)
        assert not page.stream.lines
        assert not page.stream.watched.is_set()


async def test_it_wakes_for_nothing(page):
    """Without a page open the loop has nothing to do: no timer, no tick."""
    async with Served(page):
        loop = asyncio.get_running_loop()
        await asyncio.sleep(0.2)
        ready = [handle for handle in loop._scheduled if not handle.cancelled()]
        assert len(ready) == 0


async def test_files_are_kept_by_browsers(page):
    async with Served(page):

        def ask(path, **fields):
            connection = http.client.HTTPConnection("127.0.0.1", page.port, timeout=5.0)
            connection.request("GET", path, headers={n.replace("_", "-"): v for n, v in fields.items()})
            answer = connection.getresponse()
            body = answer.read()
            connection.close()
            return answer, body

        whole, body = await asyncio.to_thread(ask, "/")
        assert whole.getheader("content-type") == "text/html; charset=utf-8"
        mark = page.stream.assets
        assert f'"/static/start.js?v={mark}"'.encode() in body
        again, nothing = await asyncio.to_thread(ask, "/", If_None_Match=whole.getheader("etag"))
        assert (again.status, nothing) == (304, b"")
        script, _ = await asyncio.to_thread(ask, f"/static/start.js?v={mark}")
        assert "immutable" in script.getheader("cache-control")
        assert script.getheader("content-type").startswith("text/javascript")
        old, _ = await asyncio.to_thread(ask, "/static/start.js?v=0123")
        assert old.getheader("cache-control") == "no-cache"


async def test_half_a_further_request_is_not_waited_for_without_end(page, monkeypatch):
    """Nor the rest of a body that was refused; a whole one in time keeps its connection."""
    monkeypatch.setattr("acquire.page.serve.HEAD_S", 0.3)
    async with Served(page) as served:
        loop, whole = asyncio.get_running_loop(), f"GET /now HTTP/1.1\r\nHost: 127.0.0.1:{page.port}\r\n\r\n"
        patient = await served.pipe("/now")
        await hears(patient, b"}")
        slow = await served.pipe("/now")
        await hears(slow, b"}")
        await loop.sock_sendall(slow, b"GET /now HT")
        body = await served.pipe("/nowhere")
        await hears(body, b"}")
        post = whole.replace("GET", "PUT").replace("\r\n\r\n", "\r\nContent-Length: 999\r\n\r\n")
        await loop.sock_sendall(body, post.encode())
        await hears(body, b"HTTP/1.1 4")
        await loop.sock_sendall(body, b"x")
        for end in (slow, body):
            with pytest.raises((AssertionError, ConnectionError)):
                await hears(end, b"never", 2.0)
            end.close()
        await loop.sock_sendall(patient, whole.encode())
        await hears(patient, b"HTTP/1.1 200")
        patient.close()


async def test_connections_beyond_the_most_are_cut_unheard(page, monkeypatch):
    monkeypatch.setattr("acquire.page.serve.MOST_OPEN", 3)
    async with Served(page) as served:
        kept = [await served.pipe("/now") for _ in range(3)]
        for end in kept:
            await hears(end, b"}")
        one_more = await served.pipe("/now")
        with pytest.raises((AssertionError, ConnectionError)):
            await hears(one_more, b"}", 2.0)
        kept.pop().close()
        await asyncio.sleep(0.05)
        again = await served.pipe("/now")
        await hears(again, b"HTTP/1.1 200")
        for end in (*kept, one_more, again):
            end.close()


def test_a_port_that_is_taken_is_told_in_a_sentence():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(SteadyohmError, match="cannot listen on"):
            listening_socket("127.0.0.1", taken.getsockname()[1])


def test_the_address_is_one_that_a_browser_takes():
    for host, shown in (("127.0.0.1", "http://127.0.0.1:"), ("::1", "http://[::1]:")):
        with listening_socket(host, 0) as listener:
            assert address_of(listener).startswith(shown)
    with listening_socket("0.0.0.0", 0) as listener:
        assert "0.0.0.0" not in address_of(listener)


def test_a_gate_and_its_pages_belong_together(page):
    assert isinstance(page, BenchPage)
    assert isinstance(page.gate, PageGate)
    assert isinstance(page.pages, Pages)
    assert page.stream.assets == read_assets().mark
