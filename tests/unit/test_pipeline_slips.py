"""What was a slip of the hand: scans that are asked about, and deeds that are taken back."""

from __future__ import annotations

import pytest

from acquire.heart.serials import SerialRule
from acquire.records import (
    Code,
    ConfirmOpen,
    Ending,
    GiveUpUnit,
    Note,
    Notice,
    Outcome,
    Refusal,
    SkipStep,
    StartUnit,
    Undo,
    UnitResult,
    Why,
)
from tests.pure_bench import GOOD, Bench

# ---------------------------------------------------------------------- scans that are asked about


def half_measured():
    """A unit with one verdict."""
    bench = Bench()
    bench.begin("A1")
    bench.hold(GOOD["1", "2"])
    bench.events = [bench.prompt]
    return bench


def told(bench):
    return [notice.code for notice in bench.of(Notice)]


def test_another_serial_on_a_half_measured_unit_is_asked_about_first():
    """Nothing is given up by one slip of the scanner."""
    bench = half_measured()
    (asked, *_) = bench.command(StartUnit("A2"))
    assert (asked.code, asked.serial) == (Code.UNIT_UNFINISHED, "A1")
    assert asked.facts == {"next": "A2", "done": 1, "total": 6}
    bench.command(StartUnit("A3"))
    assert told(bench) == [Code.UNIT_UNFINISHED] * 2, "another slip is another question"
    assert bench.work_through(GOOD).serial == "A1"


@pytest.mark.parametrize("how", [StartUnit("A2"), StartUnit("A2", sure=True)])
def test_the_same_scan_again_or_a_sure_one_goes_on(how):
    """And the unit before ends as it is."""
    bench = half_measured()
    if not how.sure:
        bench.command(StartUnit("A2"))
    bench.command(how)
    (result,) = bench.of(UnitResult)
    assert (result.serial, result.ending) == ("A1", Ending.NEXT_UNIT)
    assert bench.pipeline.unit.serial == "A2"


def test_an_answer_goes_stale_with_what_is_done_meanwhile():
    """Scanned, gone on with the unit, scanned again later: asked again. A note in between is nothing."""
    bench = half_measured()
    bench.command(StartUnit("A2"))
    bench.command(Note("a remark"))
    bench.command(ConfirmOpen())  # refused: nothing was shown yet
    bench.hold(GOOD["2", "3"])
    bench.command(StartUnit("A2"))
    assert told(bench).count(Code.UNIT_UNFINISHED) == 2
    bench.command(Note("another"))
    bench.command(StartUnit("A2"))
    assert bench.pipeline.unit.serial == "A2"


def test_a_serial_that_reads_like_a_command_word_is_asked_about():
    """Also with nothing on the bench; a pattern of the bench file asks about everything else."""
    for rule, serial, unlike in (
        (SerialRule(words=frozenset({"again"})), "again", "word"),
        (SerialRule(r"A\d"), "B1", "pattern"),
    ):
        bench = Bench()
        bench.pipeline.serials = rule
        (asked,) = (e for e in bench.command(StartUnit(serial)) if isinstance(e, Notice))
        assert (asked.code, asked.serial, asked.facts["unlike"]) == (Code.SERIAL_DOUBTFUL, serial, unlike)
        assert bench.pipeline.unit is None
        bench.command(StartUnit(serial))
        assert bench.pipeline.unit.serial == serial


# ---------------------------------------------------------------------- taken back


@pytest.mark.parametrize("slip", [StartUnit("A2", sure=True), GiveUpUnit("dropped")])
def test_a_unit_that_left_by_a_slip_comes_back(slip):
    """It goes on where it was; the unit that was scanned for it ends as taken back."""
    bench = half_measured()
    before = bench.pipeline.unit.state.prompt()
    bench.command(slip)
    bench.command(Undo())
    assert told(bench)[-1] is Code.UNIT_REOPENED
    endings = [(result.serial, result.ending) for result in bench.of(UnitResult)]
    assert endings == [("A1", slip.ending if isinstance(slip, GiveUpUnit) else Ending.NEXT_UNIT)] + (
        [("A2", Ending.UNDONE)] if isinstance(slip, StartUnit) else []
    )
    assert bench.prompt == before
    result = bench.work_through(GOOD)
    assert (result.serial, result.outcome) == ("A1", Outcome.PASS)


