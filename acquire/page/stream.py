"""From the view to every open page: one line a page, bounded; a page that falls behind gets the whole state.

What must be seen at once goes out before anything else of the loop runs; what follows every reading waits a
tenth of a second. With no page open nothing is spelt. Not for HTTP (app) nor for what is shown (view).
"""

from __future__ import annotations

import asyncio
import json
import secrets
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import msgspec

from acquire.page.spoken import Cue
from acquire.page.view import BenchView

MOST_PAGES = 24
"""At once; a workshop has two or three."""

MOST_WAITING = 100
"""Messages that wait for one page; more, and it gets the whole state instead."""

LAZY_S = 0.1
"""Shortest time between two messages that only follow the readings."""


LAZY = frozenset({"reading", "rest"})
"""Keys that follow every reading: they may wait so long, all others go at once."""

WHOLE = frozenset({"bench", "sheet", "face", "circuit"})
"""Keys that everything else hangs on."""


def spelt_json(data: Any) -> bytes:
    """JSON; a number that it has no spelling for is null. Half a surrogate pair (hostile) becomes "?"."""
    try:
        return msgspec.json.encode(data)
    except UnicodeEncodeError:
        plain = msgspec.to_builtins(data, str_keys=True)
        return json.dumps(plain, ensure_ascii=False, separators=(",", ":")).encode("utf-8", "replace")


def spelt(name: str, data: Any) -> bytes:
    """One server-sent event (WHATWG HTML, 9.2). JSON holds no line break, so one data line does."""
    return f"event: {name}\ndata: ".encode() + spelt_json(data) + b"\n\n"


@dataclass(slots=True, eq=False)
class PageQueue:
    """What waits for one page.

    Attributes:
        behind: the whole state is owed, whatever waits is in it.
        closed: nothing more will come.
    """

    behind: bool = True
    closed: bool = False
    _waiting: list[bytes] = field(default_factory=list)
    _ready: asyncio.Event = field(default_factory=asyncio.Event)

    def __post_init__(self) -> None:
        """The first thing that is owed is the state."""
        self._ready.set()

    def put(self, message: bytes) -> None:
        """Add a message, unless the whole state is owed anyhow."""
        if self.behind or self.closed:
            return
        if len(self._waiting) >= MOST_WAITING:
            self.fall_behind()
            return
        self._waiting.append(message)
        self._ready.set()

    def fall_behind(self) -> None:
        """Owe the whole state instead of what waits."""
        self._waiting.clear()
        self.behind = True
        self._ready.set()

    def close(self, last: bytes = b"") -> None:
        """End the line, with a last message if there is one."""
        if last:
            self._waiting.append(last)
        self.closed = True
        self._ready.set()

    async def take(self, whole: Callable[[], bytes]) -> bytes:
        """Wait for something and give all of it; empty at the end.

        Args:
            whole: gives the state, should it be owed.
        """
        await self._ready.wait()
        told = b"".join(self._waiting)
        self._waiting.clear()
        if self.closed:
            return told
        self._ready.clear()
        owed, self.behind = self.behind, False
        return whole() if owed else told


@dataclass(slots=True, kw_only=True)
class Broadcast:
    """Tells the same to all open pages.

    Attributes:
        lines: of the open pages.
    """

    lines: set[PageQueue] = field(default_factory=set)

    def open(self) -> PageQueue | None:
        """Begin a line; None where too many are open."""
        if len(self.lines) >= MOST_PAGES:
            return None
        self.lines.add(line := PageQueue())
        return line

    def leave(self, line: PageQueue) -> None:
        """A page is gone."""
        line.close()
        self.lines.discard(line)

    def state(self) -> dict[str, Any]:
        """The whole state, now."""
        raise NotImplementedError

    def whole(self) -> bytes:
        """The whole state as a message."""
        return spelt("state", self.state())

    def tell(self, name: str, data: Any) -> None:
        """Put one message on every line."""
        message = spelt(name, data) if self.lines else b""
        for line in self.lines:
            line.put(message)

    def renew(self) -> None:
        """Owe every page the whole state."""
        for line in self.lines:
            line.fall_behind()

    def stop(self, text: str) -> None:
        """Tell every page that this is the end, and end."""
        for line in self.lines:
            line.close(spelt("bye", {"text": text}))


