"""An open pair between touches of two known continuities, or by key; never from an overload alone."""

import math
from dataclasses import replace

import pytest

from acquire.heart.attempt import Attempt, AttemptKind
from acquire.records import (
    Basis,
    Code,
    ConfirmOpen,
    Fit,
    Judged,
    MeasureAgain,
    Notice,
    Outcome,
    Pair,
    Step,
    StepKind,
    ZeroLeads,
)
from acquire.records.codes import Why
from acquire.steps.bracket import HOLD_S, Bracket, anchor, bracket_for, closing
from acquire.steps.matcher import weigh
from acquire.steps.pairs import PairTable
from tests.known_progress import find_open, judge, unit
from tests.known_sheets import PLOVER, PLOVER_OPEN, corrected
from tests.pure_bench import GOOD, Bench

STRAP, TRIGGER = Pair("6", "core"), Pair("4", "core")
OPEN = PLOVER_OPEN.steps[-1]
TABLE = PairTable(PLOVER_OPEN)


def test_strap_and_trigger_prove_the_charge_winding_open():
    """The least continuity to the core first, then one that cannot be taken for it."""
    assert anchor(TABLE, OPEN) == STRAP
    assert closing(TABLE, STRAP) == TRIGGER
    assert bracket_for(TABLE, OPEN) == Bracket(STRAP, TRIGGER, "core", "1")


def test_open_step_without_a_core_needs_the_key():
    """No clip, no bracket."""
    apart = Step("1 to 4", Pair("1", "4"), kind=StepKind.OPEN, open_above_ohm=1e6)
    assert bracket_for(TABLE, apart) is None
    assert unit(replace(PLOVER, steps=(apart,))).prompt().facts == {"open": True}


def proved():
    """The strap was touched, and left at 10 s."""
    bracket = bracket_for(TABLE, OPEN)
    assert bracket.proves(STRAP)
    bracket.prove()
    bracket.lifted(10.0)
    return bracket


def test_a_request_says_what_to_touch_next():
    """Before the strap, and after it."""
    before = {"core": "core", "opened": "1", "last": "4", "first": "6"}
    assert bracket_for(TABLE, OPEN).facts() == before
    assert proved().facts() == {name: pin for name, pin in before.items() if name != "first"}


@pytest.mark.parametrize(
    ("gap_s", "shown", "pair", "closes"),
    [
        (HOLD_S, True, TRIGGER, True),
        (HOLD_S - 0.1, True, TRIGGER, False),  # passed over the pin
        (20.0, False, TRIGGER, False),  # a ground of 5 kilohm: overload too, on a range of 200 ohm
        (20.0, True, STRAP, False),
    ],
)
def test_it_closes_with_the_other_continuity_after_a_while_in_the_open(gap_s, shown, pair, closes):
    """Strap, two seconds without contact, trigger: the clip was sound all along."""
    bracket = proved()
    if shown:
        bracket.seen_open(10.1)
    assert bracket.closes(pair, 10.0 + gap_s) is closes


def test_a_proof_goes_on_after_a_restart_once_the_meter_shows_the_air():
    """The strap was touched before it; nobody saw the probe leave."""
    bracket = bracket_for(TABLE, OPEN)
    bracket.prove()
    bracket.seen_open(100.0)
    assert not bracket.closes(TRIGGER, 100.0 + HOLD_S - 0.1)
    assert bracket.closes(TRIGGER, 100.0 + HOLD_S)


def test_what_is_read_in_between_breaks_it():
    """It says nothing about the pin; and nothing closes what was not proved."""
    bracket = proved()
    bracket.seen_open(10.1)
    bracket.broken()
    assert not bracket.closes(TRIGGER, 60.0)
    bracket.lifted(60.0)
    bracket.seen_open(61.0)
    assert not bracket.closes(TRIGGER, 70.0)


def test_no_pin_proves_itself_open():
    """Touched again and again the anchor is the pin itself, which lies on the core."""
    bracket = proved()
    assert bracket.proves(STRAP)
    bracket.prove()
    assert not bracket.proves(STRAP)
    bracket.anew()
    assert bracket.proves(STRAP)


# ---------------------------------------------------------------------- within a unit


def test_what_a_continuity_has_proven_is_asked_again_when_it_fails():
    """The strap is measured last, and is found open: from then on only a key does it."""
    strap = Step("strap", STRAP)
    state = unit(replace(PLOVER_OPEN, steps=(OPEN, strap)))
    state.apply(Attempt(AttemptKind.PROVED, OPEN.name, 1))
    bracketed = Attempt(AttemptKind.JUDGED, OPEN.name, 2, 0, Outcome.PASS, math.inf, bracketed=True)
    assert state.apply(bracketed)
    for _ in range(2):
        assert state.current is strap
        find_open(state)
    prompt = state.prompt()
    assert (prompt.step, prompt.why, prompt.facts) == (OPEN.name, Why.INCONSISTENT, {"open": True})
    assert find_open(state)
    while not state.done:
        find_open(state)
    assert state.outcome is Outcome.FAIL


