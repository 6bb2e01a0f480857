"""The record as files: the same values in CSV, JSON lines and Parquet, whole or not at all."""

import csv
import json
from dataclasses import MISSING, fields, replace

import pyarrow as pa
import pytest
from pyarrow import parquet
from typer.testing import CliRunner

from acquire.answers.history import entries_of, moment_s
from acquire.cli import app
from acquire.errors import InputImpossible, SteadyohmError
from acquire.journal.history import JournalReader
from acquire.journal.query import Query
from acquire.outlets.columns import COLUMNS, COLUMNS_OF
from acquire.outlets.payload import header, rearmed, record_of, row_of, said_of
from acquire.records import Outcome, Verdict
from acquire.reports import export
from acquire.reports.export import export_csv, export_jsonl, export_parquet, parquet_schema
from tests.known_records import NOON_S, TYPED, VERDICT
from tests.known_visits import DAY_S, journal_with, visit

HOSTILE = '=cmd|"x"!A1, \U0001f600 "\r\n" \ud83d'


@pytest.fixture
def folder(tmp_path):
    """Two visits, one of them of a hostile serial, an open verdict, a result typed in."""
    opened = replace(
        VERDICT, serial="open", reference_ohm=None, raw_ohm=None, expanded_ohm=None, utc_s=NOON_S + DAY_S
    )
    hostile = visit(HOSTILE, outcome=Outcome.FAIL)
    return journal_with(tmp_path / "journal", [*visit(), *hostile, opened, TYPED])


def rows_of(path):
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def found(folder, **question):
    with JournalReader(folder) as record:
        return list(record.find(Query(**question)))


def test_the_three_files_hold_the_same(folder, tmp_path):
    """Value by value, compared with the journal itself."""
    entries = found(folder)
    verdicts = [entry for entry in entries if entry.kind == "verdict"]
    assert export_csv(tmp_path / "v.csv", entries) == len(verdicts) == 7
    assert export_jsonl(tmp_path / "v.jsonl", entries) == len(entries)
    assert export_parquet(tmp_path / "v.parquet", entries) == 7

    plain = [json.loads(line) for line in (tmp_path / "v.jsonl").read_bytes().splitlines()]
    assert [record_of(each).utc_s for each in plain] == [entry.utc_s for entry in entries]
    rows = rows_of(tmp_path / "v.csv")
    table = parquet.read_table(tmp_path / "v.parquet").to_pylist()
    for entry, row, typed in zip(verdicts, rows, table, strict=True):
        for column in COLUMNS:
            value, cell = typed[column.name], row[column.name]
            known = {**entry.payload, **said_of(entry), "schema": 1, "id": entry.id}.get(column.name)
            if column.name == "time_utc":
                assert value.timestamp() == pytest.approx(entry.utc_s, abs=1e-3)
                assert cell.endswith("Z")
            elif known is None:
                assert (value, cell) == (None, "")
            elif isinstance(known, float):
                assert value == known == float(cell)
            elif isinstance(known, str):
                assert value == known.encode("utf-8", "replace").decode()  # half a pair: a question mark
                assert rearmed(cell).replace("\ufffd", "?") == value
            else:
                assert value == known
                assert cell == str(known).lower()


def test_a_row_is_that_of_the_bench(folder, tmp_path):
    """Cell by cell what the bench's own CSV holds."""
    for kind in COLUMNS_OF:
        export_csv(tmp_path / "v.csv", found(folder), kind)
        with (tmp_path / "v.csv").open(encoding="utf-8-sig", newline="") as file:
            head, *rows = list(csv.reader(file))
        assert head == header(kind)
        assert rows == [row_of(entry) for entry in found(folder, kinds=(kind,))]


def test_every_column_has_the_type_of_its_field():
    """Numbers as numbers, times as times, with units in their names and words to each column."""
    schema = parquet_schema("verdict")
    assert schema.names == [column.name for column in COLUMNS]
    assert schema.field("reference_ohm").type == pa.float64()
    assert schema.field("attempt").type == pa.int64()
    assert schema.field("counts").type == pa.bool_()
    assert schema.field("outcome").type == pa.string()
    assert schema.field("time_utc").type == pa.timestamp("ms", tz="UTC")
    assert all(each.metadata[b"about"] for each in schema)
    assert {each.name for each in fields(Verdict) if each.default is MISSING} <= set(schema.names)
    for kind in COLUMNS_OF:
        assert parquet_schema(kind).names


def test_other_kinds_with_columns_can_be_written(folder, tmp_path):
    """Typed results have columns of their own; lead zeros have none, and that is told."""
    assert export_csv(tmp_path / "t.csv", found(folder), "typed_result") == 1
    assert export_parquet(tmp_path / "t.parquet", found(folder), "typed_result") == 1
    assert parquet.read_table(tmp_path / "t.parquet").to_pylist()[0]["value_si"] == 120e6
    for export_one in (export_csv, export_parquet):
        with pytest.raises(InputImpossible, match="no columns"):
            export_one(tmp_path / "z", [], "lead_zero")