@dataclass(slots=True)
class Stream(Broadcast):
    """The way from one view to all pages.

    Attributes:
        view: what is shown; another one may take its place (setup, then a bench).
        mode: "bench" or "setup".
        assets: hash of the page's own files.
        utc_s: the bench's clock.
        speak: says a few words aloud; None where the browser does, or nobody.
        start: id of this start; another one with each view.
        seq: counts the changes.
        watched: set while anybody looks or listens.
    """

    view: BenchView
    mode: str = "bench"
    assets: str = ""
    utc_s: Callable[[], float] = lambda: 0.0
    speak: Callable[[Cue], None] | None = None
    start: str = field(default_factory=lambda: secrets.token_hex(8))
    seq: int = 0
    watched: asyncio.Event = field(default_factory=asyncio.Event)
    _soon: bool = False
    _later: asyncio.TimerHandle | None = None
    _last_s: float = 0.0

    # ------------------------------------------------------------------ pages

    def open(self) -> PageQueue | None:
        """Begin a line; None where too many are open."""
        if not self.watched.is_set():
            self.view.take_changes()
        if (line := Broadcast.open(self)) is not None:
            self.watched.set()
        return line

    def leave(self, line: PageQueue) -> None:
        """A page is gone."""
        Broadcast.leave(self, line)
        if not self.lines and self.speak is None:
            self.watched.clear()

    def stop(self, text: str) -> None:
        """Tell every page that this is the end, and end."""
        Broadcast.stop(self, text)
        if self._later is not None:
            self._later.cancel()

    def replace(self, view: BenchView, mode: str) -> None:
        """Show something else on the pages that are open."""
        self.view, self.mode = view, mode
        self.start, self.seq = secrets.token_hex(8), 0
        view.take_changes()
        self.renew()

    # ------------------------------------------------------------------ out

    def state(self) -> dict[str, Any]:
        """The whole state, now."""
        return {
            "start": self.start,
            "seq": self.seq,
            "assets": self.assets,
            "mode": self.mode,
            "clock": {"utc_s": self.utc_s(), "speed": self.view.about.speed},
            **self.view.state(),
        }

    def beat(self) -> None:
        """Let the pages know that the bench is there."""
        self.tell("beat", {"utc_s": self.utc_s()})

    def changed(self) -> None:
        """The view has taken something: let it out when its time has come."""
        view, loop = self.view, asyncio.get_running_loop()
        if not self.lines and self.speak is None:
            view.hush()
        elif not self._soon:
            changes = view.changes.keys()
            if view.cues or changes - LAZY:
                self._soon = True
                loop.call_soon(self._out)
            elif self._later is None and (changes or view.moving):
                self._later = loop.call_at(max(loop.time(), self._last_s + LAZY_S), self._out)

    def _out(self) -> None:
        """Let everything out that has changed; another sheet or bench is another state."""
        self._soon = False
        if self._later is not None:
            self._later.cancel()
            self._later = None
        self._last_s = asyncio.get_running_loop().time()
        view = self.view
        if (changes := view.take_changes()).keys() & WHOLE:
            self.renew()
        elif changes:
            self.seq += 1
            self.tell("change", {"seq": self.seq, **changes})
        if points := view.take_points():
            self.tell("trace", points)
        for cue in view.take_cues():
            self._cue(cue)

    def _cue(self, cue: Cue) -> None:
        if self.speak is not None:
            self.speak(cue)
            cue = Cue(cue.sound, "", cue.urgent)
        if cue.sound or cue.say:
            self.tell("cue", {"sound": cue.sound.value, "say": cue.say, "urgent": cue.urgent})
