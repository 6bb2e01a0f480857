"""A page without a browser, for tests of the bench page: plain sockets. Not a test itself."""

from __future__ import annotations

import contextlib
import http.client
import itertools
import json
import socket
import threading
import time

from tests.waiting import PATIENCE_S

NUMBERS = itertools.count(1)


def asked(port, path, *, host="127.0.0.1", **fields):
    """GET; gives status, fields and body."""
    return _sent(port, "GET", path, None, host, fields)


def posted(port, path, body, *, host="127.0.0.1", **fields):
    """POST JSON as the page itself does; gives status, fields and body."""
    fields.setdefault("Origin", f"http://{host}:{port}")
    fields.setdefault("Content-Type", "application/json")
    text = body if isinstance(body, bytes) else json.dumps(body).encode()
    return _sent(port, "POST", path, text, host, fields)


def ordered(port, command, **words):
    """An order as the page sends it; gives the answer."""
    order = {"command": command, "correlation": f"test-{next(NUMBERS)}", **words}
    status, _, body = posted(port, "/orders", order)
    assert status == 200, body
    return json.loads(body)


def _sent(port, method, path, body, host, fields):
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENCE_S)
    named = {name.replace("_", "-"): value for name, value in fields.items()}
    try:
        connection.request(method, path, body, {"Host": f"{host}:{port}", **named})
        answer = connection.getresponse()
        return answer.status, dict(answer.getheaders()), answer.read()
    finally:
        connection.close()


def until_served(port, path="/now", within_s=PATIENCE_S, daemon=None):
    """Wait for the page's server; gives the state. Of a daemon that has ended its last words are told."""
    deadline = time.monotonic() + within_s
    while True:
        try:
            status, _, body = asked(port, path)
        except OSError:
            if daemon is not None and daemon.process.poll() is not None:
                raise AssertionError(daemon.lines.rest()) from None
            assert time.monotonic() < deadline, f"nothing is served on port {port}"
            time.sleep(0.02)
            continue
        assert status == 200, body
        return json.loads(body)


class Ear:
    """Follows the stream of one page in a thread; keeps every event with the time of its arrival."""

    def __init__(self, port):
        self.connection = http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENCE_S)
        self.connection.request("GET", "/events", headers={"Host": f"127.0.0.1:{port}"})
        self._pipe = self.connection.sock  # the connection forgets it: the answer has unlimited its own
        self.answer = self.connection.getresponse()
        self.heard = []
        self.ended, self.why = False, "at its end"
        self._news = threading.Condition()
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def _read(self):
        name = ""
        try:
            for line in self.answer:
                text = line.decode().rstrip("\n")
                if text.startswith("event: "):
                    name = text.removeprefix("event: ")
                elif text.startswith("data: "):
                    with self._news:
                        self.heard.append((name, json.loads(text.removeprefix("data: ")), time.time()))
                        self._news.notify_all()
        except (OSError, http.client.HTTPException) as error:
            self.why = repr(error)
        with self._news:
            self.ended = True
            self._news.notify_all()

    def until(self, name, fits=lambda _data: True, within_s=PATIENCE_S, start=0):
        """Wait for an event of this name that fits; gives its data and when it came."""
        deadline, place = time.monotonic() + within_s, start
        with self._news:
            while True:
                for heard, data, when in self.heard[place:]:
                    if heard == name and fits(data):
                        return data, when
                place = len(self.heard)
                left = deadline - time.monotonic()
                if left <= 0 or self.ended:
                    how = f"the stream ended ({self.why})" if self.ended else f"not within {within_s:g} s"
                    told = [f"{n} {sorted(d)}" for n, d, _ in self.heard[-6:]]
                    raise AssertionError(f"never heard {name!r}, {how}; last were {told}")
                self._news.wait(left)

    def phase(self, phase, within_s=PATIENCE_S, start=0):
        """Wait until the bench is in this phase."""
        return self.until("change", lambda data: data.get("phase") == phase, within_s, start)

    def mark(self):
        """Where the stream is now, for `until` and `phase`."""
        return len(self.heard)

    def of(self, name):
        """Data of all events of this name."""
        return [data for heard, data, _ in self.heard if heard == name]

    def close(self):
        """Leave, as a closed browser does."""
        with contextlib.suppress(OSError):
            self._pipe.shutdown(socket.SHUT_RDWR)
        self._thread.join(5.0)
        self.answer.close()
        self.connection.close()
        self._pipe.close()
