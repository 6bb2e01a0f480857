"""Whether the rules of `sitecustomize` are kept here, and every module of ours lives under them. No test."""

import asyncio
import importlib
import os
import pkgutil
import signal
import socket
import sys
from pathlib import Path

import acquire
import drivers
import sim
import system
from acquire.simulated import demo
from system import ending, files


def refused(call, kind):
    """Assert that a call is refused so."""
    try:
        call()
    except kind:
        return
    raise AssertionError(call)


async def loop_without_much():
    """Pipes, signals and processes are none of its business."""
    loop = asyncio.get_running_loop()
    reading, _ = os.pipe()
    refused(lambda: loop.add_reader(reading, print), NotImplementedError)
    refused(lambda: loop.add_signal_handler(signal.SIGINT, print), NotImplementedError)
    try:
        await asyncio.create_subprocess_exec(sys.executable, "-V")
    except NotImplementedError:
        return
    raise AssertionError("it has processes")


for name in ("fcntl", "termios", "tty", "pty", "grp", "pwd", "resource"):
    refused(lambda name=name: importlib.import_module(name), ModuleNotFoundError)
for module, name in ((socket, "AF_UNIX"), (signal, "SIGHUP"), (os, "O_NOFOLLOW"), (os, "pwrite")):
    assert not hasattr(module, name), name
assert sys.stdout.encoding == "cp1252"
asyncio.run(loop_without_much())
for name in ("batch: 3.csv", "con.csv", "lot 7."):
    refused(lambda name=name: Path(name).write_text("", encoding="utf-8"), OSError)
kept = Path("kept.txt")
with kept.open("w", encoding="utf-8"):
    refused(lambda: kept.replace("other.txt"), PermissionError)
kept.replace("other.txt")
for house in (acquire, drivers, sim, system):
    for found in pkgutil.walk_packages(house.__path__, f"{house.__name__}."):
        if not found.name.endswith("__main__") and "conformance" not in found.name:
            importlib.import_module(found.name)
assert ending._LOOP is asyncio.SelectorEventLoop
assert not files.others_may_read(0)
sys.prefix, demo.which = str(Path.cwd()), lambda _: None
Path("Scripts").mkdir()
Path("Scripts", "activate").touch()
assert demo._known_first()[0][0] == str(Path("Scripts", "activate"))
