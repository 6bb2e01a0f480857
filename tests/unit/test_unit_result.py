"""What a visit on the bench comes to, with all that is typed in and said later."""

import re
from dataclasses import replace
from pathlib import Path

import pytest

import acquire
from acquire.records import Ending, Finding, FindingKind, Outcome, ResultKind
from acquire.unit_result import (
    ended_s,
    of_steps,
    revised,
    shows_turns,
    visit_results,
    with_typed,
    worse,
    worst,
)
from tests.known_records import NOON_S, RESULT, STARTED, TYPED
from tests.known_visits import INSULATION, TURNS

GOOD = replace(
    RESULT, outcome=Outcome.PASS, measured=Outcome.PASS, hypotheses=(), untested=(INSULATION, TURNS)
)
PASSED = replace(TYPED, target=INSULATION.id, outcome=Outcome.PASS)
FAILED = replace(PASSED, outcome=Outcome.FAIL, utc_s=PASSED.utc_s + 60.0)
SURGE = replace(TYPED, name="surge", target="", shows_turns=True, outcome=Outcome.PASS)


@pytest.mark.parametrize(
    ("outcomes", "left_out", "comes_to"),
    [
        ((Outcome.PASS, Outcome.PASS), False, Outcome.PASS),
        ((Outcome.PASS, Outcome.CONDITIONAL_PASS), False, Outcome.CONDITIONAL_PASS),
        ((Outcome.PASS, None), True, Outcome.CANNOT_JUDGE),
        ((Outcome.PASS, None), False, Outcome.PASS),
        ((Outcome.CONDITIONAL_FAIL, None), True, Outcome.CONDITIONAL_FAIL),
        ((Outcome.CONDITIONAL_FAIL, Outcome.FAIL, Outcome.CANNOT_JUDGE), False, Outcome.FAIL),
        ((), False, None),
    ],
)
def test_the_worst_step_decides_and_one_left_out_is_no_pass(outcomes, left_out, comes_to):
    assert of_steps(outcomes, left_out=left_out) is comes_to


def test_worse_is_an_order():
    """Of any two different outcomes one is worse."""
    assert worst([None, None]) is None
    for one in Outcome:
        assert not worse(one, one)
        for other in Outcome:
            assert one is other or worse(one, other) is not worse(other, one)
            assert worst([one, other]) is (one if worse(one, other) else other)


def test_a_pass_in_ohms_and_a_fail_typed_in_is_a_fail_and_back():
    """Of several results about one thing the latest judged one counts."""
    assert with_typed(GOOD, [FAILED]).outcome is Outcome.FAIL
    assert with_typed(GOOD, [FAILED, PASSED]).outcome is Outcome.PASS
    recorded = replace(FAILED, outcome=None)
    assert with_typed(GOOD, [FAILED, recorded]).outcome is Outcome.FAIL, "nobody judged the second"


def test_what_was_typed_during_the_stay_can_be_taken_back_after_it():
    """The result keeps what its ohms came to."""
    ended = with_typed(GOOD, [FAILED])
    again = with_typed(ended, [FAILED, PASSED])
    assert (again.outcome, again.found) == (Outcome.PASS, ())


def test_a_failing_typed_result_is_a_finding_by_what_it_is_about():
    (found,) = with_typed(GOOD, [FAILED]).found
    assert found == Finding(FindingKind.TYPED, FAILED.name, INSULATION.id, Outcome.FAIL)


def test_untested_things_are_matched_by_id_alone():
    """A result named R took "insulation 1,2,3 to CORE,4,5,6" off the list, by its letters; no more."""
    named_r = replace(TYPED, name="R", target="", outcome=Outcome.PASS)
    assert with_typed(GOOD, [named_r]).untested == (INSULATION, TURNS)
    assert with_typed(GOOD, [PASSED]).untested == (TURNS,)
    assert with_typed(GOOD, [PASSED, SURGE]).untested == ()


