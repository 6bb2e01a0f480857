"""`steadyohm line`: the page with all benches, fed by broker and database, served like the bench page.

Reads only: nothing can be ordered from it. Not for what it shows (board) nor for who may look (page.access).
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import secrets
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import psycopg
import structlog
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route
from starlette.types import ASGIApp

from acquire.clock import Clock
from acquire.errors import FileInvalid, SteadyohmError
from acquire.files.shared import bounded, offered
from acquire.line.board import Board
from acquire.line.database import away, connect
from acquire.line.hearing import Subscriber, listening
from acquire.outlets.mqtt import Broker
from acquire.outlets.outlet import BackOff, OutletFailed, beside
from acquire.outlets.topics import ROOTS
from acquire.page.access import PageGate, own_names, token_of
from acquire.page.app import Events, Guard, files_of, plain, read_assets
from acquire.page.serve import address_of, listening_socket, serve
from acquire.page.stream import Broadcast
from acquire.sheets import load_sheet
from drivers.errors import MeterError
from drivers.models import load_model

log = structlog.get_logger()

STATIC = Path(__file__).with_name("static")
TOPICS = ("status", "prompt", "unit", "verdict", "notice")
SHOW_S = 0.5
"""Shortest time between two messages to a page."""

BEAT_S = 4.0
"""How often a page hears that its server is there."""

ASK_S = 10.0
"""How often the database is asked, and the shared folder looked into."""

TODAY = """
SELECT bench, sum(units)::bigint, sum(passed)::bigint, sum(failed)::bigint
FROM steadyohm.yield WHERE day = (now() AT TIME ZONE 'UTC')::date GROUP BY bench
"""
LATEST = "SELECT bench, extract(epoch FROM max(latest))::float8 FROM steadyohm.journal GROUP BY bench"


@dataclass(slots=True)
class BoardFeed(Broadcast):
    """What goes to the open pages.

    Attributes:
        board: what is shown.
        clock: of this machine.
    """

    board: Board
    clock: Clock
    _conditions: dict[str, str] = field(default_factory=dict)

    def state(self) -> dict[str, Any]:
        """The whole state, now."""
        return self.board.state(self.clock.utc_s())

    async def run(self) -> None:
        """Let changes out, a few times a second at most; a bench falls silent without saying anything."""
        quiet_s = 0.0
        while True:
            await asyncio.sleep(SHOW_S)
            now_s = self.clock.utc_s()
            quiet_s += SHOW_S
            if quiet_s >= BEAT_S:
                quiet_s = 0.0
                self.tell("beat", {"utc_s": now_s})
            conditions = {c.name: self.board.condition(c, now_s).value for c in self.board.cards.values()}
            if self.board.changed or conditions != self._conditions:
                self.board.changed.clear()
                self._conditions = conditions
                self.renew()


@dataclass(slots=True)
class BoardPage:
    """The page and what feeds it.

    Attributes:
        broker: where the benches publish.
        address: of the database, with its password.
        clock: of this machine.
        host, port: where it listens.
        token_file: holds the token; None on an address that only this machine reaches.
        files: the shared folder; None where none is known.
        silent_s: see `Board`.
        ready: called with the address to open.
    """

    broker: Broker
    address: str = field(repr=False)
    clock: Clock
    host: str = "127.0.0.1"
    port: int = 8471
    token_file: Path | None = None
    files: Path | None = None
    silent_s: float = 900.0
    ready: Callable[[str], None] = lambda _: None

    async def run(self, stop: asyncio.Event) -> None:
        """Serve until `stop` is set.

        Raises:
            SteadyohmError: the address cannot be had.
        """
        board = Board(self.silent_s)
        feed = BoardFeed(board, self.clock)
        listener = listening_socket(self.host, self.port)
        token = None if self.token_file is None else token_of(self.token_file)
        gate = PageGate(self.host, listener.getsockname()[1], token, own_names())
        served = asyncio.create_task(serve(_app(feed, gate), listener, stop), name="line page server")
        self.ready(address_of(listener) + (f"?token={token}" if token else ""))
        works = feed.run(), self._listen(board), self._ask(board), self._look(board)
        try:
            async with beside("line", *works):
                await stop.wait()
        finally:
            feed.stop("The page of the line was stopped.")
            await served

    # ------------------------------------------------------------------ what feeds it

    async def _listen(self, board: Board) -> None:
        back_off = BackOff(0.2, 10.0)
        while True:
            try:
                name = f"steadyohmpage{secrets.token_hex(5)}"
                async with listening(self.broker, name, in_flight=1000, session_s=0) as subscriber:
                    topics = [f"{root}/+/{last}" for root in ROOTS for last in TOPICS]
                    await subscriber.demand(topics, qos=0, retained=True)
                    board.trouble["broker"] = ""
                    back_off.reset()
                    await self._hear(subscriber, board)
            except OutletFailed as error:
                if not board.trouble.get("broker"):
                    log.warning("line.broker_away", error=str(error))
                board.trouble["broker"] = f"{error.what} What is shown may be old."
                board.changed.add("")
                await asyncio.sleep(back_off.next_s())

    async def _hear(self, subscriber: Subscriber, board: Board) -> None:
        while True:
            for message in await subscriber.take(1000, 0.05):
                now_s = self.clock.utc_s()
                board.heard(message.topic, message.payload, now_s, retained=message.retained)

    async def _ask(self, board: Board) -> None:
        while True:
            try:
                await self._counts(board)
            except psycopg.Error as error:
                said = str(away(self.address, error))
                if not board.trouble.get("database"):
                    log.warning("line.database_away", error=said)
                board.trouble["database"] = f"{said} Units of today are not counted."
                board.changed.add("")
                await asyncio.sleep(ASK_S)

    async def _counts(self, board: Board) -> None:
        connection = await connect(self.address)
        try:
            while True:
                today = await (await connection.execute(TODAY)).fetchall()
                latest = await (await connection.execute(LATEST)).fetchall()
                board.trouble["database"] = ""
                counts = {bench: (units, passed, failed) for bench, units, passed, failed in today}
                times = {bench: utc_s for bench, utc_s in latest if utc_s is not None}
                board.counted(counts, times, self.clock.utc_s())
                await asyncio.sleep(ASK_S)
        finally:
            await connection.close()

    async def _look(self, board: Board) -> None:
        folder = self.files
        while folder is not None:
            try:
                board.newest = await asyncio.to_thread(lambda: bounded(lambda: newest_in(folder), 10.0))
                board.trouble["files"] = ""
            except (SteadyohmError, OSError, TimeoutError) as error:
                why = " ".join(str(error).split()) or "it does not answer"
                board.trouble["files"] = f"The shared folder {folder} cannot be read: {why.rstrip('.')}."
                board.changed.add("")
            await asyncio.sleep(ASK_S)


def newest_in(folder: Path) -> dict[tuple[str, str], set[str]]:
    """Hashes of the shared sheets and meter files, by kind and the name that stands in each.

    Raises:
        InputImpossible: the folder's list is none.
        OSError: it cannot be read.
    """
    found: dict[tuple[str, str], set[str]] = {}
    for name, digest in offered(folder).items():
        path = folder / name
        with contextlib.suppress(FileInvalid):
            found.setdefault(("sheet", load_sheet(path).name), set()).add(digest)
            continue
        with contextlib.suppress(MeterError, FileInvalid):
            found.setdefault(("meter", load_model(path).name), set()).add(digest)
    return found


def _app(feed: BoardFeed, gate: PageGate) -> ASGIApp:
    assets = read_assets(STATIC, "line.html")

    async def now(_request: Request) -> Response:
        return plain(feed.state())

    routes = [*files_of(assets), Route("/now", now), Route("/events", Events(feed), methods=["GET"])]
    return Guard(Starlette(routes=routes), gate)


def default_token_file() -> Path:
    """Where the token is kept that other machines need: the user's own state folder (XDG Base Directory)."""
    state = os.environ.get("XDG_STATE_HOME") or str(Path.home() / ".local" / "state")
    return Path(state) / "steadyohm" / "line-token"
