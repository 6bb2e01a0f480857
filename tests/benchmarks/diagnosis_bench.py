"""A simulated bench in simulated time: sim's hands, probes, meter and units before the whole heart.

Nothing is modelled here. The hands are `sim.hands`, the meter `sim.meter`, the units `sim.units` with the
faults of `sim.faults`; every conversion goes through `acquire.pipeline` (settle, correct, match, judge,
explain) with a meter file that ships. Only time is not waited for: the event loop jumps to what is due next.
"""

from __future__ import annotations

import asyncio
import math
import random
from dataclasses import dataclass, field, replace
from pathlib import Path

from acquire.conditions import Conditions, Temperature
from acquire.pipeline import Pipeline
from acquire.records import (
    Circumstances,
    ConfirmOpen,
    Fit,
    GiveUpUnit,
    Judged,
    LeadZero,
    Match,
    Notice,
    Outcome,
    Pair,
    Purpose,
    StartUnit,
    StepKind,
    UnitResult,
    UnitStarted,
)
from acquire.records.codes import Order
from acquire.settle import SettleSettings
from acquire.simulated.demo import as_seen
from acquire.verdict import diagnose as diagnosing
from drivers.models import load_model
from drivers.reading import Kind, Origin, Quantity, Reading
from sim.faults import Fault
from sim.hands import Hands, Pace
from sim.meter import Meter, meter_class
from sim.probes import Ambient
from sim.scenes import PlannedUnit, Scene
from sim.winding import WoundUnit
from tests.benchmarks.diagnosis_scene import Planted, sheet_of
from tests.benchmarks.simulated_time import CoarseProbes, LoopClock, NoLog, SimulatedLoop, steady

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
METERS = {
    "bench": ("bench-6-digit", "bench-6-digit", 10.0, 5.0),
    "bench-quick": ("bench-6-digit", "bench-6-digit", 10.0, 1.0),
    "bench-50000": ("bench-50000", "bench-50000", None, 1.0),
    "hand-6000": ("hand-6000", "hand-6000", None, 1.0),
    "hand-2000": ("hand-2000", "hand-2000", None, 1.0),
}
"""Name -> class in sim, file in configs/meters, four wires below so many ohms (None: two wires only), mains
cycles of one integration. With five of them, auto-zero and offset compensation, a conversion takes 0.4 s, as
on a hand meter: slower than such a meter could, so that a hundred thousand units are done in an hour."""

THERMOMETER_KELVIN = 0.3
"""Standard deviation of a thermometer's error, and what the bench states as its uncertainty."""
LONGEST_S = 900.0
"""A unit that takes longer is given up: hands that never come to an end are counted, not waited for."""


class Kept:
    """The heart's findings, kept, so that the benchmark need not reckon them a second time."""

    def __init__(self):
        self.findings, self.latest = diagnosing.findings, ()

    def __call__(self, *given, **more):
        self.latest = self.findings(*given, **more)
        return self.latest


KEPT = diagnosing.findings = Kept()


@dataclass
class Story:
    """What came of one unit."""

    result: UnitResult | None = None
    readings: tuple = ()
    findings: tuple = ()
    exact: list = field(default_factory=list)
    touches: int = 0
    key_presses: int = 0
    seconds: float = 0.0
    wrong: int = 0
    wrong_hinted: int = 0
    wrong_named: int = 0
    wrong_judged: int = 0
    wrong_alike: int = 0
    wrong_on_faulty: int = 0
    right: int = 0
    false_hints: int = 0
    slid: int = 0
    steps: list = field(default_factory=list)

    @property
    def outcome(self) -> Outcome | None:
        """Of the unit; None where it is held."""
        return self.result.outcome if self.result else None


