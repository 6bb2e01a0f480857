"""What a line's database costs as it grows: insert rate, size and reports at 10^4, 10^5 … rows.

Rows up to each size are loaded with COPY straight into the table of entries, in transactions of 20,000 by two
processes, since 10^7 of them by the collector's own batches would take half an hour and say nothing more.
They are the same rows, byte for byte, as the collector makes of messages (checked for a sample before that),
with all indexes in place. The last 10,000 before each size are the collector's own: `Store.write` in batches
of 500, by way of its temporary table, each committed and synced; only these are the insert rate. A checkpoint
and ANALYZE come between the two. Not for the broker (line).
"""

from __future__ import annotations

import asyncio
import json
import random
import shutil
import statistics
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime
from multiprocessing import get_context

import psycopg

from acquire.clock import RealClock
from acquire.journal.entry import Entry
from acquire.journal.plain import kind_of, to_plain
from acquire.journal.query import Query
from acquire.line.incoming import read
from acquire.line.migrating import make_months
from acquire.line.record import LineRecord
from acquire.line.store import COLUMNS, Store, _entry_row
from acquire.outlets.payload import as_json, payload_of
from acquire.outlets.topics import LINE_TOPIC_OF_KIND, Topics
from acquire.records import Outcome
from tests.known_records import CHECK, NOON_S, VERDICT
from tests.postgres import new_database

BENCHES = 50
PACE_S = 60.0
"""Between two verdicts of a bench; 50 benches fill a day with 72,000."""
CHECK_EVERY = 100
"""Of a bench's entries, one is a check standard."""

STEPS = ("slow charge", "fast charge", "trigger")

BATCH = 500
MEASURED = 10_000
"""Rows of each size that go the collector's own way."""
LOADED = 20_000
"""Rows in one transaction of those that only fill the table."""
LOADERS = 2
BYTES_A_ROW = 2500
SPARE_BYTES = 8 * 10**9
"""For the write-ahead log and what else is on the disk."""


def record(bench, seq, dice, *, checks=True):
    """The record of a bench's entry number `seq`: a verdict, or now and then a check standard."""
    utc_s = NOON_S + PACE_S * seq
    if checks and seq % CHECK_EVERY == 0:
        return replace(CHECK, bench=bench, utc_s=utc_s)
    value_ohm = dice.gauss(202.57, 2.0)
    return replace(
        VERDICT, bench=bench, serial=f"{bench}-{seq // 3:07d}", batch=f"lot {seq // 600}",
        step=STEPS[seq % 3],
        reference_ohm=value_ohm, outcome=Outcome.PASS if value_ohm < 206.0 else Outcome.FAIL, utc_s=utc_s,
    )  # fmt: skip


def birth_of(bench):
    """Birth id of a bench's journal."""
    return f"{int(bench.rpartition('-')[2]):016x}"


def payload(bench, seq, made):
    """One record as a bench of a line sends it."""
    plain = to_plain(made)
    entry = Entry(seq, f"{birth_of(bench)}-{seq}", kind_of(made), made.utc_s, plain.get("serial", ""), plain)
    return {**payload_of(entry), "after": seq - 1}


def message(bench, seq, dice, *, checks=True):
    """Topic and payload of a bench's entry number `seq`."""
    made = record(bench, seq, dice, checks=checks)
    return Topics(bench).of(LINE_TOPIC_OF_KIND[kind_of(made)]), as_json(payload(bench, seq, made))


