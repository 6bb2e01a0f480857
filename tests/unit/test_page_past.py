"""What the page asks of the record: a unit, its visits, the latest units, lead zeros, the check standard."""

from __future__ import annotations

import json

import pytest

from acquire.page.backend import Unknown
from acquire.page.past import Past
from acquire.records import Outcome, Purpose
from tests.known_records import CHECK, NOON_S
from tests.known_visits import DAY_S, SERIAL, journal_with, moved_zero, shop_day, visit


@pytest.fixture(scope="module")
def past(tmp_path_factory):
    """A shop's day, and the unit back two days later with a shorter winding."""
    back = visit(
        utc_s=NOON_S + 2 * DAY_S, purpose=Purpose.RETURNED, factors={"fast charge": 0.9}, outcome=Outcome.FAIL
    )
    folder = journal_with(tmp_path_factory.mktemp("journal"), [*shop_day(), moved_zero(), *back])
    return Past(folder, "bench-1")


def test_every_answer_is_json(past):
    for question in (past.unit, past.units, past.leads):
        json.dumps(question({"serial": SERIAL, "text": SERIAL}), allow_nan=False)


def test_a_unit_is_its_latest_visit_with_traces(past):
    unit = past.unit({"serial": SERIAL})
    assert (unit["purpose"], unit["outcome"], unit["ongoing"]) == ("returned", "fail", False)
    assert [verdict["step"] for verdict in unit["verdicts"]] == ["slow charge", "fast charge", "trigger"]
    assert len(unit["verdicts"][0]["trace"]) == 30
    assert unit["diagnosis"][0]["sureness"]
    assert [each["purpose"] for each in unit["visits"]] == ["final", "returned"]


def test_what_is_not_there_is_a_sentence(past):
    for words in ({"serial": "nobody"}, {"serial": "  "}, {}):
        with pytest.raises(Unknown, match=r"\.$"):
            past.unit(words)


def test_units_are_found_by_part_filtered_sorted_and_paged(past, monkeypatch):
    def found(**words):
        return [(unit["serial"], unit["outcome"]) for unit in past.units(words)["units"]]

    whole = past.units({})
    assert (whole["total"], whole["first"], whole["sheets"]) == (2, 0, [whole["units"][0]["sheet"]])
    assert found() == [(SERIAL, "fail"), (SERIAL, "pass")]  # the latest first
    assert found(up="1") == found()[::-1]
    assert found(part=SERIAL[2:-1].lower(), outcome="pass") == [(SERIAL, "pass")]
    assert found(purpose="returned", sort="serial") == [(SERIAL, "fail")]
    assert found(part="nobody") == found(batch="none such") == found(outcome="none") == []
    monkeypatch.setattr("acquire.page.past.MOST_UNITS", 1)
    assert found(page="1") == [(SERIAL, "pass")]
    assert found(page="-5") == found(page="9" * 50) == found(page="0")


def test_lead_zeros_are_told_oldest_first(past):
    leads = past.leads({})
    assert [zero["value_ohm"] for zero in leads["zeros"]] == [0.3125, 0.62]
    assert leads["zeros"][-1]["doubtful_since_utc_s"] is not None


def test_a_check_standard_is_of_this_bench(past):
    assert Past(past.folder, CHECK.bench).check({})["readings"][0]["reading_ohm"] == CHECK.reading_ohm
    with pytest.raises(Unknown):
        Past(past.folder, "another bench").check({})


def test_an_empty_record_has_nothing(tmp_path):
    past = Past(journal_with(tmp_path, []), "bench-1")
    assert past.leads({})["zeros"] == []
    assert past.units({})["units"] == []
