"""What a study says: verdict, unfinished studies, drift, the budget, and plain values for programs."""

import json
import re

import pytest

from acquire.errors import InputImpossible
from acquire.stats.gauge import VarianceSource
from acquire.study.report import Fitness, as_plain, report_of
from tests.known_studies import study_record as record


def test_a_good_bench_is_called_good():
    report = report_of(record(operators=("ann", "bo", "chris")))
    assert report.fitness is Fitness.GOOD
    assert report.verdict[0] == "This bench can judge P1 (1–2) of Fathom 7."
    assert report.study.gauge.sigma == pytest.approx(0.1, rel=0.3)
    assert report.study.parts == tuple(f"F7-{n:03}" for n in range(1, 9))
    assert report.study.operators == ("ann", "bo", "chris")


def test_a_bench_that_repeats_badly_is_called_unfit_and_told_where_to_look():
    report = report_of(record(repeat=2.5))
    assert report.fitness is Fitness.UNFIT
    assert "look at the contacts" in " ".join(report.verdict)


def test_an_operator_who_reads_otherwise_is_found():
    report = report_of(record(operator=2.0))
    assert report.study.components[VarianceSource.OPERATOR].sigma == pytest.approx(1.414, rel=0.1)
    assert any("between operators" in sentence for sentence in report.verdict)


def test_an_unfinished_study_is_reckoned_by_its_full_rounds():
    made = record()
    for number in (45, 47):
        del made.taken[number]
    report = report_of(made)
    assert report.rounds == 2
    assert report.remarks[0] == "Missing: 2 measurements. Reckoned from the first 2 of 3 rounds."


def test_fewer_than_two_rounds_are_no_study_and_the_missing_one_is_named():
    made = record()
    gone = made.plan.turns[20]
    del made.taken[gone.number]
    part = made.plan.name_of(gone.label)
    with pytest.raises(InputImpossible, match=rf"Part {part} by {gone.operator} was measured 1 of 3 times"):
        report_of(made)


def test_a_drift_over_the_study_is_told():
    told = report_of(record(drift=1.0)).remarks
    (drift,) = [sentence for sentence in told if "Over the study" in sentence]
    rose = re.search(r"all values rose by about ([\d.]+) Ω, whoever measured", drift)
    assert float(rose[1]) == pytest.approx(1.0, rel=0.2)
    assert not any("Over the study" in sentence for sentence in report_of(record()).remarks)


def test_a_gauge_that_spreads_more_than_its_budget_is_told():
    assert any("spreads more" in s for s in report_of(record(repeat=0.5, u=0.1)).remarks)
    assert not any("spreads more" in s for s in report_of(record(repeat=0.1, u=0.5)).remarks)


def test_what_was_torn_and_taken_back_is_told():
    made = record()
    made.torn, made.taken_back = 12, 3
    told = " ".join(report_of(made).remarks)
    assert "last line of the record is torn" in told
    assert "Taken back or revised, not counted: 3 measurements." in told


def test_one_operator_and_one_limit_will_do():
    report = report_of(record(operators=("ann",), lower_ohm=None))
    assert VarianceSource.REPRODUCIBILITY not in report.study.components
    assert report.study.gauge.tolerance is not None
    assert report_of(record(lower_ohm=None, upper_ohm=None)).study.gauge.tolerance is None


def test_the_plain_form_is_json_without_anything_that_is_no_number():
    plain = json.loads(json.dumps(as_plain(report_of(record())), allow_nan=False))
    assert plain["fitness"] == "cannot tell"
    assert plain["analysis_of_variance"]["components"]["gauge"]["sigma_ohm"] > 0.0
    assert len(plain["values"]) == 48
    assert plain["subject"]["step"] == "P1"
    stuck = record(repeat=0.0)
    assert json.dumps(as_plain(report_of(stuck)), allow_nan=False)


def test_pooling_can_be_forbidden():
    assert report_of(record(), pool_above=1.0).study.pooled == ()
