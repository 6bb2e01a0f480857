"""Insulation results judged at 40 °C."""

import pytest

from acquire.errors import InputImpossible
from acquire.physics.insulation import RULES, to_reference
from acquire.records import Outcome, Rule
from acquire.verdict.typed import judge_insulation


def judged(ohm, *, celsius=40.0, at_least=False, rule=Rule.NON_BINARY, limit=100e6):
    result = to_reference(ohm, celsius, RULES["thermoplastic"])
    return judge_insulation(result, limit, 0.05, rule, bound=at_least)


def test_the_limit_holds_at_40_degrees_not_at_the_bench():
    assert judged(300e6, celsius=20.0).outcome is Outcome.FAIL
    assert judged(300e6, celsius=40.0).outcome is Outcome.PASS


def test_a_value_within_the_instruments_accuracy_is_conditional():
    assert judged(103e6).outcome is Outcome.CONDITIONAL_PASS
    assert judged(97e6).outcome is Outcome.CONDITIONAL_FAIL
    assert judged(103e6, rule=Rule.SIMPLE).outcome is Outcome.PASS


def test_more_than_proves_a_pass_or_nothing():
    assert judged(2e9, at_least=True).outcome is Outcome.PASS
    assert judged(103e6, at_least=True).outcome is Outcome.CANNOT_JUDGE  # 5 % may be missing
    open_question = judged(50e6, at_least=True)
    assert open_question.outcome is Outcome.CANNOT_JUDGE
    assert open_question.conformance_probability == 0.0


def test_without_an_accuracy_there_is_no_verdict():
    result = to_reference(1e9, 40.0, RULES["thermoplastic"])
    for accuracy in (float("nan"), -0.05, 5.0):
        with pytest.raises(InputImpossible):
            judge_insulation(result, 1e8, accuracy, Rule.SIMPLE)
    with pytest.raises(InputImpossible):
        judge_insulation(result, 0.0, 0.05, Rule.SIMPLE)
