"""Batches alone: deeds on them, which units they take, and what waits for a word."""

from __future__ import annotations

from dataclasses import replace

import pytest

from acquire.heart.batches import Batches
from acquire.physics.common import PairReading
from acquire.physics.wire import SpoolCard
from acquire.records import (
    AcceptFirstUnit,
    BatchEvent,
    BatchState,
    ChangeSpool,
    Circumstances,
    Ending,
    FinishBatch,
    OpenBatch,
    Outcome,
    Pair,
    PauseBatch,
    Purpose,
    Refusal,
    Refused,
    ResumeBatch,
    StartUnit,
    UnitKnown,
    Why,
    WoundFrom,
)
from acquire.sheets import load_sheet
from acquire.words.faults import batch_doubt
from acquire.words.verdicts import deed_words
from tests.known_records import RESULT
from tests.whole_bench import CONFIGS

FATHOM = load_sheet(CONFIGS / "sheets" / "fathom-7.toml")
OHM_PER_M = {branch.name: branch.ohm_per_m for branch in FATHOM.branches if branch.ohm_per_m}
CARDS = {
    "36-A": SpoolCard("36-A", OHM_PER_M["P1"] * 1.012, 5e-4, 10.0, 0.127),
    "36-B": SpoolCard("36-B", OHM_PER_M["P1"] * 0.976, 5e-4, 10.0, 0.127),
    "35-C": SpoolCard("35-C", OHM_PER_M["P1"] / 1.261, 5e-4, 10.0, 0.143),
}
GOOD_OHM = {"P1": 246.0, "P2": 269.3, "S1": 1.6475, "S2": 1.6475}
PAIRS = {"P1": Pair("1", "2"), "P2": Pair("3", "4"), "S1": Pair("5", "6"), "S2": Pair("7", "8")}


def bench(batch="", purpose=Purpose.FINAL, sheet=FATHOM, cards=CARDS, operator="Ida"):
    place = Circumstances(
        "bench-1", purpose, sheet, "meter", "m", "m", "b", "test", operator=operator, batch=batch
    )
    return Batches(place, cards)


def readings(**factors):
    return [PairReading(PAIRS[n], ohm * factors.get(n, 1.0), 2e-4 * ohm) for n, ohm in GOOD_OHM.items()]


def measured(batches, serial, utc_s=100.0, **factors):
    """A unit from its start to its result."""
    started, told = batches.start(StartUnit(serial), utc_s)
    assert started is not None, told
    batches.begin(started)
    result = replace(
        RESULT,
        serial=serial,
        batch=started.batch,
        outcome=Outcome.PASS,
        measured=Outcome.PASS,
        utc_s=utc_s + 30.0,
    )
    return started, batches.ended(result, readings(**factors), 10.0)


def opened(**more):
    batches = bench(**more)
    batches.obey(OpenBatch("lot 12", 40), 1.0)
    batches.obey(ChangeSpool("36-A", "P1, P2"), 2.0)
    return batches


def test_units_belong_to_the_batch_that_is_running():
    """With the spools that it is wound from."""
    batches = opened()
    started, _ = batches.start(StartUnit("F1"), 3.0)
    assert (started.batch, started.attempt) == ("lot 12", 1)
    assert [(each.winding, each.spool) for each in started.spools] == [("P1", "36-A"), ("P2", "36-A")]
    assert started.spools[0].ohm_per_m == CARDS["36-A"].ohms_per_metre


def test_a_batch_rests_and_goes_on():
    """While it rests, units belong to no batch, and somebody is told."""
    batches = opened()
    (paused,) = batches.obey(PauseBatch("night"), 3.0)
    assert (paused.deed, paused.state, paused.remark) == (BatchEvent.PAUSED, BatchState.PAUSED, "night")
    started, told = batches.start(StartUnit("X1"), 4.0)
    assert (started.batch, [each.code for each in told]) == ("", ["batch.paused"])
    (resumed,) = batches.obey(ResumeBatch(), 5.0)
    assert (resumed.batch, resumed.state) == ("lot 12", BatchState.RUNNING)
    assert batches.start(StartUnit("F1"), 6.0)[0].batch == "lot 12"


def test_a_second_batch_sends_the_first_one_to_rest():
    """One bench works on one batch at a time; both stay on record."""
    batches = opened()
    first, second = batches.obey(OpenBatch("lot 13"), 3.0)
    assert (first.batch, first.deed, second.batch) == ("lot 12", BatchEvent.MADE_WAY, "lot 13")
    assert first.state is BatchState.PAUSED
    first, second = batches.obey(OpenBatch("lot 12"), 4.0)  # the traveller of a batch, scanned again
    assert (first.batch, second.deed, second.expected) == ("lot 13", BatchEvent.RESUMED, 40)


def test_a_finished_batch_is_opened_again_only_on_purpose():
    """A name is used once."""
    batches = opened()
    batches.obey(FinishBatch(), 3.0)
    with pytest.raises(Refused, match=Refusal.BATCH_FINISHED):
        batches.obey(OpenBatch("lot 12"), 4.0)
    assert batches.obey(ResumeBatch("lot 12"), 5.0)[0].state is BatchState.RUNNING


