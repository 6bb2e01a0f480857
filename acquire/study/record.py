"""The record of a study: a file of JSON lines, only ever added to, each line on the disk before it is shown.

It is begun from what was asked for, or gone on with if nothing has changed. Not for measuring (`run`).
"""

from __future__ import annotations

import contextlib
import os
import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

import msgspec

from acquire.bench.assembly import Files
from acquire.clock import Clock
from acquire.errors import InputImpossible, SteadyohmError
from acquire.records import Step
from acquire.steps.pairs import PairTable
from acquire.steps.setup_choice import quantity_for
from acquire.study.plan import Part, Plan, Turn, plan_of
from drivers.plain_file import read_file, refuse_no_file
from drivers.reading import Quantity
from system.files import lock, to_disk

VERSION = 1
"""Of this spelling; a file of a newer one is refused."""

LARGEST = 50_000_000
"""Bytes; a study of the largest plan is far smaller."""

_HEAD = b'{"study":'
"""How a record begins: what begins otherwise is somebody else's file, and is left alone."""


class StudyFileInvalid(SteadyohmError):
    """A file is no record of a study, or was changed, or is in use."""

    exit_code = 2


@dataclass(frozen=True, slots=True)
class Subject:
    """What is measured, where and with what.

    Attributes:
        bench, purpose: as the bench file says.
        sheet, sheet_hash: the unit type and the hash of its file.
        step, pin_a, pin_b: what is measured.
        nominal_ohm: what the circuit gives for this pair.
        lower_ohm, upper_ohm: limits of the step at `reference_celsius`; None where there is none.
        reference_celsius: temperature that all values are brought to.
        four_wire: whether it is measured with four wires.
        meter, meter_hash: the meter file's name and hash.
        software: that began the study.
    """

    bench: str
    purpose: str
    sheet: str
    sheet_hash: str
    step: str
    pin_a: str
    pin_b: str
    nominal_ohm: float
    lower_ohm: float | None
    upper_ohm: float | None
    reference_celsius: float
    four_wire: bool
    meter: str
    meter_hash: str
    software: str


@dataclass(frozen=True, slots=True)
class Measurement:
    """One measurement of a study.

    Attributes:
        turn: number in the plan.
        reference_ohm: without leads, at the reference temperature.
        standard_uncertainty_ohm, expanded_ohm: of that, by the budget of any verdict.
        raw_ohm, lead_ohm: as the meter settled, and what was taken off for the leads.
        winding_celsius: temperature the part was taken to have.
        settle_s: from contact to rest.
        utc_s: when.
        meter_id: which meter.
    """

    turn: int
    reference_ohm: float
    standard_uncertainty_ohm: float
    expanded_ohm: float
    raw_ohm: float
    lead_ohm: float
    winding_celsius: float
    settle_s: float
    utc_s: float
    meter_id: str


@dataclass(slots=True)
class StudyRecord:
    """A study as far as it has come.

    Attributes:
        subject: what is measured.
        plan: by whom, in which order.
        begun_utc_s: when the file was begun.
        taken: the measurement that counts, by number of its turn.
        taken_back: how many measurements were taken back or revised.
        torn: bytes of a torn last line, left out.
    """

    subject: Subject
    plan: Plan
    begun_utc_s: float
    taken: dict[int, Measurement] = field(default_factory=dict)
    taken_back: int = 0
    torn: int = 0

    @property
    def missing(self) -> tuple[Turn, ...]:
        """What is still to be measured, in the order of the plan."""
        return tuple(turn for turn in self.plan.turns if turn.number not in self.taken)

    def add(self, line: _Later) -> None:
        """Take up one line: a measurement in place of an earlier one of its turn, or one struck out."""
        if line.taken is not None:
            self.taken_back += line.taken.turn in self.taken
            self.taken[line.taken.turn] = line.taken
        elif line.taken_back is not None:
            del self.taken[line.taken_back]
            self.taken_back += 1


class _Version(msgspec.Struct):
    study: int


class _First(_Version, forbid_unknown_fields=True, kw_only=True):
    study: int = VERSION
    subject: Subject
    plan: Plan
    begun_utc_s: float


class _Later(msgspec.Struct, forbid_unknown_fields=True, omit_defaults=True):
    taken: Measurement | None = None
    taken_back: int | None = None


