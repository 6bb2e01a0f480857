"""A winding of half an ohm on a meter of a tenth: continuous, no lower limit, and no more is said.

Lighting coils have 0.4 to 0.6 ohm, ground leads 0.3 to 0.4 ohm (facts of the trade, common practice, no
source). The peer is the obedient person of `tests.hand_bench`.
"""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from acquire.records import Judged, Outcome, Pair, Purpose, Scope, StepKind, UntestedKind
from acquire.steps.derived import LEAST_OHM, with_continuity
from acquire.steps.pairs import PairTable
from acquire.words.units import missing_words
from acquire.words.verdicts import reason, verdict_word
from tests.hand_bench import Bench

LOW, HIGH, MIDDLE = ("1", "2"), ("2", "3"), ("3", "4")
TEXT = """
[sheet]
name = "Teal 4"

[connector]
rows = [["1", "2", "3", "4"]]

[[winding]]
name = "lighting"
between = ["1", "2"]
resistance = "0.5 ohm"
acceptance = "10 %"

[[winding]]
name = "charge"
between = ["2", "3"]
resistance = "441 ohm"
acceptance = "15 %"

[[winding]]
name = "trigger"
between = ["3", "4"]
resistance = "20.6 ohm"
acceptance = "15 %"
"""
PLAIN = TEXT.replace('acceptance = "10 %"', 'continuity = "1.2 ohm"')


@pytest.fixture
def told(sheet_from):
    """The unit measured on the 200 ohm range, with the record of its first step."""

    def measured(text, low_ohm, *, continuity=True):
        sheet = sheet_from(text)
        if continuity:
            sheet = with_continuity(sheet, Purpose.FINAL)
        bench = Bench(sheet, 200.0)
        result = bench.measure({LOW: low_ohm, HIGH: 441.0, MIDDLE: 20.6})
        return result, [j.verdict for j in bench.of(Judged) if j.verdict.step == "lighting"]

    return measured


@pytest.mark.parametrize("ohm", [0.4, 0.5, 0.6])
def test_a_tolerance_beyond_the_meter_ends_in_a_pass_of_continuity(told, ohm):
    """The verdict, the unit's result and what was not judged say that it is no more than that."""
    result, (verdict,) = told(TEXT, ohm)
    assert (verdict.outcome, verdict.scope) == (Outcome.PASS, Scope.CONTINUITY_ONLY)
    assert (verdict.lower_ohm, verdict.upper_ohm) == (None, LEAST_OHM)
    assert ohm < verdict.at_most_ohm < LEAST_OHM
    assert verdict_word(verdict) == "continuous; tolerance not judged"
    assert re.match(r"continuous, at most (0\.9|1)\S* Ω; tolerance not judged", reason(verdict))
    assert result.outcome is Outcome.PASS
    (missing,) = [each for each in result.untested if each.kind is UntestedKind.TOLERANCE]
    assert (missing.name, missing.at_most_ohm) == ("lighting", verdict.at_most_ohm)
    assert any("tolerance of lighting" in line and "at most" in line for line in missing_words(result))


def test_without_the_word_of_the_bench_file_it_cannot_be_judged(told):
    """As before."""
    result, (verdict,) = told(TEXT, 0.5, continuity=False)
    assert (verdict.outcome, verdict.scope) == (Outcome.CANNOT_JUDGE, Scope.TOLERANCE)
    assert result.outcome is Outcome.CANNOT_JUDGE


@pytest.mark.parametrize(("ohm", "outcome"), [(1.5, Outcome.FAIL), (2.5, Outcome.FAIL)])
def test_a_bad_joint_is_no_continuity(told, ohm, outcome):
    """1.5 ohm are beyond the tolerance by more than meter and contact leave in doubt; so are 2.5 ohm."""
    result, verdicts = told(TEXT, ohm)
    assert verdicts[-1].outcome is outcome
    assert result.outcome is outcome


