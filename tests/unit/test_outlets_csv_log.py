"""CSV: one row a verdict, exactly one, readable by whatever opens it."""

import asyncio
import csv
import io
import os
import shutil
import sqlite3
from dataclasses import replace

import pytest

from acquire.clock import HandClock
from acquire.journal.store import Journal
from acquire.outlets.csv_log import BOM, CsvLog, Split, file_name
from acquire.outlets.outlet import OutletFailed, drain
from acquire.outlets.payload import header
from acquire.records.codes import Scope
from tests.known_records import NOON_S, NOTICE, RESULT, STARTED, TYPED, VERDICT, verdict, verdicts
from tests.later import pd

DAY_FILE = "verdicts-2025-11-25.csv"


async def drained(journal, folder, split=Split.DAY, kind="verdict", cursor="csv"):
    """Let a fresh outlet bring out all that waits, as a restart does."""
    stop = asyncio.Event()
    stop.set()
    outlet = CsvLog(folder, split, kind)
    await asyncio.wait_for(drain(journal, outlet, cursor, stop), 10.0)
    return outlet


def serials(file):
    """Serials by row, read as anybody would: Python's csv, no options."""
    return [row["serial"] for row in csv.DictReader(lines_of(file))]


def lines_of(file, encoding="utf-8"):
    """The file as `open(file, newline="")` gives it to the csv module."""
    return io.StringIO(file.read_bytes().decode(encoding), newline="")


def wanted(*numbers):
    return [f"PL80-{number:04d}" for number in numbers]


# ---------------------------------------------------------------------- what the file is


async def test_one_row_a_verdict_and_nothing_else(journal, folder):
    """Units, lead zeros and notices have no row."""
    await journal.append(
        [(STARTED, None), (verdict(1), None), (NOTICE, None), (verdict(2), None), (RESULT, None)]
    )
    await drained(journal, folder)

    assert serials(folder / DAY_FILE) == wanted(1, 2)
    assert await journal.cursor("csv") == 5, "the cursor passes what has no row"


async def test_typed_results_have_files_of_their_own(journal, folder):
    """Two outlets, two cursors, one folder; a restart adds nothing."""
    await journal.append([(verdict(1), None), (TYPED, None), (replace(TYPED, batch="lot-7"), None)])
    for _ in range(2):
        for split in Split:
            await drained(journal, folder / split, split, cursor=split.value)
            await drained(journal, folder / split, split, "typed_result", f"{split} results")

    assert {path.relative_to(folder).as_posix() for path in folder.rglob("*.csv")} == {
        "day/verdicts-2025-11-25.csv",
        "day/results-1970-01-01.csv",
        f"batch/{file_name({'batch': 'lot 7'}, Split.BATCH)}.csv",
        "batch/results-without-batch.csv",
        "batch/results-batch-lot-7.csv",
    }
    (first, second) = csv.DictReader(lines_of(folder / "day" / "results-1970-01-01.csv"))
    assert (first["typed"], second["batch"]) == ("insulation = 120 Mohm", "lot-7")
    assert await journal.cursor("day results") == await journal.cursor("day") == 3


async def test_the_bytes_follow_rfc_4180(journal, folder):
    """CRLF ends every record, quotes are doubled, all have as many fields; not checked by our own reader."""
    name = 'Ida, "at\r\nthe bench"'
    await journal.append([(verdict(1, operator=name), None), (verdict(2), None)])
    await drained(journal, folder)
    data = (folder / DAY_FILE).read_bytes()

    assert data.startswith(BOM + b"schema,id,time_utc,")
    assert data.endswith(b"\r\n")
    assert b'"Ida, ""at\r\nthe bench"""' in data
    assert data.replace(b"\r\n", b"").count(b"\n") == 0
    rows = list(csv.reader(lines_of(folder / DAY_FILE, "utf-8-sig"), strict=True))
    assert [len(row) for row in rows] == [len(header())] * 3
    assert rows[1][header().index("operator")] == name


async def test_a_file_is_not_for_everybody(journal, folder):
    """It holds names and serials."""
    await journal.append([(verdict(1), None)])
    await drained(journal, folder)
    (path,) = folder.glob("*.csv")
    assert path.stat().st_mode & 0o007 == 0


