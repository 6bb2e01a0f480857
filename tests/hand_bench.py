"""A heart, a meter of 2000 counts with a dial, and an obedient person. Not a test itself.

The person touches what is asked for, presses Enter where told to or nothing happens, and turns the dial only
when told, or turns it back each time, as somebody does who uses the meter for other things between.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from acquire.conditions import Conditions, Temperature
from acquire.pipeline import Pipeline
from acquire.records import (
    Ask,
    Circumstances,
    Code,
    ConfirmOpen,
    Judged,
    Notice,
    Prompt,
    Purpose,
    StartUnit,
    StateRange,
    UnitResult,
)
from acquire.records.codes import Refusal
from acquire.words.prompts import asked
from drivers.models import load_model
from drivers.reading import Kind, Origin, Quantity, Ranging, Reading
from tests.pure_bench import CONFIGS

MODEL = load_model(CONFIGS / "meters" / "hand-2000.toml")
RANGES = [each.full_scale_si for each in MODEL.ranges_of(Quantity.RESISTANCE)]
LEAD_OHM = 0.2


@dataclass
class Bench:
    """A heart, a dial, and a person.

    Attributes:
        dial: full scale that it is on.
        frames: True where each frame names its range; else only the digits do, and an overload has none.
        back_to: where somebody turns the dial before each touch; None for nobody.
    """

    sheet: object
    dial: float
    frames: bool = True
    back_to: float | None = None
    now_s: float = 100.0
    conversion: int = 0
    events: list = field(default_factory=list)

    def __post_init__(self):
        place = Circumstances("b", Purpose.FINAL, self.sheet, "meter", MODEL.name, "m", "b", "test")
        conditions = Conditions(
            temperature=Temperature(20.0, 0.2, self.now_s), temperature_max_age_s=1e9, lead_wanted=True
        )
        self.heart = Pipeline(place, MODEL, conditions, ranging=Ranging.DIAL)
        self.hold(None, 1.0)

    def hold(self, ohm, seconds):
        """The probes lie on something for a time; None is the air. Three conversions a second."""
        new = []
        for _ in range(round(3 * seconds)):
            self.now_s += 1 / 3
            self.conversion += 1
            new += self.heart.feed(self.reading(ohm))
            new += self.heart.tick(self.now_s, self.now_s)
        self.events += new
        return new

    def reading(self, ohm):
        full = self.dial
        count = full / 2000
        lies = math.inf if ohm is None else ohm + LEAD_OHM
        over = lies >= full
        shown = 0.0 if over else round(lies / count) * count
        told = self.frames
        return Reading(
            "meter",
            Quantity.RESISTANCE,
            Kind.OVERLOAD if over else Kind.VALUE,
            None if over else shown,
            self.now_s,
            self.now_s,
            self.conversion,
            full if told else None,
            count if told or not over else None,
            Origin.READ_BACK if told else Origin.UNKNOWN,
        )

    def command(self, command):
        new = self.heart.command(command, self.now_s, self.now_s)
        self.events += new
        return new

    @property
    def prompt(self):
        return self.of(Prompt)[-1]

    def of(self, kind):
        return [event for event in self.events if isinstance(event, kind)]

    def measure(self, values, serial="A1"):
        """One unit from serial to result."""
        self.command(StartUnit(serial))
        for _ in range(60):
            if self.prompt.ask is Ask.START_UNIT:
                return self.of(UnitResult)[-1]
            self.obey(values)
        raise AssertionError(asked(self.prompt))

    def obey(self, values):
        """Do what the prompt says, once."""
        if self.back_to is not None:
            self.dial = self.back_to
        self.turn(self.prompt.facts)
        if self.prompt.ask is Ask.SHORT_PROBES:
            self.hold(0.0, 4)
            self.turn(self.prompt.facts)
            self.hold(0.0, 4)
            self.hold(None, 2)
            return
        ohm = values[tuple(self.prompt.pair)]
        judged = len(self.of(Judged))
        for _ in range(2):
            self.hold(ohm, 5)
            if len(self.of(Judged)) == judged:
                self.turn(self.prompt.facts)
        for _ in range(2):  # as asked, twice
            if len(self.of(Judged)) == judged and ohm + LEAD_OHM >= self.dial:
                self.press(ohm)
        self.hold(None, 2)

    def press(self, ohm):
        for event in self.command(ConfirmOpen()):
            if isinstance(event, Notice) and event.code is Code.COMMAND_REFUSED and self.turn(event.facts):
                if event.facts["refusal"] == Refusal.RANGE_UNTOLD:
                    self.command(StateRange(self.dial))
                self.hold(ohm, 2)
        self.hold(ohm, 1)

    def turn(self, facts):
        """Turn the dial if told to, to a position that it has."""
        if "turn_ohm" not in facts:
            return False
        assert facts["turn_ohm"] in RANGES
        self.dial = facts["turn_ohm"]
        return True
