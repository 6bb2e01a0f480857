"""Words spoken by the machine that the bench runs on, where the browser has no voice: espeak-ng or say.

The words go to the program's standard input, its arguments are always the same, no shell is asked. Not for
what is said (spoken).
"""

from __future__ import annotations

import asyncio
import shutil
from collections import deque
from dataclasses import dataclass, field

from acquire.page.spoken import Cue
from system.processes import Ended, heard

PROGRAMS: tuple[tuple[str, ...], ...] = (
    ("espeak-ng", "-v", "en-gb", "-s", "160", "--stdin"),
    ("espeak", "-v", "en", "-s", "160", "--stdin"),
    ("say", "-f", "-"),
)
"""Programs that speak what they read, in the order in which they are looked for."""

MOST_WAITING = 3
"""Cues that wait to be spoken; older ones are no longer true."""

LONGEST_S = 20.0
"""So long one cue may take; a program that hangs is ended."""


def speaking_program() -> tuple[str, ...] | None:
    """The first program that is there, with its full path; None where the machine has none."""
    for name, *rest in PROGRAMS:
        if path := shutil.which(name):
            return (path, *rest)
    return None


@dataclass(slots=True)
class Speaker:
    """Says one thing after another.

    Attributes:
        program: with its arguments.
        failures: how often it could not be started or did not end.
    """

    program: tuple[str, ...]
    failures: int = 0
    _waiting: deque[str] = field(default_factory=lambda: deque(maxlen=MOST_WAITING))
    _ready: asyncio.Event = field(default_factory=asyncio.Event)
    _saying: asyncio.Task[Ended] | None = None

    def speak(self, cue: Cue) -> None:
        """Say the words of a cue, if it has any; an urgent one ends what is being said."""
        if not cue.say:
            return
        if cue.urgent:
            self._waiting.clear()
            self._hush()
        self._waiting.append(cue.say)
        self._ready.set()

    async def run(self) -> None:
        """Speak for ever; ends only by cancellation."""
        while True:
            await self._ready.wait()
            while self._waiting:
                await self._say(self._waiting.popleft())
            self._ready.clear()

    async def _say(self, words: str) -> None:
        told = words.encode("utf-8", "replace") + b"\n"
        self._saying = asyncio.create_task(heard(self.program, told, within_s=LONGEST_S), name="speech")
        try:
            await asyncio.wait((self._saying,))
            if not self._saying.cancelled() and self._saying.exception() is not None:
                self.failures += 1
        finally:
            self._hush()
            await asyncio.wait((self._saying,))

    def _hush(self) -> None:
        if self._saying is not None:
            self._saying.cancel()
