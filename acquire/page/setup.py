"""Setting a bench up in the browser: find the meter, choose its files, test the link, write, start.

For people without a terminal. The page is served on the loopback only; it names entries of lists, never
paths; no file is ever overwritten. Not for the file's text (whoever made this) nor for running the bench.
"""

from __future__ import annotations

import asyncio
import contextlib
import re
from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from acquire.clock import Clock
from acquire.errors import SteadyohmError
from acquire.files.bench_tables import TYPED
from acquire.files.shipped import meter_file_for
from acquire.page.backend import Posted, Unfit, short_text
from acquire.page.shelf import FILES, SETTINGS, Listed, Shelf, put_bench
from acquire.page.stream import Stream
from acquire.page.telling import Plain, picked
from drivers.errors import MeterError
from drivers.find import SearchStep, display_counts
from drivers.link.address import parse_address
from drivers.meter import Meter, Setup
from drivers.models import load_model
from drivers.reading import Quantity
from drivers.registry import driver_class, open_meter

TRY_S = 30.0
"""So long the readings of a meter are shown when its link is tested."""

MOST_PLACES = 8
"""Addresses that may be looked at in one search."""

NO_CABLE = SearchStep("found", 1, 1, "", "a meter without a cable", driver=TYPED)
"""A meter whose display somebody reads and types."""

ASKED_OHM = (50.0, 200.0, 20e3)
"""What a meter is set for to see its ranges; meters differ there."""

OHMS = (Quantity.RESISTANCE, Quantity.RESISTANCE_4W)

FILE_NAME = re.compile(
    r"(?!(?:con|prn|aux|nul|com[0-9]|lpt[0-9])\.)[a-z0-9][a-z0-9 _.-]{0,60}\.toml", re.IGNORECASE | re.ASCII
)
"""A bench file's name: no path, nothing hidden."""


@dataclass(frozen=True, slots=True)
class WantedBench:
    """The bench that somebody has put together: its meter, other finds such as a thermometer, chosen files.

    `settings` are those that are typed or chosen as they are, those that are not empty.
    """

    finding: SearchStep
    others: tuple[SearchStep, ...]
    sheet: Path
    model: Path
    settings: dict[str, str]


