"""A bench in this process under its service, with files of its own that may change. Not a test itself."""

import asyncio
import contextlib
import shutil

from acquire.bench.service import service_of
from acquire.bench.systemd import Supervisor
from acquire.clock import HandClock
from acquire.files.settings import load_bench
from acquire.records import Prompt
from tests.obedient_meter import StillBench
from tests.whole_bench import CONFIGS, bench_file


@contextlib.asynccontextmanager
async def bench(folder, *, clock=None, supervisor=None, serials=(), changes=(), **more):
    """A bench at work with a sheet and a meter file of its own; ends with a clean stop."""
    for name in ("sheets/plover-80.toml", "meters/bench-6-digit.toml"):
        shutil.copy(CONFIGS / name, folder)
    own = [
        (f'"{CONFIGS}/sheets/plover-80.toml"', '"plover-80.toml"'),
        (f'"{CONFIGS}/meters/bench-6-digit.toml"', '"bench-6-digit.toml"'),
        ('value = "22.5 °C"', 'value = "20 °C"'),
    ]
    file = bench_file(folder, meter="tcp:127.0.0.1:9", changes=[*own, *changes])
    clock = clock or HandClock(100.0)
    still = await StillBench(load_bench(file), clock, serials=iter(serials)).assembled(**more)
    still.meter.pace_s = 0.0005
    service = service_of(still.daemon, still.bench, supervisor or Supervisor())
    stop, again = asyncio.Event(), asyncio.Event()
    async with asyncio.TaskGroup() as group:
        group.create_task(service.run(stop, again), name="service")
        group.create_task(still.scan(), name="scanner")
        still.service, still.again, still.stop, still.file = service, again, stop, file
        try:
            await still.until(lambda b: b.of(Prompt))
            yield still
        finally:
            stop.set()
            still.meter.calm = None
            still._scanned.put_nowait(None)


def rewrite(folder, name, *changes):
    """Change a file."""
    text = (folder / name).read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    (folder / name).write_text(text, encoding="utf-8")


WIDER = ('acceptance = "6 %"', 'acceptance = "7 %"')
