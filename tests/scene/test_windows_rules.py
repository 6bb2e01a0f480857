"""Demo, run, kill and resume, page, papers, find and collect under the rules of Windows.

`tests/windows_rules/sitecustomize.py` says which; every process here lives under them, its children too.
"""

import json
import os
import pty
import re
import signal
import subprocess
import sys
import tty
from pathlib import Path

import psycopg
import pytest

from acquire.journal.history import JournalReader, Query
from tests.brokers import Mosquitto, needs_mosquitto
from tests.page_client import posted, until_served
from tests.paged_daemon import heard, page_file
from tests.postgres import database, needs_postgres  # noqa: F401  (a fixture)
from tests.waiting import PATIENCE_S, wait_until
from tests.whole_bench import QUIET, Typed, csv_rows, free_port, journal_entries, lift, running, simulated
from tests.whole_line import COLLECTOR

ROOT = Path(__file__).resolve().parents[2]
RULES = str(ROOT / "tests" / "windows_rules")
CTRL_BREAK, CLOSED = signal.SIGUSR1, signal.SIGUSR2
ENDED_BY_CLOSING = 0x3A

COMMANDS = """
import contextlib, io, json, os, sys
from acquire.cli import main
for words in json.loads(sys.argv[1]):
    sys.argv[1:] = words
    try:
        main()
    except SystemExit as done:
        print("CODE", done.code or 0, *words[:1], flush=True)
"""
"""Several commands in one process, since each start takes a second."""


@pytest.fixture(autouse=True)
def rules(monkeypatch):
    """Every process that a test here starts."""
    monkeypatch.setitem(QUIET, "PYTHONPATH", f"{RULES}{os.pathsep}{ROOT}")
    monkeypatch.setitem(QUIET, "PYTHONWARNDEFAULTENCODING", "1")


def python(*words, cwd=None, timeout=100):
    """Under the rules, to its end: exit code and output, which must be UTF-8."""
    words = [sys.executable, *map(str, words)]
    done = subprocess.run(words, env=QUIET, capture_output=True, timeout=timeout, check=False, cwd=cwd)
    return done.returncode, done.stdout.decode("utf-8"), done.stderr.decode("utf-8", "replace")


def commands(*each, cwd):
    """Several commands of ours, one after another; their output."""
    code, said, failed = python(
        "-c", COMMANDS, json.dumps([list(map(str, words)) for words in each]), cwd=cwd
    )
    assert code == 0, said + failed
    return said + failed


def test_the_rules_are_kept_and_every_module_can_be_imported_under_them(tmp_path):
    """Else everything below would prove nothing; the rooms of the long form are where they are named."""
    assert all(file.exists() for file in FILES)
    assert python(ROOT / "tests" / "windows_rules" / "kept.py", cwd=tmp_path) == (0, "", "")


@pytest.fixture
def scheduler(tmp_path, monkeypatch):
    """A Task Scheduler that only writes down what it is told, and a user's own folders."""
    program = tmp_path / "bin" / "schtasks"
    program.parent.mkdir()
    program.write_text(f"#!/bin/sh\nprintf '%s\\n' \"$*\" >> {tmp_path}/told.txt\n", encoding="utf-8")
    program.chmod(0o755)
    monkeypatch.setitem(QUIET, "PATH", f"{program.parent}{os.pathsep}{os.environ['PATH']}")
    for name in ("APPDATA", "LOCALAPPDATA"):
        monkeypatch.setitem(QUIET, name, str(tmp_path / "user" / name))


