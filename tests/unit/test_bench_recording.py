"""What a recording holds is enough to decide everything again: the same verdicts, byte for byte."""

import asyncio
import contextlib
import json
import shutil

import pytest
from hypothesis import HealthCheck, given
from hypothesis import strategies as st
from typer.testing import CliRunner

from acquire.answers.history import compare
from acquire.bench.recording import RecordingInvalid, replay, verdicts_of
from acquire.bench.service import service_of
from acquire.bench.systemd import Supervisor
from acquire.cli import app
from acquire.clock import HandClock
from acquire.files.settings import load_bench
from acquire.journal.plain import to_plain
from acquire.records import (
    GiveUpUnit,
    Judged,
    MeasureAgain,
    Note,
    Notice,
    Outcome,
    Pair,
    Prompt,
    StartUnit,
    TypeTemperature,
    UnitResult,
)
from acquire.sheets import load_sheet
from drivers.errors import LinkLost
from tests.obedient_meter import StillBench
from tests.tries import tries
from tests.whole_bench import CONFIGS, bench_file, journal_entries


@contextlib.asynccontextmanager
async def recorded(folder, name="day.recording", clock=None):
    """A bench at work that writes a recording."""
    if not (folder / "plover-80.toml").exists():
        shutil.copy(CONFIGS / "sheets" / "plover-80.toml", folder)
    changes = [(f'"{CONFIGS}/sheets/plover-80.toml"', '"plover-80.toml"'), ('"22.5 °C"', '"20 °C"')]
    file = bench_file(folder, meter="tcp:127.0.0.1:9", changes=changes)
    still = StillBench(load_bench(file), clock or HandClock(100.0))
    with (folder / name).open("x", encoding="utf-8", buffering=1) as out:
        await still.assembled(record=out)
        service = service_of(still.daemon, still.bench, Supervisor())
        stop, still.again = asyncio.Event(), asyncio.Event()
        async with asyncio.TaskGroup() as group:
            group.create_task(service.run(stop, still.again), name="service")
            try:
                await still.until(lambda b: b.of(Prompt))
                yield still
            finally:
                still.meter.calm = None
                stop.set()


async def unit(still, serial):
    """One unit from its serial to its result."""
    ended = len(still.of(UnitResult))
    await still.daemon.command(StartUnit(serial))
    await still.until(lambda b: len(b.of(UnitResult)) > ended)


async def eventful_day(folder):
    """Wrong pairs, a fault, a lost link, commands, a typed temperature, a clock set back, other files."""
    async with recorded(folder) as still:
        meter, daemon = still.meter, still.daemon
        meter.slips = {"2–3": Pair("1", "3"), "5–6": Pair("4", "6")}
        await unit(still, "GOOD")
        meter.factor = {"4–6": 0.7}
        await unit(still, "SHORTED")
        meter.factor = {}
        meter.slips = {}
        await daemon.command(StartUnit("LOST"))
        await still.until(lambda b: b.of(Judged)[-1].verdict.serial == "LOST")
        meter.break_with = LinkLost("the cable was pulled", port="tcp")
        await still.until(lambda b: b.notices("meter.back"))
        await still.until(lambda b: b.of(Judged)[-1].verdict.step == "fast charge")
        await daemon.command(MeasureAgain())
        await daemon.command(Note("a remark"))
        await daemon.command(TypeTemperature(23.0))
        await still.until(lambda b: b.of(UnitResult)[-1].serial == "LOST")
        still.clock.now_utc_s -= 7200.0
        await still.until(lambda b: b.notices("clock.set_back"))
        sheet = folder / "plover-80.toml"
        text = sheet.read_text(encoding="utf-8").replace('acceptance = "6 %"', 'acceptance = "5 %"')
        sheet.write_text(text, encoding="utf-8")
        await daemon.command(StartUnit("BEFORE"))
        still.again.set()
        await still.until(lambda b: b.notices("files.waiting") or b.notices("files.taken"))
        await daemon.command(GiveUpUnit("enough"))
        await still.until(lambda b: b.notices("files.taken"))
        await unit(still, "AFTER")
    return still


@pytest.fixture(scope="module")
def day(tmp_path_factory):
    """One eventful day, shared by the tests that only read it."""
    folder = tmp_path_factory.mktemp("day")
    still = asyncio.run(eventful_day(folder))
    return folder, still


def test_the_day_was_eventful(day):
    """What follows would prove little otherwise."""
    _, still = day
    hints = {notice.code for notice in still.of(Notice)}
    outcomes = {result.serial: result.outcome for result in still.of(UnitResult)}
    assert {"pair.other", "meter.lost", "meter.back", "clock.set_back", "files.taken", "note"} <= hints
    assert outcomes["GOOD"] is outcomes["AFTER"] is Outcome.PASS
    assert outcomes["SHORTED"] in (Outcome.FAIL, Outcome.CONDITIONAL_FAIL)
    assert any(notice.code == "step.touched_again" for notice in still.of(Notice))
    assert len({judged.verdict.sheet_hash for judged in still.of(Judged)}) == 2


def test_a_replay_gives_the_verdicts_of_the_journal_byte_for_byte(day):
    """All of them, in order, with nothing more; the units' results too."""
    folder, _ = day
    events = list(replay(folder / "day.recording"))
    again = [json.dumps(to_plain(e.verdict)) for e in events if isinstance(e, Judged)]
    results = [json.dumps(to_plain(e)) for e in events if isinstance(e, UnitResult)]
    assert again == [json.dumps(entry.payload) for entry in journal_entries(folder, "verdict")]
    assert results == [json.dumps(entry.payload) for entry in journal_entries(folder, "unit_result")]
    assert compare(list(verdicts_of(replay(folder / "day.recording"))), folder / "journal")[0]


