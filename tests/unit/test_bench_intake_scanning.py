"""One scanner on its way in: codes become units, outages are told once, refused codes are said."""

from __future__ import annotations

import asyncio
import contextlib

from acquire.bench import intake
from acquire.bench.intake import ScannerFeed
from acquire.clock import HandClock
from acquire.records import Severity, StartUnit
from drivers.errors import LinkLost, LinkUnavailable
from drivers.scanner.scanner import Scan


def scan(text="", refused=""):
    """A scan, or one that is refused."""
    return Scan(text, refused)


class Scripted:
    """A scanner whose lives are lists of scans and errors; the last goes on."""

    def __init__(self, *lives):
        self.lives = list(lives)

    async def __aenter__(self):
        self.life = self.lives.pop(0) if self.lives else []
        if self.life and isinstance(self.life[0], LinkUnavailable):
            raise self.life[0]
        return self

    async def __aexit__(self, *_):
        pass

    async def scans(self):
        for item in self.life:
            if isinstance(item, Exception):
                raise item
            yield item
        await asyncio.Event().wait()


async def shift(monkeypatch, *lives):
    """Let a feed run through its lives; gives commands and notices."""
    monkeypatch.setattr(intake, "LONGEST_WAIT_S", 0.001)
    commands, notices = [], []

    async def obey(command):
        commands.append(command)
        return []

    async def tell(notice):
        notices.append(notice)

    feed = ScannerFeed("scanner", Scripted(*lives), HandClock(), obey, tell, _wait_s=0.001)
    with contextlib.suppress(TimeoutError):
        async with asyncio.timeout(0.3):
            await feed.run()
    return commands, notices, feed


async def test_a_code_puts_a_unit_on_the_bench(monkeypatch):
    """Each one."""
    commands, notices, feed = await shift(monkeypatch, [scan("A-1"), scan("A-2")])
    assert commands == [StartUnit("A-1"), StartUnit("A-2")]
    assert notices == []
    assert feed.came == 2


async def test_a_refused_code_is_said_with_its_reason(monkeypatch):
    """And starts nothing."""
    commands, notices, _ = await shift(
        monkeypatch, [scan(refused="'x' does not look like a code of this job")]
    )
    assert commands == []
    assert "does not look like a code of this job" in notices[0].facts["cause"]
    assert notices[0].severity is Severity.WARNING


async def test_an_outage_is_told_once_and_its_end_too(monkeypatch):
    """Lost, then not there for a while, then back: two sentences."""
    away = [LinkUnavailable("there is no such port", port="serial:/dev/x")]
    lives = [LinkLost("the scanner was unplugged", port="serial:/dev/x")], away, away, [scan("A-1")]
    commands, notices, _ = await shift(monkeypatch, *lives)
    assert [notice.code for notice in notices] == ["scanner.lost", "scanner.back"]
    assert commands == [StartUnit("A-1")]
