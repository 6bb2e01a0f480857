"""Lets a Python process on Linux live under the rules of Windows; for tests, by PYTHONPATH.

What Windows lacks cannot be imported or called, loops watch sockets only and start no processes, files that
are open cannot be replaced or removed, names that Windows refuses cannot be made, output is in cp1252, and
`system` takes its decisions as there. SIGUSR1 stands for Ctrl-Break and SIGUSR2 for closing the console.

Libraries are imported before: which system they are on is their own affair. It reaches child processes too,
since they inherit PYTHONPATH. By the documents of CPython and Microsoft, partly from memory; the real thing
may still differ. Not a test itself.
"""

from __future__ import annotations

import asyncio
import contextlib
import ctypes
import errno
import functools
import importlib
import importlib.abc
import os
import re
import select
import signal
import socket
import stat
import sys
import threading
import types
import warnings
from pathlib import Path

ABSENT_MODULES = ("fcntl", "termios", "tty", "pty", "grp", "pwd", "resource", "syslog", "readline", "crypt")

ABSENT = {
    os: "fork forkpty openpty getuid geteuid getgid getegid getpgrp getpgid tcgetpgrp tcsetpgrp ttyname "
    "setsid killpg fchmod fchown chown lchown mkfifo mknod pread pwrite statvfs sync uname nice "
    "O_CLOEXEC O_NOFOLLOW O_NONBLOCK O_DIRECTORY O_NOCTTY ST_RDONLY",
    signal: "SIGHUP SIGQUIT SIGALRM SIGWINCH pthread_kill sigwait alarm setitimer",
    socket: "SO_REUSEPORT",
}

NAME_REFUSED = re.compile(
    r'[<>:"|?*\x00-\x1f]|[. ]$|^(CON|PRN|AUX|NUL|COM[0-9¹²³]|LPT[0-9¹²³])(\.|$)', re.IGNORECASE
)
"""Of a file (learn.microsoft.com, Naming Files, Paths, and Namespaces)."""

CLOSING, ENDED_BY_CLOSING = 2, 0x3A
"""CTRL_CLOSE_EVENT; the low byte of STATUS_CONTROL_C_EXIT, as much as a code of Linux holds."""


# ------------------------------------------------------------------ modules and names


class _Absent(importlib.abc.MetaPathFinder):
    """Refuses to find what Windows has not."""

    def find_spec(self, name, _path=None, _target=None):
        if name in ABSENT_MODULES:
            raise ModuleNotFoundError(f"No module named {name!r}", name=name)


def without_modules_and_names():
    """Libraries that hold one already keep it."""
    for name in ABSENT_MODULES:
        sys.modules.pop(name, None)
    sys.meta_path.insert(0, _Absent())
    local = socket.AF_UNIX
    real = socket.socketpair
    socket.socketpair = lambda *_: real(local)  # Windows has it over the loopback, which is as good
    del socket.AF_UNIX
    socket.SO_EXCLUSIVEADDRUSE = socket.SO_REUSEADDR
    for module, names in ABSENT.items():
        for name in names.split():
            if hasattr(module, name):
                delattr(module, name)


# ------------------------------------------------------------------ loops


def _not_here(*_, **__):
    raise NotImplementedError


async def _never_here(*_, **__):
    raise NotImplementedError


def _sockets_only(real):
    @functools.wraps(real)
    def watch(self, file, *more):
        number = file if isinstance(file, int) else file.fileno()
        if not stat.S_ISSOCK(os.fstat(number).st_mode):
            raise NotImplementedError
        return real(self, file, *more)

    return watch


def without_much_of_a_loop():
    """As asyncio.SelectorEventLoop is there (docs.python.org, asyncio, Platform Support)."""
    loop = asyncio.SelectorEventLoop
    loop.add_reader, loop.add_writer = _sockets_only(loop.add_reader), _sockets_only(loop.add_writer)
    loop.add_signal_handler = loop.remove_signal_handler = _not_here
    for name in ("subprocess_exec", "subprocess_shell", "connect_read_pipe", "connect_write_pipe"):
        setattr(loop, name, _never_here)


# ------------------------------------------------------------------ files


