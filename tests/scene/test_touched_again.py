"""Lift, and touch the pair just judged again: it is measured again, and that passes or fails no unit."""

from __future__ import annotations

from dataclasses import replace

import pytest

from acquire.bench.daemon import recorded
from acquire.records import Ask, Code, Judged, MeasureAgain, Notice, Outcome, Prompt, Settled, UnitResult
from acquire.records.codes import Order
from tests.pure_bench import GOOD, Bench
from tests.scene.test_whole_way import touch, zero
from tests.whole_bench import bench_file, csv_rows, free_port, journal_entries, running, simulated

FAST, SLOW, BOTH = GOOD["2", "3"], GOOD["1", "2"], GOOD["1", "3"]


def begun():
    """A unit whose first two pairs are judged; 1–3 is asked for, on a range that 2–3 fits too."""
    bench = Bench()
    bench.begin()
    bench.hold(SLOW)
    bench.hold(FAST)
    assert bench.prompt.pair == ("1", "3")
    bench.events.clear()
    return bench


def verdicts(bench):
    return [(j.verdict.pin_a, j.verdict.pin_b, j.verdict.attempt, j.verdict.counts) for j in bench.of(Judged)]


def codes(bench):
    return [n.code for n in bench.of(Notice)]


def standing(bench, *pair):
    """What counts for a pair of the unit on the bench."""
    return next(s for s in bench.pipeline.unit.state.states if s.step.pair == pair)


def test_touching_the_pair_just_judged_measures_it_again():
    """A new attempt that counts, said, and the asked pair is asked for again."""
    bench = begun()
    bench.hold(FAST)
    assert verdicts(bench) == [("2", "3", 2, True)]
    notice, judged, prompt = (e for e in bench.events if isinstance(e, Notice | Judged | Prompt))
    assert (notice.code, notice.pair) == (Code.STEP_TOUCHED_AGAIN, ("2", "3"))
    assert judged.verdict.outcome is Outcome.PASS
    assert (prompt.ask, prompt.pair) == (Ask.TOUCH, ("1", "3"))
    assert prompt.facts == {"after": ("2", "3")}
    assert bench.work_through(GOOD).outcome is Outcome.PASS


def test_the_latest_value_counts():
    """Both are kept on the record; the unit goes by the later one."""
    bench = begun()
    bench.hold(FAST * 1.0005)
    ohm = bench.of(Judged)[0].verdict.reference_ohm
    assert ohm == pytest.approx(FAST * 1.0005, abs=1e-3)
    assert standing(bench, "2", "3").ohm == ohm


def test_it_is_believed_once_and_the_asked_pair_is_judged_after_all():
    """A faulty pair that reads to the digit what the pair before it has read: it fails in the end."""
    bench = begun()
    bench.hold(FAST)
    faulty = {**GOOD, ("1", "3"): FAST}
    result = bench.work_through(faulty)
    assert verdicts(bench)[0] == ("2", "3", 2, True)
    assert ("1", "3") in {v[:2] for v in verdicts(bench)}
    assert result.outcome is Outcome.FAIL


def test_the_second_time_the_wrong_pair_is_named():
    """And how the pair judged last is measured again after all: that order means it, not the asked one."""
    bench = begun()
    bench.hold(FAST)
    bench.hold(FAST)
    refused = bench.of(Notice)[-1]
    assert (refused.code, refused.pair) == (Code.PAIR_OTHER, ("1", "3"))
    assert refused.facts["looks_like"] == refused.facts["last"] == ("2", "3")
    bench.command(MeasureAgain())
    assert bench.prompt.pair == ("2", "3")
    bench.hold(FAST)
    assert verdicts(bench)[-1] == ("2", "3", 3, True)
    assert bench.prompt.pair == ("1", "3")


def test_a_failing_pair_does_not_pass_by_it():
    """The hint says how it is measured again; what failed goes on failing until then."""
    bench = Bench()
    bench.begin()
    bench.hold(SLOW)
    for _ in range(2):
        bench.hold(FAST * 0.83)
    assert standing(bench, "2", "3").outcome is Outcome.FAIL
    assert bench.prompt.pair == ("1", "3")
    bench.events.clear()
    bench.hold(FAST)
    assert verdicts(bench) == []
    assert codes(bench) == [Code.PAIR_OTHER]
    assert bench.of(Notice)[0].facts["last"] == ("2", "3")
    assert standing(bench, "2", "3").outcome is Outcome.FAIL
    bench.command(MeasureAgain())
    assert bench.prompt.pair == ("2", "3")


def test_another_value_of_that_pair_is_no_repetition():
    """It may be a look-alike, or the asked pair gone wrong: refused as ever."""
    bench = begun()
    bench.hold(FAST * 1.004)
    assert verdicts(bench) == []
    assert codes(bench) == [Code.PAIR_OTHER]
    assert standing(bench, "2", "3").ohm == pytest.approx(FAST, rel=1e-3)


