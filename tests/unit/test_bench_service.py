"""The daemon as a service: what systemd hears, files read again between units, what monitors are told."""

import asyncio
import contextlib
import json
import socket
import threading

import pytest

from acquire.bench.keyboard import to_command
from acquire.bench.service import service_of
from acquire.bench.systemd import Supervisor
from acquire.clock import HandClock, RealClock
from acquire.errors import InputImpossible
from acquire.files.settings import load_bench
from acquire.records import (
    Ending,
    GiveUpUnit,
    Judged,
    LeadZero,
    Pair,
    StartUnit,
    TypeTemperature,
    UnitResult,
    ZeroLeads,
)
from drivers.errors import LinkTimeout
from tests.obedient_meter import StillBench
from tests.served_bench import WIDER, bench, rewrite
from tests.whole_bench import bench_file, free_port, journal_entries

# ------------------------------------------------------------------ files read again


async def test_unchanged_files_change_nothing(tmp_path):
    """And the bench says so."""
    async with bench(tmp_path) as still:
        heart = still.daemon.pipeline
        still.again.set()
        await still.until(lambda b: b.notices("files.same"))
        assert still.daemon.pipeline is heart


async def test_between_units_other_files_count_at_once(tmp_path):
    """The notice names the sheet and both hashes; the next verdict carries the new one."""
    async with bench(tmp_path) as still:
        old = still.daemon.pipeline.place.sheet.content_hash
        rewrite(tmp_path, "plover-80.toml", WIDER)
        still.again.set()
        await still.until(lambda b: b.notices("files.taken"))
        new = still.daemon.pipeline.place.sheet.content_hash
        assert new != old
        assert still.notices("files.taken")[0].facts == {"sheet": ("Plover 80", new, old)}
        await still.daemon.command(StartUnit("A"))
        await still.until(lambda b: b.of(Judged))
        verdict = still.of(Judged)[0].verdict
        assert verdict.sheet_hash == new
        assert verdict.upper_ohm == pytest.approx(202.5669 * 1.07, rel=1e-3)


async def test_in_the_middle_of_a_unit_other_files_wait_for_its_end(tmp_path):
    """The unit that lies on the bench is judged by one sheet from its first verdict to its last."""
    async with bench(tmp_path) as still:
        old = still.daemon.pipeline.place.sheet.content_hash
        await still.daemon.command(StartUnit("A"))
        await still.until(lambda b: b.of(Judged))
        rewrite(tmp_path, "plover-80.toml", WIDER)
        still.again.set()
        await still.until(lambda b: b.notices("files.waiting"))
        assert not still.notices("files.taken")
        await still.until(lambda b: b.of(UnitResult))
        await still.until(lambda b: b.notices("files.taken"))
        assert {judged.verdict.sheet_hash for judged in still.of(Judged)} == {old}
        await still.daemon.command(StartUnit("B"))
        await still.until(lambda b: len(b.of(UnitResult)) == 2)
        assert still.of(UnitResult)[1].sheet_hash != old
        assert {j.verdict.sheet_hash for j in still.of(Judged) if j.verdict.serial == "B"} == {
            still.daemon.pipeline.place.sheet.content_hash
        }


async def test_a_unit_that_takes_the_place_of_another_begins_with_the_files_that_wait(tmp_path):
    """The one before ends by the old files, as given up."""
    async with bench(tmp_path) as still:
        await still.daemon.command(StartUnit("A"))
        await still.until(lambda b: b.of(Judged))
        rewrite(tmp_path, "plover-80.toml", WIDER)
        still.again.set()
        await still.until(lambda b: b.notices("files.waiting"))
        assert (await still.daemon.command(StartUnit("A")))[0].code == "command.refused"
        await still.daemon.command(StartUnit("B", sure=True))
        await still.until(lambda b: any(j.verdict.serial == "B" for j in b.of(Judged)))
        first = still.of(UnitResult)[0]
        assert (first.serial, first.ending) == ("A", Ending.NEXT_UNIT)
        hashes = {j.verdict.serial: j.verdict.sheet_hash for j in still.of(Judged)}
        assert hashes["A"] == first.sheet_hash != hashes["B"]


