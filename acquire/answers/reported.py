"""What values told over the telephone mean: explain, identify, learn.

The same diagnosis as at the bench, with what could not be known said beside it: the customer's meter, leads
and temperature are allowed for as far as they are told. Not for verdicts, since nothing was measured under
control; the diagnosis itself is verdict/, the circuit from good units is steps/.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import typer

from acquire.answers import AsJson, argument, option, say, say_json
from acquire.errors import InputImpossible
from acquire.files.new_file import write_new
from acquire.files.shipped import named
from acquire.journal.history import JournalReader
from acquire.physics.accuracy import accuracy_terms
from acquire.physics.budget import root_sum_of_squares
from acquire.physics.checks import of_leads, of_winding
from acquire.physics.common import LEADS, TEMPERATURE, PairReading
from acquire.physics.copper import CONDUCTORS, Conductor, conductor_named, fraction_per_kelvin, to_reference
from acquire.quantity import parse, possible
from acquire.records import Hypothesis, Limits, Pair, Purpose, Sheet, Term
from acquire.reports.lookback import called_good, learnt
from acquire.sheets import load_sheet
from acquire.steps.pairs import PairTable
from acquire.verdict.diagnose import Hidden, best_next_pair, diagnose, hidden
from acquire.verdict.identify import identify
from acquire.words.faults import sentence
from acquire.words.saying import joined, ohm_text, sureness
from drivers.models import MeterModel, load_model
from drivers.plain_file import read_file
from drivers.reading import Quantity

UNTOLD_LEAD_OHM = (0.3, 0.2)
"""Leads of a hand meter that nobody zeroed, and their standard uncertainty; common practice, no source."""

UNTOLD_CELSIUS = (20.0, 5.0)
"""A temperature that was not told, and its standard uncertainty; workshop choice."""

TOLD_U_KELVIN = 1.5
"""Standard uncertainty of a winding's temperature told as that of the room; workshop choice."""