def test_a_skip_or_a_key_is_taken_back():
    """The step is asked for as before it."""
    bench = half_measured()
    before = bench.prompt
    bench.command(SkipStep("bent pin"))
    bench.command(Undo())
    assert bench.prompt == before
    bench.air(3.5)
    bench.command(ConfirmOpen())
    assert bench.prompt.why is Why.FAILED
    bench.command(Undo())
    assert bench.prompt == before
    assert told(bench) == [Code.STEP_SKIPPED, Code.STEP_UNDONE, Code.STEP_UNDONE]


def test_the_latest_slip_is_taken_back_first():
    """A skip on the unit that was just scanned, then the scan itself."""
    bench = half_measured()
    bench.command(StartUnit("A2", sure=True))
    bench.command(SkipStep("bent pin"))
    bench.command(Undo())
    assert (told(bench)[-1], bench.pipeline.unit.serial) == (Code.STEP_UNDONE, "A2")
    bench.command(Undo())
    assert (told(bench)[-1], bench.pipeline.unit.serial) == (Code.UNIT_REOPENED, "A1")


def test_a_touch_that_slid_is_asked_for_again_and_no_word_takes_that_back():
    """By 2 % under the probes: neither value counts."""
    bench = Bench()
    bench.begin()
    for ohm, times in ((GOOD["1", "2"], 40), (1.02 * GOOD["1", "2"], 100)):
        for _ in range(times):
            bench.read(ohm)
    assert told(bench) == [Code.STEP_MOVED, Code.PROBES_NOT_LIFTED]
    bench.air(1.0)
    bench.command(Undo())
    assert bench.refusals == [Refusal.NOTHING_TO_UNDO]
    assert (bench.prompt.pair, bench.pipeline.unit.state.states[0].outcome) == (("1", "2"), None)


def test_the_skip_that_ended_a_unit_is_taken_back_with_it():
    """The unit is back on the bench, its last step open."""
    bench = half_measured()
    while bench.pipeline.unit is not None:
        last = bench.pipeline.unit.state.current.name
        bench.command(SkipStep("no time"))
    bench.command(Undo())
    assert bench.pipeline.unit.state.current.name == last
    assert told(bench)[-2:] == [Code.UNIT_REOPENED, Code.STEP_UNDONE]


def test_nothing_that_was_judged_is_taken_back():
    """A touch is measured again, not undone; after the next unit's first verdict its scan stands."""
    bench = half_measured()
    bench.command(Undo())
    bench.command(StartUnit("A2", sure=True))
    bench.air(1.0)
    bench.hold(GOOD["1", "2"])
    bench.command(Undo())
    assert bench.refusals == [Refusal.NOTHING_TO_UNDO] * 2
    assert bench.pipeline.unit.serial == "A2"
    empty = Bench()
    empty.command(Undo())
    assert empty.refusals == [Refusal.NOTHING_TO_UNDO]


def test_a_scan_that_waits_for_a_yes_is_taken_back_and_then_asks_anew():
    """Also after a restart in between."""
    bench = Bench()
    bench.begin("A1")
    bench.hold(GOOD["1", "2"])
    bench.command(StartUnit("A2"))
    assert bench.pipeline.undoable
    bench.command(Undo())
    assert told(bench) == [Code.UNIT_UNFINISHED, Code.SCAN_TAKEN_BACK]
    for each in (bench, bench.restarted()):
        assert (each.pipeline.question, each.pipeline.undoable) == (None, False)
        each.command(StartUnit("A2"))
        assert each.pipeline.unit.serial == "A1"
