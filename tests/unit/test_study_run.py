"""A study on the bench's own way of readings, with a meter in memory whose probes do what is asked."""

import asyncio
import contextlib
import io
import statistics
from dataclasses import replace

import pytest
from rich.console import Console

from acquire.bench.assembly import first_conditions, read_files
from acquire.clock import HandClock
from acquire.errors import InputImpossible
from acquire.files.settings import load_bench
from acquire.records import Ask, ConfirmOpen, Prompt
from acquire.study.record import read_study
from acquire.study.report import Fitness, report_of
from acquire.study.run import StudyBench, StudyScreen, Wish, record_of
from acquire.study.work import StudyWork
from tests.obedient_meter import ObedientMeter
from tests.whole_bench import bench_file


class StudyMeter(ObedientMeter):
    """Reads the part that is asked for; each part has ohms of its own."""

    def show(self, event):
        super().show(event)
        if isinstance(event, Prompt) and event.ask is Ask.TOUCH:
            self.factor = {str(event.pair): 1.0 + 0.004 * (sum(map(ord, event.serial)) % 11 - 5)}
            self.factor[str(event.pair)] += self.dice.gauss(0.0, 2e-4)

    def _ohm(self):
        if self.asked is not None and self.asked.ask is Ask.CHECK_RESISTOR:
            return 100.0
        return super()._ohm()


class Watched(StudyScreen):
    """A screen that the meter's hands watch; who is asked to press Enter does so."""

    runner = None

    def _prompted(self, prompt):
        super()._prompted(prompt)
        runner = self.runner
        runner.meter.show(prompt)
        if prompt.ask is Ask.WAIT and runner.work.turn is not None:
            asyncio.get_running_loop().call_soon(
                lambda: runner._out(runner.work.command(ConfirmOpen(), runner.clock.utc_s()))
            )


class MemoryBench(StudyBench):
    """A study with a meter in memory."""

    meter = None

    def _feeds(self):
        feeds = super()._feeds()
        feeds[0].device = self.meter
        return feeds


def made(tmp_path, stack, clock, **changes):
    """A study, its screen's text, and the bench."""
    file = tmp_path / "bench.toml"
    if not file.exists():
        bench_file(tmp_path, meter="tcp:127.0.0.1:9", sheet="fathom-7.toml")
    bench = load_bench(file)
    files = read_files(bench, clock)
    given = {"step": "P1", "parts": ("a", "b", "c", "d"), "operators": ("ann", "bo"), "trials": 2, "seed": 1}
    wish = Wish(file, None, to=tmp_path / "study.jsonl", **{**given, **changes})
    study = record_of(stack, wish, files, clock)
    step = next(s for s in files.place.sheet.steps if s.name == study.record.subject.step)
    work = StudyWork(
        replace(files.place, sheet=replace(files.place.sheet, steps=(step,))),
        files.model,
        first_conditions(bench, clock),
        study.record.plan,
        set(study.record.taken),
        four_wire_below_ohm=10.0,
    )
    text = io.StringIO()
    console = Console(file=text, width=120)
    runner = MemoryBench(work, study, clock, asyncio.Event(), bench)
    runner.screen = Watched(console)
    MemoryBench.meter = StudyMeter(clock, air=30)
    MemoryBench.meter.table = work.table
    Watched.runner = runner
    return runner, text


@pytest.fixture(autouse=True)
def no_keyboard(monkeypatch):
    """Nobody types in these tests."""
    monkeypatch.setattr("sys.stdin", io.StringIO())


async def test_a_whole_study_runs_and_its_report_is_good(tmp_path):
    with contextlib.ExitStack() as stack:
        runner, text = made(tmp_path, stack, HandClock())
        async with asyncio.timeout(20):
            await runner.run(())
    record = read_study(tmp_path / "study.jsonl")
    assert not record.missing
    assert record.taken_back == 0
    report = report_of(record)
    assert report.fitness is not Fitness.UNFIT
    assert report.study.gauge.sigma == pytest.approx(2e-4 * 243.0, rel=0.6)
    assert statistics.mean(p.ohm for p in report.points) == pytest.approx(243.0, rel=0.03)
    shown = text.getvalue()
    assert shown.count("● ann") == 8
    assert "Nothing is missing: the study is done." in shown
    assert "24" not in shown.replace("/16]", "")  # no value, not even part of one


async def test_a_stopped_study_goes_on_behind_what_is_on_the_disk(tmp_path):
    clock = HandClock()
    with contextlib.ExitStack() as stack:
        runner, _ = made(tmp_path, stack, clock)
        take = runner.file.take

        def five(measurement):
            take(measurement)
            if len(runner.file.record.taken) == 5:
                runner.stop.set()

        runner.file.take = five
        async with asyncio.timeout(20):
            await runner.run(())
    assert len(read_study(tmp_path / "study.jsonl").taken) == 5
    with contextlib.ExitStack() as stack:
        runner, text = made(tmp_path, stack, clock, parts=(), operators=())
        async with asyncio.timeout(20):
            await runner.run(())
    record = read_study(tmp_path / "study.jsonl")
    assert not record.missing
    assert record.taken_back == 0
    assert "[5/16]" in text.getvalue()


async def test_a_disk_that_takes_nothing_ends_the_study_with_a_sentence(tmp_path):
    with contextlib.ExitStack() as stack:
        runner, text = made(tmp_path, stack, HandClock())

        def refuse(_):
            raise InputImpossible("study.jsonl cannot be written (No space left on device).")

        runner.file.take = refuse
        async with asyncio.timeout(20):
            with pytest.raises(InputImpossible, match="No space left"):
                await runner.run(())
    assert "taken" not in text.getvalue()
    assert read_study(tmp_path / "study.jsonl").taken == {}


async def test_a_complete_study_opens_no_instrument(tmp_path):
    clock = HandClock()
    with contextlib.ExitStack() as stack:
        runner, _ = made(tmp_path, stack, clock)
        async with asyncio.timeout(20):
            await runner.run(())
    with contextlib.ExitStack() as stack:
        runner, text = made(tmp_path, stack, clock)
        await runner.run(())
    assert text.getvalue() == ""


async def test_a_meter_that_owes_a_self_check_makes_it_first(tmp_path):
    """Prompts of the study wait until it is passed."""
    bench_file(
        tmp_path,
        meter="tcp:127.0.0.1:9",
        sheet="fathom-7.toml",
        changes=[("integration_plc = 1.0", 'integration_plc = 1.0\nself_check = "100 ohm"')],
    )
    with contextlib.ExitStack() as stack:
        runner, text = made(tmp_path, stack, HandClock())
        async with asyncio.timeout(20):
            await runner.run(())
    shown = text.getvalue()
    assert shown.index("Self-check passed") < shown.index("presses Enter") < shown.index("● ann")
    assert not read_study(tmp_path / "study.jsonl").missing