@pytest.mark.parametrize(
    ("sort", "name", "shows"),
    [
        (ResultKind.STATED, "surge", True),
        (ResultKind.STATED, "Surge 2 kV", True),
        (ResultKind.STATED, "ring test", True),
        (ResultKind.STATED, "bearing", False),
        (ResultKind.STATED, "hipot", False),
        (ResultKind.QUALITY, "lighting", True),
        (ResultKind.INSULATION, "insulation", False),
    ],
)
def test_a_bearing_is_no_ring_test(sort, name, shows):
    assert shows_turns(sort, name) is shows


def test_turn_faults_of_a_unit_that_fails_in_ohms_are_its_least_trouble():
    bad = replace(GOOD, outcome=Outcome.FAIL, measured=Outcome.FAIL)
    assert with_typed(bad, []).untested == (INSULATION,)


@pytest.mark.parametrize("ending", [e for e in Ending if e is not Ending.DONE])
def test_a_stay_that_did_not_end_by_its_steps_has_no_outcome(ending):
    """Whatever was typed in."""
    held = replace(GOOD, outcome=None, ending=ending)
    assert with_typed(held, [FAILED]).outcome is None


def test_a_change_is_the_next_revision_and_no_change_is_none():
    """The times: when it was found, and when the visit ended."""
    assert revised(with_typed(GOOD, [PASSED]), [PASSED, PASSED], NOON_S + 90.0) is None
    first = revised(GOOD, [FAILED], NOON_S + 90.0)
    assert (first.revision, first.utc_s, ended_s(first)) == (1, NOON_S + 90.0, GOOD.utc_s)
    second = revised(first, [FAILED, PASSED], NOON_S + 99.0)
    assert (second.revision, second.outcome, ended_s(second)) == (2, Outcome.PASS, GOOD.utc_s)


def test_a_doubt_of_the_first_unit_is_a_remark_until_somebody_says_a_word():
    """The verdict stands: its values are within their limits."""
    doubted = with_typed(GOOD, [], doubted=True)
    assert doubted.outcome is Outcome.PASS
    assert [each.kind for each in doubted.found] == [FindingKind.FIRST_UNIT]
    typed_later = revised(doubted, [PASSED], NOON_S + 90.0)
    assert [each.kind for each in typed_later.found] == [FindingKind.FIRST_UNIT], "still in doubt"
    accepted = revised(typed_later, [PASSED], NOON_S + 99.0, doubted=False)
    assert (accepted.found, accepted.revision) == ((), 2)


def test_stays_are_told_apart():
    """A unit that comes twice has two; a typed result belongs to the one that it follows."""
    again = replace(STARTED, utc_s=NOON_S + 600.0, attempt=2)
    ended_again = replace(GOOD, started_utc_s=again.utc_s, utc_s=again.utc_s + 30.0)
    mine = {"serial": STARTED.serial}
    first, second = visit_results(
        [STARTED, GOOD, replace(FAILED, **mine), again, ended_again, replace(PASSED, **mine)]
    )
    assert (first.result.outcome, second.result.outcome) == (Outcome.FAIL, Outcome.PASS)
    assert (first.started, second.started) == (STARTED, again)


def test_results_without_their_beginnings_are_one_stay_each():
    """As a question with a limit gives them."""
    others = [replace(GOOD, started_utc_s=NOON_S + 60.0 * n) for n in range(3)]
    late = replace(others[-1], revision=1, outcome=Outcome.FAIL)
    visits = visit_results([*others, late])
    assert [visit.last.revision for visit in visits] == [0, 0, 1]


def test_one_module_knows_what_is_worse():
    """Nothing else orders outcomes, or takes the largest of them."""
    root = Path(acquire.__file__).parent
    worst_elsewhere = re.compile(r"WORST_LAST|max\([^)]*outcome[^)]*\.index")
    found = [
        path.relative_to(root).as_posix()
        for path in root.rglob("*.py")
        if worst_elsewhere.search(path.read_text(encoding="utf-8"))
    ]
    assert found == ["unit_result.py"]
