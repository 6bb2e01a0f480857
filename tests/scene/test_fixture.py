"""A fixture on a switch card takes the place of the hands: real daemon, real sockets, simulated relays."""

import asyncio
import io

import pytest

from acquire.bench.assembly import assemble
from acquire.bench.fixture_setup import trial_lines, tried
from acquire.bench.keyboard import to_command
from acquire.bench.recording import replay, verdicts_of
from acquire.clock import RealClock
from acquire.files.settings import load_bench
from acquire.records import Ask, ConfirmOpen, Judged, Notice, Outcome, Prompt, StartUnit, UnitResult, Why
from acquire.simulated.demo import as_planted, read_truth, stand_in
from acquire.words.faults import sentence
from tests.whole_bench import bench_file, csv_rows, journal_entries

PLACES = ("1", "2", "3", "4", "5", "6", "CORE")


def table(*, kelvin=False, pairs="sheet"):
    """The `[fixture]` table of sim's card."""
    high = ", ".join(f"{place} = {101 + k}" for k, place in enumerate(PLACES))
    low = ", ".join(f"{place} = {201 + k}" for k, place in enumerate(PLACES))
    contacts = "true" if kelvin else "false"
    return (
        f"[fixture]\nhigh = {{ {high} }}\nlow = {{ {low} }}\n"
        f'pairs = "{pairs}"\nseparate_contacts = {contacts}\n'
    )


def file_for(folder, simulation, **fixture):
    """A bench file with a fixture."""
    return bench_file(
        folder,
        meter=simulation.meter,
        thermometer=simulation.thermometer,
        changes=[("[temperature]", f"{table(**fixture)}\n[temperature]")],
    )


class Work:
    """What came of a day at a fixture."""

    def __init__(self):
        self.events, self.truth, self.recording = [], {}, io.StringIO()

    def of(self, kind):
        return [event for event in self.events if isinstance(event, kind)]

    def notices(self, code):
        return [notice for notice in self.of(Notice) if notice.code == code]


async def day(folder, *words, kelvin=False, pairs="sheet", speed=12.0, until=lambda _work: False):
    """Let the simulated operator clip in unit after unit, until the units are done or it is enough."""
    truth, work, stop = folder / "truth.jsonl", Work(), asyncio.Event()
    sort = "kelvin" if kelvin else "shared"
    arguments = ["--fixture", sort, "--speed", str(speed), "--truth", str(truth), *words]
    async with stand_in(arguments) as simulation:
        file = file_for(folder, simulation, kelvin=kelvin, pairs=pairs)

        def show(event):
            work.events.append(event)
            simulation.show(event)
            if until(work):
                stop.set()

        daemon = await assemble(load_bench(file), clock=RealClock(speed), show=show, record=work.recording)
        async with asyncio.TaskGroup() as group:
            group.create_task(daemon.run(stop), name="daemon")
            hands = group.create_task(follow(daemon, simulation), name="hands")
            stopped = group.create_task(stop.wait(), name="stop")
            await asyncio.wait((hands, stopped), return_when=asyncio.FIRST_COMPLETED)
            stop.set()
            hands.cancel()
    work.truth = read_truth(truth)
    return work


async def follow(daemon, simulation):
    """Do what the hands do."""
    async for doing in simulation.doings():
        match doing.get("hands"):
            case "scan":
                await daemon.command(StartUnit(serial=doing["serial"]))
            case "confirm_open":
                await daemon.command(ConfirmOpen())
            case "type":
                await daemon.command(to_command(doing["line"]))
            case "finished":
                return


