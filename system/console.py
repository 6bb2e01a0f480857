"""Standard output and its like: in UTF-8 everywhere, and what to do when nobody reads any more."""

from __future__ import annotations

import contextlib
import errno
import io
import os
import sys
from pathlib import Path
from typing import IO, Final

_ENCODING: Final = "utf-8" if sys.platform == "win32" else None
"""None keeps what the user's language settings say. On Windows those mean an alphabet without ohms."""

LEFT: Final = frozenset({errno.EIO, *([errno.EINVAL] if sys.platform == "win32" else [])})
"""How a write fails when its reader has left, beside EPIPE: a terminal that hung up (POSIX, termios: a modem
disconnect), a pipe of Windows."""


def make_streams() -> None:
    """Make sure that there is somewhere to write to, and that nothing written is an error."""
    for name in ("stdout", "stderr"):  # closed by whoever started us: then there is nobody to tell
        if getattr(sys, name) is None:
            setattr(sys, name, Path(os.devnull).open("w", encoding="utf-8"))  # noqa: SIM115
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a terminal of another alphabet shows ? for what it lacks
            stream.reconfigure(encoding=_ENCODING, errors="replace")


def write_nowhere(*streams: IO[str]) -> None:
    """Whatever goes to them from now on; one whose reader has left answers every write with an error."""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        for stream in streams:
            os.dup2(nowhere, stream.fileno())
        os.close(nowhere)