async def test_pandas_and_csv_read_it_without_options(journal, folder):
    """Every column by its name in pandas; in plain csv all but the first, which nobody asks for."""
    await journal.append([(verdict(1, operator="Jørgen Łukasz", batch="λ"), None), (verdict(2), None)])
    await drained(journal, folder)

    frame = pd.read_csv(folder / DAY_FILE)
    assert list(frame.columns) == header()
    assert list(frame["serial"]) == wanted(1, 2)
    assert frame["operator"][0] == "Jørgen Łukasz"
    assert frame["reference_ohm"].dtype == float
    assert frame["counts"].dtype == bool
    assert frame["reference_ohm"][0] == VERDICT.reference_ohm
    reader = csv.DictReader(lines_of(folder / DAY_FILE))
    assert reader.fieldnames[1:] == header()[1:]
    assert next(reader)["operator"] == "Jørgen Łukasz"


async def test_a_day_is_a_utc_day(journal, folder):
    """The verdict's own time decides, not the time of writing, so that a late row finds its file."""
    late = replace(VERDICT, serial="late", utc_s=NOON_S + 12 * 3600 - 0.001)
    early = replace(VERDICT, serial="early", utc_s=NOON_S + 12 * 3600)
    await journal.append([(late, None), (early, None)])
    await drained(journal, folder)

    assert serials(folder / DAY_FILE) == ["late"]
    assert serials(folder / "verdicts-2025-11-26.csv") == ["early"]


async def test_each_batch_has_a_file_of_its_own(journal, folder):
    """Rows of several batches, mixed, find their files."""
    await journal.append([(verdict(n, batch=("lot-7", "lot-8", "")[n % 3]), None) for n in range(9)])
    await drained(journal, folder, Split.BATCH)

    assert serials(folder / "batch-lot-7.csv") == wanted(0, 3, 6)
    assert serials(folder / "batch-lot-8.csv") == wanted(1, 4, 7)
    assert serials(folder / "verdicts-without-batch.csv") == wanted(2, 5, 8)


@pytest.mark.parametrize(
    "batch",
    [
        "../../etc/passwd",
        "/etc/passwd",
        "..",
        ".",
        "a/b",
        "a\\b",
        "a\x00b",
        "x" * 500,
        "Ω",
        "\ud800",
        "a b",
        " ",
    ],
)
async def test_a_hostile_batch_name_stays_inside_the_folder(journal, folder, batch):
    """The name is text; the file is ours."""
    await journal.append([(verdict(1, batch=batch), None)])
    before = set(folder.parent.rglob("*"))
    await drained(journal, folder, Split.BATCH)

    (file,) = {path for path in folder.parent.rglob("*") if path.suffix == ".csv"} - before
    assert file.parent == folder
    assert len(file.name) < 100
    assert file.name.isascii()


def test_batches_that_look_alike_have_different_files():
    """And the same batch always has the same."""
    names = [file_name({"batch": batch}, Split.BATCH) for batch in ("a b", "a/b", "a_b", "a\\b", "")]

    assert len(set(names)) == 5
    assert file_name({"batch": "a b"}, Split.BATCH) == names[0]


def test_a_broken_clock_has_a_file_too():
    """A time outside the calendar is no reason to lose a row."""
    assert file_name({"utc_s": 1e18}, Split.DAY) == "verdicts-undated"


# ---------------------------------------------------------------------- restarts and accidents


async def test_rows_go_on_behind_the_last_one(journal, folder):
    """One header, no row twice, over several starts."""
    for start in range(3):
        await journal.append([(verdict(3 * start + n), None) for n in range(3)])
        await drained(journal, folder)

    assert serials(folder / DAY_FILE) == wanted(*range(9))


async def test_a_crash_between_row_and_cursor_gives_no_second_row(journal, folder, tmp_path):
    """The row is on the disk, the cursor is not: the id in the row decides."""
    await journal.append(verdicts(5))
    await drained(journal, folder)
    await journal.close()
    with sqlite3.connect(journal.path) as before_the_crash:
        before_the_crash.execute("UPDATE cursor SET seq = 2")
    before_the_crash.close()

    again = Journal.open(journal.path.parent, bench="b", clock=HandClock())
    await again.append([(verdict(6), None)])
    await drained(again, folder)
    await again.close()

    assert serials(folder / DAY_FILE) == wanted(1, 2, 3, 4, 5, 6)


async def test_a_crash_between_two_files_of_one_batch_of_rows_loses_none(journal, folder):
    """Each file knows its own last row; the higher number in one does not hide a gap in the other."""
    await journal.append([(verdict(n, batch="ab"[n % 2]), None) for n in range(6)])
    await drained(journal, folder, Split.BATCH)
    (folder / "batch-b.csv").unlink()
    await journal.close()
    with sqlite3.connect(journal.path) as before_the_crash:
        before_the_crash.execute("UPDATE cursor SET seq = 0")
    before_the_crash.close()

    again = Journal.open(journal.path.parent, bench="b", clock=HandClock())
    await drained(again, folder, Split.BATCH)
    await again.close()

    assert serials(folder / "batch-a.csv") == wanted(0, 2, 4)
    assert serials(folder / "batch-b.csv") == wanted(1, 3, 5)


