"""What is known of a unit type, as the heart needs it: pins, circuit, steps, rules; who measures it where.

A sheet file (TOML) is read and checked by `acquire.sheets`, which gives one `Sheet` of this module: plain,
frozen, in SI units, with every default filled in. Not for file syntax, and not for anything measured.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from acquire.choices import Pair, Purpose, Rule
from acquire.records.codes import BalanceKind
from drivers.reading import Quantity


class BranchKind(StrEnum):
    """What a branch of the circuit is made of, as far as diagnosis and limits care."""

    WINDING = "winding"
    LEAD = "lead"
    STRAP = "strap"
    DIODE = "diode"


@dataclass(frozen=True, slots=True)
class Branch:
    """One resistance between two nodes at the reference temperature.

    Attributes:
        name: unique on the sheet, e.g. "slow charge"; a pin's lead is named "lead 1".
        a, b: node names. The contact of pin "1" is node "1"; where the pin has a lead, its inner end is "1'".
        reference_ohm: nominal, > 0.
        material: name of a conductor in `acquire.physics.copper.CONDUCTORS`.
        acceptance, serviceable: half-width of the two limits as a fraction of nominal; None where the sheet
            sets none.
        upper_ohm: absolute upper limit (a strap), None where there is none.
        continuity_ohm: at most so much where only continuity is judged; None where the sheet says nothing.
        spread: standard deviation between good units as a fraction of nominal, for weighing explanations.
        turns: number of turns, None when not known.
        strands: wires in hand.
        henry: inductance, None when not known.
        ohm_per_m: of one strand of its wire at 20 °C by the wire table, None when the sheet names no wire.
    """

    name: str
    a: str
    b: str
    reference_ohm: float
    kind: BranchKind = BranchKind.WINDING
    material: str = "copper"
    acceptance: float | None = None
    serviceable: float | None = None
    upper_ohm: float | None = None
    spread: float = 0.01
    turns: int | None = None
    strands: int = 1
    henry: float | None = None
    ohm_per_m: float | None = None
    continuity_ohm: float | None = None


@dataclass(frozen=True, slots=True)
class Pin:
    """One contact of the connector.

    Attributes:
        row, column: 0-based place in the connector's face as the sheet draws it; None for a loose lead.
    """

    name: str
    row: int | None = None
    column: int | None = None
    colour: str = ""
    remark: str = ""


class StepKind(StrEnum):
    """What a step asks for.

    RESISTANCE: a value within limits. CONTINUITY: at most so many ohms. OPEN: at least so many. TYPED: a
    result of another instrument.
    """

    RESISTANCE = "resistance"
    CONTINUITY = "continuity"
    OPEN = "open"
    TYPED = "typed"


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to measure.

    Attributes:
        name: unique on the sheet.
        pair: the pins to touch; the core counts as a pin.
        slow: True where a large inductance makes the reading creep.
        four_wire: True or False where the sheet insists; None leaves it to the bench.
        lower_ohm, upper_ohm: limits of this step's own at the reference temperature, in place of those that
            follow from the windings; None where it has none.
        open_above_ohm: an OPEN step passes above this.
        continuity_ohm: a RESISTANCE step whose tolerance the meter cannot judge passes below this, as no more
            than continuous; None where that will not do.
    """

    name: str
    pair: Pair
    kind: StepKind = StepKind.RESISTANCE
    quantity: Quantity = Quantity.RESISTANCE
    slow: bool = False
    four_wire: bool | None = None
    lower_ohm: float | None = None
    upper_ohm: float | None = None
    open_above_ohm: float | None = None
    remark: str = ""
    continuity_ohm: float | None = None

    @property
    def conducts(self) -> bool:
        """Whether it reads a resistance through the circuit."""
        return self.kind in (StepKind.RESISTANCE, StepKind.CONTINUITY)

    @property
    def id(self) -> str:
        """Of what a typed step asks for, in `Untested` and `TypedResult.target`."""
        return f"step:{self.name}"


