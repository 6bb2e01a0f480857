"""What values told over the telephone mean: the same diagnosis, with what could not be known said beside it.

The customer's meter, leads and temperature are allowed for as far as they are told. Pure: gives text. Not for
verdicts, since nothing was measured under control.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from acquire.physics.budget import root_sum_of_squares
from acquire.physics.common import LEADS, TEMPERATURE, PairReading
from acquire.physics.copper import Conductor, conductor_named, fraction_per_kelvin, to_reference
from acquire.records import Hypothesis, Limits, Pair, Purpose, Sheet, Term
from acquire.steps.pairs import PairTable
from acquire.verdict.diagnose import Hidden, best_next_pair, diagnose, hidden
from acquire.words.faults import sentence
from acquire.words.saying import joined, ohm_text, sureness

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

    @property
    def without_leads(self) -> float | frozenset[Pair]:
        """As the diagnosis wants it: infinite where all pairs were, else which."""
        return math.inf if self.wires == 4 else self.four_wire


@dataclass(frozen=True, slots=True)
class Explanation:
    """The answer for the customer.

    Attributes:
        lines: text, one sentence or row each.
        hypotheses: most likely first.
        next_pair: what to measure next, None when nothing would help.
        readings: as they were weighed: leads off, at the reference temperature.
        hidden: pairs that were not told, and which faults would show on them alone.
    """

    lines: tuple[str, ...]
    hypotheses: tuple[Hypothesis, ...]
    next_pair: Pair | None
    readings: tuple[PairReading, ...]
    hidden: tuple[Hidden, ...]


def explain(
    sheet: Sheet, values: Sequence[tuple[Pair, float]], told: Told, *, purpose: Purpose = Purpose.INCOMING
) -> Explanation:
    """Diagnose a unit from values that somebody else has read off a meter.

    Args:
        sheet: of the unit.
        values: (pair, displayed ohms; infinite for an open display).
        told: meter, leads and temperature.
        purpose: which limits apply.

    Raises:
        InputImpossible: a pin that the sheet does not have.
    """
    table = PairTable(sheet)
    readings = tuple(_corrected(table.canonical(*pair), shown, told, table) for pair, shown in values)
    below = told.without_leads
    hypotheses = diagnose(sheet, table, readings, purpose=purpose, four_wire_below_ohm=below)
    following = best_next_pair(sheet, table, readings, hypotheses, purpose=purpose, four_wire_below_ohm=below)
    could_hide = hidden(sheet, readings, purpose=purpose)
    lines = [
        *(_row(reading, shown, table, purpose) for reading, (_, shown) in zip(readings, values, strict=True)),
        *(f"{_how_sure(h.probability)}: {sentence(h)}" for h in hypotheses[:3]),
        *_advice(following, table, readings),
        *(_unseen(each, table) for each in could_hide),
        *_cautions(told, readings),
    ]
    return Explanation(tuple(lines), hypotheses, following, readings, could_hide)


def _corrected(pair: Pair, shown_ohm: float, told: Told, table: PairTable) -> PairReading:
    metal = conductor_named(table.material(pair))
    return weighed(pair, shown_ohm, told, metal, table.sheet.reference_celsius)


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


def _row(reading: PairReading, shown_ohm: float, table: PairTable, purpose: Purpose) -> str:
    pair, ohm, u_ohm, _ = reading
    nominal_ohm = table.nominal_ohm(pair)
    what = _named(pair, table)
    expected = f"should read {ohm_text(nominal_ohm)}" if math.isfinite(nominal_ohm) else "should be open"
    if math.isinf(ohm):
        return f"{what}: open; {expected}."
    at = f"{ohm_text(ohm)} ± {ohm_text(2.0 * u_ohm, 2)} at {table.sheet.reference_celsius:g} °C without leads"
    verdict = _against(ohm, 2.0 * u_ohm, table.limits(pair, purpose))
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
