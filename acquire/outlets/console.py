"""The console of a bench, which may lose whoever reads it: a pipe, or a terminal that hangs up."""

from __future__ import annotations

import contextlib
import errno
import sys
from collections.abc import Iterator
from typing import IO, Any, cast

from rich.console import Console

from system.console import LEFT, write_nowhere


class _Display:
    """Standard output, to which a terminal that has hung up is like any other reader who has left."""

    def __init__(self) -> None:
        self._stream = sys.stdout  # as it is now: a living last line puts itself in its place

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)

    def write(self, text: str) -> int:
        with _hung_up_is_left():
            return self._stream.write(text)

    def flush(self) -> None:
        with _hung_up_is_left():
            self._stream.flush()


@contextlib.contextmanager
def _hung_up_is_left() -> Iterator[None]:
    try:
        yield
    except OSError as error:
        if error.errno not in LEFT:
            raise
        raise BrokenPipeError(errno.EPIPE, "the terminal has hung up") from error


class BenchConsole(Console):
    """A console that takes serials and paths as they are, and that may lose its reader.

    When whoever reads us has left, the bench goes on without a display: the journal is the record.
    """

    def __init__(self) -> None:
        """Write to standard output."""
        super().__init__(markup=False, emoji=False, highlight=False, file=cast("IO[str]", _Display()))

    def on_broken_pipe(self) -> None:
        """Write into nowhere from now on."""
        self.quiet = True
        write_nowhere(sys.stdout)
