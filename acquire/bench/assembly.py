"""Makes a daemon from a bench file: reads sheet and meter file, opens the journal, puts the parts together.

The only place that knows both the settings and the parts; nothing runs yet when it is done.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

from acquire import __version__
from acquire.bench.daemon import Daemon
from acquire.bench.duty_setup import (
    calibration_due,
    calibration_notices,
    checks_of,
    earlier_checks,
    habit,
    spool_cards,
)
from acquire.bench.fixture_setup import behind_card, hold_of, sheet_for, wire_up
from acquire.bench.intake import Feed, ScannerFeed, feeds_of, ohmmeter, scanner
from acquire.bench.keyboard import COMMAND_WORDS, into
from acquire.bench.learning import learning
from acquire.bench.publishing import mqtt_outlet
from acquire.bench.recording import RecordedPipeline
from acquire.bench.self_check import mark_of, stand_before, still_holds
from acquire.clock import Clock
from acquire.conditions import BENCH_FILE, Conditions, Temperature
from acquire.files.bench_tables import TemperatureSource, ZeroSource
from acquire.files.settings import Bench
from acquire.heart.serials import SerialRule
from acquire.heart.standstill import ReadElsewhere
from acquire.journal.store import Journal
from acquire.outlets.csv_log import CsvLog, Split
from acquire.outlets.outlet import Health, drain
from acquire.outlets.outlet import Outlet as Drain
from acquire.physics.wire import SpoolCard
from acquire.pipeline import Pipeline
from acquire.records import Circumstances, Code, Event, Fact, LeadZero, Notice, Severity, Sheet
from acquire.records.codes import Order
from acquire.settle import SettleSettings
from acquire.sheets import load_sheet
from acquire.steps.dial import in_fewest_turns
from drivers.handheld.typed import TypedMeter
from drivers.models import MeterModel, load_model
from drivers.reading import Quantity, Ranging
from drivers.registry import driver_class

if TYPE_CHECKING:
    from acquire.bench.page_backend import Shown
    from acquire.page.bench_page import BenchPage

SOFTWARE = f"steadyohm {__version__}"


@dataclass(frozen=True, slots=True)
class Files:
    """What bench, sheet and meter file say, read and checked.

    Attributes:
        bench: the bench file.
        place: with the sheet.
        model: the meter file.
        notices: what the operator must know of them.
        cards: spool cards by what is written on the spool.
    """

    bench: Bench
    place: Circumstances
    model: MeterModel
    notices: tuple[Notice, ...]
    cards: Mapping[str, SpoolCard] = field(default_factory=dict)

    @property
    def limits(self) -> dict[str, Any]:
        """What a pipeline takes of them besides place, meter and conditions."""
        return {
            "settle": _settle(self.bench, self.model),
            "four_wire_below_ohm": self.bench.meter.four_wire_below,
            "order": self.bench.order,
            "checks": checks_of(self.bench),
            "habit": habit(self.bench),
            "calibration": None if self.notices else calibration_due(self.bench, self.model),
            "cards": self.cards,
            "fixture": hold_of(self.bench),
            "serials": SerialRule(self.bench.serial_pattern, COMMAND_WORDS),
            "ranging": ranging(self.bench, self.model),
        }


def ranging(bench: Bench, model: MeterModel) -> Ranging:
    """Who chooses the meter's range."""
    settable = driver_class(bench.meter.driver).capabilities.settable
    return Ranging.SET if settable else model.ranging


def as_asked_for(bench: Bench, sheet: Sheet, model: MeterModel) -> Sheet:
    """The sheet with its steps in the order in which this bench asks for them."""
    by_hand = bench.fixture is None and ranging(bench, model) is Ranging.DIAL
    if not by_hand or bench.order is not Order.GUIDED:
        return sheet
    return in_fewest_turns(sheet, bench.purpose, model)


def read_files(bench: Bench, clock: Clock) -> Files:
    """Read the files that a bench file names.

    Raises:
        FileInvalid, ModelInvalid: the sheet, the meter file or the spool cards cannot be used.
        FixtureUnfit: a pin of the sheet has no channel.
        SteadyohmError: the meter's calibration is overdue, and the bench file says to refuse it then.
    """
    model = load_model(Path(bench.meter.model))
    notices = calibration_notices(model, bench, clock)
    return Files(bench, circumstances(bench, model), model, tuple(notices), spool_cards(bench))


