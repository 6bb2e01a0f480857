"""Look-back: everything that rests on an instrument found unfit, and nothing else."""

import csv
import json
from dataclasses import replace

import pytest
from typer.testing import CliRunner

from acquire.cli import app
from acquire.errors import InputImpossible
from acquire.journal.history import JournalReader
from acquire.records import Sign, WoundFrom
from acquire.reports.lookback import Span, by_meter, by_spool, span_since_check
from tests.known_records import CHECK, NOON_S
from tests.known_visits import DAY_S, journal_with, moved_zero, visit

ALWAYS = Span(None, None, "")


def check_at(day, *, good):
    return replace(
        CHECK, utc_s=NOON_S + day * DAY_S - 60.0, in_control=good, signs=() if good else (Sign.JUMP,)
    )


def unit(day, serial=None, **also):
    return visit(serial or f"U{day}", utc_s=NOON_S + day * DAY_S, **also)


def looked(folder, meter="meter", span=None, bench=None):
    """Serials of the verdicts found."""
    with JournalReader(folder) as record:
        span = span or span_since_check(record, meter, bench)
        return [row.serial for row in by_meter(record, meter, span, bench)], span.sentence


@pytest.mark.parametrize(
    ("checks", "serials", "told"),
    [
        ([], ["U1", "U2", "U3", "U4"], "No check standard of meter"),
        ([(2, True)], ["U2", "U3", "U4"], "last in control at 2025-11-27 11:59 UTC; since then"),
        ([(2, True), (4, False)], ["U2", "U3", "U4"], "found out of control at 2025-11-29 11:59 UTC, and"),
        ([(2, False)], ["U1", "U2", "U3", "U4"], "never before in control"),
        ([(2, True), (3, False), (4, False)], ["U2", "U3", "U4"], "found out of control at 2025-11-28"),
        ([(1, True), (2, False), (3, True)], ["U1", "U2"], "in control again at 2025-11-28 11:59 UTC"),
        ([(1, True), (2, True), (3, True)], ["U3", "U4"], "since then"),
    ],
)
def test_the_time_in_question_lies_between_good_checks(tmp_path, checks, serials, told):
    """From the last check in control before the trouble to the next one; units after a bad check whose bench
    went on by an override belong to it, too."""
    records = [check_at(day, good=good) for day, good in checks] + [
        e for day in (1, 2, 3, 4) for e in unit(day)
    ]
    records.sort(key=lambda e: (e[0] if isinstance(e, tuple) else e).utc_s)
    found, sentence = looked(journal_with(tmp_path, records))
    wanted = [each for each in serials for _ in range(3)]
    assert sorted(found) == sorted(wanted)
    assert told in sentence


def test_only_this_meter_counts(tmp_path):
    """And of meters of one name only that bench's."""
    records = [*unit(1), *unit(2, meter_id="other"), *unit(3, "late")]
    folder = journal_with(tmp_path, records)
    assert set(looked(folder, span=ALWAYS)[0]) == {"U1", "late"}
    assert looked(folder, "other", ALWAYS)[0] == ["U2"] * 3
    assert looked(folder, span=ALWAYS, bench="bench-2")[0] == []


def test_dates_bound_it(tmp_path):
    """From the beginning of the first day to the end of the last."""
    folder = journal_with(tmp_path, [e for day in (1, 2, 3) for e in unit(day)])
    words = [
        "lookback",
        str(folder),
        "--meter",
        "meter",
        "--since",
        "2025-11-27",
        "--until",
        "2025-11-27",
        "--json",
    ]
    done = CliRunner().invoke(app, words, catch_exceptions=False)
    rows = [json.loads(line) for line in done.stdout.splitlines()]
    assert {row["serial"] for row in rows} == {"U2"}
    assert len(rows) == 3
    assert "3 verdicts of 1 unit; 1 of them with a pass among these." in done.stderr


def test_doubtful_verdicts_say_so(tmp_path):
    """As in the history."""
    folder = journal_with(tmp_path, [*unit(0), moved_zero()])
    with JournalReader(folder) as record:
        rows = list(by_meter(record, "meter", ALWAYS))
    assert any("leads had changed" in row.doubt for row in rows)


def test_every_unit_of_a_spool_is_found(tmp_path):
    """By what its start says of its windings, with its result; other spools and prefixes are not."""
    wound = (WoundFrom("slow charge", "36-A"), WoundFrom("trigger", "36-A"), WoundFrom("fast charge", "33-B"))
    first, second, third = unit(1), unit(2), unit(3)
    first[0] = replace(first[0], spools=wound)
    second[0] = replace(second[0], spools=(WoundFrom("slow charge", "36-AB"),))
    third[0] = replace(third[0], spools=wound[:1])
    folder = journal_with(tmp_path, [*first, *second, *third[:-1]])
    with JournalReader(folder) as record:
        rows = list(by_spool(record, "36-A"))
    assert [(row.serial, row.windings, row.outcome, row.held) for row in rows] == [
        ("U1", "slow charge, trigger", "pass", ""),
        ("U3", "slow charge", "", "no result on record"),
    ]


def test_a_unit_that_came_twice_is_told_with_each_result(tmp_path):
    wound = (WoundFrom("slow charge", "36-A"),)
    visits = [unit(1, "same"), unit(2, "same", outcome="fail")]
    for each in visits:
        each[0] = replace(each[0], spools=wound)
    folder = journal_with(tmp_path, [e for each in visits for e in each])
    with JournalReader(folder) as record:
        assert [row.outcome for row in by_spool(record, "36-A")] == ["pass", "fail"]


def test_the_csv_is_safe_and_whole(tmp_path):
    """A serial that a spreadsheet would run is disarmed, as in the bench's own CSV."""
    folder = journal_with(tmp_path / "j", unit(1, '=HYPERLINK("x")'))
    file = tmp_path / "l.csv"
    words = ["lookback", str(folder), "--meter", "meter", "--csv", str(file)]
    assert CliRunner().invoke(app, words, catch_exceptions=False).exit_code == 0
    with file.open(encoding="utf-8-sig", newline="") as opened:
        rows = list(csv.DictReader(opened))
    assert [row["step"] for row in rows] == ["slow charge", "fast charge", "trigger"]
    assert rows[0]["serial"] == '\'=HYPERLINK("x")'
    assert float(rows[0]["reference_ohm"]) == 202.5669
    assert rows[0]["counts"] == "true"


@pytest.mark.parametrize(
    "words",
    [
        [],
        ["--meter", "m", "--spool", "s"],
        ["--spool", "s", "--since-check"],
    ],
)
def test_what_cannot_be_asked_is_told(tmp_path, words):
    folder = journal_with(tmp_path, unit(1))
    with pytest.raises(InputImpossible):
        CliRunner().invoke(app, ["lookback", str(folder), *words], catch_exceptions=False)


def test_a_time_that_is_none_is_told():
    done = CliRunner().invoke(app, ["lookback", "anywhere", "--meter", "m", "--since", "soon"])
    assert done.exit_code == 2
    assert '"soon" is neither a day nor a time. Write 2026-11-25' in done.output
