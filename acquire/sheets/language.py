"""The keys of a sheet file, table by table. configs/README.md explains each to users.

A winding's wire and a resin's correction of insulation are among them; their formulas are in physics. Only
what can be checked inside one table is checked here; how tables fit together is the compiler's.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from enum import StrEnum
from itertools import pairwise
from types import MappingProxyType
from typing import Annotated, Literal

from pydantic import Field, PlainValidator, model_validator

from acquire.errors import InputImpossible, QuantityInvalid
from acquire.files.toml_file import Flag, Name, Text, TomlTable, sentence
from acquire.physics.copper import CONDUCTORS, conductor_named
from acquire.physics.insulation import REFERENCE_CELSIUS, RULES
from acquire.physics.wire import METALS, Metal, awg_diameter_mm, ohm_per_m
from acquire.quantity import Celsius, Fraction, Henry, Kilogram, Metre, Ohm, Volt, ZeroOrMoreOhm, parse
from acquire.records import Rule, StepKind
from drivers.reading import Quantity

NONE = "none"
"""Leaves a result as measured."""


class CorrectionTable(TomlTable):
    """`[[correction]]`: a named table of factors that bring an insulation resistance to 40 °C.

    Attributes:
        name: as an `[[isolation]]` names it; goes on the record.
        factors: (temperature, value at 40 °C over value there), in order of temperature, 40 °C within.
        source: where the table comes from.
    """

    name: Name
    factors: Annotated[
        tuple[tuple[Celsius, Annotated[float, Field(gt=0.0, allow_inf_nan=False)]], ...],
        Field(min_length=2, max_length=100, examples=['[["10 °C", 0.66], ["40 °C", 1.0], ["60 °C", 2.3]]']),
    ]
    source: Annotated[Text, Field(min_length=1, examples=['"data sheet of the resin"'])]

    @model_validator(mode="after")
    def _can_be_read_between(self) -> CorrectionTable:
        at = [celsius for celsius, _ in self.factors]
        if any(b <= a for a, b in pairwise(at)):
            raise ValueError("factors must be in order of temperature, the lowest first")
        if not at[0] <= REFERENCE_CELSIUS <= at[-1]:
            raise ValueError("factors must reach from below to above 40 °C, which results are compared at")
        if self.name in (NONE, *RULES):
            raise ValueError(f'"{self.name}" is the name of a rule that exists already')
        return self


METAL_OF: Mapping[str, Metal] = MappingProxyType(
    {
        "copper": METALS["copper"],
        "copper_iec": METALS["copper"],
        "aluminium": METALS["aluminium"],
        "aluminium_228": METALS["aluminium"],
    }
)
"""Resistivity by conductor: the conductors of one metal differ in their rule of temperature only."""

_GAUGE = re.compile(r"AWG[ ]?([0-9]{1,2})")
THICKEST_M = 0.02
THINNEST_M = 5e-6
"""Bare diameters between which a wire is taken to be one; a slip of the prefix lies outside."""


def wire_diameter_m(given: object) -> float:
    """Bare diameter from "AWG 36" or "0.127 mm", metres; raises pydantic's kind of error."""
    text = given.strip() if isinstance(given, str) else ""
    try:
        gauge = _GAUGE.fullmatch(text)
        diameter_m = awg_diameter_mm(int(gauge[1])) / 1000.0 if gauge else parse(text, "m")
    except InputImpossible as error:
        raise sentence(error.what, error.hint) from error
    except QuantityInvalid:
        diameter_m = 0.0
    if not THINNEST_M <= diameter_m <= THICKEST_M:
        what = f'"{str(given)[:40]}" is no gauge and no diameter of a wire.'
        raise sentence(what, 'Write it like "AWG 36" or "0.127 mm" (bare).')
    return diameter_m


