"""What happens on a cable: an instrument that answers lines, and one that sends without being asked.

Not for what the answers are (see `speak_scpi`, `speak_frames`), nor for how bytes travel (see `server`).
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from sim.clock import BenchClock
from sim.meter import Meter, Shown
from sim.server import Session, Wire
from sim.speak_frames import Voice
from sim.speak_scpi import ScpiVoice

LONGEST_LINE = 4096
CTRL_C = b"\x03"


class ScpiCable:
    """One cable to a SCPI instrument: lines are answered one after the other; Ctrl-C is a device clear.

    Args:
        wire: to the computer.
        voice: answers; all cables of one voice share the instrument.
        busy: held while the instrument does one thing.
        ending: of every reply.
    """

    def __init__(self, wire: Wire, voice: ScpiVoice, busy: asyncio.Lock, ending: bytes) -> None:
        self._wire, self._voice, self._busy, self._ending = wire, voice, busy, ending
        self._lines: asyncio.Queue[str] = asyncio.Queue()
        self._pending = b""
        self._worker = self._started()

    def _started(self) -> asyncio.Task[None]:
        worker = asyncio.create_task(self._work(), name="scpi work")
        worker.add_done_callback(self._ended)
        return worker

    def _ended(self, worker: asyncio.Task[None]) -> None:
        error = None if worker.cancelled() else worker.exception()
        if isinstance(error, Exception):
            self._wire.incoming.set_exception(error)  # the reader raises it

    async def _work(self) -> None:
        while True:
            line = await self._lines.get()
            async with self._busy:
                reply = await self._voice.answer(line)
            if reply is not None:
                await self._wire.send(reply.encode("ascii") + self._ending)

    async def _stopped(self) -> None:
        self._worker.cancel()
        await asyncio.gather(self._worker, return_exceptions=True)

    async def attend(self) -> None:
        """Serve until the computer hangs up."""
        try:
            while data := await self._wire.incoming.read(1024):
                self._pending += data
                if CTRL_C in self._pending:
                    await self._clear()
                self._take_lines()
        finally:
            await self._stopped()

    async def _clear(self) -> None:
        await self._stopped()
        self._lines = asyncio.Queue()
        self._pending = self._pending.rsplit(CTRL_C, 1)[1]
        self._voice.clear_input()
        self._worker = self._started()

    def _take_lines(self) -> None:
        *whole, self._pending = self._pending.split(b"\n")
        for line in whole:
            self._lines.put_nowait(line.decode("latin-1"))
        if len(self._pending) > LONGEST_LINE:
            self._pending = b""
            self._voice.overrun()


def scpi_session(voice: ScpiVoice, ending: bytes = b"\n") -> Session:
    """A session for each cable to one SCPI instrument."""
    busy = asyncio.Lock()

    async def session(wire: Wire) -> None:
        await ScpiCable(wire, voice, busy, ending).attend()

    return session


def stream_session(clock: BenchClock, period_s: float, message: Callable[[], bytes]) -> Session:
    """A session that sends a message every `period_s` simulated seconds and listens to nothing."""

    async def session(wire: Wire) -> None:
        when_s = clock.now_s()
        while not wire.incoming.at_eof():
            when_s = max(when_s + period_s, clock.now_s())
            await clock.until(when_s)
            await wire.send(message())

    return session


class FreeRun:
    """A hand meter at work: it converts all the time, whoever listens.

    Args:
        meter: the meter.
    """

    def __init__(self, meter: Meter) -> None:
        self._meter = meter
        self._news = asyncio.Condition()

    async def work(self) -> None:
        """Convert until cancelled."""
        while True:
            await self._meter.convert()
            async with self._news:
                self._news.notify_all()

    async def next(self) -> Shown:
        """The conversion that ends next."""
        async with self._news:
            await self._news.wait()
        shown = self._meter.shown
        assert shown is not None  # noqa: S101  (a conversion has just ended)
        return shown

    def session(self, voice: Voice) -> Session:
        """A session that streams every conversion, or answers when asked, as the voice wants it."""
        return self._asked(voice) if voice.asked_by else self._streaming(voice)

    def _streaming(self, voice: Voice) -> Session:
        async def session(wire: Wire) -> None:
            while not wire.incoming.at_eof():
                await wire.send(voice.encode(await self.next()))

        return session

    def _asked(self, voice: Voice) -> Session:
        async def session(wire: Wire) -> None:
            while data := await wire.incoming.read(64):
                if voice.asked_by in data:
                    shown = self._meter.shown or await self.next()
                    await wire.send(voice.encode(shown))

        return session