@pytest.mark.parametrize(
    ("command", "refusal"),
    [
        (PauseBatch(), Refusal.NO_BATCH_RUNNING),
        (FinishBatch(), Refusal.NO_BATCH_RUNNING),
        (ResumeBatch(), Refusal.NO_BATCH_PAUSED),
        (ResumeBatch("lot 99"), Refusal.BATCH_UNKNOWN),
        (OpenBatch("  "), Refusal.BATCH_NAMELESS),
        (ChangeSpool("36-A"), Refusal.NO_BATCH_RUNNING),
        (AcceptFirstUnit("why"), Refusal.NO_DOUBT),
    ],
)
def test_what_cannot_be_done_is_refused(command, refusal):
    """And changes nothing."""
    batches = bench()
    with pytest.raises(Refused, match=refusal):
        batches.obey(command, 1.0)
    assert not batches.known


def test_what_the_record_tells_is_taken_up():
    """The latest deed on each batch is all that a restart needs."""
    before = opened()
    measured(before, "F1", P1=1.26, P2=1.26)
    after = bench()
    after.recall(list(before.known.values()))
    assert after.batch == before.batch
    assert after.batch.first_doubt
    assert after.start(StartUnit("F2"), 200.0)[0] is None


def test_the_bench_file_opens_its_batch_once():
    """Later starts go on with what the record says, even where the batch is finished."""
    batches = bench(batch="spring")
    (record,) = batches.between_units(1.0)
    assert (record.batch, record.deed, record.remark) == (
        "spring",
        BatchEvent.OPENED,
        "",
    )
    assert not batches.between_units(2.0)
    batches.obey(FinishBatch(), 3.0)
    again = bench(batch="spring")
    again.recall(list(batches.known.values()))
    assert not again.between_units(4.0)


# ------------------------------------------------------------------ units


def test_a_unit_of_another_batch_is_refused_with_the_reason():
    """It was scanned by mistake, or its batch must be resumed."""
    batches = opened()
    batches.obey(UnitKnown("F1", "lot 11", 1), 3.0)
    with pytest.raises(Refused, match=Refusal.BATCH_OF_OTHERS):
        batches.start(StartUnit("F1"), 4.0)
    batches.obey(PauseBatch(), 5.0)
    assert batches.start(StartUnit("F1"), 6.0)[0].batch == ""


def test_a_unit_that_comes_again_gets_the_next_attempt():
    """Known from the record, or from this run; what was told last does not make it less."""
    batches = opened()
    batches.obey(UnitKnown("F1", "lot 12", 2), 3.0)
    started, told = batches.start(StartUnit("F1"), 4.0)
    assert (started.attempt, [each.code for each in told]) == (3, ["unit.again"])
    batches.begin(started)
    batches.obey(UnitKnown("F1", "lot 12", 2), 5.0)  # the third start is not on the record yet
    assert batches.start(StartUnit("F1"), 6.0)[0].attempt == 4


def test_a_batch_of_another_sheet_takes_no_units():
    """The bench was given another sheet meanwhile."""
    batches = opened()
    other = bench(sheet=replace(FATHOM, name="Fathom 8"))
    other.go_on(batches)
    with pytest.raises(Refused, match=Refusal.BATCH_OTHER_SHEET):
        other.start(StartUnit("F1"), 3.0)


def test_a_batch_that_is_named_with_the_unit_must_be_running():
    """An unknown name is a mark on the unit, as ever."""
    batches = opened()
    batches.obey(PauseBatch(), 3.0)
    with pytest.raises(Refused, match=Refusal.BATCH_NOT_RUNNING):
        batches.start(StartUnit("F1", batch="lot 12"), 4.0)
    assert batches.start(StartUnit("F1", batch="pallet 3"), 4.0)[0].batch == "pallet 3"


# ------------------------------------------------------------------ spools


def test_a_spool_finds_its_windings_by_its_card():
    """36-A has the wire of P1 and P2."""
    batches = bench()
    batches.obey(OpenBatch("lot 12"), 1.0)
    (record,) = batches.obey(ChangeSpool("36-A"), 2.0)
    assert [each.winding for each in record.spools] == ["P1", "P2"]
    assert (record.deed, deed_words(record)) == (BatchEvent.SPOOL_CHANGED, "36-A for P1, P2")


def test_a_spool_without_a_card_needs_its_windings():
    """The record has its name all the same."""
    batches = bench()
    batches.obey(OpenBatch("lot 12"), 1.0)
    with pytest.raises(Refused, match=Refusal.SPOOL_NO_CARD):
        batches.obey(ChangeSpool("24-K"), 2.0)
    with pytest.raises(Refused, match=Refusal.WINDING_UNKNOWN):
        batches.obey(ChangeSpool("24-K", "S9"), 2.0)
    (record,) = batches.obey(ChangeSpool("24-K", "S1, S2"), 2.0)
    assert record.spools == (WoundFrom("S1", "24-K"), WoundFrom("S2", "24-K"))


