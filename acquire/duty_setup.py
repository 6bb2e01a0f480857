"""Makes a bench's duties from its file, and takes up the check standard's chart where the journal left it."""

from __future__ import annotations

from pathlib import Path

from acquire.duty_tables import OutOfControl
from acquire.journal.history import JournalReader, Question
from acquire.physics.check_standard import Resistor
from acquire.records import CheckStandard
from acquire.settings import Bench
from acquire.steps.checking import CheckDuty
from acquire.verdict.typed import Habit


def check_duty(bench: Bench) -> CheckDuty | None:
    """The check standard of a bench, its chart still empty; None where the file has no [check] table."""
    settings, low_ohm = bench.check, bench.meter.four_wire_below
    if settings is None:
        return None
    four_wire = settings.wires == 4 if settings.wires else low_ohm is not None and settings.value < low_ohm
    return CheckDuty(
        Resistor(settings.resistor, settings.value, settings.uncertainty, settings.reference_temperature),
        four_wire=four_wire,
        tempco_per_kelvin=settings.tempco or 0.0,
        every_s=settings.every,
        stops=settings.action is OutOfControl.STOP,
        keep=settings.readings,
    )


def habit(bench: Bench) -> Habit:
    """What the bench takes for granted of typed insulation results."""
    return Habit(bench.insulation.instrument, bench.insulation.accuracy)


def earlier_checks(bench: Bench) -> list[CheckStandard]:
    """The latest check standards on record that this meter has read, oldest first. Blocks while it reads.

    Raises:
        JournalUnusable: there is no journal, or it cannot be read.
    """
    limit = 2 * (bench.check.readings if bench.check else 0)  # some of them may have been out of control
    with JournalReader(Path(bench.journal.folder)) as journal:
        found = [entry.record for entry in journal.find(Question(kinds=("check_standard",), limit=limit))]
    return [each for each in found if isinstance(each, CheckStandard) and each.meter_id == bench.meter.id]