async def test_files_put_back_before_the_unit_ends_are_no_change(tmp_path):
    """What waited is forgotten."""
    async with bench(tmp_path) as still:
        still.meter.calm = asyncio.Event().wait  # no reading comes, so the unit stays on the bench
        await still.daemon.command(StartUnit("A"))
        before = (tmp_path / "plover-80.toml").read_bytes()
        rewrite(tmp_path, "plover-80.toml", WIDER)
        still.again.set()
        await still.until(lambda b: b.notices("files.waiting"))
        (tmp_path / "plover-80.toml").write_bytes(before)
        still.again.set()
        await still.until(lambda b: b.notices("files.same"))
        await still.daemon.command(GiveUpUnit("enough"))
        await asyncio.sleep(0.6)
        assert not still.notices("files.taken")


@pytest.mark.parametrize(
    ("name", "old", "new", "said"),
    [
        ("plover-80.toml", 'resistance = "202.5201 ohm"', 'resistance = "202,5201 ohm"', "plover-80.toml:"),
        ("bench-6-digit.toml", "full_scale_si = 1e3", "full_scale_si = -1e3", "full_scale_si"),
        ("bench.toml", "[bench]", "[bench", "bench.toml:"),
        ("bench.toml", 'name = "bench-1"', 'name = "bench-2"', "name in [bench] cannot change"),
        (
            "bench.toml",
            'link = "tcp:127.0.0.1:9"',
            'link = "tcp:127.0.0.1:8"',
            "link in [meter] cannot change",
        ),
        ("bench.toml", 'folder = "csv"', 'folder = "elsewhere"', "[csv] cannot change"),
        ("bench.toml", "[journal]", '[mqtt]\nhost = "b"\n[journal]', "[mqtt] cannot change"),
        ("bench.toml", "[journal]", "[http]\nport = 8470\n[journal]", "[http] cannot change"),
    ],
)
async def test_files_that_cannot_be_used_are_refused_with_the_reason(tmp_path, name, old, new, said):
    """One line; the bench goes on with what it had; put right, they are taken."""
    async with bench(tmp_path) as still:
        heart = still.daemon.pipeline
        rewrite(tmp_path, name, (old, new))
        still.again.set()
        await still.until(lambda b: b.notices("files.refused"))
        cause = still.notices("files.refused")[0].facts["cause"]
        assert said in cause
        assert "\n" not in cause
        assert still.daemon.pipeline is heart
        rewrite(tmp_path, name, (new, old))
        rewrite(tmp_path, "plover-80.toml", WIDER)
        still.again.set()
        await still.until(lambda b: b.notices("files.taken"))


async def test_a_missing_file_is_refused_too(tmp_path):
    """An editor that saves by way of another file leaves a moment without one."""
    async with bench(tmp_path) as still:
        (tmp_path / "plover-80.toml").rename(tmp_path / "away")
        still.again.set()
        await still.until(lambda b: b.notices("files.refused"))
        assert "there is no sheet" in still.notices("files.refused")[0].facts["cause"]


async def test_what_was_measured_and_typed_goes_on_holding(tmp_path):
    """Lead zero and typed temperature survive other files, until the bench file itself states a new one."""
    async with bench(tmp_path, serials=["A"]) as still:
        await still.until(lambda b: b.of(LeadZero) and b.of(UnitResult))
        await still.daemon.command(TypeTemperature(24.0))
        zero = still.daemon.pipeline.conditions.lead
        rewrite(tmp_path, "plover-80.toml", WIDER)
        still.again.set()
        await still.until(lambda b: b.notices("files.taken"))
        conditions = still.daemon.pipeline.conditions
        assert conditions.lead == zero
        assert conditions.temperature.celsius == 24.0
        rewrite(tmp_path, "bench.toml", ('value = "20 °C"', 'value = "19 °C"'))
        still.again.set()
        await still.until(lambda b: len(b.notices("files.taken")) == 2)
        assert still.daemon.pipeline.conditions.temperature.celsius == 19.0
        rewrite(tmp_path, "bench.toml", ("[journal]", '[leads]\nzero = "none"\n\n[journal]'))
        still.again.set()
        await still.until(lambda b: len(b.notices("files.taken")) == 3)
        assert still.daemon.pipeline.conditions.lead is None


async def test_free_order_and_purpose_come_from_the_bench_file(tmp_path):
    """Also at a running bench."""
    async with bench(tmp_path) as still:
        assert still.daemon.pipeline.order == "guided"
        rewrite(tmp_path, "bench.toml", ('purpose = "final"', 'purpose = "incoming"\norder = "free"'))
        still.again.set()
        await still.until(lambda b: b.notices("files.taken"))
        assert still.daemon.pipeline.order == "free"
        assert still.daemon.pipeline.place.purpose == "incoming"


