"""A bench that works by shared files: fetched before they are read; an older one in force is told.

Not for the copying (files.shared) nor for taking files in between two units (service).
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from acquire.bench.assembly import Files
from acquire.bench.daemon import Daemon
from acquire.errors import FileInvalid
from acquire.files.settings import Bench
from acquire.files.shared import Fetched, SharedSettings, fetch
from acquire.files.toml_file import Faults, read_toml
from acquire.records import Notice, Weight

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
    told: str = field(default="")

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
        said = words(old, found, shared)
        if said is not None and said.text != self.told:
            await self.served.daemon.tell(said.of(self.served.daemon.clock.utc_s()))
            if old and shared.by_itself:
                self.take()
        self.told = "" if said is None else said.text


@dataclass(frozen=True, slots=True)
class Said:
    """A notice without its time."""

    code: str
    text: str
    weight: Weight

    def of(self, utc_s: float) -> Notice:
        """Give the notice."""
        return Notice(self.weight, self.code, self.text, utc_s)


def older(bench: Bench, files: Files, found: Fetched, into: Path) -> list[str]:
    """Which of the files in force are others than the shared folder means, in words."""
    in_force = (
        ("sheet", files.place.sheet.name, bench.sheet, files.place.sheet.content_hash),
        ("meter file", files.model.name, bench.meter.model, files.model.content_hash),
    )
    told = []
    for kind, name, path, digest in in_force:
        meant = found.meant.get(path.relative_to(into).as_posix()) if path.is_relative_to(into) else None
        if meant is not None and meant != digest:
            told.append(f"the {kind} {name} {digest[:12]} while {meant[:12]} is the newest")
    return told


def words(old: list[str], found: Fetched, shared: SharedSettings) -> Said | None:
    """What the operator must know; None where all is as it should be."""
    if old:
        how = "it is taken after this unit" if shared.by_itself else "send SIGHUP or start the bench again"
        return Said("files.old", f"This bench works by {' and '.join(old)}: {how}.", Weight.WARNING)
    if found.refused:
        name, why = next(iter(found.refused.items()))
        more = f" and {len(found.refused) - 1} more" if len(found.refused) > 1 else ""
        text = f"The shared file {name}{more} was not taken: {why}. The bench goes on with its copy."
        return Said("files.not_fetched", text, Weight.WARNING)
    if found.away:
        why = found.away.rstrip(".")
        text = f"The shared folder cannot be looked into: {why}. The bench goes on with its copies."
        return Said("files.away", text, Weight.REMARK)
    return None