def test_a_replay_gives_the_evidence_too(day):
    """Trace, raw bytes and budget of every verdict."""
    folder, _ = day
    again = [to_plain(e.evidence) for e in replay(folder / "day.recording") if isinstance(e, Judged)]
    assert again == [entry.evidence for entry in journal_entries(folder, "verdict")]


def test_another_sheet_shows_what_would_have_been_decided(day, tmp_path):
    """Limits so tight that the same readings fail; the recording itself is not changed."""
    folder, _ = day
    text = (CONFIGS / "sheets" / "plover-80.toml").read_text(encoding="utf-8")
    tight = tmp_path / "tight.toml"
    tight.write_text(text.replace('resistance = "202.5201 ohm"', 'resistance = "220 ohm"'), encoding="utf-8")
    before = (folder / "day.recording").read_bytes()
    events = [e for e in replay(folder / "day.recording", load_sheet(tight)) if isinstance(e, Judged)]
    slow = [e.verdict for e in events if e.verdict.step == "slow charge"]
    assert slow
    assert all(verdict.outcome is not Outcome.PASS for verdict in slow)
    result = CliRunner().invoke(
        app,
        [
            "replay",
            str(folder / "day.recording"),
            "--sheet",
            str(tight),
            "--journal",
            str(folder / "journal"),
        ],
    )
    assert result.exit_code == 1
    assert "not on record" in result.output
    assert (folder / "day.recording").read_bytes() == before


def test_the_command_says_that_all_are_on_record(day):
    """Exit code 0."""
    folder, _ = day
    words = ["replay", str(folder / "day.recording"), "--journal", str(folder / "journal"), "--json"]
    result = CliRunner().invoke(app, words)
    assert result.exit_code == 0
    assert "verdicts are on record, byte for byte" in result.output


def test_a_last_line_cut_by_a_power_failure_is_left_out(day, tmp_path):
    """At any byte of it; everything before it is decided again."""
    folder, _ = day
    lines = (folder / "day.recording").read_bytes().splitlines(keepends=True)[:60]
    whole, last = b"".join(lines), sum(len(line) for line in lines[:-1])
    cut = tmp_path / "cut.recording"
    cut.write_bytes(whole[:last])
    expected = len(list(replay(cut)))
    for end in range(last, len(whole), 7):
        cut.write_bytes(whole[:end])
        assert len(list(replay(cut))) == expected


@pytest.mark.parametrize(
    ("damage", "said"),
    [
        (lambda lines: [*lines[:50], "{", *lines[51:]], ":51: this line is no JSON"),
        (lambda lines: [*lines[:50], '["reading", {}]', *lines[51:]], ":51: this line is no part"),
        (lambda lines: [*lines[:50], '["tick", "x", null]', *lines[51:]], ":51: this line is no part"),
        (lambda lines: [*lines[:50], '["command", "Nothing", {}, 0, 0]', *lines[51:]], ":51: this line"),
        (lambda lines: [*lines[:50], "[]", *lines[51:]], ":51: this line is no part"),
        (lambda lines: [*lines[:50], '["bench", {}]', *lines[51:]], ":51: this line is no part"),
        (lambda lines: [*lines[:50], "7", *lines[51:]], ":51: this line is no part"),
        (lambda lines: lines[1:], "is no recording"),
        (lambda lines: lines[:0], "is no recording"),
        (lambda lines: ['["bench", {"version": 99}]', *lines[1:]], "newer version"),
        (lambda lines: ['["bench", {"version": 1}]', *lines[1:]], ":1: the bench cannot be read"),
    ],
)
def test_a_damaged_recording_is_refused_in_one_sentence(day, tmp_path, damage, said):
    """Exit code 2, the line named, no traceback."""
    folder, _ = day
    lines = (folder / "day.recording").read_text(encoding="utf-8").splitlines()
    bad = tmp_path / "bad.recording"
    bad.write_text("".join(line + "\n" for line in damage(lines)), encoding="utf-8")
    with pytest.raises(RecordingInvalid) as refused:
        list(replay(bad))
    assert said in str(refused.value)
    assert "\n" not in str(refused.value)
    assert refused.value.exit_code == 2


@tries(60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_any_damage_is_a_sentence_or_no_damage(day, tmp_path, data):
    """A few bytes of the first lines changed: verdicts or a refusal, never a traceback."""
    folder, _ = day
    start = (folder / "day.recording").read_bytes()[:20_000]
    whole = bytearray(start[: start.rindex(b"\n") + 1])
    for _ in range(data.draw(st.integers(1, 4))):
        whole[data.draw(st.integers(0, len(whole) - 1))] = data.draw(st.integers(0, 255))
    bad = tmp_path / "bad.recording"
    bad.write_bytes(bytes(whole))
    with contextlib.suppress(RecordingInvalid):
        list(replay(bad))


async def test_a_unit_that_went_on_after_a_power_cut_is_replayed_too(tmp_path):
    """The second recording begins with what the journal knew of the unit."""
    clock = HandClock(100.0)
    async with recorded(tmp_path, "first.recording", clock) as still:
        await still.daemon.command(StartUnit("CUT"))
        await still.until(lambda b: len(b.of(Judged)) == 2)
        done = len(still.of(Judged))
    async with recorded(tmp_path, "second.recording", clock) as still:
        await still.until(lambda b: b.of(UnitResult))
    first = [e for e in replay(tmp_path / "first.recording") if isinstance(e, Judged)]
    second = [e for e in replay(tmp_path / "second.recording") if isinstance(e, Judged)]
    on_record = [entry.payload for entry in journal_entries(tmp_path, "verdict")]
    assert len(first) >= done
    assert [to_plain(e.verdict) for e in [*first, *second]] == on_record
