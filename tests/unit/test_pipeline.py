"""The whole way of one reading, with no world around it: readings in, events out."""

from __future__ import annotations

from dataclasses import replace

import pytest

from acquire.records import (
    Ask,
    Batch,
    BatchEvent,
    ConfirmOpen,
    Contact,
    Ending,
    GiveUpUnit,
    Judged,
    LeadZero,
    MeasureAgain,
    Notice,
    OpenBatch,
    Outcome,
    Pair,
    Prompt,
    Refusal,
    Severity,
    SkipStep,
    StartUnit,
    Step,
    StepKind,
    UnitKnown,
    UnitResult,
    UnitStarted,
    Why,
    ZeroLeads,
)
from drivers.reading import Flag, Quantity
from tests.pure_bench import CONFIGS, GOOD, LEAD_OHM, Bench


def test_a_good_unit_passes_every_step():
    """Serial, lead zero, six steps and the repeated first pair: one unit, passed."""
    bench = Bench()
    bench.begin()
    result = bench.work_through(GOOD)
    assert result.outcome is Outcome.PASS
    assert result.steps_passed == result.steps_total
    assert len(bench.of(UnitStarted)) == 1
    assert [j.verdict.outcome for j in bench.of(Judged)] == [Outcome.PASS] * result.steps_total


def test_the_lead_zero_is_taken_off_two_wire_readings():
    """What the probes read together is what every two-wire reading is reduced by."""
    bench = Bench()
    bench.begin()
    assert bench.of(LeadZero)[0].value_ohm == pytest.approx(LEAD_OHM, abs=1e-3)
    bench.hold(202.57)
    verdict = bench.of(Judged)[0].verdict
    assert verdict.lead_ohm == pytest.approx(LEAD_OHM, abs=1e-3)
    assert verdict.reference_ohm == pytest.approx(202.57, abs=2e-3)


def test_a_value_measured_warm_is_reported_at_the_reference_temperature():
    """At 34 °C the slow charge winding reads 213.7 ohm and is still a 202.6 ohm winding."""
    bench = Bench(celsius=34.0)
    bench.begin()
    bench.hold(202.57 * (234.5 + 34.0) / 254.5)
    assert bench.of(Judged)[0].verdict.reference_ohm == pytest.approx(202.57, rel=1e-4)


def test_a_wrong_pair_is_named_and_fails_nothing():
    """Touching 1-3 instead of 1-2 brings a hint with the pair's name and no verdict."""
    bench = Bench()
    bench.begin()
    bench.hold(GOOD["1", "3"])
    hints = [n for n in bench.of(Notice) if n.code == "pair.other"]
    assert len(hints) == 1
    assert hints[0].facts["reads_like"] == ("1–3",)
    assert not bench.of(Judged)
    assert bench.work_through(GOOD).outcome is Outcome.PASS


def test_a_fault_is_asked_for_once_more_and_then_counts():
    """Shorted turns: two failing verdicts, the second of which counts."""
    bench = Bench()
    bench.begin()
    bad = {**GOOD, ("1", "2"): 160.0, ("1", "3"): 206.1}
    result = bench.work_through(bad)
    first = [j.verdict for j in bench.of(Judged) if j.verdict.step == bench.of(Judged)[0].verdict.step]
    assert [v.counts for v in first[:2]] == [False, True]
    assert result.outcome is Outcome.FAIL
    assert result.hypotheses[0].fault.startswith("shorted")


def test_a_touch_that_does_not_count_is_followed_by_a_request_each_time():
    """Low, good, low otherwise, high: whoever works by what is said would wait for ever else."""
    bench = Bench()
    bench.begin()
    why = []
    for ohm in (100.0, GOOD["1", "2"], 150.0, 300.0):
        new = bench.hold(ohm)
        judged, prompt = (e for e in new if isinstance(e, Judged | Prompt))
        assert not judged.verdict.counts
        assert (prompt.ask, tuple(prompt.pair)) == (Ask.TOUCH_AGAIN, ("1", "2"))
        why.append((prompt.why, prompt.times))
    assert why == [(Why.FAILED, 1), (Why.PASSED_AFTER_FAIL, 1), (Why.DISAGREE, 3), (Why.DISAGREE, 4)]