_SIGNS = "Names of pins and points consist of letters, digits and the signs _ . + / only."
PinName = Annotated[
    str, Field(min_length=1, max_length=16, pattern=r"^[\w.+/]+$", description=_SIGNS, examples=['"1"'])
]
PinOrNothing = Annotated[str, Field(max_length=16, pattern=r"^[\w.+/]*$", description=_SIGNS)]
NodeName = Annotated[str, Field(min_length=1, max_length=20, pattern=r"^[\w.+/]+'?$")]
Ends = Annotated[
    tuple[NodeName, NodeName],
    Field(description=_SIGNS, examples=['["1", "2"]']),
]
Count = Annotated[int, Field(strict=True, ge=1, le=1_000_000, examples=["2400"])]


def _known_conductor(given: object) -> str:
    try:
        return conductor_named(str(given)).name
    except InputImpossible as error:
        raise sentence(error.what, error.hint) from error


Material = Annotated[str, PlainValidator(_known_conductor)]
Wire = Annotated[float, PlainValidator(wire_diameter_m)]
"""Diameter of the bare conductor in metres, from a gauge number or a length."""


class View(StrEnum):
    """The side from which the connector's face is drawn."""

    MATING = "mating"
    WIRE = "wire"


class Latch(StrEnum):
    """Where the latch sits in that view."""

    NONE = ""
    TOP = "top"
    BOTTOM = "bottom"
    LEFT = "left"
    RIGHT = "right"


class SheetTable(TomlTable):
    """`[sheet]`: what the unit is and how it is judged.

    Attributes:
        name: of the unit type.
        about: one line for people.
        reference_temperature: all resistances of the file hold at this temperature; degrees Celsius.
        rule: decision rule.
        maximum_risk: largest share of wrong passes; with the rule of that name only.
        warm_limit: share of a value by which a unit may be warm; in kelvin the limit of its temperature.
        bifilar: pairs of windings wound together, two in hand.
        joint_limit: most ohms that the joint at a pin may have beyond its lead.
        mass: of the unit; heavier ones cool more slowly.
        keep_order: true asks for the steps as listed, whatever turns of a dial that costs.
    """

    name: Annotated[Name, Field(examples=['"Plover 80"'])]
    about: Text = ""
    reference_temperature: Celsius = 20.0
    rule: Rule = Rule.NON_BINARY
    maximum_risk: Fraction | None = None
    warm_limit: Fraction = 0.004
    bifilar: tuple[tuple[Name, Name], ...] = ()
    joint_limit: Ohm | None = None
    mass: Kilogram | None = None
    keep_order: Flag = False

    @model_validator(mode="after")
    def _risk_belongs_to_its_rule(self) -> SheetTable:
        if (self.rule is Rule.MAXIMUM_RISK) != (self.maximum_risk is not None):
            raise ValueError('maximum_risk and rule = "maximum_risk" go together: give both or neither')
        if self.maximum_risk is not None and self.maximum_risk > 0.5:
            raise ValueError("a maximum_risk above 50 % decides nothing")
        return self


class ConnectorTable(TomlTable):
    """`[connector]`: the face that the operator looks at.

    Attributes:
        rows: pin names, top row first, left to right; "" is an empty place.
        view: the side it is drawn from.
        latch: where the latch sits in that view.
        core: name of the core (iron, frame) as a place that a probe can touch; "" where there is none.
    """

    rows: tuple[tuple[PinOrNothing, ...], ...] = Field(
        default=(), description=_SIGNS, examples=['[["1", "2"], ["3", "4"]]']
    )
    view: View = View.MATING
    latch: Latch = Latch.NONE
    core: PinOrNothing = ""


class PinTable(TomlTable):
    """`[[pin]]`: more about one pin.

    Attributes:
        name: as on the connector.
        lead: resistance of its lead up to the winding; left out, the winding begins at the pin.
        colour: of the wire.
        remark: for people.
        unused: true where nothing is connected to it.
    """

    name: PinName
    lead: Ohm | None = None
    colour: Text = ""
    remark: Text = ""
    unused: Flag = False


