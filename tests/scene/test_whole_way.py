"""The whole way, nothing faked but the bench itself: simulated meter, real links, daemon, journal, files.

Against the truth log of the simulation, which knows what was planted and shares no code with the daemon.
"""

from __future__ import annotations

import signal
import time

import pytest

from acquire.records import Ending, Judged, LeadZero, Notice, UnitResult
from acquire.simulated.demo import as_planted
from tests.waiting import crowding
from tests.whole_bench import (
    Typed,
    bench_file,
    csv_rows,
    day,
    free_port,
    journal_entries,
    lift,
    running,
    simulated,
)


def touch(sim, *pins):
    """Lift, and put the probes on two pins once the meter has shown that they have left."""
    lift(sim)
    sim.type(" ".join(pins))
    sim.until("probes on")


def zero(sim, bench):
    """Hold the probes together until the leads are zeroed; lift first where the meter saw no air yet."""
    bench.until("Hold the probes together")
    zeroed = False
    while not zeroed:
        sim.type("short")
        zeroed = "zeroed" in bench.until(("zeroed", "have not left"))
        lift(sim)


async def test_every_unit_of_a_day_ends_as_it_was_planted(tmp_path):
    """Six units with wrong pair, shorts, joint, open winding and a warm one: verdicts equal the truth log."""
    work = await day(tmp_path, units=6, speed=20.0)
    results = {result.serial: result for result in work.of(UnitResult)}
    assert sorted(results) == sorted(work.truth)
    stories = {fact["story"] for fact in work.truth.values()}
    assert stories == {"good", "wrong pair", "shorted", "joint", "open", "warm"}
    for serial, fact in work.truth.items():
        result = results[serial]
        assert as_planted(result.outcome, fact), (fact["story"], result)
        if fact["story"] in {"shorted", "joint", "open"}:
            assert fact["story"] in result.hypotheses[0].fault
        if fact["story"] == "warm":
            assert result.ending is Ending.WARM
    hints = [n for n in work.of(Notice) if n.code == "pair.other"]
    wrong = next(s for s, fact in work.truth.items() if fact["story"] == "wrong pair")
    assert wrong in {n.serial for n in hints}
    _values_hold_the_truth(work)
    _journal_and_csv_agree(tmp_path, len(work.of(Judged)))
    assert len(work.of(LeadZero)) == 1


def _values_hold_the_truth(work):
    """The 95 % interval of every pass holds the true resistance, but for a few in a hundred."""
    held = []
    for judged in work.of(Judged):
        verdict = judged.verdict
        fact = work.truth[verdict.serial]
        if fact["excess_kelvin"] or verdict.reference_ohm is None or verdict.step == "warm check":
            continue
        names = (f"{verdict.pin_a}-{verdict.pin_b}", f"{verdict.pin_b}-{verdict.pin_a}")
        true_ohm = next((fact["pairs"][n]["true_ohm_20"] for n in names if n in fact["pairs"]), None)
        if true_ohm is not None:
            held.append(abs(verdict.reference_ohm - true_ohm) <= verdict.expanded_ohm)
    assert len(held) > 20
    assert sum(held) >= 0.9 * len(held)


def _journal_and_csv_agree(folder, verdicts):
    """One row a verdict, in order, with the ids of the journal."""
    entries = journal_entries(folder, "verdict")
    rows = csv_rows(folder)
    assert [row["id"] for row in rows] == [entry.id for entry in entries]
    assert len(entries) == verdicts
    for row, entry in zip(rows, entries, strict=True):
        assert (row["serial"], row["outcome"]) == (entry.payload["serial"], entry.payload["outcome"])
        assert entry.evidence is not None


@pytest.mark.parametrize("number", [signal.SIGTERM, pytest.param(signal.SIGINT, marks=pytest.mark.long)])
def test_a_signal_stops_the_bench_cleanly_in_the_middle_of_a_unit(tmp_path, number):
    """Exit code 0 within 5 s, also with the probes down; journal and CSV agree."""
    port = free_port()
    file = bench_file(tmp_path, meter=f"tcp:127.0.0.1:{port}")
    with simulated(port) as sim, running(file) as bench:
        bench.type("P80-0001")
        zero(sim, bench)
        touch(sim, "1", "2")
        bench.until("● pass")
        bench.until("Touch 2–3")
        touch(sim, "2", "3")
        began_s = time.monotonic()
        code, output = bench.end(number)
        took_s = time.monotonic() - began_s
    assert code == 0, output
    assert took_s < 5.0 * crowding()
    assert "Traceback" not in output, output
    assert not (tmp_path / "journal" / "journal.db-wal").exists()  # folded in: nothing is left to do
    _journal_and_csv_agree(tmp_path, len(journal_entries(tmp_path, "verdict")))
    assert journal_entries(tmp_path, "verdict")