def test_swapping_the_probes_changes_nothing():
    """A resistance has no direction (fact of the trade, common practice, no source)."""
    bench = Bench()
    assert bench.pipeline.table.canonical("2", "1") == bench.pipeline.table.canonical("1", "2")


def test_an_open_winding_is_believed_only_with_a_key():
    """Overload alone never counts; confirmed twice it is an open winding."""
    bench = Bench()
    bench.begin()
    for _ in range(200):
        bench.read(None)
    assert not bench.of(Judged)
    assert bench.prompt.why is Why.SILENT
    bench.command(ConfirmOpen())
    bench.air(1.0)
    bench.command(ConfirmOpen())
    assert bench.refusals == [Refusal.KEY_TOO_SOON]  # a press too many is not kept for the next request
    bench.air(3.0)
    bench.command(ConfirmOpen())
    verdicts = [j.verdict for j in bench.of(Judged)]
    assert [(v.attempt, v.counts) for v in verdicts] == [(1, False), (2, True)]
    assert verdicts[1].outcome is Outcome.FAIL
    assert verdicts[1].reference_ohm is None


def test_a_key_does_not_make_a_finite_reading_open():
    """While the meter reads a value, confirming an open pair is refused."""
    bench = Bench()
    bench.begin()
    for _ in range(3):
        bench.read(202.57)
    bench.command(ConfirmOpen())
    assert bench.refusals == [Refusal.KEY_SEES_VALUE]


def test_a_key_proves_nothing_while_the_meter_is_silent():
    """No overload on the display, or the link lost: no open winding is put on the record."""
    bench = Bench()
    bench.begin()
    bench.pipeline.link_lost()
    bench.now_s += 20.0
    bench.command(ConfirmOpen())
    assert not bench.of(Judged)
    assert bench.refusals == [Refusal.KEY_UNWITNESSED]


def test_a_key_held_down_is_one_press():
    """Thirty line ends a second confirm nothing twice, and one right behind the serial confirms nothing."""
    bench = Bench()
    bench.begin()
    bench.command(StartUnit("A2"))
    bench.command(ConfirmOpen())
    assert not bench.of(Judged)
    for _ in range(10):
        bench.read(None)
    before = len(bench.of(Notice))
    for _ in range(60):
        bench.now_s += 1 / 30
        bench.command(ConfirmOpen())
    assert len(bench.of(Judged)) <= 1
    assert len(bench.of(Notice)) - before <= 1


def test_volts_do_not_bear_witness_to_an_open_pair():
    """A meter turned away from ohms shows nothing of the pair."""
    bench = Bench()
    bench.begin()
    for _ in range(20):
        bench.read(None, quantity=Quantity.VOLTAGE_DC)
    bench.command(ConfirmOpen())
    assert not bench.of(Judged)


def test_a_key_proves_nothing_on_a_range_too_low_for_it():
    """The meter left on 1 kilohm: whatever is above that reads overload, and the operator is told so."""
    core = Step("to core", Pair("1", "CORE"), kind=StepKind.OPEN, open_above_ohm=1e6)
    bench = Bench(steps=(core,))
    bench.begin()
    for _ in range(20):
        bench.read(None, full_scale=1e3)
    bench.command(ConfirmOpen())
    assert not bench.of(Judged)
    assert bench.refusals == [Refusal.RANGE_LOW]
    for _ in range(20):
        bench.read(None, full_scale=10e6)
    bench.now_s += 1.0
    bench.command(ConfirmOpen())
    assert [j.verdict.outcome for j in bench.of(Judged)] == [Outcome.PASS]


def test_a_uniformly_warm_unit_is_held_not_failed():
    """Every winding 13 % high by the same share: warm, so no verdict."""
    bench = Bench()
    bench.begin()
    warm = {pair: ohm * (234.5 + 55.0) / 254.5 for pair, ohm in GOOD.items()}
    result = bench.work_through(warm)
    assert (result.outcome, result.ending) == (None, Ending.WARM)


def test_a_unit_that_cools_during_the_test_is_held():
    """The first pair, read again at the end and once more to be sure, has moved beyond the limit."""
    bench = Bench()
    bench.begin()
    values = dict(GOOD)
    while bench.prompt.step != "warm check":
        bench.hold(values[tuple(bench.prompt.pair)] * 1.005)
    bench.hold(values["1", "2"] * 1.000)
    assert not bench.of(UnitResult), "the other pairs side with the first reading"
    bench.hold(values["1", "2"] * 1.000)
    result = bench.of(UnitResult)[-1]
    assert (result.outcome, result.ending) == (None, Ending.WARM)


