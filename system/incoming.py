"""What comes in from a pipe, a terminal or a keyboard, without holding up the loop.

Not for instruments, which have channels of their own, nor for what typed words mean (acquire.bench.keyboard).
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import stat
import sys
import threading
from collections.abc import AsyncGenerator, Callable, Iterator

AT_ONCE = 65536
"""Bytes taken together."""

LONGEST_LINE = 65536
"""Bytes; an input that goes on without a line feed (a device, a file of zeros) must not fill the memory."""


async def read_lines(number: int) -> AsyncGenerator[str]:
    """Each line as it comes, stripped, empty ones left out; stops at the end, or at an endless line."""
    unended = b""
    async with contextlib.aclosing(pieces(number)) as incoming:
        async for piece in incoming:
            *lines, unended = (unended + piece).split(b"\n")
            for line in lines:
                if text := line.decode("utf-8", "replace").strip():
                    yield text
            if len(unended) > LONGEST_LINE:
                return
    if text := unended.decode("utf-8", "replace").strip():
        yield text


async def pieces(number: int) -> AsyncGenerator[bytes]:
    """What comes from a file by its number, until its end. Nothing is read ahead: a flood waits outside.

    A thread reads where the loop cannot watch: a pipe of Windows, a device.
    """
    if stat.S_ISREG(os.fstat(number).st_mode):  # always ready
        while piece := os.read(number, AT_ONCE):
            yield piece
        return
    try:
        while piece := await when_ready(number):
            yield piece
    except (NotImplementedError, PermissionError):
        thread = _threads.get(number) or _Thread(number)
        while piece := await thread.take():
            yield piece


async def when_ready(number: int) -> bytes:
    """The next piece, empty at the end.

    Raises:
        NotImplementedError, PermissionError: this loop cannot watch it.
    """
    loop, ready = asyncio.get_running_loop(), asyncio.Event()
    loop.add_reader(number, ready.set)
    try:
        await ready.wait()
    finally:
        loop.remove_reader(number)
    return _read(number)


def _read(number: int) -> bytes:
    try:
        return os.read(number, AT_ONCE)
    except OSError:  # the terminal is gone
        return b""


class _Thread:
    """Reads one piece ahead, as long as there is something.

    One for each file: a read under way cannot be called off, and what it brings is for whoever listens next.
    """

    def __init__(self, number: int) -> None:
        self._number = number
        self._piece: bytes | None = None
        self._taken = threading.Event()
        self._change = threading.Lock()
        self._tell: Callable[[], object] | None = None
        _threads[number] = self
        threading.Thread(target=self._work, name=f"input {number}", daemon=True).start()

    def _work(self) -> None:
        while piece := _read(self._number):
            self._bring(piece)
            self._taken.wait()
            self._taken.clear()
        del _threads[self._number]
        self._bring(b"")

    def _bring(self, piece: bytes) -> None:
        with self._change:
            self._piece = piece
            if self._tell is not None:
                self._tell()

    async def take(self) -> bytes:
        """The next piece, empty at the end. One at a time."""
        loop, ready = asyncio.get_running_loop(), asyncio.Event()

        def tell() -> None:
            with contextlib.suppress(RuntimeError):  # that loop has ended
                loop.call_soon_threadsafe(ready.set)

        with self._change:
            self._tell = tell
            if self._piece is not None:
                ready.set()
        try:
            await ready.wait()
        finally:
            self._tell = None
        piece, self._piece = self._piece or b"", None
        self._taken.set()
        return piece


_threads: dict[int, _Thread] = {}


def _standard_input() -> int | None:
    """Its number; None where nobody can type: it is closed, a plain file or the null device."""
    try:
        number = sys.stdin.fileno()
        mode = os.fstat(number).st_mode
    except (AttributeError, OSError, ValueError):  # closed by whoever started us: sys.stdin may be None
        return None
    return number if os.isatty(number) or stat.S_ISFIFO(mode) or stat.S_ISSOCK(mode) else None


if sys.platform == "win32":
    import msvcrt
    import signal

    LOOK_S = 0.03
    """How often a console is asked for keys; nobody sees so short a time, and it costs next to nothing."""

    MOST_KEYS = 4096

    async def typed() -> AsyncGenerator[bytes]:
        """What is typed at standard input, in UTF-8: key by key on a console, elsewhere as it comes."""
        number = _standard_input()
        if number is None:
            return
        if not os.isatty(number):
            async with contextlib.aclosing(pieces(number)) as incoming:
                async for piece in incoming:
                    yield piece
            return
        while True:
            if keys := _keys():
                yield keys.encode("utf-8", "replace")
            else:
                await asyncio.sleep(LOOK_S)

    def _keys() -> str:
        """Keys that wait, without arrows and the like, which come as two codes."""
        keys = ""
        while msvcrt.kbhit() and len(keys) < MOST_KEYS:
            key = msvcrt.getwch()
            if key in "\x00\xe0" and msvcrt.kbhit():
                msvcrt.getwch()
            elif key == "\x03":
                signal.raise_signal(signal.SIGINT)
            else:
                keys += key
        return keys
else:
    import termios
    import tty

    async def typed() -> AsyncGenerator[bytes]:
        """What is typed at standard input, in UTF-8: key by key on a terminal, elsewhere as it comes.

        Ends at once on a terminal that is somebody else's just now: a program in the background must leave it
        alone, or the system stops it (SIGTTOU).
        """
        number = _standard_input()
        if number is None or not _in_front(number):
            return
        with _keys_one_by_one(number):
            async with contextlib.aclosing(pieces(number)) as incoming:
                async for piece in incoming:
                    yield piece

    def _in_front(number: int) -> bool:
        try:
            return not os.isatty(number) or os.tcgetpgrp(number) == os.getpgrp()
        except OSError:
            return False

    @contextlib.contextmanager
    def _keys_one_by_one(number: int) -> Iterator[None]:
        """Take a terminal out of its line mode, and put it back whatever happens. Ctrl-C keeps its meaning.

        A return is not turned into a line feed either, so that the two of a scanner can be told from two
        Enters.
        """
        if not os.isatty(number):
            yield
            return
        before = termios.tcgetattr(number)
        try:
            tty.setcbreak(number)
            mode = termios.tcgetattr(number)
            mode[0] &= ~termios.ICRNL
            termios.tcsetattr(number, termios.TCSANOW, mode)
            yield
        finally:
            with contextlib.suppress(termios.error):  # closed meanwhile, and we with it
                termios.tcsetattr(number, termios.TCSADRAIN, before)
