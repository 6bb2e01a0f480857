"""A daemon from a bench file: what the file says is what the parts get, and what cannot be is refused."""

from __future__ import annotations

import fcntl
import hashlib
import os

import pytest

from acquire.bench.assembly import SOFTWARE, assemble
from acquire.clock import HandClock
from acquire.errors import FileInvalid, JournalUnusable, SteadyohmError
from acquire.files.settings import load_bench
from acquire.records import Notice, Purpose, Severity
from drivers.errors import ModelInvalid
from drivers.reading import Kind, Quantity, Reading
from tests.whole_bench import CONFIGS, bench_file


async def assembled(folder, *changes, clock=None, **more):
    """The daemon of a bench file with changes; given back unrun."""
    file = bench_file(folder, meter="tcp:127.0.0.1:9", changes=changes, **more)
    return await assemble(load_bench(file), clock=clock or HandClock(), show=print)


def warm(meter_id, celsius, utc_s):
    """A reading of a thermometer."""
    return Reading(meter_id, Quantity.TEMPERATURE, Kind.VALUE, celsius, utc_s, utc_s, 1)


def is_free(folder):
    """Whether nobody holds the journal of a bench."""
    number = os.open(folder / "journal" / "journal.lock", os.O_RDWR)
    try:
        fcntl.flock(number, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    finally:
        os.close(number)
    return True


async def test_the_circumstances_are_those_of_the_files(tmp_path):
    """Names, purpose and hashes, which every verdict repeats."""
    daemon = await assembled(
        tmp_path, ('purpose = "final"', 'purpose = "incoming"\noperator = "Ida"\nbatch = "lot 7"')
    )
    place = daemon.pipeline.place
    await daemon.journal.close()
    assert (place.bench, place.purpose, place.operator, place.batch) == (
        "bench-1",
        Purpose.INCOMING,
        "Ida",
        "lot 7",
    )
    model = CONFIGS / "meters" / "bench-6-digit.toml"
    assert place.meter_hash == hashlib.sha256(model.read_bytes()).hexdigest()
    assert place.bench_hash == hashlib.sha256((tmp_path / "bench.toml").read_bytes()).hexdigest()
    assert place.software == SOFTWARE
    assert daemon.pipeline.four_wire_below_ohm == 10.0


async def test_instruments_are_made_but_not_opened(tmp_path):
    """A thermometer only where the file names one; the meter is told its integration time."""
    daemon = await assembled(tmp_path)
    await daemon.journal.close()
    assert [feed.name for feed in daemon.feeds] == ["meter"]
    assert daemon.feeds[0].integration_plc == 1.0
    assert not daemon.feeds[0].connected
    (tmp_path / "two").mkdir()
    daemon = await assembled(tmp_path / "two", thermometer="tcp:127.0.0.1:8")
    await daemon.journal.close()
    assert [feed.name for feed in daemon.feeds] == ["meter", "thermometer"]


async def test_a_second_thermometer_has_a_feed_and_an_age_of_its_own(tmp_path):
    """What it says comes under its own name, so that the two can be held against each other."""
    two = ('uncertainty = "0.5 K"', 'uncertainty = "0.5 K"\n[temperature.second]\nlink = "tcp:127.0.0.1:9"')
    daemon = await assembled(tmp_path, two, thermometer="tcp:127.0.0.1:8")
    await daemon.journal.close()
    assert [feed.name for feed in daemon.feeds] == ["meter", "thermometer", "thermometer 2"]
    assert [feed.device.meter_id for feed in daemon.feeds[1:]] == ["thermometer", "thermometer-2"]
    for utc_s in (1.0, 2.0):
        for feed, celsius in zip(daemon.feeds[1:], (22.0, 23.0), strict=True):
            await feed.take(warm(feed.device.meter_id, celsius, utc_s))
    assert daemon.pipeline.conditions.temperature.celsius == 22.5
    assert set(daemon.latest_s) == {"thermometer", "thermometer 2"}


async def test_a_typed_temperature_is_there_from_the_start(tmp_path):
    """With its uncertainty: limits of 1.5 K are a standard uncertainty of 0.87 K (JCGM 100:2008, 4.3.7)."""
    daemon = await assembled(tmp_path)
    await daemon.journal.close()
    typed = daemon.pipeline.conditions.temperature
    assert typed.celsius == 22.5
    assert typed.standard_uncertainty_kelvin == pytest.approx(1.5 / 3**0.5)


async def test_a_stated_lead_zero_is_not_asked_for(tmp_path):
    """And holds from the start."""
    stated = (
        'folder = "csv"\n',
        'folder = "csv"\n[leads]\nzero = "value"\nvalue = "0.21 ohm"\nuncertainty = "0.02 ohm"\n',
    )
    daemon = await assembled(tmp_path, stated)
    await daemon.journal.close()
    assert daemon.pipeline.conditions.lead.value_ohm == 0.21
    assert not daemon.pipeline.conditions.lead_zero_due(daemon.clock.utc_s())


async def test_what_the_settle_table_says_holds(tmp_path):
    """Over the built-in values; the meter's noise comes from its file."""
    more = ('folder = "csv"\n', 'folder = "csv"\n[settle]\nspan = "1.5 s"\nband_counts = 7.0\n')
    daemon = await assembled(tmp_path, more)
    await daemon.journal.close()
    settle = daemon.pipeline.settle
    assert (settle.span_s, settle.band_counts) == (1.5, 7.0)
    assert settle.noise_counts == 6.0


async def test_without_a_csv_table_no_csv_is_written(tmp_path):
    """Nothing follows the journal then."""
    daemon = await assembled(tmp_path, ('[csv]\nfolder = "csv"\n', ""))
    await daemon.journal.close()
    assert "csv" not in daemon.outlets
    assert not (tmp_path / "csv").exists()


@pytest.mark.parametrize(
    ("change", "error"),
    [
        ((str(CONFIGS / "sheets" / "plover-80.toml"), "bad-sheet.toml"), FileInvalid),
        ((str(CONFIGS / "meters" / "bench-6-digit.toml"), "bad-meter.toml"), ModelInvalid),
        (('folder = "journal"', 'folder = "bad-sheet.toml/journal"'), JournalUnusable),
    ],
)
async def test_files_that_cannot_be_used_are_refused_before_anything_is_written(tmp_path, change, error):
    """By sentence, with the file's name."""
    (tmp_path / "bad-sheet.toml").write_text('[sheet]\nnam = "x"\n', encoding="utf-8")
    (tmp_path / "bad-meter.toml").write_text('name = "x"\n', encoding="utf-8")
    with pytest.raises(error, match="bad-"):
        await assembled(tmp_path, change)
    assert not (tmp_path / "csv").exists()


async def test_a_journal_in_use_is_refused(tmp_path):
    """Two benches never write to one journal."""
    first = await assembled(tmp_path)
    with pytest.raises(JournalUnusable, match="in use by another bench"):
        await assembled(tmp_path)
    await first.journal.close()
    again = await assembled(tmp_path)
    await again.journal.close()


async def test_a_failure_half_way_gives_the_journal_back(tmp_path):
    """So that the next start does not find it in use."""
    bench = load_bench(bench_file(tmp_path, meter="tcp:127.0.0.1:9"))
    meter = bench.meter.model_copy(update={"options": {"reply_timeout_s": "soon"}})
    with pytest.raises(Exception, match="reply_timeout_s"):
        await assemble(bench.model_copy(update={"meter": meter}), clock=HandClock(), show=print)
    assert is_free(tmp_path)


@pytest.mark.parametrize("overdue", ["warn", "refuse"])
async def test_a_meter_past_its_calibration_is_told_or_refused(tmp_path, overdue):
    """As the bench file says."""
    text = (CONFIGS / "meters" / "bench-6-digit.toml").read_text(encoding="utf-8")
    due = "[calibration]\ndue = 2023-11-01\n\n[[range]]"
    (tmp_path / "late.toml").write_text(text.replace("[[range]]", due, 1), encoding="utf-8")
    model = (str(CONFIGS / "meters" / "bench-6-digit.toml"), "late.toml")
    policy = ("four_wire_below", f'overdue = "{overdue}"\nfour_wire_below')
    clock = HandClock()  # 14 November 2023
    if overdue == "refuse":
        with pytest.raises(SteadyohmError, match="fell due 13 days ago"):
            await assembled(tmp_path, model, policy, clock=clock)
        assert not (tmp_path / "journal").exists()
        return
    daemon = await assembled(tmp_path, model, policy, clock=clock)
    await daemon.journal.close()
    assert [(n.code, n.weight) for n in daemon.first_notices if isinstance(n, Notice)] == [
        ("calibration.due", Severity.WARNING)
    ]
