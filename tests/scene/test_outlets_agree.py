"""One unit, one result: forty units worked through by the heart, and every outlet asked how each stands."""

import asyncio
import json
from dataclasses import dataclass, replace
from io import StringIO

import pytest
from rich.console import Console

from acquire.answers.history import history_line
from acquire.bench.daemon import recorded
from acquire.clock import HandClock
from acquire.errors import InputImpossible
from acquire.journal.history import JournalReader
from acquire.journal.query import Query
from acquire.journal.store import Journal
from acquire.line.board import Board
from acquire.line.incoming import Arrived, read
from acquire.outlets.payload import as_json, header, payload_of, row_of
from acquire.outlets.terminal import Terminal
from acquire.outlets.topics import Topics
from acquire.page.past import Past
from acquire.records import (
    AcceptFirstUnit,
    ChangeSpool,
    Ending,
    FindingKind,
    GiveUpUnit,
    OpenBatch,
    Outcome,
    Purpose,
    SkipStep,
    StartUnit,
    TypeResult,
    Undo,
    UnitResult,
    UnitStarted,
)
from acquire.reports.batch import batch_report
from acquire.reports.certificate import Given, certificate_of
from acquire.reports.document import Letterhead
from acquire.reports.label import label_of
from acquire.reports.lookback import by_spool
from acquire.reports.returned import returned
from acquire.reports.visits import judged_visit, visits_on
from acquire.words.units import result_words
from tests.known_records import IMPORTED
from tests.pure_bench import GOOD, Bench
from tests.unit.test_heart_batches import CARDS, GOOD_OHM, PAIRS

PASS, NEAR, CANNOT, FAIL = Outcome.PASS, Outcome.CONDITIONAL_PASS, Outcome.CANNOT_JUDGE, Outcome.FAIL
GIVEN = Given(Letterhead("Otterbeck Rewinds"), 2e9, 2e9, "test")
LOT, SPOOL, BENCH = "lot 7", "36-A", "bench-1"

INSULATED = TypeResult("insulation = 120 Mohm, 500 V, 21 °C, accuracy 5 %")
LEAKY = TypeResult("insulation = 1 Mohm, 500 V, 21 °C, accuracy 5 %")
DOUBTED = TypeResult("insulation = 120 Mohm, 500 V, 21 °C")
NAMED_R = TypeResult("R = pass")
BEARING = TypeResult("bearing = pass")
SURGE, SURGE_BAD = TypeResult("surge = pass"), TypeResult("surge = fail")
HIPOT = TypeResult("hipot = 1500 V")
SKIP, END = SkipStep("pin 3 is bent"), GiveUpUnit("dropped")

SHORTED = {**GOOD, ("2", "3"): 38.8, ("1", "3"): 241.3}
OPEN_JOINT = {**GOOD, ("1", "2"): 240.0, ("1", "3"): 286.0}
REST_S = 2.0 * 3600.0
EDGE = {**GOOD, ("4", "6"): 88.98}
WARM = {pair: ohm * 1.12 for pair, ohm in GOOD.items()}


@dataclass(frozen=True)
class Case:
    """What is done with one unit, and what must come of it.

    Attributes:
        deeds: values to work through, or commands; "again" starts it anew, "rest" after two hours, "leave"
            starts another unit, "files" stops the bench, which starts again with another bench file.
        outcome: of its latest visit.
        ending: of it.
        revision: of its result.
        untested: kinds of what nobody has tested.
    """

    deeds: tuple
    outcome: Outcome | None
    ending: Ending = Ending.DONE
    revision: int = 0
    untested: tuple[str, ...] = ("isolation", "turns")