def test_a_csv_no_spreadsheet_runs(folder, tmp_path):
    """An apostrophe in front of what looks like a formula."""
    export_csv(tmp_path / "v.csv", found(folder))
    assert any(row["serial"].startswith("'=cmd") for row in rows_of(tmp_path / "v.csv"))


@pytest.mark.parametrize("export_one", [export_csv, export_jsonl, export_parquet])
def test_a_file_is_whole_or_not_there(folder, tmp_path, export_one):
    """If reading fails half way, what was there before stays."""

    def broken():
        yield from found(folder)
        raise SteadyohmError("the disk is gone")

    target = tmp_path / "file"
    target.write_text("before")
    with pytest.raises(SteadyohmError, match="disk is gone"):
        export_one(target, broken())
    assert target.read_text() == "before"
    assert [path.name for path in tmp_path.iterdir() if path.is_file()] == ["file"]
    with pytest.raises(InputImpossible, match="cannot be written"):
        export_one(tmp_path / "none" / "file", [])


def test_without_pyarrow_one_sentence_says_what_to_install(folder, tmp_path, monkeypatch):
    """And the other files are written as ever."""
    import sys

    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(SteadyohmError, match=r"steadyohm\[parquet\]"):
        export_parquet(tmp_path / "v.parquet", [])
    assert export_csv(tmp_path / "v.csv", found(folder)) == 7


def test_large_records_are_written_in_groups(tmp_path, monkeypatch):
    """No more than so many rows at a time are in memory."""
    monkeypatch.setattr(export, "ROWS", 4)
    folder = journal_with(tmp_path / "j", [e for n in range(5) for e in visit(f"U{n}")])
    export_parquet(tmp_path / "v.parquet", found(folder))
    assert parquet.ParquetFile(tmp_path / "v.parquet").num_row_groups == 4


# ---------------------------------------------------------------- as typed


def typed(*words):
    done = CliRunner().invoke(app, ["history", *map(str, words)], catch_exceptions=False)
    assert done.exit_code == 0
    return done.output.splitlines()


def test_search_narrows_what_is_shown(tmp_path):
    """Each option by itself, and together."""
    late = replace(VERDICT, serial="late", utc_s=NOON_S + DAY_S)
    folder = journal_with(tmp_path, [*visit(), *visit("bad", outcome=Outcome.FAIL), late, TYPED])
    assert len(typed(folder, "--outcome", "fail")) == 1
    assert len(typed(folder, "--outcome", "fail", "--outcome", "pass")) == 10
    assert len(typed(folder, "--diagnosis", "1020 turns")) == 1
    assert len(typed(folder, "--meter", "meter")) == 6
    assert len(typed(folder, "--since", "2025-11-26")) == 1
    assert len(typed(folder, "--until", "2025-11-24")) == 1  # a result typed in 1970
    assert len(typed(folder, "--kind", "unit_started", "--kind", "unit_result")) == 4
    assert len(typed(folder, "--sheet", "Plover 80", "--meter", "bench meter")) == 1
    assert len(typed(folder, "--limit", "3")) == 3


def test_files_take_all_and_the_screen_the_latest(tmp_path):
    """Two hundred lines on the screen; every entry in a file, unless told otherwise."""
    folder = journal_with(tmp_path / "j", [e for n in range(50) for e in visit(f"U{n}")])
    assert len(typed(folder)) == 200
    assert typed(folder, "--jsonl", tmp_path / "a.jsonl") == [f"{tmp_path}/a.jsonl: 250 lines"]
    assert typed(folder, "--csv", tmp_path / "a.csv", "--limit", "10") == [f"{tmp_path}/a.csv: 6 rows"]
    assert typed(folder, "--kind", "verdict", "--parquet", tmp_path / "a.parquet") == [
        f"{tmp_path}/a.parquet: 150 rows"
    ]


def test_days_and_times_as_they_are_typed():
    """UTC where no zone is named; an end day counts to its end."""
    noon = moment_s("2025-11-25T12:00")
    assert noon == NOON_S
    assert moment_s("2025-11-25T13:00+01:00") == noon
    assert moment_s("2025-11-25") == noon - DAY_S / 2
    assert moment_s("2025-11-25", end=True) == noon + DAY_S / 2
    for text in ("", "yesterday", "2025-13-01", "25.11.2025", "2025-11-2x", "9999-12-31T23:59:59-23:59" * 2):
        with pytest.raises(InputImpossible):
            moment_s(text)


def test_an_unknown_kind_is_told(folder):
    with pytest.raises(InputImpossible, match="Kinds are verdict"):
        typed(folder, "--kind", "verdicts")


def test_the_history_is_read_as_it_is_shown(folder):
    """An iterator: the first entry comes before the last is read."""
    with JournalReader(folder) as record:
        assert next(entries_of(record, Query()))[0].seq == 1
