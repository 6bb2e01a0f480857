"""Who is let in to the bench page of the real daemon: requests, orders, pages and tokens from strangers."""

from __future__ import annotations

import contextlib
import http.client
import json
import re
import socket
import time

import pytest

from tests.commanded import commanded
from tests.page_client import asked, ordered, posted, until_served
from tests.paged_daemon import heard, lonely, page_file
from tests.waiting import PATIENCE_S, wait_until
from tests.whole_bench import (
    free_port,
    running,
)


@pytest.mark.parametrize(
    ("path", "fields", "status"),
    [
        ("/now", {"Host": "evil.example"}, 421),
        ("/now", {"Host": "evil.example:{port}"}, 421),
        ("/now", {"Host": "127.0.0.1.evil.example:{port}"}, 421),
        ("/now", {"Host": "[::1"}, 421),
        ("/now", {"Host": ""}, 421),
        ("/now", {"Host": "localhost:{port}"}, 200),
        ("/now", {"Host": "192.0.2.7:{port}"}, 421),
        ("/events", {"Sec-Fetch-Site": "cross-site"}, 403),
        ("/static/start.js", {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "no-cors"}, 403),
        ("/", {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate"}, 200),
        ("/static/../app.py", {}, 404),
        ("/static/..%2fapp.py", {}, 404),
        ("/static/bench.html", {}, 404),
        ("/static/%00", {}, 404),
        ("/nowhere", {}, 404),
        ("/unit?serial=%ff%00%0a", {}, 404),
    ],
)
def test_strange_requests_are_refused(lonely_page, path, fields, status):
    """By their Host, by where they come from, by what they ask for; always with the security fields."""
    port = lonely_page
    sent = {name: value.format(port=port) for name, value in fields.items()}
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENCE_S)
    with contextlib.closing(connection):
        connection.putrequest("GET", path, skip_host="Host" in sent)
        for name, value in sent.items():
            connection.putheader(name, value)
        connection.endheaders()
        answer = connection.getresponse()
        assert answer.status == status
        assert "default-src 'none'" in answer.getheader("content-security-policy")
        assert answer.getheader("x-content-type-options") == "nosniff"


@pytest.fixture(scope="module")
def lonely_page(tmp_path_factory):
    """One daemon for many short questions."""
    with lonely(tmp_path_factory.mktemp("lonely")) as (port, _):
        yield port


@pytest.mark.parametrize(
    ("body", "fields", "status", "words"),
    [
        (b"{}", {"Origin": "http://evil.example"}, 403, "own page"),
        (b"{}", {"Origin": "null"}, 403, "own page"),
        (b"{}", {"Origin": "https://127.0.0.1"}, 403, "own page"),
        (b"{}", {"Sec-Fetch-Site": "cross-site"}, 403, "own page"),
        (b'{"command": "stop", "correlation": "x"}', {"Content-Type": "text/plain"}, 200, "no JSON"),
        (b"[" * 3000, {}, 200, "no JSON"),
        (b"\xff\xfe", {}, 200, "no JSON"),
        (b"{}", {}, 200, "correlation"),
        (b'{"command": "reboot", "correlation": "x"}', {}, 200, "No such command"),
        (b'{"command": "note", "correlation": "y", "text": "a\\u0000b"}', {}, 200, "cannot be printed"),
        (b'{"command": "note", "correlation": "z", "text": 7}', {}, 200, "must be a text"),
        (b" " * 5000, {}, 413, "too large"),
    ],
)
def test_strange_orders_are_refused_in_a_sentence(lonely_page, body, fields, status, words):
    """From elsewhere, in another form, too large, or meaningless."""
    time.sleep(0.25)  # the desk takes five a second
    got, _, answer = posted(lonely_page, "/orders", body, **fields)
    assert got == status
    told = json.loads(answer)
    assert words in (told.get("error") or told["reason"])
    assert not told.get("done")


def test_an_order_without_an_origin_is_no_order_of_the_page(lonely_page):
    """Browsers always send one with a POST."""
    connection = http.client.HTTPConnection("127.0.0.1", lonely_page, timeout=PATIENCE_S)
    with contextlib.closing(connection):
        connection.request("POST", "/orders", b"{}", {"Content-Type": "application/json"})
        assert connection.getresponse().status == 403


def test_a_body_that_never_ends_and_a_head_that_never_comes_hold_nobody_up(lonely_page):
    """The page is served meanwhile."""
    with (
        socket.create_connection(("127.0.0.1", lonely_page)) as slow,
        socket.create_connection(("127.0.0.1", lonely_page)) as mute,
    ):
        head = f"POST /orders HTTP/1.1\r\nHost: 127.0.0.1:{lonely_page}\r\nOrigin: http://127.0.0.1:{lonely_page}\r\n"
        slow.sendall(f"{head}Content-Type: application/json\r\nContent-Length: 4000\r\n\r\n{{".encode())
        mute.sendall(b"GET / HT")
        assert asked(lonely_page, "/")[0] == 200
        slow.settimeout(PATIENCE_S)
        told = b""
        while b"no JSON" not in told:
            piece = slow.recv(4000)
            assert piece, told
            told += piece


def test_a_head_without_end_is_cut(lonely_page):
    """Sixteen kilobytes are enough for anybody."""
    with socket.create_connection(("127.0.0.1", lonely_page), timeout=PATIENCE_S) as pipe:
        with contextlib.suppress(OSError):
            pipe.sendall(
                f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{lonely_page}\r\n".encode() + b"X: " + b"a" * 60_000
            )
        with contextlib.suppress(OSError):
            assert b"200 OK" not in pipe.recv(4000)


def test_too_many_pages_are_told(lonely_page):
    """The twenty-fifth; there is room again when one has gone."""
    with contextlib.ExitStack() as pages:
        ears = [pages.enter_context(heard(lonely_page)) for _ in range(24)]
        for ear in ears:
            ear.until("state")
        status, _, body = asked(lonely_page, "/events")
        assert (status, json.loads(body)["error"]) == (503, "24 pages are open already: close one.")

    def let_in():
        again = http.client.HTTPConnection("127.0.0.1", lonely_page, timeout=PATIENCE_S)
        with contextlib.closing(again):
            again.request("GET", "/events")
            return again.getresponse().status == 200

    wait_until(let_in)


def test_a_page_for_the_network_wants_the_token_once(tmp_path):
    """Nothing without it, a cookie with it; the file is its owner's, and a log is not told."""
    with paged_network(tmp_path) as (port, daemon):
        file = tmp_path / "journal" / "page-token"
        token = file.read_text(encoding="ascii").strip()
        assert file.stat().st_mode & 0o077 == 0
        wrong = token[:-1] + ("y" if token.endswith("x") else "x")
        for path in ("/", "/now", "/events", "/static/start.js", "/?token=", f"/?token={wrong}"):
            assert asked(port, path)[0] == 401, path
        assert posted(port, "/orders", {"command": "stop", "correlation": "x"})[0] == 401
        status, fields, body = asked(port, f"/?token={token}")
        assert status == 200
        assert b"refresh" in body
        cookie = fields["set-cookie"]
        assert re.search(r"HttpOnly; SameSite=Strict", cookie)
        known = cookie.partition(";")[0]
        assert asked(port, "/now", Cookie=known)[0] == 200
        assert asked(port, "/now", Cookie=known.replace(token, "x" * len(token)))[0] == 401
        assert asked(port, "/now", host="evil.example", Cookie=known)[0] == 421
        assert asked(port, "/now", host="bench-1.lan", Cookie=known)[0] == 200
        code, shown = daemon.end()
        assert code == 0
        assert token not in shown
        assert "page-token" in shown


@contextlib.contextmanager
def paged_network(folder):
    """A page that others may reach (here nobody does: the test asks over the loopback)."""
    port = free_port()
    file = page_file(folder, free_port(), port, 'host = "0.0.0.0"\nnames = ["bench-1.lan"]\n')
    with running(file) as daemon:
        daemon.until("The bench page")
        yield port, daemon


def test_a_token_file_that_others_may_read_is_refused(tmp_path):
    """In a sentence, before anything is listened on."""
    file = page_file(tmp_path, free_port(), free_port(), 'host = "0.0.0.0"\ntoken_file = "token"\n')
    (tmp_path / "token").write_text("a" * 30, encoding="ascii")
    (tmp_path / "token").chmod(0o644)
    done = commanded("run", file)
    assert done.returncode == 1
    assert "Others may read the token file" in done.stderr


def test_a_port_that_is_taken_is_a_sentence(tmp_path):
    """And the journal is given back."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        file = page_file(tmp_path, free_port(), taken.getsockname()[1])
        done = commanded("run", file)
    assert done.returncode == 1
    assert "The bench page cannot listen on 127.0.0.1" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_page_may_only_look_on(tmp_path):
    """Orders are refused where the bench file says so."""
    with lonely(tmp_path, "commands = false\n") as (port, _):
        assert not until_served(port)["orders"]
        status, _, body = posted(port, "/orders", {"command": "stop", "correlation": "x"})
        assert status == 403
        assert "takes no commands" in json.loads(body)["error"]


def test_a_page_ends_the_bench_only_where_its_file_says_so(lonely_page, tmp_path):
    """By default a stop is refused, with the key that allows it, and the bench goes on; allowed, it ends."""
    order = {"command": "stop", "correlation": "x"}
    status, _, body = posted(lonely_page, "/orders", order)
    assert (status, json.loads(body)["done"]) == (200, False)
    assert "stop = true in [page]" in json.loads(body)["reason"]
    assert ordered(lonely_page, "note", text="still here")["done"]
    with lonely(tmp_path, "stop = true\n") as (port, daemon):
        assert json.loads(posted(port, "/orders", order)[2])["done"]
        assert daemon.process.wait(PATIENCE_S) == 0