def circumstances(bench: Bench, model: MeterModel) -> Circumstances:
    """A bench as its records name it.

    Raises:
        FileInvalid: the sheet cannot be used.
        FixtureUnfit: a pin of the sheet has no channel.
    """
    return Circumstances(
        bench=bench.name,
        purpose=bench.purpose,
        sheet=as_asked_for(bench, sheet_for(bench, load_sheet(bench.sheet)), model),
        meter_id=bench.meter.id,
        meter_model=model.name,
        meter_hash=model.content_hash,
        bench_hash=bench.content_hash,
        software=SOFTWARE,
        operator=bench.operator,
        batch=bench.batch,
    )


async def assemble(
    bench: Bench,
    *,
    clock: Clock,
    show: Callable[[Event], None],
    environment: Mapping[str, str] | None = None,
    record: TextIO | None = None,
    stop: asyncio.Event | None = None,
    page: BenchPage | None = None,
) -> Daemon:
    """Put a bench together.

    Args:
        bench: as its file says.
        clock: of the bench.
        show: receives every event once it is on the record.
        environment: of the process, for the secrets that the bench file names.
        record: where to write down everything that goes into the heart, for `steadyohm replay`.
        stop: set when somebody with the right to do so ends the bench over the network.
        page: one that is served already and shall show this bench; else the bench file says whether there is
            one.

    Raises:
        FileInvalid, ModelInvalid: the sheet or the meter file cannot be used.
        JournalUnusable: the record cannot be opened.
        DriverUnknown, OptionsInvalid, AddressInvalid: the instruments cannot be made.
    """
    files = read_files(bench, clock)
    journal = await asyncio.to_thread(
        lambda: Journal.open(Path(bench.journal.folder), bench=bench.name, clock=clock)
    )
    conditions = first_conditions(bench, clock)
    made = Pipeline if record is None else partial(RecordedPipeline, out=record)
    pipeline: Pipeline = made(files.place, files.model, conditions, **files.limits)
    if pipeline.checks:
        pipeline.duties.recall(await asyncio.to_thread(earlier_checks, bench))
    if isinstance(pipeline, RecordedPipeline):
        pipeline.begin()
    daemon = Daemon(
        pipeline,
        journal,
        clock,
        [show],
        thermometer_u_kelvin=bench.temperature.standard_uncertainty_kelvin,
        first_notices=[*journal.notices, *files.notices],
    )
    try:
        daemon.learn = learning(journal.path, bench.file.parent, lambda: daemon.pipeline.place.sheet)
        daemon.feeds = _feeds(bench, daemon)
        stop = stop or asyncio.Event()
        _add_outlets(bench, daemon, environment or {}, stop)
        shown = _add_page(bench, daemon, stop, page)
        await _add_self_check(bench, daemon)
        if shown is not None:
            shown.see_readings()
    except BaseException:
        await journal.close()
        raise
    return daemon


def first_conditions(bench: Bench, clock: Clock) -> Conditions:
    """What is known before the first reading: a typed temperature, a stated lead zero."""
    settings, now_s = bench.temperature, clock.utc_s()
    typed = None
    if settings.source is TemperatureSource.TYPED and settings.value is not None:
        typed = Temperature(settings.value, settings.standard_uncertainty_kelvin, now_s, BENCH_FILE)
    leads = bench.leads
    stated = None
    if leads.zero is ZeroSource.VALUE and leads.value is not None:
        u_ohm = leads.standard_uncertainty_ohm or 0.0
        stated = LeadZero(bench.name, bench.meter.id, leads.value, u_ohm, now_s)
    return Conditions(
        temperature_max_age_s=settings.max_age_s,
        lead_max_age_s=leads.max_age,
        lead_wanted=leads.zero is ZeroSource.ASK,
        recheck=leads.recheck,
        coldest_celsius=settings.coldest,
        warmest_celsius=settings.warmest,
        temperature=typed,
        lead=stated,
    )