TOLD_U_LEAD_OHM = 0.05
"""Standard uncertainty of a lead resistance that was told; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Told:
    """What is known besides the readings.

    Attributes:
        celsius: temperature of the unit, None when not told.
        lead_ohm: what the meter shows with its probes held together, None when not told.
        meter_terms: budget of the meter itself at a displayed value: (ohms shown, change of the result per
            ohm) to terms.
        meter: its name, for the text.
        wires: 4 where all was measured with four wires, else 2.
        four_wire: pairs that were, either way round.
    """

    celsius: float | None
    lead_ohm: float | None
    meter_terms: Callable[[float, float], Sequence[Term]]
    meter: str
    wires: int = 2
    four_wire: frozenset[Pair] = frozenset()

    def four_wires_on(self, pair: Pair) -> bool:
        """Whether a pair was measured without its leads."""
        return self.wires == 4 or pair in self.four_wire or Pair(pair.b, pair.a) in self.four_wire


@dataclass(frozen=True, slots=True)
class Explanation:
    """The answer for the customer.

    Attributes:
        lines: text, one sentence or row each.
        hypotheses: most likely first.
        next_pair: what to measure next, None when nothing would help.
        hidden: pairs that were not told, and which faults would show on them alone.
    """

    lines: tuple[str, ...]
    hypotheses: tuple[Hypothesis, ...]
    next_pair: Pair | None
    hidden: tuple[Hidden, ...]


def explain(sheet: Sheet, values: Sequence[tuple[Pair, float]], told: Told) -> Explanation:
    """Diagnose a unit from values that somebody else has read off a meter, by the limits of incoming ones.

    Args:
        sheet: of the unit.
        values: (pair, displayed ohms; infinite for an open display).
        told: meter, leads and temperature.

    Raises:
        InputImpossible: a pin that the sheet does not have.
    """
    table = PairTable(sheet)
    pairs = [(table.canonical(*pair), shown) for pair, shown in values]
    readings = tuple(
        weighed(pair, shown, told, conductor_named(table.material(pair)), sheet.reference_celsius)
        for pair, shown in pairs
    )
    below = math.inf if told.wires == 4 else told.four_wire
    how: dict[str, Any] = {"purpose": Purpose.INCOMING, "four_wire_below_ohm": below}
    hypotheses = diagnose(sheet, table, readings, **how)
    following = best_next_pair(sheet, table, readings, hypotheses, **how)
    could_hide = hidden(sheet, readings, purpose=Purpose.INCOMING)
    lines = [
        *(_row(reading, shown, table) for reading, (_, shown) in zip(readings, values, strict=True)),
        *(f"{_how_sure(h.probability)}: {sentence(h)}" for h in hypotheses[:3]),
        *_advice(following, table, readings),
        *(_unseen(each, table) for each in could_hide),
        *_cautions(told, readings),
    ]
    return Explanation(tuple(lines), hypotheses, following, could_hide)


def weighed(
    pair: Pair, shown_ohm: float, told: Told, metal: Conductor, reference_celsius: float = 20.0
) -> PairReading:
    """A told value without its leads, at the reference temperature, with all that is unsure about it.

    Args:
        pair: that was touched.
        shown_ohm: as displayed; infinite for an open display.
        told: meter, leads and temperature.
        metal: of the winding.
        reference_celsius: temperature of the result.
    """
    if math.isinf(shown_ohm):
        return PairReading(pair, math.inf, 0.0)
    celsius, u_kelvin = UNTOLD_CELSIUS if told.celsius is None else (told.celsius, TOLD_U_KELVIN)
    factor = to_reference(1.0, celsius, reference_celsius, metal)
    lead_ohm, lead_u_ohm = UNTOLD_LEAD_OHM if told.lead_ohm is None else (told.lead_ohm, TOLD_U_LEAD_OHM)
    leads = [Term("leads", lead_u_ohm * factor, shared=((LEADS, -lead_u_ohm * factor),))]
    if told.four_wires_on(pair):
        lead_ohm, leads = 0.0, []
    ohm = (shown_ohm - lead_ohm) * factor
    warmth_ohm = ohm * fraction_per_kelvin(celsius, metal) * u_kelvin
    warmth = Term("winding temperature", abs(warmth_ohm), shared=((TEMPERATURE, -warmth_ohm),))
    terms = (*told.meter_terms(shown_ohm, factor), *leads, warmth)
    return PairReading(pair, ohm, root_sum_of_squares(terms), terms)


def _row(reading: PairReading, shown_ohm: float, table: PairTable) -> str:
    pair, ohm, u_ohm, _ = reading
    nominal_ohm = table.nominal_ohm(pair)
    what = _named(pair, table)
    expected = f"should read {ohm_text(nominal_ohm)}" if math.isfinite(nominal_ohm) else "should be open"
    if math.isinf(ohm):
        return f"{what}: open; {expected}."
    at = f"{ohm_text(ohm)} ± {ohm_text(2.0 * u_ohm, 2)} at {table.sheet.reference_celsius:g} °C without leads"
    verdict = _against(ohm, 2.0 * u_ohm, table.limits(pair, Purpose.INCOMING))
    return f"{what}: given {ohm_text(shown_ohm)}, that is {at}; {expected}{verdict}."


def _named(pair: Pair, table: PairTable) -> str:
    windings = [branch.name for branch in table.windings(pair)]
    return f"{pair} ({joined(windings)})" if windings else str(pair)


def _against(ohm: float, expanded_ohm: float, limits: Limits) -> str:
    lower_ohm = -math.inf if limits.lower_ohm is None else limits.lower_ohm
    upper_ohm = math.inf if limits.upper_ohm is None else limits.upper_ohm
    if math.isinf(lower_ohm) and math.isinf(upper_ohm):
        return ""
    if lower_ohm + expanded_ohm <= ohm <= upper_ohm - expanded_ohm:
        return ", within its limits"
    if ohm < lower_ohm - expanded_ohm:
        return ", too low"
    if ohm > upper_ohm + expanded_ohm:
        return ", too high"
    if expanded_ohm > limits.tolerance_ohm:
        return ", but this meter cannot judge it"
    return ", too close to a limit to say"


def _how_sure(probability: float) -> str:
    for least, word in ((0.95, "Almost certain"), (0.8, "Very likely"), (0.5, "Likely"), (0.2, "Possible")):
        if probability >= least:
            return f"{word} ({sureness(probability)})"
    return f"Less likely ({sureness(probability)})"


def _advice(following: Pair | None, table: PairTable, readings: Sequence[PairReading]) -> list[str]:
    if following is not None:
        return [f"Measure {_named(following, table)} next: it tells these apart best."]
    if any(math.isinf(reading.ohm) for reading in readings):
        return ["Clean the pins and touch every open pair once more before you believe it."]
    return []


_HIDING = {
    "grounded": "a touch of the core",
    "open_winding": "a broken winding",
    "open_pin": "a broken pin",
    "bad_joint": "a bad joint",
    "winding_to_winding": "a touch between windings",
    "shorted_turns": "shorted turns",
    "swapped_pins": "swapped pins",
}
"""Faults worth a word where nothing was told that would show them."""


def _unseen(unseen: Hidden, table: PairTable) -> str:
    named = dict.fromkeys(_HIDING[name] for name, _ in unseen.faults if name in _HIDING)
    return f"{_named(unseen.pair, table)} was not given: {', '.join(named) or 'something'} could hide there."


def _cautions(told: Told, readings: Sequence[PairReading]) -> list[str]:
    cautions = []
    if told.lead_ohm is None and not all(told.four_wires_on(reading.pair) for reading in readings):
        cautions.append(
            f"The lead resistance was not given; {UNTOLD_LEAD_OHM[0]} Ω was subtracted: "
            "hold the probes together and give what is shown."
        )
    if told.celsius is None:
        cautions.append("The temperature was not given; 20 °C was assumed: 10 K of error are 4 % of copper.")
    if any(reading.ohm < 5.0 for reading in readings):
        cautions.append(f"Below 5 Ω the {told.meter} shows that a path is there, and little more.")
    cautions.append(
        "Was the unit unplugged, at room temperature for hours, its rotor out? Otherwise measure it again."
    )
    return cautions


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


def _told(
    temperature: float | None, leads: float | None, meter: str, wires: int, four_wire: Iterable[str]
) -> Told:
    """What is known besides the readings."""
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


def _few(readings: Iterable[str]) -> list[str]:
    """The readings, if they are no more than can be weighed."""
    told = list(readings)
    if len(told) > MOST_TOLD:
        raise InputImpossible(f"{len(told)} readings are too many.", f"Give at most {MOST_TOLD}.")
    return told


def _facts(found: Explanation) -> dict[str, object]:
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


READING = option(
    "One value read off a meter, such as 1-2=214.6 or 1-CORE=open; repeat for each pair.",
    "--reading",
    metavar="PAIR=OHMS",
)

OfUnit = Annotated[float | None, option("Of the unit, degrees Celsius.")]
OfLeads = Annotated[float | None, option("What the meter shows with its probes together, ohms.")]
OfMeter = Annotated[str, option("Meter file, or the name of a shipped one.")]
Wires = Annotated[int, option("4 where every value was taken with four wires.")]
FourWire = Annotated[
    list[str] | None, option("A pair taken with four wires, such as 1-2; repeat.", metavar="PAIR")
]


def explain_unit(
    sheet: Annotated[Path, argument("Sheet of the unit (TOML).")],
    reading: Annotated[list[str], READING],
    *,
    temperature: OfUnit = None,
    leads: OfLeads = None,
    meter: OfMeter = "hand-2000",
    wires: Wires = 2,
    four_wire: FourWire = None,
    as_json: AsJson = False,
) -> None:
    """Explain values told over the telephone: what is likely wrong, how sure, what to measure next."""
    told = _told(temperature, leads, meter, wires, four_wire or ())
    explanation = explain(load_sheet(sheet), [reading_of(text) for text in _few(reading)], told)
    if as_json:
        say_json(_facts(explanation), indent=2)
    else:
        say(explanation.lines)


def identify_core(
    sheets: Annotated[list[Path], argument("Sheets that it may be (TOML files, or folders of them).")],
    reading: Annotated[list[str], READING],
    *,
    temperature: OfUnit = None,
    leads: OfLeads = None,
    meter: OfMeter = "hand-2000",
    wires: Wires = 2,
    four_wire: FourWire = None,
) -> None:
    """Say which of the known sheets an unknown core fits, and how sure that is."""
    told = _told(temperature, leads, meter, wires, four_wire or ())
    files = [file for path in sheets for file in (sorted(path.glob("*.toml")) if path.is_dir() else [path])]
    if not files:
        raise InputImpossible("There is no sheet to compare with.", "Name sheet files or a folder of them.")
    metal = CONDUCTORS["copper"]  # of an unknown core the metal is unknown too: copper is far the likeliest
    values = [weighed(pair, shown, told, metal) for pair, shown in map(reading_of, _few(reading))]
    candidates = identify([load_sheet(file) for file in files], values)
    if not candidates:
        typer.echo("No reading was given, so it may be any of them.")
    for each in candidates:
        if each.probability >= 0.005:
            name = each.sheet.name if each.sheet else "none of the known types"
            why = f": {sentence(each.condition)}" if each.condition else ""
            typer.echo(f"{sureness(each.probability):>9}  {name}{why}")


def learn_sheet(
    files: Annotated[list[Path], argument("CSV files with columns unit, pin_a, pin_b, ohm (at reference).")],
    *,
    name: Annotated[str, option("Name of the new unit type.")],
    core: Annotated[str, option("Name of the core among the pins, if it was touched.")] = "",
    write: Annotated[Path | None, option("Sheet to write; printed if left out.")] = None,
) -> None:
    """Propose a sheet from good units measured by pairs: circuit, nominals, tolerances, and what to ask."""
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
    text = learnt(units, name, core)
    if write is None:
        typer.echo(text)
        return
    write_new(write, text.encode())
    typer.echo(f"Written: {write}. Read its questions, then: steadyohm check {write}")
