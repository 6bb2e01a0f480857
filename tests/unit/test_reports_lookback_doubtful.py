"""Verdicts that a later lead zero makes doubtful: found in the record, which is not changed for it."""

from __future__ import annotations

import asyncio
from dataclasses import replace

import pytest

from acquire.answers.history import entries_of, history_line
from acquire.clock import RealClock
from acquire.errors import InputImpossible
from acquire.journal.history import JournalReader
from acquire.journal.query import Query
from acquire.journal.store import Journal
from acquire.records import LeadZero
from acquire.reports.lookback import Doubts
from drivers.reading import Quantity
from tests.known_records import CHECK, VERDICT

LOW = replace(VERDICT, quantity=Quantity.RESISTANCE, lead_ohm=0.12, expanded_ohm=0.03, reference_ohm=0.41)


def zeros(change_ohm=0.1):
    """A zero, and the one that found the leads changed."""
    first = LeadZero("north bench", VERDICT.meter_id, 0.12, 0.01, 100.0)
    return [first, replace(first, value_ohm=0.12 + change_ohm, utc_s=200.0, doubtful_since_utc_s=100.0)]


def why(verdict, change_ohm=0.1):
    """What is said of a verdict measured between the two zeros."""
    return Doubts.among(zeros(change_ohm)).why(replace(verdict, utc_s=150.0))


def test_a_low_resistance_between_two_zeros_is_doubtful():
    """0.1 ohm of change against an uncertainty of 0.03 ohm; the sentence names the change."""
    assert "+0.100 Ω" in why(LOW)


@pytest.mark.parametrize(
    "verdict",
    [
        replace(LOW, expanded_ohm=0.5),
        replace(LOW, quantity=Quantity.RESISTANCE_4W),
        replace(LOW, meter_id="another meter"),
        replace(LOW, expanded_ohm=None, reference_ohm=None),
    ],
    ids=["known less well than the leads changed", "four wires", "another meter", "an open pair"],
)
def test_what_the_leads_do_not_matter_for_is_not_doubtful(verdict):
    """Half the uncertainty of the verdict is the limit, as everywhere (physics.leads.moved)."""
    assert why(verdict) == ""


def test_verdicts_outside_the_two_zeros_are_not_doubtful():
    """Before the zero they rest on another; after the second they rest on the new one."""
    doubts = Doubts.among(zeros())
    assert doubts.why(replace(LOW, utc_s=99.0)) == ""
    assert doubts.why(replace(LOW, utc_s=200.0)) == ""


def test_zeros_that_hold_make_nothing_doubtful():
    """Nothing is marked by a zero that found nothing."""
    assert Doubts.among([zeros()[0]]).zeros == ()


async def test_the_history_marks_doubtful_verdicts_and_finds_them_alone(tmp_path):
    """In a real journal: two verdicts, one of them doubtful; the record is as it was."""
    journal = await asyncio.to_thread(lambda: Journal.open(tmp_path, bench="north bench", clock=RealClock()))
    high = replace(VERDICT, quantity=Quantity.RESISTANCE, utc_s=140.0)
    before, after = zeros()
    await journal.append([(before, None), (high, None), (replace(LOW, utc_s=150.0), None), (after, None)])
    await journal.close()

    def asked(doubtful=False, **wanted):
        with JournalReader(tmp_path) as record:
            return list(entries_of(record, Query(**{"limit": 100, **wanted}), doubtful=doubtful))

    marked = [(entry.kind, bool(doubt)) for entry, doubt in asked()]
    assert marked == [("lead_zero", False), ("verdict", False), ("verdict", True), ("lead_zero", False)]
    alone = asked(doubtful=True)
    assert [entry.seq for entry, _ in alone] == [3]
    assert "doubtful: the leads had changed by +0.100 Ω" in history_line(*alone[0])
    assert asked(doubtful=True, serial="another") == []
    assert [entry.seq for entry, _ in asked(doubtful=True, limit=1)] == [3]


async def test_the_history_looks_back_to_the_last_good_check(tmp_path):
    """ISO 9001:2015, 7.1.5.2: found unfit, earlier results are judged again: these are the ones."""
    journal = await asyncio.to_thread(lambda: Journal.open(tmp_path, bench="north bench", clock=RealClock()))
    meter = VERDICT.meter_id
    good = replace(CHECK, bench=VERDICT.bench, meter_id=meter, utc_s=100.0)
    bad = replace(CHECK, meter_id=meter, utc_s=300.0, in_control=False, signs=("jump",))
    verdicts = [replace(VERDICT, utc_s=at_s) for at_s in (50.0, 150.0, 250.0)]
    other = replace(VERDICT, meter_id="another", utc_s=60.0)
    await journal.append([(each, None) for each in (verdicts[0], other, good, *verdicts[1:], bad)])
    await journal.close()
    with JournalReader(tmp_path) as record:
        found = list(entries_of(record, Query(limit=100), since_check=True))
    assert [(entry.kind, entry.utc_s) for entry, _ in found] == [
        ("verdict", 60.0),  # by a meter that never had a check
        ("verdict", 150.0),
        ("verdict", 250.0),
    ]


async def test_a_record_without_check_standards_knows_no_last_good_check(tmp_path):
    """To list everything would look like an answer."""
    journal = await asyncio.to_thread(lambda: Journal.open(tmp_path, bench="b", clock=RealClock()))
    await journal.append([(VERDICT, None)])
    await journal.close()
    refused = pytest.raises(InputImpossible, match=r"No check standard is on record\. .* \[check\] table")
    with JournalReader(tmp_path) as record, refused:
        list(entries_of(record, Query(), since_check=True))
