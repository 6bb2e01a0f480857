"""The bench page before the real daemon: real processes, real sockets, no browser (see test_page_browser)."""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import re
import signal
import socket
import statistics
import subprocess
import sys
import time

import pytest

from tests.page_client import Ear, asked, ordered, posted, until_served
from tests.waiting import PATIENCE_S, crowding, wait_until
from tests.whole_bench import (
    CONFIGS,
    Typed,
    bench_file,
    free_port,
    journal_entries,
    running,
    simulated,
)

SHEET = str(CONFIGS / "sheets" / "plover-80.toml")
STEPS = (("1", "2"), ("2", "3"))


class Bench:
    """A simulated bench with its page: two steps of the sheet, that is enough of a unit."""

    def __init__(self, sim, daemon, port, file):
        self.sim, self.daemon, self.port, self.file = sim, daemon, port, file

    def touch(self, *pins):
        time.sleep(0.2)
        self.sim.type(" ".join(pins))
        self.sim.until("probes on")

    def lift(self):
        self.sim.type("lift")
        self.sim.until("probes in the air")


def page_file(folder, meter_port, page_port, more=""):
    """A bench file with a page, and a sheet of its own with two steps."""
    head, *steps = (CONFIGS / "sheets" / "plover-80.toml").read_text(encoding="utf-8").split("[[step]]")
    (folder / "sheet.toml").write_text("[[step]]".join([head, *steps[:2]]), encoding="utf-8")
    file = bench_file(folder, meter=f"tcp:127.0.0.1:{meter_port}", changes=[(SHEET, "sheet.toml")])
    with file.open("a", encoding="utf-8") as text:
        text.write(f"\n[page]\nport = {page_port}\n{more}")
    return file


@contextlib.contextmanager
def paged(folder, more="", speed=16.0):
    """Simulation and daemon, each a process."""
    meter_port, page_port = free_port(), free_port()
    file = page_file(folder, meter_port, page_port, more)
    with simulated(meter_port, speed=speed) as sim, running(file) as daemon:
        until_served(page_port, daemon=daemon)
        yield Bench(sim, daemon, page_port, file)


@contextlib.contextmanager
def heard(port):
    """One page."""
    ear = Ear(port)
    try:
        yield ear
    finally:
        ear.close()


@contextlib.contextmanager
def lonely(folder, more="", **options):
    """A daemon with a page whose meter does not answer."""
    page_port = free_port()
    file = page_file(folder, free_port(), page_port, more)
    with running(file, **options) as daemon:
        until_served(page_port, daemon=daemon)
        yield page_port, daemon


# ------------------------------------------------------------------ a unit


def test_a_unit_reaches_two_pages_step_by_step(tmp_path):
    """Prompt, contact, trace, verdict, result, each with its cue; a page that comes later knows it all."""
    with paged(tmp_path) as bench, heard(bench.port) as ear, heard(bench.port) as other:
        state, _ = ear.until("state")
        assert [pin["name"] for pin in state["face"]["pins"]] == ["1", "2", "3", "4", "5", "6"]
        assert (state["face"]["view"], state["face"]["latch"]) == ("mating", "top")
        assert ordered(bench.port, "start_unit", serial="P80-0001")["done"]
        ear.phase("duty")
        bench.sim.type("short")
        ear.until("cue", lambda cue: cue["sound"] == "done")
        bench.lift()
        asked_for, _ = ear.until("change", lambda data: (data.get("ask") or {}).get("pair") == ["1", "2"])
        assert asked_for["ask"]["text"] == "Touch 1–2 (slow charge)."
        bench.touch("1", "2")
        ear.until("trace", lambda data: data["new"])
        verdict, _ = ear.until("change", lambda data: data.get("verdict"))
        told = verdict["verdict"]
        assert (told["pair"], told["outcome"], told["unit"]) == (["1", "2"], "pass", "Ω")
        assert told["lower_ohm"] < told["value_ohm"] < told["upper_ohm"]
        assert ear.until("cue", lambda cue: cue["sound"] == "pass")[0]["say"] == "Pass."
        bench.lift()
        bench.touch("2", "3")
        ear.until("change", lambda data: (data.get("verdict") or {}).get("pair") == ["2", "3"])
        bench.lift()
        bench.touch("1", "2")  # the repetition that asks whether the unit is warm
        result, _ = ear.until("change", lambda data: data.get("result"))
        assert (result["result"]["outcome"], result["result"]["word"]) == ("pass", "pass")
        assert other.until("change", lambda data: data.get("result"))[0]["result"] == result["result"]
        with heard(bench.port) as late:
            whole, _ = late.until("state")
        assert whole["result"] == result["result"]
        assert [step["outcome"] for step in whole["unit"]["steps"][:2]] == ["pass", "pass"]
        traces = [point for data in ear.of("trace") for point in data["points"]]
        assert len(traces) > 10
    [verdict, *_] = [entry.payload for entry in journal_entries(tmp_path, "verdict")]
    assert verdict["reference_ohm"] == pytest.approx(told["value_ohm"])


