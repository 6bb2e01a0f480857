"""A sheet learnt from good units: of those that somebody at the bench called good, or of told readings.

What ohms cannot tell stands in the file as a question where it belongs, so that it can be used at once and be
completed later. Not for finding the circuit (steps/learn).
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from pathlib import Path

from acquire.errors import FileInvalid, InputImpossible
from acquire.files.toml_file import TomlFile
from acquire.files.toml_template import toml_from
from acquire.journal.entry import Entry
from acquire.journal.query import Query, Record
from acquire.records import Code, Pair
from acquire.reports.visits import Visit, visits_on
from acquire.sheets import sheet_of
from acquire.steps.learn import Learnt, Readings, Structure, learn
from drivers.toml_lines import find_lines

LEAST_OHM = 1e-4
"""Stands for a bond that reads nothing, or less: leads are taken off no better than that."""

LEAST_TOLERANCE, MOST_TOLERANCE = 0.01, 0.3
"""No tolerance is proposed below the first: repeatability and temperature alone come near it. Above the
second the units were too few or not alike: it is left out. Workshop choices."""


def called_good(record: Record) -> dict[str, Readings]:
    """What the good units of the latest sheet read at its reference temperature, without leads, by serial.

    Args:
        record: of a bench. A unit that was called good twice counts as it stood the last time.

    Raises:
        InputImpossible, JournalUnusable: a unit of the record cannot be read.
    """
    asked = Query(kinds=("notice",), with_evidence=False)
    marks = [entry for entry in record.find(asked) if entry.payload.get("code") == Code.UNIT_GOOD]
    visits = [_visit(record, mark) for mark in marks]
    return {
        visit.started.serial: {
            Pair(value.pin_a, value.pin_b): _ohm(value.reference_ohm)
            for value in visit.resistances().values()
        }
        for visit in visits
        if visit.started.sheet_hash == visits[-1].started.sheet_hash
    }


def _visit(record: Record, mark: Entry) -> Visit:
    """The visit that a unit was called good after: the latest that had begun by then."""
    visits = visits_on(record, mark.serial)
    return next(visit for visit in reversed(visits) if visit.started.utc_s <= mark.utc_s)


def _ohm(ohm: float | None) -> float:
    return math.inf if ohm is None else max(ohm, LEAST_OHM)


def learnt(units: Mapping[str, Readings], name: str, core: str, celsius: float = 20.0) -> str:
    """A sheet proposed from good units.

    Args:
        units: what each read, by its name.
        name: of the unit type.
        core: name of the core, empty where there is none; left out where it was not touched.
        celsius: temperature that the readings hold at.

    Raises:
        InputImpossible: no sheet can be made of that; says why.
    """
    touched = any(core in pair for readings in units.values() for pair in readings)
    core = core if touched else ""
    text = sheet_text(name, learn(list(units.values()), core), units=len(units), core=core, celsius=celsius)
    try:
        sheet_of(TomlFile(Path("the proposed sheet"), tomllib.loads(text), find_lines(text), ""))
    except tomllib.TOMLDecodeError as error:
        raise InputImpossible("The names cannot be written into a sheet.", "Use plain letters.") from error
    except FileInvalid as error:
        fault = error.faults[0]
        raise InputImpossible(f"No sheet can be made of that: {fault.what}", fault.remedy) from error
    return text


def sheet_text(name: str, found: Structure, *, units: int, core: str = "", celsius: float = 20.0) -> str:
    """Write a sheet.

    Args:
        name: of the unit type.
        found: from `learn`.
        units: how many good units it rests on.
        core: name of the core, "" when it was not touched.
        celsius: reference temperature of the readings.
    """
    return toml_from(
        Path(__file__).with_name("templates") / "learnt_sheet.toml",
        name=name,
        found=found,
        units=units,
        core=core,
        celsius=celsius,
        steps=_steps(found),
        shown=_shown,
        percent_of=_percent,
        most_percent=100.0 * MOST_TOLERANCE,
    )


def _steps(found: Structure) -> list[tuple[str, Pair]]:
    """Every branch; a star whose middle cannot be touched from pin to pin, all the way round; then sums."""
    pairs = [Pair(each.a, each.b) for each in found.branches if {each.a, each.b} <= set(found.pins)]
    middles: dict[str, list[str]] = {}
    for branch in found.branches:
        if branch.b not in found.pins:
            middles.setdefault(branch.b, []).append(branch.a)
    pairs += [pair for u, v, w in middles.values() for pair in (Pair(u, v), Pair(v, w), Pair(u, w))]
    named = [(f"{pair.a} to {pair.b}", pair) for pair in pairs]
    return named + [(f"{pair.a} to {pair.b}, sum", pair) for pair in found.sums]


def _percent(branch: Learnt) -> float | None:
    """The tolerance to propose, rounded up to a tenth of a percent; None where one unit shows no spread."""
    if branch.tolerance is None:
        return None
    return math.ceil(max(branch.tolerance, LEAST_TOLERANCE) * 1000.0 - 1e-9) / 10.0


def _shown(ohm: float) -> str:
    """Five significant digits without an exponent; four in milliohms."""
    if ohm < 1.0:
        return f"{1000 * ohm:.4g} mohm"
    return f"{ohm:.{max(0, 4 - math.floor(math.log10(ohm)))}f} ohm"