async def test_a_file_with_other_columns_is_left_alone(journal, folder):
    """A spreadsheet has saved it in its own way: rows go on in a file beside it."""
    folder.mkdir()
    (folder / DAY_FILE).write_text("serial;ohm\n1;2\n")
    await journal.append(verdicts(2))
    await drained(journal, folder)

    assert (folder / DAY_FILE).read_text() == "serial;ohm\n1;2\n"
    assert serials(folder / "verdicts-2025-11-25-2.csv") == wanted(1, 2)


async def test_a_file_of_fewer_columns_stays_and_rows_tell_what_they_are_about_beside_it(journal, folder):
    """As it was before `scope` came: every reader of that file finds it as it was."""
    folder.mkdir()
    before = ",".join(header()[: header().index("scope")])
    (folder / DAY_FILE).write_text(f"\ufeff{before}\r\n", encoding="utf-8")
    only = verdict(1, scope=Scope.CONTINUITY_ONLY, against="R100", off_ohm=0.3)
    await journal.append([(only, None), (verdict(2), None)])
    await drained(journal, folder)
    assert before == (folder / DAY_FILE).read_text(encoding="utf-8-sig").strip()
    text = (folder / "verdicts-2025-11-25-2.csv").read_text(encoding="utf-8-sig")
    rows = list(csv.DictReader(text.splitlines()))
    assert [(row["scope"], row["against"], row["off_ohm"]) for row in rows] == [
        ("continuity_only", "R100", "0.3"),
        ("tolerance", "", "0.0"),
    ]


async def test_a_file_taken_away_is_not_written_again(journal, folder):
    """Somebody has filed it elsewhere; what is new begins a new file."""
    await journal.append(verdicts(2))
    await drained(journal, folder)
    (folder / DAY_FILE).unlink()
    await journal.append([(verdict(3), None)])
    await drained(journal, folder)

    assert serials(folder / DAY_FILE) == wanted(3)


async def test_a_repair_does_not_bring_back_a_file_that_was_taken_away(journal, folder):
    """One batch's file is torn, so older entries are looked at again; the other batch's file stays away."""
    await journal.append([(verdict(n, batch="ab"[n % 2]), None) for n in range(6)])
    await drained(journal, folder, Split.BATCH)
    whole = (folder / "batch-a.csv").read_bytes()
    (folder / "batch-a.csv").write_bytes(whole[:-900])
    (folder / "batch-b.csv").unlink()
    await drained(journal, folder, Split.BATCH)

    assert (folder / "batch-a.csv").read_bytes() == whole
    assert not (folder / "batch-b.csv").exists()


async def test_a_file_taken_away_while_running_begins_anew(journal, folder):
    """With its header."""
    outlet = CsvLog(folder)
    async with outlet:
        await outlet.begins_behind(journal, 0)
        await outlet.send(await journal.append([(verdict(1), None)]))
        (folder / DAY_FILE).rename(folder / "mine.csv")
        await outlet.send(await journal.append([(verdict(2), None)]))

    assert serials(folder / DAY_FILE) == wanted(2)


async def test_rows_deleted_from_a_file_are_told_with_what_is_missing(journal, folder):
    """In its middle they stay away, at its end they are written again; either is told, once a start."""
    await journal.append(verdicts(6))
    await drained(journal, folder)
    whole = (folder / DAY_FILE).read_bytes().split(b"\r\n")
    (folder / DAY_FILE).write_bytes(b"\r\n".join([*whole[:2], *whole[4:6], b""]))
    told = []

    async def tell(facts):
        told.append(facts)

    outlet = CsvLog(folder, tell=tell)
    for _ in range(2):
        await outlet.begins_behind(journal, 6)
    ends = {"first": f"{journal.birth}-2", "last": f"{journal.birth}-6"}
    assert told == [{"file": str(folder / DAY_FILE), "rows": 3, **ends, "folder": str(journal.path.parent)}]
    await drained(journal, folder)
    assert serials(folder / DAY_FILE) == wanted(1, 4, 5, 6)


async def test_a_file_as_it_was_written_and_one_taken_away_are_no_news(journal, folder):
    await journal.append([*verdicts(3), (verdict(4, utc_s=NOON_S + 86_400.0), None)])
    await drained(journal, folder)
    (folder / DAY_FILE).rename(folder.parent / "mine.csv")

    async def tell(facts):
        raise AssertionError(facts)

    await CsvLog(folder, tell=tell).begins_behind(journal, 4)


