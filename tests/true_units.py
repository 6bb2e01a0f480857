"""Units whose truth is known, as a bench reads and corrects them: an own solver, errors that pairs share.

Circuits are solved by networkx and the pseudo-inverse of their Laplacian, never by the product; a unit cools
as the sum of two exponentials. Not a test itself.
"""

import math
from dataclasses import dataclass, field

import numpy as np

from acquire.physics.common import PairReading
from acquire.physics.cooling import look
from acquire.physics.copper import CONDUCTORS
from acquire.physics.correct import correct
from acquire.records import LeadZero, Pair, Pin, Purpose, Settled, Sheet
from acquire.steps.pairs import PairTable
from acquire.verdict.temperature import Judgeable
from drivers.accuracy import RangeAccuracy
from drivers.reading import Quantity
from tests.known_sheets import steps, winding
from tests.later import nx

SIX_DIGITS = RangeAccuracy(1e-4, 1e-4, fraction_of_range=4e-5, range_full_scale_si=100.0, test_current_a=1e-3)
HAND = RangeAccuracy(8e-3, 0.1, counts=5.0, range_full_scale_si=200.0)
PER_KELVIN = 1.0 / 254.5
TOUCH = frozenset({"repeatability", "leftover drift", "display resolution", "contact"})

MOTOR = Sheet(
    name="Drover 3",
    about="blower motor with run and start windings, invented",
    content_hash="drover",
    reference_celsius=20.0,
    pins=(Pin("C"), Pin("R"), Pin("S")),
    core="",
    branches=(
        winding("run", "C", "R", 48.0, 0.05, 900),
        winding("start", "C", "S", 94.0, 0.05, 1500),
    ),
    steps=steps(("run", "C", "R"), ("start", "C", "S"), ("both", "R", "S")),
)


def solved(sheet, pair, ohms=None, joints=None):
    """Ohms of a pair by networkx's graph and the pseudo-inverse of its Laplacian."""
    siemens = {}
    for branch in sheet.branches:
        ends = frozenset((branch.a, branch.b))
        siemens[ends] = siemens.get(ends, 0.0) + 1.0 / (ohms or {}).get(branch.name, branch.reference_ohm)
    graph = nx.Graph([(*sorted(ends), {"g": g}) for ends, g in siemens.items()])
    nodes = list(nx.node_connected_component(graph, pair.a))
    joined = nx.to_numpy_array(graph, nodes, weight="g")
    inverse = np.linalg.pinv(np.diag(joined.sum(axis=0)) - joined)
    i, j = nodes.index(pair.a), nodes.index(pair.b)
    between = inverse[i, i] + inverse[j, j] - 2.0 * inverse[i, j]
    return float(between) + sum((joints or {}).get(pin, 0.0) for pin in pair)


@dataclass
class Errors:
    """What is wrong with a bench for as long as one unit lies on it; nothing unless told.

    Attributes:
        thermometer_kelvin, zero_ohm: errors of these, shared by all pairs.
        gain, offset_ohm: of the range.
        dice: of the touches; None for none.
    """

    thermometer_kelvin: float = 0.0
    zero_ohm: float = 0.0
    gain: float = 0.0
    offset_ohm: float = 0.0
    dice: np.random.Generator | None = None
    accuracy: RangeAccuracy = SIX_DIGITS
    u_kelvin: float = 0.5
    noise: float = 5e-6
    read_s: float = 0.2
    readings: int = 8

    @classmethod
    def drawn(cls, dice, **more):
        """As likely as the budgets say."""
        drawn = cls(dice=dice, **more)
        drawn.thermometer_kelvin = drawn.u_kelvin * dice.standard_normal()
        drawn.zero_ohm = 0.005 * dice.standard_normal()
        accuracy = drawn.accuracy
        drawn.gain = accuracy.fraction_of_reading * dice.uniform(-1.0, 1.0)
        fixed = accuracy.fraction_of_range * accuracy.range_full_scale_si
        drawn.offset_ohm = (fixed + accuracy.counts * accuracy.resolution_si) * dice.uniform(-1.0, 1.0)
        return drawn