@pytest.mark.long
def test_a_meter_is_picked_up_when_it_appears_and_may_die_in_the_middle_of_a_unit(tmp_path):
    """Missing: said once. Killed with probes down: no verdict of half a touch; the unit goes on."""
    port = free_port()
    file = bench_file(tmp_path, meter=f"tcp:127.0.0.1:{port}")
    with running(file) as bench:
        assert f"127.0.0.1:{port}" in bench.until("gives no readings")
        time.sleep(1.0)
        with simulated(port) as sim:
            bench.until("The meter is back")
            bench.type("P80-0001")
            zero(sim, bench)
            touch(sim, "1", "2")
            bench.until("● pass")
            bench.until("Touch 2–3")
            touch(sim, "2", "3")
            sim.process.kill()
            bench.until("gives no readings")
        with simulated(port) as sim:
            bench.until("The meter is back")
            touch(sim, "2", "3")
            assert "2–3" in bench.until("● pass")
            bench.until("Touch 1–3")
        code, output = bench.end()
    assert code == 0
    assert output.count("gives no readings") <= 3  # before, in between, and when the simulation ended
    assert [e.payload["step"] for e in journal_entries(tmp_path, "verdict")] == ["slow charge", "fast charge"]


@pytest.mark.long
def test_a_power_cut_resumes_the_unit_at_its_open_step(tmp_path):
    """kill -9 in mid-unit: at the next start the unit, its verdicts and its lead zero are there again."""
    port = free_port()
    file = bench_file(tmp_path, meter=f"tcp:127.0.0.1:{port}")
    with simulated(port) as sim:
        with running(file) as bench:
            bench.type("P80-0001")
            zero(sim, bench)
            touch(sim, "1", "2")
            bench.until("● pass")
            bench.process.kill()
            bench.process.wait(5)
        sim.type("lift")
        with running(file) as bench:
            bench.until("P80-0001 was interrupted")
            assert "2–3" in bench.until("Touch ")
            touch(sim, "2", "3")
            bench.until("● pass")
            code, output = bench.end()
    assert code == 0
    assert "Hold the probes together" not in output
    assert len(journal_entries(tmp_path, "unit_started")) == 1
    _journal_and_csv_agree(tmp_path, 2)


def test_the_two_terminals_of_the_readme(tmp_path):
    """`steadyohm simulate` in one, `steadyohm run` on the file it writes in the other."""
    port = free_port()
    sim = Typed("-m", "acquire", "simulate", "--port", str(port), cwd=tmp_path)
    try:
        sim.until("on the bench:")
        with running(tmp_path / "simulated-bench.toml", speed=1.0, cwd=tmp_path) as bench:
            bench.type("P80-0001")
            zero(sim, bench)
            touch(sim, "1", "3")
            bench.until("reads like 1–3")
            touch(sim, "1", "2")
            bench.until("● pass")
            sim.type("lift")
            code, output = bench.end()
    finally:
        sim.close()
    assert code == 0, output
    assert len(journal_entries(tmp_path, "verdict")) == 1
    assert len(csv_rows(tmp_path)) == 1


@pytest.mark.long
def test_a_meter_that_dies_in_every_phase_leaves_a_true_record(tmp_path):
    """While zeroing, with the tips still together, behind a hint, between the two keys of an open winding."""
    port = free_port()
    file = bench_file(tmp_path, meter=f"tcp:127.0.0.1:{port}")
    with running(file) as bench:
        with simulated(port) as sim:
            bench.type("P80-0001")
            bench.until("Hold the probes together")
            sim.type("short")
            time.sleep(0.15)
            sim.process.kill()
        for does, until in ((["short"], "zeroed"), (["1 3"], "reads like 1–3")):
            bench.until("gives no readings")
            with simulated(port) as sim:
                bench.until("The meter is back")
                for line in does:
                    sim.type(line)
                bench.until(until)
                sim.process.kill()
        bench.until("gives no readings")
        with simulated(port) as sim:
            bench.until("The meter is back")
            sim.type("unit open slow charge")
            sim.type("1 2")
            time.sleep(2.0)
            bench.type("")
            bench.until("✖ FAIL; again")
            sim.process.kill()
        bench.until("gives no readings")
        time.sleep(0.5)  # else it is the same press
        bench.type("")
        bench.until("shows no overload")
        with simulated(port) as sim:
            bench.until("The meter is back")
            sim.type("unit open slow charge")
            sim.type("1 2")
            time.sleep(2.0)
            bench.type("")
            bench.until("✖ FAIL")
        code, output = bench.end()
    assert code == 0, output
    verdicts = [(e.payload["step"], e.payload["counts"]) for e in journal_entries(tmp_path, "verdict")]
    assert verdicts == [("slow charge", False), ("slow charge", True)]


@pytest.mark.long
@pytest.mark.timeout(300)
@pytest.mark.parametrize(
    ("scene", "sheet", "units", "words"),
    [
        ("plover-80-rough", "plover-80.toml", 20, ()),
        ("quern-12", "quern-12.toml", 10, ()),
        ("plover-80", "plover-80.toml", 10, ("--trouble", "garble=0.0005,drop=0.0005,stall=0.002,stall_s=2")),
    ],
)
async def test_longer_days_end_as_planted_too(tmp_path, scene, sheet, units, words):
    """Hurried hands, milliohms in four wires, a line that loses, garbles and stalls."""
    work = await day(tmp_path, *words, scene=scene, sheet=sheet, units=units, speed=20.0)
    results = {result.serial: result.outcome for result in work.of(UnitResult)}
    # A unit wound with thinner wire reads like a warm one: it may be held, and is told apart once rested.
    alike = {s for s, fact in work.truth.items() if fact["story"] == "gauge" and results.get(s) is None}
    wrong = [s for s, fact in work.truth.items() if not as_planted(results.get(s), fact)]
    assert not set(wrong) - alike
    assert len(work.truth) == units
