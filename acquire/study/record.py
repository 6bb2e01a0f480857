"""The plan of a study and its record: JSON lines, only ever added to, on the disk before they are shown.

Who measures which part when, in random order under names that tell nothing; the same for the same seed. The
first line holds the plan and what is judged; then one line for each measurement, and for each that was taken
back. A last line that a power cut has torn is left out and cut off when the study goes on. Not the record of
the shop: nothing of a study is a verdict, and none of it goes into the journal.
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

from acquire.errors import InputImpossible
from drivers.plain_file import read_file
from system.files import lock, to_disk

LETTERS = "ACDEFHJKLMNPRTUVWXY"
"""For labels: letters that are not taken for digits or for one another on a handwritten tag."""

MOST_PARTS, MOST_OPERATORS, MOST_TRIALS = 60, 12, 12
"""More is no study but a mistake in typing."""

LONGEST_NAME = 60
"""Characters of a name; it must fit on a tag and on a line of the report."""


@dataclass(frozen=True, slots=True)
class Part:
    """One unit of the study: two letters drawn at random, told to operators, and its serial or number."""

    label: str
    name: str


@dataclass(frozen=True, slots=True)
class Turn:
    """One measurement that is to be made: its place in the plan, its round, both from 1, by whom, of what."""

    number: int
    trial: int
    operator: str
    label: str


@dataclass(frozen=True, slots=True)
class Plan:
    """Everybody measures every part equally often; the seed gives the order of the turns."""

    parts: tuple[Part, ...]
    operators: tuple[str, ...]
    trials: int
    seed: int
    turns: tuple[Turn, ...]

    def name_of(self, label: str) -> str:
        """Serial or number of the part with that label."""
        return next(part.name for part in self.parts if part.label == label)


def plan_of(parts: Sequence[str], operators: Sequence[str], trials: int, seed: int) -> Plan:
    """Draw labels and an order.

    In each round every operator, in an order drawn anew, measures all parts in an order drawn anew: nobody
    measures one part twice in a row, and nobody need swap places after each part. Common practice
    (AIAG, Measurement Systems Analysis, 4th ed., on conducting a study).

    Args:
        parts: their names, two or more, all different.
        operators: who measures, one or more, all different.
        trials: two or more.
        seed: the same one gives the same plan.

    Raises:
        InputImpossible: too few or too many of something, a name twice, or one that cannot be used.
    """
    _refuse("part", parts, 2, MOST_PARTS)
    _refuse("operator", operators, 1, MOST_OPERATORS)
    if not 2 <= trials <= MOST_TRIALS:
        raise InputImpossible(
            f"A study needs 2 to {MOST_TRIALS} trials, not {trials}.", "Three is usual; give --trials 3."
        )
    dice = random.Random(seed)  # noqa: S311  (an order that can be drawn again, no secret)
    labels = dice.sample([a + b for a in LETTERS for b in LETTERS if a != b], len(parts))
    tagged = tuple(Part(label, name) for label, name in zip(labels, parts, strict=True))
    turns: list[Turn] = []
    last: tuple[str, str] | None = None
    for trial in range(1, trials + 1):
        order = _shuffled(dice, operators)
        for operator in order:
            row = _shuffled(dice, labels)
            if last == (operator, row[0]):  # the same hands on the same part twice in a row are no repeat
                row.append(row.pop(0))
            turns += [Turn(len(turns) + i, trial, operator, label) for i, label in enumerate(row, start=1)]
            last = (operator, row[-1])
    return Plan(tagged, tuple(operators), trials, seed, tuple(turns))


def parts_named(text: str) -> tuple[str, ...]:
    """Names of parts from what was typed: a number makes that many, a list with commas names them.

    Raises:
        InputImpossible: nothing was typed, or a number out of range.
    """
    words = names_in(text)
    if len(words) == 1 and words[0].isdecimal():
        count = int(words[0]) if len(words[0]) < 5 else MOST_PARTS + 1
        if not 2 <= count <= MOST_PARTS:
            raise InputImpossible(
                f"A study needs 2 to {MOST_PARTS} parts, not {words[0]}.", "Ten is usual; give --parts 10."
            )
        return tuple(str(number) for number in range(1, count + 1))
    return words


def names_in(text: str) -> tuple[str, ...]:
    """Names from a list with commas."""
    return tuple(word.strip() for word in text.split(",") if word.strip())


def _refuse(what: str, names: Sequence[str], fewest: int, most: int) -> None:
    if not fewest <= len(names) <= most:
        plural = what if fewest == 1 == most else f"{what}s"
        raise InputImpossible(
            f"A study needs {fewest} to {most} {plural}, not {len(names)}.", f"Name them with --{what}s."
        )
    for name in names:
        if not name.strip() or not name.isprintable() or len(name) > LONGEST_NAME:
            raise InputImpossible(
                f"{name[:LONGEST_NAME]!r} is no name for one of the {what}s.", "Shorten it."
            )
    twice = {name for name in names if names.count(name) > 1}
    if twice:
        raise InputImpossible(f"The {what} {min(twice)} is given twice.", "Give each its own name.")


def _shuffled(dice: random.Random, names: Sequence[str]) -> list[str]:
    row = list(names)
    dice.shuffle(row)
    return row


VERSION = 1
"""Of this spelling; a file of a newer one is refused."""

LARGEST = 50_000_000
"""Bytes; a study of the largest plan is far smaller."""

_HEAD = b'{"study":'
"""How a record begins: what begins otherwise is somebody else's file, and is left alone."""


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
    """Read the record of a study. Raises InputImpossible."""
    try:
        data = read_file(path, LARGEST)
    except OSError as error:
        what = f"{path} cannot be read ({error.strerror})."
        raise InputImpossible(what, "Name the file that a study wrote.") from error
    *lines, rest = data.split(b"\n")
    if not lines:
        raise InputImpossible(f"{path} is no record of a study.", "Name the file that a study wrote.")
    with contextlib.suppress(msgspec.MsgspecError, UnicodeError):
        if (version := msgspec.json.decode(lines[0], type=_Version).study) > VERSION:
            what = f"{path} was written by a newer steadyohm (version {version})."
            raise InputImpossible(what, "Read it with that one.")
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
        what = f"{path}:{place}: this line does not belong to a study's record."
        raise InputImpossible(what, "Take the file as the study wrote it, or begin anew.") from error
    return record


