"""Processes that start warm are processes like any other."""

from __future__ import annotations

import os
import signal
import subprocess
import sys

import pytest

from tests.warm import HOUSES, Warm

TELLS = """
import os, sys
print(os.getpid(), os.getppid(), os.getcwd(), os.environ["WORD"], sys.argv[1:], __name__, flush=True)
print(sys.stdin.readline().upper(), file=sys.stderr)
raise SystemExit(int(sys.argv[1]))
"""


@pytest.mark.parametrize("cold", [False, True])
def test_it_has_its_own_streams_folder_environment_and_exit_code(tmp_path, monkeypatch, cold):
    """Warm as cold; it is a child of whoever started it."""
    monkeypatch.setattr("tests.warm.COLD", cold)
    monkeypatch.setattr("tests.warm.HOUSES", {*HOUSES, "tells"})
    (tmp_path / "tells.py").write_text(TELLS, encoding="utf-8")
    words = [sys.executable, "-m", "tells", "7", "x y"]
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    with Warm(words, cwd=tmp_path, env={**os.environ, "WORD": "é"}, **pipes) as process:
        said, errors = process.communicate("word\n", timeout=60)
    assert said == f"{process.pid} {os.getpid()} {tmp_path} é ['7', 'x y'] __main__\n"
    assert errors == "WORD\n\n"
    assert process.returncode == 7


def test_it_is_killed_like_any_other_and_a_fault_is_shown(tmp_path, monkeypatch):
    """By a signal; by its own exception, with a traceback and exit code 1."""
    monkeypatch.setattr("tests.warm.HOUSES", {"asyncio", "fails"})
    with Warm([sys.executable, "-m", "asyncio"], stdin=subprocess.PIPE, stdout=subprocess.DEVNULL) as process:
        process.kill()
        assert process.wait(60) == -signal.SIGKILL
    (tmp_path / "fails.py").write_text("1 / 0", encoding="utf-8")
    words = [sys.executable, "-m", "fails"]
    with Warm(words, cwd=tmp_path, stderr=subprocess.PIPE, text=True) as process:
        assert "ZeroDivisionError" in process.communicate(timeout=60)[1]
    assert process.returncode == 1