def _settle(bench: Bench, model: MeterModel) -> SettleSettings:
    """The built-in limits, with the meter's noise and what the bench file sets."""
    noises = [
        each.noise_counts
        for each in model.ranges
        if each.quantity in (Quantity.RESISTANCE, Quantity.RESISTANCE_4W) and each.noise_counts
    ]
    noise = max(noises) if noises else None
    return replace(SettleSettings(noise_counts=noise), **bench.settle.overrides())


def _feeds(bench: Bench, daemon: Daemon) -> list[Feed]:
    """The instruments, not yet opened."""
    meter = ohmmeter(bench, daemon.clock)
    if isinstance(meter, TypedMeter):
        daemon.type_in = into(meter, lambda: daemon.pipeline.meter)
    if bench.fixture is not None:
        meter = behind_card(bench, meter, daemon.pipeline.place.sheet, daemon.clock)
        wire_up(daemon, meter)
    if (named := scanner(bench, daemon.clock)) is not None:
        daemon.scanners = [ScannerFeed("scanner", named, daemon.clock, daemon.command, daemon.tell)]
    return feeds_of(
        bench,
        daemon.clock,
        meter,
        lambda: daemon.pipeline,
        take=daemon.take,
        take_temperature=daemon.take_temperature,
        tell=daemon.tell,
        lost=daemon.link_lost,
    )


async def _add_self_check(bench: Bench, daemon: Daemon) -> None:
    """Put the self-check before the meter, where one is owed and none of today is on record."""
    if bench.meter.self_check is None:
        return
    mark = mark_of(bench.meter, SOFTWARE)
    if still_holds(await daemon.journal.latest_notice(Code.SELF_CHECK_PASSED), mark, daemon.clock.utc_s()):
        return

    def heard() -> None:
        daemon.latest_s["meter"] = daemon.clock.monotonic_s()
        daemon.pipeline.told_of_meter(ReadElsewhere(daemon.latest_s["meter"]))

    others = daemon.subscribers

    def show(event: Event) -> None:
        for subscriber in others:
            subscriber(event)

    daemon.subscribers = [stand_before(daemon.feeds[0], bench.meter, mark, show, heard).display]


def _add_page(bench: Bench, daemon: Daemon, stop: asyncio.Event, page: BenchPage | None) -> Shown | None:
    """Put the page before the bench, where there is one."""
    if page is None and bench.page is None:
        return None
    from acquire.bench.page_backend import open_for, stand_behind  # noqa: PLC0415  (only a page needs a server)

    if page is None and bench.page is not None:
        page = open_for(bench, bench.page)
        daemon.displays["page"] = page.run
        invitation = page.invitation
        daemon.invitation = lambda to_terminal: invitation(to_terminal=to_terminal)
    speed = float(getattr(daemon.clock, "speed", 1.0))
    return None if page is None else stand_behind(page, bench, daemon, stop, speed)


@dataclass(frozen=True, slots=True)
class Drained:
    """An outlet on its cursor; called with the event that asks it to finish."""

    journal: Journal
    outlet: Drain
    health: Health

    async def __call__(self, stop: asyncio.Event) -> None:
        """Follow the journal until asked to finish."""
        await drain(self.journal, self.outlet, self.health.name, stop, health=self.health)


def _add_outlets(bench: Bench, daemon: Daemon, environment: Mapping[str, str], stop: asyncio.Event) -> None:
    """Everyone who follows the journal."""

    async def gone(facts: dict[str, Fact]) -> None:
        await daemon.tell(Notice(Severity.WARNING, Code.CSV_ROWS_GONE, daemon.clock.utc_s(), facts=facts))

    if bench.csv is not None:
        folder, split = Path(bench.csv.folder), Split(bench.csv.per)
        for name, kind in (("csv", "verdict"), ("csv results", "typed_result"), ("csv units", "unit_result")):
            _follow(daemon, name, CsvLog(folder, split, kind, tell=gone))
    if bench.mqtt is not None:
        outlet = mqtt_outlet(bench.mqtt, daemon, environment=environment, stop=stop, software=SOFTWARE)
        _follow(daemon, "mqtt", outlet)


def _follow(daemon: Daemon, name: str, outlet: Drain) -> None:
    """Give an outlet its cursor, and keep its health where monitors look."""
    health = Health(name)
    daemon.healths.append(health)
    daemon.outlets[name] = Drained(daemon.journal, outlet, health)
