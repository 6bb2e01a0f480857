"""How reports read thousands of units: payloads as they lie in the file, old and damaged ones among them."""

import gc
import json
import sqlite3
from contextlib import suppress
from dataclasses import replace

import pytest

from acquire.errors import JournalUnusable
from acquire.journal.history import JournalReader
from acquire.journal.query import OF_A_VISIT, Query
from acquire.records import Outcome, Purpose, Rule
from acquire.reports.visits import batch_visits, brief_visits, units_in, visits_on, without_collecting
from tests.known_records import BATCH, TYPED
from tests.known_visits import DAY_S, SERIAL, journal_with, shop_day, visit

EVERYTHING = Query()


def stored(folder, sql, *values):
    """What the file itself says, or is told."""
    with sqlite3.connect(folder / "journal.db") as file:
        return file.execute(sql, values).fetchall()


def test_payloads_are_what_the_entries_hold(tmp_path):
    """Id, kind and JSON of each, in order; the same question gives the same entries by either way."""
    folder = journal_with(tmp_path, shop_day())
    for question in (EVERYTHING, Query(serial=SERIAL), Query(kinds=OF_A_VISIT), Query(limit=3)):
        with JournalReader(folder) as record:
            entries = [(each.id, each.kind, each.payload) for each in record.find(question)]
            found = [(id_, kind, json.loads(payload)) for id_, kind, payload in record.payloads(question)]
        assert found == entries
        assert len(found) >= 3


def test_payloads_of_a_damaged_file_are_told(tmp_path):
    """In one sentence, as for any other question."""
    folder = journal_with(tmp_path, shop_day())
    content = (folder / "journal.db").read_bytes()
    (folder / "journal.db").write_bytes(content[:16384] + b"\x55" * (len(content) - 16384))
    with pytest.raises(JournalUnusable), JournalReader(folder) as record:
        list(record.payloads(EVERYTHING))


def test_values_of_a_batch_are_the_verdicts_of_its_units(tmp_path):
    """Field by field, whichever way they were read."""
    folder = journal_with(tmp_path, visit())
    with JournalReader(folder) as record:
        (unit,) = units_in(batch_visits(record, "lot 7", []))
        (alone,) = visits_on(record, SERIAL)
    assert len(unit.first.values) == len(alone.values) == 3
    for many, one in zip(unit.first.values, alone.values, strict=True):
        own = one.verdict
        for name in ("step", "outcome", "reference_ohm", "lower_ohm", "rule", "quantity", "counts", "utc_s"):
            assert getattr(many, name) == getattr(one, name) == getattr(own, name), name
    assert isinstance(unit.first.values[0].rule, Rule)
    assert (unit.first.outcome, unit.first.result) == (alone.outcome, alone.result)


@pytest.mark.parametrize(
    ("kind", "field"), [("verdict", "basis"), ("unit_result", "ending"), ("typed_result", "target")]
)
def test_an_entry_of_an_earlier_program_is_brought_up(tmp_path, kind, field):
    """It lacks the field that only today's has; it is read as `find` gives it."""
    old = {
        "verdict": {"reason": "within its limits.", "hint": ""},
        "unit_result": {"held": "", "findings": [], "not_tested": []},
        "typed_result": {"reason": "recorded; the sheet sets no limits for it."},
    }[kind]
    typed = replace(TYPED, serial=SERIAL, bench="bench-1", batch="lot 7", outcome=None)
    folder = journal_with(tmp_path, [*visit(), typed])
    for seq, payload in stored(folder, "SELECT seq, payload FROM entry WHERE kind = ?", kind):
        plain = {name: value for name, value in json.loads(payload).items() if name != field} | old
        stored(folder, "UPDATE entry SET payload = ? WHERE seq = ?", json.dumps(plain), seq)
    with JournalReader(folder) as record:
        (unit,) = units_in(batch_visits(record, "lot 7", []))
        (alone,) = visits_on(record, SERIAL)
    assert unit.first.outcome is alone.outcome is Outcome.PASS
    assert unit.first.result == alone.result
    assert [each.record for each in unit.first.typed] == [each.record for each in alone.typed]
    assert [each.reference_ohm for each in unit.first.values] == [each.reference_ohm for each in alone.values]


@pytest.mark.parametrize("damage", ["{", "[]", '{"basis":"measured","ending":"done","first_doubt":null}'])
@pytest.mark.parametrize("kind", ["verdict", "unit_started", "unit_result", "batch"])
def test_a_damaged_entry_is_told_by_its_id(tmp_path, kind, damage):
    """Whatever is wrong with its JSON; no traceback."""
    folder = journal_with(tmp_path, [replace(BATCH, batch="lot 7"), *visit()])
    ((seq,),) = stored(folder, "SELECT min(seq) FROM entry WHERE kind = ?", kind)
    stored(folder, "UPDATE entry SET payload = ? WHERE seq = ?", damage, seq)
    told = pytest.raises(JournalUnusable, match=rf"Entry [0-9a-f]+-{seq} ")
    with JournalReader(folder) as record, told:
        batch_visits(record, "lot 7", [])


def test_half_a_surrogate_pair_in_a_name_stops_nothing(tmp_path):
    """JSON can spell it, UTF-8 cannot; such a unit is read the slow way."""
    folder = journal_with(tmp_path, visit("half \ud83d pair"))
    with JournalReader(folder) as record:
        (unit,) = units_in(batch_visits(record, "lot 7", []))
    assert (unit.serial, unit.first.outcome) == ("half \ud83d pair", Outcome.PASS)


def test_brief_visits_know_the_result_and_no_values(tmp_path):
    """Also what was typed in much later, and what was done to batches where that is asked for."""
    late = replace(TYPED, serial=SERIAL, bench="bench-1", outcome=Outcome.FAIL, utc_s=TYPED.utc_s + DAY_S)
    folder = journal_with(tmp_path, [replace(BATCH, batch="lot 7"), *visit(purpose=Purpose.FINAL), late])
    deeds = []
    with JournalReader(folder) as record:
        (found,) = brief_visits(record, deeds=deeds)
    assert (found.values, found.outcome, len(deeds)) == ([], Outcome.FAIL, 1)


def test_the_collector_is_as_before_whatever_happens():
    """A report that fails leaves the program as it found it."""
    assert gc.isenabled()
    with suppress(ZeroDivisionError), without_collecting():
        assert not gc.isenabled()
        raise ZeroDivisionError
    assert gc.isenabled()
