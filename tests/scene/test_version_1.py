"""What was written before December 2026, by names of version 1: read as today's, and left as it is.

`tests/data/version_1` was made by this program at commit e6ac6a59: its demo of the Plover 80, seed 7, three
units, two results typed in after it with `steadyohm result`, the CSV of verdicts as the demo wrote it, typed
results by `steadyohm history --csv`, and a certificate of the first unit.
"""

import csv
import json
import shutil
import sqlite3
from pathlib import Path

import psycopg
import pytest

from acquire.answers.importing import restore
from acquire.errors import JournalUnusable
from acquire.journal.history import JournalReader
from acquire.journal.plain import from_plain
from acquire.journal.query import Query
from acquire.journal.upgrade import RENAMED, in_todays_names, upgraded
from acquire.line.board import Board, Condition
from acquire.line.incoming import Arrived, Rejected, read
from acquire.line.migrating import migrate
from acquire.line.record import LineRecord
from acquire.records import Ending, Notice, Outcome, UnitResult
from acquire.records.codes import Code
from acquire.reports.certificate_check import check
from acquire.reports.visits import judged_visit, visits_on
from tests.known_records import NOON_S
from tests.postgres import database, needs_postgres, shared  # noqa: F401  (a fixture)

DATA = Path(__file__).resolve().parents[1] / "data" / "version_1"
ROOT = "steadyohm/v1/bench-1"


@pytest.fixture
def folder(tmp_path):
    """Of a journal of version 1."""
    shutil.copy(DATA / "journal.db", tmp_path / "journal.db")
    return tmp_path


@pytest.fixture
def record(folder):
    with JournalReader(folder) as reader:
        yield reader


def stored():
    """(kind, payload) of every entry as it lies in the file."""
    with sqlite3.connect(f"file:{DATA / 'journal.db'}?mode=ro", uri=True) as file:
        return [
            (kind, json.loads(payload)) for kind, payload in file.execute("SELECT kind, payload FROM entry")
        ]


def names_in(value):
    """All keys, however deep."""
    if isinstance(value, dict):
        return set(value).union(*map(names_in, value.values()))
    return set().union(*map(names_in, value)) if isinstance(value, list) else set()


def messages():
    """What a bench of version 1 sent of it: topic and payload."""
    topics = {"verdict": "verdict", "unit_result": "unit", "typed_result": "result", "notice": "notice"}
    for seq, (kind, payload) in enumerate(stored(), start=1):
        if kind in topics:
            head = {"schema": 1, "id": f"{'ab' * 8}-{seq}", "seq": seq, "kind": kind}
            yield f"{ROOT}/{topics[kind]}", json.dumps({**head, **payload}, separators=(",", ":")).encode()


def test_the_file_has_every_name_that_was_changed():
    assert names_in([payload for _, payload in stored()]) >= set(RENAMED)


def test_every_entry_has_the_names_of_today(record):
    entries = list(record.find(Query()))
    names = names_in([entry.payload for entry in entries])
    assert names >= set(RENAMED.values())
    assert not names & set(RENAMED)
    assert all(entry.record.utc_s > 0 for entry in entries)


def test_results_keep_their_probabilities(record):
    """Also where they are nested, and on the quick way of the reports."""
    old = next(payload for kind, payload in stored() if kind == "unit_result")
    result = visits_on(record, old["serial"])[0].results[0].record
    assert [each.conformance_probability for each in result.closures] == [
        each["conformity"] for each in old["closures"]
    ]
    assert judged_visit(visits_on(record, "P80-0003")).outcome is Outcome.FAIL


def test_single_fields_have_the_names_of_today(record):
    """As the whole entries have them."""
    names = (*RENAMED.values(), "ending", "code")
    rows = list(record.values(Query(), names))
    assert rows == [tuple(map(entry.payload.get, names)) for entry in record.find(Query())]
    assert all(any(row[at] is not None for row in rows) for at in range(len(names)))


def test_an_early_end_and_a_damaged_journal_keep_their_meaning():
    """By hand: the demo had neither."""
    ended = {**dict(stored())["unit_result"], "ending": "given_up", "outcome": None}
    notice = {"weight": "warning", "code": "journal.set_aside", "utc_s": NOON_S, "facts": {"file": "f"}}
    made = [
        from_plain(kind, upgraded(kind, json.loads(in_todays_names(json.dumps(old, separators=(",", ":"))))))
        for kind, old in (("unit_result", ended), ("notice", notice))
    ]
    assert isinstance(made[0], UnitResult)
    assert made[0].ending is Ending.EARLY
    assert isinstance(made[1], Notice)
    assert made[1].code is Code.JOURNAL_QUARANTINED


def test_a_certificate_holds_against_the_record(record):
    checked = check((DATA / "certificate.html").read_bytes(), record)
    assert checked.facts_on_record is True