def _held(path):
    """Whether this process has a file open."""
    try:
        wanted = Path(path).stat()
    except OSError:
        return False
    for number in os.listdir("/proc/self/fd") if stat.S_ISREG(wanted.st_mode) else ():  # noqa: PTH208
        with contextlib.suppress(OSError):
            if os.path.samestat(os.fstat(int(number)), wanted):
                return True
    return False


def _refuse(event, given):
    """An audit hook: what Windows would not do with a file."""
    if event in {"os.rename", "os.remove"} and any(
        isinstance(p, str | os.PathLike) and _held(p) for p in given[:2]
    ):
        raise PermissionError(
            errno.EACCES, "The process cannot access the file because it is being used", given[0]
        )
    if event == "open":
        path, mode, flags = given
        if not isinstance(path, str | bytes | os.PathLike):
            return
        makes = any(letter in (mode or "") for letter in "wax") or bool(mode is None and flags & os.O_CREAT)
    elif event == "os.rename":
        path, makes = given[1], True
    elif event in {"os.mkdir", "sqlite3.connect"}:
        path, makes = given[0], not str(given[0]).startswith("file:")
    else:
        return
    name = Path(os.fsdecode(path)).name
    if makes and NAME_REFUSED.search(name):
        raise OSError(errno.EINVAL, "The name is incorrect", name)


# ------------------------------------------------------------------ console


def pretended_msvcrt():
    """Keys of the terminal at standard input, which must be raw."""
    module = types.ModuleType("msvcrt")
    pending = bytearray()

    def kbhit():
        while not pending and select.select([0], [], [], 0)[0]:
            pending.extend(os.read(0, 1))
        return bool(pending)

    def getwch():
        while not kbhit():
            select.select([0], [], [])
        wide = 1 if pending[0] < 0x80 or pending[0] == 0xE0 else 2
        while len(pending) < wide:
            pending.extend(os.read(0, 1))
        key = bytes(pending[:wide])
        del pending[:wide]
        return "\xe0" if key == b"\xe0" else key.decode()

    module.kbhit, module.getwch = kbhit, getwch
    sys.modules["msvcrt"] = module


def pretended_signals():
    """Ctrl-Break, and a console that is closed: its handler runs in another thread, then all is over."""
    signal.SIGBREAK = signal.SIGUSR1
    handlers = []

    def set_handler(handler, add):
        (handlers.append if add else handlers.remove)(handler)
        return 1

    ctypes.WINFUNCTYPE = ctypes.CFUNCTYPE
    ctypes.windll = types.SimpleNamespace(kernel32=types.SimpleNamespace(SetConsoleCtrlHandler=set_handler))

    def close():
        for handler in reversed(handlers):
            if handler(CLOSING):
                break
        os._exit(ENDED_BY_CLOSING)

    # In a thread that waits, since the main one may be in a call that no signal of Python's reaches.
    wait = signal.sigwait

    def watch():
        wait({signal.SIGUSR2})
        close()

    threading.Thread(target=watch, daemon=True, name="console").start()


def system_decides_as_there():
    """Each of its modules, once, when it is imported."""
    folder = Path(__file__).parents[2] / "system"
    real, sys.platform = sys.platform, "win32"
    try:
        for path in sorted(folder.glob("[a-z]*.py")):
            importlib.import_module(f"system.{path.stem}")
    finally:
        sys.platform = real


BEFORE = (
    "concurrent.futures.thread shutil subprocess tempfile webbrowser plistlib numpy portalocker serial "
    "serial.tools.list_ports uvicorn psutil aiomqtt rich.console psycopg pyvisa_py"
)

signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGUSR2})  # before a library makes a thread: all inherit it
for _module in BEFORE.split():
    try:
        importlib.import_module(_module)
    except ImportError:
        continue
pretended_signals()
without_modules_and_names()
without_much_of_a_loop()
pretended_msvcrt()
system_decides_as_there()
sys.addaudithook(_refuse)
for _stream in (sys.stdout, sys.stderr):
    _stream.reconfigure(encoding="cp1252")
if sys.flags.warn_default_encoding:
    warnings.filterwarnings("error", category=EncodingWarning, module="acquire|drivers|sim|system")
