"""Recordings of everything that went into a heart, and their replay: the same verdicts, byte for byte.

A recording is a text file of JSON objects, one a line: first the bench as it was (place, sheet, meter file,
conditions, limits), then every reading, temperature, tick and command in the order in which the heart took
them. It can be replayed as it was, or against a changed sheet to show what would have been decided. Not the
record of the shop: that is the journal.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, field, fields, replace
from io import StringIO
from pathlib import Path
from typing import Any, Self, TextIO, get_args

from pydantic import BaseModel, ConfigDict, TypeAdapter, ValidationError

from acquire.conditions import CalibrationDue, Conditions
from acquire.errors import NAME_AND_RIGHTS, SteadyohmError
from acquire.heart.fixture_hold import FixtureHold
from acquire.heart.standstill import MeterSaid
from acquire.journal.plain import from_plain, kind_of, to_plain
from acquire.physics.wire import SpoolCard
from acquire.pipeline import Pipeline
from acquire.records import (
    Batch,
    Circumstances,
    ClockSet,
    Command,
    Event,
    Judged,
    Learned,
    Recorded,
    Sheet,
    Verdict,
)
from acquire.records.codes import Order
from acquire.settle import SettleSettings
from acquire.steps.checking import CheckDuty
from acquire.verdict.typed import Habit
from drivers.models import MeterModel
from drivers.plain_file import refuse_no_file
from drivers.reading import Ranging, Reading

VERSION = 3
"""Of this spelling; a recording of a newer one is refused. Version 1 told an interrupted unit in another way:
such a line is refused, everything else of versions 1 and 2 is read."""

LONGEST_LINE = 4_000_000
"""Characters; the first line holds a whole sheet, no other is nearly as long."""

_EXACT = ConfigDict(
    ser_json_bytes="base64", val_json_bytes="base64", ser_json_inf_nan="constants", defer_build=True
)
_COMMANDS = {kind.__name__: kind for kind in get_args(Command)}


class RecordingInvalid(SteadyohmError):
    """A file is no recording, or was cut or changed."""

    exit_code = 2


@dataclass(frozen=True, slots=True)
class RecordedBench:
    """A bench as a recording's first line keeps it: version, meter file, and what makes a pipeline."""

    version: int
    place: Circumstances
    model: MeterModel
    conditions: Conditions
    settle: SettleSettings
    four_wire_below_ohm: float | None
    order: Order
    checks: tuple[CheckDuty, ...] = ()
    habit: Habit = field(default_factory=Habit)
    calibration: CalibrationDue | None = None
    cards: dict[str, SpoolCard] = field(default_factory=dict)
    fixture: FixtureHold | None = None
    learned: Learned = field(default_factory=Learned)
    ranging: Ranging = Ranging.SET


PARTS = tuple(each.name for each in fields(RecordedBench) if each.name not in ("version", "model"))
"""What of a bench goes into its pipeline, beside the meter file."""


class _Exact(BaseModel):
    """One value of any recorded kind; carries the spelling of bytes and infinities to what it holds."""

    model_config = _EXACT
    bench: RecordedBench | None = None
    reading: Reading | None = None
    said: MeterSaid | None = None
    batches: list[Batch] | None = None


def _spelt(**value: Any) -> Any:
    """The JSON value of one field of `_Exact`."""
    (name,) = value
    return _Exact.model_construct(**value).model_dump(mode="json", by_alias=True, include={name})[name]


def _read(**plain: Any) -> Any:
    """One field of `_Exact` from its JSON value."""
    (name,) = plain
    return getattr(_Exact.model_validate(plain), name)


@dataclass
class RecordedPipeline(Pipeline):
    """A pipeline that writes down whatever goes into it, before it does.

    Attributes:
        out: where to write; the caller opens and closes it.
    """

    out: TextIO = field(default_factory=StringIO)

    def begin(self) -> None:
        """Write the first line. Call it when everything is set up and nothing has been fed yet."""
        bench = RecordedBench(VERSION, model=self.meter, **{name: getattr(self, name) for name in PARTS})
        self._write("bench", _spelt(bench=bench))

    def feed(self, reading: Reading) -> list[Event]:
        """As `Pipeline.feed`."""
        self._write("reading", _spelt(reading=reading))
        return super().feed(reading)

    def feed_temperature(self, reading: Reading, standard_uncertainty_kelvin: float) -> list[Event]:
        """As `Pipeline.feed_temperature`."""
        plain = _spelt(reading=reading)
        self._write("air", plain, standard_uncertainty_kelvin)
        return super().feed_temperature(reading, standard_uncertainty_kelvin)

    def tick(self, monotonic_s: float, utc_s: float) -> list[Event]:
        """As `Pipeline.tick`."""
        self._write("tick", monotonic_s, utc_s)
        return super().tick(monotonic_s, utc_s)

    def command(self, command: Command, monotonic_s: float, utc_s: float) -> list[Event]:
        """As `Pipeline.command`."""
        plain = asdict(command)
        self._write("command", type(command).__name__, plain, monotonic_s, utc_s)
        return super().command(command, monotonic_s, utc_s)

    def link_lost(self) -> None:
        """As `Pipeline.link_lost`."""
        self._write("lost")
        super().link_lost()

    def told_of_meter(self, said: MeterSaid) -> None:
        """As `Pipeline.told_of_meter`."""
        self._write("said", _spelt(said=said))
        super().told_of_meter(said)

    def recall(self, batches: Sequence[Batch]) -> None:
        """As `Pipeline.recall`."""
        self._write("batches", _spelt(batches=list(batches)))
        super().recall(batches)

    def replay(self, records: Sequence[Recorded], utc_s: float) -> list[Event]:
        """As `Pipeline.replay`."""
        self._write("replay", [[kind_of(record), to_plain(record)] for record in records], utc_s)
        return super().replay(records, utc_s)

    def on(self, **files: Any) -> Self:
        """As `Pipeline.on`; it begins with a first line of its own."""
        fresh = super().on(**files)
        fresh.begin()
        return fresh

    def _write(self, what: str, *values: Any) -> None:
        self.out.write(json.dumps([what, *values], separators=(",", ":")) + "\n")