def test_a_spool_of_another_gauge_is_told_before_it_is_wound():
    """Its card has 21 % fewer ohms per metre than the sheet's wire."""
    batches = bench()
    batches.obey(OpenBatch("lot 12"), 1.0)
    record, notice = batches.obey(ChangeSpool("35-C", "P1"), 2.0)
    assert record.spools[0].spool == "35-C"
    assert (notice.code, notice.facts["windings"]) == ("batch.spool", ("P1",))
    assert notice.facts["off"] == pytest.approx(-0.21, abs=0.005)


# ------------------------------------------------------------------ the first unit


def test_a_first_unit_that_is_as_foretold_is_on_record_and_nothing_waits():
    """Later ones are not compared any more."""
    batches = opened()
    _, (record,) = measured(batches, "F1")
    assert (record.deed, record.first_serial, record.first_doubt) == (BatchEvent.FIRST_UNIT, "F1", None)
    _, told = measured(batches, "F2", utc_s=200.0, P1=1.26, P2=1.26)
    assert told == []


def test_the_second_unit_waits_for_a_word():
    """One gauge too thin in both primaries: said after unit 1; then the batch rests."""
    batches = opened()
    _, (record, notice) = measured(batches, "F1", P1=1.26, P2=1.26)
    assert "too thin by about one gauge" in batch_doubt(record)
    assert record.first_doubt.probability > 0.99
    assert (notice.code, notice.serial) == ("batch.first_unit", "F1")
    assert batches.prompt().why is Why.DOUBT
    started, (paused, refusal) = batches.start(StartUnit("F2"), 200.0)
    assert started is None
    assert (paused.state, refusal.code) == (BatchState.PAUSED, "command.refused")
    assert refusal.facts["refusal"] == Refusal.BATCH_STOPPED
    accepted = batches.obey(AcceptFirstUnit("the customer wants it so"), 201.0)[0]
    assert (accepted.state, accepted.first_doubt, accepted.remark) == (
        BatchState.RUNNING,
        None,
        "the customer wants it so",
    )
    assert batches.start(StartUnit("F2"), 202.0)[0].batch == "lot 12"


def test_the_first_unit_itself_may_be_measured_again():
    """If it is as predicted then, nothing waits any more."""
    batches = opened()
    measured(batches, "F1", P1=1.26, P2=1.26)
    again, (record,) = measured(batches, "F1", utc_s=200.0)
    assert (again.attempt, record.first_doubt) == (2, None)
    assert batches.start(StartUnit("F2"), 300.0)[0] is not None


def test_the_right_spool_named_late_settles_the_doubt():
    """The units that follow are compared with that one's card."""
    batches = opened()
    low = {"P1": 0.976 / 1.012, "P2": 0.976 / 1.012}
    _, (record, _) = measured(batches, "F1", **low)
    assert "like spool 36-B" in batch_doubt(record)
    (changed,) = batches.obey(ChangeSpool("36-B"), 200.0)
    assert (changed.first_doubt, changed.first_serial) == (None, "")
    _, (record,) = measured(batches, "F2", utc_s=300.0, **low)
    assert (record.first_serial, record.first_doubt) == ("F2", None)


@pytest.mark.parametrize("purpose", [Purpose.INCOMING, Purpose.RETURNED])
def test_cores_that_come_in_are_not_compared_with_our_spools(purpose):
    """They were wound elsewhere."""
    batches = opened(purpose=purpose)
    assert measured(batches, "F1", P1=1.26, P2=1.26)[1] == []


def test_a_unit_without_outcome_says_nothing_about_its_batch():
    """Held as warm, or given up: the next one is the first."""
    batches = opened()
    started, _ = batches.start(StartUnit("F1"), 3.0)
    result = replace(RESULT, serial="F1", batch=started.batch, outcome=None, ending=Ending.WARM)
    assert batches.ended(result, readings(P1=1.26), 10.0) == []
    assert not batches.batch.first_serial


# ------------------------------------------------------------------ how far


def test_the_prompt_tells_how_far_the_batch_is_and_the_last_unit_that_it_is_complete():
    """Counted from the record, so that a restart changes nothing; a unit that comes again counts once."""
    batches = bench()
    batches.obey(OpenBatch("lot 12", 3), 1.0)
    assert batches.prompt().why is Why.NONE
    batches.obey(UnitKnown("F2", "", 0, others=1), 2.0)
    _, told = measured(batches, "F2")
    assert batches.prompt().facts == {"batch": "lot 12", "count": 2, "expected": 3}
    batches.obey(UnitKnown("F2", "lot 12", 1, others=1), 3.0)
    measured(batches, "F2", utc_s=200.0)
    assert batches.prompt().facts == {"batch": "lot 12", "count": 2, "expected": 3}
    batches.obey(UnitKnown("F3", "", 0, others=2), 4.0)
    _, told = measured(batches, "F3", utc_s=300.0)
    assert [(each.code, each.serial) for each in told] == [("batch.complete", "F3")]