class Bench:
    """One operator with one class of meter on one unit type; every unit meets another meter of the class."""

    def __init__(
        self, kind, meter: str, seed: str, *, slips: float, order: Order, hurried=False, sheet=None, **pace
    ):
        self.kind, self.seed, self.slips, self.order = kind, seed, slips, order
        class_name, file_name, four_wire_below_ohm, self.plc = METERS[meter]
        self.meter_class = meter_class(class_name)
        self.model = load_model(CONFIGS / "meters" / f"{file_name}.toml")
        self.four_wire_below_ohm = four_wire_below_ohm
        self.sheet = sheet or sheet_of(kind)
        noises = [r.noise_counts for r in self.model.ranges_of(Quantity.RESISTANCE) if r.noise_counts]
        self.heart = Pipeline(
            Circumstances("bench", Purpose.INCOMING, self.sheet, "meter", file_name, "m", "b", "benchmark"),
            self.model,
            Conditions(temperature_max_age_s=1e9),
            settle=SettleSettings(noise_counts=max(noises, default=None)),
            four_wire_below_ohm=four_wire_below_ohm,
            order=order,
        )
        self.table = self.heart.table
        self.loop = SimulatedLoop()
        self.clock = LoopClock(self.loop)
        self.number = 0
        self.heart.tick(0.0, 0.0)  # its first prompt, before anybody looks
        usual = Pace()
        seen_s = self.heart.settle.lift_off_s + 2.2 * self._new_meter(None, random.Random(0)).conversion_s()
        kind = (
            self.meter_class
        )  # open probes make it hunt for a range, a hand meter one by one, showing nothing
        hunts = 2 if kind.nplc else len(kind.ranges) - 1
        seen_s += hunts * (kind.hunt_s[1] + (0.0 if kind.nplc else kind.period_s))
        calm = {
            name: (max(low, seen_s), max(high, seen_s + 0.4))
            for name, (low, high) in (("travel", usual.travel), ("look", usual.look))
        }
        self.pace = replace(usual, real_patience_s=0.0, **(({} if hurried else calm) | pace))

    def _new_meter(self, probes, dice) -> Meter:
        compensated = self.meter_class.nplc
        plc = self.plc
        return Meter(self.meter_class, probes, self.clock, dice, nplc=plc, offset_compensation=compensated)

    def close(self) -> None:
        """The day is over."""
        self.loop.close()

    def floor_s(self) -> float:
        """What the steps take at least: the hands' own movement, and three conversions at rest for each pair.

        A pair that must be open is looked at for as long as hands look before they press the key. Scanning
        is left out, as in the seconds of a story.
        """
        pace = self.pace
        steps = [step for step in self.sheet.steps if step.kind is not StepKind.TYPED]
        opens = sum(step.kind is StepKind.OPEN for step in steps)
        moving = len(steps) * (sum(pace.travel) + sum(pace.react)) / 2
        looking = (len(steps) - opens) * 3 * self._new_meter(None, random.Random(0)).conversion_s()
        return moving + looking + opens * pace.open_display

    def run(self, unit: WoundUnit, planted: Planted) -> Story:
        """Take one unit through all its steps."""
        self.number += 1
        dice = random.Random(f"{self.seed} {self.number}")
        ambient = Ambient(dice)
        self.probes = CoarseProbes(ambient)
        self.meter = self._new_meter(self.probes, random.Random(dice.random()))
        air = ambient.celsius(self.clock.now_s()) + dice.gauss(0.0, THERMOMETER_KELVIN)
        self.heart.conditions.temperature = Temperature(air, THERMOMETER_KELVIN, self.clock.now_s())
        self.heart.conditions.lead = None  # zeroed anew, through the hands
        warm = steady(replace(unit, serial=f"B-{self.number}"), planted.kelvin)
        self.scene = Scene(
            self.kind.key,
            self.kind,
            (PlannedUnit(warm, Fault(), planted.name),),
            random_near=self.slips,
            stubborn=0.15,
            own_order=self.order is Order.FREE,
        )
        self.unit, self.planted, self.story, KEPT.latest = warm, planted, Story(), ()
        self.loop.run_until_complete(self._unit(dice.randrange(2**31)))
        story = self.story
        story.exact = [(p, exact(warm, p, planted.kelvin), u) for p, _, u, _ in story.readings]
        return story

    async def _unit(self, seed: int) -> None:
        self.done = asyncio.Event()
        self.hands = Hands(
            self.scene,
            seed,
            probes=self.probes,
            meter=self.meter,
            clock=self.clock,
            tell=self._told,
            truth=NoLog(),
            pace=self.pace,
        )
        self.hands.see({"show": "start_unit"})
        tasks = [asyncio.create_task(self.hands.work()), asyncio.create_task(self._measure())]
        try:
            async with asyncio.timeout(LONGEST_S):
                await self.done.wait()
        except TimeoutError:
            self._show(self.heart.command(GiveUpUnit("no end"), self.clock.now_s(), self.clock.now_s()))
        for task in tasks:
            task.cancel()
        for result in await asyncio.gather(*tasks, return_exceptions=True):
            if isinstance(result, Exception):
                raise result
        self.heart.link_lost()

    async def _measure(self) -> None:
        """The meter as the heart wants it set, one conversion after another."""
        while not self.done.is_set():
            wanted = self.heart.wanted
            self.meter.four_wire = wanted.quantity is Quantity.RESISTANCE_4W
            if self.meter_class.nplc and wanted.expected_ohm is not None:
                self.meter.fix_range(wanted.expected_ohm)
            else:
                self.meter.auto = True
            shown = await self.meter.convert()
            four_wire = self.meter.four_wire
            self._show(
                self.heart.feed(
                    Reading(
                        meter_id="meter",
                        quantity=Quantity.RESISTANCE_4W if four_wire else Quantity.RESISTANCE,
                        kind=Kind.OVERLOAD if shown.overload else Kind.VALUE,
                        value_si=None if shown.overload else shown.ohm,
                        monotonic_s=shown.end_s,
                        utc_s=shown.end_s,
                        conversion=shown.number,
                        range_full_scale_si=shown.range.nominal_ohm,
                        resolution_si=shown.range.count_ohm,
                        range_origin=Origin.READ_BACK,
                        raw=b"",
                    )
                )
            )

    def _told(self, doing) -> None:
        """What the hands do that the bench hears of."""
        now_s, story = self.clock.now_s(), self.story
        if doing["hands"] == "touch":
            story.touches += 1
        elif doing["hands"] == "scan":
            self._show(self.heart.command(StartUnit(doing["serial"]), now_s, now_s))
        elif doing["hands"] == "confirm_open":
            story.key_presses += 1
            self._show(self.heart.command(ConfirmOpen(), now_s, now_s))

    def _show(self, events) -> None:
        """Let the hands see what a person would, and keep what happened."""
        for event in events:
            seen = as_seen(event)
            if seen:
                self.hands.see(seen)
            match event:
                case UnitStarted():
                    self.work, self.began_s = self.heart.unit, self.clock.now_s()
                case LeadZero():
                    self._spoil_zero()
                    self.began_s = self.clock.now_s()
                case Match():
                    self._matched(event, events)
                case UnitResult():
                    self.story.result = event
                    self.story.readings = self.work.state.readings()
                    self.story.findings = KEPT.latest
                    self.story.seconds = self.clock.now_s() - self.began_s
                    self.done.set()
                case _:
                    pass

    def _spoil_zero(self) -> None:
        """The planted error of the lead zero: it was taken with dirty tips, or the leads have changed."""
        lead = self.heart.conditions.lead
        shifted = lead.value_ohm - self.planted.lead_zero_ohm
        self.heart.conditions.lead = replace(lead, value_ohm=shifted)

    def _matched(self, match: Match, events) -> None:
        """Whether the probes were where the value was taken for, and what the heart made of it."""
        held = self.probes.held
        if held is None or held.pair is None:
            return
        story, touched = self.story, self.table.canonical(*held.pair)
        judged = next((e for e in events if isinstance(e, Judged)), None)
        if match.corrected.settled.revision:
            story.slid += judged is not None and touched != (judged.verdict.pin_a, judged.verdict.pin_b)
            return
        hinted = any(isinstance(e, Notice) and e.code in ("pair.other", "pair.unclear") for e in events)
        state = self.work.state
        if judged is None:
            open_now = {state.current.pair, *state.open_pairs} if state.current else set()
            taken = state.current.pair if state.current else match.pair
        else:
            taken = Pair(judged.verdict.pin_a, judged.verdict.pin_b)
            open_now = {taken}
        story.steps.append(
            (taken, touched, match.corrected.reference_ohm, match.fit.value, judged is not None)
        )
        if touched in open_now:
            story.right += 1
            story.false_hints += hinted
            return
        story.wrong += 1
        nominal, limits = self.table.nominal_ohm(touched), self.table.limits(touched, Purpose.INCOMING)
        low, high = limits.lower_ohm or 0.0, limits.upper_ohm or math.inf
        if math.isinf(nominal) or not low <= match.corrected.reference_ohm <= high:
            story.wrong_on_faulty += 1
            return
        apart = abs(self.table.nominal_ohm(touched) - self.table.nominal_ohm(taken))
        blur = math.hypot(
            self.table.spread_ohm(touched),
            self.table.spread_ohm(taken),
            match.corrected.standard_uncertainty_ohm,
        )
        if judged is not None and apart <= 2.0 * blur:
            story.wrong_alike += 1
        elif hinted:
            story.wrong_hinted += 1
            named = [p for p, w in match.weights if w > 0.2 * match.weights[0][1]]
            story.wrong_named += match.fit is Fit.OTHER_PAIR and touched in named
        else:
            story.wrong_judged += 1


def exact(unit: WoundUnit, pair: Pair, kelvin: float) -> float:
    """True ohms of a pair at the reference temperature as the heart would have them: warmth left in."""
    ohm = unit.ohm(*pair, 20.0 + kelvin)
    return math.inf if ohm > 50e6 else ohm