def test_the_record_says_that_an_order_came_from_the_page(tmp_path):
    """A remark in its own words; the same correlation is not done twice."""
    with lonely(tmp_path) as (port, daemon):
        order = {"command": "note", "correlation": "one", "text": "spool ran out"}
        for _ in range(2):
            assert json.loads(posted(port, "/orders", order)[2])["done"]
        refused = json.loads(
            posted(port, "/orders", {"command": "skip_step", "correlation": "two", "reason": "x"})[2]
        )
        assert refused == {"done": False, "reason": refused["reason"]}
        assert "no unit on the bench" in refused["reason"]
        assert daemon.end()[0] == 0
    notes = [e.payload["text"] for e in journal_entries(tmp_path, "notice") if e.payload["code"] == "note"]
    assert notes == ["spool ran out (on the page)"]


def test_what_is_asked_of_the_record_is_answered(tmp_path):
    """Unit, history, list of units, lead zeros, tests, a scanned code; what is unknown is a sentence."""
    with paged(tmp_path) as bench, heard(bench.port) as ear:
        ordered(bench.port, "start_unit", serial="P80-0001")
        bench.sim.type("short")
        ear.until("cue", lambda cue: cue["sound"] == "done")
        bench.lift()
        bench.touch("1", "2")
        ear.until("change", lambda data: data.get("verdict"))
        ordered(bench.port, "give_up_unit", reason="lunch")
        ear.until("change", lambda data: data.get("result"))

        def answer(path):
            status, _, body = asked(bench.port, path)
            return status, json.loads(body)

        status, unit = answer("/unit?serial=P80-0001")
        assert (status, unit["ongoing"], unit["held"]) == (200, False, "given up: lunch (on the page)")
        assert len(unit["verdicts"][0]["trace"]) > 3
        status, history = answer("/history?serial=P80-0001")
        assert (status, len(history["visits"]), history["pairs"]) == (200, 1, [])
        assert answer("/units?limit=5")[1]["units"][0]["serial"] == "P80-0001"
        assert answer("/leads")[1]["now"]["ohm"] == pytest.approx(0.12, abs=0.05)
        tests = answer("/tests")[1]
        assert tests["tests"][0]["test_volt"] == 500.0
        assert tests["tests"][0]["discharge_s"] == 4 * tests["tests"][0]["charge_s"]
        assert tests["cautions"]
        assert answer("/code?text=P80-0002")[1] == {"serial": "P80-0002", "known": False, "ask": ""}
        assert "does not look like" in answer("/code?text=4006381333931")[1]["ask"]
        for path in ("/unit?serial=nobody", "/check", "/nowhere"):
            status, refused = answer(path)
            assert status == 404
            assert refused["error"].endswith(".")


# ------------------------------------------------------------------ life