def test_a_winding_may_ask_for_no_more_than_continuity(told):
    """One-sided: 0.05 ohm pass, and the record says what was asked for."""
    result, (verdict,) = told(PLAIN, 0.3, continuity=False)
    assert (verdict.outcome, verdict.scope, verdict.upper_ohm) == (Outcome.PASS, Scope.CONTINUITY, 1.2)
    assert verdict_word(verdict) == "continuous"
    assert result.outcome is Outcome.PASS
    assert not [each for each in result.untested if each.kind is UntestedKind.TOLERANCE]
    assert told(PLAIN, 0.05, continuity=False)[0].outcome is Outcome.PASS
    assert told(PLAIN, 3.0, continuity=False)[0].outcome is Outcome.FAIL


def test_only_low_ohms_are_judged_so_unless_the_sheet_names_a_limit(sheet_from):
    """441 ohm that are only continuous say nothing of shorted turns; the sheet may want no more."""
    low, high, _ = with_continuity(sheet_from(TEXT), Purpose.FINAL).steps
    assert (low.continuity_ohm, high.continuity_ohm) == (LEAST_OHM, None)
    stated = sheet_from(TEXT.replace('acceptance = "15 %"', 'acceptance = "15 %"\ncontinuity = "1 kohm"'))
    assert with_continuity(stated, Purpose.FINAL).steps[1].continuity_ohm == pytest.approx(1e3)
    small = sheet_from(TEXT.replace('"0.5 ohm"', '"0.1 ohm"'))
    assert with_continuity(small, Purpose.FINAL).steps[0].continuity_ohm == LEAST_OHM


def test_a_step_of_continuity_has_its_own_limit_or_that_of_what_it_passes_through(sheet_from):
    """In series both limits add."""
    steps = """
[[step]]
pair = ["1", "3"]
kind = "continuity"

[[step]]
pair = ["1", "2"]
kind = "continuity"
upper = "2 ohm"
"""
    sheet = sheet_from(PLAIN.replace('acceptance = "15 %"', 'continuity = "1 kohm"') + steps)
    table = PairTable(sheet)
    both, low = sheet.steps
    assert both.kind is StepKind.CONTINUITY
    assert table.limits_for(both, Purpose.FINAL).upper_ohm == pytest.approx(1001.2)
    assert table.limits_for(low, Purpose.FINAL).upper_ohm == 2.0
    assert table.limits_for(replace(low, upper_ohm=None, pair=Pair("1", "2")), Purpose.FINAL).upper_ohm == 1.2


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ('kind = "continuity"\nlower = "1 ohm"', "no lower limit"),
        ('kind = "continuity"', "nothing says how many ohms"),
        ('kind = "continuity"\nupper = "0.2 ohm"', "no good unit would pass"),
    ],
)
def test_a_continuity_that_cannot_be_is_a_fault_of_the_sheet(faults_of, text, fault):
    """With its line, as every fault of a file."""
    step = f'\n[[step]]\npair = ["1", "2"]\n{text}\n'
    assert fault in str(faults_of(TEXT + step))


def test_a_balance_that_the_meter_cannot_see_is_not_judged_either(sheet_from):
    """Two windings of half an ohm, alike within 2 %: the record says that nobody has judged it."""
    more = """
[[winding]]
name = "lighting 2"
between = ["1", "4"]
resistance = "0.5 ohm"
acceptance = "10 %"

[[balance]]
name = "lighting pair"
windings = ["lighting", "lighting 2"]
limit = "2 %"
"""
    text = TEXT.replace('rows = [["1", "2", "3", "4"]]', 'rows = [["1", "2", "3", "4", "5"]]')
    text = text.replace('between = ["3", "4"]', 'between = ["3", "5"]')
    bench = Bench(with_continuity(sheet_from(text + more), Purpose.FINAL), 200.0)
    result = bench.measure({LOW: 0.5, HIGH: 441.0, ("3", "5"): 20.6, ("1", "4"): 0.5})
    assert result.outcome is Outcome.PASS
    assert not result.balances
    names = [each.name for each in result.untested if each.kind is UntestedKind.TOLERANCE]
    assert names == ["lighting", "lighting 2", "lighting pair"]
