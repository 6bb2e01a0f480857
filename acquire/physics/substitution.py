"""Comparison on the same meter and range: what is known of a reading beside one of a known resistance.

R = R_s + (M - M_s): gain and offset of the range at that size are in both readings and cancel. What stays is
the known value's own uncertainty, both readings' scatter and resolution, how straight the meter is between
them, and what it drifts in between (EA-4/02 M:2022, S3, calibrates a resistor so; JCGM 100:2008, H.1, a gauge
block). Not for when a reference is measured (steps/checking) nor for leads and temperature (correct).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from acquire.choices import Shape
from acquire.physics.accuracy import half_width_si
from acquire.physics.checks import above_zero, at_least_zero
from acquire.physics.copper import conductor_named, fraction_per_kelvin, to_reference
from acquire.records.verdict import Term
from drivers.accuracy import RangeAccuracy
from drivers.reading import Quantity

LINEARITY_COUNTS = 1.0
"""Largest deviation from a straight line over a range, counts, where the bench file states none: dual-slope
converters of 2000 counts have 0.2 typically and 1 at most (data sheets of such circuits; from memory)."""

NEAR_SHARE = 0.1
"""Readings nearer to each other than this share of the range see less of that, in proportion. A bow of one
count bends at its ends by 4 counts a range; 10 are taken. Workshop choice."""

DRIFT_KELVIN = 0.5
"""The meter may have warmed by so much since, beside what the thermometer shows. Workshop choice."""

LIMIT_PER_KELVIN = 0.1
"""Drift per kelvin as a share of its limits of error, of a meter that states none: what hand meters commonly
state beyond their window; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Comparing:
    """How values are compared with a reference.

    Attributes:
        range_ohm: full scale of the range that it is read on; None: the smallest that holds it.
        linearity_counts, drift, material: of `Substitute`.
    """

    range_ohm: float | None = None
    linearity_counts: float = LINEARITY_COUNTS
    drift: float | None = None
    material: str = ""


@dataclass(frozen=True, slots=True)
class Substitute:
    """A known resistance as the meter has read it.

    Attributes:
        name: as the bench file calls it.
        ohm, u_ohm: what it is at `reference_celsius`, and its standard uncertainty, temperature included.
        read_ohm, read_u_ohm: as read, leads off, and what differs from touch to touch of it.
        quantity, full_scale_si, resolution_si: of the range it was read on.
        celsius: of the air then; None where unknown.
        utc_s: when.
        lead_utc_s: when the leads were zeroed that were taken off; None without a zero.
        linearity_counts: see `LINEARITY_COUNTS`.
        drift: limits of the meter's change since, as a fraction of the reading; None: from its statement.
        material: conductor of a golden unit, whose temperature is that of the air; empty for a resistor.
        reference_celsius: temperature that `ohm` holds at.
        good_for_s: it is used for so long.
    """

    name: str
    ohm: float
    u_ohm: float
    read_ohm: float
    read_u_ohm: float
    quantity: Quantity
    full_scale_si: float
    resolution_si: float
    utc_s: float
    celsius: float | None = None
    lead_utc_s: float | None = None
    linearity_counts: float = LINEARITY_COUNTS
    drift: float | None = None
    material: str = ""
    reference_celsius: float = 20.0
    good_for_s: float = math.inf

    @property
    def known_ohm(self) -> float:
        """What it was when it was read."""
        if not self.material or self.celsius is None:
            return self.ohm
        conductor = conductor_named(self.material)
        return self.ohm / to_reference(1.0, self.celsius, self.reference_celsius, conductor)

    @property
    def off_ohm(self) -> float:
        """What the meter reads too much there."""
        return self.read_ohm - self.known_ohm

    @property
    def ohm_per_kelvin(self) -> float:
        """What it would be more if the air were thought a kelvin warmer; 0 for a resistor."""
        if not self.material or self.celsius is None:
            return 0.0
        return self.known_ohm * fraction_per_kelvin(self.celsius, conductor_named(self.material))

    def serves(self, quantity: Quantity, accuracy: RangeAccuracy) -> bool:
        """Whether a reading is by the same function and range."""
        ranges = (
            (self.full_scale_si, accuracy.range_full_scale_si),
            (self.resolution_si, accuracy.resolution_si),
        )
        return quantity is self.quantity and all(math.isclose(a, b, rel_tol=0.01) for a, b in ranges)


def substitution_terms(
    accuracy: RangeAccuracy,
    reading_ohm: float,
    against: Substitute,
    *,
    ambient_celsius: float | None = None,
    sensitivity: float = 1.0,
) -> list[Term]:
    """The lines that take the place of the meter's own accuracy in a budget.

    Values that were compared with one reference share its value and its reading.

    Args:
        accuracy: the statement of the range in use.
        reading_ohm: what the meter shows, leads off.
        against: the reference.
        ambient_celsius: temperature of the meter, None when unknown.
        sensitivity: change of the result per ohm of reading.

    Raises:
        InputImpossible: a number that cannot be.
    """
    at_least_zero(against.u_ohm, "the standard uncertainty of the reference in ohms")
    at_least_zero(against.read_u_ohm, "the standard uncertainty of the reference's reading in ohms")
    above_zero(accuracy.range_full_scale_si, "the full scale of the range in ohms")
    scale, away_ohm = abs(sensitivity), abs(reading_ohm - against.read_ohm)
    known, read = against.u_ohm * scale, against.read_u_ohm * scale
    near = min(1.0, away_ohm / (NEAR_SHARE * accuracy.range_full_scale_si))
    limits = {
        "linearity": against.linearity_counts * accuracy.resolution_si * near,
        "gain to reference": accuracy.fraction_of_reading * away_ohm,
        "drift since reference": _drift_ohm(accuracy, reading_ohm, against, ambient_celsius),
    }
    return [
        Term("reference", known, shared=((f"value of {against.name}", known),)),
        Term("reference reading", read, shared=((f"reading of {against.name}", -read),)),
        *(Term(name, ohm * scale / math.sqrt(3.0), Shape.RECTANGULAR) for name, ohm in limits.items()),
    ]


def _drift_ohm(
    accuracy: RangeAccuracy, reading_ohm: float, against: Substitute, ambient_celsius: float | None
) -> float:
    """Half-width of what the meter may have changed by since."""
    if against.drift is not None:
        return at_least_zero(against.drift, "the drift as a fraction") * abs(reading_ohm)
    limit_ohm = half_width_si(accuracy, reading_ohm)
    per_kelvin = (
        accuracy.reading_per_kelvin * abs(reading_ohm)
        + accuracy.range_per_kelvin * accuracy.range_full_scale_si
        + accuracy.limit_per_kelvin * limit_ohm
    ) or LIMIT_PER_KELVIN * limit_ohm
    warmed = 0.0
    if ambient_celsius is not None and against.celsius is not None:
        warmed = abs(ambient_celsius - against.celsius)
    return per_kelvin * (DRIFT_KELVIN + warmed)