def test_a_changed_certificate_does_not(record):
    content = (DATA / "certificate.html").read_bytes()
    changed = content.replace(b'"conformity":1.0', b'"conformity":0.5', 1)
    assert changed != content
    assert check(changed, record).facts_on_record is False


def test_a_journal_comes_back_from_csv_files(tmp_path):
    """With the values that the rows hold."""
    lost = tmp_path / "journal"
    lost.mkdir()
    done = restore(lost, [str(DATA / "verdicts.csv"), str(DATA / "results.csv")])
    assert (done.unread, sum(done.entries.values())) == (0, 25)
    with JournalReader(lost) as back, (DATA / "verdicts.csv").open(encoding="utf-8-sig") as file:
        found = {entry.id: entry.payload for entry in back.find(Query(kinds=("verdict",)))}
        kept = {row["id"]: row["conformity"] or "None" for row in csv.DictReader(file)}
        assert {each: str(payload["conformance_probability"]) for each, payload in found.items()} == kept
        typed = [entry.record.result_kind for entry in back.find(Query(kinds=("typed_result",)))]
        assert typed == ["insulation", "stated"]


# ---------------------------------------------------------------- a line


def test_messages_become_rows_of_today():
    """As the database holds them."""
    for topic, payload in messages():
        row = read(topic, payload)
        assert isinstance(row, Arrived), row
        assert row.bench == "bench-1"
        plain = json.loads(row.text)
        assert plain["schema"] == 2
        assert not names_in(plain) & set(RENAMED)


def test_a_message_that_is_none_is_kept_as_it_came():
    row = read(f"{ROOT}/verdict", b'{"schema":1, "conformity":1.0}')
    assert isinstance(row, Rejected)
    assert row.payload == b'{"schema":1, "conformity":1.0}'


def test_versions_are_not_mixed():
    """A topic of today takes no payload of version 1."""
    topic, payload = next(messages())
    row = read(topic.replace("/v1/", "/v2/"), payload)
    assert isinstance(row, Rejected)
    assert "version 1" in row.reason


def test_the_board_shows_benches_of_both_versions():
    """And once a bench was updated, nothing of what the broker still retains of before."""
    board = Board()
    old = {"schema": 1, "state": "online", "utc_s": NOON_S}
    stop = {"schema": 1, "kind": "notice", "weight": "stop", "text": "All stops.", "utc_s": NOON_S}

    def say(version, last, **plain):
        board.heard(f"steadyohm/v{version}/bench-1/{last}", json.dumps(plain).encode(), NOON_S)

    say(1, "status", **old)
    say(1, "notice", **stop)
    assert board.condition(board.cards["bench-1"], NOON_S) is Condition.HALTED
    say(2, "status", **{**old, "schema": 2})
    say(1, "status", **{**old, "state": "lost"})
    say(1, "notice", **stop)
    assert board.condition(board.cards["bench-1"], NOON_S) is Condition.IDLE


@needs_postgres
async def test_a_database_of_before_has_the_names_of_today(database):  # noqa: F811
    """After its migration: in the payloads, the views, and the record that is read."""
    connection = await psycopg.AsyncConnection.connect(database, autocommit=True)
    await migrate(connection)
    await connection.execute("DELETE FROM steadyohm.migration WHERE number = 5")
    put = """INSERT INTO steadyohm.entry SELECT 'bench-1', 'abababababababab', %s, now(), %s, 'P80-0001', '',
        'Plover 80', 'meter', NULL, %s"""
    for seq, (_, payload) in enumerate(messages(), start=1):
        await connection.execute(put, (seq, json.loads(payload)["kind"], payload.decode()))
    early = {**payload_of_notice(), "ending": "given_up"}
    await connection.execute(put, (900, "unit_result", json.dumps(early)))
    with pytest.raises(JournalUnusable, match="--migrate"):
        LineRecord(database)
    assert await migrate(connection) == 1
    rows = await (await connection.execute("SELECT payload FROM steadyohm.entry")).fetchall()
    assert not names_in([payload for (payload,) in rows]) & set(RENAMED)
    assert {payload["schema"] for (payload,) in rows} == {2}
    kept = await connection.execute("SELECT payload FROM steadyohm.entry WHERE seq = 900")
    ((last,),) = await kept.fetchall()
    assert (last["code"], last["ending"]) == ("journal.quarantined", "early")
    sure = await connection.execute("SELECT min(conformance_probability) FROM steadyohm.verdict")
    assert (await sure.fetchone())[0] is not None
    await connection.execute("DELETE FROM steadyohm.entry WHERE seq = 900")
    await connection.close()
    with LineRecord(database) as record:
        assert all(entry.record for entry in record.find(Query()))


def payload_of_notice():
    """As version 1 spelt it."""
    return {"schema": 1, "kind": "notice", "weight": "stop", "code": "journal.set_aside", "utc_s": NOON_S}