@pytest.mark.parametrize("silent", [True, False])
def test_probes_that_have_not_left_measure_nothing_again(silent):
    """A meter that fell silent, or whose link broke, has seen no lift-off; after one it is another touch."""
    bench = Bench()
    bench.begin()
    bench.hold(SLOW)
    for _ in range(30):
        bench.read(FAST)
    bench.events.clear()
    if silent:
        bench.now_s += 30.0
        bench.events += bench.pipeline.tick(bench.now_s, bench.now_s)
    else:
        bench.pipeline.link_lost()
    bench.hold(FAST)
    assert verdicts(bench) == []
    bench.hold(FAST)
    assert verdicts(bench) == [("2", "3", 2, True)]


def test_a_value_that_slides_on_takes_its_repetition_along():
    """It is taken back, and the pair is asked for again: the record and the bench say the same."""
    bench = begun()
    for _ in range(30):
        bench.read(FAST)
    assert verdicts(bench) == [("2", "3", 2, True)]
    told = bench.of(Settled)[0]
    moved = replace(told, value_si=told.value_si * 1.004, revision=told.revision + 1)
    bench.events += bench.pipeline._settled(moved)  # the settle stage revises what it reported
    bench.read(FAST * 1.004)
    assert codes(bench) == [Code.STEP_TOUCHED_AGAIN, Code.STEP_MOVED]
    assert bench.prompt.pair == ("2", "3")
    assert standing(bench, "2", "3").outcome is None
    for _ in range(8):
        bench.read(None)
    assert bench.work_through(GOOD).outcome is Outcome.PASS


def test_free_order_knows_it_too():
    """The pair judged last is measured again, any other is still awaited."""
    bench = Bench()
    bench.pipeline.order = Order.FREE
    bench.begin()
    bench.hold(GOOD["4", "6"])
    bench.hold(BOTH)
    bench.events.clear()
    bench.hold(BOTH)
    assert verdicts(bench) == [("1", "3", 2, True)]
    bench.hold(SLOW)
    assert verdicts(bench)[-1] == ("1", "2", 1, True)
    assert bench.work_through(GOOD).outcome is Outcome.PASS


def test_a_unit_taken_up_after_a_power_cut_goes_on_from_the_latest_value():
    """By the record alone; the pair touched again before it is known as such."""
    bench = Bench()
    bench.begin()
    for ohm in (SLOW, FAST, FAST * 1.0005):
        bench.hold(ohm)
    record = [each for each, _ in recorded(bench.events)]
    other = Bench()
    other.now_s = bench.now_s
    other.pipeline.replay(record, bench.now_s)
    other.air(1.0)
    assert other.pipeline.unit.state.states == bench.pipeline.unit.state.states
    assert standing(other, "2", "3").attempts == 2
    assert other.prompt == bench.prompt
    other.hold(FAST)
    assert codes(other) == [Code.PAIR_OTHER], "believed once, before the power cut"
    assert other.work_through(GOOD).outcome is Outcome.PASS


def test_nothing_is_measured_again_between_units():
    """The last pair of a unit, touched once more when the unit is done, says nothing of the next one."""
    bench = begun()
    bench.hold(BOTH)
    bench.work_through(GOOD)
    assert bench.of(UnitResult)
    bench.events.clear()
    bench.hold(GOOD["4", "6"])
    assert verdicts(bench) == []


@pytest.mark.long
def test_with_the_daemon_and_over_a_power_cut(tmp_path):
    """Lift, touch 2–3 again, kill -9: three verdicts on record and in the CSV, and 1–3 is asked for."""
    port = free_port()
    file = bench_file(tmp_path, meter=f"tcp:127.0.0.1:{port}")
    with simulated(port) as sim:
        with running(file) as bench:
            bench.type("P80-0001")
            zero(sim, bench)
            for pair, asked in ((("1", "2"), "Touch 2–3"), (("2", "3"), "Touch 1–3")):
                touch(sim, *pair)
                bench.until("● pass")
                bench.until(asked)
            touch(sim, "2", "3")
            bench.until("2–3 measured again")
            bench.until("● pass")
            bench.process.kill()
            bench.process.wait(5)
        sim.type("lift")
        with running(file) as bench:
            bench.until("P80-0001 was interrupted")
            assert "1–3" in bench.until("Touch ")
            code, _ = bench.end()
    assert code == 0
    entries = [e.payload for e in journal_entries(tmp_path, "verdict")]
    assert [(e["step"], e["attempt"], e["counts"]) for e in entries] == [
        ("slow charge", 1, True),
        ("fast charge", 1, True),
        ("fast charge", 2, True),
    ]
    assert [(row["attempt"], row["counts"]) for row in csv_rows(tmp_path)] == [
        ("1", "true"),
        ("1", "true"),
        ("2", "true"),
    ]
