"""A sheet learnt from good units: of those that somebody at the bench called good, or of told readings.

Not for finding the circuit (steps/learn) nor for how a sheet is written (steps/proposal).
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from pathlib import Path

from acquire.errors import FileInvalid, InputImpossible
from acquire.files.toml_file import TomlFile
from acquire.files.toml_lines import find_lines
from acquire.journal.entry import Entry
from acquire.journal.query import Query, Record
from acquire.records import Code, Pair
from acquire.reports.visits import Visit, visits_on
from acquire.sheets import sheet_of
from acquire.steps.learn import Readings, learn, sheet_text

LEAST_OHM = 1e-4
"""Stands for a bond that reads nothing, or less: leads are taken off no better than that."""


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