def messages(count, benches=1, first=1):
    """Topics and payloads of verdicts, bench by bench in turn."""
    dice = random.Random(1)
    for number in range(count):
        yield message(f"bench-{number % benches}", first + number // benches, dice, checks=False)


# ---------------------------------------------------------------------------------- filling


def pattern(made, changing):
    """The text of a payload with places for what differs from row to row."""
    plain = payload("bench-0", 1, made)
    parts = []
    for key, value in plain.items():
        text = json.dumps(value, ensure_ascii=False, separators=(",", ":")).replace("%", "%%")
        parts.append(f'"{key}":' + (f"%({key})s" if key in changing else text))
    return "{" + ",".join(parts) + "}"


OF_ALL = ("id", "seq", "bench", "utc_s", "after")
VERDICT_TEXT = pattern(VERDICT, (*OF_ALL, "serial", "batch", "step", "reference_ohm", "outcome"))
CHECK_TEXT = pattern(CHECK, OF_ALL)


def quick_row(bench, seq, dice):
    """What the collector makes of `message`, in a tenth of the time."""
    birth, utc_s = birth_of(bench), NOON_S + PACE_S * seq
    utc = datetime.fromtimestamp(utc_s, UTC)
    words = {
        "id": f'"{birth}-{seq}"',
        "seq": seq,
        "bench": f'"{bench}"',
        "utc_s": repr(utc_s),
        "after": seq - 1,
    }
    if seq % CHECK_EVERY == 0:
        return (
            bench,
            birth,
            seq,
            utc,
            "check_standard",
            "",
            "",
            "",
            CHECK.meter_id,
            None,
            CHECK_TEXT % words,
        )
    value_ohm = dice.gauss(202.57, 2.0)
    serial, batch = f"{bench}-{seq // 3:07d}", f"lot {seq // 600}"
    outcome = "pass" if value_ohm < 206.0 else "fail"
    words |= {
        "serial": f'"{serial}"', "batch": f'"{batch}"', "step": f'"{STEPS[seq % 3]}"',
        "reference_ohm": repr(value_ohm), "outcome": f'"{outcome}"',
    }  # fmt: skip
    names = (serial, batch, VERDICT.sheet, VERDICT.meter_id)
    return (bench, birth, seq, utc, "verdict", *names, outcome, VERDICT_TEXT % words)


def check_rows():
    """Quick rows are those that the collector makes; an error if not."""
    for seq in (1, 2, 99, 100, 101, 12_345, 200_000):
        for bench in ("bench-0", "bench-49"):
            slow, quick = random.Random(seq), random.Random(seq)
            wanted = _entry_row(read(*message(bench, seq, slow)))
            assert quick_row(bench, seq, quick) == wanted, (quick_row(bench, seq, random.Random(seq)), wanted)


def load(address, numbers, seed):
    """Write rows with COPY; gives the seconds it took. One of the loading processes."""
    begun_s, dice, done = time.perf_counter(), random.Random(seed), 0
    with psycopg.connect(address) as connection:
        while done < len(numbers):
            with (
                connection.cursor() as cursor,
                cursor.copy(f"COPY steadyohm.entry ({COLUMNS}) FROM STDIN".encode()) as copy,
            ):
                for number in numbers[done : done + LOADED]:
                    copy.write_row(quick_row(f"bench-{number % BENCHES}", 1 + number // BENCHES, dice))
            connection.commit()
            done += LOADED
    return time.perf_counter() - begun_s


def fill(address, have, upto):
    """Bring the table from so many rows to so many, a line every million."""
    begun_s, from_ = time.perf_counter(), have
    with ProcessPoolExecutor(LOADERS, mp_context=get_context("spawn")) as pool:
        while have < upto:
            behind = min(upto, have + 1_000_000)
            parts = [range(have + part, behind, LOADERS) for part in range(LOADERS)]
            list(pool.map(load, [address] * LOADERS, parts, [have + part for part in range(LOADERS)]))
            have = behind
            took_s = time.perf_counter() - begun_s
            print(f"{have:>9} rows loaded, {(have - from_) / took_s:.0f} /s", flush=True)


# ---------------------------------------------------------------------------------- measuring


async def inserted(address, have):
    """Rates of the collector's own batches, one after another, behind so many rows."""
    dice = random.Random(have)
    rows = [
        read(*message(f"bench-{number % BENCHES}", 1 + number // BENCHES, dice))
        for number in range(have, have + MEASURED)
    ]
    store = Store(address, RealClock())
    await store.open()
    rates = []
    for start in range(0, MEASURED, BATCH):
        begun_s = time.perf_counter()
        await store.write(rows[start : start + BATCH])
        rates.append(BATCH / (time.perf_counter() - begun_s))
    assert store.written == MEASURED, store
    await store.count_arrivals()
    await store.close()
    return rates


REPORTS = {
    "yield of one day, by bench": "SELECT * FROM steadyohm.yield_of_steps WHERE day = '2025-11-25'",
    "capability of one batch": "SELECT count(*), avg(reference_ohm) FROM steadyohm.capability_input"
    " WHERE batch = 'lot 7' AND step = 'slow charge'",
    "one serial": "SELECT * FROM steadyohm.verdict WHERE serial = 'bench-7-0000050'",
    "state of all benches": "SELECT * FROM steadyohm.bench_status",
    "look-back: a meter over an hour": "SELECT count(*) FROM steadyohm.verdict WHERE meter_id = 'bench meter'"
    " AND utc BETWEEN '2025-11-25 13:00+00' AND '2025-11-25 14:00+00'",
    "look-back of a serial, last good check": "SELECT * FROM steadyohm.look_back"
    " WHERE serial = 'bench-7-0000050'",
}

QUESTIONS = {
    "history, the latest 200": Query(limit=200, with_evidence=False),
    "chart: all checks of one bench": Query(kinds=("check_standard",), bench="bench-7", with_evidence=False),
}


def report(address, rows):
    """Sizes, and the time of each report: the median of three."""
    with psycopg.connect(address, autocommit=True) as connection:
        connection.execute("VACUUM ANALYZE steadyohm.entry")
        assert connection.execute("SELECT count(*) FROM steadyohm.entry").fetchone() == (rows,)
        sizes = connection.execute(
            "SELECT sum(pg_table_size(c.oid)), sum(pg_indexes_size(c.oid)) FROM pg_class c WHERE"
            " relname LIKE 'entry_20%' AND relkind = 'r' AND relnamespace = 'steadyohm'::regnamespace"
        ).fetchone()
        table, indexes = (float(size) / rows for size in sizes)
        whole = f"{rows * (table + indexes) / 1e9:.2f} GB"
        print(f"{'':>10} table {table:.0f} B, indexes {indexes:.0f} B a row; {whole}")
        for name, sql in REPORTS.items():
            timed(name, lambda sql=sql: len(connection.execute(sql).fetchall()))
    with LineRecord(address) as found:
        for name, question in QUESTIONS.items():
            timed(name, lambda question=question: sum(1 for _ in found.find(question)))


def timed(name, work):
    """One line: a report's time and the number of its rows."""
    took_ms = []
    for _ in range(3):
        begun_s = time.perf_counter()
        rows = work()
        took_ms.append(1e3 * (time.perf_counter() - begun_s))
    spread = f"({min(took_ms):.1f} to {max(took_ms):.1f})"
    print(f"{'':>10} {name:<40} {statistics.median(took_ms):9.1f} ms {spread}, {rows} rows", flush=True)


def by_rows(postgres, most):
    """Insert rate, sizes and reports as the table grows."""
    free = shutil.disk_usage(tempfile.gettempdir()).free
    if free < most * BYTES_A_ROW + SPARE_BYTES:
        need = f"{(most * BYTES_A_ROW + SPARE_BYTES) / 1e9:.0f} GB in {tempfile.gettempdir()}"
        print(f"{most} rows need {need}, there are {free / 1e9:.0f}: set TMPDIR, or take fewer rows.")
        return
    check_rows()
    address = new_database(postgres)
    asyncio.run(prepared(address, most))
    have, at = 0, 10_000
    while at <= most:
        if at - MEASURED > have:
            fill(address, have, at - MEASURED)
        with psycopg.connect(postgres.address(), autocommit=True) as connection:
            connection.execute("CHECKPOINT")
        with psycopg.connect(address, autocommit=True) as connection:
            connection.execute("ANALYZE steadyohm.entry")
        rates = asyncio.run(inserted(address, at - MEASURED))
        have = at
        spread = f"({min(rates):.0f} to {max(rates):.0f})"
        print(f"{at:>9} rows: {statistics.median(rates):.0f} /s {spread}, batches of {BATCH}", flush=True)
        report(address, at)
        at *= 10


async def prepared(address, most):
    """Make tables, and partitions for all months that the rows lie in."""
    store = await Store(address, RealClock()).open()
    days = range(0, int(PACE_S * (most // BENCHES + 1) / 86_400) + 32, 27)
    months = {datetime.fromtimestamp(NOON_S + 86_400 * day, UTC).date().replace(day=1) for day in days}
    await make_months(store._use(), months)
    await store.close()
