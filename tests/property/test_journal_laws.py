"""Laws of the journal and the CSV: whatever is written comes back, whatever happens in between."""

import asyncio
import csv
import io
import json
import math
import re
import tempfile
from dataclasses import replace
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from acquire.clock import HandClock
from acquire.journal.entry import Entry
from acquire.journal.plain import KINDS, evidence_from_plain, from_plain, kind_of, to_plain
from acquire.journal.store import Journal
from acquire.journal.upgrade import RENAMED, in_todays_names
from acquire.outlets.csv_log import BOM, CsvLog, Split, file_name, numbers_in, whole_length
from acquire.outlets.payload import COLUMNS, COLUMNS_OF, UNPRINTABLE, as_json, header, payload_of, rearmed
from acquire.records import Evidence, Pair, TypedResult, Verdict
from tests.known_records import VERDICT
from tests.tries import tries

SURROGATE = re.compile("[\ud800-\udfff]")
"""Half a surrogate pair cannot be said in UTF-8."""

TEXT = st.text(st.characters(), max_size=40) | st.text("=+-@'\t\r\n\",1a", max_size=12)
NUMBER = st.floats(allow_nan=False, allow_infinity=False)
PAIR = st.builds(Pair, TEXT, TEXT)

for each in (str, float, Pair):
    st.register_type_strategy(each, {str: TEXT, float: NUMBER, Pair: PAIR}[each])

RECORDS = st.one_of(*(st.from_type(record) for record in KINDS.values()))
VERDICTS = st.from_type(Verdict)
OF_A_KIND = st.lists(VERDICTS, min_size=1, max_size=4) | st.lists(
    st.from_type(TypedResult), min_size=1, max_size=4
)
DISK = tries(25)


@given(RECORDS)
def test_every_record_survives_the_journal_and_the_wire(record):
    """Plain values, JSON of the journal, JSON of the payload: each gives the record back."""
    plain = json.loads(json.dumps(to_plain(record), allow_nan=False))
    assert from_plain(kind_of(record), plain) == record

    entry = Entry(1, "0" * 16 + "-1", kind_of(record), record.utc_s, "", to_plain(record))
    published = json.loads(as_json(payload_of(entry)))
    if not SURROGATE.search(json.dumps(entry.payload, ensure_ascii=False)):
        assert from_plain(kind_of(record), published) == record


@given(st.from_type(Evidence), st.lists(st.just(math.inf) | NUMBER))
def test_evidence_survives_with_infinite_degrees_of_freedom(evidence, degrees):
    """Infinity is the one number JSON lacks and a budget needs."""
    terms = tuple(replace(t, degrees_of_freedom=d) for t, d in zip(evidence.terms, degrees, strict=False))
    evidence = replace(evidence, terms=terms)

    assert evidence_from_plain(json.loads(json.dumps(to_plain(evidence), allow_nan=False))) == evidence


@DISK
@given(st.lists(st.lists(RECORDS, max_size=3), max_size=6), st.data())
def test_the_journal_agrees_with_a_list(batches, data):
    """Append, move cursors, close and open again in any order: a plain list says the same."""

    async def work(folder):
        model, cursor = [], 0
        journal = Journal.open(folder, bench="b", clock=HandClock())
        for batch in batches:
            model += await journal.append([(record, None) for record in batch])
            if data.draw(st.booleans()):
                to = data.draw(st.integers(0, len(model)))
                await journal.move_cursor("x", to)
                cursor = max(cursor, to)
            if data.draw(st.booleans()):
                await journal.close()
                journal = Journal.open(folder, bench="b", clock=HandClock())
            behind = data.draw(st.integers(0, len(model) + 2))
            limit = data.draw(st.integers(1, 5))
            assert await journal.read_after(behind, limit) == model[behind:][:limit]
            assert journal.last_seq == len(model)
            assert await journal.cursor("x") == cursor
        assert [entry.record for entry in await journal.read_after(0, 1000)] == [
            record for batch in batches for record in batch
        ]
        await journal.close()

    with tempfile.TemporaryDirectory() as folder:
        asyncio.run(work(Path(folder)))


def rows_of(file):
    return list(csv.DictReader(io.StringIO(file.read_bytes().decode("utf-8-sig"), newline=""), strict=True))


NUMBERS = {
    "verdict": ("reference_ohm", "raw_ohm", "lead_ohm", "settle_s"),
    "typed_result": ("value_si", "reference_si", "accuracy"),
}


@DISK
@given(OF_A_KIND, st.sampled_from(Split), st.data())
def test_a_csv_cut_anywhere_is_repaired_to_the_same_bytes(records, split, data):
    """Any content, any cut of the latest file: one row a record afterwards, and every text as it was."""
    kind = kind_of(records[0])

    async def work(folder):
        journal = Journal.open(folder / "journal", bench="b", clock=HandClock())
        entries = await journal.append([(record, None) for record in records])
        log = CsvLog(folder / "csv", split, kind)
        async with log:
            await log.send(entries)
        whole = {file: file.read_bytes() for file in (folder / "csv").iterdir()}
        file = data.draw(st.sampled_from(sorted(whole)))
        file.write_bytes(whole[file][: data.draw(st.integers(0, len(whole[file])))])
        again = CsvLog(folder / "csv", split, kind)
        async with again:
            await again.send(await journal.read_after(await again.begins_behind(journal, len(entries))))
        assert {file: file.read_bytes() for file in (folder / "csv").iterdir()} == whole
        await journal.close()

        rows = {row["id"]: row for file in whole for row in rows_of(file)}
        assert set(rows) == {entry.id for entry in entries}
        for entry in entries:
            for column in (c.name for c in COLUMNS_OF[kind] if c.text and c.name in entry.payload):
                text = UNPRINTABLE.sub("\ufffd", entry.payload[column])
                assert rearmed(rows[entry.id][column]) == text
            for name in NUMBERS[kind]:
                cell, value = rows[entry.id][name], entry.payload[name]
                assert (float(cell) if cell else None) == value

    with tempfile.TemporaryDirectory() as folder:
        asyncio.run(work(Path(folder)))


