"""One page server with everything that belongs to it, as a task of the daemon: serves, ticks, speaks, ends.

Not for what it shows (view) nor for the bench behind it (backend).
"""

from __future__ import annotations

import asyncio
import contextlib
import io
import socket
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import structlog

from acquire.files.network_tables import is_loopback
from acquire.page.access import PageGate, own_names, token_of
from acquire.page.app import Pages, read_assets
from acquire.page.backend import PageBackend
from acquire.page.say import Speaker
from acquire.page.serve import address_of, listening_socket, serve
from acquire.page.stream import Stream
from acquire.page.view import BenchView
from acquire.records import Event
from drivers.reading import Quantity, Reading

log = structlog.get_logger()

FACTS_S = 1.0
"""How often the facts of the bench are looked at while a page is open."""

BEAT_S = 5.0
"""How often an open page is told that the bench is there."""

GOODBYE = "The bench was stopped."

FAULTS = (LookupError, ValueError, TypeError, AttributeError, ArithmeticError)
"""What a slip in drawing a state raises."""


@dataclass(slots=True)
class BenchPage:
    """A page and its server.

    Attributes:
        stream: the way to the open pages.
        pages: what is answered.
        gate: who is let in.
        listener: bound already.
        token_file: where the token is kept.
        speaker: speaks on this machine; None where it does not.
    """

    stream: Stream
    pages: Pages
    gate: PageGate
    listener: socket.socket
    token_file: Path
    speaker: Speaker | None = None

    @property
    def port(self) -> int:
        """TCP port that it listens on."""
        return self.gate.port

    def invitation(self, *, to_terminal: bool) -> str:
        """What is printed at the start, so that people find the page.

        The token is told to a terminal only: what a service prints ends in a log that others may read.
        """
        address = address_of(self.listener)
        if self.gate.token is None:
            return f"The bench page: {address}"
        if not to_terminal:
            return f"The bench page: {address} with ?token= and the token of {self.token_file}"
        whole = f"{address}?token={self.gate.token}"
        return f"The bench page, for this machine and others in the network:\n\n{qr_code(whole)}\n  {whole}\n"

    # ------------------------------------------------------------------ what comes in

    def see(self, reading: Reading, wanted: Quantity) -> None:
        """A reading of the ohms meter, on its way to the heart."""
        with self._harmless():
            self.stream.view.see(reading, wanted)
            self.stream.changed()

    def show(self, event: Event) -> None:
        """An event that is on the record."""
        with self._harmless():
            self.stream.view.show(event)
            self.stream.changed()

    @contextlib.contextmanager
    def _harmless(self) -> Iterator[None]:
        """A fault of the page is logged and the bench goes on: it measures, a page only looks."""
        try:
            yield
        except FAULTS:
            log.exception("page.fault")

    # ------------------------------------------------------------------ life

    def put_backend(self, backend: PageBackend, view: BenchView, mode: str = "bench") -> None:
        """Let a bench, or the setting up of one, stand behind the page from now on."""
        self.pages.backend = backend
        self.stream.utc_s = backend.utc_s
        self.stream.replace(view, mode)

    async def run(self, stop: asyncio.Event) -> None:
        """Serve until asked to stop; every page is told, then the port is given back."""
        ended = asyncio.Event()
        async with asyncio.TaskGroup() as group:
            app = self.pages.app(self.gate)
            server = group.create_task(serve(app, self.listener, ended), name="page server")
            beside = [group.create_task(self._tick(), name="page ticks")]
            if self.speaker is not None:
                self.stream.speak = self.speaker.speak
                self.stream.watched.set()
                beside.append(group.create_task(self.speaker.run(), name="page speech"))
            try:
                await stop.wait()
            finally:
                self.stream.stop(GOODBYE)
                ended.set()
                for task in beside:
                    task.cancel()
            await server

    async def _tick(self) -> None:
        """Look at the facts while somebody looks at the page."""
        loop = asyncio.get_running_loop()
        beaten_s = loop.time()
        while True:
            await self.stream.watched.wait()
            if (facts := self.pages.backend.facts) is not None:
                self.stream.view.know(facts())
                self.stream.changed()
            if loop.time() - beaten_s >= BEAT_S:
                beaten_s = loop.time()
                self.stream.beat()
            await asyncio.sleep(FACTS_S)

    def close(self) -> None:
        """Give the port back, of a page that never ran."""
        self.listener.close()


def open_page(
    host: str, port: int, token_file: Path, view: BenchView, *, mode: str = "bench", names: Iterable[str] = ()
) -> BenchPage:
    """Take the address and make the page that will be served there.

    Args:
        host: address to listen on; any but the loopback asks for a token.
        port: TCP port; 0 takes a free one.
        token_file: holds the token, or will.
        view: what is shown.
        mode: "bench" or "setup".
        names: that browsers may use for the machine besides its own.

    Raises:
        SteadyohmError: the address cannot be had, or the token cannot.
    """
    assets = read_assets()
    listener = listening_socket(host, port)
    try:
        token = None if is_loopback(host) else token_of(token_file)
    except BaseException:
        listener.close()
        raise
    gate = PageGate(host, int(listener.getsockname()[1]), token, own_names(names))
    stream = Stream(view, mode, assets.mark)
    return BenchPage(stream, Pages(stream, assets), gate, listener, token_file)


def qr_code(text: str) -> str:
    """A QR code (ISO/IEC 18004) in half blocks, with the quiet zone that readers need."""
    import segno  # noqa: PLC0415  (only a page for the network has a code)

    drawn = io.StringIO()
    segno.make(text, error="m", micro=False).terminal(drawn, compact=True)
    return drawn.getvalue()
