"""`steadyohm run` as a process: whatever is typed, closed, missing or held back, it ends in a sentence."""

from __future__ import annotations

import os
import pty
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.commanded import commanded
from tests.waiting import PATIENCE_S, wait_until
from tests.whole_bench import QUIET, bench_file, free_port, journal_entries, running

RUN = [sys.executable, "-m", "acquire", "run"]


@pytest.fixture
def file(tmp_path):
    """A bench whose meter is not there; it asks for no lead zero."""
    no_zero = ('folder = "csv"\n', 'folder = "csv"\n\n[leads]\nzero = "none"\n')
    return bench_file(tmp_path, meter=f"tcp:127.0.0.1:{free_port()}", changes=(no_zero,))


def test_odd_serials_and_storms_of_enter_end_as_a_plain_record(tmp_path, file):
    """Brackets, emoji codes, formulas, escape sequences, 300 characters, 50 Enters, two line ends."""
    with running(file) as bench:
        bench.until("gives no readings")
        odd = ["[/]", "[bold", ":boom:", "=1+1", "日本", "x" * 300, "\x1b[A", ".nonsense", ".skip", ".help"]
        for line in odd:
            bench.type(line)
        bench.type("A1\r\n" + "\n" * 50)
        bench.until("Unit A1")
        time.sleep(0.5)
        code, output = bench.end()
    assert code == 0, output
    assert "Traceback" not in output
    assert "fault of steadyohm" not in output
    serials = [e.serial for e in journal_entries(tmp_path, "unit_started")]
    assert serials == ["[/]", "[bold", ":boom:", "=1+1", "日本", "A1"]
    assert not journal_entries(tmp_path, "verdict")
    assert "0 verdicts" in output


@pytest.mark.parametrize(
    "source", ["closed", *(pytest.param(each, marks=pytest.mark.long) for each in ("null", "file"))]
)
def test_no_keyboard_is_no_reason_to_stop(tmp_path, file, source):
    """As a service has none; typed lines in a plain file are not read at start."""
    lines = tmp_path / "lines.txt"
    lines.write_text("A1\n\n\n", encoding="utf-8")
    close = (lambda: os.close(0)) if source == "closed" else None
    with Path(lines if source == "file" else os.devnull).open(encoding="utf-8") as stdin:
        process = subprocess.Popen(
            [*RUN, str(file)], stdin=stdin, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
            env=QUIET, preexec_fn=close,  # noqa: PLW1509  (one thread; the shell's `<&-` does the same)
        )  # fmt: skip
        try:
            while "gives no readings" not in (line := process.stdout.readline()):
                assert line, "it has ended"
            process.send_signal(signal.SIGTERM)
            output, _ = process.communicate(timeout=PATIENCE_S)
        finally:
            process.kill()
            process.wait()
    assert process.returncode == 0, output
    assert "Stopped." in output


def serials(folder):
    """Units on the record."""
    started = (folder / "journal" / "journal.db").exists() and journal_entries(folder, "unit_started")
    return [entry.serial for entry in started or ()]


def test_the_bench_outlives_whoever_reads_its_output(tmp_path, file):
    """`steadyohm run … | head -1`: work goes on, and what is typed is still on the record."""
    reader, writer = os.pipe()
    process = subprocess.Popen(
        [*RUN, str(file)], stdin=subprocess.PIPE, stdout=writer, stderr=subprocess.PIPE, text=True, env=QUIET
    )
    os.close(writer)
    try:
        os.read(reader, 10)
        os.close(reader)
        for serial in ("A1", "A2", "A3"):
            process.stdin.write(f"{serial}\n")
            process.stdin.flush()
            wait_until(lambda s=serial: s in serials(tmp_path))
        process.send_signal(signal.SIGTERM)
        _, errors = process.communicate(timeout=PATIENCE_S)
    finally:
        process.kill()
        process.wait()
    assert (process.returncode, errors) == (0, "")
    assert serials(tmp_path) == ["A1", "A2", "A3"]


def test_another_alphabet_shows_question_marks(file):
    """A terminal that lacks the signs still gets the words."""
    process = subprocess.Popen(
        [*RUN, str(file)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
        env={**QUIET, "PYTHONIOENCODING": "ascii"},
    )  # fmt: skip
    try:
        process.stdin.write(b"A1\n")
        process.stdin.flush()
        while b"Touch 1" not in (line := process.stdout.readline()):
            assert line, "it has ended"
        assert line.startswith(b"  ? Touch 1?2")
        process.send_signal(signal.SIGTERM)
        output, _ = process.communicate(timeout=PATIENCE_S)
    finally:
        process.kill()
        process.wait()
    assert process.returncode == 0, output


def test_a_real_terminal_gets_its_modes_back(file):
    """Serial typed key by key, Ctrl-C: clean stop, and the terminal is in its line mode again."""
    import fcntl
    import termios

    def own_terminal():
        fcntl.ioctl(0, termios.TIOCSCTTY, 0)

    master, slave = pty.openpty()
    before = termios.tcgetattr(slave)
    process = subprocess.Popen(
        [*RUN, str(file)], stdin=slave, stdout=slave, stderr=slave, start_new_session=True,
        preexec_fn=own_terminal, env={**QUIET, "TERM": "xterm"},  # noqa: PLW1509  (one thread)
    )  # fmt: skip
    seen = b""
    try:
        deadline = time.monotonic() + PATIENCE_S
        while b"serial of the next" not in seen and time.monotonic() < deadline:
            seen += os.read(master, 4096)
        os.write(master, b"P80-7\r\n")
        while b"Unit P80-7" not in seen and time.monotonic() < deadline:
            seen += os.read(master, 4096)
        os.write(master, b"\x03")
        while b"Stopped." not in seen and time.monotonic() < deadline:
            seen += os.read(master, 4096)
        assert process.wait(8) == 0
        assert termios.tcgetattr(slave) == before
    finally:
        process.kill()
        process.wait()
        os.close(master)
        os.close(slave)
    assert b"No pair is asked" not in seen


def test_a_second_bench_on_one_journal_is_refused(file):
    """Exit code 1, one sentence, and the first one goes on."""
    with running(file) as bench:
        bench.until("gives no readings")
        second = commanded("run", file)
        assert second.returncode == 1
        assert "in use by another bench" in second.stderr
        assert second.stderr.count("\n") == 1
        bench.type("A1")
        bench.until("Unit A1")
        assert bench.end()[0] == 0
