"""Puts the bench together: clock, air, probes, meter, thermometer, hands; and talks with whoever started it.

The only place of the simulation where the parts meet. On a cable an instrument answers lines, or sends
without being asked.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import sys
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sim.clock import BenchClock
from sim.hands import FixtureHands, Hands, Pace
from sim.meter import Meter, MeterClass, Shown
from sim.probes import Ambient, Probes
from sim.scenes import Scene, dice_for
from sim.server import LineTrouble, Session, Wire, on_pty, on_tcp
from sim.speak_frames import VOICES, Voice, temperature_line
from sim.speak_scpi import ScpiVoice
from sim.switch_card import BusCard, Wear
from sim.truth import TruthLog
from sim.typed import TypedHands
from system.ending import asked_to_end
from system.incoming import read_lines

LINKS: dict[str, Callable[[Session, int, LineTrouble], contextlib.AbstractAsyncContextManager[str]]] = {
    "tcp": on_tcp,
    "pty": lambda session, _port, trouble: on_pty(session, trouble),
}
"""How an instrument is plugged in; each gives its address while it serves."""

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


@dataclass(frozen=True, slots=True)
class Options:
    """What the command line says; see `__main__`."""

    scene: Scene
    meter: MeterClass
    pace: Pace
    seed: int = 7
    speed: float = 1.0
    truth: Path | None = None
    voice: str = "scpi"
    fixed_ohm: float | None = None
    fixture: str = ""
    wear: Wear = field(default_factory=Wear)
    trouble: LineTrouble = field(default_factory=LineTrouble)
    meter_port: int = 0
    thermometer_port: int = 0
    meter_link: str = "tcp"
    thermometer: str = "pty"
    typed: bool = False
    brief: bool = False


class Bench:
    """A bench ready to be plugged into."""

    def __init__(self, options: Options) -> None:
        self.options = options
        self.clock = BenchClock(options.speed)
        self.scene = options.scene
        stretched = options.speed if options.typed else 1.0
        self.ambient = Ambient(dice_for(options.seed, "ambient"), stretched=stretched)
        self.probes = Probes(self.ambient)
        meter_dice = dice_for(options.seed, "meter")
        self.meter = Meter(options.meter, self.probes, self.clock, meter_dice)
        if options.fixed_ohm is not None:
            self.meter.turn(options.fixed_ohm)
        self.card = self._bus_card() if options.fixture else None
        self.free_run = FreeRun(self.meter)
        self._sensor = dice_for(options.seed, "thermometer")
        self._sensor_offset = self._sensor.uniform(-0.1, 0.1)

    def _bus_card(self) -> BusCard:
        places, kelvin = self.scene.kind.places(), self.options.fixture == "kelvin"
        card = BusCard(places, self.options.seed, self.probes, self.clock, kelvin=kelvin)
        card.wear = self.options.wear
        return card

    def temperature(self) -> bytes:
        """What the thermometer sends now."""
        celsius = (
            self.ambient.celsius(self.clock.now_s()) + self._sensor_offset + self._sensor.gauss(0, 0.015)
        )
        return temperature_line(celsius)

    @contextlib.asynccontextmanager
    async def served(self) -> AsyncIterator[dict[str, str]]:
        """Serve both instruments and give their addresses by name."""
        given = self.options
        warmth = stream_session(self.clock, 0.7, self.temperature)
        async with contextlib.AsyncExitStack() as stack:
            await stack.enter_async_context(self._running())
            meter = self._link(given.meter_link, self._meter_session(), given.meter_port, given.trouble)
            thermometer = self._link(given.thermometer, warmth, given.thermometer_port, LineTrouble())
            yield {
                "meter": await stack.enter_async_context(meter),
                "thermometer": await stack.enter_async_context(thermometer),
            }

    def _meter_session(self) -> Session:
        if self.options.voice == "scpi":
            return scpi_session(ScpiVoice(self.meter, card=self.card))
        return self.free_run.session(VOICES[self.options.voice])

    @contextlib.asynccontextmanager
    async def _running(self) -> AsyncIterator[None]:
        """Keep a free-running meter converting; one that is asked by SCPI waits to be asked."""
        if self.options.voice == "scpi":
            yield
            return
        task = asyncio.create_task(self.free_run.work(), name="free run")
        try:
            yield
        finally:
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)

    @staticmethod
    @contextlib.asynccontextmanager
    async def _link(link: str, session: Session, port: int, trouble: LineTrouble) -> AsyncIterator[str]:
        """Serve on the link that is wanted; on TCP where that is a pty and the system has none."""
        async with contextlib.AsyncExitStack() as stack:
            address = ""
            with contextlib.suppress(*([OSError] if link == "pty" else [])):
                address = await stack.enter_async_context(LINKS[link](session, port, trouble))
            yield address or await stack.enter_async_context(on_tcp(session, port, trouble))


def tell(what: dict[str, Any]) -> None:
    """Say something to whoever started the bench."""
    with contextlib.suppress(BrokenPipeError):  # nobody listens any more: the end of the input follows
        print(json.dumps(what), flush=True)


def say(line: str) -> None:
    """Say something to the person at this terminal."""
    with contextlib.suppress(BrokenPipeError):
        print(line, flush=True)


async def run(options: Options) -> int:
    """Run the bench until its input ends, or until it is told to stop."""
    bench = Bench(options)
    with contextlib.ExitStack() as files:
        truth_file = files.enter_context(options.truth.open("w", encoding="utf-8")) if options.truth else None
        truth = TruthLog(truth_file)
        async with bench.served() as addresses:
            if options.typed:
                if not options.brief:
                    say(introduction(bench.scene.kind.title, options, addresses))
                tasks = [asyncio.create_task(_typed(bench, truth), name="typed hands")]
            else:
                tell({"address": addresses})
                if bench.card is not None:
                    tell({"channels": {str(n): list(pair) for n, pair in bench.card.channels.items()}})
                tasks = _automatic(bench, truth)
            with asked_to_end(tasks[-1].cancel):
                await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
            for task in tasks:
                task.cancel()
            results = await asyncio.gather(*tasks, return_exceptions=True)
    for result in results:
        if isinstance(result, Exception):
            raise result
    return 0


def introduction(title: str, options: Options, addresses: dict[str, str]) -> str:
    """What a person needs to plug into this bench."""
    return f"""{title}: a simulated bench. These lines go into your bench file:

