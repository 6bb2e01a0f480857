"""`steadyohm find` as a user runs it: on simulated meters, on rubbish, and where nothing is."""

from __future__ import annotations

import contextlib
import json
import os
import re
import select
import shutil
import subprocess
import sys
import threading
import time
import tty
from pathlib import Path

import pytest

from drivers import find as find_module
from tests.commanded import commanded
from tests.waiting import PATIENCE_S
from tests.whole_bench import QUIET, free_port, running

SIM = [sys.executable, "-P", "-m", "sim"]


@contextlib.contextmanager
def meter(kind, voice, link="pty"):
    """A simulated meter whose probes are in the air; gives its address."""
    words = ["--meter", kind, "--voice", voice, "--meter-link", link, "--thermometer", "tcp", "--speed", "4"]
    with subprocess.Popen([*SIM, *words], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as sim:
        try:
            address = json.loads(sim.stdout.readline())["address"]["meter"]
            time.sleep(0.6)  # it finds its range first, as a meter does that was switched on just now
            yield address
        finally:
            sim.stdin.close()
            sim.wait(5)


@contextlib.contextmanager
def talking(play):
    """A pty at whose far end `play(master, asked)` runs ten times a second."""
    master, slave = os.openpty()
    tty.setraw(slave)
    stop = threading.Event()

    def work():
        while not stop.is_set():
            ready = select.select([master], [], [], 0.1)[0]
            play(master, os.read(master, 256) if ready else b"")

    thread = threading.Thread(target=work)
    thread.start()
    try:
        yield os.ttyname(slave)
    finally:
        stop.set()
        thread.join()
        os.close(master)
        os.close(slave)


def find(*words):
    """Run the command; gives exit code and what it said, on one line each."""
    done = commanded("find", *words)
    return done.returncode, done.stdout + done.stderr


@pytest.mark.parametrize(
    ("kind", "voice"),
    [
        ("hand-6000", "status14"),
        pytest.param("hand-4000", "parity11", marks=pytest.mark.long),
        pytest.param("hand-2000", "ascii14", marks=pytest.mark.long),
    ],
)
def test_a_hand_meter_on_a_port_is_found_and_the_file_that_is_written_runs(tmp_path, kind, voice):
    """Its driver is named, the file passes the check, and the bench hears the meter."""
    file = tmp_path / "bench.toml"
    with meter(kind, voice) as address:
        code, said = find("--port", address.removeprefix("serial:"), "--write", str(file))
        assert code == 0, said
        assert f"'{voice}'" in said
        check = commanded("check", file)
        assert check.returncode == 0, check.stdout + check.stderr
        with running(file) as bench:
            bench.type("P80-0001")
            owed = voice != "parity11"  # that one is known from a data sheet
            bench.until("must pass its self-check" if owed else "Hold the probes together, to zero")
            code, output = bench.end()
    assert code == 0, output
    assert "gives no readings" not in output


def test_a_meter_on_the_network_says_who_it_is_and_its_file_is_sound(tmp_path):
    """No serial port is opened when a place on the network is named."""
    file = tmp_path / "bench.toml"
    with meter("bench-6-digit", "scpi", "tcp") as address:
        code, said = find("--tcp", address.removeprefix("tcp:"), "--write", str(file))
        assert code == 0, said
        assert "It says: Invented Instruments" in said
        assert "/dev/" not in said.replace(str(tmp_path), "")
        assert commanded("check", file).returncode == 0
        file.write_text("mine", encoding="utf-8")  # whoever has written one by hand keeps it
        code, said = find("--tcp", address.removeprefix("tcp:"), "--write", str(file))
    assert code in {1, 2}
    assert str(file) in said
    assert file.read_text(encoding="utf-8") == "mine"


def test_nothing_there_is_one_sentence_and_exit_code_1():
    """A port that is missing, a socket nobody listens on."""
    code, said = find("--port", "/dev/ttyUSB77", "--tcp", f"127.0.0.1:{free_port()}")
    assert code == 1
    assert "there is no such port" in said
    assert "nothing listens there. Is the meter on and plugged in?" in said
    assert "tried again" not in said


def test_a_name_that_is_no_place_is_bad_input():
    """Nothing is looked at: it is a slip of the pen, not a meter that does not answer."""
    code, said = find("--tcp", "127.0.0.1")
    assert code == 2
    assert "is not HOST:PORT" in said


def test_what_talks_but_is_no_meter_is_said_so(monkeypatch):
    """Rubbish at any rate."""
    monkeypatch.setattr(find_module, "LISTEN_S", 0.3)
    with talking(lambda master, _asked: os.write(master, os.urandom(20))) as path:
        code, said = find("--port", path, "--listen-only")
    assert code == 1
    assert "talks, but no driver knows it" in said


@pytest.mark.skipif(
    shutil.which("setpriv") is None or os.geteuid() != 0, reason="needs root to be another user"
)
def test_a_port_that_may_not_be_opened_says_who_may(tmp_path):
    """Run as another user: the port's owner or group is named, and no traceback is shown."""
    with talking(lambda _master, _asked: None) as path:
        Path(path).chmod(0o600)
        done = subprocess.run(
            ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups", sys.executable, "-m", "acquire",
             "find", "--port", path, "--listen-only"],
            capture_output=True, text=True, env=QUIET, check=False,
        )  # fmt: skip
    assert done.returncode == 1
    assert "you may not open this port" in done.stdout
    assert "Traceback" not in done.stderr


def test_the_progress_bar_goes_forward_and_leaves_nothing_behind(tmp_path):
    """On a terminal of its own: from 0 to 100 per cent, then only the findings stay."""
    controller, terminal = os.openpty()
    command = [
        sys.executable,
        "-m",
        "acquire",
        "find",
        "--tcp",
        f"127.0.0.1:{free_port()}",
        "--port",
        "/dev/none",
    ]
    with subprocess.Popen(
        command,
        stdin=terminal,
        stdout=terminal,
        stderr=terminal,
        env={**QUIET, "TERM": "xterm", "COLUMNS": "200"},
    ) as process:
        os.close(terminal)
        shown = b""
        with contextlib.suppress(OSError):
            while chunk := os.read(controller, 4096):
                shown += chunk
        process.wait(PATIENCE_S)
    os.close(controller)
    text = shown.decode()
    shares = [int(share) for share in re.findall(r"(\d+) %", text)]
    assert shares
    assert shares == sorted(shares)
    assert text.rstrip().endswith("symptoms.")