def test_sigterm_ends_at_once_with_pages_open(tmp_path):
    """Three that listen and one that does not read: exit code 0 in under a second, everything written."""
    with lonely(tmp_path) as (port, daemon), contextlib.ExitStack() as pages:
        ears = [pages.enter_context(heard(port)) for _ in range(3)]
        for ear in ears:
            ear.until("state")
        stuck = pages.enter_context(socket.socket())
        stuck.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        stuck.connect(("127.0.0.1", port))
        stuck.sendall(f"GET /events HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
        idle = pages.enter_context(socket.create_connection(("127.0.0.1", port)))
        ordered(port, "note", text="before the end")
        before_s = time.monotonic()
        code, shown = daemon.end(signal.SIGTERM)
        took_s = time.monotonic() - before_s
        assert code == 0, shown
        assert took_s < 1.0 * crowding()
        assert "Stopped." in shown
        for ear in ears:
            assert ear.until("bye")[0] == {"text": "The bench was stopped."}
        assert idle.recv(10) == b""
    assert any(e.payload["text"].startswith("before the end") for e in journal_entries(tmp_path, "notice"))


def test_a_bench_killed_in_the_middle_of_a_unit_comes_back_on_the_page(tmp_path):
    """Another start, the same unit with the verdicts that it had."""
    meter_port, page_port = free_port(), free_port()
    file = page_file(tmp_path, meter_port, page_port)
    with simulated(meter_port, speed=16.0) as sim:
        with running(file) as daemon:
            first = until_served(page_port)
            bench = Bench(sim, daemon, page_port, file)
            with heard(page_port) as ear:
                ordered(page_port, "start_unit", serial="P80-0001")
                bench.sim.type("short")
                ear.until("cue", lambda cue: cue["sound"] == "done")
                bench.lift()
                bench.touch("1", "2")
                verdict, _ = ear.until("change", lambda data: data.get("verdict"))
                bench.lift()
            daemon.process.kill()
            daemon.process.wait(5)
        with running(file):
            state = wait_until(lambda: (now := until_served(page_port))["unit"] and now)
            assert state["start"] != first["start"]
            assert state["assets"] == first["assets"]
            assert state["unit"]["serial"] == "P80-0001"
            assert [step["state"] for step in state["unit"]["steps"]] == ["done", "asked"]
            assert state["verdict"]["value"] == verdict["verdict"]["value"]


def test_a_changed_sheet_changes_the_face_on_sighup(tmp_path):
    """The whole state is sent again."""
    with lonely(tmp_path) as (port, daemon), heard(port) as ear:
        assert ear.until("state")[0]["face"]["latch"] == "top"
        sheet = tmp_path / "sheet.toml"
        sheet.write_text(sheet.read_text(encoding="utf-8").replace('latch = "top"', 'latch = "left"'))
        daemon.process.send_signal(signal.SIGHUP)
        ear.until("state", lambda data: data["face"]["latch"] == "left")


def test_events_arrive_within_a_twentieth_of_a_second(tmp_path):
    """From the moment stamped on an event, through the journal's commit, to the page: the median."""
    with lonely(tmp_path) as (port, _), heard(port) as ear:
        ear.until("state")
        late_s = []
        for number in range(15):
            text, start = f"note {number} (on the page)", ear.mark()
            ordered(port, "note", text=f"note {number}")
            change, when = ear.until(
                "change", lambda data, text=text: data.get("notes", [{}])[0].get("text") == text, start=start
            )
            late_s.append(when - change["notes"][0]["utc_s"])
            time.sleep(0.05)
    assert statistics.median(late_s) < 0.05 * crowding(), late_s


# ------------------------------------------------------------------ who is let in


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
        for path in ("/", "/now", "/events", "/static/start.js", "/?token=", f"/?token={token[:-1]}x"):
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
    with running(file) as daemon:
        assert daemon.process.wait(PATIENCE_S) == 1
        assert "Others may read the token file" in daemon.lines.rest()


def test_a_port_that_is_taken_is_a_sentence(tmp_path):
    """And the journal is given back."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        file = page_file(tmp_path, free_port(), taken.getsockname()[1])
        with running(file) as daemon:
            assert daemon.process.wait(PATIENCE_S) == 1
            shown = daemon.lines.rest()
    assert "The bench page cannot listen on 127.0.0.1" in shown
    assert "Traceback" not in shown


def test_a_page_may_only_look_on(tmp_path):
    """Orders are refused where the bench file says so."""
    with lonely(tmp_path, "orders = false\n") as (port, _):
        assert not until_served(port)["orders"]
        status, _, body = posted(port, "/orders", {"command": "stop", "correlation": "x"})
        assert status == 403
        assert "takes no orders" in json.loads(body)["error"]


def test_a_page_ends_the_bench_only_where_its_file_says_so(tmp_path):
    """By default a stop is refused, with the key that allows it, and the bench goes on; allowed, it ends."""
    order = {"command": "stop", "correlation": "x"}
    with lonely(tmp_path) as (port, daemon):
        status, _, body = posted(port, "/orders", order)
        assert (status, json.loads(body)["done"]) == (200, False)
        assert "stop = true in [page]" in json.loads(body)["reason"]
        assert ordered(port, "note", text="still here")["done"]
        assert daemon.process.poll() is None
    with lonely(tmp_path, "stop = true\n") as (port, daemon):
        assert json.loads(posted(port, "/orders", order)[2])["done"]
        assert daemon.process.wait(PATIENCE_S) == 0


# ------------------------------------------------------------------ who pays for it


def test_nobody_pays_for_a_page_that_is_not_there():
    """Neither the command line nor a bench without one loads a web server."""
    loaded = "[m for m in sys.modules if m in ('starlette', 'uvicorn', 'segno')]"
    script = f"import sys, acquire.cli, acquire.bench.run, acquire.bench.service; print({loaded})"
    shown = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert shown.stdout.strip() == "[]"


def test_the_machine_speaks_where_it_shall(tmp_path):
    """A stand-in for espeak-ng hears the words on its input, and the pages hear none."""
    programs = tmp_path / "bin"
    programs.mkdir()
    voice = programs / "espeak-ng"
    voice.write_text(
        f'#!/bin/sh\nprintf "%s|" "$*" >> {tmp_path}/said\ncat >> {tmp_path}/said\n', encoding="utf-8"
    )
    voice.chmod(0o755)
    port = free_port()
    file = page_file(tmp_path, free_port(), port, 'speech = "machine"\n')
    path = f"{programs}:{os.environ['PATH']}"
    script = f"""import os, sys
os.environ["PATH"] = {path!r}
sys.argv = ["steadyohm", "run", {str(file)!r}]
from acquire.cli import main
main()"""
    daemon = Typed("-c", script)
    try:
        until_served(port)
        with heard(port) as ear:
            assert ear.until("state")[0]["bench"]["speech"] == "machine"
            ordered(port, "start_unit", serial="$(reboot); --help")
            said = tmp_path / "said"
            wait_until(lambda: said.exists() and "Hold the probes together." in said.read_text())
            assert not [cue for cue in ear.of("cue") if cue["say"]]
        assert daemon.end()[0] == 0
    finally:
        daemon.close()
    lines = said.read_text().splitlines()
    assert all(line.startswith("-v en-gb -s 160 --stdin|") for line in lines if "|" in line)
    assert "reboot" not in said.read_text()


# ------------------------------------------------------------------ setup and demo


def test_a_bench_is_set_up_in_the_browser(tmp_path):
    """Search, test of the link, file, start: one process, one port, one stream; paths stay in the folder."""
    meter_port, port = free_port(), free_port()
    folder = tmp_path / "mine"
    folder.mkdir()
    with simulated(meter_port, speed=4.0):
        daemon = Typed("-m", "acquire", "setup", "--folder", str(folder), "--port", str(port))
        try:
            assert until_served(port)["mode"] == "setup"
            with heard(port) as ear:
                _set_up(port, meter_port, folder, ear)
                code, shown = daemon.end()
            assert code == 0, shown
        finally:
            daemon.close()
    assert (folder / "journal" / "journal.db").exists()


def _set_up(port, meter_port, folder, ear):
    def post(what, **body):
        status, _, answer = posted(port, f"/setup/{what}", body)
        return status, json.loads(answer)

    assert post("search", tcp=[f"127.0.0.1:{meter_port}"]) == (200, {"searching": True})
    found, _ = ear.until("setup", lambda data: data["meters"])
    assert found["meters"][0]["driver"] == "scpi"
    assert post("try", meter=0) == (200, {"ok": True})
    ear.until("change", lambda data: (data.get("link") or {}).get("ok"))
    shelf = json.loads(asked(port, "/setup")[2])
    sheet = next(each["file"] for each in shelf["sheets"] if each["name"] == "Plover 80")
    model = next(each["file"] for each in shelf["models"] if each["name"] == "bench-6-digit")
    wish = {"meter": 0, "sheet": sheet, "model": model, "purpose": "final", "temperature": "22 °C"}
    for name in ("../out.toml", "/out.toml", ".hidden.toml", "a/b.toml", "bench"):
        assert post("write", file=name, **wish)[0] == 422
    assert post("write", file="b.toml", **{**wish, "sheet": "folder/../../etc/passwd"})[0] == 422
    assert post("write", file="b.toml", **{**wish, "temperature": "warm"})[0] == 422
    assert post("write", file="b.toml", name="left", **wish) == (200, {"written": "b.toml"})
    assert post("write", file="b.toml", **wish)[0] == 422  # never overwritten
    assert post("start", file="../b.toml")[0] == 422
    assert post("start", file="b.toml") == (200, {"started": True})
    state, _ = ear.until("state", lambda data: data["mode"] == "bench")
    assert state["bench"]["name"] == "left"
    assert post("start", file="b.toml")[0] == 409
    assert json.loads(asked(port, "/setup")[2]) == {"mode": "bench"}
    assert ordered(port, "note", text="it runs")["done"]
    assert [path.name for path in folder.glob("*.toml")] == ["b.toml"]


def test_a_setup_that_cannot_start_says_why_and_goes_on(tmp_path):
    """A bench file with a fault; the page stays."""
    port = free_port()
    (tmp_path / "bad.toml").write_text('[bench]\nname = "x"\n[meter]\ndriver = "scpi"\n', encoding="utf-8")
    daemon = Typed("-m", "acquire", "setup", "--folder", str(tmp_path), "--port", str(port))
    try:
        until_served(port)
        status, _, body = posted(port, "/setup/start", {"file": "bad.toml"})
        assert status == 422
        assert any("sheet" in fault for fault in json.loads(body)["faults"])
        assert until_served(port)["mode"] == "setup"
        assert daemon.end()[0] == 0
    finally:
        daemon.close()


def test_the_demo_shows_its_page_until_ctrl_c(tmp_path):
    """The address is printed; the page says that it is a demonstration, and stays after the last unit."""
    demo = Typed(
        "-m", "acquire", "demo", "--page", "--units", "1", "--speed", "10", "--dir", str(tmp_path / "run")
    )
    try:
        port = int(re.search(r":(\d+)/", demo.until("The bench page"))[1])
        state = until_served(port)
        assert (state["bench"]["demo"], state["clock"]["speed"]) == (True, 10.0)
        demo.until("stays until Ctrl-C", within_s=60.0)
        assert until_served(port)["result"]["outcome"] == "pass"
        code, shown = demo.end(signal.SIGINT)
        assert code == 0, shown
    finally:
        demo.close()
