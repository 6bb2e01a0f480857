"""The loop a command runs in, and what asks it to end: Ctrl-C, Ctrl-Break, SIGTERM, a console that is closed.

Not for what is then written, which is whoever listens.
"""

from __future__ import annotations

import asyncio
import contextlib
import functools
import signal
import sys
from collections.abc import Callable, Coroutine, Iterator
from typing import Any, TypeVar

T = TypeVar("T")

LAST_WORDS_S = 4.5
"""What is under way may take so long once a console is closed: Windows ends the process after 5 s
(learn.microsoft.com, HandlerRoutine callback, from memory)."""


def run_loop(main: Coroutine[Any, Any, T]) -> T:
    """Run a coroutine to its end, as asyncio.run does.

    On Windows with the loop that watches sockets, which the clients for MQTT and PostgreSQL stand on; the
    usual one there watches none.
    """
    with asyncio.Runner(loop_factory=_LOOP) as runner:
        return runner.run(main)


if sys.platform == "win32":
    import ctypes
    import socket
    import threading

    _LOOP: Callable[[], asyncio.AbstractEventLoop] | None = asyncio.SelectorEventLoop

    @contextlib.contextmanager
    def asked_to_end(call: Callable[[], object]) -> Iterator[None]:
        """Call, in the running loop, when somebody wants this process to end."""
        loop = asyncio.get_running_loop()
        ask = functools.partial(loop.call_soon_threadsafe, call)
        numbers = (signal.SIGINT, signal.SIGTERM, signal.SIGBREAK)
        with _woken_by_signals(loop), _told_of_closing(ask):
            before = {number: signal.signal(number, lambda *_: ask()) for number in numbers}
            try:
                yield
            finally:
                for number, handler in before.items():
                    signal.signal(number, handler)

    @contextlib.contextmanager
    def _woken_by_signals(loop: asyncio.AbstractEventLoop) -> Iterator[None]:
        """Let a signal end the wait for sockets, which goes on through it otherwise."""
        here, there = socket.socketpair()
        with here, there:
            here.settimeout(0)
            there.settimeout(0)
            loop.add_reader(here, here.recv, 4096)
            before = signal.set_wakeup_fd(there.fileno(), warn_on_full_buffer=False)
            try:
                yield
            finally:
                signal.set_wakeup_fd(before)
                loop.remove_reader(here)

    @contextlib.contextmanager
    def _told_of_closing(ask: Callable[[], object]) -> Iterator[None]:
        """Ask when the console is closed, the user logs off or the machine goes down; then hold that up.

        The process is gone as soon as the handler returns, which runs in a thread of the system's own.
        """
        ended = threading.Event()

        def told(what: int) -> int:
            if what < 2:  # Ctrl-C and Ctrl-Break are signals
                return 0
            ask()
            ended.wait(LAST_WORDS_S)
            return 1

        handler = ctypes.WINFUNCTYPE(ctypes.c_int, ctypes.c_uint)(told)
        set_handler = ctypes.windll.kernel32.SetConsoleCtrlHandler
        set_handler(handler, 1)
        try:
            yield
        finally:
            ended.set()
            set_handler(handler, 0)

    @contextlib.contextmanager
    def on_hang_up(_call: Callable[[], object]) -> Iterator[None]:
        """No console of this system hangs up; one that is closed asks for the end."""
        yield
else:
    _LOOP = None

    @contextlib.contextmanager
    def asked_to_end(call: Callable[[], object]) -> Iterator[None]:
        """Call, in the running loop, when somebody wants this process to end."""
        with _on((signal.SIGINT, signal.SIGTERM), call):
            yield

    @contextlib.contextmanager
    def on_hang_up(call: Callable[[], object]) -> Iterator[None]:
        """Call, in the running loop, at SIGHUP."""
        with _on((signal.SIGHUP,), call):
            yield

    @contextlib.contextmanager
    def _on(numbers: tuple[signal.Signals, ...], call: Callable[[], object]) -> Iterator[None]:
        loop = asyncio.get_running_loop()
        for number in numbers:
            loop.add_signal_handler(number, call)
        try:
            yield
        finally:
            for number in numbers:
                loop.remove_signal_handler(number)