class WindingTable(TomlTable):
    """`[[winding]]`: one winding, or the part of one between two taps.

    Attributes:
        name: unique.
        between: its two ends: pins, the core, or an inner point of your naming.
        resistance: nominal; or else turns, wire and mean_turn, from which it is computed.
        turns: number of turns.
        wire: gauge ("AWG 36") or bare diameter ("0.127 mm").
        mean_turn: length of the mean turn.
        extra: wire beyond the turns: between coils, to the pins.
        strands: wires in hand.
        material: of the wire.
        acceptance: tolerance for wound units; half-width.
        serviceable: tolerance for incoming units; half-width, the wider one.
        spread: standard deviation between good units.
        inductance: nominal.
        continuity: at most so much where no more than continuity is judged.
    """

    name: Name
    between: Ends
    resistance: Ohm | None = Field(default=None, examples=['"202.5 ohm"'])
    turns: Count | None = None
    wire: Wire | None = None
    mean_turn: Metre | None = None
    extra: Metre | None = None
    strands: Annotated[int, Field(strict=True, ge=1, le=1000, examples=["1"])] = 1
    material: Material = "copper"
    acceptance: Fraction | None = None
    serviceable: Fraction | None = None
    spread: Fraction | None = None
    inductance: Henry | None = None
    continuity: Ohm | None = None

    @model_validator(mode="after")
    def _has_a_resistance(self) -> WindingTable:
        parts = {"turns": self.turns, "wire": self.wire, "mean_turn": self.mean_turn}
        missing = [name for name, value in parts.items() if value is None]
        if self.resistance is None and missing:
            raise ValueError(f"give resistance, or else turns, wire and mean_turn ({missing[0]} is missing)")
        if self.resistance is None and self.material not in CONDUCTORS:
            raise ValueError("a metal known by its coefficient alone needs resistance")
        return self

    @model_validator(mode="after")
    def _tolerances_fit(self) -> WindingTable:
        for name in ("acceptance", "serviceable", "spread"):
            if (getattr(self, name) or 0.0) >= 1.0:
                raise ValueError(f"{name} must be less than 100 %")
        if self.continuity is not None and self.continuity <= (self.resistance or 0.0):
            raise ValueError("continuity is the most that it may have: more than resistance")
        if self.acceptance and self.serviceable and self.serviceable < self.acceptance:
            raise ValueError("serviceable must be the wider of the two tolerances")
        return self

    def wound_ohm(self, celsius: float) -> float | None:
        """Ohms at a temperature from turns and wire; None where they, or ohms per metre, are not known.

        Resistance per metre at 20 °C times length, by the strands, brought to that temperature by the
        conductor's straight line (see `acquire.physics.copper`).
        """
        per_m = self.ohm_per_m
        if per_m is None or self.turns is None or self.mean_turn is None:
            return None
        at_20c_ohm = per_m * (self.turns * self.mean_turn + (self.extra or 0.0)) / self.strands
        k_celsius = conductor_named(self.material).k_celsius
        return at_20c_ohm * (k_celsius + celsius) / (k_celsius + 20.0)

    @property
    def ohm_per_m(self) -> float | None:
        """Of one strand of its wire at 20 °C; None where no wire is named, or its metal has no table."""
        if self.wire is None or self.material not in METAL_OF:
            return None
        return ohm_per_m(1000.0 * self.wire, METAL_OF[self.material])


class StrapTable(TomlTable):
    """`[[strap]]`: a short bond, such as an earth strap.

    Attributes:
        name: unique.
        between: its two ends.
        resistance: nominal.
        upper: highest that is still good.
        continuity: at most so much where no more than continuity is judged.
    """

    name: Name
    between: Ends
    resistance: Annotated[Ohm, Field(examples=['"13.3 mohm"'])]
    upper: Ohm | None = None
    continuity: Ohm | None = None

    @model_validator(mode="after")
    def _limits_are_above(self) -> StrapTable:
        for name in ("upper", "continuity"):
            limit = getattr(self, name)
            if limit is not None and limit <= self.resistance:
                raise ValueError(f"{name} must be more than resistance")
        return self


class DiodeTable(TomlTable):
    """`[[diode]]`: a diode between two points. In ohms it counts as open.

    Attributes:
        name: unique.
        between: anode first, cathode second.
    """

    name: Name
    between: Ends


