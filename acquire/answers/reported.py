"""Answers from values that somebody else has read off a meter: explain, identify, learn.

The diagnosis itself is verdict/, the circuit from good units is steps/.
"""

from __future__ import annotations

import csv
import io
import math
import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Annotated

import typer

from acquire.answers.explain import Explanation, Told, explain, weighed
from acquire.answers.options import AsJson, say, say_json
from acquire.errors import InputImpossible
from acquire.files.shipped import named
from acquire.journal.history import JournalReader
from acquire.physics.accuracy import accuracy_terms
from acquire.physics.checks import of_leads, of_winding
from acquire.physics.copper import CONDUCTORS
from acquire.quantity import parse, possible
from acquire.records import Pair, Term
from acquire.reports.lessons import called_good, learnt
from acquire.sheets import load_sheet
from acquire.verdict.identify import identify
from acquire.words.faults import sentence
from acquire.words.saying import sureness
from drivers.models import MeterModel, load_model
from drivers.plain_file import read_file
from drivers.reading import Quantity

OPEN_WORDS = frozenset({"open", "ol", "o.l", "inf"})
"""How people say that a display shows overload."""

MOST_TOLD = 190
"""Readings weighed together: every pair of 20 pins. Memory grows with their square and the faults."""


_WRITE = "Write it as 1-2=214.6 or 1-CORE=open."


def pair_of(pins: str, text: str = "") -> Pair:
    """Read a pair such as "1-2".

    Raises:
        InputImpossible: it cannot be read; says how to write it.
    """
    a, dash, b = (part.strip() for part in pins.replace("–", "-").partition("-"))
    if not (dash and a and b):
        what, remedy = ("reading", _WRITE) if text else ("pair", "Write it as 1-2.")
        raise InputImpossible(f'"{text or pins}" is no {what}.', remedy)
    return Pair(a, b)


def reading_of(text: str) -> tuple[Pair, float]:
    """Read one value such as "1-2=214.6", "1-2=214.6 ohm" or "1-CORE=open".

    Raises:
        InputImpossible: it cannot be read; says how to write it.
    """
    pins, equals, value = text.partition("=")
    if not equals:
        raise InputImpossible(f'"{text}" is no reading.', _WRITE)
    pair = pair_of(pins, text)
    value = value.strip()
    if value.lower() in OPEN_WORDS:
        return pair, math.inf
    with_unit = value if value and not value[-1].isdigit() else f"{value} ohm"
    ohm = parse(with_unit)
    if ohm < 0.0:
        raise InputImpossible(
            f'"{text}" is below zero, which no resistance is.', "Give what the meter shows, without minus."
        )
    possible(with_unit)
    return pair, ohm


def told_about(
    temperature: float | None,
    leads: float | None,
    meter: str,
    *,
    wires: int = 2,
    four_wire: Iterable[str] = (),
) -> Told:
    """What is known besides the readings.

    Args:
        temperature: of the unit, degrees Celsius, if told.
        leads: ohms of the shorted probes, if told.
        meter: path of a meter file, or the name of a shipped one.
        wires: 4 where every value was taken with four wires.
        four_wire: pairs that were, such as "1-2".

    Raises:
        InputImpossible: no leads or no winding are like that, or no such meter file.
    """
    if leads is not None:
        of_leads(leads)
    if temperature is not None:
        of_winding(temperature)
    if wires not in (2, 4):
        raise InputImpossible(f"No meter measures with {wires} wires.", "Give --wires 2 or --wires 4.")
    model = load_model(named("meters", meter))
    pairs = frozenset(pair_of(text) for text in four_wire)
    return Told(temperature, leads, _meter_terms(model), model.name, wires, pairs)


def _meter_terms(statements: MeterModel) -> Callable[[float, float], Sequence[Term]]:
    def meter_terms(shown_ohm: float, factor: float) -> Sequence[Term]:
        statement = statements.holding(Quantity.RESISTANCE, shown_ohm)
        if statement is None:  # beyond the last range; a tenth is more than any meter would be off
            return [Term("meter accuracy", 0.1 * shown_ohm * factor)]
        return accuracy_terms(statement, shown_ohm, sensitivity=factor)

    return meter_terms


