"""A scene of the simulated bench, recorded at the real daemon and decided again from the recording."""

import asyncio
import json

from acquire.bench.assembly import assemble
from acquire.bench.recording import replay
from acquire.clock import RealClock
from acquire.files.settings import load_bench
from acquire.journal.plain import to_plain
from acquire.records import ConfirmOpen, Judged, Notice, StartUnit, UnitResult
from acquire.simulated.demo import stand_in
from tests.whole_bench import bench_file, journal_entries

SPEED = 24.0


async def played(folder, words):
    """Let the virtual operator work through a scene; everything that goes into the heart is written down."""
    events = []
    async with stand_in([*words, "--speed", str(SPEED)]) as simulation:
        file = bench_file(folder, meter=simulation.meter, thermometer=simulation.thermometer)

        def show(event):
            events.append(event)
            simulation.show(event)

        with (folder / "scene.recording").open("x", encoding="utf-8", buffering=1) as out:
            daemon = await assemble(load_bench(file), clock=RealClock(SPEED), show=show, record=out)
            stop = asyncio.Event()
            async with asyncio.TaskGroup() as group:
                group.create_task(daemon.run(stop), name="daemon")
                async for doing in simulation.doings():
                    if doing.get("hands") == "scan":
                        await daemon.command(StartUnit(serial=str(doing["serial"])))
                    elif doing.get("hands") == "confirm_open":
                        await daemon.command(ConfirmOpen())
                    elif doing.get("hands") == "finished":
                        break
                stop.set()
    return events


async def test_a_scene_is_decided_again_byte_for_byte(tmp_path):
    """Rough hands on a bad line: wrong pairs, slips, faults, lost bytes, stalls; all over a real socket."""
    trouble = "drop=0.0002,garble=0.0002,stall=0.002,stall_s=3"
    words = ["--scene", "plover-80-rough", "--seed", "3", "--units", "3", "--trouble", trouble]
    events = await played(tmp_path, words)
    assert len([e for e in events if isinstance(e, UnitResult)]) == 3
    assert any(isinstance(e, Notice) and e.code.startswith("pair.") for e in events)

    again = [event for event in replay(tmp_path / "scene.recording") if isinstance(event, Judged)]
    verdicts = journal_entries(tmp_path, "verdict")
    assert len(verdicts) > 12
    assert [json.dumps(to_plain(e.verdict)) for e in again] == [json.dumps(e.payload) for e in verdicts]
    assert [to_plain(event.evidence) for event in again] == [entry.evidence for entry in verdicts]
