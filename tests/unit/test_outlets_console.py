"""A console whose reader leaves, and which takes names as they are."""

from __future__ import annotations

import os
import pty
import subprocess
import sys

import pytest

from acquire.outlets.console import BenchConsole
from tests.waiting import PATIENCE_S

WORK = (
    "from acquire.outlets.console import BenchConsole\n"
    "import signal, sys\n"
    "signal.signal(signal.SIGHUP, signal.SIG_IGN)\n"
    "console = BenchConsole()\n"
    "for n in range(2500): console.print('line ' * 10, n)\n"  # more than a pipe holds
    "sys.stderr.write('still here')\n"
)


@pytest.mark.parametrize("end", [os.pipe, pty.openpty], ids=["pipe", "terminal"])
def test_the_bench_goes_on_when_nobody_reads_its_display(end):
    """A pipe whose reader has left, a terminal that has hung up: no error, what follows goes nowhere."""
    reader, writer = end()
    process = subprocess.Popen([sys.executable, "-c", WORK], stdout=writer, stderr=subprocess.PIPE, text=True)
    os.close(writer)
    os.read(reader, 10)
    os.close(reader)
    _, errors = process.communicate(timeout=PATIENCE_S)
    assert (process.returncode, errors) == (0, "still here")


def test_serials_cannot_style_the_console(capsys):
    """Paths and serials with brackets are printed as they are."""
    BenchConsole().print("in [red]/tmp[/red] :boom:")
    assert capsys.readouterr().out == "in [red]/tmp[/red] :boom:\n"