def explanation_of(sheet: Path, readings: Iterable[str], told: Told) -> Explanation:
    """Diagnose a unit from told values.

    Raises:
        FileInvalid, ModelInvalid, InputImpossible: sheet, meter file or a reading cannot be used.
    """
    values = [reading_of(text) for text in _few(readings)]
    return explain(load_sheet(sheet), values, told)


def _few(readings: Iterable[str]) -> list[str]:
    """The readings, if they are no more than can be weighed."""
    told = list(readings)
    if len(told) > MOST_TOLD:
        raise InputImpossible(f"{len(told)} readings are too many.", f"Give at most {MOST_TOLD}.")
    return told


def explanation_facts(found: Explanation) -> dict[str, object]:
    """The same for programs: explanations with place and size, and what could hide where nothing was told."""
    return {
        "hypotheses": [
            {
                "fault": h.fault,
                "probability": h.probability,
                "sentence": sentence(h),
                "places": [{"fault": p.fault, "where": p.where, "sizes": p.sizes} for p in h.places],
            }
            for h in found.hypotheses
        ],
        "next_pair": found.next_pair,
        "not_told": [
            {"pair": each.pair, "could_hide": [{"fault": f, "where": where} for f, where in each.faults]}
            for each in found.hidden
        ],
        "text": found.lines,
    }


def identification_lines(sheets: Sequence[Path], readings: Iterable[str], told: Told) -> list[str]:
    """Which of the known types a core is, most likely first."""
    files = [file for path in sheets for file in (sorted(path.glob("*.toml")) if path.is_dir() else [path])]
    if not files:
        raise InputImpossible("There is no sheet to compare with.", "Name sheet files or a folder of them.")
    metal = CONDUCTORS["copper"]  # of an unknown core the metal is unknown too: copper is far the likeliest
    values = [weighed(pair, shown, told, metal) for pair, shown in map(reading_of, _few(readings))]
    candidates = identify([load_sheet(file) for file in files], values)
    if not candidates:
        return ["No reading was given, so it may be any of them."]
    lines = []
    for each in candidates:
        if each.probability >= 0.005:
            name = each.sheet.name if each.sheet else "none of the known types"
            why = f": {sentence(each.condition)}" if each.condition else ""
            lines.append(f"{sureness(each.probability):>9}  {name}{why}")
    return lines


def learnt_sheet(files: Sequence[Path], name: str, core: str) -> str:
    """A sheet proposed from good units: from CSV files, or from journals where units were called good.

    Raises:
        InputImpossible: a file cannot be read or its rows make no pair matrix; names file and line.
        JournalUnusable: a journal cannot be read.
    """
    units: dict[str, dict[Pair, float]] = {}
    for file in files:
        if file.is_dir():
            with JournalReader(file) as journal:
                units |= {unit: dict(readings) for unit, readings in called_good(journal).items()}
            continue
        for line, row in _rows(file):
            try:
                unit, pair, ohm = _measured(row)
            except (KeyError, ValueError, AttributeError) as error:
                raise InputImpossible(
                    f"{file}:{line}: this row has no unit, pin_a, pin_b and ohm.",
                    "Head the columns unit,pin_a,pin_b,ohm; write open where the display shows overload.",
                ) from error
            units.setdefault(unit, {})[pair] = ohm
    return learnt(units, name, core)


def _measured(row: Mapping[str, str]) -> tuple[str, Pair, float]:
    """One row of a pair matrix.

    Raises:
        KeyError, AttributeError, ValueError: a cell is missing, or holds what cannot be.
    """
    pair = Pair(row["pin_a"].strip(), row["pin_b"].strip())
    value = row["ohm"].strip()
    ohm = math.inf if value.lower() in OPEN_WORDS else float(value)
    if not (row["unit"].strip() and pair.a and pair.b) or pair.a == pair.b:
        raise ValueError("a name is missing, or a pin is paired with itself")
    if math.isnan(ohm) or ohm < 0.0 or (math.isinf(ohm) and value.lower() not in OPEN_WORDS):
        raise ValueError("no resistance")
    return row["unit"].strip(), pair, ohm


