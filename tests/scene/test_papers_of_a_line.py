"""The office asks the line's database: certificates, comparisons and look-backs are those of the journal."""

from dataclasses import replace

import pytest

from acquire.clock import HandClock
from acquire.journal.history import JournalReader
from acquire.journal.store import Journal
from acquire.line.record import LineRecord
from acquire.line.store import Store
from acquire.records import Purpose, WoundFrom
from acquire.reports.certificate import Given, certificate_of
from acquire.reports.certificate_check import SOFTWARE, check
from acquire.reports.certificate_document import certificate_document
from acquire.reports.document import Letterhead
from acquire.reports.lookback import by_meter, by_spool, span_since_check
from acquire.reports.printing import as_html
from acquire.reports.returned import returned
from tests.known_records import NOON_S
from tests.known_visits import DAY_S, SERIAL, moved_zero, shop_day, visit
from tests.postgres import database, needs_postgres  # noqa: F401  (a fixture)
from tests.unit.test_line_record import sent

pytestmark = needs_postgres
LATER_S = NOON_S + 200 * DAY_S
GIVEN = Given(Letterhead("Otterbeck Rewinds"), LATER_S, LATER_S, SOFTWARE)


@pytest.fixture
async def both(tmp_path, database):  # noqa: F811
    """A day with a unit, its sisters, its return, and a lead zero that makes it doubtful: in both stores."""
    records = shop_day()
    for number in range(8):
        sister = visit(f"S{number}", utc_s=NOON_S + 100.0 * number, factors={"trigger": 1.0 + 0.002 * number})
        sister[0] = replace(sister[0], spools=(WoundFrom("trigger", "38-C"),))
        records += sister
    records += visit(utc_s=NOON_S + 90 * DAY_S, purpose=Purpose.RETURNED, factors={"fast charge": 0.93})
    records.append(moved_zero())
    journal = Journal.open(tmp_path / "journal", bench="bench-1", clock=HandClock())
    await journal.append([each if isinstance(each, tuple) else (each, None) for each in records])
    store = await Store(database, HandClock(now_utc_s=NOON_S)).open()
    await sent(store, journal)
    await store.close()
    await journal.close()
    with JournalReader(tmp_path / "journal") as here, LineRecord(database) as there:
        yield here, there


async def test_a_certificate_is_the_same_from_both_and_each_vouches_for_the_other(both):
    """Facts, digest and all: the line's database holds the evidence, too."""
    here, there = both
    facts = [certificate_of(record, SERIAL, GIVEN, Purpose.FINAL) for record in both]
    assert facts[0] == facts[1]
    page = as_html(certificate_document(facts[1]))
    assert check(page, here).sound
    assert check(page, there).sound


async def test_then_and_now_is_the_same_from_both(both):
    """To the last digit of the odds."""
    one, two = (returned(record, SERIAL) for record in both)
    assert one == two
    assert one.ours.odds is not None


async def test_look_backs_are_the_same_from_both(both):
    """By meter, since its check, and by spool."""
    here, there = both
    spans = [span_since_check(record, "meter", "bench-1") for record in both]
    assert spans[0] == spans[1]
    rows = [sorted(by_meter(record, "meter", spans[0]), key=lambda row: row.id) for record in both]
    assert rows[0] == rows[1]
    assert any(row.doubt for row in rows[0])
    spools = [sorted(by_spool(record, "38-C"), key=lambda row: row.id) for record in (here, there)]
    assert spools[0] == spools[1]
    assert len(spools[0]) == 8
