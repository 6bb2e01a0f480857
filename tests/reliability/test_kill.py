"""kill -9 at random instants under load: afterwards journal, CSV and what a subscriber received agree."""

import asyncio
import contextlib
import csv
import io
import json
import os
import sys
from collections import Counter
from pathlib import Path

import pytest

from acquire.clock import RealClock
from acquire.journal.history import JournalReader, Query
from acquire.journal.store import Journal
from tests.brokers import Mosquitto, needs_mosquitto, subscriber
from tests.reliability.victims import WORK_A_LIFE

ROOT = Path(__file__).parents[2]


async def killed(tmp_path, kills, seed):
    """Kill so many benches, then compare the three records. Gives the counts."""
    (tmp_path / "work").mkdir()
    with Mosquitto(tmp_path / "broker", "max_queued_messages 0") as broker:
        async with subscriber(broker.port, "steadyohm/v2/+/verdict") as ear:
            words = [tmp_path / "work", broker.port, kills, seed]
            with (tmp_path / "stderr").open("wb") as stderr:
                process = await asyncio.create_subprocess_exec(
                    sys.executable,
                    str(ROOT / "tests" / "reliability" / "victims.py"),
                    *map(str, words),
                    stdout=asyncio.subprocess.PIPE,
                    stderr=stderr,
                    env={**os.environ, "PYTHONPATH": str(ROOT)},
                    cwd=tmp_path,
                )
            out, _ = await process.communicate()
            story = (tmp_path / "stderr").read_text()[-3000:]
            assert process.returncode == 0, story
            assert json.loads(out) == {"ended_early": 0, "last": 0}, story
            await all_heard(tmp_path / "work", ear)
            return await compare(tmp_path / "work", ear)


async def all_heard(folder, ear):
    """What the broker has confirmed may still be on its way; `compare` says what is missing."""
    with JournalReader(folder / "journal") as journal:
        wanted = {entry.id for entry in journal.find(Query(kinds=("verdict",), limit=1_000_000))}
    with contextlib.suppress(TimeoutError):
        await ear.until(lambda e: wanted <= {payload["id"] for payload in e.of("verdict")})


async def compare(folder, ear):
    """Assert that nothing was lost; count what came twice."""
    journal = Journal.open(folder / "journal", bench="north bench", clock=RealClock())
    entries, seq = [], 0
    while batch := await journal.read_after(seq, 5000):
        entries += [entry for entry in batch if entry.kind == "verdict"]
        seq = batch[-1].seq
    cursors = await journal.cursors()
    await journal.close()
    assert journal.notices == [], "the journal was never damaged"

    committed = (folder / "committed").read_text().split()
    in_journal = [entry.serial for entry in entries]
    assert set(committed) <= set(in_journal), "a verdict that was committed is not on the journal"
    assert len(set(in_journal)) == len(in_journal)

    rows = []
    for file in sorted((folder / "csv").glob("*.csv")):
        rows += csv.DictReader(io.StringIO(file.read_bytes().decode("utf-8-sig"), newline=""))
    assert [row["id"] for row in rows] == [entry.id for entry in entries], "CSV: lost, twice, or out of order"
    assert [row["serial"] for row in rows] == in_journal

    heard = {}
    for payload in ear.of("verdict"):
        assert heard.setdefault(payload["id"], payload) == payload, "a copy differs"
    assert set(heard) == {entry.id for entry in entries}, "MQTT: lost or invented"
    assert {p["id"]: p["serial"] for p in heard.values()} == {e.id: e.serial for e in entries}
    first = list(dict.fromkeys(payload["id"] for payload in ear.of("verdict")))
    assert first == [entry.id for entry in entries], "MQTT: first copies out of order"
    assert cursors == {"csv": seq, "mqtt": seq}
    copies = Counter(payload["id"] for payload in ear.of("verdict"))
    return {"verdicts": len(entries), "copies": sum(copies.values()) - len(copies)}


@needs_mosquitto
async def test_ten_killed_benches_lose_nothing(tmp_path):
    """The short form; the long one below."""
    counts = await killed(tmp_path, 10, seed=7)

    assert counts["verdicts"] > 10 * WORK_A_LIFE, "too little work to prove anything"


@needs_mosquitto
@pytest.mark.long
@pytest.mark.timeout(1800)
async def test_five_hundred_killed_benches_lose_nothing(tmp_path, capsys):
    """The long form: at least 500 kills. Prints what it counted."""
    counts = await killed(tmp_path, 500, seed=11)

    with capsys.disabled():
        print(
            f"\n500 kills: {counts['verdicts']} verdicts, lost 0, CSV twice 0, MQTT copies {counts['copies']}"
        )
    assert counts["verdicts"] > 1000