class StudyFile:
    """A record that is being written. Use `begun` or `resumed`."""

    def __init__(self, path: Path, record: StudyRecord, out: IO[bytes]) -> None:
        """Take an open, locked file."""
        self.path, self.record, self._out = path, record, out

    def take(self, measurement: Measurement) -> None:
        """Write a measurement down, in place of an earlier one of the same turn. Raises InputImpossible."""
        self._later(_Later(taken=measurement))

    def take_back(self, turn: int) -> None:
        """Strike the measurement of a turn out; the line itself stays. Raises InputImpossible."""
        self._later(_Later(taken_back=turn))

    def _later(self, line: _Later) -> None:
        self.write(line)
        self.record.add(line)

    def write(self, line: msgspec.Struct) -> None:
        """Write one line; it is on the disk afterwards. Raises InputImpossible."""
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
            raise InputImpossible(what, "Make room; the study continues from what is written.") from error


@contextlib.contextmanager
def begun(path: Path, subject: Subject, plan: Plan, utc_s: float) -> Iterator[StudyFile]:
    """Begin a record; the file must not be there yet, or hold not even its first line.

    Raises:
        InputImpossible: it is there, or cannot be made.
    """
    with _opened(path, os.O_RDWR | os.O_CREAT) as out:
        there = out.read(LARGEST)
        if b"\n" in there or there[: len(_HEAD)] != _HEAD[: len(there)]:
            raise InputImpossible(f"{path} exists already.", "Name another file with --to.")
        os.ftruncate(out.fileno(), 0)
        file = StudyFile(path, StudyRecord(subject, plan, utc_s), out)
        file.write(_First(subject=subject, plan=plan, begun_utc_s=utc_s))
        yield file


@contextlib.contextmanager
def resumed(path: Path) -> Iterator[StudyFile]:
    """Go on with a record. Raises InputImpossible."""
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
        raise InputImpossible(what, "Name another file with --to.") from error
    with out, path.with_name(f".{path.name}.lock").open("wb") as beside:
        if not lock(beside.fileno()):
            what = f"Another program is writing {path}."
            raise InputImpossible(what, "Let that study end, or name another file with --to.")
        yield out
