"""The end of a CSV file after a crash: torn rows, torn headers, zeros, and rows that imitate others."""

import pytest

from acquire.outlets.csv_log import BOM, CsvLog
from acquire.outlets.payload import header
from tests.known_records import verdict, verdicts
from tests.memory_disk import folder_in_memory
from tests.unit.test_outlets_csv_log import DAY_FILE, drained, serials, wanted

in_memory = pytest.fixture(folder_in_memory)


async def test_a_last_row_torn_at_any_byte_is_repaired_from_the_journal(journal, in_memory):
    """Every length from nothing to whole, with quotes, line breaks and wide characters in the row."""
    folder = in_memory
    await journal.append([(verdict(1), None), (verdict(2), None)])
    await drained(journal, folder)
    head = (folder / DAY_FILE).stat().st_size
    await journal.append([(verdict(3, operator='Ω "a",\r\n\r\nb', step="=1\r\n1,x"), None)])
    await drained(journal, folder)
    whole = (folder / DAY_FILE).read_bytes()
    outlet = CsvLog(folder)

    for length in range(head, len(whole)):
        (folder / DAY_FILE).write_bytes(whole[:length])
        start = await outlet.begins_behind(journal, 3)
        await outlet.send(await journal.read_after(start))
        assert (folder / DAY_FILE).read_bytes() == whole, f"cut at byte {length}"


async def test_a_header_torn_at_any_byte_is_written_anew(journal, in_memory):
    """A power cut in the first second of a day."""
    folder = in_memory
    await journal.append([(verdict(1), None)])
    await drained(journal, folder)
    whole = (folder / DAY_FILE).read_bytes()
    for length in range(len(BOM) + len(",".join(header())) + 2):
        (folder / DAY_FILE).write_bytes(whole[:length])
        outlet = CsvLog(folder)
        await outlet.send(await journal.read_after(await outlet.begins_behind(journal, 1)))
        assert (folder / DAY_FILE).read_bytes() == whole, f"cut at byte {length}"


async def test_a_tail_of_zeros_is_cut_off(journal, folder):
    """What some file systems leave where a write was under way when the power failed."""
    await journal.append(verdicts(2))
    await drained(journal, folder)
    whole = (folder / DAY_FILE).read_bytes()
    (folder / DAY_FILE).write_bytes(whole + bytes(5000))
    await drained(journal, folder)
    assert (folder / DAY_FILE).read_bytes() == whole
    await journal.append([(verdict(3), None)])
    await drained(journal, folder)

    assert serials(folder / DAY_FILE) == wanted(1, 2, 3)


async def test_a_row_that_imitates_an_id_misleads_nobody(journal, folder):
    """A name with a line break and a forged id inside its quotes is text, not a row."""
    forged = f"x\r\n1,{journal.birth}-999999,"
    await journal.append([(verdict(1, operator=forged), None)])
    await drained(journal, folder)
    await journal.append([(verdict(2, batch=forged), None)])
    await drained(journal, folder)
    await journal.append([(verdict(3), None)])
    await drained(journal, folder)

    assert serials(folder / DAY_FILE) == wanted(1, 2, 3)