def _rows(file: Path) -> list[tuple[int, dict[str, str]]]:
    try:
        text = io.StringIO(read_file(file).decode("utf-8-sig"), newline="")
        return [(number, row) for number, row in enumerate(csv.DictReader(text), start=2)]
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is not UTF-8 text with commas"
        raise InputImpossible(f"{file} cannot be read as CSV: {reason}.", "Check the name.") from error


def write_new(path: Path, text: str) -> None:
    """Write a file that is not there yet.

    Raises:
        InputImpossible: it is there already, or cannot be written.
    """
    try:
        with os.fdopen(
            os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o644), "w", encoding="utf-8"
        ) as file:
            file.write(text)
    except FileExistsError as error:
        raise InputImpossible(
            f"{path} exists already.", "Choose another name; nothing was written."
        ) from error
    except OSError as error:
        raise InputImpossible(
            f"{path} cannot be written ({error.strerror}).", "Is its folder there?"
        ) from error


READING = typer.Option(
    "--reading",
    metavar="PAIR=OHMS",
    help="One value read off a meter, such as 1-2=214.6 or 1-CORE=open; repeat for each pair.",
)

TEMPERATURE = Annotated[float | None, typer.Option(help="Of the unit, degrees Celsius.")]
LEADS = Annotated[float | None, typer.Option(help="What the meter shows with its probes together, ohms.")]
METER = Annotated[str, typer.Option(help="Meter file, or the name of a shipped one.")]
WIRES = Annotated[int, typer.Option(help="4 where every value was taken with four wires.")]
FOUR_WIRE = Annotated[
    list[str] | None, typer.Option(metavar="PAIR", help="A pair taken with four wires, such as 1-2; repeat.")
]


def explain_unit(
    sheet: Annotated[Path, typer.Argument(help="Sheet of the unit (TOML).")],
    reading: Annotated[list[str], READING],
    *,
    temperature: TEMPERATURE = None,
    leads: LEADS = None,
    meter: METER = "hand-2000",
    wires: WIRES = 2,
    four_wire: FOUR_WIRE = None,
    as_json: AsJson = False,
) -> None:
    """Explain values told over the telephone: what is likely wrong, how sure, what to measure next."""
    told = told_about(temperature, leads, meter, wires=wires, four_wire=four_wire or ())
    explanation = explanation_of(sheet, reading, told)
    if as_json:
        say_json(explanation_facts(explanation), indent=2)
    else:
        say(explanation.lines)


def identify_core(
    sheets: Annotated[
        list[Path], typer.Argument(help="Sheets that it may be (TOML files, or folders of them).")
    ],
    reading: Annotated[list[str], READING],
    *,
    temperature: TEMPERATURE = None,
    leads: LEADS = None,
    meter: METER = "hand-2000",
    wires: WIRES = 2,
    four_wire: FOUR_WIRE = None,
) -> None:
    """Say which of the known sheets an unknown core fits, and how sure that is."""
    told = told_about(temperature, leads, meter, wires=wires, four_wire=four_wire or ())
    say(identification_lines(sheets, reading, told))


def learn_sheet(
    files: Annotated[
        list[Path], typer.Argument(help="CSV files with columns unit, pin_a, pin_b, ohm (at reference).")
    ],
    *,
    name: Annotated[str, typer.Option(help="Name of the new unit type.")],
    core: Annotated[str, typer.Option(help="Name of the core among the pins, if it was touched.")] = "",
    write: Annotated[Path | None, typer.Option(help="Sheet to write; printed if left out.")] = None,
) -> None:
    """Propose a sheet from good units measured by pairs: circuit, nominals, tolerances, and what to ask."""
    text = learnt_sheet(files, name, core)
    if write is None:
        typer.echo(text)
        return
    write_new(write, text)
    typer.echo(f"Written: {write}. Read its questions, then: steadyohm check {write}")
