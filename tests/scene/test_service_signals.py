"""`steadyohm run` as a service manager sees it: real processes, real signals, a stand-in for its socket."""

from __future__ import annotations

import contextlib
import http.client
import os
import pty
import shutil
import signal
import socket
import subprocess
import sys
import time

import pytest

from tests.commanded import commanded
from tests.waiting import PATIENCE_S, crowding, wait_until
from tests.whole_bench import CONFIGS, QUIET, bench_file, free_port


@pytest.fixture
def notified(tmp_path):
    """Systemd's end of the socket."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as receiver:
        receiver.bind(str(tmp_path / "notify"))
        receiver.settimeout(PATIENCE_S)
        yield receiver


def until(receiver, what):
    """Read messages up to one that says this; gives it."""
    while what not in (said := receiver.recv(4096).decode()):
        pass
    return said


@contextlib.contextmanager
def service(folder, *, more="", **environment):
    """The command with its own copies of the files, output into a file, no keyboard."""
    shutil.copy(CONFIGS / "sheets" / "plover-80.toml", folder)
    changes = [
        (f'"{CONFIGS}/sheets/plover-80.toml"', '"plover-80.toml"'),
        ("[journal]", f"{more}\n[journal]"),
    ]
    file = bench_file(folder, meter=f"tcp:127.0.0.1:{free_port()}", changes=changes)
    with (folder / "output").open("wb") as output:
        process = subprocess.Popen(
            [sys.executable, "-m", "acquire", "run", str(file)],
            stdin=subprocess.DEVNULL,
            stdout=output,
            stderr=subprocess.STDOUT,
            env={**QUIET, "NOTIFY_SOCKET": str(folder / "notify"), **environment},
        )
    try:
        yield process
    finally:
        if process.poll() is None:
            process.kill()
        process.wait(5)


def output(folder):
    """What was written so far, in one line."""
    return " ".join((folder / "output").read_text(encoding="utf-8", errors="replace").split())


def shown(folder, words):
    """Wait until something was written."""
    wait_until(lambda: words in output(folder), why=lambda: f"{words!r} not in: {output(folder)}")


def test_a_service_says_when_it_is_ready_reloads_and_stops(tmp_path, notified):
    """READY; RELOADING and READY for SIGHUP; STOPPING for SIGTERM, and exit code 0 within five seconds."""
    port = free_port()
    with service(tmp_path, more=f"[http]\nport = {port}") as process:
        said = until(notified, "READY=1")
        assert "STATUS=bench-1: 0 verdicts" in said
        _monitors_are_answered(port)

        process.send_signal(signal.SIGHUP)
        assert "MONOTONIC_USEC=" in until(notified, "RELOADING=1")
        until(notified, "READY=1")
        shown(tmp_path, "nothing has changed")

        sheet = tmp_path / "plover-80.toml"
        good = sheet.read_text(encoding="utf-8")
        sheet.write_text(good.replace('"6 %"', '"6,5 %"'), encoding="utf-8")
        process.send_signal(signal.SIGHUP)
        until(notified, "READY=1")
        shown(tmp_path, "refused; the bench continues with what it had")
        shown(tmp_path, "plover-80.toml:")

        sheet.write_text(good.replace('acceptance = "6 %"', 'acceptance = "6.5 %"'), encoding="utf-8")
        process.send_signal(signal.SIGHUP)
        until(notified, "READY=1")
        shown(tmp_path, "The bench now uses other files: sheet Plover 80")

        began_s = time.monotonic()
        process.send_signal(signal.SIGTERM)
        until(notified, "STOPPING=1")
        assert process.wait(PATIENCE_S) == 0
        assert time.monotonic() - began_s < 5.0 * crowding()
    assert "Traceback" not in output(tmp_path)


def _monitors_are_answered(port):
    """503 while there is no meter, on loopback only."""
    for path, status, words in (
        ("/health", 503, "has not given a reading yet"),
        ("/metrics", 200, 'steadyohm_up{bench="bench-1"} 0.0'),
    ):
        client = http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENCE_S)
        client.request("GET", path)
        answer = client.getresponse()
        assert answer.status == status
        assert words in answer.read().decode()
        client.close()


def test_a_bench_without_its_meter_feeds_the_watchdog_by_its_attempts(tmp_path, notified):
    """A meter that is switched off over lunch must not have the bench restarted again and again."""
    with service(tmp_path, WATCHDOG_USEC="2000000") as process:
        until(notified, "READY=1")
        for _ in range(2):
            until(notified, "WATCHDOG=1")
        process.send_signal(signal.SIGTERM)
        assert process.wait(PATIENCE_S) == 0


def test_a_port_that_is_taken_is_one_sentence(tmp_path):
    """Exit code 1."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        more = f"[http]\nport = {taken.getsockname()[1]}\n\n[journal]"
        file = bench_file(tmp_path, meter="tcp:127.0.0.1:9", changes=[("[journal]", more)])
        done = commanded("run", file)
    assert done.returncode == 1
    assert "cannot listen on 127.0.0.1" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_closed_terminal_ends_the_bench_cleanly(tmp_path):
    """A terminal hangs up by the signal that asks for a reload; with the terminal gone it means stop."""
    shutil.copy(CONFIGS / "sheets" / "plover-80.toml", tmp_path)
    file = bench_file(tmp_path, meter=f"tcp:127.0.0.1:{free_port()}")
    pid, terminal = pty.fork()
    if pid == 0:
        words = [sys.executable, "-m", "acquire", "run", str(file)]
        os.execve(sys.executable, words, {**QUIET, "TERM": "xterm"})  # noqa: S606  (our own program)
    seen = b""
    try:
        while b"gives no readings" not in seen:
            seen += os.read(terminal, 4096)
    finally:
        os.close(terminal)
    for _ in range(3000):
        ended, status = os.waitpid(pid, os.WNOHANG)
        if ended:
            break
        time.sleep(0.01)
    else:
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
        raise AssertionError("it goes on without a terminal")
    assert os.WIFEXITED(status), status
    assert os.WEXITSTATUS(status) == 0