TOP = BOM + ",".join(header()).encode() + b"\r\n"
JUNK = st.binary(max_size=60) | TEXT.map(lambda text: text.encode("utf-8", "replace"))


@DISK
@given(st.binary(max_size=40) | JUNK.map(lambda junk: TOP + junk), VERDICTS)
def test_whatever_lies_where_the_csv_should_be_a_verdict_gets_its_one_row(found, verdict):
    """Any file of that name: a foreign one is left alone, in one of ours or beside it comes one row."""

    async def work(folder):
        journal = Journal.open(folder / "journal", bench="b", clock=HandClock())
        (entry,) = await journal.append([(verdict, None)])
        file = folder / "csv" / f"{file_name(entry.payload, Split.DAY)}.csv"
        file.parent.mkdir()
        file.write_bytes(found)
        for _ in range(2):  # the second time stands for a restart before the cursor was moved
            log = CsvLog(folder / "csv")
            async with log:
                await log.send(await journal.read_after(await log.begins_behind(journal, 0)))
        await journal.close()
        if not found.startswith(TOP) and not TOP.startswith(found):
            assert file.read_bytes() == found
        ids = []
        for each in file.parent.iterdir():
            if each.read_bytes().startswith(TOP):
                text = io.StringIO(each.read_bytes().decode("utf-8", "replace"), newline="")
                ids += [row[1] for row in csv.reader(text) if len(row) == len(COLUMNS)]
        assert ids.count(entry.id) == 1

    with tempfile.TemporaryDirectory() as folder:
        asyncio.run(work(Path(folder)))


@given(st.lists(st.lists(TEXT, min_size=2, max_size=3), max_size=5), st.data())
def test_the_last_whole_row_is_where_a_csv_reader_sees_it(rows, data):
    """Cut rows of any content anywhere: what is kept is a whole number of rows, and as many as fit."""
    pieces = []
    for row in rows:
        text = io.StringIO(newline="")
        csv.writer(text, lineterminator="\r\n").writerow(row)
        pieces.append(text.getvalue().encode("utf-8", "replace"))
    content = b"".join(pieces)
    cut = data.draw(st.integers(0, len(content)))
    ends = [sum(map(len, pieces[:n])) for n in range(len(pieces) + 1)]

    assert whole_length(content[:cut]) == max(end for end in ends if end <= cut)


@given(st.lists(TEXT, min_size=1, max_size=4), TEXT)
def test_no_text_can_pass_for_a_row_of_its_own(texts, more):
    """Names that imitate the beginning of a row, in any order, never change which row is the last."""
    birth = "ab" * 8
    text = io.StringIO(newline="")
    out = csv.writer(text, lineterminator="\r\n")
    out.writerow(header())
    for number, name in enumerate(texts, start=1):
        out.writerow(["1", f"{birth}-{number}", f'{name}\r\n1,{birth}-{10**6},"{more}\r\n1,{birth}-7,'])
    content = BOM + text.getvalue().encode("utf-8", "replace")

    assert numbers_in(content, len(content), birth) == set(range(1, len(texts) + 1))


@given(TEXT, TEXT)
def test_every_batch_has_a_file_of_its_own_inside_the_folder(one, other):
    """Different names, different files; no name leads out of the folder."""
    names = [file_name({"batch": batch}, Split.BATCH) for batch in (one, other)]

    assert (names[0] == names[1]) == (one == other)
    for name in names:
        assert Path(f"{name}.csv").name == f"{name}.csv"
        assert name.isascii()
        assert len(name) < 90
        assert not name.startswith(".")


def test_the_known_verdict_fills_every_column():
    """A column that stays empty for it would be tested by nobody."""
    assert all(getattr(VERDICT, column.name, 0) is not None for column in COLUMNS)


NAMES_OF_1 = st.sampled_from([*RENAMED, *RENAMED.values(), "value", "\\", '"'])
WORDS = st.sampled_from([f'"{old}":' for old in RENAMED] + ['\\"sort\\":', "sort", ':"', "\\"]) | st.text()
OLD_VALUES = st.recursive(
    WORDS | st.none() | st.floats(allow_nan=False, allow_infinity=False),
    lambda part: st.lists(part) | st.dictionaries(NAMES_OF_1, part),
    max_leaves=12,
)


def with_names_of_today(value):
    """Keys replaced, however deep; what stands in a text never."""
    if isinstance(value, dict):
        return {RENAMED.get(key, key): with_names_of_today(part) for key, part in value.items()}
    return [with_names_of_today(part) for part in value] if isinstance(value, list) else value


@given(OLD_VALUES)
def test_names_are_replaced_where_they_are_names_and_nowhere_else(value):
    """In text and in bytes, whatever stands in the values."""
    text = json.dumps(value, separators=(",", ":"))
    assert json.loads(in_todays_names(text)) == with_names_of_today(json.loads(text))
    assert in_todays_names(text.encode()) == in_todays_names(text).encode()