def read_study(path: Path) -> StudyRecord:
    """Read the record of a study. Raises StudyFileInvalid."""
    try:
        data = read_file(path, LARGEST)
    except OSError as error:
        what = f"{path} cannot be read ({error.strerror})."
        raise StudyFileInvalid(what, "Name the file that a study wrote.") from error
    *lines, rest = data.split(b"\n")
    if not lines:
        raise StudyFileInvalid(f"{path} is no record of a study.", "Name the file that a study wrote.")
    with contextlib.suppress(msgspec.MsgspecError, UnicodeError):
        if (version := msgspec.json.decode(lines[0], type=_Version).study) > VERSION:
            what = f"{path} was written by a newer steadyohm (version {version})."
            raise StudyFileInvalid(what, "Read it with that one.")
    place = 1
    try:
        first = msgspec.json.decode(lines[0], type=_First)
        record = StudyRecord(first.subject, first.plan, first.begun_utc_s, torn=len(rest))
        known = [turn.number for turn in first.plan.turns]
        for place, each in enumerate(lines[1:], start=2):  # noqa: B007  (told where it ends)
            line = msgspec.json.decode(each, type=_Later)
            known.index(line.taken.turn if line.taken is not None else known[0])
            record.add(line)
    except (msgspec.MsgspecError, ValueError, LookupError) as error:
        what = f"{path}:{place}: this line is none of a study's record."
        raise StudyFileInvalid(what, "Take the file as the study wrote it, or begin anew.") from error
    return record


class StudyFile:
    """A record that is being written. Use `begun` or `resumed`.

    Attributes:
        path: of the file.
        record: as far as it has come.
    """

    def __init__(self, path: Path, record: StudyRecord, out: IO[bytes]) -> None:
        """Take an open, locked file."""
        self.path, self.record, self._out = path, record, out

    def take(self, measurement: Measurement) -> None:
        """Write a measurement down, in place of an earlier one of the same turn. Raises StudyFileInvalid."""
        self._later(_Later(taken=measurement))

    def take_back(self, turn: int) -> None:
        """Strike the measurement of a turn out; the line itself stays. Raises StudyFileInvalid."""
        self._later(_Later(taken_back=turn))

    def _later(self, line: _Later) -> None:
        self.write(line)
        self.record.add(line)

    def write(self, line: msgspec.Struct) -> None:
        """Write one line; it is on the disk afterwards. Raises StudyFileInvalid."""
        number, left = self._out.fileno(), msgspec.json.encode(line) + b"\n"
        end = self._out.seek(0, os.SEEK_END)
        try:
            while left:
                left = left[os.write(number, left) :]
            to_disk(number)
        except OSError as error:
            with contextlib.suppress(OSError):  # half a line is cut off at the next start otherwise
                os.ftruncate(number, end)
            what = f"{self.path} cannot be written ({error.strerror})."
            raise StudyFileInvalid(what, "Make room; the study goes on from what is written.") from error


@contextlib.contextmanager
def begun(path: Path, subject: Subject, plan: Plan, utc_s: float) -> Iterator[StudyFile]:
    """Begin a record; the file must not be there yet, or hold not even its first line.

    Raises:
        StudyFileInvalid: it is there, or cannot be made.
    """
    with _opened(path, os.O_RDWR | os.O_CREAT) as out:
        there = out.read(LARGEST)
        if b"\n" in there or there[: len(_HEAD)] != _HEAD[: len(there)]:
            raise StudyFileInvalid(f"{path} is there already.", "Name another file with --to.")
        os.ftruncate(out.fileno(), 0)
        file = StudyFile(path, StudyRecord(subject, plan, utc_s), out)
        file.write(_First(subject=subject, plan=plan, begun_utc_s=utc_s))
        yield file


@contextlib.contextmanager
def resumed(path: Path) -> Iterator[StudyFile]:
    """Go on with a record. Raises StudyFileInvalid."""
    with _opened(path, os.O_RDWR) as out:
        record = read_study(path)
        if record.torn:
            os.ftruncate(out.fileno(), out.seek(0, os.SEEK_END) - record.torn)
            record.torn = 0
        yield StudyFile(path, record, out)


@contextlib.contextmanager
def _opened(path: Path, flags: int) -> Iterator[IO[bytes]]:
    """Open a record that nobody else writes. The lock is a file beside it: all may read meanwhile."""
    try:
        out = os.fdopen(os.open(path, flags, 0o640), "r+b", buffering=0)  # it holds names
    except OSError as error:
        done = "begun" if flags & os.O_CREAT else "opened"
        what = f"{path} cannot be {done} ({error.strerror})."
        raise StudyFileInvalid(what, "Name another file with --to.") from error
    with out, path.with_name(f".{path.name}.lock").open("wb") as beside:
        if not lock(beside.fileno()):
            what = f"Somebody else is writing {path}."
            raise StudyFileInvalid(what, "Let that study end, or name another file with --to.")
        yield out


def part_names(parts: tuple[Part, ...]) -> str:
    """Which tag goes on which part, for the one who hangs them."""
    return ", ".join(f"{part.name} → {part.label}" for part in parts)


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


def step_named(files: Files, name: str) -> Step:
    """The step of the sheet that is to be studied. Raises InputImpossible."""
    can = [step for step in files.place.sheet.steps if step.conducts]
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
            "Leave --parts and --operators out to go on with it, or name another file with --to.",
        )