async def test_every_pair_of_a_unit_is_measured_and_open_ones_are_proven(tmp_path):
    """A good unit and a broken winding, 21 pairs each; two contacts on every pin, so no key is needed."""
    words = ["--seed", "11", "--units", "6"]
    work = await day(tmp_path, *words, kelvin=True, pairs="all", until=lambda w: len(w.of(UnitResult)) == 2)
    results = work.of(UnitResult)
    assert [r.outcome for r in results] == [Outcome.PASS, Outcome.FAIL]
    assert all(as_planted(r.outcome, work.truth[r.serial]) for r in results)
    assert results[0].steps_total == 22, "every pair, and the first one once more"
    assert sentence(results[1].hypotheses[0]) == "The fast charge has an open circuit."
    assert not work.notices("fixture.unproven")
    verdicts = [judged.verdict for judged in work.of(Judged)]
    first = {(v.pin_a, v.pin_b) for v in verdicts if v.serial == results[0].serial}
    assert len(first) == 21
    opens = [v for v in verdicts if v.raw_ohm is None]
    assert len(opens) >= 2 * 12
    assert all(v.witness for v in opens), "both clips are proven"
    assert [e.payload["step"] for e in journal_entries(tmp_path, "verdict")] == [v.step for v in verdicts]
    assert [row["step"] for row in csv_rows(tmp_path)] == [v.step for v in verdicts]
    recording = tmp_path / "recording.jsonl"
    recording.write_text(work.recording.getvalue())
    assert list(verdicts_of(replay(recording))) == verdicts, "relays are part of what is recorded"


async def test_a_clip_that_misses_its_pin_is_looked_for_and_fails_no_unit(tmp_path):
    """Clip 4: its pair reads open, its other paths too, so a person looks; then it conducts, and passes."""
    work = await day(tmp_path, "--units", "1", "--wear", "loose=4")
    (told, *_) = work.notices("fixture.unproven")
    assert told.facts["pins"] == ("4",)
    (result,) = work.of(UnitResult)
    assert result.outcome is Outcome.PASS
    # on a crowded machine a relay may be late for a reading: what is asked for again does not count
    assert {j.verdict.outcome for j in work.of(Judged) if j.verdict.counts} == {Outcome.PASS}


@pytest.mark.parametrize("channel", [101, pytest.param(206, marks=pytest.mark.long)])
async def test_a_relay_that_sticks_stops_the_bench_before_any_verdict(tmp_path, channel):
    """The card says that it is open; with its bus open and the other closed the meter reads something."""
    work = await day(
        tmp_path, "--units", "1", "--wear", f"welded={channel}", until=lambda w: w.notices("meter.lost")
    )
    bus = "high" if channel < 200 else "low"
    assert f"a relay of the {bus} bus is stuck closed" in work.notices("meter.lost")[0].facts["cause"]
    assert not work.of(Judged)


async def test_a_line_that_drops_answers_costs_time_and_no_verdict(tmp_path):
    """Relays are opened and closed anew after every gap; nothing is attributed to another pair.

    Nothing is measured before the unit is clipped in; prompts say what the fixture does.
    """
    work = await day(tmp_path, "--units", "1", "--trouble", "drop=0.001", kelvin=True)
    kinds = [p.ask for p in work.of(Prompt)]
    assert kinds.index(Ask.CLIP_ON) < kinds.index(Ask.SHORT_PROBES) < kinds.index(Ask.TOUCH)
    assert ("slow charge", Why.FIXTURE) in [(p.step, p.why) for p in work.of(Prompt)]
    assert kinds[-1] is Ask.START_UNIT
    (result,) = work.of(UnitResult)
    assert result.outcome is Outcome.PASS
    # on a crowded machine a relay may be late for a reading: what is asked for again does not count
    assert {j.verdict.outcome for j in work.of(Judged) if j.verdict.counts} == {Outcome.PASS}


@pytest.mark.parametrize(
    ("sort", "wear", "said"),
    [
        ("shared", "welded=103", "3's high relay (channel 103) is stuck closed"),
        ("kelvin", "plug,dead=107", "CORE on the high bus (channel 107) does not conduct"),
    ],
)
async def test_every_relay_is_tried(tmp_path, sort, wear, said):
    """`steadyohm fixture`: with nothing clipped in, or with a plug; the other findings are in tests/unit."""
    more = ["--wear", wear] if wear else []
    async with stand_in(["--fixture", sort, "--speed", "30", "--units", "1", *more]) as simulation:
        bench = load_bench(file_for(tmp_path, simulation, kelvin=sort == "kelvin"))
        trial = await tried(bench, plugged="plug" in (wear or ""))
    lines = "\n".join(trial_lines(trial))
    assert said in lines
    assert bool(trial.findings()) is bool(wear)
