"""A TCP relay between two ends, which can cut, hold back and delay what passes. Not a test itself."""

import asyncio
import contextlib
from dataclasses import dataclass, field


@dataclass
class Relay:
    """Listens on a free loopback port and passes everything on to `target`.

    Attributes:
        target: port everything is passed to; may be changed: the next connection goes there.
        delay_s: everything is held back so long.
        flowing: cleared, nothing passes and nothing is told: a cable that leads nowhere.
    """

    target: int
    delay_s: float = 0.0
    port: int = 0
    flowing: asyncio.Event = field(default_factory=asyncio.Event)
    _writers: set = field(default_factory=set)
    _server: asyncio.Server | None = None
    _tasks: set = field(default_factory=set)

    async def __aenter__(self):
        self.flowing.set()
        self._server = await asyncio.start_server(self._serve, "127.0.0.1", 0)
        self.port = self._server.sockets[0].getsockname()[1]
        return self

    async def __aexit__(self, *_):
        self._server.close()
        self.cut()
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    def cut(self):
        """Break every connection at once."""
        for writer in self._writers:
            writer.transport.abort()
        self._writers.clear()

    async def _serve(self, reader, writer):
        self._tasks.add(asyncio.current_task())
        try:
            far_reader, far_writer = await asyncio.open_connection("127.0.0.1", self.target)
        except OSError:
            writer.transport.abort()
            return
        self._writers |= {writer, far_writer}
        await asyncio.gather(self._pass(reader, far_writer), self._pass(far_reader, writer))
        self._writers -= {writer, far_writer}

    async def _pass(self, reader, writer):
        with contextlib.suppress(OSError):
            while chunk := await reader.read(65536):
                await self.flowing.wait()
                await asyncio.sleep(self.delay_s)
                writer.write(chunk)
                await writer.drain()
        with contextlib.suppress(OSError):
            writer.close()
