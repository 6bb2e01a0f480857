"""The record of a study: a file of JSON lines, only ever added to, each line on the disk before it is shown.

The first line holds the plan and what is judged; then one line for each measurement, and for each that was
taken back. A last line that a power cut has torn is left out and cut off when the study goes on. Not the
record of the shop: nothing of a study is a verdict, and none of it goes into the journal.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

import msgspec

from acquire.errors import SteadyohmError
from acquire.study.plan import Part, Plan, Turn
from drivers.plain_file import read_file
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
        what = f"{path}:{place}: this line does not belong to a study's record."
        raise StudyFileInvalid(what, "Take the file as the study wrote it, or begin anew.") from error
    return record


class StudyFile:
    """A record that is being written. Use `begun` or `resumed`."""

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
            raise StudyFileInvalid(what, "Make room; the study continues from what is written.") from error


@contextlib.contextmanager
def begun(path: Path, subject: Subject, plan: Plan, utc_s: float) -> Iterator[StudyFile]:
    """Begin a record; the file must not be there yet, or hold not even its first line.

    Raises:
        StudyFileInvalid: it is there, or cannot be made.
    """
    with _opened(path, os.O_RDWR | os.O_CREAT) as out:
        there = out.read(LARGEST)
        if b"\n" in there or there[: len(_HEAD)] != _HEAD[: len(there)]:
            raise StudyFileInvalid(f"{path} exists already.", "Name another file with --to.")
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
            what = f"Another program is writing {path}."
            raise StudyFileInvalid(what, "Let that study end, or name another file with --to.")
        yield out


def part_names(parts: tuple[Part, ...]) -> str:
    """Which tag goes on which part, for the one who hangs them."""
    return ", ".join(f"{part.name} → {part.label}" for part in parts)