@dataclass(frozen=True, slots=True)
class Balance:
    """Windings that must agree among themselves.

    Attributes:
        windings: two or more branch names; two of a rule on how far they lie apart.
        limit: as a fraction of their mean, of what `kind` says.
    """

    name: str
    windings: tuple[str, ...]
    limit: float
    kind: BalanceKind = BalanceKind.FROM_MEAN

    @property
    def from_mean(self) -> float:
        """How far one winding may lie off the mean: of two that lie apart, half of that each."""
        return self.limit / 2.0 if self.kind is BalanceKind.APART else self.limit


@dataclass(frozen=True, slots=True)
class Isolation:
    """Groups of pins that must be isolated from each other; judged from typed or instrument results.

    Attributes:
        groups: each a tuple of pins that belong together.
        volts: test voltage.
        at_least_ohm: limit for rewound units; reject_below_ohm: limit for incoming units.
        correction: name of the rule that brings a result to 40 °C; "none" leaves it as measured.
        factors: of that rule where it is a table: (degrees Celsius, value at 40 °C over value there).
        factors_source: where the table comes from.
    """

    groups: tuple[tuple[str, ...], ...]
    volts: float | None
    at_least_ohm: float
    reject_below_ohm: float | None = None
    correction: str = "none"
    factors: tuple[tuple[float, float], ...] = ()
    factors_source: str = ""

    @property
    def id(self) -> str:
        """Of what is asked for, in `Untested` and `TypedResult.target`."""
        return "isolation:" + "|".join(",".join(group) for group in self.groups)

    @property
    def name(self) -> str:
        """As it is called in lists and results, such as "insulation 1,2,3 to CORE,4,5,6"."""
        return "insulation " + " to ".join(",".join(group) for group in self.groups)


@dataclass(frozen=True, slots=True)
class Sheet:
    """All that is known of one unit type.

    Attributes:
        content_hash: SHA-256 of the file's bytes, hexadecimal.
        rule: decision rule for all steps; `maximum_risk` goes with Rule.MAXIMUM_RISK only.
        warm_limit: fraction of a value by which a unit may be warm; in kelvin the limit of its temperature.
        joint_limit_ohm: most that the joint at a pin may have; None leaves it to the tool.
        mass_kg: of the unit, for how long it cools; None when not known.
        keep_order: steps are asked for as listed, whatever turns of a dial that costs.
        core: name of the core node, "" when the unit has none.
        view: "mating" or "wire", the side the face is drawn from; latch: top, bottom, left, right or empty.
        rows: the connector's face, pin names by row.
    """

    name: str
    about: str
    content_hash: str
    reference_celsius: float
    pins: tuple[Pin, ...]
    core: str
    branches: tuple[Branch, ...]
    steps: tuple[Step, ...]
    rule: Rule = Rule.NON_BINARY
    maximum_risk: float | None = None
    warm_limit: float = 0.004
    balances: tuple[Balance, ...] = ()
    isolations: tuple[Isolation, ...] = ()
    bifilar: tuple[tuple[str, str], ...] = ()
    view: str = "mating"
    latch: str = ""
    rows: tuple[tuple[str, ...], ...] = ()
    joint_limit_ohm: float | None = None
    mass_kg: float | None = None
    keep_order: bool = False

    def pin_names(self) -> tuple[str, ...]:
        """Names of all places a probe can touch, the core last."""
        names = tuple(pin.name for pin in self.pins)
        return (*names, self.core) if self.core else names


@dataclass(frozen=True, slots=True)
class Circumstances:
    """The bench as a record sees it; fixed until a file is read again.

    Attributes:
        meter_id: name of the ohms meter in the bench file.
        meter_model: name of its meter file.
        meter_hash, bench_hash: SHA-256 of the two files, hexadecimal.
        software: name and version of the program.
    """

    bench: str
    purpose: Purpose
    sheet: Sheet
    meter_id: str
    meter_model: str
    meter_hash: str
    bench_hash: str
    software: str
    operator: str = ""
    batch: str = ""