@dataclass(slots=True)
class SettingUp:
    """One setting up.

    Attributes:
        folder: bench files are read and written here, nowhere else.
        stream: to the open pages.
        clock: for readings.
        search: looks for meters at these addresses and on all serial ports.
        text_of: the bench file of what was put together.
        start: starts the bench of a file; returns when it runs, or raises why not.
    """

    folder: Path
    stream: Stream
    clock: Clock
    search: Callable[[list[str]], AsyncIterator[SearchStep]]
    text_of: Callable[[WantedBench], str]
    start: Callable[[Path], Awaitable[None]]
    meters: list[SearchStep] = field(default_factory=list)
    written: str = ""
    _progress: Plain = field(default_factory=lambda: {"searching": False, "done": 0, "total": 0, "text": ""})
    _searching: asyncio.Task[None] | None = None
    _trying: asyncio.Task[None] | None = None
    _starting: bool = False
    _ranges: dict[str, frozenset[float]] = field(default_factory=dict)

    @property
    def shelf(self) -> Shelf:
        """What there is to choose from."""
        return Shelf(self.folder)

    # ------------------------------------------------------------------ what is answered

    async def state(self, _words: dict[str, str]) -> Plain:
        """Everything that the setup screen shows."""
        return {
            **self._progress,
            "meters": self._meters(),
            "benches": self.shelf.choices("bench"),
            "fields": self.shelf.fields(
                {each.name: each.usual for each in SETTINGS if each.usual is not None}
                | ({"file": self.written} if self.written else {})
            ),
            "typed_model": _proposed(NO_CABLE, self.shelf.files("meter")),
        }

    def posts(self) -> dict[str, Posted]:
        """What can be posted, by path."""
        deeds = {"search": self._search, "try": self._try, "write": self._write, "start": self._start}
        return {f"/setup/{name}": deed for name, deed in deeds.items()}

    def close(self) -> None:
        """End what is under way."""
        for task in (self._searching, self._trying):
            if task is not None:
                task.cancel()

    def _meters(self) -> list[Plain]:
        models = self.shelf.files("meter")
        return [
            {
                **picked(each, "address", "driver", "text"),
                "id": place,
                "model": _proposed(each, models, self._ranges.get(each.address, frozenset())),
            }
            for place, each in enumerate(self.meters)
        ]

    # ------------------------------------------------------------------ looking for meters

    async def _search(self, body: Plain) -> Plain:
        places = body.get("tcp", [])
        if not isinstance(places, list) or len(places) > MOST_PLACES:
            raise Unfit(f"Name at most {MOST_PLACES} addresses.")
        for place in places:
            parse_address(f"tcp:{place}")
        if self._progress["searching"]:
            raise Unfit("A search is running.")
        self._progress["searching"] = True
        await self._end_try()
        self.meters.clear()
        self._searching = asyncio.create_task(self._look([str(place) for place in places]), name="search")
        return {"searching": True}

    async def _look(self, places: list[str]) -> None:
        try:
            async for finding in self.search(places):
                if finding.state == "found":
                    self.meters.append(finding)
                self._tell(done=finding.done, total=finding.total, text=finding.text)
            text = "Done." if self.meters else "No meter was recognised. Is it on, and set to send?"
        except (MeterError, OSError) as error:
            text = " ".join(str(error).split())
        finally:
            self._progress["searching"] = False
        self._tell(done=1, total=1, text=text)

    def _tell(self, **progress: int | str) -> None:
        """How the search goes, and what is known of the meters."""
        self._progress |= progress
        self.stream.tell("setup", {**self._progress, "meters": self._meters()})

    # ------------------------------------------------------------------ testing the link

    async def _try(self, body: Plain) -> Plain:
        await self._end_try()
        if body.get("stop") is True:
            return {"ok": True}
        finding = self._finding(body)
        meter = open_meter(
            finding.driver,
            meter_id="meter",
            address=finding.address,
            clock=lambda: (self.clock.monotonic_s(), self.clock.utc_s()),
            options=finding.options,
        )
        self._trying = asyncio.create_task(self._read(meter, finding.address), name="link test")
        return {"ok": True}

    async def _read(self, meter: Meter, address: str) -> None:
        """Show what the meter sends for a while."""
        stream = self.stream
        text = "The meter sends nothing."
        with contextlib.suppress(TimeoutError):
            try:
                async with asyncio.timeout(TRY_S), meter:
                    await self._look_at_ranges(meter, address)
                    async for reading in meter.readings():
                        text = "The link was tested."
                        if stream.mode != "setup":
                            return
                        stream.view.see(reading, Quantity.RESISTANCE)
                        stream.view.link(ok=True, text="The meter sends.")
                        stream.changed()
            except MeterError as error:
                text = " ".join(str(error).split())
        if stream.mode == "setup":
            stream.view.link(ok=text == "The link was tested.", text=text)
            stream.changed()

    async def _look_at_ranges(self, meter: Meter, address: str) -> None:
        """A meter that is set over its link names its ranges, and so which meter files can be its own."""
        if not meter.capabilities.settable:
            return
        held = [await meter.configure(Setup(Quantity.RESISTANCE, ohm)) for ohm in (*ASKED_OHM, None)]
        full = frozenset(each.range_full_scale_si for each in held[:-1] if each.range_full_scale_si)
        self._ranges[address] = full
        self._tell()

    async def _end_try(self) -> None:
        """Give the meter back before somebody else opens it."""
        if self._trying is not None:
            self._trying.cancel()
            await asyncio.gather(self._trying, return_exceptions=True)
            self._trying = None

    def _finding(self, body: Plain) -> SearchStep:
        place = body.get("meter")
        if isinstance(place, int) and not isinstance(place, bool) and 0 <= place < len(self.meters):
            return self.meters[place]
        if body.get("driver") == TYPED:
            return NO_CABLE
        raise Unfit("Choose a meter.")

    # ------------------------------------------------------------------ writing and starting

    async def _write(self, body: Plain) -> Plain:
        name = short_text(body, "file")
        if not FILE_NAME.fullmatch(name):
            raise Unfit("A bench file is named like bench-1.toml: letters, digits, spaces, - and _.")
        await asyncio.to_thread(self._put, self.folder / name, self.text_of(self._wanted(body)))
        self.written = name
        return {"written": name}

    def _put(self, file: Path, text: str) -> None:
        """Write a file that is not there yet, once all of it makes a bench."""
        if file.exists() or file.is_symlink():
            raise Unfit(f"{file.name} exists already: name another.")
        put_bench(file, text)

    def _wanted(self, body: Plain) -> WantedBench:
        finding = self._finding(body)
        typed = (each.name for each in SETTINGS if each.of not in FILES)
        return WantedBench(
            finding,
            tuple(each for each in self.meters if each is not finding),
            self.shelf.chosen(short_text(body, "sheet"), "sheet").path,
            self.shelf.chosen(short_text(body, "model"), "meter").path,
            {name: text for name in typed if (text := short_text(body, name))},
        )

    async def _start(self, body: Plain) -> Plain:
        named = short_text(body, "file", self.written).removeprefix("folder/")
        found = self.shelf.chosen(f"folder/{named}", "bench")
        if self._starting:
            raise Unfit("The bench is being started.")
        self._starting = True
        try:
            await self._end_try()
            if self._searching is not None:
                self._searching.cancel()
                await asyncio.gather(self._searching, return_exceptions=True)
            await self.start(found.path)
        finally:
            self._starting = False
        return {"started": True}


def _full_scales(model: Listed) -> set[float]:
    """Of a meter file's ranges for ohms; none of a file that is no good."""
    try:
        ranges = load_model(model.path).ranges
    except (SteadyohmError, MeterError, OSError):
        return set()
    return {each.full_scale_si for each in ranges if each.quantity in OHMS}


def _proposed(finding: SearchStep, models: Sequence[Listed], seen: frozenset[float] = frozenset()) -> str:
    """The meter file to begin with: by the meter's name, by the ranges it was seen on, else by its display.

    Args:
        finding: the meter.
        models: meter files, those of the folder first.
        seen: full scales that it has named itself, ohms.
    """
    said = "".join(sign for sign in finding.identity.model.lower() if sign.isalnum())
    for each in models:
        name = "".join(sign for sign in each.name.lower() if sign.isalnum())
        if said and (said in name or name in said):
            return each.file
    if seen and (fitting := [each for each in models if seen <= _full_scales(each)]):
        return fitting[0].file
    settable = driver_class(finding.driver).capabilities.settable
    wanted = meter_file_for(display_counts(finding), settable=settable)
    return next((each.file for each in models if each.path == wanted), "")