CASES = [
    Case((GOOD,), PASS),
    Case((GOOD, INSULATED), PASS, revision=1, untested=("turns",)),
    Case((INSULATED, GOOD), PASS, untested=("turns",)),
    Case((INSULATED, SURGE, GOOD), PASS, untested=()),
    Case((GOOD, INSULATED, SURGE), PASS, revision=2, untested=()),
    Case((GOOD, LEAKY), FAIL, revision=1, untested=("turns",)),
    Case((GOOD, LEAKY, INSULATED), PASS, revision=2, untested=("turns",)),
    Case((LEAKY, GOOD), FAIL, untested=("turns",)),
    Case((LEAKY, GOOD, INSULATED), PASS, revision=1, untested=("turns",)),
    Case((GOOD, INSULATED, LEAKY), FAIL, revision=2, untested=("turns",)),
    Case((GOOD, DOUBTED), CANNOT, revision=1, untested=("turns",)),
    Case((GOOD, DOUBTED, INSULATED), PASS, revision=2, untested=("turns",)),
    Case((GOOD, NAMED_R), PASS),
    Case((GOOD, BEARING), PASS),
    Case((GOOD, SURGE_BAD), FAIL, revision=1, untested=("isolation",)),
    Case((GOOD, SURGE_BAD, SURGE), PASS, revision=2, untested=("isolation",)),
    Case((GOOD, SURGE_BAD, TypeResult("surge = 2 kV")), FAIL, revision=1, untested=("isolation",)),
    Case((GOOD, HIPOT), PASS),
    Case((SHORTED,), FAIL, untested=("isolation",)),
    Case((SHORTED, INSULATED), FAIL, revision=1, untested=()),
    Case((SHORTED, LEAKY), FAIL, revision=1, untested=()),
    Case((OPEN_JOINT,), FAIL, untested=("isolation",)),
    Case((EDGE,), CANNOT, untested=("isolation",)),
    Case((EDGE, "rest", EDGE, INSULATED), NEAR, revision=1, untested=("turns",)),
    Case((EDGE, "rest", EDGE, LEAKY), FAIL, revision=1, untested=("turns",)),
    Case((SKIP, GOOD), CANNOT, untested=("isolation",)),
    Case((SKIP, SHORTED), FAIL, untested=("isolation",)),
    Case((SKIP, GOOD, LEAKY), FAIL, revision=1, untested=()),
    Case((WARM,), None, Ending.WARM, untested=("isolation",)),
    Case((WARM, LEAKY), None, Ending.WARM, revision=1, untested=()),
    Case((WARM, "rest", GOOD), PASS),
    Case((END,), None, Ending.EARLY, untested=("isolation",)),
    Case((END, "again", GOOD, LEAKY), FAIL, revision=1, untested=("turns",)),
    Case(("leave",), None, Ending.NEXT_UNIT, untested=("isolation",)),
    Case((GOOD, "again", GOOD), PASS),
    Case((GOOD, LEAKY, "again", GOOD), PASS),
    Case((SHORTED, "again", GOOD), PASS),
    Case((GOOD, "again", SHORTED, "again", GOOD), PASS),
    Case((GOOD, "again", GOOD, LEAKY), FAIL, revision=1, untested=("turns",)),
    Case((SHORTED, "again", END), None, Ending.EARLY, untested=("isolation",)),
    Case(("files",), None, Ending.FILES_CHANGED, untested=("isolation",)),
]
SERIALS = [f"P-{number:02d}" for number in range(1, len(CASES) + 1)]
UNITS = list(zip(SERIALS, CASES, strict=True))
STAYS = ("terminal", "look-back", "CSV", "MQTT", "line", "page, list", "page, unit")
"""Outlets that tell of single visits."""


def worked() -> list:
    """All events of a bench that does all that, one unit after the other."""
    bench = Bench()
    bench.pipeline.place = replace(bench.pipeline.place, purpose=Purpose.FINAL)
    bench.pipeline.duties.place = bench.pipeline.batches.place = bench.pipeline.place
    bench.command(OpenBatch(LOT))
    bench.command(ChangeSpool(SPOOL, "slow charge"))
    bench.begin("P-00")
    bench.work_through(GOOD)
    for serial, case in UNITS:
        bench.begin(serial)
        for deed in case.deeds:
            if isinstance(deed, dict):
                bench.work_through(deed)
            elif deed in {"again", "rest"}:
                bench.now_s += REST_S if deed == "rest" else 0.0
                bench.air(1.0)
                bench.begin(serial)
            elif deed == "files":
                bench.events += of_other_files(bench)
            elif deed == "leave":
                bench.command(StartUnit("P-99", sure=True))
                bench.work_through(GOOD)
            else:
                bench.command(deed)
        bench.air(1.0)
    return bench.events


def of_other_files(bench) -> list:
    """What a bench says that starts with another bench file while a unit is on it."""
    fresh = Bench()
    fresh.pipeline.place = replace(bench.pipeline.place, bench_hash="0b" * 32)
    return fresh.pipeline.replay([record for record, _ in recorded(bench.events)], bench.now_s)