[meter]
driver = "{options.voice}"
link = "{addresses["meter"]}"

[temperature]
source = "meter"
driver = "lines"
link = "{addresses["thermometer"]}"

Start your bench in a second terminal, then type here:"""


async def _typed(bench: Bench, truth: TruthLog) -> None:
    hands = TypedHands(
        bench.scene,
        bench.options.seed,
        probes=bench.probes,
        clock=bench.clock,
        pace=bench.options.pace,
        say=say,
        truth=truth,
        turn=bench.meter.turn,
    )
    await hands.follow(read_lines(sys.stdin.fileno()))


def _hands(bench: Bench, truth: TruthLog) -> FixtureHands | Hands:
    scene, seed, probes, clock = bench.scene, bench.options.seed, bench.probes, bench.clock
    if bench.card is not None:
        return FixtureHands(scene, seed, probes=probes, clock=clock, card=bench.card, tell=tell, truth=truth)
    pace, meter = bench.options.pace, bench.meter
    return Hands(scene, seed, probes=probes, meter=meter, clock=clock, tell=tell, truth=truth, pace=pace)


def _automatic(bench: Bench, truth: TruthLog) -> list[asyncio.Task[None]]:
    hands = _hands(bench, truth)
    work = asyncio.create_task(hands.work(), name="hands")
    return [work, asyncio.create_task(_listen(hands), name="listen")]


async def _listen(hands: FixtureHands | Hands) -> None:
    async for line in read_lines(sys.stdin.fileno()):
        try:
            show = json.loads(line)
        except ValueError:
            print(f"not a JSON object, left out: {line!r}", file=sys.stderr)
            continue
        if isinstance(show, dict):
            hands.see(show)