# ------------------------------------------------------------------ systemd


@pytest.fixture
def notified(tmp_path):
    """Stands in for systemd: everything said, in a list."""
    said = []
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as receiver:
        receiver.bind(str(tmp_path / "notify"))
        receiver.settimeout(0.1)
        over = threading.Event()

        def listen():
            while not over.is_set():
                with contextlib.suppress(TimeoutError):
                    said.append(receiver.recv(4096).decode())

        thread = threading.Thread(target=listen)
        thread.start()
        yield said
        over.set()
        thread.join()


def supervised(tmp_path, watchdog_s=0.2):
    environment = {"NOTIFY_SOCKET": str(tmp_path / "notify"), "WATCHDOG_USEC": str(int(watchdog_s * 1e6))}
    return Supervisor.of(environment, 1)


async def heard(said, what, within_s=30.0):
    """Wait until something has been said."""
    async with asyncio.timeout(within_s):
        while not any(what in each for each in said):  # noqa: ASYNC110  (another thread fills the list)
            await asyncio.sleep(0.01)


async def test_readiness_reload_and_stop_are_told(tmp_path, notified):
    """In this order, the reload with the time that Type=notify-reload asks for (sd_notify(3))."""
    async with bench(tmp_path, supervisor=supervised(tmp_path)) as still:
        await heard(notified, "READY=1")
        assert notified[0].startswith("READY=1\nSTATUS=bench-1: 0 verdicts; ")
        notified.clear()
        still.again.set()
        await heard(notified, "READY=1")
        reload_at = next(i for i, each in enumerate(notified) if "RELOADING=1" in each)
        assert "MONOTONIC_USEC=" in notified[reload_at]
        assert any("READY=1" in each for each in notified[reload_at:])
        notified.clear()
    await heard(notified, "STOPPING=1")
    stopping = next(each for each in notified if "STOPPING=1" in each)
    assert "WATCHDOG=1" not in stopping


async def test_the_watchdog_is_fed_only_while_readings_move(tmp_path, notified):
    """A driver that hangs without a word starves it; one that keeps trying to reach its meter feeds it."""
    async with bench(tmp_path, clock=RealClock(), supervisor=supervised(tmp_path)) as still:
        await heard(notified, "WATCHDOG=1")
        hangs = asyncio.Event()
        still.meter.calm = hangs.wait
        await asyncio.sleep(0.4)
        notified.clear()
        await asyncio.sleep(0.5)
        assert not any("WATCHDOG" in each for each in notified)
        still.meter.calm = None
        hangs.set()
        await heard(notified, "WATCHDOG=1")
        notified.clear()
        still.meter.break_with = LinkTimeout("the meter is switched off")
        await heard(notified, "WATCHDOG=1")


async def test_the_watchdog_is_fed_only_while_the_journal_moves(tmp_path, notified):
    """A disk that hangs (its thread never comes back) starves it, though readings flow."""
    async with bench(tmp_path, clock=RealClock(), supervisor=supervised(tmp_path)) as still:
        await heard(notified, "WATCHDOG=1")
        disk = threading.Event()
        still.daemon.journal._thread.submit(disk.wait)
        try:
            await asyncio.sleep(0.4)
            notified.clear()
            before = still.meter.conversion
            await asyncio.sleep(0.5)
            assert still.meter.conversion > before
            assert not any("WATCHDOG" in each for each in notified)
        finally:
            disk.set()
        await heard(notified, "WATCHDOG=1")


# ------------------------------------------------------------------ monitors


async def fetched(port, path):
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    writer.write(f"GET {path} HTTP/1.1\r\nHost: b\r\n\r\n".encode())
    head, _, body = (await reader.read()).decode().partition("\r\n\r\n")
    writer.close()
    return int(head.split()[1]), body