class BalanceTable(TomlTable):
    """`[[balance]]`: windings that must be alike.

    Attributes:
        name: unique among the balances and matchings.
        windings: two or more.
        limit: largest deviation of one of them from their mean.
    """

    name: Name
    windings: Annotated[tuple[Name, ...], Field(min_length=2, examples=['["U", "V", "W"]'])]
    limit: Annotated[Fraction, Field(examples=['"2 %"'])]


class MatchingTable(BalanceTable):
    """`[[matching]]`: two windings that must be the same, as in a bifilar pair.

    Attributes:
        limit: largest difference between them, as a part of their mean.
    """

    windings: Annotated[tuple[Name, Name], Field(examples=['["S1", "S2"]'])]


class IsolationTable(TomlTable):
    """`[[isolation]]`: groups of pins that nothing may join.

    Attributes:
        groups: each a list of pins that belong together.
        at: test voltage, direct.
        at_least: limit for wound units.
        reject_below: limit for incoming units.
        correction: rule that brings a result to 40 °C: none, thermoplastic, or the name of a [[correction]].
    """

    groups: Annotated[
        tuple[Annotated[tuple[PinName, ...], Field(min_length=1)], ...],
        Field(min_length=2, description=_SIGNS, examples=['[["1", "2"], ["CORE"]]']),
    ]
    at: Volt | None = None
    at_least: Annotated[Ohm, Field(examples=['"50 Mohm"'])]
    reject_below: Ohm | None = None
    correction: Name = NONE

    @model_validator(mode="after")
    def _limits_in_order(self) -> IsolationTable:
        if self.reject_below is not None and self.reject_below > self.at_least:
            raise ValueError("reject_below is the lower of the two limits, but it is above at_least")
        return self


class StepTable(TomlTable):
    """`[[step]]`: one thing to measure, in this order.

    Attributes:
        name: unique; left out, the windings between the pins name it.
        pair: the two pins to touch.
        kind: resistance; continuity, at most so many ohms; open, where nothing may be read; typed, where the
            operator enters the value.
        quantity: resistance; or insulation, for a typed step.
        slow: true where the reading creeps; left out, true where 2 H or more are measured.
        wires: 2 or 4 where the step insists; else the bench decides.
        lower: limit of the step's own, in place of the windings'.
        upper: likewise.
        open_above: an open step passes above this.
        remark: for people.
    """

    name: Name | None = None
    pair: Annotated[tuple[PinName, PinName], Field(description=_SIGNS, examples=['["1", "2"]'])]
    kind: StepKind = StepKind.RESISTANCE
    quantity: Literal[Quantity.RESISTANCE, Quantity.INSULATION] = Quantity.RESISTANCE
    slow: Flag | None = None
    wires: Literal[2, 4] | None = None
    lower: ZeroOrMoreOhm | None = None
    upper: Ohm | None = None
    open_above: Ohm | None = None
    remark: Text = ""

    @model_validator(mode="after")
    def _limits_belong_to_the_kind(self) -> StepTable:
        if self.kind is StepKind.OPEN and (self.lower is not None or self.upper is not None):
            raise ValueError("an open step has open_above in place of lower and upper")
        if self.kind is StepKind.CONTINUITY and self.lower is not None:
            raise ValueError("a continuity step has no lower limit: give upper")
        if self.kind is not StepKind.OPEN and self.open_above is not None:
            raise ValueError('open_above belongs to steps of kind = "open"')
        if self.quantity is Quantity.INSULATION and self.kind is not StepKind.TYPED:
            raise ValueError('insulation is never measured hands-free: it needs kind = "typed"')
        if self.lower is not None and self.upper is not None and self.lower >= self.upper:
            raise ValueError("lower must be less than upper")
        return self


TABLES: dict[str, type[TomlTable]] = {
    "sheet": SheetTable,
    "connector": ConnectorTable,
    "pin": PinTable,
    "winding": WindingTable,
    "strap": StrapTable,
    "diode": DiodeTable,
    "balance": BalanceTable,
    "matching": MatchingTable,
    "isolation": IsolationTable,
    "correction": CorrectionTable,
    "step": StepTable,
}
"""All tables of a sheet file; the first two stand once, the others as often as needed."""
