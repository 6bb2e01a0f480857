"""The bench page before the real daemon: real processes, real sockets, no browser (see test_page_browser)."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import socket
import statistics
import subprocess
import sys
import time

import pytest

from tests.page_client import asked, ordered, posted, until_served
from tests.paged_daemon import Bench, heard, lonely, page_file, paged
from tests.waiting import crowding, wait_until
from tests.whole_bench import (
    Typed,
    free_port,
    journal_entries,
    running,
    simulated,
)

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
        assert (told["pair"], told["outcome"], told["text"][-2:]) == (["1", "2"], "pass", " Ω")
        assert told["lower_ohm"] < told["reference_ohm"] < told["upper_ohm"]
        assert ear.until("cue", lambda cue: cue["sound"] == "pass")[0]["say"] == "Pass."
        bench.lift()
        bench.touch("2", "3")
        ear.until("change", lambda data: (data.get("verdict") or {}).get("pair") == ["2", "3"])
        bench.lift()
        again, _ = ear.until("change", lambda data: "warm check" in (data.get("ask") or {}).get("text", ""))
        bench.touch(*again["ask"]["pair"])  # which pair is repeated follows from how its readings came
        result, _ = ear.until("change", lambda data: data.get("result"))
        ended = result["result"]
        assert (ended["outcome"], ended["word"]) == ("pass", "pass"), ended["reason"]
        assert other.until("change", lambda data: data.get("result"))[0]["result"] == result["result"]
        with heard(bench.port) as late:
            whole, _ = late.until("state")
        assert whole["result"] == result["result"]
        assert [step["outcome"] for step in whole["unit"]["steps"][:2]] == ["pass", "pass"]
        traces = [point for data in ear.of("trace") for point in data["points"]]
        assert len(traces) > 10
        _what_is_asked_of_the_record_is_answered(bench.port)
    [verdict, *_] = [entry.payload for entry in journal_entries(tmp_path, "verdict")]
    assert verdict["reference_ohm"] == pytest.approx(told["reference_ohm"])


def _what_is_asked_of_the_record_is_answered(port):
    """Unit, history, list of units, lead zeros, tests, a scanned code; what is unknown is a sentence."""

    def answer(path):
        status, _, body = asked(port, path)
        return status, json.loads(body)

    status, unit = answer("/unit?serial=P80-0001")
    assert (status, unit["ongoing"], unit["outcome"]) == (200, False, "pass")
    assert len(unit["verdicts"][0]["trace"]) > 3
    assert len(unit["visits"]) == 1
    assert ordered(port, "start_unit", serial="P80-0002")["done"]
    assert ordered(port, "give_up_unit", reason="lunch")["done"]
    unit = wait_until(lambda: not (told := answer("/unit?serial=P80-0002")[1]).get("ongoing", True) and told)
    assert unit["reason"] == "Ended early: lunch (on the page)."
    assert answer("/units?part=0001")[1]["units"][0]["serial"] == "P80-0001"
    assert answer("/leads")[1]["zeros"][-1]["value_ohm"] == pytest.approx(0.12, abs=0.05)
    tests = answer("/tests")[1]
    assert tests["tests"][0]["volts"] == 500.0
    assert tests["tests"][0]["discharge_s"] == 4 * tests["tests"][0]["charge_s"]
    assert tests["cautions"]
    for path in ("/unit?serial=nobody", "/check", "/nowhere"):
        status, refused = answer(path)
        assert status == 404
        assert refused["error"].endswith(".")


def test_settings_changed_in_the_middle_of_a_unit_count_from_the_next_one(tmp_path):
    """The unit on the bench is finished as it was begun; what waits is said until it counts."""
    with lonely(tmp_path) as (port, daemon):
        ordered(port, "start_unit", serial="P80-0001")
        changed = {"operator": "Ida", "purpose": "incoming"}
        assert json.loads(posted(port, "/settings", changed)[2])["changed"] == ["operator", "purpose"]

        def now(fits):
            return wait_until(lambda: (state := until_served(port)) and fits(state) and state)

        def codes(state):
            return [warning["code"] for warning in state["warnings"]]

        state = now(lambda state: "files.waiting" in codes(state))
        assert (state["bench"]["operator"], state["bench"]["purpose"]) == ("", "final")
        assert state["unit"]["serial"] == "P80-0001"
        ordered(port, "give_up_unit", reason="lunch")
        ordered(port, "start_unit", serial="P80-0002")
        state = now(lambda state: state["bench"]["operator"] == "Ida" and "0002" in state["unit"]["serial"])
        assert "files.waiting" not in codes(state)
        assert (state["unit"]["operator"], state["bench"]["purpose"]) == ("Ida", "incoming")
        assert daemon.end()[0] == 0
    begun = [entry.payload for entry in journal_entries(tmp_path, "unit_started")]
    assert [(each["operator"], each["purpose"]) for each in begun] == [("", "final"), ("Ida", "incoming")]


# ------------------------------------------------------------------ life


def test_sigterm_ends_at_once_with_pages_open(tmp_path):
    """Three that listen and one that does not read: exit code 0 in under a second, everything written.

    The record says that an order came from the page; the same correlation is not done twice.
    """
    with lonely(tmp_path) as (port, daemon), contextlib.ExitStack() as pages:
        ears = [pages.enter_context(heard(port)) for _ in range(3)]
        for ear in ears:
            ear.until("state")
        stuck = pages.enter_context(socket.socket())
        stuck.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        stuck.connect(("127.0.0.1", port))
        stuck.sendall(f"GET /events HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
        idle = pages.enter_context(socket.create_connection(("127.0.0.1", port)))
        order = {"command": "note", "correlation": "one", "text": "before the end"}
        for _ in range(2):
            assert json.loads(posted(port, "/orders", order)[2])["done"]
        order = {"command": "skip_step", "correlation": "two", "reason": "x"}
        refused = json.loads(posted(port, "/orders", order)[2])
        assert refused == {"done": False, "reason": refused["reason"]}
        assert "no unit on the bench" in refused["reason"]
        before_s = time.monotonic()
        code, shown = daemon.end(signal.SIGTERM)
        took_s = time.monotonic() - before_s
        assert code == 0, shown
        assert took_s < 1.0 * crowding()
        assert "Stopped." in shown
        for ear in ears:
            assert ear.until("bye")[0] == {"text": "The bench was stopped."}
        assert idle.recv(10) == b""
    told = journal_entries(tmp_path, "notice")
    notes = [e.payload["facts"]["note"] for e in told if e.payload["code"] == "note"]
    assert notes == ["before the end (on the page)"]


@pytest.mark.long
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
            assert state["verdict"]["text"] == verdict["verdict"]["text"]


def test_a_changed_sheet_changes_the_face_on_sighup_and_events_come_at_once(tmp_path):
    """The whole state is sent again; from the moment stamped on an event to the page: the median."""
    with lonely(tmp_path) as (port, daemon), heard(port) as ear:
        assert ear.until("state")[0]["face"]["latch"] == "top"
        late_s = []
        for number in range(15):
            text, start = f"note {number} (on the page)", ear.mark()
            ordered(port, "note", text=f"note {number}")
            change, when = ear.until(
                "change", lambda data, text=text: data.get("notes", [{}])[0].get("text") == text, start=start
            )
            late_s.append(when - change["notes"][0]["utc_s"])
            time.sleep(0.05)
        sheet = tmp_path / "sheet.toml"
        sheet.write_text(sheet.read_text(encoding="utf-8").replace('latch = "top"', 'latch = "left"'))
        daemon.process.send_signal(signal.SIGHUP)
        ear.until("state", lambda data: data["face"]["latch"] == "left")
    assert statistics.median(late_s) < 0.05 * crowding(), late_s


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
