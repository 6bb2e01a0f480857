"""Makes a bench's duties from its files: check standard with its chart, calibration, spool cards, habits."""

from __future__ import annotations

from datetime import UTC, datetime, time
from pathlib import Path
from typing import Any

from acquire.clock import Clock
from acquire.conditions import CalibrationDue
from acquire.errors import SteadyohmError
from acquire.files.bench_tables import Overdue
from acquire.files.duty_tables import CheckSettings, OutOfControl, ReferenceSettings
from acquire.files.settings import Bench
from acquire.files.spool_cards import read_spools
from acquire.journal.history import JournalReader
from acquire.journal.query import Query
from acquire.physics.check_standard import Resistor
from acquire.physics.substitution import Comparing
from acquire.physics.wire import SpoolCard
from acquire.records import CheckStandard, Code, Notice, Refusal, Severity
from acquire.steps.checking import CheckDuty
from acquire.verdict.typed import Habit
from acquire.words.refusals import refused
from drivers.models import MeterModel


def checks_of(bench: Bench) -> tuple[CheckDuty, ...]:
    """The check standard of a bench, its chart still empty, then its references by size: fewest turns."""
    standard = () if bench.check is None else (_duty(bench.check, bench),)
    return (*standard, *(_duty(each, bench) for each in sorted(bench.references, key=lambda r: r.value)))


def _duty(settings: CheckSettings | ReferenceSettings, bench: Bench) -> CheckDuty:
    low_ohm = bench.meter.four_wire_below
    how: dict[str, Any] = {}
    if isinstance(settings, ReferenceSettings):
        material = settings.material if settings.golden else ""
        how["comparing"] = Comparing(settings.range, settings.linearity, settings.drift, material)
    else:
        how["stops"], how["keep"] = settings.action is OutOfControl.STOP, settings.readings
    return CheckDuty(
        Resistor(settings.resistor, settings.value, settings.uncertainty, settings.reference_temperature),
        four_wire=settings.wires == 4 if settings.wires else low_ohm is not None and settings.value < low_ohm,
        tempco_per_kelvin=settings.tempco or 0.0,
        every_s=settings.every,
        **how,
    )


def spool_cards(bench: Bench) -> dict[str, SpoolCard]:
    """The shop's own spool cards by what is written on the spool; none where the bench file names no file.

    Raises:
        FileInvalid: the file cannot be read, or holds a fault.
    """
    found = {} if bench.spools is None else read_spools(bench.spools)
    return {name: spool.card for name, spool in found.items()}


def habit(bench: Bench) -> Habit:
    """What the bench takes for granted of typed insulation results."""
    return Habit(bench.insulation.instrument, bench.insulation.accuracy)


def earlier_checks(bench: Bench) -> list[CheckStandard]:
    """The latest check standards on record that this meter has read, oldest first. Blocks while it reads.

    Raises:
        JournalUnusable: there is no journal, or it cannot be read.
    """
    charted = 0 if bench.check is None else bench.check.readings
    limit = 2 * charted + 20 * len(bench.references)  # some of them may have been out of control
    with JournalReader(Path(bench.journal.folder)) as journal:
        found = [entry.record for entry in journal.find(Query(kinds=("check_standard",), limit=limit))]
    return [each for each in found if isinstance(each, CheckStandard) and each.meter_id == bench.meter.id]


def calibration_due(bench: Bench, model: MeterModel) -> CalibrationDue | None:
    """When the meter's calibration falls due; None where its file states no date."""
    if model.calibration is None:
        return None
    due_utc_s = datetime.combine(model.calibration.due, time(), UTC).timestamp()
    return CalibrationDue(model.name, due_utc_s, refuse=bench.meter.overdue is Overdue.REFUSE)


def calibration_notices(model: MeterModel, bench: Bench, clock: Clock) -> list[Notice]:
    """A meter past its calibration date is told or refused, as the bench file says.

    Raises:
        SteadyohmError: it is refused.
    """
    due, now_s = calibration_due(bench, model), clock.utc_s()
    if due is None or not due.past(now_s):
        return []
    if due.refuse:
        raise SteadyohmError(refused({"refusal": Refusal.CALIBRATION_DUE, **due.facts(now_s)}))
    return [Notice(Severity.WARNING, Code.CALIBRATION_DUE, now_s, facts=due.facts(now_s))]