def corrected(ohm_at, at_s, errors, *, four_wire=False):
    """One touch: what the heart makes of it, with the trace of its readings.

    Args:
        ohm_at: ohms of the pair at times.
        at_s: of the contact.
        errors: of the bench.
    """
    dice = errors.dice
    seconds = at_s + 1.0 + errors.read_s * np.arange(errors.readings)
    shown = ohm_at(seconds) * (1.0 + errors.gain) + errors.offset_ohm
    if not four_wire:
        shown = shown + 0.2 + errors.zero_ohm + (0.01 * dice.standard_normal() if dice else 0.0)
    if dice:
        shown = shown * (1.0 + errors.noise * dice.standard_normal(len(shown)))
    count = errors.accuracy.resolution_si
    shown = np.round(shown / count) * count
    settled = Settled(
        "m",
        Quantity.RESISTANCE_4W if four_wire else Quantity.RESISTANCE,
        value_si=float(shown.mean()),
        type_a_si=float(shown.std(ddof=1)) / math.sqrt(len(shown)),
        degrees_of_freedom=len(shown) - 1.0,
        drift_si=0.0,
        quantisation_si=count / math.sqrt(12.0),
        expanded_si=count,
        conversions=len(shown),
        range_full_scale_si=errors.accuracy.range_full_scale_si,
        resolution_si=count,
        contact_s=at_s,
        monotonic_s=float(seconds[-1]),
        utc_s=float(seconds[-1]),
        trace=tuple(zip((seconds - at_s).tolist(), shown.tolist(), strict=True)),
    )
    return correct(
        settled,
        four_wire=four_wire,
        lead=LeadZero("", "", 0.2, 0.005, 0.0),
        now_utc_s=0.0,
        winding_celsius=20.0 + errors.thermometer_kelvin,
        winding_u_kelvin=errors.u_kelvin,
        reference_celsius=20.0,
        conductor=CONDUCTORS["copper"],
        accuracy=errors.accuracy,
    )


def measured(sheet, pairs, errors=None, *, four_wire=False, ohms=None, joints=None):
    """Readings of a unit at rest, with their budgets."""
    found = []
    for number, pair in enumerate(pairs):
        ohm = solved(sheet, pair, ohms, joints)
        value = corrected(
            lambda t, ohm=ohm: ohm + 0.0 * t, 9.0 * number, errors or Errors(), four_wire=four_wire
        )
        found.append(PairReading(pair, value.reference_ohm, value.standard_uncertainty_ohm, value.terms))
    return found


@dataclass
class Cooling:
    """An excess over the room that dies down as two exponentials."""

    kelvin: float
    slow_s: float = 1800.0
    fast_s: float = 200.0
    share: float = 0.3

    @classmethod
    def drawn(cls, dice, kelvin):
        """Parts of 0.3 to 4 kg, copper in iron."""
        slow_s = 1800.0 * math.exp(dice.normal(0.0, 0.45))
        return cls(kelvin, slow_s, slow_s * dice.uniform(0.04, 0.3), dice.uniform(0.0, 0.6))

    def at(self, t_s):
        """Kelvin above the room."""
        fast = self.share * np.exp(-t_s / self.fast_s)
        return self.kelvin * ((1.0 - self.share) * np.exp(-t_s / self.slow_s) + fast)


@dataclass
class Unit:
    """One unit measured pair by pair, the first pair once more at the end."""

    table: PairTable
    judged: list = field(default_factory=list)
    looks: list = field(default_factory=list)


def worked(
    sheet, errors, cooling, *, ohms=None, joints=None, spread=True, purpose=Purpose.FINAL, every_s=9.0
):
    """A unit on the bench: windings as given, the others within their spread.

    Args:
        joints: pin -> ohms of its joint.
        ohms: name -> ohms of a winding that is not as the sheet says.
        spread: False leaves the others at their nominal.
    """
    dice = errors.dice
    true = {
        b.name: b.reference_ohm * (dice.normal(1.0, b.spread) if spread and dice else 1.0)
        for b in sheet.branches
    } | (ohms or {})
    unit = Unit(PairTable(sheet))
    for number, step in enumerate((*sheet.steps, sheet.steps[0])):
        ohm = solved(sheet, step.pair, true, joints)
        value = corrected(
            lambda t, ohm=ohm: ohm * (1.0 + PER_KELVIN * cooling.at(t)), every_s * (number + 1), errors
        )
        settled = value.settled
        unit.looks.append(
            look(
                str(step.pair),
                settled.monotonic_s,
                value.reference_ohm,
                value.part_ohm(TOUCH),
                settled.trace,
                count_ohm=errors.accuracy.resolution_si,
                contact_ohm=0.01,
            )
        )
        if number < len(sheet.steps):
            reading = PairReading(
                Pair(*step.pair), value.reference_ohm, value.standard_uncertainty_ohm, value.terms
            )
            unit.judged.append(Judgeable(reading, unit.table.limits(step.pair, purpose)))
    return unit
