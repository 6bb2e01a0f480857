"""A bench that works by shared files: fetched before they are read; an older one in force is told.

Not for the copying (files.shared) nor for taking files in between two units (service).
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

from acquire.bench.assembly import Files
from acquire.bench.daemon import Daemon
from acquire.errors import FileInvalid
from acquire.files.settings import Bench
from acquire.files.shared import Fetched, SharedSettings, fetch
from acquire.files.toml_file import Faults, read_toml
from acquire.records import Code, Fact, Notice, Severity

LOOK_S = 60.0
"""How often a bench looks into the shared folder."""


class Served(Protocol):
    """A bench at work, as this module sees it."""

    daemon: Daemon
    files: Files


def fetch_before(bench_file: Path) -> None:
    """Bring shared files here before the bench file is read, as it may name some that are new.

    What goes wrong is told by whoever reads the files next; a share that is away keeps no bench from working.
    """
    try:
        file = read_toml(bench_file, "bench file")
    except FileInvalid:
        return
    if "files" in file.tree:
        shared = Faults(file).check(SharedSettings, file.tree["files"], ("files",))
        if shared is not None:
            fetch(shared)


@dataclass(slots=True)
class Watch:
    """Looks into the shared folder from time to time.

    Attributes:
        served: the bench.
        take: asks for the files to be read again.
        every_s: how often.
        told: what the operator was told last, so that it is told once.
    """

    served: Served
    take: Callable[[], None]
    every_s: float = LOOK_S
    told: Notice | None = None

    async def run(self) -> None:
        """Look until the bench ends."""
        while True:
            bench = self.served.files.bench
            if bench.files is not None:
                await self.look(bench, bench.files)
            await asyncio.sleep(self.every_s)

    async def look(self, bench: Bench, shared: SharedSettings) -> None:
        """Fetch what is new; tell what is older here, refused, or away; ask for it to be taken if wanted."""
        found = await asyncio.to_thread(fetch, shared)
        old = older(bench, self.served.files, found, shared.into)
        notice = news(old, found, shared)
        if notice is not None and notice != self.told:
            await self.served.daemon.tell(replace(notice, utc_s=self.served.daemon.clock.utc_s()))
            if old and shared.automatic:
                self.take()
        self.told = notice


def older(bench: Bench, files: Files, found: Fetched, into: Path) -> dict[str, Fact]:
    """Which of the files in force are others than the shared folder means: name, hash here, newest hash."""
    in_force = (
        ("sheet", files.place.sheet.name, bench.sheet, files.place.sheet.content_hash),
        ("meter_file", files.model.name, bench.meter.model, files.model.content_hash),
    )
    old: dict[str, Fact] = {}
    for kind, name, path, digest in in_force:
        meant = found.meant.get(path.relative_to(into).as_posix()) if path.is_relative_to(into) else None
        if meant is not None and meant != digest:
            old[kind] = (name, digest, meant)
    return old


def news(old: Mapping[str, Fact], found: Fetched, shared: SharedSettings) -> Notice | None:
    """What the operator must know, still without its time; None where all is as it should be."""
    if old:
        facts = {**old, "automatic": shared.automatic}
        return Notice(Severity.WARNING, Code.FILES_OLD, 0.0, facts=facts)
    if found.refused:
        name, why = next(iter(found.refused.items()))
        refused: dict[str, Fact] = {"file": name, "others": len(found.refused) - 1, "cause": why}
        return Notice(Severity.WARNING, Code.FILES_NOT_FETCHED, 0.0, facts=refused)
    if found.away:
        return Notice(Severity.INFO, Code.FILES_AWAY, 0.0, facts={"cause": found.away.rstrip(".")})
    return None
