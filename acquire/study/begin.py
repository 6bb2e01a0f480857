"""From what was asked for to the file of a study: begun, or gone on with if nothing has changed.

Not for measuring (`run`).
"""

from __future__ import annotations

import contextlib
import random
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from acquire.bench.assembly import Files
from acquire.clock import Clock
from acquire.errors import InputImpossible, SteadyohmError
from acquire.records import Sheet, Step
from acquire.steps.pairs import PairTable
from acquire.steps.setup_choice import quantity_for
from acquire.study.plan import plan_of
from acquire.study.record import StudyFile, Subject, begun, read_study, resumed
from drivers.plain_file import refuse_no_file
from drivers.reading import Quantity


class StudyChanged(SteadyohmError):
    """A study cannot go on: what it measures or how has changed since it was begun."""

    exit_code = 2


@dataclass(frozen=True, slots=True)
class Wish:
    """What was asked for on the command line.

    Attributes:
        bench: bench file.
        sheet: in place of the bench's own; None takes that.
        step: name of the step; empty takes the only one there is, or that of the file.
        parts, operators: names; empty when a study goes on.
        trials: of each part by each operator.
        seed: of the order; None draws one.
        to: file of the record.
    """

    bench: Path
    sheet: Path | None
    step: str
    parts: Sequence[str]
    operators: Sequence[str]
    trials: int
    seed: int | None
    to: Path


def studied(sheet: Sheet) -> list[Step]:
    """The steps that a study can be of."""
    return [step for step in sheet.steps if step.conducts]


def step_named(files: Files, name: str) -> Step:
    """The step of the sheet that is to be studied. Raises InputImpossible."""
    can = studied(files.place.sheet)
    found = next((step for step in can if step.name == name), None)
    if found is None and not name and len(can) == 1:
        return can[0]
    if found is None:
        there = ", ".join(f'"{step.name}"' for step in can) or "none"
        asked = f'no step "{name}" that is measured in ohms' if name else "more than one step to choose from"
        raise InputImpossible(f"{files.place.sheet.name} has {asked}.", f"Give --step; there are: {there}.")
    return found


def record_of(open_files: contextlib.ExitStack, wish: Wish, files: Files, clock: Clock) -> StudyFile:
    """The file of the study, begun or gone on with."""
    if _begun_before(wish.to):
        record = read_study(wish.to)
        subject = _subject(files, step_named(files, record.subject.step))
        _refuse_another(wish, record.subject, subject)
        _refuse_other_plan(wish, record.plan.operators, [part.name for part in record.plan.parts])
        return open_files.enter_context(resumed(wish.to))
    if not wish.parts or not wish.operators:
        raise InputImpossible("Who measures what?", "Give --parts and --operators.")
    subject = _subject(files, step_named(files, wish.step))
    seed = random.SystemRandom().randrange(1_000_000) if wish.seed is None else wish.seed
    plan = plan_of(wish.parts, wish.operators, wish.trials, seed)
    return open_files.enter_context(begun(wish.to, subject, plan, clock.utc_s()))


def _begun_before(path: Path) -> bool:
    """Whether there is a record with its first line at least."""
    try:
        refuse_no_file(path)
        with path.open("rb") as file:
            return b"\n" in file.readline()
    except FileNotFoundError:
        return False
    except OSError as error:
        raise InputImpossible(
            f"{path} cannot be read ({error.strerror}).", "Name another with --to."
        ) from error


def _subject(files: Files, step: Step) -> Subject:
    """What is measured, where and with what."""
    place, table = files.place, PairTable(files.place.sheet)
    nominal_ohm = table.nominal_ohm(step.pair)
    limits = table.limits_for(step, place.purpose)
    quantity = quantity_for(step, nominal_ohm, files.bench.meter.four_wire_below)
    return Subject(
        bench=place.bench,
        purpose=place.purpose.value,
        sheet=place.sheet.name,
        sheet_hash=place.sheet.content_hash,
        step=step.name,
        pin_a=step.pair.a,
        pin_b=step.pair.b,
        nominal_ohm=nominal_ohm,
        lower_ohm=limits.lower_ohm,
        upper_ohm=limits.upper_ohm,
        reference_celsius=place.sheet.reference_celsius,
        four_wire=quantity is Quantity.RESISTANCE_4W,
        meter=place.meter_model,
        meter_hash=place.meter_hash,
        software=place.software,
    )


def _refuse_another(wish: Wish, before: Subject, now: Subject) -> None:
    """A study that goes on must measure the same thing in the same way."""
    if wish.step and wish.step != before.step:
        raise StudyChanged(
            f'{wish.to} is a study of the step "{before.step}".', "Name another file with --to."
        )
    changed = [
        words
        for name, words in (
            ("bench", "the bench"),
            ("sheet_hash", f"the sheet {before.sheet}"),
            ("meter_hash", f"the meter file {before.meter}"),
            ("four_wire", "two or four wires"),
        )
        if getattr(before, name) != getattr(now, name)
    ]
    if changed:
        raise StudyChanged(
            f"{' and '.join(changed)} changed since {wish.to} was begun.".capitalize(),
            "Put it back, or begin a new study with --to.",
        )


def _refuse_other_plan(wish: Wish, operators: Sequence[str], parts: Sequence[str]) -> None:
    """What is typed when a study goes on must not say something else."""
    if (wish.operators and list(wish.operators) != list(operators)) or (
        wish.parts and list(wish.parts) != list(parts)
    ):
        raise StudyChanged(
            f"{wish.to} is a study with other parts or operators.",
            "Leave --parts and --operators out to continue it, or name another file with --to.",
        )
