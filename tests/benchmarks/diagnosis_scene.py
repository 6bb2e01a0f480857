"""Units, meter and hands of the diagnosis benchmark: what is really there, and what a person would read.

Units and their faults are the simulator's (its own circuit solver and fault planting); readings go through
the heart's own stages: matcher, progress of the unit, decision, diagnosis. Only settling is left out.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field, replace

from acquire.physics.copper import CONDUCTORS, to_reference
from acquire.records import (
    Balance,
    Branch,
    BranchKind,
    Corrected,
    Fit,
    Outcome,
    Pair,
    Pin,
    Purpose,
    Settled,
    Sheet,
    Step,
    StepKind,
)
from acquire.steps.matcher import weigh
from acquire.steps.pairs import PairTable
from acquire.steps.unit import Order, Ruling, UnitProgress
from acquire.verdict.guard import decide
from drivers.reading import Quantity
from sim.faults import Fault, plant
from sim.units import UnitType
from sim.winding import Branch as RealBranch
from sim.winding import WoundUnit

NO_CONTACT_OHM = 50e6
STRAP_OHM = 0.05
COPPER = CONDUCTORS["copper"]


def sheet_of(kind: UnitType) -> Sheet:
    """The sheet a shop would write for a simulated unit type; spread is a third of the tolerance."""
    windings = tuple(
        Branch(
            coil.name,
            coil.a,
            coil.b,
            coil.ohm_20(),
            acceptance=coil.tolerance,
            spread=coil.tolerance / 3,
            turns=coil.turns,
            strands=coil.strands,
        )
        for coil in kind.coils
    )
    leads = tuple(
        Branch(b.name, b.a, b.b, b.ohm_20, kind=BranchKind.STRAP, upper_ohm=STRAP_OHM, spread=0.2)
        if b.name == "earth strap"
        else Branch(b.name, b.a, b.b, b.ohm_20, kind=BranchKind.LEAD, spread=0.05)
        for b in kind.leads
    )
    steps = [Step(f"{a} {b}", Pair(a, b)) for a, b in kind.steps]
    steps += [
        Step(f"{a} {b} open", Pair(a, b), kind=StepKind.OPEN, open_above_ohm=1e6) for a, b in kind.isolated
    ]
    alike = tuple(c.name for c in kind.coils) if kind.key == "quern-12" else kind.bifilar
    return Sheet(
        name=kind.title,
        about="",
        content_hash=kind.key,
        reference_celsius=20.0,
        pins=tuple(Pin(name) for name in kind.pins),
        core=kind.core,
        branches=leads + windings,
        steps=tuple(steps),
        balances=(Balance("alike", alike, kind.balance),) if alike else (),
        bifilar=((alike[0], alike[1]),) if kind.bifilar else (),
    )


def good_unit(kind: UnitType, dice: random.Random) -> WoundUnit:
    """A unit as the shop winds them: normally spread, no winding beyond three quarters of its tolerance."""
    tolerance = {coil.name: coil.tolerance for coil in kind.coils}
    shared = {name: dice.gauss(0.0, 1.0) for name in kind.bifilar[:1]}
    branches = []
    for branch in kind.nominal().branches:
        spread = tolerance[branch.name] / 3 if branch.name in tolerance else 0.05
        if branch.name in kind.bifilar:  # wound from one spool by one hand: all but alike
            off = shared[kind.bifilar[0]] + dice.gauss(0.0, 0.05)
        else:
            off = dice.gauss(0.0, 1.0)
        branches.append(replace(branch, ohm_20=branch.ohm_20 * (1 + spread * max(-2.25, min(2.25, off)))))
    return WoundUnit("unit", tuple(branches))


@dataclass(frozen=True, slots=True)
class Planted:
    """A fault as the benchmark knows it, and as the diagnosis calls it."""

    name: str
    where: tuple[str, ...]
    faults: tuple[Fault, ...] = ()
    lead_zero_ohm: float = 0.0
    kelvin: float = 0.0
    bridge: tuple[str, float, str, float, float] | None = None


def faulty(kind: UnitType, unit: WoundUnit, planted: Planted) -> WoundUnit:
    """The unit with the fault in it."""
    for fault in planted.faults:
        unit = plant(kind, unit, fault)
    if planted.bridge:
        unit = bridged(unit, *planted.bridge)
    return unit


def bridged(unit: WoundUnit, one: str, x: float, other: str, y: float, ohm: float) -> WoundUnit:
    """Two coils that touch each other at a fraction of each."""
    branches = list(unit.branches)
    for name, share in ((one, x), (other, y)):
        coil = next(b for b in branches if b.name == name)
        branches.remove(coil)
        branches.append(replace(coil, b=f"{name} tap", ohm_20=share * coil.ohm_20))
        branches.append(replace(coil, name=f"{name} rest", a=f"{name} tap", ohm_20=(1 - share) * coil.ohm_20))
    branches.append(RealBranch("touch", f"{one} tap", f"{other} tap", ohm, copper=False))
    return replace(unit, branches=tuple(branches))


@dataclass(frozen=True, slots=True)
class Meter:
    """Accuracy of a meter: half-widths as fraction of reading and ohms, with two wires and with four."""

    name: str
    fraction: float
    floor_ohm: float
    count_ohm: float
    four_wire_below_ohm: float = 0.0
    four_wire_floor_ohm: float = 0.0005
    zero_u_ohm: float = 0.02

    def u_ohm(self, ohm: float, *, four_wire: bool) -> float:
        """Standard uncertainty of a corrected reading: meter, count, lead zero and contact, 0.4 K."""
        floor = self.four_wire_floor_ohm if four_wire else self.floor_ohm
        count = 0.0001 if four_wire else self.count_ohm
        touch = 0.0 if four_wire else math.hypot(self.zero_u_ohm, 0.01)
        half = (self.fraction * abs(ohm) + floor) / math.sqrt(3)
        return math.hypot(half, count / math.sqrt(12), touch, 0.4 / 254.5 * abs(ohm))


BENCH = Meter("bench meter, four wires below 10 ohm", 0.0005, 0.1, 0.01, four_wire_below_ohm=10.0)
HAND = Meter("hand meter of 2000 counts", 0.008, 0.5, 0.1, zero_u_ohm=0.05)


@dataclass
class Story:
    """What came of one unit."""

    outcome: Outcome | None = None
    readings: tuple = ()
    exact: list = field(default_factory=list)
    touches: int = 0
    key_presses: int = 0
    seconds: float = 0.0
    floor_s: float = 0.0
    wrong: int = 0
    wrong_hinted: int = 0
    wrong_named: int = 0
    wrong_judged: int = 0
    wrong_alike: int = 0
    wrong_on_faulty: int = 0
    right: int = 0
    false_hints: int = 0
    still_warm: bool = False


TRAVEL_S = 0.75  # prompt to contact, hands
SETTLE_S = 1.2  # contact to verdict: the meter's own conversions
LIFT_S = 0.35
WAIT_S = 8.0  # until the prompt asks for the key
KEY_S = 1.0


class Bench:
    """One operator with one meter on one unit type."""

    def __init__(self, kind: UnitType, meter: Meter, dice: random.Random, *, slips: float, order: Order):
        self.kind, self.meter, self.dice, self.order = kind, meter, dice, order
        self.sheet = sheet_of(kind)
        self.table = PairTable(self.sheet)
        self.slips = slips
        self.conducting = [p for p in self.table.pairs() if math.isfinite(self.table.nominal_ohm(p))]

    def run(self, unit: WoundUnit, planted: Planted) -> Story:
        """Take a unit through all steps, as prompted."""
        story = Story()
        progress = UnitProgress(self.table, "B-1", order=self.order)
        self.room, self.thermometer = 22.0, self.dice.gauss(0.0, 0.3)
        self.gain = self.dice.uniform(-1, 1) * self.meter.fraction
        self.zero_error = self.dice.gauss(0.0, self.meter.zero_u_ohm) + planted.lead_zero_ohm
        self.unit, self.kelvin = unit, planted.kelvin
        last_wrong: Pair | None = None
        for _ in range(80):
            step = progress.current
            if step is None:
                break
            meant = self._meant(progress, step.pair)
            touched = self._touched(meant, last_wrong)
            last_wrong = touched if touched != meant else None
            story.touches += 1
            story.seconds += TRAVEL_S + SETTLE_S + LIFT_S
            self._touch(progress, story, step, touched)
        story.floor_s = len(self.sheet.steps) * (TRAVEL_S + SETTLE_S + LIFT_S)
        story.outcome, story.readings = progress.outcome, progress.readings()
        story.still_warm = progress.still_warm
        story.exact = [(p, self._exact(p), u) for p, _, u in story.readings]
        return story

    def _meant(self, progress: UnitProgress, prompted: Pair) -> Pair:
        """In free order the hands go on to whatever open step is at hand, look-alikes in the order asked."""
        waiting = (prompted, *progress.open_pairs)
        state = progress.state
        if self.order is Order.GUIDED or state.attempts or state.refused_ohm is not None or len(waiting) < 2:
            return prompted
        meant = self.dice.choice(waiting)
        nominal = self.table.nominal_ohm(meant)
        alike = (p for p in waiting if abs(self.table.nominal_ohm(p) - nominal) < 0.1 * nominal)
        return next(alike, prompted)

    def _touched(self, asked: Pair, last_wrong: Pair | None) -> Pair:
        """Mostly what was asked; a slip shares a pin with it, and is sometimes repeated."""
        if last_wrong is not None and last_wrong != asked and self.dice.random() < 0.15:
            return last_wrong
        if self.dice.random() >= self.slips:
            return asked
        near = [p for p in self.table.pairs() if p != asked and set(p) & set(asked)]
        return self.dice.choice(near)

    def _exact(self, pair: Pair) -> float:
        """True ohms at the reference temperature as the heart would have them: warmth and zero left in."""
        ohm = self.unit.ohm(*pair, 20.0 + self.kelvin)
        return math.inf if ohm > NO_CONTACT_OHM else ohm

    def _read(self, pair: Pair, *, four_wire: bool) -> Corrected | None:
        """One settled, corrected value; None without contact."""
        ohm = self.unit.ohm(*pair, self.room + self.kelvin)
        if ohm > NO_CONTACT_OHM:
            return None
        dirt = 10 ** self.dice.uniform(-2, 0) if self.dice.random() < 0.02 else 0.0
        if not four_wire:
            ohm += self.zero_error + abs(self.dice.gauss(0.0, 0.01)) + dirt
        floor = self.meter.four_wire_floor_ohm if four_wire else self.meter.floor_ohm
        count = 0.0001 if four_wire else self.meter.count_ohm
        ohm = ohm * (1 + self.gain) + self.dice.uniform(-0.5, 0.5) * floor
        ohm = round(ohm / count) * count
        ohm = to_reference(ohm, self.room + self.thermometer, 20.0, COPPER)
        u_ohm = self.meter.u_ohm(ohm, four_wire=four_wire)
        settled = Settled(
            "m", Quantity.RESISTANCE, ohm, 0.0, 9.0, 0.0, 0.0, 0.0, 9, None, None, 0.0, 1.0, 1.0
        )
        return Corrected(settled, ohm, 0.0, ohm, ohm, 20.0, 20.0, "copper", (), u_ohm, 1e9, 2.0, 2 * u_ohm)

    def _touch(self, progress: UnitProgress, story: Story, step: Step, touched: Pair) -> None:
        nominal = self.table.nominal_ohm(step.pair)
        value = self._read(touched, four_wire=nominal < self.meter.four_wire_below_ohm)
        if value is None:
            self._no_contact(progress, story, step, touched)
            return
        limits = self.table.limits_for(step, Purpose.FINAL)
        match = weigh(
            value,
            step.pair,
            self.table,
            limits=limits,
            known=progress.known(),
            open_pairs=progress.open_pairs,
        )
        ruling = progress.admit(match)
        taken = progress.current.pair
        self._count(story, taken, touched, match, ruling)
        if ruling is Ruling.HINT:
            return
        step = progress.current
        limits = self.table.limits_for(step, Purpose.FINAL)
        decision = decide(
            value.reference_ohm,
            value.standard_uncertainty_ohm,
            value.expanded_ohm,
            limits,
            self.sheet.rule,
        )
        progress.judged(
            decision.outcome,
            value.reference_ohm,
            value.standard_uncertainty_ohm,
            repeat_u_ohm=0.02,
        )

    def _no_contact(self, progress: UnitProgress, story: Story, step: Step, touched: Pair) -> None:
        """After a while the prompt asks for the key; a person on the wrong pins mostly sees it then."""
        open_step = step.kind is StepKind.OPEN
        story.seconds += KEY_S if open_step else WAIT_S + KEY_S
        if touched != step.pair and self.dice.random() < 0.9:
            return
        story.key_presses += 1
        progress.confirmed_open()

    def _count(self, story: Story, taken: Pair, touched: Pair, match, ruling: Ruling) -> None:
        if touched == taken:
            story.right += 1
            story.false_hints += ruling is Ruling.HINT
            return
        story.wrong += 1
        nominal, limits = self.table.nominal_ohm(touched), self.table.limits(touched, Purpose.FINAL)
        low, high = limits.lower_ohm or 0.0, limits.upper_ohm or math.inf
        if math.isinf(nominal) or not low <= match.corrected.reference_ohm <= high:
            story.wrong_on_faulty += 1
            return
        apart = abs(self.table.nominal_ohm(touched) - self.table.nominal_ohm(taken))
        alike = apart <= 2.0 * math.hypot(
            self.table.spread_ohm(touched),
            self.table.spread_ohm(taken),
            match.corrected.standard_uncertainty_ohm,
        )
        if alike:
            story.wrong_alike += 1
        elif ruling is Ruling.HINT:
            story.wrong_hinted += 1
            named = [p for p, w in match.weights if w > 0.2 * match.weights[0][1]]
            story.wrong_named += match.fit is Fit.OTHER_PAIR and touched in named
        else:
            story.wrong_judged += 1