def test_demo_papers_history_menu_and_log_in(tmp_path, scheduler):
    """The thermometer on TCP, ohms in UTF-8, rows that end as RFC 4180 says, papers that are sound."""
    code, said, failed = python(
        "-m", "acquire", "demo", "--units", 1, "--speed", 10, "--dir", tmp_path / "run"
    )
    assert (code, failed) == (0, ""), said
    assert "thermometer  tcp:127.0.0.1:" in said
    assert re.search(r"slow charge +20\d\.\d", said)
    assert "Ω" in said
    (file,) = (tmp_path / "run" / "csv").glob("verdicts-*.csv")
    rows = file.read_bytes()
    assert rows.startswith(b"\xef\xbb\xbf")
    assert rows.count(b"\n") == rows.count(b"\r\n") > 5
    journal, serial = tmp_path / "run" / "journal", "P80-0001"
    said = commands(
        ("certificate", journal, serial, "--html", tmp_path / "c.html", "--pdf", tmp_path / "c.pdf"),
        ("certificate", "--verify", tmp_path / "c.html", "--journal", journal),
        ("label", journal, serial, "--svg", tmp_path / "l.svg"),
        ("check", tmp_path / "run" / "bench.toml"),
        ("history", journal),
        ("install-shortcut", "--folder", tmp_path / "benches"),
        ("install-at-login", tmp_path / "run" / "bench.toml"),
        ("remove-at-login", tmp_path / "run" / "bench.toml"),
        ("remove-shortcut",),
        cwd=tmp_path,
    )
    assert said.count("CODE 0") == 9, said
    assert not list(tmp_path.glob("user/**/*.*"))  # entry and task are removed
    told = (tmp_path / "told.txt").read_text(encoding="utf-8")
    assert re.fullmatch(
        r"/Create /F /TN steadyohm.bench-\w+ /XML \S+\n/Delete /F /TN steadyohm.bench-\w+\n", told
    )
    assert "Ω" in said
    assert (tmp_path / "c.pdf").read_bytes().startswith(b"%PDF")


def unit_begun(sim, bench, ear):
    """A serial at the keyboard, leads zeroed, the first pair measured."""
    bench.type("A1")
    ear.until("change", lambda data: (data.get("unit") or {}).get("serial") == "A1")
    sim.type("short")
    ear.until("cue", lambda cue: cue["sound"] == "done")
    lift(sim)
    touched(sim, ear, "1", "2")


def touched(sim, ear, *pair):
    """A pair held until its verdict is shown."""
    sim.type(" ".join(pair))
    sim.until("probes on")
    ear.until("change", lambda data: (data.get("verdict") or {}).get("pair") == list(pair))
    lift(sim)


def test_a_bench_is_killed_goes_on_and_ends_cleanly_when_its_console_is_closed(tmp_path):
    """Page and keyboard all the while; what was committed stays; `find` sees the meter."""
    meter_port, page_port = free_port(), free_port()
    file = page_file(tmp_path, meter_port, page_port)
    # No quicker: the air wanders in simulated time, which a bench would take for cooling.
    with simulated(meter_port) as sim:
        said = commands(("find", "--tcp", f"127.0.0.1:{meter_port}"), cwd=tmp_path)
        assert "answers the driver 'scpi'" in said
        with running(file) as bench:
            until_served(page_port, daemon=bench)
            with heard(page_port) as ear:
                unit_begun(sim, bench, ear)
            bench.process.kill()
            bench.process.wait(5)
        before = journal_entries(tmp_path)
        with running(file) as bench:
            wait_until(lambda: until_served(page_port, daemon=bench)["unit"])
            with heard(page_port) as ear:
                ear.until("change", lambda data: data.get("reading"))
                lift(sim)  # it must have seen the probes in the air
                touched(sim, ear, "2", "3")
                again, _ = ear.until(
                    "change", lambda data: "warm check" in (data.get("ask") or {}).get("text", "")
                )
                touched(
                    sim, ear, *again["ask"]["pair"]
                )  # which one is repeated follows from how its readings came
                ear.until("change", lambda data: data.get("result"))
            status, _, answer = posted(page_port, "/papers", {"kind": "label", "serial": "A1"})
            assert status == 200, answer
            code, said = bench.end(CLOSED)
            assert code in (0, ENDED_BY_CLOSING)  # whichever was quicker, the system or we
            assert "Stopped." in said
    entries = journal_entries(tmp_path)
    assert entries[: len(before)] == before
    assert {row["serial"] for row in csv_rows(tmp_path)} == {"A1"}
    assert [each.payload["outcome"] for each in entries if each.kind == "unit_result"] == ["pass"]