@pytest.fixture(scope="module")
def events():
    return worked()


@pytest.fixture(scope="module")
def folder(tmp_path_factory, events):
    there = tmp_path_factory.mktemp("agree")

    async def fill():
        journal = Journal.open(there, bench=BENCH, clock=HandClock())
        paper = [(replace(IMPORTED, serial=serial, outcome=FAIL), None) for serial in SERIALS]
        await journal.append([*paper, *recorded(events), *paper])
        await journal.close()

    asyncio.run(fill())
    return there


@pytest.fixture(scope="module")
def results(folder):
    """Entries of all results, oldest first."""
    with JournalReader(folder) as record:
        return list(record.find(Query(kinds=("unit_result",))))


@pytest.fixture(scope="module")
def told(events, folder, results):
    """What each outlet says of each serial, by outlet."""
    terminal = Terminal(Console(file=StringIO(), width=200))
    for event in events:
        terminal.show(event)
    board, topics = Board(), Topics(BENCH)
    line, csv, mqtt, bench_card = {}, {}, {}, {}
    for entry in results:
        payload, topic = as_json(payload_of(entry)), topics.of("unit")
        arrived = read(topic, payload)
        assert isinstance(arrived, Arrived), arrived
        line[entry.serial] = arrived.outcome
        csv[entry.serial] = dict(zip(header(entry.kind), row_of(entry), strict=True))["outcome"] or None
        mqtt[entry.serial] = json.loads(payload)["outcome"]
        board.heard(topic, payload, entry.utc_s)
        bench_card[entry.serial] = board.cards[BENCH].last
    past = Past(folder, BENCH)
    pages = [past.units({"page": str(page)})["units"] for page in range(3)]
    listed = {each["serial"]: each["outcome"] for page in reversed(pages) for each in reversed(page)}
    with JournalReader(folder) as record:
        report = batch_report(record, LOT)
        spools = {row.serial: row.outcome or None for row in by_spool(record, SPOOL)}
        papers = {serial: _papers(record, serial) for serial in SERIALS}
        history = {entry.serial: history_line(entry) for entry in results}
    return {
        "terminal": {t.serial: t.outcome and t.outcome.value for t in terminal.units.values()},
        "label": {serial: each["label"] for serial, each in papers.items()},
        "certificate": {serial: each["certificate"] for serial, each in papers.items()},
        "returned": {serial: each["returned"] for serial, each in papers.items()},
        "batch": {unit.serial: unit.now and unit.now.value for unit in report.units},
        "look-back": spools,
        "history": history,
        "CSV": csv,
        "MQTT": mqtt,
        "line": line,
        "board": bench_card,
        "page, list": listed,
        "page, unit": {serial: past.unit({"serial": serial})["outcome"] for serial in SERIALS},
    }


def _papers(record, serial):
    """Outcomes as the papers of the latest judged visit state them; None where there is none to state."""
    visits = visits_on(record, serial)
    said = {"label": None, "certificate": None, "returned": None}
    try:
        visit = judged_visit(visits)
    except InputImpossible:
        return said
    said["label"] = label_of(visit).outcome.value
    said["certificate"] = certificate_of(record, serial, GIVEN).visit.outcome.value
    try:
        now = returned(record, serial).now
    except InputImpossible:
        return said
    said["returned"] = now.outcome and now.outcome.value
    return said


def test_there_are_forty_and_one_of_other_files():
    """Each has a failing paper record besides, before and after: paper is nobody's result."""
    assert len(CASES) == 41


@pytest.mark.parametrize(("serial", "case"), UNITS, ids=SERIALS)
def test_the_unit_comes_to_what_it_should(results, serial, case):
    """By its latest entry: outcome, ending, revision, and what nobody has tested."""
    result = [entry.record for entry in results if entry.serial == serial][-1]
    kinds = tuple(each.kind.value for each in result.untested)
    assert (result.outcome, result.ending) == (case.outcome, case.ending)
    assert (result.revision, kinds) == (case.revision, case.untested)


@pytest.mark.parametrize(
    "outlet", ["terminal", "look-back", "CSV", "MQTT", "line", "page, list", "page, unit"]
)
def test_outlets_of_single_stays_say_the_same(told, outlet):
    """Each says how the latest visit stands now."""
    wanted = {serial: case.outcome and case.outcome.value for serial, case in UNITS}
    assert {serial: told[outlet].get(serial) for serial in SERIALS} == wanted