def replay(recording: Path, sheet: Sheet | None = None) -> Iterator[Event]:
    """Feed a recording to a fresh heart.

    Args:
        recording: as `run --record` wrote it. A last line cut short by a power failure is left out.
        sheet: to be judged by in place of the recorded one.

    Yields:
        The heart's events in order.

    Raises:
        RecordingInvalid: it cannot be read; names the line.
    """
    lines = _lines(recording)
    pipeline = _fresh(recording, next(lines, None), sheet)
    for number, line in lines:
        try:
            if line[0] == "bench":  # the files were read again: what the heart remembers goes on
                pipeline = pipeline.on(**_parts(line[1], sheet))
            else:
                yield from _step(pipeline, line)
        except (ValueError, TypeError, KeyError, IndexError) as error:
            raise RecordingInvalid(
                f"{recording}:{number}: this line is no part of a recording.", "Was the file changed?"
            ) from error


def verdicts_of(events: Iterator[Event]) -> Iterator[Verdict]:
    """The verdicts among events."""
    return (event.verdict for event in events if isinstance(event, Judged))


def _lines(recording: Path) -> Iterator[tuple[int, list[Any]]]:
    try:
        refuse_no_file(recording)
        with recording.open(encoding="utf-8") as text:
            number = 0
            while line := text.readline(LONGEST_LINE):
                number += 1
                if number == 1 and not line.startswith('["bench"'):
                    raise _no_recording(recording)
                if not line.endswith("\n"):
                    return  # cut short: whatever it was, the heart may not have taken it
                yield number, json.loads(line)
    except FileNotFoundError as error:
        raise RecordingInvalid(f"{recording}: there is no such recording.", "Check the name.") from error
    except OSError as error:
        raise RecordingInvalid(f"{recording} cannot be read: {error.strerror}.", NAME_AND_RIGHTS) from error
    except UnicodeDecodeError as error:
        raise _no_recording(recording) from error
    except ValueError as error:
        raise RecordingInvalid(
            f"{recording}:{number}: this line is no JSON.", "Was the file changed?"
        ) from error


def _no_recording(path: Path) -> RecordingInvalid:
    return RecordingInvalid(
        f"{path}: this is no recording.", "Name a file that `steadyohm run --record` wrote."
    )


def _fresh(recording: Path, first: tuple[int, list[Any]] | None, sheet: Sheet | None) -> Pipeline:
    if first is None:
        raise _no_recording(recording)
    try:
        if int(first[1][1]["version"]) > VERSION:
            raise RecordingInvalid(f"{recording} was made by a newer version of this program.")
        return Pipeline(**_parts(first[1][1], sheet))
    except (ValidationError, KeyError, TypeError, IndexError) as error:
        raise RecordingInvalid(
            f"{recording}:1: the bench cannot be read.", "Was the file changed?"
        ) from error


def _parts(plain: Any, sheet: Sheet | None) -> dict[str, Any]:
    """What a pipeline is made of, from a line that describes the bench."""
    bench: RecordedBench = _read(bench=plain)
    parts = {name: getattr(bench, name) for name in PARTS} | {"meter": bench.model}
    if sheet is not None:
        parts["place"] = replace(bench.place, sheet=sheet)
    return parts


def _step(pipeline: Pipeline, line: list[Any]) -> list[Event]:
    match line:
        case ["reading", plain]:
            return pipeline.feed(_read(reading=plain))
        case ["air", plain, u_kelvin]:
            return pipeline.feed_temperature(_read(reading=plain), float(u_kelvin))
        case ["tick", monotonic_s, utc_s]:
            return pipeline.tick(float(monotonic_s), float(utc_s))
        case ["command", name, plain, monotonic_s, utc_s]:
            if name == "ClockSetBack":  # as recordings of before December 2026 spell it
                name, plain = ClockSet.__name__, {"by_s": -plain["by_s"]}
            command = TypeAdapter(_COMMANDS[name]).validate_python(plain)
            return pipeline.command(command, float(monotonic_s), float(utc_s))
        case ["said", plain]:
            pipeline.told_of_meter(_read(said=plain))
        case ["lost"]:
            pipeline.link_lost()
        case ["batches", plain]:
            pipeline.recall(_read(batches=plain))
        case ["replay", records, utc_s]:
            return pipeline.replay([from_plain(kind, plain) for kind, plain in records], float(utc_s))
        case _:
            raise ValueError("not a known line")
    return []