def test_keys_of_a_console_are_taken_one_by_one(tmp_path):
    """Arrows and function keys are nothing, Ctrl-C is a signal, and letters beyond ASCII are letters."""
    script = """
import asyncio, sys
from acquire.bench.keyboard import Keyboard
from system.ending import asked_to_end, run_loop
async def main():
    stop = asyncio.Event()
    async def follow():
        async for line in Keyboard().lines():
            print(ascii(line), flush=True)
    with asked_to_end(stop.set):
        task = asyncio.create_task(follow())
        print("ready", flush=True)
        await stop.wait()
        task.cancel()
        print("ended", flush=True)
run_loop(main())
"""
    master, slave = pty.openpty()
    tty.setraw(slave)
    words = [sys.executable, "-c", script]
    with subprocess.Popen(words, stdin=slave, stdout=subprocess.PIPE, env=QUIET, cwd=tmp_path) as process:
        try:
            assert process.stdout.readline() == b"ready\n"
            os.write(master, b"P8" + b"\xe0H" + b"\x00;" + "0µ\r\n".encode())
            assert process.stdout.readline() == b"'P80\\xb5'\n"
            os.write(master, b"\x03")
            assert process.stdout.readline() == b"ended\n"
            assert process.wait(PATIENCE_S) == 0
        finally:
            process.kill()
            os.close(master)
            os.close(slave)


ROOMS = """
journal_store journal_archive journal_history journal_store_tidying files_new_file files_shared
outlets_csv_log outlets_csv_log_csv_tail outlets_orders_orders_kept outlets_mqtt_outlet study_record
reports_issued reports_issued_signing page_running page_sheet_edit page_access page_say page_papers
simulated_demo_stand_in bench_daemon
"""
FILES = [ROOT / "tests" / "unit" / f"test_{room}.py" for room in ROOMS.split()]
LINUX_OWN = """
link pipe vanishes only_gives full_disk others_may_read taken_away stop_without_a_journal no_way_into
"""
"""Tests that themselves plant links and pipes, take open files away, or look at mode bits."""


@pytest.mark.long
@pytest.mark.timeout(1000)
@needs_mosquitto
def test_the_rooms_that_hold_files_keep_their_promises(tmp_path, monkeypatch):
    """Their own tests, with pytest itself under the rules."""
    monkeypatch.delitem(QUIET, "PYTHONWARNDEFAULTENCODING")  # tests may leave it to the system
    but = " and ".join(f"not {each}" for each in LINUX_OWN.split())
    words = (
        "-m",
        "pytest",
        "-q",
        "-p",
        "no:cacheprovider",
        "--basetemp",
        tmp_path / "base",
        "-k",
        but,
        *FILES,
    )
    code, said, failed = python(*words, cwd=ROOT, timeout=900)
    assert code == 0, said + failed


@pytest.mark.long
def test_the_whole_demo_and_its_page(tmp_path):
    """Ten units, three of them faulty, as on Linux; the page stays until Ctrl-Break."""
    words = ("-m", "acquire", "demo", "--page", "--speed", "8", "--dir", str(tmp_path / "run"))
    bench = Typed(*words)
    try:
        bench.until("The hands have finished", within_s=300)
        code, said = bench.end(CTRL_BREAK)
    finally:
        bench.close()
    assert code == 0, said
    assert "not as planted" not in said
    assert {each.payload["outcome"] for each in journal_entries(tmp_path / "run", "unit_result")} >= {
        "pass",
        "fail",
    }


@pytest.mark.long
@needs_postgres
@needs_mosquitto
def test_a_line_is_collected(tmp_path, database):  # noqa: F811
    """Benches by MQTT, a collector into PostgreSQL: everything arrives; Ctrl-Break ends it."""
    file = tmp_path / "collector.toml"
    with Mosquitto(tmp_path / "broker") as broker:
        file.write_text(COLLECTOR.format(port=broker.port, address=database), encoding="utf-8")
        assert "CODE 0" in commands(("collect", file, "--migrate"), cwd=tmp_path)
        collector = Typed("-m", "acquire", "collect", str(file), cwd=tmp_path)
        try:
            (tmp_path / "benches").mkdir()
            words = ("-m", "tests.light_benches", tmp_path / "benches", 1, 2, broker.port, 2, 6)
            assert python(*words, cwd=tmp_path)[0] == 0
            code, said = collector.end(CTRL_BREAK)
            assert code == 0, said
        finally:
            collector.close()
    with psycopg.connect(database) as connection:
        there = connection.execute("SELECT count(*) FROM steadyohm.entry").fetchone()[0]
    sent = 0
    for file in tmp_path.glob("benches/*/journal.db"):
        with JournalReader(file) as journal:
            sent += sum(1 for _ in journal.find(Query()))
    assert there >= sent > 20