@pytest.mark.parametrize("outlet", ["label", "certificate", "batch"])
def test_papers_say_how_the_latest_judged_stay_stands(told, outlet):
    """A visit without an outcome takes none from an earlier one."""
    last_judged = {
        serial: FAIL if case.deeds == (SHORTED, "again", END) else case.outcome for serial, case in UNITS
    }
    wanted = {serial: outcome and outcome.value for serial, outcome in last_judged.items()}
    assert {serial: told[outlet].get(serial) for serial in SERIALS} == wanted


def test_a_returned_unit_is_told_with_the_outcome_it_has_now(told):
    """Of those that were on the bench twice and have an outcome the first time."""
    twice = {
        serial: case.outcome.value
        for serial, case in UNITS
        if case.deeds.count("again") and case.outcome and case.deeds[0] not in (WARM, END)
    }
    assert len(twice) >= 5
    assert {serial: told["returned"][serial] for serial in twice} == twice


def test_history_and_board_say_it_in_words(told, results):
    """The latest line of each unit, and the card of the bench after it."""
    for serial in SERIALS:
        result = [entry.record for entry in results if entry.serial == serial][-1]
        words = result_words(result)
        assert f": {words}" in told["history"][serial], serial
        assert result.outcome is None or told["board"][serial] == f"{serial}: {words}", serial


def test_attempts_count_starts_and_not_revisions(events):
    """Two and three times on the bench; revisions in between change no number."""
    attempts = {}
    for event in events:
        if isinstance(event, UnitStarted):
            attempts.setdefault(event.serial, []).append(event.attempt)
    for serial, case in UNITS:
        assert attempts[serial] == list(
            range(1, sum(deed in ("again", "rest") for deed in case.deeds) + 2)
        ), serial


def test_a_batch_counts_each_unit_once(folder):
    with JournalReader(folder) as record:
        report = batch_report(record, LOT)
    serials = [unit.serial for unit in report.units]
    assert len(serials) == len(set(serials))


def test_a_first_unit_in_doubt_says_so_until_it_is_accepted():
    """Wound from 36-A as its card says, P1 would read 4 % less. The word makes a revision of its own."""
    bench = Bench(sheet="fathom-7")
    bench.pipeline.place = replace(bench.pipeline.place, purpose=Purpose.FINAL)
    bench.pipeline.duties.place = bench.pipeline.batches.place = bench.pipeline.place
    bench.pipeline.batches.cards = CARDS
    bench.command(OpenBatch("lot 8"))
    bench.command(ChangeSpool("36-A", "P1, P2"))
    bench.begin("P-50")
    first = bench.work_through({tuple(PAIRS[name]): ohm for name, ohm in {**GOOD_OHM, "P1": 255.0}.items()})
    (doubt,) = first.found
    assert (doubt.kind, first.outcome) == (FindingKind.FIRST_UNIT, PASS)
    new = bench.command(AcceptFirstUnit("as ordered"))
    (accepted,) = [each for each in new if isinstance(each, UnitResult)]
    assert (accepted.found, accepted.revision, accepted.outcome) == ((), 1, PASS)


def test_a_unit_that_comes_back_after_a_slip_goes_on_with_what_was_typed():
    """Given up, undone, finished: one visit, whose second result is its next revision."""
    bench = Bench()
    bench.begin("P-60")
    bench.command(LEAKY)
    given_up = [each for each in bench.command(END) if isinstance(each, UnitResult)]
    bench.command(Undo())
    finished = bench.work_through(GOOD)
    assert [each.revision for each in (*given_up, finished)] == [0, 1]
    assert finished.outcome is FAIL, "what was typed before the slip still counts"
    (again,) = [each for each in bench.command(INSULATED) if isinstance(each, UnitResult)]
    assert (again.revision, again.outcome) == (2, PASS)


def test_a_restart_goes_on_with_the_unit_that_has_just_left():
    """Its result is on the record, and what is typed in afterwards makes the next revision."""
    bench = Bench()
    bench.begin("P-61")
    bench.work_through(GOOD)
    fresh = Bench()
    fresh.pipeline.replay([record for record, _ in recorded(bench.events)], bench.now_s)
    (now,) = [each for each in fresh.command(LEAKY) if isinstance(each, UnitResult)]
    assert (now.serial, now.revision, now.outcome) == ("P-61", 1, FAIL)