def test_a_continuity_that_failed_on_this_unit_proves_nothing():
    """Pins 1 and 6 in each other's place: pin 1 reads like the strap before and after, and is not open."""
    state = unit(replace(PLOVER_OPEN, steps=(Step("strap", STRAP), OPEN)))
    for _ in range(2):
        find_open(state)
    assert (state.current, state.state.bracket, state.open_pairs) == (OPEN, None, ())


def test_the_matcher_knows_the_strap_when_it_is_wanted():
    """A dirty touch of the strap is taken as such, for the open step asks for it."""
    state = unit(PLOVER_OPEN)
    while state.current != OPEN:
        judge(state)
    match = weigh(corrected(0.03, 0.02), OPEN.pair, state.table, open_pairs=state.open_pairs)
    assert (match.fit, match.pair) == (Fit.OTHER_PAIR, STRAP)


# ---------------------------------------------------------------------- on the bench


def at_open_step():
    """A bench whose only step is the isolation of pin 1, the clip on the core."""
    bench = Bench(steps=(Step("isolation", Pair("1", "CORE"), kind=StepKind.OPEN, open_above_ohm=1e6),))
    bench.begin()
    bench.air(1.0)
    return bench


def codes(bench):
    return [notice.code for notice in bench.of(Notice) if notice.code is not Code.BENCH_LEARNT]


def verdicts(bench):
    return [(j.verdict.outcome, j.verdict.basis, j.verdict.counts) for j in bench.of(Judged)]


STRAP_OHM, TRIGGER_OHM = GOOD["6", "CORE"], 83.19


def test_an_open_step_passes_between_strap_and_trigger():
    """The verdict says what bears witness, and each continuity was a touch of its own."""
    bench = at_open_step()
    bench.hold(STRAP_OHM)
    bench.air(3.0)
    bench.hold(TRIGGER_OHM)
    assert codes(bench) == [Code.OPEN_ANCHORED]
    assert verdicts(bench) == [(Outcome.PASS, Basis.OPEN_BRACKETED, True)]
    verdict = bench.of(Judged)[0].verdict
    assert verdict.witness == (("6", "CORE"), ("4", "CORE"))
    assert verdict.touch == 2


@pytest.mark.parametrize("pause_s", [0.0, 3.0, 60.0])
@pytest.mark.parametrize("ohm", [STRAP_OHM, TRIGGER_OHM])
def test_a_pin_that_lies_on_the_core_is_not_called_open(ohm, pause_s):
    """Touched again and again, however slowly: its value is insisted on in the end, and fails."""
    bench = at_open_step()
    touches = 0
    while not bench.of(Judged) and touches < 5:
        bench.hold(ohm)
        bench.air(pause_s)
        touches += 1
    assert verdicts(bench) == [(Outcome.FAIL, Basis.MEASURED, True)]


def test_a_value_in_between_begins_the_proof_anew():
    """The charge coil read in between says nothing about pin 1; a ground of 5 kilohm is judged."""
    bench = at_open_step()
    for ohm in (STRAP_OHM, GOOD["2", "3"], TRIGGER_OHM):
        bench.hold(ohm)
        bench.air(3.0)
    assert codes(bench) == [Code.OPEN_ANCHORED, Code.PAIR_OTHER, Code.PAIR_OTHER]
    bench.hold(STRAP_OHM)
    bench.hold(5100.0)
    assert verdicts(bench) == [(Outcome.FAIL, Basis.MEASURED, False)]


@pytest.mark.parametrize("word", [MeasureAgain("strap"), ZeroLeads()])
def test_what_takes_the_clip_off_begins_the_proof_anew(word):
    """Another step measured again, or the leads zeroed, after the strap: nobody has touched pin 1."""
    isolation = Step("isolation", Pair("1", "CORE"), kind=StepKind.OPEN, open_above_ohm=1e6)
    bench = Bench(steps=(Step("strap", Pair("6", "CORE")), isolation))
    bench.begin()
    bench.hold(STRAP_OHM)
    bench.hold(STRAP_OHM)
    assert codes(bench) == [Code.OPEN_ANCHORED]
    bench.command(word)
    bench.air(1.0)
    bench.hold(0.0 if isinstance(word, ZeroLeads) else STRAP_OHM)
    assert "first" in bench.prompt.facts
    bench.air(3.0)
    bench.hold(TRIGGER_OHM)
    assert Basis.OPEN_BRACKETED not in {judged.verdict.basis for judged in bench.of(Judged)}


def test_an_open_step_passes_by_key_too():
    """On the operator's word, where the meter shows it; asked again, the whole proof begins anew."""
    bench = at_open_step()
    bench.hold(STRAP_OHM)
    bench.command(MeasureAgain("isolation"))
    assert "first" in bench.prompt.facts
    bench.air(3.0)
    bench.command(ConfirmOpen())
    assert verdicts(bench) == [(Outcome.PASS, Basis.OPEN_BY_KEY, True)]