def test_a_held_unit_comes_back_by_time_and_not_by_its_name():
    """12 % high in all pairs: held, and again at once; cold after two hours it passes, its rest on record."""
    bench = Bench()
    bench.begin()
    warm = {pair: ohm * 1.12 for pair, ohm in GOOD.items()}
    first = bench.work_through(warm)
    assert (first.outcome, first.ending) == (None, Ending.WARM)
    assert 0.0 < first.wait_least_s <= first.wait_s
    bench.begin()
    assert bench.work_through(warm).ending is Ending.WARM
    bench.now_s += 2.0 * 3600.0
    bench.air(0.5)
    bench.begin()
    last = bench.work_through(GOOD)
    assert (last.outcome, last.ending) == (Outcome.PASS, Ending.DONE)
    assert last.temperature.rested_s >= 2.0 * 3600.0


def test_a_value_that_another_has_replaced_is_no_sign_of_warmth():
    """A slip read 21 % low and was touched again: the unit was not 54 kelvin colder a moment ago."""
    bench = Bench()
    bench.begin()
    bench.hold(160.0)
    assert [judged.verdict.outcome for judged in bench.of(Judged)] == [Outcome.FAIL]
    result = bench.work_through(GOOD)
    assert (result.outcome, result.ending) == (Outcome.PASS, Ending.DONE)
    assert result.temperature.moving < 0.1


def test_no_temperature_means_no_verdict():
    """Without a fresh temperature verdicts wait, and the operator is told."""
    bench = Bench()
    bench.begin()
    bench.pipeline.conditions.temperature = None
    bench.hold(202.57)
    assert not bench.of(Judged)
    assert "temperature.missing" in {n.code for n in bench.of(Notice)}


def test_a_step_measured_again_keeps_both_verdicts():
    """Measure again: the latest counts, both are on the record."""
    bench = Bench()
    bench.begin()
    bench.hold(202.57)
    bench.command(MeasureAgain())
    assert bench.prompt.pair == ("1", "2")
    bench.hold(203.0)
    verdicts = [j.verdict for j in bench.of(Judged)]
    assert [v.attempt for v in verdicts] == [1, 2]
    assert [n.code for n in bench.of(Notice)] == ["step.again"]


def test_a_skipped_step_keeps_the_unit_from_passing():
    """A step left out is on the record with its reason, and the unit cannot pass."""
    bench = Bench()
    bench.begin()
    bench.command(SkipStep("pin 2 is broken off"))
    assert bench.work_through(GOOD).outcome is Outcome.CANNOT_JUDGE


def test_the_next_serial_ends_the_unit_before():
    """Scanning the next unit closes the unfinished one without a verdict."""
    bench = Bench()
    bench.begin("A1")
    bench.command(StartUnit("A2"))
    result = bench.of(UnitResult)[0]
    assert (result.serial, result.outcome, result.ending) == ("A1", None, Ending.NEXT_UNIT)


def test_giving_up_says_why():
    """A unit given up has no outcome and a reason."""
    bench = Bench()
    bench.begin()
    bench.command(GiveUpUnit("dropped"))
    (result,) = bench.of(UnitResult)
    assert (result.outcome, result.ending, result.remark) == (None, Ending.EARLY, "dropped")


def test_volts_are_named_before_they_cost_a_verdict():
    """A meter turned to volts is told once."""
    bench = Bench()
    bench.begin()
    for _ in range(5):
        bench.read(0.5, quantity=Quantity.VOLTAGE_DC)
    assert [n.code for n in bench.of(Notice)] == ["meter.function"]


def test_held_values_do_not_count():
    """HOLD on the display: told once, and nothing settles."""
    bench = Bench()
    bench.begin()
    for _ in range(30):
        bench.read(202.57, flags=frozenset({Flag.HOLD}))
    assert not bench.of(Judged)
    assert [n.code for n in bench.of(Notice)] == ["meter.hold"]


def test_a_lead_zero_that_moved_makes_low_ohms_doubtful():
    """A second zero far from the first says so, from when on verdicts are doubtful."""
    bench = Bench()
    bench.begin()
    bench.command(ZeroLeads())
    bench.hold(0.3)
    assert len(bench.of(LeadZero)) == 1
    bench.hold(0.3)
    assert bench.of(LeadZero)[1].doubtful_since_utc_s == bench.of(LeadZero)[0].utc_s
    assert "leads.moved" in {n.code for n in bench.of(Notice)}


