"""The master end of a pseudo terminal, which stands in for a serial line where a system has such."""

from __future__ import annotations

import sys
from collections.abc import Callable

UNREAD_BYTES = 512
"""More than this unread: nobody listens, and a serial line remembers nothing."""

if sys.platform == "win32":

    class Pty:
        """There is none here.

        Raises:
            OSError: always.
        """

        path = ""

        def __init__(self, _take: Callable[[bytes], object]) -> None:
            raise OSError("this system has no pseudo terminals")

        def send(self, data: bytes) -> None:
            """Send bytes to the computer."""

        def close(self) -> None:
            """Take the port away."""
else:
    import asyncio
    import contextlib
    import fcntl
    import os
    import struct
    import termios
    import tty

    class Pty:
        """A pseudo terminal; its slave end is kept open, so that the computer may come and go.

        Attributes:
            path: of the slave end.
        """

        def __init__(self, take: Callable[[bytes], object]) -> None:
            """Open one; `take` is called with what comes. Raises: OSError."""
            self._master, self._slave = os.openpty()
            tty.setraw(self._slave)
            os.set_blocking(self._master, False)
            self.path = os.ttyname(self._slave)
            self._take = take
            asyncio.get_running_loop().add_reader(self._master, self._ready)

        def _ready(self) -> None:
            with contextlib.suppress(BlockingIOError):
                self._take(os.read(self._master, 4096))

        def send(self, data: bytes) -> None:
            """Send bytes to the computer; what a full line cannot take is lost, as on a real one."""
            unread = struct.unpack("i", fcntl.ioctl(self._slave, termios.FIONREAD, b"\0\0\0\0"))[0]
            if unread > UNREAD_BYTES:
                termios.tcflush(self._slave, termios.TCIFLUSH)
            with contextlib.suppress(BlockingIOError):
                os.write(self._master, data)

        def close(self) -> None:
            """Take the port away."""
            asyncio.get_running_loop().remove_reader(self._master)
            os.close(self._master)
            os.close(self._slave)
