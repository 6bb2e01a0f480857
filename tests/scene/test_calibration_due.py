"""A meter whose calibration falls due while the bench is at work: told once, or no unit more."""

from __future__ import annotations

from acquire.bench.duty_setup import calibration_due
from acquire.conditions import CalibrationDue
from acquire.files.settings import load_bench
from acquire.records import GiveUpUnit, Notice, Refusal, StartUnit, UnitStarted
from drivers.models import load_model
from tests.pure_bench import GOOD, Bench
from tests.whole_bench import CONFIGS, bench_file

DUE_S = 86_400.0


def bench_with(*, refuse):
    """A bench at work a while before its meter falls due."""
    bench = Bench()
    bench.pipeline.duties.calibration = CalibrationDue("bench-6-digit", DUE_S, refuse=refuse)
    bench.begin("A1")
    return bench


def told(bench):
    """For how many days it has been due, each time that this was told, and how."""
    return [
        (notice.facts["overdue_days"], notice.facts.get("refusal"))
        for notice in bench.of(Notice)
        if "overdue_days" in notice.facts
    ]


def test_before_its_date_nothing_is_said():
    """To the second."""
    bench = bench_with(refuse=True)
    bench.work_through(GOOD)
    bench.now_s = DUE_S - 10.0
    bench.command(StartUnit("A2"))
    assert len(bench.of(UnitStarted)) == 2
    assert told(bench) == []


def test_a_bench_that_warns_says_it_once():
    """With the first unit behind the date; work goes on."""
    bench = bench_with(refuse=False)
    bench.work_through(GOOD)
    bench.now_s = DUE_S
    for serial in ("A2", "A3"):
        bench.command(StartUnit(serial))
        bench.command(GiveUpUnit("for the test"))
    assert told(bench) == [(0, None)]
    assert len(bench.of(UnitStarted)) == 3


def test_a_bench_that_refuses_begins_no_unit_any_more():
    """The one on the bench is finished; the next is refused with what to do."""
    bench = bench_with(refuse=True)
    bench.now_s = DUE_S + 2 * 86_400.0
    assert bench.work_through(GOOD).serial == "A1"
    bench.command(StartUnit("A2"))
    assert len(bench.of(UnitStarted)) == 1
    assert told(bench) == [(2, Refusal.CALIBRATION_DUE)]


def test_the_date_is_that_of_the_meter_file(tmp_path):
    """due is the first day on which it is past due, from midnight UTC on."""
    text = (CONFIGS / "meters" / "bench-6-digit.toml").read_text(encoding="utf-8")
    dated = text.replace("[[range]]", "[calibration]\ndue = 1970-01-02\n\n[[range]]", 1)
    (tmp_path / "dated.toml").write_text(dated, encoding="utf-8")
    bench = load_bench(bench_file(tmp_path, meter="tcp:127.0.0.1:5025"))
    due = calibration_due(bench, load_model(tmp_path / "dated.toml"))
    assert (due.due_utc_s, due.refuse) == (DUE_S, False)
    assert calibration_due(bench, load_model(CONFIGS / "meters" / "bench-6-digit.toml")) is None