def test_a_winding_is_never_taken_for_a_lead_zero():
    """202 ohm between the probes is no pair of leads."""
    bench = Bench()
    bench.command(StartUnit("A1"))
    bench.hold(46.0)
    assert not bench.of(LeadZero)
    assert "leads.implausible" in {n.code for n in bench.of(Notice)}


def test_replaying_the_same_readings_gives_equal_events():
    """The heart throws no dice and reads no clock."""
    first, second = Bench(), Bench()
    for bench in (first, second):
        bench.begin()
        bench.work_through(GOOD)
    assert first.events == second.events


# ---------------------------------------------------------------------- hands that linger


@pytest.mark.parametrize("sheet", sorted(path.stem for path in (CONFIGS / "sheets").glob("*.toml")))
@pytest.mark.parametrize("lingers_s", [0.1, 1.0, 5.0])
def test_hands_that_linger_on_a_pair_touch_no_other_one(sheet, lingers_s):
    """Whatever the next step wants of the meter, it is set anew once the probes have left."""
    bench = Bench(sheet=sheet)
    bench.begin()
    table = bench.pipeline.table
    settings = set()
    for _ in range(3 * len(table.sheet.steps)):
        if bench.prompt.ask is Ask.START_UNIT:
            break
        if bench.prompt.facts.get("open"):
            bench.air(1.0)
            bench.command(ConfirmOpen())
            continue
        ohm, wanted = table.nominal_ohm(bench.prompt.pair), bench.pipeline.wanted
        settings.add(wanted.quantity)
        judged = len(bench.of(Judged))
        for _ in range(100):
            bench.read(ohm)
            if len(bench.of(Judged)) > judged:
                break
        for _ in range(round(10 * lingers_s)):
            bench.read(ohm)
            assert bench.pipeline.wanted.quantity is wanted.quantity
        bench.air(0.8)
    [result] = bench.of(UnitResult)
    assert result.outcome is not None
    assert not [n for n in bench.of(Notice) if n.severity is not Severity.INFO]
    assert not [c for c in bench.of(Contact) if c.goes_on]


# ---------------------------------------------------------------------- a restart


def test_an_interrupted_unit_goes_on_where_it_stopped():
    """After a power cut the record puts the unit back at its open step, with what it knows."""
    bench = Bench()
    bench.begin()
    bench.hold(202.57)
    fresh = bench.restarted()
    assert fresh.prompt == bench.prompt
    assert fresh.pipeline.unit.state.known() == bench.pipeline.unit.state.known()
    assert fresh.pipeline.conditions.lead == bench.pipeline.conditions.lead


def test_a_unit_whose_files_changed_meanwhile_ends():
    """Other limits, another meter: its values so far were judged by something else."""
    bench = Bench()
    bench.begin()
    bench.hold(202.57)
    fresh = bench.restarted(content_hash="another")
    (result,) = fresh.of(UnitResult)
    assert (result.serial, result.ending, result.outcome) == ("A1", Ending.FILES_CHANGED, None)
    assert fresh.prompt.ask is Ask.START_UNIT


def test_a_batch_that_new_files_name_takes_the_first_unit_started_under_them():
    """Files are read again while a unit is on the bench, and the next serial comes with no moment between."""
    before, after = Bench(), Bench()
    before.command(OpenBatch("old"))
    before.command(UnitKnown("A1", "", 0, 7))
    before.begin("A1")
    after.pipeline.batches.go_on(before.pipeline.batches)
    after.pipeline.batches.place = replace(after.pipeline.place, batch="new")
    told = after.command(UnitKnown("A2", "", 0, 8)) + after.command(StartUnit("A2"))
    deeds = [(each.batch, each.deed) for each in told if isinstance(each, Batch)]
    assert deeds == [("old", BatchEvent.MADE_WAY), ("new", BatchEvent.OPENED)]
    assert next(each.batch for each in told if isinstance(each, UnitStarted)) == "new"
    assert after.pipeline.batches.count == 1
    told = after.command(StartUnit("A1"))  # of the old batch: refused, and the new one is not opened twice
    assert [type(each) for each in told] == [Notice]
