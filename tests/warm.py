"""Processes of ours that start in hundredths of a second: forked from one that has imported everything.

A start from nothing costs more than a second of processor time, most of it imports, and tests start hundreds.
`Warm` is `subprocess.Popen` for `python [-P] -m MODULE ...`: the same program in a process of its own, with
its own streams, folder, environment and exit code, to be killed like any other. Cold starts are proven where
a test asks for another interpreter or `-c`, and everywhere by `make long`. Not a test itself.

The one that forks is a child of the test's process, which adopts what it forks (prctl(2), child subreaper).
"""

from __future__ import annotations

import atexit
import contextlib
import ctypes
import gc
import importlib
import json
import os
import runpy
import secrets
import socket
import subprocess
import sys
import time
from functools import cache
from pathlib import Path

ROOT = str(Path(__file__).resolve().parents[1])
KEPT = (
    "acquire.cli",
    "acquire.bench.run",
    "acquire.bench.service",
    "acquire.bench.page_backend",
    "acquire.page.bench_page",
    "acquire.line.board_page",
    "acquire.simulated.demo",
    "drivers.link.serial_port",
    "sim.__main__",
)
"""Imported beforehand; all else is imported by whoever needs it."""

COLD = bool(os.environ.get("STEADYOHM_COLD")) or not sys.platform.startswith("linux")
HOUSES = {"acquire", "sim", "tests"}
PLAIN = {"stdin", "stdout", "stderr", "text", "universal_newlines", "encoding", "errors", "bufsize"} | {
    "close_fds",
    "env",
    "cwd",
}
ADOPT = 36
"""PR_SET_CHILD_SUBREAPER of linux/prctl.h."""


def _ours(environment):
    """What the interpreter itself goes by."""
    return {name: value for name, value in environment.items() if name.startswith("PYTHON")}


class Warm(subprocess.Popen):
    """A process of `python -m MODULE ...`; one for which the interpreter is set otherwise starts cold."""

    def __init__(self, arguments, **options):
        words = [] if isinstance(arguments, str | bytes | os.PathLike) else [*map(str, arguments)]
        first, dash, module = [*(word for word in words if word != "-P"), "", "", ""][:3]
        self._warm = (
            not COLD
            and (first, dash) == (sys.executable, "-m")
            and module.partition(".")[0] in HOUSES
            and not {name for name, value in options.items() if value} - PLAIN
            and _ours(options.get("env") or os.environ) == _ours(os.environ)
        )
        super().__init__(arguments, **options)

    def _execute_child(self, *given):
        if not self._warm:
            super()._execute_child(*given)
            return
        words, cwd, environment = given[0], given[5], given[6]
        streams = given[10], given[13], given[15]
        job = {
            "words": [*map(str, words[1:])],
            "cwd": str(cwd or Path.cwd()),
            "environment": dict(environment or os.environ),
        }
        fds = [number if fd == -1 else fd for number, fd in enumerate(streams)]
        there, _ = _forker()
        prctl = ctypes.CDLL(None).prctl
        prctl(ADOPT, 1)
        socket.send_fds(there, [json.dumps(job).encode()], fds)
        self.pid = int(there.recv(100))
        prctl(ADOPT, 0)  # other orphans are none of ours: nobody would wait for them
        self._child_created = True
        self._close_pipe_fds(*given[10:16])


@cache
def _forker():
    """The process that forks, and a line to it; it ends with this one."""
    here, there = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    with there:
        process = subprocess.Popen(
            [sys.executable, "-c", "from tests.warm import serve; serve()", str(there.fileno())],
            pass_fds=[there.fileno()],
            stdin=subprocess.DEVNULL,
            cwd=ROOT,
            env={**os.environ, "TERM": "dumb", "COLUMNS": "120", "OPENBLAS_NUM_THREADS": "1"},
        )
    assert here.recv(10) == b"ready"
    atexit.register(process.wait)
    atexit.register(here.close)  # before: it ends with its line
    return here, process  # kept, or it were waited for in vain


def serve():
    """Fork for each job; returns in a child whose job is done, so that the interpreter ends as it does."""
    line = socket.socket(fileno=int(sys.argv[1]))
    for name in KEPT:
        importlib.import_module(name)
    gc.collect()
    gc.freeze()
    line.send(b"ready")
    while True:
        told, fds, *_ = socket.recv_fds(line, 1_000_000, 3)
        if not told:
            os._exit(0)
        reading, writing = os.pipe()
        between = os.fork()
        if not between:
            first = os.getpid()
            child = os.fork()
            if child:
                os.write(writing, str(child).encode())
                os._exit(0)
            os.close(reading)
            os.close(writing)
            line.close()
            while os.getppid() == first:  # it is not adopted yet
                time.sleep(0.001)
            _run(json.loads(told), fds)
            return
        os.waitpid(between, 0)  # only now is the child adopted, and may be waited for
        line.send(os.read(reading, 100))
        for fd in (reading, writing, *fds):
            os.close(fd)


def _run(job, fds):
    """Become `python [-P] -m MODULE ...`."""
    for number, fd in enumerate(fds):
        os.dup2(fd, number)
    for fd in {*fds} - {0, 1, 2}:
        os.close(fd)
    os.chdir(job["cwd"])
    os.environ.clear()
    os.environ.update(job["environment"])
    for number, name in enumerate(("stdin", "stdout", "stderr")):
        usual = getattr(sys, name)
        stream = open(  # noqa: SIM115  (they live as long as the process)
            number,
            "w" if number else "r",
            encoding=usual.encoding,
            errors=usual.errors,
            closefd=False,
            buffering=1 if number == 2 or os.isatty(number) else -1,
        )
        if number:
            stream.reconfigure(write_through=usual.write_through)
        setattr(sys, name, stream)
        setattr(sys, f"__{name}__", stream)
    with contextlib.suppress(KeyError):
        sys.modules["drivers.scpi.dialogue"]._MARK = 1 + secrets.randbelow(255)
    safe = job["words"][0] == "-P"
    sys.path[0] = ROOT if safe else job["cwd"]
    module, *words = job["words"][1 + safe :]
    sys.argv = [module, *words]
    runpy.run_module(module, run_name="__main__", alter_sys=True)