async def test_monitors_are_told_how_the_bench_is(tmp_path):
    """Numbers that agree with the bench; 503 with the reason while the meter is silent."""
    port = free_port()
    listening = ("[journal]", f"[http]\nport = {port}\n\n[journal]")
    async with bench(tmp_path, serials=["A"], changes=[listening]) as still:
        await still.until(lambda b: b.of(UnitResult))
        status, body = await fetched(port, "/health")
        assert (status, json.loads(body)["well"]) == (200, True)
        status, text = await fetched(port, "/metrics")
        numbers = dict(line.rsplit(" ", 1) for line in text.splitlines() if not line.startswith("#"))
        assert status == 200
        assert (
            float(numbers['steadyohm_verdicts_total{bench="bench-1",outcome="pass"}'])
            == still.daemon.outcomes.total()
        )
        assert float(numbers['steadyohm_readings_total{bench="bench-1",meter="meter"}']) > 100
        assert float(numbers['steadyohm_journal_bytes{bench="bench-1"}']) > 10_000
        assert float(numbers['steadyohm_up{bench="bench-1"}']) == 1
        await still.daemon.command(StartUnit(""))
        hangs = asyncio.Event()
        still.meter.calm = hangs.wait
        await asyncio.sleep(0.05)
        still.clock.turn(60.0)
        status, body = await fetched(port, "/health")
        assert status == 503
        assert "silent for 60 s" in json.loads(body)["troubles"][0]
        assert "silent" in still.service.status()
        hangs.set()


async def test_nothing_listens_unless_the_bench_file_says_so(tmp_path):
    """And then on loopback."""
    async with bench(tmp_path) as still:
        assert still.service.port == 0


async def test_a_port_that_is_taken_ends_the_start_and_gives_the_journal_back(tmp_path):
    """One sentence; the next start finds the journal free."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        listening = ("[journal]", f"[http]\nport = {taken.getsockname()[1]}\n\n[journal]")
        file = bench_file(tmp_path, meter="tcp:127.0.0.1:9", changes=[listening])
        still = await StillBench(load_bench(file), HandClock(100.0)).assembled()
        service = service_of(still.daemon, still.bench, Supervisor())
        with pytest.raises(Exception, match="cannot listen"):
            await service.run(asyncio.Event(), asyncio.Event())
    again = await StillBench(load_bench(file), HandClock(100.0)).assembled()
    await again.daemon.journal.close()


# ------------------------------------------------------------------ free order, a typed temperature


@pytest.mark.parametrize("order", ["guided", "free"])
async def test_free_order_takes_whichever_pair_is_touched(tmp_path, order):
    """The second pair first: a verdict where the bench file says free, a hint where it does not."""
    changes = [('purpose = "final"', f'purpose = "final"\norder = "{order}"')]
    async with bench(tmp_path, changes=changes) as still:
        still.meter.slips = {"1–2": Pair("2", "3")}
        await still.daemon.command(StartUnit("A"))
        await still.until(lambda b: b.of(Judged))
        first, hints = still.of(Judged)[0].verdict, still.notices("pair.other")
        assert (first.step, bool(hints)) == (
            ("fast charge", False) if order == "free" else ("slow charge", True)
        )
        await still.until(lambda b: b.of(UnitResult))
        assert still.of(UnitResult)[0].outcome == "pass"


async def test_a_typed_temperature_takes_the_place_of_a_thermometer_that_is_silent(tmp_path):
    """It goes on the record, with the bench's own uncertainty, and verdicts that waited for one come."""
    meter = 'source = "meter"\nlink = "tcp:127.0.0.1:9"\noldest = "4 h"'
    changes = [('source = "typed"\nvalue = "20 °C"', meter)]
    async with bench(tmp_path, changes=changes) as still:
        await still.daemon.command(StartUnit("A"))
        await still.until(lambda b: b.notices("temperature.missing"))
        assert not still.of(Judged)
        await still.daemon.command(to_command(".temperature 21.5 °C"))
        await still.daemon.command(ZeroLeads())  # the probes move, so the next touch is judged
        await still.until(lambda b: b.of(Judged))
        verdict = still.of(Judged)[0].verdict
        assert verdict.winding_celsius == 21.5
        typed = still.daemon.pipeline.conditions.temperature
        assert typed.standard_uncertainty_kelvin == pytest.approx(1.5 / 3**0.5)
        assert [n.facts["celsius"] for n in still.notices("temperature.typed")] == [21.5]
    codes = [e.payload["code"] for e in journal_entries(tmp_path, "notice")]
    assert "temperature.typed" in codes


@pytest.mark.parametrize(
    "line", [".temperature", ".temperature 21.5", ".temperature 21,5 °C", ".temperature 215 °C"]
)
def test_a_temperature_that_may_be_a_slip_is_asked_for_again(line):
    """No unit, a comma, a lost point."""
    with pytest.raises(InputImpossible):
        to_command(line)