async def test_a_link_in_the_folder_is_not_followed(journal, folder, tmp_path):
    """It could lead to a file that is none of ours."""
    folder.mkdir()
    (tmp_path / "precious").write_text("")
    (folder / DAY_FILE).symlink_to(tmp_path / "precious")
    os.mkfifo(folder / "verdicts-2025-11-25-2.csv")
    await journal.append(verdicts(1))
    await drained(journal, folder)

    assert (tmp_path / "precious").read_text() == ""
    assert serials(folder / "verdicts-2025-11-25-3.csv") == wanted(1)


async def test_a_new_journal_goes_on_in_the_same_file(journal, folder, tmp_path):
    """After a damaged journal was set aside its numbers begin anew; rows already there stay as they are."""
    await journal.append(verdicts(5))
    await drained(journal, folder)
    other = Journal.open(tmp_path / "other", bench="b", clock=HandClock())
    await other.append([(verdict(6), None)])
    await drained(other, folder)
    await other.append([(verdict(7), None)])
    await drained(other, folder)
    await other.close()

    assert serials(folder / DAY_FILE) == wanted(1, 2, 3, 4, 5, 6, 7)


async def test_an_older_journal_put_back_does_not_swallow_rows(journal, folder, tmp_path):
    """Its numbers are taken already: it goes on behind them, so that no id is given twice."""
    await journal.append(verdicts(3))
    await drained(journal, folder)
    await journal.close()
    shutil.copy(journal.path, tmp_path / "backup.db")
    again = Journal.open(journal.path.parent, bench="b", clock=HandClock())
    await again.append([(verdict(4), None), (verdict(5), None)])
    await drained(again, folder)
    await again.close()
    shutil.copy(tmp_path / "backup.db", journal.path)

    back = Journal.open(journal.path.parent, bench="b", clock=HandClock())
    await drained(back, folder)
    await back.append([(verdict(6), None)])
    await drained(back, folder)
    await back.close()

    assert serials(folder / DAY_FILE) == wanted(1, 2, 3, 4, 5, 6)
    ids = pd.read_csv(folder / DAY_FILE)["id"]
    assert ids.is_unique


async def test_a_clock_set_back_and_forward_loses_no_row(journal, folder):
    """Over midnight and back, between starts and within one: each row once, in its day's file, in order."""
    days = [0, 1, -1, 0, 2, 0, -1]
    for number, day in enumerate(days):
        now_s = NOON_S + day * 86_400.0
        await journal.append([(verdict(10 * number + n, utc_s=now_s), None) for n in range(2)])
        await drained(journal, folder)

    found = {file.name: serials(file) for file in folder.iterdir()}
    assert found == {
        f"verdicts-2025-11-{25 + day}.csv": wanted(
            *(10 * number + n for number, other in enumerate(days) if other == day for n in range(2))
        )
        for day in set(days)
    }


async def test_a_folder_that_cannot_be_made_is_told(journal, tmp_path):
    """And what waits stays in the journal."""
    (tmp_path / "csv").write_text("in the way")
    with pytest.raises(OutletFailed, match="cannot be written"):
        async with CsvLog(tmp_path / "csv"):
            pass


async def test_a_full_disk_leaves_no_half_row(journal, folder, monkeypatch):
    """What was written of a row is taken back; later it is written whole."""
    await journal.append(verdicts(2))
    await drained(journal, folder)
    entries = await journal.append([(verdict(3), None)])
    outlet = CsvLog(folder)
    await outlet.begins_behind(journal, 2)

    def full(number, data):
        os.pwrite(number, bytes(data[:100]), 0)
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr("acquire.outlets.csv_log._write_all", full)
        with pytest.raises(OutletFailed, match="No space left"):
            await outlet.send(entries)
    assert serials(folder / DAY_FILE) == wanted(1, 2)
    await outlet.send(entries)

    assert serials(folder / DAY_FILE) == wanted(1, 2, 3)


async def test_twenty_foreign_files_are_enough(journal, folder):
    """Rather a clear message than an endless search."""
    folder.mkdir()
    for number in range(1, 21):
        (folder / (DAY_FILE if number == 1 else f"verdicts-2025-11-25-{number}.csv")).write_text(
            "foreign " * 99
        )
    outlet = CsvLog(folder)
    with pytest.raises(OutletFailed, match="other columns"):
        await outlet.send(await journal.append(verdicts(1)))
